"""Finds out which phrases can be relied on with a voice, a microphone and a noise: prompts, results and advice.

There is no device and no screen here: `recorder` takes the sound in, and the command shows the results.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from pathlib import Path

import numpy as np

from assistant.errors import BadInput, Fault, NoSuchPart
from assistant.hearing.contract import RATE
from assistant.hearing.ear import Found
from assistant.hearing.endpoint import Utterance
from assistant.hearing.levels import (
    BINS,
    SILENT,
    Level,
    Noise,
    floats,
    input_faults,
    level_of,
    room_faults,
    speech_faults,
)
from assistant.hearing.own_scores import FILE as SCORES_FILE
from assistant.hearing.own_scores import OwnScores, Scores, keep, voices_folder
from assistant.hearing.recorder import Listening
from assistant.hearing.wav import to_pcm16
from assistant.plans.intents import Intent
from assistant.plans.model import Check, VoiceSettings
from assistant.wording.phrases import Phrase, whole_table

# Pass numbers that have every digit once, and one figure, whose digits sound as theirs do.
SAID = {Intent.GO_TO: (12, 34, 56, 78, 90), Intent.FIGURE: (34,)}
ONE_SAYING_S = 0.8  # two utterances closer than this are one saying with a pause in it
SHARE_HEARD = 2 / 3  # a phrase is reliable if at least this share of its sayings is heard
ENOUGH = 0.9  # voice is advised if at least this share of the phrases is reliable
TOO_FEW = 0.5  # below this share of reliable phrases, the pedal is advised for everything
AROUND_S = 2.0  # of noise alone before and after the stream, so that the noise suppression and end-pointing settle
NOISE_FILE = "noise.json"
OLD_FILE = "templates.npz"  # what an earlier version kept of a voice; only deleted

VOICE, SAW_OFF, PEDAL = "voice", "voice with the saw off only", "pedal only"


def prompts(checks: Sequence[Check], voice: VoiceSettings | str, chosen: Sequence[str] = ()) -> tuple[Phrase, ...]:
    """The phrases to say: every usual wording, every check's answer, every mishap, and the numbers of `SAID`.

    chosen: only these: each a phrase (with or without the lead-in; short ones too), an intent, or the name of a check
    or a mishap.
    Raises BadInput naming each choice that is none of them, with the nearest match.
    """
    table = list(_once(p for p in grammar(checks, voice) if not p.number or p.argument in SAID[Intent(p.intent)]))
    if not chosen:
        return tuple(phrase for phrase in table if not phrase.short)
    names = [{p.text, p.wording} | (set() if p.short else {p.intent, str(p.argument)}) for p in table]
    wanted = [" ".join(one.casefold().split()) for one in chosen]
    known = sorted(set().union(*names) - {"None"})
    faults = [_unknown(one, known) for one in wanted if one not in known]
    if faults:
        raise BadInput(faults)
    return tuple(phrase for phrase, own in zip(table, names, strict=True) if own & set(wanted))


def _once(phrases: Iterable[Phrase]) -> Iterable[Phrase]:
    """The phrases, with only the first of several ways to say a number."""
    seen: set[object] = set()
    for phrase in phrases:
        if not phrase.number or (phrase.intent, phrase.argument) not in seen:
            yield phrase
        seen.add((phrase.intent, phrase.argument))


def _unknown(one: str, known: Sequence[str]) -> Fault:
    near = get_close_matches(one, known, 1)
    mend = f'did you mean "{near[0]}"?' if near else "`kerfcall phrases` lists them"
    return Fault("is not a phrase, intent, check or mishap of this shop", f'"{one}"', "--phrases", mend)


def grammar(checks: Sequence[Check], voice: VoiceSettings | str) -> tuple[Phrase, ...]:
    """The phrases that the recogniser listens for: all at once, so that each has every rival it can have."""
    return whole_table(checks, voice, max(SAID[Intent.GO_TO]), max(SAID[Intent.FIGURE]))


def order(phrases: Sequence[Phrase], rounds: int) -> list[Phrase]:
    """The prompts: the whole list, `rounds` times over, so that the same phrase is never said twice running."""
    return list(phrases) * rounds


@dataclass(frozen=True, slots=True)
class Saying:
    """One answer to a prompt. first, end: its samples in the stream; both 0 when nothing was said."""

    phrase: Phrase
    first: int
    end: int

    @property
    def said(self) -> bool:
        return self.end > self.first


@dataclass(slots=True)
class Taken:
    """The sound of one sound check, 16 kHz mono, 16 bit. saw: None when skipped. sayings: places in `said`."""

    microphone: str
    quiet: bytes = b""
    saw: bytes | None = None
    said: bytes = b""
    sayings: list[Saying] = field(default_factory=list)


def sayings_in(pcm16k: bytes, prompted: Sequence[Phrase], where: str) -> list[Saying]:
    """Matches the recording's utterances with the prompts, in order.

    Utterances less than `ONE_SAYING_S` apart count as one; knocks don't count. where: the file, for the fault.
    Raises BadInput when there are more or fewer utterances than prompts.
    """
    listening = Listening()
    done = [u for u in (*listening.feed(pcm16k), *listening.flush()) if not u.knock]
    spans = joined(done)
    if len(spans) != len(prompted):
        times = ", ".join(f"{first / RATE:.1f}" for first, _ in spans[:12]) + (" .." if len(spans) > 12 else "")
        raise BadInput(
            [
                Fault(
                    f"has {len(spans)} utterances, but {len(prompted)} were expected",
                    f"they begin at {times} s" if spans else "none",
                    where,
                    "say the phrases in the order that --order prints, each without a pause, two seconds apart",
                )
            ]
        )
    return [Saying(phrase, first, end) for phrase, (first, end) in zip(prompted, spans, strict=True)]


def joined(utterances: Iterable[Utterance]) -> list[tuple[int, int]]:
    """First and last sample of each saying."""
    spans: list[tuple[int, int]] = []
    for one in utterances:
        if spans and one.first - spans[-1][1] < ONE_SAYING_S * RATE:
            spans[-1] = (spans[-1][0], one.end)
        else:
            spans.append((one.first, one.end))
    return spans


def speech_level(pcm16k: bytes, sayings: Sequence[Saying]) -> Level:
    """The level of the sayings, without the quiet between them."""
    return level_of(b"".join(pcm16k[2 * one.first : 2 * one.end] for one in sayings if one.said))


def in_noise(pcm16k: bytes, noise: np.ndarray, room: np.ndarray | None = None) -> bytes:
    """The stream with `AROUND_S` of noise before and after it and, if `room` is given, mixed in throughout.

    noise, room: floats, repeated as long as needed at the level they were recorded at. With room given, noise is what
    is mixed in (the saw), and room is what was behind the speech already (the saw off).
    """
    samples = floats(pcm16k)
    around = round(AROUND_S * RATE)
    behind = noise if room is None else room
    whole = np.resize(looped(behind), len(samples) + 2 * around) if len(behind) else np.zeros(len(samples) + 2 * around)
    whole[around : around + len(samples)] = samples
    if room is not None and len(noise):
        whole = whole + np.resize(looped(noise), len(whole))
    return to_pcm16(whole)


def looped(noise: np.ndarray) -> np.ndarray:
    """The noise with its end faded into its beginning, so that it can be repeated without a click at each join."""
    fade = min(RATE // 10, len(noise) // 4)
    if not fade:
        return noise
    # Square roots, since of two unlike noises the powers add up, not the samples.
    ramp = np.sqrt(np.linspace(0.0, 1.0, fade))
    start = noise[:fade] * ramp + noise[-fade:] * ramp[::-1]
    return np.concatenate([start, noise[fade:-fade]])


@dataclass(frozen=True, slots=True)
class Outcome:
    """What the recogniser made of one saying.

    text: the phrase accepted, or None. heard: the words proposed. reason: why nothing was accepted. fit: how well the
    words proposed fitted, natural log (see `scores.Measured`); None from a recogniser that doesn't measure it.
    """

    text: str | None
    heard: str = ""
    reason: str = ""
    fit: float | None = None


def outcomes(found: Sequence[Found], sayings: Sequence[Saying]) -> list[Outcome]:
    """What was accepted within each saying, or why nothing was.

    A wrong phrase accepted within a saying counts before the right one: a session would have obeyed it.
    found: what was heard in the stream that `in_noise` made.
    """
    results = []
    before = round(AROUND_S * RATE)
    for saying in sayings:
        within = [one for one in found if one.first < saying.end + before and one.end > saying.first + before]
        taken = [one for one in within if one.phrase is not None]
        wrong = [one for one in taken if one.phrase and not _same(one.phrase, saying.phrase)]
        best = next(iter(wrong or taken or [one for one in within if not one.knock]), None)
        if not saying.said:
            results.append(Outcome(None, "", "nothing was said"))
        elif best is None:
            results.append(Outcome(None, "", "it was lost in the noise"))
        else:
            text = best.phrase.text if best.phrase else None
            results.append(Outcome(text, best.heard, best.reason, best.measures.get("fit")))
    return results


def _same(one: Phrase, other: Phrase) -> bool:
    return (one.intent, one.argument) == (other.intent, other.argument)


@dataclass(frozen=True, slots=True)
class Tally:
    """How many of a phrase's `said` sayings were heard.

    instead: each phrase it was taken for, with a count. refused: why its words were proposed and then refused, each
    reason with a count. unheard: why its words were not even proposed, likewise.
    """

    said: int
    heard: int
    instead: dict[str, int] = field(default_factory=dict)
    refused: dict[str, int] = field(default_factory=dict)
    unheard: dict[str, int] = field(default_factory=dict)

    @property
    def reliable(self) -> bool:
        """Whether it was heard often enough and never taken for another phrase."""
        # 1e-9, since two thirds of three may come out as slightly more than two.
        return bool(self.said) and not self.instead and self.heard >= self.said * SHARE_HEARD - 1e-9


def tally(phrase: Phrase, own: Sequence[Outcome], meanings: dict[str, Phrase]) -> Tally:
    """Counts the outcomes of one phrase. own: its sayings' outcomes. meanings: the grammar by text."""
    heard, instead, refused, unheard = 0, Counter[str](), Counter[str](), Counter[str]()
    for one in own:
        if one.text is None:
            (refused if one.heard == phrase.text else unheard)[one.reason] += 1
        elif _same(meanings[one.text], phrase):
            heard += 1
        else:
            instead[one.text] += 1
    return Tally(len(own), heard, dict(instead), dict(refused), dict(unheard))


