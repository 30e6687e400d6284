"""`kerfcall ready`: Python, the packages, and what of them speaks, listens and takes the noise away."""

from __future__ import annotations

import importlib.util
import re
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from assistant.commands.ready_line import BROKEN, STANDS_IN, WORKS, Line, pip, short
from assistant.errors import BadInput, KerfcallError, NoSuchPart
from assistant.plans.model import Check, VoiceSettings

DISTRIBUTION = "kerfcall"
CORE = ("filelock", "numpy", "platformdirs")  # without them nothing is cut; what lacks another part is told by its line
EXTRAS = ("dxf", "page", "plots", "vosk")


def python(version: tuple[int, ...]) -> Line:
    """Python itself: 3.11 to 3.13."""
    text = ".".join(str(part) for part in version)
    if (3, 11) <= version[:2] <= (3, 13):
        return Line("python", WORKS, text)
    return Line("python", BROKEN, f"{text}; written for 3.11 to 3.13", "install Python 3.11, 3.12 or 3.13")


def declared() -> list[str]:
    """What this program's own package asks for; [] where it runs without being installed."""
    from importlib import metadata

    try:
        return metadata.requires(DISTRIBUTION) or []
    except metadata.PackageNotFoundError:
        return []


def installed(name: str) -> str | None:
    """The version of an installed package, or None."""
    from importlib import metadata

    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return None


def packages(
    declared: Callable[[], Sequence[str]] = declared, installed: Callable[[str], str | None] = installed
) -> Line:
    """Which packages are missing or of a version that was not asked for, and the command that brings them."""
    missing = [name for name in CORE if installed(name) is None]
    if missing:
        return Line("packages", BROKEN, f"missing: {', '.join(missing)}", pip(*missing), {"missing": missing})
    halved = [name for name in CORE if not importable(name)]
    if halved:
        text = f"installed, but not to be found by Python: {', '.join(halved)}"
        return Line("packages", BROKEN, text, pip("--force-reinstall", *halved), {"missing": halved})
    try:
        wanted = list(_wanted(declared()))
    except ImportError:
        text = "those that cutting needs are there; versions can't be compared without packaging"
        return Line("packages", STANDS_IN, text, pip("packaging"))
    if not wanted:
        text = "those that cutting needs are there; Kerfcall itself is not installed, so no versions are known"
        return Line("packages", STANDS_IN, text, "python -m pip install -e . in Kerfcall's folder")
    return _compared(wanted, installed)


def _wanted(lines: Sequence[str]) -> Iterator[tuple[str, Any]]:
    """(extra or "", requirement) of those that hold for this machine. Raises ImportError without packaging."""
    from packaging.requirements import Requirement

    for requirement in map(Requirement, lines):
        of = re.findall(r"extra == ['\"]([^'\"]+)", str(requirement.marker or ""))
        extra = of[0] if of else ""
        if (not extra or extra in EXTRAS) and (not requirement.marker or requirement.marker.evaluate({"extra": extra})):
            yield extra, requirement


def _compared(wanted: Sequence[tuple[str, Any]], installed: Callable[[str], str | None]) -> Line:
    versions = {requirement.name: installed(requirement.name) for _, requirement in wanted}
    own = [requirement for extra, requirement in wanted if not extra]
    missing = [one for one in own if versions[one.name] is None]
    wrong = [
        one
        for _, one in wanted
        if versions[one.name] is not None and not one.specifier.contains(versions[one.name], prereleases=True)
    ]
    extras = sorted({extra for extra, one in wanted if extra and versions[one.name] is not None})
    data = {
        "missing": [one.name for one in missing],
        "wrong_version": {one.name: versions[one.name] for one in wrong},
        "extras": extras,
    }
    if not missing and not wrong:
        there = f"all {len(own)}; of the extras: {', '.join(extras) or 'none'}"
        return Line("packages", WORKS, there, "", data)
    told = [f"missing: {', '.join(one.name for one in missing)}"] if missing else []
    told += [f"{one.name} {versions[one.name]} where {one.specifier} is wanted" for one in wrong]
    state = BROKEN if any(one.name in CORE for one in wrong) else STANDS_IN
    mend = pip(*(f"{one.name}{one.specifier}" for one in (*missing, *wrong)))
    return Line("packages", state, "; ".join(told), mend, data)


