"""The probes of `ready` for hearing: noise suppression, recogniser, microphone and its level."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from assistant.errors import BadInput, KerfcallError, NoSuchPart
from assistant.health import STANDS_IN, WORKS, Finding, importable, pip, with_tilde
from assistant.hearing.sound_child import NO_LIBRARY
from assistant.plans.model import Check, VoiceSettings

SPOKEN_DB = 12.0  # if the loudest piece is so far above the faint ones, somebody spoke (common practice, no source)
FAINT = -75.0  # dBFS: no room is as quiet through a microphone with its gain up (common practice, no source)
FULL = -0.5  # dBFS; a peak above it is clipping too: a sound server that resamples rounds the flat tops off
BAR_CELLS = 20
NO_MICROPHONE = "pedal and keys only"
CONNECT = "connect one, and choose it in the system's sound settings"


def noise(settings: VoiceSettings) -> Finding:
    """The noise suppression in front of the recogniser, chosen as hearing itself chooses it, and why."""
    from assistant.hearing.denoise import choose_denoiser
    from assistant.hearing.denoise_rnnoise import INSTALL

    mend = f"python -m {INSTALL}"
    asked = settings.denoiser
    lacking = ""
    try:
        denoiser, why = choose_denoiser(asked)
    except (NoSuchPart, BadInput) as error:
        denoiser, why = choose_denoiser("auto")
        lacking = f"the shop file asks for {asked}: {error}; "
    name, data = denoiser.name, {"chosen": denoiser.name, "asked_for": asked}
    if lacking:
        return Finding("noise", STANDS_IN, f"{lacking}{_called(name)} replaces it", mend, data)
    if asked != "auto":
        return Finding("noise", WORKS, f"{_called(name)}, as the shop file asks", "", data)
    if name == "rnnoise":
        return Finding("noise", WORKS, "RNNoise: its library is installed", "", data)
    return Finding("noise", STANDS_IN, f"{_called(name)}, weaker near a saw: {_reason(why)}", mend, data)


def _called(name: str) -> str:
    return {"rnnoise": "RNNoise", "spectral": "the built-in suppression", "none": "no suppression"}[name]


def _reason(why: str) -> str:
    """The reason in the line of `choose_denoiser`, without the choice and without what to do about it."""
    return why.partition(": ")[2].partition(";")[0]


def recogniser(settings: VoiceSettings, checks: Sequence[Check] = ()) -> Finding:
    """The recogniser, its model and why; and whether it knows every word of the phrases and the checks' answers."""
    mend = pip("pocketsphinx")
    try:
        from assistant.hearing.models import choose

        choice = choose(settings)
    except (KerfcallError, ImportError) as error:
        return Finding("recogniser", STANDS_IN, f"{NO_MICROPHONE}: {error}", mend)
    model = None if choice.model is None else str(choice.model)
    data: dict[str, Any] = {"recogniser": choice.recogniser, "model": model, "language": settings.language}
    if not importable(choice.recogniser):
        return Finding("recogniser", STANDS_IN, f"{NO_MICROPHONE}: {choice.recogniser} is not installed", mend, data)
    reason = choice.why.rstrip(".").partition(": ")[2]
    why = f"{choice.recogniser}, {with_tilde(model)}" if model else f"{choice.recogniser}, its own model: {reason}"
    if choice.stands_in:
        return Finding("recogniser", STANDS_IN, why, "`kerfcall models list` shows which models were found", data)
    unknown = _unknown(settings, checks) if choice.recogniser == "pocketsphinx" else []
    if unknown:
        data["unknown"] = unknown
        listed = ", ".join(f'"{word}"' for word in unknown)
        text = f"{choice.recogniser} doesn't know {listed}: phrases with such a word can't be recognised"
        mend = "use other words in the shop file, or add them to its [pronunciations]; `kerfcall phrases` names them"
        return Finding("recogniser", STANDS_IN, text, mend, data)
    return Finding("recogniser", WORKS, why, "", data)


def _unknown(settings: VoiceSettings, checks: Sequence[Check]) -> list[str]:
    from assistant.hearing.sphinx import pronouncer
    from assistant.wording.phrases import whole_table

    pronounce = pronouncer(settings.pronunciations)
    words = dict.fromkeys(word for phrase in whole_table(checks, settings) for word in phrase.text.split())
    return [word for word in words if pronounce(word) is None]


def microphone(devices: dict[str, Any]) -> Finding:
    """The microphone found. devices: as from `sound_child.asked`."""
    return device("microphone", devices, "inputs", NO_MICROPHONE)


def device(part: str, devices: dict[str, Any], kind: str, stands_in: str) -> Finding:
    """The first device of this kind ("inputs" or "outputs") and how many more there are, or why there is none."""
    why, names = str(devices.get("why") or ""), devices.get(kind) or []
    if not names:
        mend = pip("miniaudio") if why == NO_LIBRARY else CONNECT
        return Finding(part, STANDS_IN, f"{stands_in}: {why or 'none found'}", mend, {"devices": []})
    more = f" and {len(names) - 1} more" if len(names) > 1 else ""
    return Finding(part, WORKS, f"{names[0]}{more}", "", {"devices": list(names)})


def level(devices: dict[str, Any], measured: dict[str, Any]) -> Finding:
    """Judges the microphone's measured level: silent, clipping, too quiet, or in order.

    devices, measured: as from `sound_child.asked`.
    """
    from assistant.hearing.levels import QUIET_SPEECH, SILENT, bar

    if not devices.get("inputs"):
        return Finding("level", STANDS_IN, "nothing to measure", "see the microphone")
    if "rms" not in measured:
        return Finding("level", STANDS_IN, f"{NO_MICROPHONE}: {measured.get('why') or 'nothing was measured'}", CONNECT)
    rms, loud, faint = (float(measured[name]) for name in ("rms", "loudest", "faint"))
    shown = f"{loud:.0f} dBFS {bar(loud, cells=BAR_CELLS)}"
    spoken = loud - faint >= SPOKEN_DB
    data = {"rms_dbfs": rms, "loudest_dbfs": loud, "peak_dbfs": float(measured["peak"]), "spoken": spoken}
    if rms <= SILENT:
        mend = "unmute it, or choose another in the system's sound settings"
        return Finding("level", STANDS_IN, f"{shown} silent: muted, unplugged, or the wrong microphone", mend, data)
    if measured["clipped"] or float(measured["peak"]) > FULL:
        return Finding("level", STANDS_IN, f"{shown} clipping", "turn the microphone's gain down", data)
    if spoken and loud < QUIET_SPEECH:
        mend = "bring the microphone closer to your mouth, or turn its gain up"
        return Finding("level", STANDS_IN, f"{shown} too quiet for speech", mend, data)
    if not spoken and loud < FAINT:
        return Finding("level", STANDS_IN, f"{shown} too quiet, even for a room", "turn the microphone's gain up", data)
    heard = "speech" if spoken else "the room; nobody spoke" if loud < QUIET_SPEECH else "steady sound"
    return Finding("level", WORKS, f"{shown} {heard}", "", data)
