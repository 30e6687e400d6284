"""What `ready` asks of the pedal."""

from __future__ import annotations

from assistant.errors import KerfcallError
from assistant.health import STANDS_IN, WORKS, Finding
from assistant.plans.model import PedalSettings


def pedal(settings: PedalSettings) -> Finding:
    """Whether the pedal's key can be heard wherever the focus is."""
    from assistant.pedal.trial import try_out
    from assistant.pedal.watch import STANDS_IN as WHAT_STANDS_IN

    data = {"key": settings.key}
    try:
        source = try_out(settings)
    except KerfcallError as error:
        said = str(error).removeprefix("The pedal is not heard: ").replace(f"; {WHAT_STANDS_IN}", "").rstrip(".")
        text, _, mend = said.partition(" To mend it: ")
        return Finding("pedal", STANDS_IN, f"terminal keys for {settings.key}: {text.rstrip('.')}", mend, data)
    where = f"read alone from {source.name} ({source.nodes[0].stable})" if source.nodes else "heard in every window"
    return Finding("pedal", WORKS, f"{settings.key}, {where}; --pedal tries it", "", data)
