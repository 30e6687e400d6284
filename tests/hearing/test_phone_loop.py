"""The phone loop gives the same in another process as in this one, whatever becomes of that process."""

from __future__ import annotations

import gc
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable

import psutil
import pytest

from assistant.hearing import phone_loop
from assistant.hearing.accept import Unit
from assistant.hearing.phone_loop import Here, LoopProcess
from tests.hearing.voices import need, piece


@pytest.fixture(scope="module")
def pieces() -> list[bytes]:
    need("espeak-ng")
    return [piece("en-us", text) for text in ("marigold this pass is completed", "how many more to go")]


@pytest.fixture(scope="module")
def phones(pieces: list[bytes]) -> list[list[Unit]]:
    here = Here()
    return [asked(here, one) for one in pieces]


def asked(loop: Here | LoopProcess, pcm: bytes) -> list[Unit]:
    loop.begin(pcm)
    return loop.phones()


def becomes(holds: Callable[[], bool], within_s: float = 10.0) -> bool:
    end = time.monotonic() + within_s
    while not holds() and time.monotonic() < end:
        time.sleep(0.02)
    return holds()


def gone(pid: int) -> bool:
    return not psutil.pid_exists(pid) or psutil.Process(pid).status() == psutil.STATUS_ZOMBIE


def test_beside_hears_to_the_last_digit_what_is_heard_here(pieces: list[bytes], phones: list[list[Unit]]) -> None:
    assert phones[0] != phones[1] and all(len(found) > 10 for found in phones)
    loop = LoopProcess()
    assert [asked(loop, one) for one in pieces] == phones
    assert loop.cpu_s > 0 and 0 <= loop.behind_s <= loop.cpu_s


def test_an_answer_nobody_asked_for_is_never_taken_for_the_next(pieces: list[bytes], phones: list[list[Unit]]) -> None:
    loop = LoopProcess()
    loop.begin(pieces[0])
    assert asked(loop, pieces[1]) == phones[1]
    loop.begin(pieces[1])
    loop.begin(pieces[1])
    assert asked(loop, pieces[0]) == phones[0]


@pytest.mark.skipif(sys.platform == "win32", reason="needs SIGKILL")
@pytest.mark.parametrize("when", ["between", "at work"])
def test_the_work_goes_on_here_when_the_process_is_lost(
    pieces: list[bytes], phones: list[list[Unit]], when: str
) -> None:
    loop = LoopProcess()
    assert asked(loop, pieces[0]) == phones[0]
    pid = loop.pid
    assert pid
    if when == "at work":
        os.kill(pid, signal.SIGSTOP)
        loop.begin(pieces[1])
    os.kill(pid, signal.SIGKILL)
    assert becomes(lambda: gone(pid))
    if when == "between":
        loop.begin(pieces[1])
    assert loop.phones() == phones[1]
    assert loop.pid is None
    assert asked(loop, pieces[0]) == phones[0]


def test_the_process_ends_with_its_owner() -> None:
    loop = LoopProcess()
    pid = loop.pid
    assert pid and not gone(pid)
    del loop
    gc.collect()
    assert becomes(lambda: gone(pid))


HOLDS_ONE = """
from assistant.hearing.phone_loop import LoopProcess
loop = LoopProcess()
print(loop.pid, flush=True)
input()
"""


def test_the_process_ends_when_its_owners_process_is_killed() -> None:
    owner = subprocess.Popen([sys.executable, "-c", HOLDS_ONE], stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    assert owner.stdin and owner.stdout
    with owner.stdin, owner.stdout:
        pid = int(owner.stdout.readline())
        assert not gone(pid)
        owner.kill()
        owner.wait()
        assert becomes(lambda: gone(pid))


@pytest.mark.parametrize(("processors", "kind"), [(4, LoopProcess), (2, LoopProcess), (1, Here), (None, Here)])
def test_it_is_beside_where_there_is_a_second_processor(
    monkeypatch: pytest.MonkeyPatch, processors: int | None, kind: type
) -> None:
    monkeypatch.setattr(phone_loop.os, "cpu_count", lambda: processors)
    assert type(phone_loop.phone_loop()) is kind
