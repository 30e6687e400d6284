"""Which input device is the pedal's. Nothing is opened here: the kernel describes each device to every program.

`device` is the shop file's [pedal] device. "auto" means the display's keys or, without a display, the one device that
has the key and can't be a keyboard. "display" means never a device. Else it is a path in /dev/input/by-id or by-path,
vendor:product in hexadecimal, or the device's name.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Mapping
from dataclasses import dataclass

from assistant.errors import NoSuchPart
from assistant.pedal.kernel import BUS_BLUETOOTH, BUS_USB, KERNEL, Kernel, Node, code_of
from assistant.pedal.watch import REPLACED_BY, why_no_keyboard
from assistant.plans.model import PedalSettings
from assistant.plans.pedal_keys import AUTO, DISPLAY

NAME_IT = "plug the pedal in, and run `kerfcall ready --pedal`: it names the device for [pedal] device"


@dataclass(frozen=True, slots=True)
class PedalSource:
    """Where the pedal is heard. nodes: of its own device, to be grabbed; none: through the display.

    code: the kernel's code of the key, 0 for the display.
    """

    nodes: tuple[Node, ...] = ()
    code: int = 0

    @property
    def name(self) -> str:
        """The device's name, or what is used instead."""
        return self.nodes[0].name if self.nodes else "the display"


def is_named(settings: PedalSettings) -> bool:
    """Whether the shop file names the pedal's own device."""
    return settings.device not in (AUTO, DISPLAY)


def source_of(
    settings: PedalSettings,
    kernel: Kernel = KERNEL,
    environ: Mapping[str, str] | None = None,
    platform: str = sys.platform,
) -> PedalSource:
    """Where to listen, from the shop file and the devices present. Raises NoSuchPart: nowhere, why, and what to do."""
    environ = os.environ if environ is None else environ
    if is_named(settings):
        return _named_device(settings, kernel, platform)
    reason = why_no_keyboard(environ, platform)
    if not reason or settings.device == DISPLAY or not platform.startswith("linux"):
        return PedalSource()
    return _only_device(settings, kernel) or PedalSource()


def _named_device(settings: PedalSettings, kernel: Kernel, platform: str) -> PedalSource:
    if not platform.startswith("linux"):
        raise NoSuchPart(
            f"The pedal is not heard: Kerfcall reads a pedal's own device on Linux only; {REPLACED_BY}. "
            'To fix it: take [pedal] device out of the shop file, or set it to "auto".'
        )
    code = code_of(settings.key)
    if code is None:
        raise NoSuchPart(
            f"The pedal is not heard: no device has a key {settings.key}; {REPLACED_BY}. To fix it: {NAME_IT}."
        )
    known = kernel.nodes()
    nodes = tuple(node for node in known if _is_called(settings.device, node))
    if not nodes:
        raise NoSuchPart(f"The pedal is not heard: {_not_there(settings.device, known)}")
    # A pedal shows up as several nodes (keyboard, mouse, buttons), and several may have the key: listen to all of them.
    with_key = tuple(node for node in nodes if code in node.keys)
    if not with_key:
        raise NoSuchPart(
            f"The pedal is not heard: {nodes[0].name} has no key {settings.key}; {REPLACED_BY}. To fix it: {NAME_IT}."
        )
    return PedalSource(with_key, code)


def _is_called(device: str, node: Node) -> bool:
    """Whether the shop file's `device` names this node."""
    if device.startswith("/"):
        return os.path.realpath(device) == os.path.realpath(node.path)
    if re.fullmatch(r"[0-9a-fA-F]{4}:[0-9a-fA-F]{4}", device):
        return device.lower() == f"{node.vendor:04x}:{node.product:04x}"
    return device.casefold() == node.name.casefold()


def _not_there(device: str, known: list[Node]) -> str:
    there = "; ".join(dict.fromkeys(f"{node.name} ({node.stable})" for node in known if node.keys)) or "none"
    return f"there is no device {device}; {REPLACED_BY}. To fix it: plug it in. Input devices here: {there}."


def _only_device(settings: PedalSettings, kernel: Kernel) -> PedalSource | None:
    """The one device that has the key and can't be a keyboard, or None. Raises NoSuchPart: there are several.

    It is plugged in or wireless, which rules out a remote control through a screen's cable and the machine's own
    buttons. No other part of it has letters.
    """
    # Unless a device is named, <number> is the display's number of a key.
    code = None if settings.key.startswith("<") else code_of(settings.key)
    known = kernel.nodes()
    typing = {(node.vendor, node.product) for node in known if node.has_letters}
    nodes = tuple(
        node
        for node in known
        if code in node.keys and node.bus in (BUS_USB, BUS_BLUETOOTH) and (node.vendor, node.product) not in typing
    )
    if code is None or not nodes:
        return None
    if len({(node.vendor, node.product) for node in nodes}) > 1:
        names = ", ".join(dict.fromkeys(f"{node.name} ({node.stable})" for node in nodes))
        raise NoSuchPart(
            f"The pedal is not heard: more than one device has the key {settings.key}; {REPLACED_BY}. "
            f"To fix it: set [pedal] device in the shop file to one of {names}."
        )
    return PedalSource(nodes, code)


def nodes_to_learn_from(
    settings: PedalSettings,
    kernel: Kernel = KERNEL,
    environ: Mapping[str, str] | None = None,
    platform: str = sys.platform,
) -> tuple[Node, ...]:
    """The nodes whose first key pressed is the pedal's: the named device's or, without a display, all that we may read.

    None: listen to the display. Raises NoSuchPart: the named device is missing, or we may read none.
    """
    if not platform.startswith("linux"):
        return ()
    known = [node for node in kernel.nodes() if node.keys]
    if is_named(settings):
        nodes = tuple(node for node in known if _is_called(settings.device, node))
        if not nodes:
            raise NoSuchPart(f"The pedal is not heard: {_not_there(settings.device, known)}")
        return nodes
    if settings.device == DISPLAY or not why_no_keyboard(os.environ if environ is None else environ, platform):
        return ()
    readable = tuple(node for node in known if kernel.may_read(node.path))
    if known and not readable:
        raise NoSuchPart(f"The pedal is not heard: {no_permission(known[0])}.")
    return readable


def no_permission(node: Node) -> str:
    """What to say about a device that we may not read. The fix is common Linux practice; work needs no root."""
    rule = (
        f'SUBSYSTEM=="input", KERNEL=="event*", ATTRS{{id/vendor}}=="{node.vendor:04x}", '
        f'ATTRS{{id/product}}=="{node.product:04x}", MODE="0660", GROUP="plugdev"'
    )
    return (
        f"this user may not read {node.name} ({node.path}); {REPLACED_BY}. To fix it: "
        "`sudo usermod -aG input $USER`, then log in again (that group can read every keyboard). For this pedal alone, "
        f"a member of plugdev can put the line {rule} in /etc/udev/rules.d/70-pedal.rules, then plug it in again"
    )
