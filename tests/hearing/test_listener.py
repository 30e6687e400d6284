"""Both listeners post what they hear, in session time, and replace a child that dies or hangs."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import sys
import threading
import time
from dataclasses import replace

import pytest

from assistant.hearing.ear import SCRAP, Found
from assistant.hearing.listener import FileListener, LiveListener, event_of
from assistant.plans.model import Check, VoiceSettings
from assistant.runner.clock import LiveClock
from assistant.session.events import DeviceChanged, Heard, NotHeard
from tests.hearing.voices import need, padded, pcm, saw_noise, spoken, table

# Nothing is suppressed and only a few phrases are listened for: what is posted, and when, is looked at here.
VOICE = VoiceSettings(recogniser="pocketsphinx", denoiser="none")
NEXT = "marigold proceed to next pass"
OPEN = tuple(phrase for phrase in table() if phrase.intent in ("cut", "back", "where"))
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals of this kind are POSIX")


@pytest.fixture(scope="module")
def all_posted():
    return []


@pytest.fixture
def posted(all_posted):
    all_posted.clear()
    return all_posted


@pytest.fixture
def own_ear(posted):
    """One that nothing was heard with before, to be killed."""
    need("espeak-ng")
    listener = FileListener(LiveClock(), posted.append, VOICE, start_s=100.0)
    listener.listen(OPEN, 7)
    yield listener
    listener.close()


@pytest.fixture(scope="module")
def shared_ear(all_posted):
    need("espeak-ng")
    listener = FileListener(LiveClock(), all_posted.append, VOICE, start_s=100.0)
    yield listener
    listener.close()


@pytest.fixture
def ear(shared_ear, posted):
    """One child for many tests, since loading it takes longer than most: quiet for a while, listening to everything."""
    shared_ear.speaking(False)
    feed(shared_ear, bytes(32000))
    shared_ear.listen(OPEN, 7)
    posted.clear()
    return shared_ear


def now(listener: FileListener) -> float:
    """Session time of the next sample."""
    return listener._start_s + listener._fed / 16000


def feed(listener: FileListener, sound: bytes, chunk: int = 3200) -> None:
    for start in range(0, len(sound), chunk):
        listener.feed(sound[start : start + chunk])


def heard(posted, kind=Heard):
    return [event for event in posted if isinstance(event, kind)]


def test_a_phrase_is_posted_in_session_time_with_its_generation(ear, posted):
    sound, begun = spoken("en-us", NEXT), now(ear)
    feed(ear, padded(sound, 1.0, 1.0))
    (event,) = heard(posted)
    assert (event.intent, event.phrase, event.generation) == ("cut", NEXT, 7)
    assert event.since == pytest.approx(begun + 1.0, abs=0.06)
    assert event.since + len(sound) / 32000 < event.at < event.since + len(sound) / 32000 + 0.6


@pytest.mark.long
def test_the_same_sound_gives_the_same_events_however_it_is_cut():
    need("espeak-ng")
    sound = padded(spoken("en-us+f3", NEXT), 0.7, 1.0)
    events = []
    for chunk in (320, 3202):
        posted: list = []
        listener = FileListener(LiveClock(), posted.append, VOICE, start_s=100.0)
        listener.listen(OPEN, 7)
        feed(listener, sound, chunk)
        listener.flush()
        listener.close()
        events.append([replace(event, utc="") for event in heard(posted)])  # the day's time goes on meanwhile
    assert len(events[0]) == 1
    assert events[1] == events[0]


def test_what_was_said_before_a_change_counts_for_the_old_generation(ear, posted):
    sound = padded(spoken("en-us", NEXT), 0.5, 1.0)
    half = len(sound) // 2 // 320 * 320
    feed(ear, sound[:half])
    ear.listen([phrase for phrase in OPEN if phrase.intent != "cut"], 8)
    feed(ear, sound[half:])
    (event,) = heard(posted)
    assert event.generation == 7


def test_only_what_means_something_now_is_heard(ear, posted):
    ear.listen([phrase for phrase in OPEN if phrase.intent != "cut"], 8)
    feed(ear, padded(spoken("en-us", NEXT)))
    assert heard(posted) == []
    assert len(heard(posted, NotHeard)) == 1


def test_our_own_voice_and_what_overlaps_it_is_not_heard(ear, posted):
    sound = padded(spoken("en-us", NEXT), 0.5, 0.6)
    ear.speaking(True)
    feed(ear, sound)
    ear.speaking(False)
    assert posted == []
    half = len(sound) // 2 // 320 * 320
    feed(ear, bytes(32000) + sound[:half])
    ear.speaking(True)
    feed(ear, sound[half:])
    ear.speaking(False)
    assert heard(posted) == []
    assert "you spoke during an announcement; say it again afterwards" in heard(posted, NotHeard)[0].reason
    feed(ear, bytes(16000) + sound)
    assert len(heard(posted)) == 1


def test_a_moment_after_our_own_voice_the_room_still_rings(ear, posted):
    ear.speaking(True)
    feed(ear, bytes(3200))
    ear.speaking(False)
    feed(ear, spoken("en-us", "standing by for now")[:9000] + bytes(32000))
    assert posted == []


def test_a_voice_cut_short_is_reported_and_a_knock_is_not():
    def found(like: str) -> Found:
        return Found(0, 1, 2, None, "the sound was shorter than 0.3 s", "", 0, knock=True, like=like)

    assert event_of(found(""), 1.0, "", 0.0) is None
    reported = event_of(found(SCRAP), 1.0, "", 0.0)
    assert isinstance(reported, NotHeard) and reported.like == SCRAP


def test_a_knock_is_not_reported(ear, posted):
    feed(ear, padded(pcm(saw_noise(800) * 0.3)))
    assert posted == []


def test_unknown_words_of_an_answer_are_named_at_the_start_and_the_rest_is_heard(posted):
    need("espeak-ng")
    checks = [Check("vise", "?", "zorkmid is fully closed", "setup")]
    listener = FileListener(LiveClock(), posted.append, VOICE, checks)
    (news,) = heard(posted, DeviceChanged)
    assert '"zorkmid" in "marigold zorkmid is fully closed"' in news.text
    listener.listen(OPEN, 1)
    feed(listener, padded(spoken("en-us", NEXT)))
    listener.close()
    assert len(heard(posted)) == 1


def test_a_killed_child_comes_back_and_hears_on_at_the_right_time(own_ear, posted):
    feed(own_ear, bytes(64000))
    first = own_ear.pid
    os.kill(first, signal.SIGKILL)
    sound = spoken("en-us", NEXT)
    feed(own_ear, padded(sound, 1.0, 1.0))
    assert own_ear.pid != first
    assert [event.state for event in heard(posted, DeviceChanged)] == ["lost", "works"]
    (event,) = heard(posted)
    assert event.since == pytest.approx(103.0, abs=0.15)
    assert event.generation == 7


@pytest.mark.long
def test_a_hung_child_is_replaced(own_ear, posted, monkeypatch):
    monkeypatch.setattr("assistant.hearing.listener.ANSWER_S", 0.5)
    os.kill(own_ear.pid, signal.SIGSTOP)
    own_ear.feed(bytes(3200))
    assert [event.state for event in heard(posted, DeviceChanged)] == ["lost", "works"]
    monkeypatch.setattr("assistant.hearing.listener.ANSWER_S", 20.0)
    feed(own_ear, padded(spoken("en-us", NEXT)))
    assert len(heard(posted)) == 1


def wait_for(condition, seconds: float = 20.0) -> bool:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if condition():
            return True
        time.sleep(0.02)
    return False


def states(posted, device):
    return [event.state for event in heard(posted, DeviceChanged) if event.device == device]


def test_a_live_child_that_is_killed_or_hangs_comes_back(posted, monkeypatch):
    monkeypatch.setattr("assistant.hearing.listener.ALIVE_S", 1.5)
    monkeypatch.setattr("assistant.hearing.listener.LOADS", 0)
    listener = LiveListener(LiveClock(), posted.append, VOICE, null_device=True)
    try:
        listener.listen(OPEN, 1)
        assert wait_for(lambda: "works" in states(posted, "microphone")), posted
        assert wait_for(lambda: listener.level == -120.0)  # the silent device gives digital silence
        first = listener.pid
        os.kill(first, signal.SIGKILL)
        assert wait_for(lambda: states(posted, "recogniser") == ["lost", "works"])
        assert wait_for(lambda: listener.pid not in (None, first))
        second = listener.pid
        os.kill(second, signal.SIGSTOP)
        assert wait_for(lambda: states(posted, "recogniser").count("works") == 2), posted
        assert wait_for(lambda: listener.pid not in (None, second))
    finally:
        listener.close()
    assert listener.level is None


def test_no_microphone_is_said_and_the_session_goes_on(posted, monkeypatch):
    # No sound server and no card: the library finds nothing.
    monkeypatch.setenv("PULSE_SERVER", "unix:/nonexistent")
    monkeypatch.setenv("ALSA_CONFIG_PATH", "/nonexistent")
    listener = LiveListener(LiveClock(), posted.append, VOICE)
    listener.listen(OPEN, 1)
    listener.speaking(True)
    listener.speaking(False)
    assert wait_for(lambda: states(posted, "microphone"))
    listener.close()
    news = [event for event in posted if isinstance(event, DeviceChanged) and event.device == "microphone"]
    if news[0].state == "works":
        pytest.skip("this machine has a microphone that can't be hidden")
    assert "by pedal or keys" in news[0].text


# --- a machine so slow that a limit in seconds would call its parts broken


def children() -> set[int]:
    """Process ids of the hearing children that there are."""
    return {one.pid for one in multiprocessing.active_children() if one.name == "kerfcall-hearing" and one.pid}


def loading(post) -> tuple[LiveListener, int]:
    """A listener whose child has just been started, and the child's process id."""
    before = children()
    listener = LiveListener(LiveClock(), post, VOICE, null_device=True)
    assert wait_for(lambda: children() - before)
    (child,) = children() - before
    return listener, child