@dataclass(frozen=True, slots=True)
class PhraseTallies:
    """One phrase's tallies. off: saw off. on: with the saw's noise, or None when that was skipped."""

    phrase: Phrase
    off: Tally
    on: Tally | None

    @property
    def advice(self) -> str:
        if not self.off.reliable:
            return PEDAL
        return VOICE if self.on is not None and self.on.reliable else SAW_OFF

    @property
    def distrust(self) -> str:
        """Why the limit that this phrase must reach can't be trusted, a clause; "" if it can."""
        both = [one for one in (self.off, self.on) if one is not None]
        wrong = Counter[str]()
        for one in both:
            wrong.update(one.instead)
        if wrong:
            names = ", ".join(f'"{text}"' for text in wrong)
            mend = "listen to the read-back" if self.phrase.number else "choose another wording, or use the pedal"
            return f"too low: it was taken for {names}; {mend}"
        if sum(self.off.refused.values()):
            reasons = "; ".join(self.off.refused)
            return f"too high: its words were recognised and then refused with the saw off ({reasons})"
        return ""


def carried(
    phrases: Sequence[Phrase],
    sayings: Sequence[Saying],
    off: Sequence[Outcome],
    on: Sequence[Outcome] | None,
    table: Sequence[Phrase],
) -> list[PhraseTallies]:
    """The tallies of each phrase. off, on: the outcome of each saying. table: the grammar."""
    meanings = {phrase.text: phrase for phrase in table}

    def own(phrase: Phrase, results: Sequence[Outcome]) -> Tally:
        return tally(phrase, [r for s, r in zip(sayings, results, strict=True) if s.phrase == phrase], meanings)

    return [PhraseTallies(phrase, own(phrase, off), None if on is None else own(phrase, on)) for phrase in phrases]


