"""What `soundcheck` found, for people and for programs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from assistant.hearing import levels, soundcheck
from assistant.hearing.levels import Level, Noise, bar, level_of
from assistant.hearing.soundcheck import Carried, Saying, Tally

NEAR_THE_BLADE = "Near a running blade use the pedal, whatever stands here."
PLACES = {"quiet": "saw off", "saw": "saw on", "said": "speech"}


@dataclass(frozen=True, slots=True)
class Report:
    """levels: by part (quiet, saw, said) with its faults. learned: the saw's noise of an earlier check, where that was
    used. templates: how many each phrase has. kept: the files written."""

    levels: dict[str, tuple[Level, list[str]]]
    lines: list[Carried]
    advice: str
    why: str
    recogniser: str
    learned: Noise | None
    templates: dict[str, int]
    kept: list[Path]

    @classmethod
    def made(
        cls,
        quiet: bytes,
        saw: bytes | None,
        said: bytes,
        sayings: Sequence[Saying],
        lines: list[Carried],
        recogniser: str,
        learned: Noise | None,
        templates: dict[str, int],
        kept: list[Path],
    ) -> Report:
        """The figures worked out, and the advice."""
        room, speech = level_of(quiet), soundcheck.speech_level(said, sayings)
        found = {"quiet": (room, levels.room_faults(room))}
        if saw is not None:
            found["saw"] = (level_of(saw), levels.input_faults(level_of(saw)))
        found["said"] = (speech, levels.speech_faults(speech))
        broken = levels.input_faults(speech) if speech.clipped or speech.rms <= levels.SILENT else []
        advice, why = soundcheck.overall(lines, broken)
        return cls(found, lines, advice, why, recogniser, learned, templates, kept)

    @property
    def over_noise(self) -> dict[str, float]:
        """dB of speech over the room, and over the saw where there is a figure for it."""
        speech = self.levels["said"][0].rms
        over = {"quiet": speech - self.levels["quiet"][0].rms}
        saw = self.levels["saw"][0].rms if "saw" in self.levels else self.learned.rms if self.learned else None
        return over if saw is None else over | {"saw": speech - saw}


def as_json(report: Report) -> dict[str, Any]:
    """One object: levels in dBFS, ratios in dB, a list of phrases, the advice."""
    return {
        "recogniser": report.recogniser,
        "levels": {part: _level_json(*pair) for part, pair in report.levels.items()},
        "speech_over_noise_db": {part: round(db, 1) for part, db in report.over_noise.items()},
        "saw_noise": "recorded" if "saw" in report.levels else "learned earlier" if report.learned else None,
        "phrases": [_line_json(line, report.templates) for line in report.lines],
        "advice": report.advice,
        "why": report.why,
        "kept": [str(path) for path in report.kept],
    }


def _level_json(level: Level, faults: list[str]) -> dict[str, Any]:
    return {
        "rms_dbfs": round(level.rms, 1),
        "peak_dbfs": round(level.peak, 1),
        "clipped_samples": level.clipped,
        "dc_share": round(level.dc, 4),
        "hum_hz": level.hum_hz,
        "hum_dbfs": round(level.hum, 1),
        "faults": faults,
    }


def _line_json(line: Carried, templates: dict[str, int]) -> dict[str, Any]:
    return {
        "phrase": line.phrase.text,
        "intent": line.phrase.intent,
        "argument": line.phrase.argument,
        "said": line.off.said,
        "saw_off": _tally_json(line.off),
        "saw_on": _tally_json(line.on) if line.on else None,
        "advice": line.advice,
        "distrust": line.distrust,
        "templates": templates.get(line.phrase.text, 0),
    }


def _tally_json(one: Tally) -> dict[str, Any]:
    return {"heard": one.heard, "taken_for": one.instead, "refused": one.refused, "not_made_out": one.unheard}


def as_text(report: Report) -> str:
    """Levels with bars, a line a phrase, what to distrust, the advice, and what is kept."""
    return "\n".join(
        [*_levels_text(report), "", *_phrases_text(report), *_distrust_text(report), "", *_advice_text(report)]
    )


def _levels_text(report: Report) -> list[str]:
    lines = []
    for part, (level, faults) in report.levels.items():
        hum = f", hum {level.hum_hz} Hz {level.hum:.0f}" if level.hum > levels.HUM else ""
        lines.append(
            f"{PLACES[part]:<8} {bar(level.rms, level.peak)} {level.rms:4.0f} dBFS, peak {level.peak:.0f}, "
            f"offset {100 * level.dc:+.1f} %{hum}"
        )
        lines += [f"  WRONG: {fault}" for fault in faults]
    over = report.over_noise
    learned = " as learned earlier" if report.learned else ""
    saw = f", {over['saw']:.0f} dB over the saw{learned}" if "saw" in over else ""
    return [*lines, f"Speech stands {over['quiet']:.0f} dB over the room{saw}."]


def _phrases_text(report: Report) -> list[str]:
    width = max((len(line.phrase.text) for line in report.lines), default=0)
    lines = [f"{'phrase':<{width}}  saw off  saw on  use"]
    for line in report.lines:
        on = _count(line.on) if line.on else "-"
        lines.append(f"{line.phrase.text:<{width}}  {_count(line.off):<7}  {on:<6}  {line.advice}")
        lines += [f"{'':<{width}}  {text}" for text in _reasons(line)]
    return lines


def _count(one: Tally) -> str:
    return f"{one.heard}/{one.said}"


def _reasons(line: Carried) -> list[str]:
    """What it was taken for, and why it was refused."""
    lines = []
    for where, one in (("saw off", line.off), ("saw on", line.on)):
        if one is None:
            continue
        parts = [f'taken for "{text}" {count} x' for text, count in one.instead.items()]
        parts += [f"{reason} {count} x" for reason, count in (*one.refused.items(), *one.unheard.items())]
        if parts:
            lines.append(f"{where}: {'; '.join(parts)}")
    return lines


def _distrust_text(report: Report) -> list[str]:
    doubted = [line for line in report.lines if line.distrust]
    return ["", "Bars to distrust:"] * bool(doubted) + [f'  "{one.phrase.text}": {one.distrust}' for one in doubted]


def _advice_text(report: Report) -> list[str]:
    lines = [f"Over all: {report.advice} ({report.why}). {NEAR_THE_BLADE}"]
    kept = sum(report.templates.values())
    if report.kept:
        lines.append(f"Kept on this machine only: {', '.join(str(path) for path in report.kept)}")
        lines.append(f"  ({kept} voice templates, the noise's level and spectrum; no sound; nothing was sent anywhere)")
        lines.append("`kerfcall soundcheck --forget` deletes all of it.")
    return lines