class Bursts:
    """Lets a process run for a moment, again and again, until it is left in peace."""

    def __init__(self, pid: int, runs_s: float = 0.1, stands_s: float = 0.3) -> None:
        self._pid, self._runs_s, self._stands_s = pid, runs_s, stands_s
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def _run(self) -> None:
        with contextlib.suppress(ProcessLookupError):
            while not self._ending.is_set():
                os.kill(self._pid, signal.SIGSTOP)
                self._ending.wait(self._stands_s)
                os.kill(self._pid, signal.SIGCONT)
                self._ending.wait(self._runs_s)

    def end(self) -> None:
        self._ending.set()
        self._thread.join()


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="what a process does is known on Linux only")
@pytest.mark.long
def test_a_recogniser_that_loads_slowly_is_called_slow_with_the_figure_and_then_works(posted, monkeypatch):
    """It runs a ninth of the time: longer in all than one that doesn't move may take."""
    monkeypatch.setattr("assistant.hearing.process.READY_S", 2.0)
    monkeypatch.setattr("assistant.hearing.listener.SLOW_LOAD_S", 1.0)
    listener, child = loading(posted.append)
    bursts = Bursts(child, 0.05, 0.4)
    try:
        assert wait_for(lambda: "works" in states(posted, "recogniser"), 120.0), posted
    finally:
        bursts.end()
        listener.close()
    assert states(posted, "recogniser") == ["slow", "works"]
    slow, works = (event.text for event in heard(posted, DeviceChanged) if event.device == "recogniser")
    assert "1 s so far" in slow and "by pedal or keys" in slow
    assert float(works.split("took ")[1].split(" s")[0]) > 2