def overall(lines: Sequence[PhraseTallies], faults: Sequence[str] = ()) -> tuple[str, str]:
    """The advice for all phrases together, and why.

    faults: of the input. No phrase can be relied on while the input is silent or clipped.
    """
    if not lines:
        return PEDAL, "no phrase was tried"
    if faults:
        return PEDAL, f"as long as {faults[0].partition(':')[0]}"
    count = len(lines)
    usable = [line for line in lines if line.advice != PEDAL]
    if len(usable) < TOO_FEW * count:
        return PEDAL, f"only {len(usable)} of {count} phrases were heard reliably with the saw off"
    with_saw = [line for line in lines if line.advice == VOICE]
    if len(with_saw) >= ENOUGH * count:
        return VOICE, f"{len(with_saw)} of {count} phrases were heard reliably with the saw on too"
    if lines[0].on is None:
        return SAW_OFF, f"{len(usable)} of {count} phrases were heard reliably; the saw's noise was skipped"
    why = f"{len(usable)} of {count} phrases were heard reliably with the saw off, {len(with_saw)} with the saw on"
    return SAW_OFF, why


@dataclass(frozen=True, slots=True)
class SoundcheckReport:
    """The result of a sound check.

    levels: of each part (quiet, saw, said), with its faults. learned: the saw's noise from an earlier check, if that
    was used. own_worst: the worst score of each phrase in this check, where it has any. kept: the files written.
    """

    levels: dict[str, tuple[Level, list[str]]]
    lines: list[PhraseTallies]
    advice: str
    why: str
    recogniser: str
    learned: Noise | None
    own_worst: dict[str, float]
    kept: list[Path]

    @classmethod
    def made(
        cls,
        taken: Taken,
        lines: list[PhraseTallies],
        recogniser: str,
        learned: Noise | None,
        own_worst: dict[str, float],
        kept: list[Path],
    ) -> SoundcheckReport:
        """Works out the levels and the advice."""
        room, speech = level_of(taken.quiet), speech_level(taken.said, taken.sayings)
        levels = {"quiet": (room, room_faults(room))}
        if taken.saw is not None:
            saw = level_of(taken.saw)
            levels["saw"] = (saw, input_faults(saw))
        levels["said"] = (speech, speech_faults(speech))
        # Only the speech counts here: a silent room or a clipping saw says nothing about how the phrases came in.
        broken = input_faults(speech) if speech.clipped or speech.rms <= SILENT else []
        advice, why = overall(lines, broken)
        return cls(levels, lines, advice, why, recogniser, learned, own_worst, kept)

    @property
    def over_noise(self) -> dict[str, float]:
        """How much louder speech is than the room and, where there is a figure for it, than the saw, dB."""
        speech = self.levels["said"][0].rms
        over = {"quiet": speech - self.levels["quiet"][0].rms}
        saw = self.levels["saw"][0].rms if "saw" in self.levels else self.learned.rms if self.learned else None
        return over if saw is None else over | {"saw": speech - saw}


