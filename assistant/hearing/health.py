"""What `ready` checks about hearing: noise suppression, recogniser, microphone and its level."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from assistant.errors import BadInput, KerfcallError, NoSuchPart
from assistant.health import LIMITED, WORKS, Finding, importable, pip, with_tilde
from assistant.hearing.sound_child import NO_LIBRARY
from assistant.plans.model import Check, DenoiserName, RecogniserName, VoiceSettings

SPOKEN_DB = 12.0  # between the loudest piece and the faint ones, this much means speech (common practice, no source)
FAINT = -75.0  # dBFS: fainter than a room is through a microphone with its gain up (common practice, no source)
FULL = -0.5  # dBFS; a higher peak is clipping too, because a sound server that resamples rounds off the flat tops
BAR_CELLS = 20
NO_MICROPHONE = "pedal and keys only"
CONNECT = "connect a device and choose it in the system's sound settings"


def noise(settings: VoiceSettings) -> Finding:
    """Which noise suppression is used before the recogniser, and why: the choice that hearing itself makes."""
    from assistant.hearing.denoise import choose_denoiser
    from assistant.hearing.denoise_rnnoise import INSTALL

    mend = f"python -m {INSTALL}"
    asked = settings.denoiser
    lacking = ""
    try:
        denoiser, why = choose_denoiser(asked)
    except (NoSuchPart, BadInput) as error:
        denoiser, why = choose_denoiser()
        lacking = f"the shop file asks for {asked}: {error}; "
    name, data = denoiser.name, {"chosen": denoiser.name, "asked_for": asked}
    if lacking:
        return Finding("noise", LIMITED, f"{lacking}using {_called(name)}", mend, data)
    if asked != DenoiserName.AUTO:
        return Finding("noise", WORKS, f"{_called(name)}, as the shop file asks", "", data)
    if name == DenoiserName.RNNOISE:
        return Finding("noise", WORKS, "RNNoise: its library is installed", "", data)
    return Finding("noise", LIMITED, f"{_called(name)}, weaker near a saw: {_reason(why)}", mend, data)


def _called(name: DenoiserName) -> str:
    return {
        DenoiserName.RNNOISE: "RNNoise",
        DenoiserName.SPECTRAL: "the built-in suppression",
        DenoiserName.NONE: "no suppression",
    }[name]


def _reason(why: str) -> str:
    """The reason in what `choose_denoiser` says, without the choice and what to do."""
    return why.partition(": ")[2].partition(";")[0]


def recogniser(settings: VoiceSettings, checks: Sequence[Check] = ()) -> Finding:
    """Which recogniser listens, with which model, and why. Whether it knows every word, those of the answers too."""
    mend = pip("pocketsphinx")
    try:
        from assistant.hearing import neural_files
        from assistant.hearing.models import CANT_DOUBT, choose

        choice = choose(settings)
    except (KerfcallError, ImportError) as error:
        return Finding("recogniser", LIMITED, f"{NO_MICROPHONE}: {error}", mend)
    model = None if choice.model is None else str(choice.model)
    data: dict[str, Any] = {"recogniser": choice.recogniser, "model": model, "language": settings.language}
    if choice.recogniser == RecogniserName.MOONSHINE:
        why_not = neural_files.fault(choice.model) if choice.model else ""
        if why_not:
            text = f"pocketsphinx replaces moonshine, whose {why_not}"
            return Finding("recogniser", LIMITED, text, neural_files.INSTALL, data)
    elif not importable(choice.recogniser):
        return Finding("recogniser", LIMITED, f"{NO_MICROPHONE}: {choice.recogniser} is not installed", mend, data)
    reason = choice.why.rstrip(".").partition(": ")[2]
    why = f"{choice.recogniser}, {with_tilde(model)}" if model else f"{choice.recogniser}, its own model: {reason}"
    if choice.stands_in:
        return Finding("recogniser", LIMITED, why, "`kerfcall models list` shows which models were found", data)
    can_tell = choice.recogniser in (RecogniserName.POCKETSPHINX, RecogniserName.MOONSHINE)
    unknown = _unknown(settings, checks) if can_tell else []
    if unknown:
        data["unknown"] = unknown
        listed = ", ".join(f'"{word}"' for word in unknown)
        text = f"{choice.recogniser} doesn't know {listed}: a phrase with such a word can't be heard"
        mend = "use other words in the shop file, or add them to its [pronunciations]; `kerfcall phrases` lists them"
        return Finding("recogniser", LIMITED, text, mend, data)
    if choice.lacks:
        return Finding("recogniser", LIMITED, CANT_DOUBT.rstrip("."), neural_files.INSTALL, data)
    if choice.recogniser == RecogniserName.MOONSHINE:
        why = "moonshine's tiny model, beside it pocketsphinx"
    return Finding("recogniser", WORKS, why, "", data)


def _unknown(settings: VoiceSettings, checks: Sequence[Check]) -> list[str]:
    from assistant.hearing.sphinx import pronouncer
    from assistant.wording.phrases import whole_table

    pronounce = pronouncer(settings.pronunciations)
    words = dict.fromkeys(word for phrase in whole_table(checks, settings) for word in phrase.text.split())
    return [word for word in words if pronounce(word) is None]


def microphone(devices: dict[str, Any]) -> Finding:
    """The microphone. devices: from `sound_child.asked`."""
    return device("microphone", devices, "inputs", NO_MICROPHONE)


def device(part: str, devices: dict[str, Any], kind: str, without: str) -> Finding:
    """The first of this kind ("inputs" or "outputs") and how many more, or why there is none.

    without: what is left where there is none.
    """
    why, names = str(devices.get("why") or ""), devices.get(kind) or []
    if not names:
        mend = pip("miniaudio") if why == NO_LIBRARY else CONNECT
        return Finding(part, LIMITED, f"{without}: {why or 'none found'}", mend, {"devices": []})
    more = f" and {len(names) - 1} more" if len(names) > 1 else ""
    return Finding(part, WORKS, f"{names[0]}{more}", "", {"devices": list(names)})


def level(devices: dict[str, Any], measured: dict[str, Any]) -> Finding:
    """What a measured level says about the microphone: silent, clipping, too quiet, or good.

    devices, measured: from `sound_child.asked`.
    """
    from assistant.hearing.levels import QUIET_SPEECH, SILENT, bar

    if not devices.get("inputs"):
        return Finding("level", LIMITED, "nothing to measure", "see the line of the microphone")
    if "rms" not in measured:
        return Finding("level", LIMITED, f"{NO_MICROPHONE}: {measured.get('why') or 'nothing was measured'}", CONNECT)
    rms, loud, faint = (float(measured[name]) for name in ("rms", "loudest", "faint"))
    shown = f"{loud:.0f} dBFS {bar(loud, cells=BAR_CELLS)}"
    spoken = loud - faint >= SPOKEN_DB
    data = {"rms_dbfs": rms, "loudest_dbfs": loud, "peak_dbfs": float(measured["peak"]), "spoken": spoken}
    if rms <= SILENT:
        mend = "unmute it, or choose another in the system's sound settings"
        return Finding("level", LIMITED, f"{shown} silent: muted, unplugged, or the wrong one", mend, data)
    if measured["clipped"] or float(measured["peak"]) > FULL:
        return Finding("level", LIMITED, f"{shown} clipping", "turn the microphone's gain down", data)
    if spoken and loud < QUIET_SPEECH:
        mend = "move the microphone closer to your mouth, or turn its gain up"
        return Finding("level", LIMITED, f"{shown} too quiet for speech", mend, data)
    if not spoken and loud < FAINT:
        return Finding("level", LIMITED, f"{shown} too quiet, even for a room", "turn the microphone's gain up", data)
    heard = "speech" if spoken else "the room; nobody spoke" if loud < QUIET_SPEECH else "steady sound"
    return Finding("level", WORKS, f"{shown} {heard}", "", data)
