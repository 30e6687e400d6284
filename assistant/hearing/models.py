"""Chooses the recogniser. Nothing else does.

For English the neural recogniser leads wherever its files are. Otherwise vosk listens if there is a model for it, else
pocketsphinx. Models are looked for at the shop file's path, then in models/ of a source checkout, then in models/ of
the user's data folder (models/README.md); the neural one in its wheel as well. The working folder is not searched: the
choice must not depend on where the program was started.
"""

from __future__ import annotations

import importlib.util
import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from assistant.errors import CouldNotRun, NoSuchPart
from assistant.hearing import neural_files
from assistant.hearing.model_files import FileFault, model_faults
from assistant.plans.model import RecogniserName, VoiceSettings

APP = "kerfcall"
CANT_DOUBT = "pocketsphinx alone can take an opposite or a question for the answer. A check must be answered twice."

MOONSHINE, VOSK, POCKETSPHINX = RecogniserName.MOONSHINE, RecogniserName.VOSK, RecogniserName.POCKETSPHINX


class ModelPlace(StrEnum):
    """Where the folder of a model was found."""

    SHOP_FILE = "shop file"
    CHECKOUT = "checkout"
    USER_DATA = "user data"
    GIVEN = "given"


@dataclass(frozen=True, slots=True)
class ModelFolder:
    """A folder that is, or was meant to be, a vosk model.

    faults: what is wrong with its files. fits: whether its language is the one spoken.
    """

    folder: Path
    where: ModelPlace
    faults: tuple[FileFault, ...]
    fits: bool

    @property
    def usable(self) -> bool:
        """Whether it is safe to load and fits the language."""
        return self.fits and not self.faults


@dataclass(frozen=True, slots=True)
class ChosenRecogniser:
    """The choice. model: its folder. why: one line for the screen.

    stands_in: it replaces what the shop file asks for, which is not available. lacks: what it can't do that the best
    recogniser for this language can, and what to do, a line for the screen; "" if nothing.
    """

    recogniser: RecogniserName
    model: Path | None
    why: str
    stands_in: bool = False
    lacks: str = ""


def search_folders() -> list[tuple[ModelPlace, Path]]:
    """The places to look for models after the shop file's path, in order, each with its name."""
    import platformdirs

    folders = [(ModelPlace.USER_DATA, platformdirs.user_data_path(APP) / "models")]
    checkout = Path(__file__).resolve().parents[2]
    if (checkout / "pyproject.toml").is_file():
        folders.insert(0, (ModelPlace.CHECKOUT, checkout / "models"))
    return folders


def find_models(voice: VoiceSettings, folders: Sequence[Path] | None = None) -> list[ModelFolder]:
    """Every model folder, in order of preference. folders: to search instead of `search_folders()`."""
    found = []
    if voice.model:
        # The user gave this path by hand, so its language is taken on trust.
        folder = Path(voice.model).expanduser()
        found.append(ModelFolder(folder, ModelPlace.SHOP_FILE, tuple(model_faults(folder)), True))
    places = [(ModelPlace.GIVEN, folder) for folder in folders] if folders is not None else search_folders()
    for where, place in places:
        for folder in sorted(place.iterdir()) if place.is_dir() else ():
            if folder.is_dir() and _looks_like_a_model(folder):
                fits = _language_fits(folder.name, voice.language)
                found.append(ModelFolder(folder, where, tuple(model_faults(folder)), fits))
    return found


def _looks_like_a_model(folder: Path) -> bool:
    return folder.name.startswith("vosk-model") or (folder / "am").is_dir() or (folder / "graph").is_dir()


def _language_fits(name: str, language: str) -> bool:
    return re.search(rf"(^|-){re.escape(language)}(-|$)", name) is not None


def choose(voice: VoiceSettings, folders: Sequence[Path] | None = None) -> ChosenRecogniser:
    """Chooses the recogniser: see the module. The shop file can ask for any of them. folders: as in `find_models`.

    Raises NoSuchPart when no recogniser is available for the language.
    """
    if voice.recogniser == POCKETSPHINX:
        return _sphinx(voice, "the shop file asks for it")
    why_not_neural = ""
    neural_by_itself = voice.recogniser == RecogniserName.AUTO and voice.language == "en" and not voice.model
    if voice.recogniser == MOONSHINE or neural_by_itself:
        folder, why_not_neural = _neural(voice, folders)
        if folder is not None:
            return ChosenRecogniser(
                MOONSHINE, folder, "moonshine's tiny English model listens, with pocketsphinx beside it."
            )
    found = find_models(voice, folders)
    usable = next((model for model in found if model.usable), None)
    missing = _vosk_missing(found, usable)
    if usable is not None and not missing and voice.recogniser != MOONSHINE:
        return ChosenRecogniser(VOSK, usable.folder, f"vosk listens, with the model {usable.folder} ({usable.where}).")
    return _sphinx(voice, why_not_neural or missing, stands_in=voice.recogniser in (VOSK, MOONSHINE))


def _neural(voice: VoiceSettings, folders: Sequence[Path] | None) -> tuple[Path | None, str]:
    """The folder of the neural recogniser's files, or None and why it can't be used."""
    if voice.language != "en":
        return None, "moonshine's tiny model understands English only"
    places = folders if folders is not None else [place for _, place in search_folders()]
    folder = neural_files.find(places)
    if folder is None:
        return None, f"moonshine's model is not installed; {neural_files.INSTALL}"
    for library in ("onnxruntime", "pocketsphinx"):
        if importlib.util.find_spec(library) is None:
            return None, f"moonshine needs {library}; pip install {library}"
    return folder, ""


def must_have(choice: ChosenRecogniser) -> ChosenRecogniser:
    """Returns the choice. Raises CouldNotRun if it replaces what the user asked for."""
    if choice.stands_in:
        raise CouldNotRun(f"the recogniser asked for is not available: {choice.why}")
    return choice


def _vosk_missing(found: Sequence[ModelFolder], usable: ModelFolder | None) -> str:
    if importlib.util.find_spec("vosk") is None:
        return "vosk is not installed"
    if usable is not None:
        return ""
    broken = [model for model in found if model.faults]
    if broken:
        return f"the vosk model {broken[0].folder} is broken: {broken[0].faults[0]}"
    return "no vosk model was found" if not found else "no vosk model for this language was found"


def _sphinx(voice: VoiceSettings, why: str, stands_in: bool = False) -> ChosenRecogniser:
    if voice.language != "en":
        raise NoSuchPart(
            f"no recogniser for the language {voice.language!r}: {why}, and pocketsphinx understands English only"
        )
    if importlib.util.find_spec("pocketsphinx") is None:
        raise NoSuchPart(f"no recogniser: {why}, and pocketsphinx is not installed; pip install pocketsphinx")
    lacks = "" if voice.recogniser == POCKETSPHINX else f"{CANT_DOUBT} To mend that: {neural_files.INSTALL}"
    return ChosenRecogniser(
        POCKETSPHINX, None, f"pocketsphinx listens, with its own English model: {why}.", stands_in, lacks
    )
