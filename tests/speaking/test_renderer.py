"""The speaking thread renders first what must sound now, then the newest request of what can come next."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator

import pytest

from assistant.errors import KerfcallError
from assistant.speaking.cache import SpeechCache
from assistant.speaking.engine import Pcm
from assistant.speaking.renderer import Renderer
from tests.speaking.stand_ins import FlatVoice


class Bench:
    """A renderer with its voice, and what it reported."""

    def __init__(self) -> None:
        self.voice = FlatVoice()
        self.failures: list[KerfcallError] = []
        self.cache = SpeechCache()
        self.renderer = Renderer(self.voice, self.cache, self.failures.append)

    def want(self, text: str, still: Callable[[], bool] = lambda: True) -> tuple[threading.Event, list[Pcm | None]]:
        done, got = threading.Event(), []

        def take(pcm: Pcm | None) -> None:
            got.append(pcm)
            done.set()

        self.renderer.want(text, take, still)
        return done, got


def until(true: Callable[[], bool]) -> None:
    end = time.monotonic() + 5
    while not true():
        assert time.monotonic() < end
        time.sleep(0.002)


@pytest.fixture
def bench() -> Iterator[Bench]:
    made = Bench()
    yield made
    made.voice.gate.set()
    made.renderer.close()


def test_a_newer_request_makes_older_ones_forgotten(bench: Bench) -> None:
    bench.voice.gate.clear()
    bench.renderer.prepare(["0.1", "0.2", "0.3"])
    until(lambda: bench.voice.begun == ["0.1"])
    bench.renderer.prepare(["0.4", "0.5"])
    bench.voice.gate.set()
    until(lambda: len(bench.cache) == 3)
    assert bench.voice.begun == ["0.1", "0.4", "0.5"]


def test_what_must_sound_goes_before_what_may(bench: Bench) -> None:
    """The render ahead in progress is given up for it, and done after."""
    bench.voice.gate.clear()
    bench.renderer.prepare(["0.1", "0.2"])
    until(lambda: bench.voice.begun == ["0.1"])
    done, got = bench.want("0.9")
    until(lambda: bench.voice.begun == ["0.1", "0.9"])
    bench.voice.gate.set()
    assert done.wait(5) and got[0] is not None
    until(lambda: len(bench.cache) == 3)
    assert bench.voice.begun == ["0.1", "0.9", "0.1", "0.2"]


def test_the_very_text_being_rendered_ahead_is_not_begun_again(bench: Bench) -> None:
    bench.voice.gate.clear()
    bench.renderer.prepare(["0.1"])
    until(lambda: bench.voice.begun == ["0.1"])
    done, got = bench.want("0.1")
    bench.voice.gate.set()
    assert done.wait(5) and got[0] is not None
    assert bench.voice.begun == ["0.1"]


def test_what_is_no_longer_wanted_is_not_rendered(bench: Bench) -> None:
    bench.want("0.1", lambda: False)
    done, _ = bench.want("0.2")
    assert done.wait(5)
    assert bench.voice.begun == ["0.2"]


def test_a_render_stops_when_it_is_no_longer_wanted(bench: Bench) -> None:
    bench.voice.gate.clear()
    wanted = threading.Event()
    wanted.set()
    bench.want("0.1", wanted.is_set)
    until(lambda: bench.voice.begun == ["0.1"])
    wanted.clear()
    done, _ = bench.want("0.2")
    until(lambda: bench.voice.begun == ["0.1", "0.2"])
    bench.voice.gate.set()
    assert done.wait(5)


@pytest.mark.parametrize("text", ["0.1", "no number: the voice itself breaks"])
def test_the_thread_outlives_a_failing_voice(bench: Bench, text: str) -> None:
    bench.voice.fails = True
    done, got = bench.want(text)
    assert done.wait(5) and got == [None]
    assert "hoarse" in str(bench.failures[0])
    bench.voice.fails = False
    done, got = bench.want("0.2")
    assert done.wait(5) and got[0] is not None


def test_a_foreign_exception_is_reported_as_ours(bench: Bench) -> None:
    done, got = bench.want("not a number")
    assert done.wait(5) and got == [None]
    assert "ValueError" in str(bench.failures[0])
    assert isinstance(bench.failures[0].__cause__, ValueError)


def test_rendered_texts_are_ready_and_not_rendered_again(bench: Bench) -> None:
    assert bench.renderer.ready("0.1") is None
    bench.renderer.prepare(["0.1", "0.1"])
    until(lambda: bench.renderer.ready(" 0.1\n") is not None)
    done, _ = bench.want("0.1")
    assert done.wait(5) and bench.voice.begun == ["0.1"]


def test_closing_closes_the_voice_and_fails_what_waits(bench: Bench) -> None:
    bench.voice.gate.clear()
    first, _ = bench.want("0.1")
    until(lambda: bench.voice.begun == ["0.1"])
    second, got = bench.want("0.2")
    bench.renderer.close()
    assert first.is_set() and second.is_set() and got == [None]
    assert bench.voice.closed


def test_a_rendering_without_sound_has_failed_and_is_not_kept(bench: Bench) -> None:
    """Played it would be over at once and count as spoken, with nothing heard."""
    done, got = bench.want("0")
    assert done.wait(5) and got == [None]
    assert ["no sound" in str(failure) for failure in bench.failures] == [True]
    assert bench.renderer.ready("0") is None
