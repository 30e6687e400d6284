"""What `ready` checks about the pedal."""

from __future__ import annotations

from assistant.errors import KerfcallError
from assistant.health import LIMITED, WORKS, Finding
from assistant.plans.model import PedalSettings


def pedal(settings: PedalSettings) -> Finding:
    """Whether the pedal's key can be heard whichever window has the focus."""
    from assistant.pedal.trial import try_out
    from assistant.pedal.watch import REPLACED_BY

    data = {"key": settings.key}
    try:
        source = try_out(settings)
    except KerfcallError as error:
        said = str(error).removeprefix("The pedal is not heard: ").replace(f"; {REPLACED_BY}", "").rstrip(".")
        text, _, mend = said.partition(" To fix it: ")
        return Finding("pedal", LIMITED, f"the terminal's keys replace {settings.key}: {text.rstrip('.')}", mend, data)
    where = f"read alone from {source.name} ({source.nodes[0].stable})" if source.nodes else "heard in every window"
    return Finding("pedal", WORKS, f"{settings.key}, {where}; try it with --pedal", "", data)
