"""Tries whether the pedal's key can be heard now: opens the pedal and releases it at once."""

from __future__ import annotations

from assistant.pedal.device_watch import DeviceWatch
from assistant.pedal.devices import PedalSource, is_named, source_of
from assistant.pedal.kernel import KERNEL, Kernel
from assistant.pedal.names import key_from_name
from assistant.pedal.watch import KeyWatch
from assistant.plans.model import PedalSettings


def try_out(settings: PedalSettings, kernel: Kernel = KERNEL) -> PedalSource:
    """Where the pedal is heard. Raises BadInput: not a pedal's key; NoSuchPart: not heard, why, and what to do."""
    key_from_name(settings.key, alone=is_named(settings))
    source = source_of(settings, kernel)
    if source.nodes:
        DeviceWatch(source.nodes, lambda move, code, node, at: None, lambda: None, kernel).close()
    else:
        KeyWatch(lambda pressed: None, lambda released: None, lambda: None).close()
    return source