def test_a_recogniser_that_is_stuck_while_it_loads_is_lost(posted, monkeypatch):
    monkeypatch.setattr("assistant.hearing.process.READY_S", 1.0)
    listener, child = loading(posted.append)
    try:
        os.kill(child, signal.SIGSTOP)
        assert wait_for(lambda: "lost" in states(posted, "recogniser")), posted
        assert "took too long to load" in heard(posted, DeviceChanged)[0].text
    finally:
        listener.close()


@pytest.mark.long
def test_one_that_could_be_loaded_only_slowly_is_slow_and_not_hung_when_it_takes_its_time(posted, monkeypatch):
    """The limit is a multiple of the time that it took to load here."""
    monkeypatch.setattr("assistant.hearing.listener.ALIVE_S", 1.0)
    monkeypatch.setattr("assistant.hearing.listener.LOADS", 1000)
    listener = LiveListener(LiveClock(), posted.append, VOICE, null_device=True)
    try:
        assert wait_for(lambda: "works" in states(posted, "microphone"), 60.0), posted
        first = listener.pid
        os.kill(first, signal.SIGSTOP)
        assert wait_for(lambda: states(posted, "recogniser") == ["slow"]), posted
        time.sleep(1.0)
        os.kill(first, signal.SIGCONT)
        assert wait_for(lambda: listener.level is not None)
        time.sleep(1.0)
        assert listener.pid == first
        assert states(posted, "recogniser") == ["slow"]
        assert states(posted, "microphone") == ["works"], "its chunks could not come meanwhile"
    finally:
        listener.close()


def test_who_asks_for_a_microphone_waits_for_the_recogniser_to_be_loaded(posted):
    """The time for the microphone runs from then, however long the recogniser takes."""
    listener, child = loading(posted.append)
    bursts = Bursts(child, 0.1, 0.1)
    threading.Timer(3.0, bursts.end).start()
    try:
        assert listener.has_microphone(30.0)
    finally:
        bursts.end()
        listener.close()


@pytest.mark.long
def test_a_file_is_heard_by_a_recogniser_that_runs_in_bursts(posted, monkeypatch):
    need("espeak-ng")
    monkeypatch.setattr("assistant.hearing.listener.ANSWER_S", 2.0)
    listener = FileListener(LiveClock(), posted.append, VOICE)
    bursts = Bursts(listener.pid)
    try:
        listener.listen(OPEN, 7)
        feed(listener, padded(spoken("en-us", NEXT), 1.0, 1.0))
    finally:
        bursts.end()
        listener.close()
    assert states(posted, "recogniser") == []
    assert len(heard(posted)) == 1
