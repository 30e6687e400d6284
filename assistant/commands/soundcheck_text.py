"""The result of `soundcheck`, as text for people and as JSON for programs."""

from __future__ import annotations

from typing import Any

from assistant.hearing.levels import HUM, bar
from assistant.hearing.soundcheck import PhraseTallies, SoundcheckReport, Tally

NEAR_THE_BLADE = "Near a running blade, use the pedal, whatever this report says."
PLACES = {"quiet": "saw off", "saw": "saw on", "said": "speech"}


def as_json(report: SoundcheckReport) -> dict[str, Any]:
    """One JSON object: levels in dBFS, ratios in dB, a list of phrases, the advice.

    own_worst of a phrase: the worst score of its accepted sayings, natural log.
    """
    return {
        "recogniser": report.recogniser,
        "levels": {
            part: {
                "rms_dbfs": round(level.rms, 1),
                "peak_dbfs": round(level.peak, 1),
                "clipped_samples": level.clipped,
                "dc_share": round(level.dc, 4),
                "hum_hz": level.hum_hz,
                "hum_dbfs": round(level.hum, 1),
                "faults": faults,
            }
            for part, (level, faults) in report.levels.items()
        },
        "speech_over_noise_db": {part: round(db, 1) for part, db in report.over_noise.items()},
        "saw_noise": "recorded" if "saw" in report.levels else "learned earlier" if report.learned else None,
        "phrases": [
            {
                "phrase": line.phrase.text,
                "intent": line.phrase.intent,
                "argument": line.phrase.argument,
                "said": line.off.said,
                "saw_off": _tally_json(line.off),
                "saw_on": _tally_json(line.on) if line.on else None,
                "advice": line.advice,
                "distrust": line.distrust,
                "own_worst": report.own_worst.get(line.phrase.text),
            }
            for line in report.lines
        ],
        "advice": report.advice,
        "why": report.why,
        "kept": [str(path) for path in report.kept],
    }


def _tally_json(one: Tally) -> dict[str, Any]:
    return {"heard": one.heard, "taken_for": one.instead, "refused": one.refused, "not_made_out": one.unheard}


def as_text(report: SoundcheckReport) -> str:
    """The report: levels with bars, a line per phrase, doubtful limits, the advice, and what was stored."""
    lines = [*_levels_text(report), "", *_phrases_text(report)]
    if doubted := [line for line in report.lines if line.distrust]:
        lines += ["", "Limits not to rely on:", *(f'  "{one.phrase.text}": {one.distrust}' for one in doubted)]
    lines += ["", f"Overall: {report.advice} ({report.why}). {NEAR_THE_BLADE}"]
    if report.kept:
        count = len(report.own_worst)
        scores = f"the scores of {count} phrase{'s' if count != 1 else ''}, and " if count else ""
        lines.append(f"Stored on this computer only: {', '.join(str(path) for path in report.kept)}")
        lines.append(f"  ({scores}the noise's level and spectrum; no sound was kept, nothing was sent anywhere)")
        lines.append("`kerfcall soundcheck --forget` deletes all of it.")
    return "\n".join(lines)


def _levels_text(report: SoundcheckReport) -> list[str]:
    lines = []
    for part, (level, faults) in report.levels.items():
        hum = f", hum {level.hum_hz} Hz {level.hum:.0f}" if level.hum > HUM else ""
        lines.append(
            f"{PLACES[part]:<8} {bar(level.rms, level.peak)} {level.rms:4.0f} dBFS, peak {level.peak:.0f}, "
            f"offset {100 * level.dc:+.1f} %{hum}"
        )
        lines += [f"  WRONG: {fault}" for fault in faults]
    over = report.over_noise
    learned = " (noise of an earlier check)" if report.learned else ""
    saw = f" and {over['saw']:.0f} dB louder than the saw{learned}" if "saw" in over else ""
    return [*lines, f"Speech is {over['quiet']:.0f} dB louder than the room{saw}."]


def _phrases_text(report: SoundcheckReport) -> list[str]:
    width = max((len(line.phrase.text) for line in report.lines), default=0)
    lines = [f"{'phrase':<{width}}  saw off  saw on  use"]
    for line in report.lines:
        on = _count(line.on) if line.on else "-"
        lines.append(f"{line.phrase.text:<{width}}  {_count(line.off):<7}  {on:<6}  {line.advice}")
        lines += [f"{'':<{width}}  {text}" for text in _what_else(line)]
    return lines


def _count(one: Tally) -> str:
    return f"{one.heard}/{one.said}"


def _what_else(line: PhraseTallies) -> list[str]:
    """What the phrase was taken for, and why it was refused, with counts."""
    lines = []
    for where, one in (("saw off", line.off), ("saw on", line.on)):
        if one is None:
            continue
        parts = [f'taken for "{text}" {count} x' for text, count in one.instead.items()]
        parts += [f"{reason} {count} x" for reason, count in (*one.refused.items(), *one.unheard.items())]
        if parts:
            lines.append(f"{where}: {'; '.join(parts)}")
    return lines
