"""What `ready` checks about a driven carriage. Nothing is moved."""

from __future__ import annotations

from collections.abc import Callable

from assistant.carriage.line import ByteLine, SerialLine
from assistant.carriage.standing import StandingController, switches_of
from assistant.errors import KerfcallError
from assistant.health import BROKEN, WORKS, Finding
from assistant.joinery.model import Carriage, Drive

PART = "carriage"


CLEAR_PROVES = (
    "The clear input shows where the sled is. It does not see hands, a turning blade, or a cut that was left "
    "unfinished."
)
NO_CLEAR = (
    "Without a clear input nothing shows where the sled is: that it is drawn right back, and that a tap was meant, is "
    "up to you. So a tap records the pass and moves nothing, and each move lasts as long as the pedal is held down."
)


def carriage(shop: Carriage, opened: Callable[[str], ByteLine] = SerialLine) -> Finding:
    """All that was found out about the controller, each fault with its own mend, and the `cautions` in its data."""
    assert shop.drive is not None, "only a driven carriage has a controller"
    found = findings(shop, opened)
    data = {key: value for one in found for key, value in one.data.items()} | {"cautions": list(cautions(shop.drive))}
    works = "; ".join(one.text for one in found if one.state == WORKS)
    wrong = [one for one in found if one.state != WORKS]
    if not wrong:
        return Finding(PART, WORKS, works, "", data)
    data["faults"] = [{"text": one.text, "mend": one.mend} for one in wrong]
    if works:
        data["faults"].insert(0, {"text": works, "mend": ""})
    state = BROKEN if any(one.state == BROKEN for one in wrong) else wrong[0].state
    return Finding(PART, state, "; ".join(one.text for one in wrong), wrong[0].mend, data)


def cautions(drive: Drive) -> tuple[str, ...]:
    """What no probe can find out about a motor on the screw, and what somebody must see to before anything moves.

    The screw's push is computed as 2 pi x torque x efficiency / lead: 1.2 N m, 0.7 and 5 mm give 1.06 kN. Pedal and
    hood: common practice, no source.
    """
    return (
        "Kerfcall starts and stops no saw, and is no interlock. A red switch that latches and cuts the motor's own "
        "supply (the board's reset does not) belongs within reach, beside the saw's stop. Best, the saw's emergency "
        "stop drops both.",
        "It pinches: between the carriage and its ends, and between the board and the guard. A screw pushes with about "
        "1 kN (computed for 1.2 N m on a lead of 5 mm).",
        "The pedal has a hood, and stands half a metre or more from the saw's own. For moves that it holds it is no "
        "radio pedal (common practice, no source).",
        CLEAR_PROVES if drive.clear_input else NO_CLEAR,
    )


def findings(shop: Carriage, opened: Callable[[str], ByteLine] = SerialLine) -> list[Finding]:
    """One by one: the port, the firmware and its build, each setting that must change, the switch, the clear input."""
    drive = shop.drive
    assert drive is not None, "only a driven carriage has a controller"
    try:
        standing = StandingController(shop, opened)
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
        switches = switches_of(drive, report)
        if switches.home_closed is not None:
            text = f"home switch {'closed' if switches.home_closed else 'open'}"
            found.append(Finding(PART, WORKS, text, "", {"home_switch_closed": switches.home_closed}))
        if switches.clear is not None:
            which = "is drawn right back" if switches.clear else "is not drawn right back"
            text = f"the sled {which}, by the clear input"
            found.append(Finding(PART, WORKS, text, "", {"clear": switches.clear}))
        elif report.hold_input:
            mend = "set carriage.drive.clear_input = true if a switch on the sled is wired to it, or look at the wire"
            found.append(Finding(PART, BROKEN, "the controller's hold or door input is closed", mend))
    return found


def sees_sled(standing: StandingController, say: Callable[[str], None], within_s: float = 60.0) -> bool:
    """Whether the clear input shows both ends: the operator draws the sled right back and pushes it away again.

    say: shows what to do. A stuck switch or a broken wire shows only one of them.
    """
    say("Draw the sled right back.")
    if not standing.wait_for(True, within_s):
        return False
    say("Push the sled away from there, then draw it right back again.")
    return standing.wait_for(False, within_s) and standing.wait_for(True, within_s)
