"""When a sample was spoken: chunks come late and in bunches, never early."""

from __future__ import annotations

import random

import pytest

from assistant.hearing.anchor import GAP_S, Anchor
from assistant.hearing.contract import RATE

CHUNK = RATE // 100


def test_late_chunks_move_nothing():
    anchor, chance = Anchor(), random.Random(3)
    for n in range(1, 500):
        late = 0.0 if n % 7 == 0 else chance.random() * 0.1
        anchor.chunk(n * CHUNK, 100.0 + n / 100 + late)
    assert anchor.time_of(250 * CHUNK) == pytest.approx(102.5, abs=0.012)


def test_there_and_back():
    anchor = Anchor()
    anchor.chunk(CHUNK, 5.0)
    assert anchor.sample_at(anchor.time_of(12_345)) == 12_345


def test_a_device_clock_that_runs_off_is_followed():
    """Half a thousandth slow: after an hour it is 1.8 s off, and the anchor with it."""
    anchor = Anchor()
    for n in range(1, 3600 * 10):
        anchor.chunk(n * RATE // 10, n / 10 * 1.0005)
    assert anchor.time_of(3600 * RATE) == pytest.approx(3600 * 1.0005, abs=0.05)


def test_lost_sound_is_a_new_beginning():
    anchor = Anchor()
    anchor.chunk(CHUNK, 1.0)
    anchor.chunk(2 * CHUNK, 1.01 + GAP_S + 3.0)
    assert anchor.time_of(2 * CHUNK) == pytest.approx(1.01 + GAP_S + 3.0)


def test_before_the_first_chunk_there_is_no_sample():
    assert Anchor().sample_at(12.0) == 0