def learn(
    own: OwnScores, sayings: Sequence[Saying], off: Sequence[Outcome], on: Sequence[Outcome] | None
) -> dict[str, float]:
    """Takes up the scores of the sayings that were accepted as what was said. off, on: the outcome of each saying.

    They replace the earlier scores of every phrase that was measured at all, even if none was accepted; other phrases
    keep theirs. Returns the worst score of each phrase that has any.
    """
    worst: dict[str, float] = {}
    for text in dict.fromkeys(saying.phrase.text for saying in sayings):
        quiet, noisy = (
            [result for saying, result in zip(sayings, results, strict=True) if saying.phrase.text == text]
            for results in (off, on if on is not None else [Outcome(None)] * len(sayings))
        )
        if all(result.fit is None for result in (*quiet, *noisy)):
            continue
        scores = Scores(_fits(quiet, text), _fits(noisy, text))
        own.replace(text, scores)
        if scores.worst is not None:
            worst[text] = round(scores.worst, 2)
    return worst


def _fits(results: Sequence[Outcome], text: str) -> tuple[float, ...]:
    return tuple(result.fit for result in results if result.text == text and result.fit is not None)


def keep_noise(folder: Path, off: Noise, on: Noise | None) -> Path:
    """Stores the level and shape of the room's and the saw's noise. Raises CouldNotRun if it can't be written."""
    kept = {"format": 1, "saw_off": _plain(off), "saw_on": _plain(on) if on else None}
    return keep(folder / NOISE_FILE, json.dumps(kept).encode())


def _plain(noise: Noise) -> dict[str, object]:
    return {"rms_dbfs": round(noise.rms, 2), "spectrum": list(noise.spectrum)}


def kept_noise(folder: Path) -> tuple[Noise | None, Noise | None]:
    """The stored noise of the room and of the saw; None where there is none. Raises NoSuchPart for a broken file."""
    path = folder / NOISE_FILE
    try:
        kept = json.loads(path.read_text(encoding="utf-8"))
        return _read_noise(kept["saw_off"]), _read_noise(kept["saw_on"])
    except FileNotFoundError:
        return None, None
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise NoSuchPart(f"the noise stored in {path} can't be read; run `kerfcall soundcheck` again") from error


def _read_noise(kept: dict[str, object] | None) -> Noise | None:
    if kept is None:
        return None
    spectrum = np.asarray(kept["spectrum"], float)
    noise = Noise(float(str(kept["rms_dbfs"])), tuple(spectrum.tolist()))
    if spectrum.shape != (BINS // 2 + 1,) or not np.isfinite([*spectrum, noise.rms]).all() or spectrum.min() < 0:
        raise ValueError("not a spectrum")
    return replace(noise, rms=min(noise.rms, 0.0))


def forget() -> list[Path]:
    """Deletes all scores and noise stored for this user, and the folders that this empties.

    Returns the files deleted. Raises OSError.
    """
    root = voices_folder()
    ours = (SCORES_FILE, NOISE_FILE, OLD_FILE)
    # A write that the power cut off leaves its new file, named as in `files.prepared`.
    found = [path for name in ours for path in (*root.glob(f"*/{name}"), *root.glob(f"*/.{name}.*.new"))]
    for path in found:
        path.unlink()
    for folder in (*sorted({path.parent for path in found}), root):
        if folder.is_dir() and not any(folder.iterdir()):
            folder.rmdir()
    return sorted(found)
