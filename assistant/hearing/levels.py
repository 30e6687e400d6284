"""Measures an input: its level, its faults and its noise.

Levels are in dBFS: 20 log10 of the root mean square, full scale = 1, so that a full-scale sine is at -3.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from assistant.hearing.contract import RATE

NOTHING = -120.0  # dBFS, for digital silence
SILENT = -85.0  # dBFS; a microphone with its gain up is louder than this in any room
QUIET_SPEECH, LOUD_SPEECH = -45.0, -6.0  # dBFS; between them speech is neither drowned nor close to clipping
LOUD_ROOM = -40.0  # dBFS, with the saw off
CLIPPED_RUN = 4  # so many samples in a row exactly at the extreme are a flat top
LEAST_EXTREME = 0.1  # of full scale; a flat top below it is no clipping
DC = 0.01  # of full scale
HUM = -60.0  # dBFS; hum is reported if it is louder and makes up `HUM_SHARE` of the power
HUM_SHARE = 0.5
MAINS_HZ = (50, 60)
BAR_CELLS, BAR_FROM = 40, -80.0

BINS = 512
HANN = np.hanning(BINS + 1)[:-1]


def floats(pcm16k: bytes) -> np.ndarray:
    """The samples as floats, -1 to 1."""
    return np.frombuffer(pcm16k[: len(pcm16k) // 2 * 2], "<i2").astype(np.float64) / 32768


def dbfs(power: float) -> float:
    """10 log10 of a mean square, never below `NOTHING`."""
    return max(10 * math.log10(power), NOTHING) if power > 0 else NOTHING


def loudness(pcm16k: bytes) -> float:
    """The level of a short piece, its constant part included, dBFS; `NOTHING` for an empty one."""
    samples = floats(pcm16k)
    return dbfs(float(samples @ samples) / len(samples)) if len(samples) else NOTHING


@dataclass(frozen=True, slots=True)
class Level:
    """The figures of a recording. rms (without the constant part), peak: dBFS. clipped: samples in flat tops.

    dc: the constant part, share of full scale. hum_hz: 50 or 60, the stronger of the two. hum: its level
    with five overtones, dBFS. hum_share: its share of the power.
    """

    rms: float
    peak: float
    clipped: int
    dc: float
    hum_hz: int
    hum: float
    hum_share: float


def level_of(pcm16k: bytes) -> Level:
    """Works out the figures of a recording."""
    samples = floats(pcm16k)
    if not len(samples):
        return Level(NOTHING, NOTHING, 0, 0.0, MAINS_HZ[0], NOTHING, 0.0)
    dc = float(samples.mean())
    power = float(((samples - dc) ** 2).mean())
    hum_hz, hum = max(((hz, _hum_power(samples - dc, hz)) for hz in MAINS_HZ), key=lambda pair: pair[1])
    share = hum / power if power else 0.0
    peak = float(np.abs(samples).max())
    return Level(dbfs(power), dbfs(peak**2), clipped(samples), dc, hum_hz, dbfs(hum), min(share, 1.0))


def clipped(samples: np.ndarray) -> int:
    """The number of samples in flat tops: runs of at least `CLIPPED_RUN` at the greatest or least value.

    A flat top can be at full scale or below it. A pure tone from 50 Hz up, at 16 bits and these amplitudes, stays at
    its extreme for two samples at most.
    """
    return sum(_flat(samples, extreme) for extreme in (float(samples.max()), float(samples.min())))


def _flat(samples: np.ndarray, extreme: float) -> int:
    if abs(extreme) < LEAST_EXTREME:
        return 0
    edges = np.flatnonzero(np.diff(np.concatenate([[0], (samples == extreme).astype(np.int8), [0]])))
    runs = edges[1::2] - edges[::2]
    return int(runs[runs >= CLIPPED_RUN].sum())


def _hum_power(samples: np.ndarray, hz: int) -> float:
    """Mean square of the tone at `hz` and its five overtones, above what lies around each; 0 for less than a second."""
    count = len(samples)
    if count < RATE:
        return 0.0
    window = np.hanning(count)
    power = np.abs(np.fft.rfft(samples * window)) ** 2 * 2 / (count * float((window**2).sum()))
    found = 0.0
    for harmonic in range(1, 7):
        at = round(harmonic * hz * count / RATE)
        near = power[max(at - 3, 1) : at + 4]
        around = np.concatenate([power[max(at - 40, 1) : max(at - 8, 1)], power[at + 9 : at + 41]])
        found += max(0.0, float(near.sum()) - len(near) * float(around.mean()))
    return found


def input_faults(level: Level) -> list[str]:
    """What is wrong with an input, whatever it hears. Each fault says what to do."""
    found = []
    if level.rms <= SILENT:
        found.append(
            f"the input is silent ({level.rms:.0f} dBFS): the microphone is muted or unplugged, or the system's sound "
            "settings have chosen a different one"
        )
    if level.clipped:
        found.append(f"the input is clipped ({level.clipped} samples): turn the microphone's gain down")
    if abs(level.dc) > DC:
        found.append(
            f"the input has a constant offset ({100 * level.dc:+.1f} % of full scale): try another socket or sound card"
        )
    return found


def room_faults(level: Level) -> list[str]:
    """What is wrong with the room while the saw is off."""
    found = input_faults(level)
    if level.rms > LOUD_ROOM:
        found.append(f"the room is loud with the saw off ({level.rms:.0f} dBFS): switch off fans, extraction and radio")
    if level.hum > HUM and level.hum_share > HUM_SHARE:
        found.append(
            f"mains hum at {level.hum_hz} Hz makes up {100 * level.hum_share:.0f} % of the quiet "
            f"({level.hum:.0f} dBFS): try another cable, socket or port"
        )
    return found


def speech_faults(level: Level) -> list[str]:
    """What is wrong with speech. level: of the utterances alone."""
    found = input_faults(level)
    if SILENT < level.rms < QUIET_SPEECH:
        found.append(
            f"speech is too quiet ({level.rms:.0f} dBFS): bring the microphone closer to your mouth or turn its gain up"
        )
    if level.rms > LOUD_SPEECH and not level.clipped:
        found.append(f"speech is close to clipping ({level.peak:.0f} dBFS at its peak): turn the gain down")
    return found


def bar(db: float, peak: float | None = None, cells: int = BAR_CELLS) -> str:
    """A level as a bar of `cells` characters from `BAR_FROM` to 0 dBFS, with a mark at the peak."""
    full = _cells(db, cells)
    shown = ["#"] * full + ["."] * (cells - full)
    if peak is not None and peak > BAR_FROM:
        shown[max(_cells(peak, cells), 1) - 1] = "|"
    return f"[{''.join(shown)}]"


def _cells(db: float, cells: int) -> int:
    return min(max(round(cells * (db - BAR_FROM) / -BAR_FROM), 0), cells)


@dataclass(frozen=True, slots=True)
class Noise:
    """The level and shape of a noise: enough to make more noise like it, but not to hear what was in it.

    rms: dBFS. spectrum: mean power in each of `BINS` / 2 + 1 bins from 0 to 8 kHz, summing to 1.
    """

    rms: float
    spectrum: tuple[float, ...]

    def made(self, samples: int, seed: int = 0) -> np.ndarray:
        """Makes steady noise of this level and shape: `samples` floats."""
        rng = np.random.default_rng(seed)
        white = np.fft.rfft(rng.standard_normal(samples + BINS))
        at = np.linspace(0, BINS // 2, len(white))
        shape = np.sqrt(np.interp(at, np.arange(BINS // 2 + 1), np.asarray(self.spectrum)))
        shaped = np.fft.irfft(white * shape, samples + BINS)[:samples]
        deviation = float(shaped.std()) if samples else 0.0
        return shaped * (10 ** (self.rms / 20) / deviation) if deviation else shaped


def noise_of(pcm16k: bytes) -> Noise:
    """Measures the noise of a recording. One shorter than `BINS` samples counts as silence."""
    samples = floats(pcm16k)
    if len(samples) < BINS:
        return Noise(NOTHING, (1.0,) * (BINS // 2 + 1))
    samples = samples - samples.mean()
    framed = np.lib.stride_tricks.sliding_window_view(samples, BINS)[:: BINS // 2]
    power = (np.abs(np.fft.rfft(framed * HANN)) ** 2).mean(axis=0)
    total = float(power.sum())
    shape = power / total if total else np.ones(len(power)) / len(power)
    return Noise(dbfs(float((samples**2).mean())), tuple(float(f"{p:.4g}") for p in shape))
