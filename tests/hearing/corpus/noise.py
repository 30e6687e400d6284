"""Saw noise with a drifting blade tone, bursts and knocks, and a room's echo, all by formula and seed."""

from __future__ import annotations

import numpy as np

from assistant.hearing.contract import RATE

# Seeds of one half are never used by the other.
SEEDS = {"tune": 1_000_000, "report": 2_000_000}


def saw(count: int, seed: int) -> np.ndarray:
    """Unit variance; the hearing study's formula, its 1,600 Hz blade tone drifting by up to 6 % over some seconds."""
    rng = np.random.default_rng(seed)
    shaped = np.fft.irfft(
        np.fft.rfft(rng.standard_normal(count)) / np.sqrt(np.maximum(np.fft.rfftfreq(count, 1 / RATE), 80)), count
    )
    t = np.arange(count) / RATE
    drift = 0.06 * np.sin(2 * np.pi * t / rng.uniform(4, 12) + rng.uniform(0, 2 * np.pi))
    turns = np.cumsum(1600 * (1 + drift)) / RATE
    blade = sum(np.sin(2 * np.pi * h * turns + rng.uniform(0, 2 * np.pi)) / h for h in (1, 2, 3))
    hum = sum(np.sin(2 * np.pi * h * 120 * t) / h for h in (1, 2, 3))
    noise = shaped / shaped.std() + 0.5 * blade + 0.4 * hum
    return noise / noise.std()


def working_saw(seconds: float, seed: int) -> np.ndarray:
    """Saw noise with cuts (+6 to +20 dB, 0.3 to 2.5 s) and knocks; before them unit variance."""
    rng = np.random.default_rng(seed + 500_000)
    noise = saw(round(seconds * RATE), seed)
    gain = np.zeros(len(noise))  # dB
    knocks = np.zeros(len(noise))
    at = rng.uniform(0.5, 2)
    while at < seconds:
        length, ramp = rng.uniform(0.3, 2.5), rng.uniform(0.05, 0.4)
        span = slice(round(at * RATE), min(len(noise), round((at + length + 2 * ramp) * RATE)))
        t = np.arange(span.stop - span.start) / RATE
        shape = np.clip(np.minimum(t, length + 2 * ramp - t) / ramp, 0, 1)
        gain[span] = shape * rng.uniform(6, 20)
        at += length + 2 * ramp + rng.uniform(0.5, 4)
        start = int(rng.integers(0, len(noise)))
        knock = _knock(rng)[: len(noise) - start]
        knocks[start : start + len(knock)] += knock
    return noise * 10 ** (gain / 20) + knocks


def _knock(rng: np.random.Generator) -> np.ndarray:
    t = np.arange(round(0.3 * RATE)) / RATE
    knock = np.zeros(len(t))
    for _ in range(4):
        decay = np.exp(-t / rng.uniform(0.01, 0.08))
        knock += rng.uniform(1, 8) * decay * np.sin(2 * np.pi * rng.uniform(150, 2500) * t)
    return knock


def echoed(samples: np.ndarray, seed: int) -> np.ndarray:
    """In a room: direct sound, then exponentially decaying noise from 5 ms on, RT60 0.3 to 0.5 s, 3 dB below it in all.

    Longer than `samples` by the room's half second.
    """
    rng = np.random.default_rng(seed)
    t = np.arange(round(0.5 * RATE)) / RATE
    tail = rng.standard_normal(len(t)) * 10 ** (-3 * t / rng.uniform(0.3, 0.5)) * (t >= 0.005)
    response = tail * 10 ** (-3 / 20) / np.sqrt((tail**2).sum())
    response[0] = 1.0
    size = len(samples) + len(t)
    return np.fft.irfft(np.fft.rfft(samples, size) * np.fft.rfft(response, size), size)


def in_room(samples: np.ndarray, rt60: float, seed: int) -> np.ndarray:
    """In a room, about a metre from the microphone: direct sound, then noise from 5 ms on that dies away.

    rt60: s until it is 60 dB weaker; `samples` get longer by it. At 0.6 s, direct and reverberant sound are equally
    strong, as they are at 0.8 m in 60 m³ or 1 m in 100 m³ in front of a talker (critical distance 0.057 * sqrt(2 * V /
    RT60), from memory). At the same distance the reverberant sound's energy grows as RT60 does (Sabine), so at 1.0 s it
    is 2.2 dB above the direct sound.
    """
    rng = np.random.default_rng(seed)
    t = np.arange(round(rt60 * RATE)) / RATE
    response = rng.standard_normal(len(t)) * 10 ** (-3 * t / rt60) * (t >= 0.005)
    response *= np.sqrt(rt60 / 0.6 / (response**2).sum())
    response[0] = 1.0
    size = len(samples) + len(t)
    return np.fft.irfft(np.fft.rfft(samples, size) * np.fft.rfft(response, size), size)


def through_headset(samples: np.ndarray) -> np.ndarray:
    """The telephone's band, 300 to 3400 Hz: a Butterworth filter, 4th order at either edge (24 dB an octave)."""
    from scipy.signal import butter, sosfilt

    return sosfilt(butter(4, (300, 3400), "bandpass", fs=RATE, output="sos"), samples)


def with_pause(first: bytes, rest: bytes, seconds: float) -> bytes:
    """Two pieces with so much silence between; the room's own noise fills it where the whole is placed in a room."""
    return first + bytes(2 * round(seconds * RATE)) + rest
