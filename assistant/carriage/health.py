"""What `ready` checks about a driven carriage. Nothing is moved."""

from __future__ import annotations

from collections.abc import Callable

from assistant.carriage.line import Line, SerialLine
from assistant.carriage.standing import Standing
from assistant.errors import KerfcallError
from assistant.health import BROKEN, LIMITED, WORKS, Finding
from assistant.joinery.model import Carriage, Home

PART = "carriage"


def carriage(shop: Carriage, opened: Callable[[str], Line] = SerialLine) -> Finding:
    """Everything about the controller in one line: the first thing to mend, and how many more there are."""
    found = findings(shop, opened)
    worst = next((one for state in (BROKEN, LIMITED) for one in found if one.state == state), None)
    data = {key: value for one in found for key, value in one.data.items()}
    if worst is None:
        return Finding(PART, WORKS, "; ".join(one.text for one in found), "", data)
    more = sum(one.state != WORKS for one in found) - 1
    return Finding(PART, worst.state, worst.text + (f" (and {more} more)" if more else ""), worst.mend, data)


def findings(shop: Carriage, opened: Callable[[str], Line] = SerialLine) -> list[Finding]:
    """One by one: the port, the firmware and its build, each setting that must change, the switch, the clear input."""
    drive = shop.drive
    assert drive is not None, "only a driven carriage has a controller"
    try:
        standing = Standing(shop, opened)
    except KerfcallError as error:
        text, _, mend = str(error).partition(" To fix it: ")
        return [Finding(PART, BROKEN, text.rstrip("."), mend.rstrip("."), {"port": drive.port})]
    with standing:
        controller = standing.controller
        found = [Finding(PART, WORKS, f"its controller answers at {drive.port}", "", {"port": drive.port})]
        data = {"firmware": controller.version, "options": controller.options}
        if controller.version:
            found.append(Finding(PART, WORKS, f"firmware {controller.version}", "", data))
        for fault in standing.faults:
            value = f" (got {fault.value})" if fault.value else ""
            found.append(Finding(PART, BROKEN, f"{fault.where}: {fault.what}{value}", fault.mend))
        if not controller.settings:
            return found
        report = standing.look()
        if drive.home == Home.SWITCH:
            closed = drive.axis in report.pins
            text = f"home switch {'closed' if closed else 'open'}"
            found.append(Finding(PART, WORKS, text, "", {"home_switch_closed": closed}))
        if drive.clear_input:
            clear = not report.hold_input
            text = f"the sled {'is drawn right back' if clear else 'is not drawn right back'}, by the clear input"
            found.append(Finding(PART, WORKS, text, "", {"clear": clear}))
        elif report.hold_input:
            mend = "set carriage.drive.clear_input = true if a switch on the sled is wired to it, or look at the wire"
            found.append(Finding(PART, BROKEN, "the controller's hold or door input is closed", mend))
    return found


def sees_sled(standing: Standing, say: Callable[[str], None], within_s: float = 60.0) -> bool:
    """Whether the clear input shows both ends: the operator draws the sled right back and pushes it away again.

    say: shows what to do. A stuck switch or a broken wire shows only one of them.
    """
    say("Draw the sled right back.")
    if not standing.wait_for(True, within_s):
        return False
    say("Push the sled away from there, then draw it right back again.")
    return standing.wait_for(False, within_s) and standing.wait_for(True, within_s)
