"""A microphone that is missing, falls silent or is muted is named, tried again, and said to work when it does."""

from __future__ import annotations

from collections.abc import Callable

from assistant.errors import NoSuchPart
from assistant.hearing.microphone import BACK_OFF_S, FIRST_CHUNK_S, MUTED_AFTER_S, SILENT_AFTER_S, Microphone

SOUND, ZEROS = b"\x01\x00" * 480, bytes(960)


class Capture:
    """A device by hand: `there` tells whether it can be opened."""

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
    microphone.tick(0.1 + SILENT_AFTER_S + 0.1)
    assert device.closed == 1 and told[-1][0] == "lost" and "no more sound" in told[-1][1]
    microphone.tick(10.0)
    device.give(SOUND, 10.1)
    microphone.tick(10.2)
    assert device.opened == 2 and told[-1][0] == "works"


def test_a_sound_server_gets_time_for_the_first_chunk():
    microphone, device, told, _ = made()
    microphone.tick(0.0)
    microphone.tick(FIRST_CHUNK_S - 0.1)
    assert not told and not device.closed
    microphone.tick(FIRST_CHUNK_S + 0.1)
    assert told[-1][0] == "lost"


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
