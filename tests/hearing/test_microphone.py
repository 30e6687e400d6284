"""A microphone that is missing, falls silent or is muted is named, tried again, and said to work when it does."""

from __future__ import annotations

import sys
from collections.abc import Callable
from types import SimpleNamespace

import numpy as np
import pytest

from assistant.errors import NoSuchPart
from assistant.hearing.microphone import (
    BACK_OFF_S,
    FIRST_CHUNK_S,
    MUTED_AFTER_S,
    SILENT_AFTER_S,
    Microphone,
    Narrow,
    open_capture,
)
from tests.hearing.voices import floats, pcm, tone

SOUND, ZEROS = b"\x01\x00" * 480, bytes(960)


class Capture:
    """A device driven by hand. `there`: whether it can be opened."""

    def __init__(self) -> None:
        self.there = True
        self.opened = self.closed = 0
        self.give: Callable[[bytes, float], None] = lambda chunk, at: None

    def open(self, on_chunk: Callable[[bytes, float], None]) -> Capture:
        if not self.there:
            raise NoSuchPart("no microphone was found")
        self.opened += 1
        self.give = on_chunk
        return self

    def close(self) -> None:
        self.closed += 1


def made() -> tuple[Microphone, Capture, list[tuple[str, str]], list[bytes]]:
    device, told, heard = Capture(), [], []
    microphone = Microphone(
        lambda chunk, at: heard.append(chunk), lambda state, text: told.append((state, text)), device.open
    )
    return microphone, device, told, heard


def test_sound_is_passed_on_and_that_it_works_is_told_once():
    microphone, device, told, heard = made()
    for second in range(5):
        microphone.tick(float(second))
        device.give(SOUND, second + 0.5)
    assert len(heard) == 5
    assert [state for state, _ in told] == ["works"]


def test_none_there_is_told_once_and_looked_for_less_and_less_often():
    microphone, device, told, _ = made()
    device.there = False
    microphone.tick(0.0)
    assert told == [("lost", "Voice is off: no microphone was found. Go on by pedal or keys.")]
    microphone.tick(BACK_OFF_S[0] - 0.01)
    microphone.tick(BACK_OFF_S[0])
    device.there = True
    microphone.tick(BACK_OFF_S[0] + BACK_OFF_S[1] - 0.01)
    assert device.opened == 0, "the second pause is longer than the first"
    microphone.tick(BACK_OFF_S[0] + BACK_OFF_S[1])
    device.give(SOUND, 2.0)
    microphone.tick(2.1)
    assert [state for state, _ in told] == ["lost", "works"]


def test_one_that_gives_no_more_sound_is_closed_and_opened_anew():
    microphone, device, told, _ = made()
    microphone.tick(0.0)
    device.give(SOUND, 0.1)
    microphone.tick(0.2)
    microphone.tick(0.7)
    microphone.tick(0.1 + SILENT_AFTER_S + 0.1)
    assert device.closed == 1 and told[-1][0] == "lost" and "no more sound" in told[-1][1]
    microphone.tick(10.0)
    device.give(SOUND, 10.1)
    microphone.tick(10.2)
    assert device.opened == 2 and told[-1][0] == "works"


def test_a_sound_server_gets_time_for_the_first_chunk():
    microphone, device, told, _ = made()
    for tenths in range(round(10 * FIRST_CHUNK_S)):
        microphone.tick(tenths / 10)
    assert not told and not device.closed
    microphone.tick(FIRST_CHUNK_S + 0.1)
    assert told[-1][0] == "lost"


def test_one_whose_chunks_could_not_come_while_its_owner_was_held_up_is_not_lost():
    """A decoding that takes seconds on a slow machine keeps the device's thread waiting. So does a stopped process."""
    microphone, device, told, _ = made()
    microphone.tick(0.0)
    device.give(SOUND, 0.1)
    microphone.tick(0.2)
    microphone.tick(8.0)
    assert [state for state, _ in told] == ["works"] and not device.closed
    microphone.tick(8.5)
    microphone.tick(9.2)
    assert told[-1][0] == "lost", "but one that gives nothing from then on is"


def test_a_muted_one_is_named_and_works_again_when_it_gives_sound():
    microphone, device, told, _ = made()
    second = 0.0
    while second < MUTED_AFTER_S + 2:
        microphone.tick(second)
        device.give(ZEROS, second)
        second += 0.5
    assert [state for state, _ in told] == ["works", "lost"] and "muted" in told[-1][1]
    assert not device.closed, "it is there: nothing would be won by opening it anew"
    device.give(SOUND, second)
    microphone.tick(second + 0.1)
    assert told[-1][0] == "works"


def narrowed(samples: np.ndarray, size: int = 960) -> np.ndarray:
    """Through `Narrow` in chunks of so many bytes."""
    narrow, sound = Narrow(), pcm(samples)
    return floats(b"".join(narrow(sound[at : at + size]) for at in range(0, len(sound), size)))


@pytest.mark.parametrize("hz", [100, 1000, 3000, 6500])
def test_what_speech_is_made_of_comes_through_as_it_was(hz):
    heard = narrowed(tone(hz, 1, 0.3, 48_000))[1000:]
    assert np.abs(heard).max() == pytest.approx(0.3, rel=0.02)
    spectrum = np.abs(np.fft.rfft(heard * np.hanning(len(heard))))
    assert np.argmax(spectrum) * 16_000 / len(heard) == pytest.approx(hz, abs=2)


@pytest.mark.parametrize("hz", [9_000, 12_000, 15_500, 20_000])
def test_hiss_above_it_does_not_fold_down(hz):
    """Taken at 16 kHz without a filter it would be heard at 16 kHz less its own frequency."""
    left = narrowed(tone(hz, 1, 0.3, 48_000))[1000:]
    assert 20 * np.log10(left.std() / (0.3 / np.sqrt(2))) < -55


@pytest.mark.parametrize("size", [2, 10, 962, 48_000])
def test_the_length_of_chunks_does_not_matter(size):
    samples = tone(700, 0.1, 0.3, 48_000)
    assert (narrowed(samples, size) == narrowed(samples, len(samples) * 2)).all()


def test_a_device_that_lacks_48_khz_is_taken_at_16(monkeypatch):
    """PortAudio refuses a rate that the device lacks; miniaudio converts."""
    rates, heard = [], []

    class Refused(Exception):
        pass

    class Stream:
        def __init__(self, rate, block, channels, dtype, callback):
            rates.append((rate, block))
            if rate != 16_000:
                raise Refused
            self.callback = callback

        def start(self):
            self.callback(b"\x05\x00" * 480, 480, None, None)

        def close(self, ignore_errors):
            pass

    monkeypatch.setitem(sys.modules, "sounddevice", SimpleNamespace(RawInputStream=Stream, PortAudioError=Refused))
    monkeypatch.setitem(sys.modules, "miniaudio", None)
    open_capture(lambda chunk, at: heard.append(chunk)).close()
    assert rates == [(48_000, 1440), (16_000, 480)] and heard == [b"\x05\x00" * 480]
