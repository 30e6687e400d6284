"""Runs the free phone loop over a piece, as the background that the acceptance checks compare the words with.

It needs nothing from the decoding of the words. So on a machine with a second processor it runs at the same time, in
another process because the library keeps the interpreter's lock. The answer then comes a third sooner.
"""

from __future__ import annotations

import contextlib
import json
import os
import struct
import subprocess
import sys
import time
import weakref
from typing import IO, Protocol

from assistant.hearing import side_process
from assistant.hearing.accept import Unit
from assistant.hearing.decoder import make, model_file, units

# Hearing study, step 4. The loop needs a decoder of its own: as a part of the words' grammar it did not finish one
# minute of sound in 75 s.
SETTINGS = {"allphone_ci": True, "beam": 1e-12, "pbeam": 1e-12, "lw": 2.0, "compallsen": True}
LENGTH = struct.Struct("<I")  # the number of bytes of sound that follow


class PhoneLoop(Protocol):
    """Owned by one thread. Call `begin`, then `phones` once or not at all.

    For measuring, since the start: cpu_s, the processor time spent in another process, s; behind_s, the part of it that
    an answer would have to wait for on an idle machine, s.
    """

    cpu_s: float
    behind_s: float

    def begin(self, pcm16k: bytes) -> None:
        """Takes the piece whose phones can be asked for next."""

    def phones(self) -> list[Unit]:
        """The piece's phones."""


class Here:
    """Finds the phones in this process, when asked for them. Raises NoSuchPart when the library is missing."""

    cpu_s = behind_s = 0.0

    def __init__(self) -> None:
        self._decoder = make(allphone=model_file("en-us/en-us-phone.lm.bin"), **SETTINGS)
        self._piece = b""

    def begin(self, pcm16k: bytes) -> None:
        self._piece = pcm16k

    def phones(self) -> list[Unit]:
        return units(self._decoder, self._piece)


class LoopProcess:
    """Finds the phones in another process, from `begin` on. If that process is lost, this one does the work."""

    def __init__(self) -> None:
        self.cpu_s = self.behind_s = 0.0
        self._process: subprocess.Popen[bytes] | None = side_process.started(__name__)
        self._close = weakref.finalize(self, _ended, self._process)
        self._here: Here | None = None
        self._piece = b""
        self._waiting = False
        self._begun = 0.0

    @property
    def pid(self) -> int | None:
        """The process's id, or None when it is lost."""
        return self._process.pid if self._process else None

    def begin(self, pcm16k: bytes) -> None:
        if self._waiting:
            self._answer()
        self._piece, self._begun = pcm16k, time.process_time()
        if self._process and self._process.stdin:
            try:
                self._process.stdin.write(LENGTH.pack(len(pcm16k)) + pcm16k)
                self._process.stdin.flush()
                self._waiting = True
            except OSError:
                self._lose()

    def phones(self) -> list[Unit]:
        answer = self._answer() if self._waiting else None
        if answer is not None:
            return answer
        self._here = self._here or Here()
        self._here.begin(self._piece)
        return self._here.phones()

    def _answer(self) -> list[Unit] | None:
        self._waiting = False
        meanwhile = time.process_time() - self._begun
        line = self._process.stdout.readline() if self._process and self._process.stdout else b""
        if not line.endswith(b"\n"):
            self._lose()
            return None
        cpu_s, found = json.loads(line)
        self.cpu_s += cpu_s
        self.behind_s += max(0.0, cpu_s - meanwhile)
        return [Unit(*one) for one in found]

    def _lose(self) -> None:
        self._process, self._waiting = None, False
        self._close()


def phone_loop() -> PhoneLoop:
    """`LoopProcess` on a machine with two processors, else `Here`. Raises NoSuchPart when the library is missing."""
    return LoopProcess() if (os.cpu_count() or 1) > 1 else Here()


def _ended(process: subprocess.Popen[bytes]) -> None:
    for end in (process.stdin, process.stdout):
        with contextlib.suppress(OSError):
            if end:
                end.close()
    side_process.wait_for_end(process)


def serve(source: IO[bytes] | None = None, sink: IO[bytes] | None = None) -> None:
    """Runs the process: answers each piece with a line of JSON, the processor time (s) and the units."""
    source, sink = source or sys.stdin.buffer, sink or sys.stdout.buffer
    loop = Here()
    while len(header := source.read(LENGTH.size)) == LENGTH.size:
        began = time.process_time()
        loop.begin(source.read(*LENGTH.unpack(header)))
        found = [(one.name, one.first, one.last, one.score) for one in loop.phones()]
        answer = (time.process_time() - began, found)
        sink.write(json.dumps(answer).encode() + b"\n")
        sink.flush()
