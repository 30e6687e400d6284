"""Noise suppression: less noise, whole speech, a known delay, nothing shared, and a way on without the library."""

from __future__ import annotations

import functools
import importlib.metadata
import time

import numpy as np
import pytest

from assistant.errors import BadInput, NoSuchPart
from assistant.hearing import denoise_rnnoise
from assistant.hearing.contract import RATE
from assistant.hearing.denoise import Plain, choose_denoiser
from assistant.hearing.denoise_resample import RATIO, TAPS, Decimator, Interpolator, low_pass
from assistant.hearing.denoise_spectral import Spectral, exponential_integral
from assistant.hearing.endpoint import FRAME_BYTES
from assistant.plans.model import DenoiserName
from tests.hearing.voices import floats, need, padded, pcm, saw_noise, spoken

PHRASE = "marigold proceed to next pass"
NAMES = ("spectral", "rnnoise")
BEFORE = 1.5  # s of noise alone, to learn it from


def make(name):
    try:
        return choose_denoiser(name)[0]
    except NoSuchPart as missing:
        pytest.skip(str(missing))


def run(denoiser, sound):
    sound += bytes(-len(sound) % FRAME_BYTES)
    frames = (sound[at : at + FRAME_BYTES] for at in range(0, len(sound), FRAME_BYTES))
    return b"".join(denoiser.frame(frame) for frame in frames)


def in_noise(snr_db, seed=3):
    """The phrase alone and in saw noise, both at half level; the ratio is over the speech's own length."""
    need("espeak-ng")
    speech = floats(padded(spoken("en-us", PHRASE), BEFORE, 0.5)) / 2
    level = floats(spoken("en-us", PHRASE)).std() / 2
    return speech, pcm(speech + saw_noise(len(speech), seed) * level / 10 ** (snr_db / 20))


@functools.cache
def suppressed(name, snr_db):
    """The phrase in this noise as it comes from a new denoiser, and by how many seconds that is late."""
    denoiser = make(name)
    return run(denoiser, in_noise(snr_db)[1]), denoiser.delay_s


