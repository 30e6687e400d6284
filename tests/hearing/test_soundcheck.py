"""Levels and their faults, the noise learned, prompts, sayings, and the advice that follows."""

from __future__ import annotations

import dataclasses
import json
import os
import re

import numpy as np
import pytest

from assistant.errors import BadInput, NoSuchPart
from assistant.hearing import levels, soundcheck
from assistant.hearing.contract import RATE
from assistant.hearing.ear import Found
from assistant.hearing.levels import Noise, bar, input_faults, level_of, noise_of, room_faults, speech_faults
from assistant.hearing.own_scores import OwnScores, Scores
from assistant.hearing.recorder import Listening, Recorder, next_utterance
from assistant.hearing.soundcheck import PEDAL, SAW_OFF, VOICE, Outcome, PhraseTallies, Saying, Tally, overall
from assistant.plans.checks import DEFAULT_CHECKS
from assistant.plans.mishaps import Mishap
from assistant.wording.phrases import Phrase
from tests.hearing.voices import floats, pcm, saw_noise, tone


def white(level: float, seconds: float = 2.0, seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(round(seconds * RATE)) * level


# --- levels


def test_a_full_scale_sine_is_three_decibels_down():
    """Root mean square of a sine: amplitude / sqrt 2."""
    level = level_of(pcm(tone(1000, 2, 0.9999)))
    assert level.rms == pytest.approx(-3.01, abs=0.02)
    assert level.peak == pytest.approx(0, abs=0.02)


@pytest.mark.parametrize("db", [-10, -30, -60])
def test_the_level_is_that_of_the_noise(db):
    assert level_of(pcm(white(10 ** (db / 20)))).rms == pytest.approx(db, abs=0.3)


def test_silence_has_no_level_and_is_named():
    level = level_of(bytes(64_000))
    assert level.rms == levels.NOTHING and level_of(b"").rms == levels.NOTHING
    assert "silent" in input_faults(level)[0] and "muted" in input_faults(level)[0]


@pytest.mark.parametrize("hertz", [50, 60, 100, 440, 3000])
@pytest.mark.parametrize("amplitude", [0.11, 0.5, 0.999])
def test_a_loud_pure_tone_is_not_clipped(hertz, amplitude):
    assert level_of(pcm(tone(hertz, 2, amplitude))).clipped == 0


@pytest.mark.parametrize("ceiling", [1.0, 0.6])
def test_flat_tops_are_clipping_at_full_scale_and_below_it(ceiling):
    """An amplifier before the converter clips below full scale."""
    samples = np.clip(tone(200, 2, 2 * ceiling), -ceiling, ceiling)
    level = level_of(pcm(samples))
    assert level.clipped > 1000
    assert any("clipped" in fault and "gain down" in fault for fault in input_faults(level))


def test_a_constant_offset_is_named_and_no_part_of_the_level():
    level = level_of(pcm(white(0.01) + 0.05))
    assert level.rms == pytest.approx(-40, abs=0.3) and level.dc == pytest.approx(0.05, abs=0.001)
    assert "+5.0 % of full scale" in input_faults(level)[0]


@pytest.mark.parametrize("hertz", [50, 60])
def test_mains_hum_is_measured_and_named_by_its_frequency(hertz):
    samples = tone(hertz, 2, 0.01) + tone(3 * hertz, 2, 0.005) + white(0.001)
    level = level_of(pcm(samples))
    assert level.hum_hz == hertz
    assert level.hum == pytest.approx(10 * np.log10((0.01**2 + 0.005**2) / 2), abs=0.5)
    assert any(f"hum at {hertz} Hz" in fault for fault in room_faults(level))


def test_a_quiet_room_has_no_fault():
    assert room_faults(level_of(pcm(white(0.001)))) == []
    assert speech_faults(level_of(pcm(white(0.05)))) == []


def test_a_loud_room_faint_speech_and_speech_near_clipping_are_named():
    assert "loud with the saw off" in room_faults(level_of(pcm(white(0.05))))[0]
    assert "too quiet" in speech_faults(level_of(pcm(white(0.003))))[0]
    assert "close to clipping" in speech_faults(level_of(pcm(tone(300, 2, 0.85))))[0]


def test_the_bar_grows_with_the_level():
    lengths = [bar(db).count("#") for db in range(-90, 1, 5)]
    assert lengths == sorted(lengths) and lengths[0] == 0 and lengths[-1] == levels.BAR_CELLS
    assert bar(-40, -20).index("|") > bar(-40).rindex("#")
    assert {len(bar(db, db / 2)) for db in range(-130, 1)} == {levels.BAR_CELLS + 2}


# --- noise


def test_noise_made_from_what_was_learned_has_its_level_and_shape():
    recorded = pcm(saw_noise(4 * RATE, 3) * 0.03)
    noise = noise_of(recorded)
    made = noise.made(4 * RATE, 9)
    assert levels.dbfs(float((made**2).mean())) == pytest.approx(level_of(recorded).rms, abs=0.1)
    again = np.array(noise_of(pcm(made)).spectrum)
    wanted = np.array(noise.spectrum)
    bands = [slice(n, n + 16) for n in range(2, 240, 16)]
    off = [10 * np.log10(again[band].sum() / wanted[band].sum()) for band in bands]
    assert np.abs(off).max() < 1.5  # dB


def test_the_noise_that_is_kept_is_read_again_and_holds_no_sound(tmp_path):
    quiet, saw = noise_of(pcm(white(0.001))), noise_of(pcm(saw_noise(2 * RATE) * 0.05))
    path = soundcheck.keep_noise(tmp_path, quiet, saw)
    room, learned = soundcheck.kept_noise(tmp_path)
    assert room is not None and learned is not None
    assert learned.rms == pytest.approx(saw.rms, abs=0.01) and learned.spectrum == saw.spectrum
    assert path.stat().st_size < 10_000
    assert os.listdir(tmp_path) == [soundcheck.NOISE_FILE]
    soundcheck.keep_noise(tmp_path, quiet, None)
    assert soundcheck.kept_noise(tmp_path)[1] is None


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        '{"saw_off": 1, "saw_on": 2}',
        '{"saw_off": {"rms_dbfs": -60, "spectrum": [1, 2]}, "saw_on": null}',
    ],
)
def test_a_broken_noise_file_is_named_with_its_mend(tmp_path, text):
    (tmp_path / soundcheck.NOISE_FILE).write_text(text)
    with pytest.raises(NoSuchPart, match="noise.json can't be read; run `kerfcall soundcheck` again"):
        soundcheck.kept_noise(tmp_path)


