"""The serial line: which port, opened for us alone; bytes in and out; gone when it was pulled out."""

from __future__ import annotations

import contextlib
import os
import re
import select
from types import TracebackType
from typing import Any, Protocol

from assistant.carriage.dialect import BAUD
from assistant.errors import NoSuchPart

_USB = re.compile(r"usb:([0-9a-fA-F]{4}):([0-9a-fA-F]{4})(?::(.+))?")


class GoneError(Exception):
    """The line can't be read or written any more."""


class ByteLine(Protocol):
    """Bytes to and from a controller."""

    def read(self, within_s: float) -> bytes:
        """What has come, b"" if nothing came in time or `wake` was called. Raises GoneError."""

    def write(self, data: bytes) -> None:
        """Raises GoneError."""

    def urgent(self, byte: bytes) -> None:
        """Send this byte before all that waits; from any thread and from a signal handler. Never raises."""

    def wake(self) -> None:
        """Have `read` return now; from any thread and from a signal handler."""

    def close(self) -> None: ...


def port_of(port: str) -> str:
    """The path of this port, which may name a USB device instead. Raises NoSuchPart, and says which there are."""
    found = _USB.fullmatch(port)
    if found is None:
        return port
    from serial.tools import list_ports

    vendor, product, serial = int(found[1], 16), int(found[2], 16), found[3]
    there = list(list_ports.comports())
    fit = [one for one in there if (one.vid, one.pid) == (vendor, product) and serial in (None, one.serial_number)]
    if len(fit) == 1:
        return str(fit[0].device)
    listed = ", ".join(named(one) for one in (fit or there) if one.vid is not None) or "none"
    if fit:
        text = f"More than one controller is {port}: {listed}. Add the serial number to carriage.drive.port."
        raise NoSuchPart(text)
    text = f"No motion controller {port} is plugged in. Serial ports on USB: {listed}."
    raise NoSuchPart(f"{text} To fix it: plug it in, or correct carriage.drive.port in the shop file.")


def named(port: Any) -> str:
    """A port of pyserial's list as a shop file names it."""
    name = f"usb:{port.vid:04x}:{port.pid:04x}"
    return f"{name}:{port.serial_number}" if port.serial_number else name


class SerialLine:
    """A real port, which no other program can open meanwhile. Raises NoSuchPart: not there, in use, not allowed."""

    def __init__(self, port: str):
        try:
            import serial
        except ImportError as error:
            text = "The carriage's motor needs pyserial. To fix it: python -m pip install pyserial"
            raise NoSuchPart(text) from error
        # TypeError and ValueError: what pyserial and select raise once another thread has closed the port.
        self._failed = (OSError, serial.SerialException, TypeError, ValueError)
        path = port_of(port)
        try:
            self._serial = serial.Serial(path, BAUD, timeout=0, write_timeout=1.0, exclusive=True)
        except (OSError, serial.SerialException, ValueError) as error:
            raise NoSuchPart(_why_not_open(path, error)) from error
        # Reading waits on both; without file handles (Windows) it looks at the port every few milliseconds.
        self._fd = self._serial.fileno() if hasattr(self._serial, "fileno") and os.name != "nt" else None
        self._woken, self._waker = os.pipe()
        os.set_blocking(self._woken, False)
        # A signal handler may write to it, and must not wait until there is room.
        os.set_blocking(self._waker, False)

    def read(self, within_s: float) -> bytes:
        try:
            if self._fd is None:
                self._serial.timeout = min(within_s, 0.005)
                return bytes(self._serial.read(max(1, self._serial.in_waiting)))
            ready, _, _ = select.select([self._fd, self._woken], [], [], within_s)
            if self._woken in ready:
                with contextlib.suppress(BlockingIOError):
                    os.read(self._woken, 4096)
            if self._fd not in ready:
                return b""
            data = os.read(self._fd, 4096)
        except BlockingIOError:
            return b""
        except self._failed as error:
            raise GoneError(str(error)) from error
        # Ready to be read, yet empty: that is how a lead that was pulled out shows.
        if not data:
            raise GoneError("closed")
        return data

    def write(self, data: bytes) -> None:
        try:
            self._serial.write(data)
        except self._failed as error:
            raise GoneError(str(error)) from error

    def urgent(self, byte: bytes) -> None:
        with contextlib.suppress(*self._failed):
            if self._fd is None:
                self._serial.write(byte)
            else:
                # Past pyserial, which waits when the port takes nothing: a signal handler must not.
                os.write(self._fd, byte)

    def wake(self) -> None:
        with contextlib.suppress(OSError):
            os.write(self._waker, b".")

    def close(self) -> None:
        with contextlib.suppress(*self._failed):
            self._serial.close()
        self._fd = None
        for handle in (self._woken, self._waker):
            with contextlib.suppress(OSError):
                os.close(handle)

    def __enter__(self) -> SerialLine:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()


def _why_not_open(path: str, error: BaseException) -> str:
    number = getattr(error, "errno", None)
    text = str(error)
    if number == 2 or "No such file" in text:
        mend = "plug the controller in and switch it on, or correct carriage.drive.port in the shop file"
        return f"The serial line {path} is not there. To fix it: {mend}."
    if number == 13 or "Permission" in text or "Access is denied" in text:
        mend = "join the group that owns it (on Linux mostly dialout) and log in again, or close what uses it"
        return f"The serial line {path} may not be opened. To fix it: {mend}."
    if number in (11, 16) or "exclusively lock" in text or "busy" in text:
        return f"Another program uses the serial line {path}. To fix it: close that program."
    return f"The serial line {path} can't be opened: {text}."