def lag(before, after):
    """Samples by which `after` is later, by the peak of the cross-correlation."""
    size = 2 * len(before)
    spectrum = np.fft.rfft(after, size) * np.conj(np.fft.rfft(before, size))
    return int(np.argmax(np.fft.irfft(spectrum)[: RATE // 4]))


def gap_and_speech_db(sound, shift):
    """Levels of the noise alone (the second half of the lead) and of the spoken part."""
    samples = floats(sound)[shift:]
    start, end = round(BEFORE * RATE), round(BEFORE * RATE) + len(spoken("en-us", PHRASE)) // 2
    return tuple(20 * np.log10(part.std()) for part in (samples[start // 2 : start - RATE // 10], samples[start:end]))


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("snr_db", [10, 5])
def test_noise_goes_down_and_speech_stays(name, snr_db):
    """Speech over noise improves by at least 8 dB; the spoken part itself loses no more than 3 dB."""
    _, noisy = in_noise(snr_db)
    noise_before, speech_before = gap_and_speech_db(noisy, 0)
    after, delay_s = suppressed(name, snr_db)
    noise_after, speech_after = gap_and_speech_db(after, round(delay_s * RATE))
    gain = (speech_after - noise_after) - (speech_before - noise_before)
    print(f"{name} at {snr_db} dB: speech over noise {gain:+.1f} dB, speech {speech_after - speech_before:+.1f} dB")
    assert gain >= 8
    assert speech_after - speech_before >= -3


@pytest.mark.parametrize("name", NAMES)
def test_the_whole_of_the_phrase_is_there(name):
    """In every 100 ms that the clean phrase is loud, the denoised one keeps at least a tenth of the power."""
    speech, _ = in_noise(15)
    sound, delay_s = suppressed(name, 15)
    shift, block = round(delay_s * RATE), RATE // 10
    after = floats(sound)[shift:]
    whole = min(len(after), len(speech)) // block * block
    clean, made = (part[:whole].reshape(-1, block).std(axis=1) ** 2 for part in (speech, after))
    loud = clean > clean.max() / 30
    assert loud.sum() >= 10
    assert (made[loud] >= clean[loud] / 10).all(), np.round(made[loud] / clean[loud], 2)


@pytest.mark.parametrize("name", NAMES)
def test_clean_speech_comes_through_as_it_was(name):
    denoiser = make(name)
    need("espeak-ng")
    sound = padded(spoken("en-us", PHRASE), 0.5, 0.5)
    before, after = floats(sound), floats(run(denoiser, sound))
    shift = round(denoiser.delay_s * RATE)
    likeness = np.corrcoef(before[: len(after) - shift], after[shift : shift + len(before)])[0, 1]
    assert likeness > 0.97


@pytest.mark.parametrize("name", ("none", *NAMES))
def test_the_delay_is_as_stated_to_a_millisecond(name):
    speech, _ = in_noise(15)
    after, delay_s = suppressed(name, 15)
    assert abs(lag(speech, floats(after)[: len(speech)]) - delay_s * RATE) <= RATE / 1000


@pytest.mark.parametrize("name", ("none", *NAMES))
def test_silence_stays_silence(name):
    """Nothing rings or creeps in, before speech and long after it."""
    denoiser = make(name)
    assert np.abs(floats(run(denoiser, bytes(2 * RATE)))).max() <= 1 / 32768
    run(denoiser, pcm(saw_noise(RATE) * 0.1))
    assert np.abs(floats(run(denoiser, bytes(4 * RATE))))[-RATE:].max() <= 1 / 32768


@pytest.mark.parametrize("name", NAMES)
def test_a_clipped_howl_leaves_nothing_broken_behind(name):
    """Two seconds after a full-scale square wave a phrase comes through as it was."""
    denoiser = make(name)
    need("espeak-ng")
    square = np.where(np.arange(2 * RATE) % 40 < 20, 1.0, -1.0)
    run(denoiser, pcm(square) + bytes(4 * RATE))
    sound = padded(spoken("en-us", PHRASE), 0.5, 0.5)
    before, after = floats(sound), floats(run(denoiser, sound))
    shift = round(denoiser.delay_s * RATE)
    assert np.corrcoef(before[: len(after) - shift], after[shift : shift + len(before)])[0, 1] > 0.95


@pytest.mark.parametrize("name", NAMES)
def test_streams_share_nothing(name):
    """Another stream in the same process changes no sample of this one."""
    mixed, other = make(name), make(name)
    _, noisy = in_noise(5)
    expected, _ = suppressed(name, 5)
    loud = pcm(saw_noise(FRAME_BYTES // 2, seed=9) * 0.3)
    got = b""
    for at in range(0, len(expected), FRAME_BYTES):
        other.frame(loud)
        got += mixed.frame((noisy + bytes(FRAME_BYTES))[at : at + FRAME_BYTES])
    assert got[: len(noisy) - FRAME_BYTES] == expected[: len(noisy) - FRAME_BYTES]


def test_the_noise_is_learnt_anew_when_it_changes():
    """A saw that starts after two quiet seconds is turned down by 8 dB or more three seconds later."""
    denoiser = Spectral()
    quiet, loud = saw_noise(2 * RATE) * 0.001, saw_noise(4 * RATE) * 0.1
    after = floats(run(denoiser, pcm(np.concatenate([quiet, loud]))))
    assert 20 * np.log10(after[-RATE:].std() / 0.1) <= -8


def test_rnnoise_tells_speech_from_the_saw():
    denoiser = make("rnnoise")
    speech, noisy = in_noise(10)
    told = []
    for at in range(0, len(noisy) // FRAME_BYTES * FRAME_BYTES, FRAME_BYTES):
        denoiser.frame(noisy[at : at + FRAME_BYTES])
        told.append(denoiser.speech)
    start = round(BEFORE * 100)
    spoken_frames = len(spoken("en-us", PHRASE)) // FRAME_BYTES
    assert all(0 <= p <= 1 for p in told)
    assert np.mean(told[start : start + spoken_frames]) > np.mean(told[start // 2 : start]) + 0.4


def bare_transforms(pcm):
    """CPU s of transforming each frame of this sound to a spectrum and back: the least that suppression could do."""
    samples = np.frombuffer(pcm, np.int16).astype(float)
    start = time.process_time()
    for _ in range(10):
        for at in range(0, len(samples) - 512, 160):
            np.fft.irfft(np.fft.rfft(samples[at : at + 512]))
    return (time.process_time() - start) / 10


@pytest.mark.parametrize(("name", "most"), [("spectral", 15), ("rnnoise", 100)])
def test_suppression_costs_no_more_than_so_many_bare_transforms(name, most):
    """Measured on a loaded machine: 5 to 6, and 35 to 39."""
    denoiser = make(name)
    _, noisy = in_noise(10)
    run(denoiser, noisy[:FRAME_BYTES])
    start = time.process_time()
    run(denoiser, noisy)
    cost = time.process_time() - start
    print(f"{name}: {cost / (len(noisy) / 2 / RATE):.4f} CPU s a second of sound")
    assert cost <= most * bare_transforms(noisy)


@pytest.mark.parametrize("name", ("none", *NAMES))
@pytest.mark.parametrize("size", [0, 1, 319, 322, 640])
def test_only_whole_frames_are_taken(name, size):
    with pytest.raises(ValueError, match="320 bytes"):
        make(name).frame(bytes(size))


def test_without_the_library_the_built_in_one_serves_and_says_how_to_mend_it(monkeypatch):
    def missing(_name):
        raise importlib.metadata.PackageNotFoundError("gone")

    monkeypatch.setattr(importlib.metadata, "files", missing)
    denoiser, reason = choose_denoiser(DenoiserName.AUTO)
    assert isinstance(denoiser, Spectral)
    assert "pip install --no-deps pyrnnoise" in reason
    with pytest.raises(NoSuchPart, match="pip install --no-deps pyrnnoise"):
        choose_denoiser("rnnoise")


def test_a_package_without_a_library_for_this_machine_is_called_that(monkeypatch):
    monkeypatch.setattr(importlib.metadata, "files", lambda _name: [])
    with pytest.raises(NoSuchPart, match="no library for this machine"):
        denoise_rnnoise.load()


def test_a_broken_library_is_no_crash(monkeypatch, tmp_path):
    broken = tmp_path / "librnnoise.so"
    broken.write_bytes(b"not a library")
    monkeypatch.setattr(denoise_rnnoise, "library_file", lambda: broken)
    with pytest.raises(NoSuchPart, match="can't be used"):
        denoise_rnnoise.RNNoise()
    assert isinstance(choose_denoiser(DenoiserName.AUTO)[0], Spectral)


def test_the_choice_is_by_name_and_an_unknown_one_is_refused():
    denoiser, reason = choose_denoiser(DenoiserName.NONE)
    assert isinstance(denoiser, Plain) and denoiser.speech is None and "as asked for" in reason
    with pytest.raises(BadInput) as caught:
        choose_denoiser("loud")
    assert all(f'"{name}"' in str(caught.value) for name in DenoiserName)


@pytest.mark.parametrize("floor_db", [0, -3, 61, float("nan"), float("inf")])
def test_a_floor_out_of_range_is_refused(floor_db):
    with pytest.raises(ValueError, match="floor"):
        Spectral(floor_db)


@pytest.mark.parametrize(
    ("v", "value"), [(0.1, 1.8229239584), (0.5, 0.5597735948), (1.0, 0.2193839344), (2.0, 0.0489005107)]
)
def test_the_exponential_integral_is_the_table_s(v, value):
    """Abramowitz and Stegun, table 5.1."""
    assert exponential_integral(np.array([v]))[0] == pytest.approx(value, abs=1e-6)


def test_resampling_there_and_back_is_a_pure_delay_below_6_800_hz_and_stops_images():
    t = np.arange(RATE) / RATE
    for hertz in (100, 1000, 4000, 6500):
        up, down = Interpolator(), Decimator()
        tone = np.sin(2 * np.pi * hertz * t)
        back = np.concatenate([down.frame(up.frame(tone[at : at + 160])) for at in range(0, RATE, 160)])
        shift = (TAPS - 1) // RATIO
        assert np.abs(back[200:] - tone[200 - shift : RATE - shift]).max() < 0.005
    response = np.abs(np.fft.rfft(low_pass(), 48_000))  # one bin a hertz
    assert 20 * np.log10(response[8_000:].max()) <= -55