def test_no_kept_noise_is_none(tmp_path):
    assert soundcheck.kept_noise(tmp_path) == (None, None)


def test_looped_noise_has_no_click_where_it_turns():
    ramp = np.linspace(-0.5, 0.5, RATE)
    turned = np.tile(soundcheck.looped(ramp), 3)
    assert np.abs(np.diff(turned)).max() < 0.02
    steady = soundcheck.looped(white(0.1, 2))
    assert steady.std() == pytest.approx(0.1, rel=0.05)


def test_speech_keeps_its_place_and_the_noise_its_level():
    said = pcm(np.concatenate([np.zeros(RATE), tone(500, 2, 0.3), np.zeros(RATE)]))
    room, saw = white(0.001), saw_noise(2 * RATE) * 0.02
    before = round(soundcheck.AROUND_S * RATE)
    off = floats(soundcheck.in_noise(said, room))
    assert len(off) == len(said) // 2 + 2 * before
    assert pcm(off[before : before + len(said) // 2]) == said
    on = floats(soundcheck.in_noise(said, saw, room))
    assert (on - off).std() == pytest.approx(0.02, rel=0.05)


# --- prompts


def test_every_wording_and_answer_is_said_and_every_digit_once():
    phrases = soundcheck.prompts(DEFAULT_CHECKS, "marigold")
    assert {p.argument for p in phrases if p.intent == "check"} == {check.name for check in DEFAULT_CHECKS}
    goes = [p for p in phrases if p.intent == "go to"]
    assert "".join(sorted("".join(str(p.argument) for p in goes))) == "0123456789"
    assert [p.argument for p in phrases if p.intent == "figure"] == [34]
    assert {p.argument for p in phrases if p.intent == "mishap"} == set(Mishap)
    assert not any(p.short for p in phrases)
    texts = [p.text for p in soundcheck.grammar(DEFAULT_CHECKS, "marigold")]
    assert {p.text for p in phrases} <= set(texts)
    assert len({p.text for p in phrases}) == len(phrases)


def test_some_can_be_chosen_by_words_intent_or_check():
    chosen = soundcheck.prompts(
        DEFAULT_CHECKS, "marigold", ["Standing by for now", "cut", "clamps", "return to previous"]
    )
    assert {p.intent for p in chosen} == {"stand by", "cut", "check", "back"} and not any(p.short for p in chosen)
    (short,) = soundcheck.prompts(DEFAULT_CHECKS, "marigold", ["clamps secure"])
    assert short.short and short.argument == "clamps"
    assert [p.argument for p in chosen if p.intent == "check"] == ["clamps"]
    (mishap,) = soundcheck.prompts(DEFAULT_CHECKS, "marigold", ["wrong place"])
    assert mishap.wording == "a cut is in the wrong place"
    assert len(soundcheck.prompts(DEFAULT_CHECKS, "marigold", ["mishap"])) == len(Mishap)


def test_unknown_choices_are_all_named_with_the_nearest():
    with pytest.raises(BadInput) as caught:
        soundcheck.prompts(DEFAULT_CHECKS, "marigold", ["clamp", "xyzzy"])
    texts = [str(fault) for fault in caught.value.faults]
    assert 'did you mean "clamps"?' in texts[0] and '"xyzzy"' in texts[1]


def test_no_phrase_follows_itself():
    prompted = soundcheck.order(soundcheck.prompts(DEFAULT_CHECKS, "marigold"), 3)
    assert all(one != other for one, other in zip(prompted, prompted[1:], strict=False))
    assert len(prompted) == 3 * len(set(prompted))


# --- sayings


def stream(*at: tuple[float, float]) -> bytes:
    """Sound from..to seconds in a quiet room."""
    samples = white(0.0005, max(end for _, end in at) + 1.5)
    for start, end in at:
        here = slice(round(start * RATE), round(end * RATE))
        samples[here] += saw_noise(len(samples[here])) * 0.1
    return pcm(samples)


PHRASES = (
    Phrase("cut", None, "marigold proceed to next pass", True, True),
    Phrase("cut", None, "marigold this pass is completed", True, True),
    Phrase("stand by", None, "standing by", False, False),
)


def test_each_utterance_answers_its_prompt_and_a_pause_within_one_is_no_end():
    sound = stream((1, 2), (2.5, 3), (5, 6), (8, 9))
    first, second, third = soundcheck.sayings_in(sound, PHRASES, "said.wav")
    assert (first.phrase, third.phrase) == (PHRASES[0], PHRASES[2])
    assert (first.first / RATE, first.end / RATE) == pytest.approx((1, 3), abs=0.06)
    assert second.first / RATE == pytest.approx(5, abs=0.06)


def test_a_knock_is_no_saying():
    assert len(soundcheck.sayings_in(stream((1, 2), (3, 3.1), (5, 6), (8, 9)), PHRASES, "said.wav")) == 3


@pytest.mark.parametrize("at", [((1, 2), (4, 5)), ((1, 2), (4, 5), (7, 8), (10, 11))])
def test_a_wrong_number_of_sayings_is_a_fault_with_the_times(at):
    with pytest.raises(BadInput) as caught:
        soundcheck.sayings_in(stream(*at), PHRASES, "said.wav")
    (fault,) = caught.value.faults
    assert f"has {len(at)} utterances, but 3 were" in fault.what
    assert fault.where == "said.wav" and "begin at 1.0, 4.0" in fault.value


# --- what came of them

CUT, CUT_TOO, STAND_BY = PHRASES
BEFORE = round(soundcheck.AROUND_S * RATE)


def found(
    start: float, end: float, phrase=None, heard: str = "", reason: str = "", knock: bool = False, **measures: float
) -> Found:
    first, last = round(start * RATE) + BEFORE, round(end * RATE) + BEFORE
    return Found(first, last, last + 5600, phrase, reason, heard, 0, knock, measures)


SAYING = Saying(CUT, RATE, 3 * RATE)


def test_the_wrong_command_counts_before_the_right_one():
    """In a session it would have been obeyed."""
    (outcome,) = soundcheck.outcomes([found(1, 2, STAND_BY), found(2.2, 3, CUT)], [SAYING])
    assert outcome.text == STAND_BY.text


def test_another_wording_of_the_same_meaning_is_right():
    (outcome,) = soundcheck.outcomes([found(1, 3, CUT_TOO)], [SAYING])
    tally = soundcheck.tally(CUT, [outcome], {p.text: p for p in PHRASES})
    assert (tally.heard, tally.instead) == (1, {})


def test_what_lies_elsewhere_is_not_its_answer():
    others = [found(0, 0.9, CUT), found(3.1, 4, CUT), found(1.5, 1.6, knock=True, reason="a sound")]
    (outcome,) = soundcheck.outcomes(others, [SAYING])
    assert outcome == Outcome(None, "", "it was lost in the noise")
    (outcome,) = soundcheck.outcomes([], [Saying(CUT, 0, 0)])
    assert outcome.reason == "nothing was said"


def test_how_well_it_fitted_is_kept_where_that_was_measured():
    (outcome,) = soundcheck.outcomes([found(1, 3, CUT, CUT.text, fit=-2.5, margin=9.0)], [SAYING])
    assert outcome == Outcome(CUT.text, CUT.text, "", -2.5)
    (outcome,) = soundcheck.outcomes([found(1, 3, CUT, CUT.text, mean=-2.5)], [SAYING])
    assert outcome.fit is None


def test_refused_words_are_told_from_words_not_made_out():
    meanings = {p.text: p for p in PHRASES}
    results = [Outcome(CUT.text), Outcome(None, CUT.text, "too quick"), Outcome(None, "standing by", "no phrase")]
    tally = soundcheck.tally(CUT, results, meanings)
    assert tally == Tally(3, 1, {}, {"too quick": 1}, {"no phrase": 1})


# --- the advice

GOOD, FAIR, BAD = Tally(3, 3), Tally(3, 2, refused={"too quick": 1}), Tally(3, 1)
WRONG = Tally(3, 2, {STAND_BY.text: 1})


@pytest.mark.parametrize(
    ("off", "on", "advice"),
    [
        (GOOD, GOOD, VOICE),
        (FAIR, FAIR, VOICE),
        (GOOD, BAD, SAW_OFF),
        (GOOD, None, SAW_OFF),
        (GOOD, WRONG, SAW_OFF),
        (BAD, GOOD, PEDAL),
        (WRONG, GOOD, PEDAL),
        (Tally(0, 0), None, PEDAL),
    ],
)
def test_the_advice_for_a_phrase(off, on, advice):
    assert PhraseTallies(CUT, off, on).advice == advice


def test_bars_are_distrusted_when_they_let_the_wrong_in_or_keep_the_right_out():
    taken_for_another, refused = PhraseTallies(CUT, GOOD, WRONG).distrust, PhraseTallies(CUT, FAIR, GOOD).distrust
    assert "too low" in taken_for_another and "standing by" in taken_for_another
    assert "too high" in refused and "too quick" in refused
    assert PhraseTallies(CUT, GOOD, BAD).distrust == ""
    go_to = soundcheck.prompts(DEFAULT_CHECKS, "marigold", ["go to"])[0]
    assert "read-back" in PhraseTallies(go_to, GOOD, WRONG).distrust


def lines(*advised: tuple[Tally, Tally | None]) -> list[PhraseTallies]:
    return [PhraseTallies(CUT, off, on) for off, on in advised]


@pytest.mark.parametrize(
    ("found_lines", "faults", "advice", "why"),
    [
        (lines(*[(GOOD, GOOD)] * 9, (GOOD, BAD)), (), VOICE, "9 of 10"),
        (lines(*[(GOOD, GOOD)] * 8, *[(GOOD, BAD)] * 2), (), SAW_OFF, "10 of 10 phrases .* 8 with the saw on"),
        (lines(*[(GOOD, None)] * 4), (), SAW_OFF, "noise was skipped"),
        (lines(*[(GOOD, GOOD)] * 4, *[(BAD, BAD)] * 5), (), PEDAL, "only 4 of 9"),
        (
            lines((GOOD, GOOD)),
            ("the input is clipped (9 samples): turn it down",),
            PEDAL,
            "as long as the input is clipped",
        ),
        ([], (), PEDAL, "no phrase"),
    ],
)
def test_the_advice_over_all(found_lines, faults, advice, why):
    given, reason = overall(found_lines, faults)
    assert given == advice
    assert re.search(why, reason)


# --- the operator's own scores


def accepted(fit: float | None, phrase: Phrase = CUT) -> Outcome:
    return Outcome(phrase.text, phrase.text, "", fit)


THREE = [Saying(CUT, n * RATE, (n + 1) * RATE) for n in (1, 4, 7)]


def test_only_sayings_accepted_as_what_was_said_are_scored_and_other_phrases_keep_theirs():
    own = OwnScores({STAND_BY.text: Scores((-1.0,), (-2.0,)), CUT.text: Scores((-9.0,), (-9.0,))})
    off = [accepted(-1.5), Outcome(None, CUT.text, "too long", -12.0), accepted(-0.5, CUT_TOO)]
    on = [accepted(-2.5), accepted(-3.456), Outcome(None, "", "it was lost in the noise")]
    assert soundcheck.learn(own, THREE, off, on) == {CUT.text: -3.46}
    assert own.of(CUT.text) == Scores((-1.5,), (-2.5, -3.456))
    assert own.of(STAND_BY.text) == Scores((-1.0,), (-2.0,))
    assert soundcheck.learn(own, THREE[:1], off[:1], None) == {CUT.text: -1.5}
    assert own.of(CUT.text) == Scores((-1.5,)) and own.limit(CUT.text) is None


def test_a_phrase_that_was_measured_and_never_accepted_loses_its_scores():
    own = OwnScores({CUT.text: Scores((-1.0,), (-2.0,))})
    refused = [Outcome(None, CUT.text, "something followed the phrase", -1.0)] * 3
    assert soundcheck.learn(own, THREE, refused, refused) == {}
    assert own.texts == ()


def test_a_recogniser_that_measures_no_fit_leaves_the_scores_alone():
    own = OwnScores({CUT.text: Scores((-1.0,), (-2.0,))})
    assert soundcheck.learn(own, THREE, [accepted(None)] * 3, [accepted(None)] * 3) == {}
    assert own.of(CUT.text) == Scores((-1.0,), (-2.0,))


# --- the recorder


class Capture:
    """A microphone that delivers what it is given."""

    def __init__(self, *chunks: bytes) -> None:
        self.chunks, self.closed = chunks, False

    def __call__(self, on_chunk):
        for n, chunk in enumerate(self.chunks):
            on_chunk(chunk, float(n))
        return self

    def close(self) -> None:
        self.closed = True


def cut_up(sound: bytes) -> list[bytes]:
    return [sound[n : n + 960] for n in range(0, len(sound), 960)]


def show(rms: float, peak: float) -> None:
    assert peak >= rms


def test_no_microphone_says_what_to_do():
    def none(on_chunk):
        raise NoSuchPart("no microphone was found")

    with pytest.raises(NoSuchPart, match="no microphone was found; connect one, .* --quiet, --saw, --said"):
        Recorder(none)


def test_a_microphone_that_stops_or_never_starts_is_missed(monkeypatch):
    monkeypatch.setattr("assistant.hearing.recorder.FIRST_CHUNK_S", 0.05)
    monkeypatch.setattr("assistant.hearing.recorder.SILENT_AFTER_S", 0.05)
    with pytest.raises(NoSuchPart, match="delivers no sound"):
        Recorder(Capture()).read()
    recorder = Recorder(Capture(bytes(960)))
    recorder.read()
    with pytest.raises(NoSuchPart, match="delivers no more sound"):
        recorder.read()


def test_an_utterance_is_what_the_end_pointer_says_and_the_stream_stays_whole():
    sound = stream((1, 2), (3, 3.1), (5, 6))
    recorder, listening = Recorder(Capture(*cut_up(sound))), Listening()
    first = next_utterance(recorder, listening, 8, show)
    assert first is not None and (first.first / RATE, first.end / RATE) == pytest.approx((1, 2), abs=0.06)
    second = next_utterance(recorder, listening, 8, show)
    assert second is not None and second.first / RATE == pytest.approx(5, abs=0.06)
    assert bytes(listening.stream) == sound[: len(listening.stream)]


def test_nothing_said_in_time_is_none_and_a_long_sound_has_its_reason():
    listening = Listening()
    assert next_utterance(Recorder(Capture(*cut_up(stream((4, 5))))), listening, 2, show) is None
    talk = [(1 + n * 0.35, 1.25 + n * 0.35) for n in range(20)]
    long = next_utterance(Recorder(Capture(*cut_up(stream(*talk)))), Listening(), 2, show)
    assert long is not None and "more than 5 s" in long.reason


def test_a_noise_beyond_full_scale_is_not_believed(tmp_path):
    soundcheck.keep_noise(tmp_path, Noise(-60.0, (1 / 257,) * 257), Noise(-20.0, (1 / 257,) * 257))
    kept = json.loads((tmp_path / soundcheck.NOISE_FILE).read_text())
    kept["saw_on"]["rms_dbfs"] = 40
    (tmp_path / soundcheck.NOISE_FILE).write_text(json.dumps(kept))
    _, learned = soundcheck.kept_noise(tmp_path)
    assert learned == dataclasses.replace(Noise(-20.0, (1 / 257,) * 257), rms=0.0)