def importable(name: str) -> bool:
    """Whether a module is there; it isn't imported."""
    try:
        return importlib.util.find_spec(name) is not None
    except (ImportError, ValueError):
        return False


def voice(settings: VoiceSettings) -> Line:
    """The engine and the voice that speak the settings."""
    try:
        from assistant.speaking.choose import choose_engine

        choice = choose_engine(settings)
        close = getattr(choice.engine, "close", None)
        if close is not None:
            close()
    except (KerfcallError, ImportError) as error:
        return Line("voice", STANDS_IN, f"text on the screen: {error}", pip("espeakng-loader", "pyttsx3"))
    line = choice.line.removeprefix("voice: ").replace(", rendered in this process", "")
    return Line("voice", WORKS, line, "", {"words_a_minute": settings.speech_rate})


def noise(settings: VoiceSettings) -> Line:
    """Which noise suppression stands before the recogniser, and why: as hearing itself chooses."""
    from assistant.hearing.denoise import choose_denoiser
    from assistant.hearing.denoise_rnnoise import INSTALL

    mend = f"python -m {INSTALL}"
    asked = settings.denoiser
    lacking = ""
    try:
        denoiser, why = choose_denoiser(asked)
    except (NoSuchPart, BadInput) as error:
        denoiser, why = choose_denoiser("auto")
        lacking = f"{asked} was asked for: {error}; "
    name, data = denoiser.name, {"chosen": denoiser.name, "asked_for": asked}
    if lacking:
        return Line("noise", STANDS_IN, f"{lacking}{_called(name)} stands in", mend, data)
    if asked != "auto":
        return Line("noise", WORKS, f"{_called(name)}, as the shop file asks", "", data)
    if name == "rnnoise":
        return Line("noise", WORKS, "RNNoise: its library is installed", "", data)
    return Line("noise", STANDS_IN, f"{_called(name)}, weaker near a saw: {_reason(why)}", mend, data)


def _called(name: str) -> str:
    return {"rnnoise": "RNNoise", "spectral": "the built-in suppression", "none": "no suppression"}[name]


def _reason(why: str) -> str:
    """What `choose_denoiser` says, without the choice and without the mend."""
    return why.partition(": ")[2].partition(";")[0]


def recogniser(settings: VoiceSettings, checks: Sequence[Check] = ()) -> Line:
    """Which recogniser listens, with which model, and why; and whether it knows every word, the answers' too."""
    mend = pip("pocketsphinx")
    try:
        from assistant.hearing.models import choose

        choice = choose(settings)
    except (KerfcallError, ImportError) as error:
        return Line("recogniser", STANDS_IN, f"pedal and keys: {error}", mend)
    model = None if choice.model is None else str(choice.model)
    data: dict[str, Any] = {"recogniser": choice.recogniser, "model": model, "language": settings.language}
    if not importable(choice.recogniser):
        return Line("recogniser", STANDS_IN, f"pedal and keys: {choice.recogniser} is not installed", mend, data)
    reason = choice.why.rstrip(".").partition(": ")[2]
    why = f"{choice.recogniser}, {short(model)}" if model else f"{choice.recogniser}, its own model: {reason}"
    if choice.stands_in:
        return Line("recogniser", STANDS_IN, why, "`kerfcall models list` shows which models were found", data)
    unknown = _unknown(settings, checks) if choice.recogniser == "pocketsphinx" else []
    if unknown:
        data["unknown"] = unknown
        listed = ", ".join(f'"{word}"' for word in unknown)
        told = f"{choice.recogniser} doesn't know {listed}: what has such a word can't be said"
        mend = "use other words in the shop file, or give them in its [pronunciations]; `kerfcall phrases` names them"
        return Line("recogniser", STANDS_IN, told, mend, data)
    return Line("recogniser", WORKS, why, "", data)


def _unknown(settings: VoiceSettings, checks: Sequence[Check]) -> list[str]:
    from assistant.hearing.sphinx import pronouncer
    from assistant.wording.phrases import whole_table

    pronounce = pronouncer(settings.pronunciations)
    words = dict.fromkeys(word for phrase in whole_table(checks, settings) for word in phrase.text.split())
    return [word for word in words if pronounce(word) is None]
