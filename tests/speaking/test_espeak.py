"""espeak-ng in process: every phrase measured, against its own command line, and its traps."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import wave
from pathlib import Path

import numpy as np
import psutil
import pytest

from assistant.errors import NoSuchPart
from assistant.speaking.espeak import CLEAREST, EspeakEngine
from assistant.speaking.espeak_files import LONGEST_DATA_PATH, LibraryPlace, places, short_data_folder
from tests.speaking.stand_ins import PHRASES

espeakng_loader = pytest.importorskip("espeakng_loader", reason="this platform has no espeakng-loader wheel")
ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def engine() -> EspeakEngine:
    return EspeakEngine(words_a_minute=160)


@pytest.mark.parametrize("text", PHRASES)
def test_every_phrase_is_heard_whole(engine: EspeakEngine, text: str) -> None:
    """160 words a minute: between a sixth and a whole second a word; loud, and not clipped flat."""
    pcm = engine.render(text)
    assert pcm is not None
    words = len(text.split())
    assert words / 6 < pcm.seconds < words + 0.5
    loudness = np.abs(pcm.samples.astype(int))
    assert 3000 < loudness.max() <= 32767
    assert np.mean(loudness >= 32767) < 0.001
    # Spoken all through: no quarter of it is silent.
    assert all(quarter.max() > 1000 for quarter in np.array_split(loudness, 4))


@pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="the espeak-ng command line is not installed")
@pytest.mark.parametrize("text", PHRASES)
def test_its_own_command_line_speaks_as_long(engine: EspeakEngine, text: str, tmp_path: Path) -> None:
    """Second opinion: the espeak-ng command line, another build and data set, same voice and rate."""
    file = tmp_path / "said.wav"
    subprocess.run(["espeak-ng", "-v", CLEAREST["en"], "-s", "160", "-w", str(file), text], check=True)
    with wave.open(str(file)) as wav:
        samples = np.frombuffer(wav.readframes(wav.getnframes()), np.int16)
        loud = np.flatnonzero(np.abs(samples.astype(int)) >= 64)
        theirs = (loud[-1] - loud[0]) / wav.getframerate()
    pcm = engine.render(text)
    assert pcm is not None
    assert pcm.seconds - 0.1 == pytest.approx(theirs, rel=0.06, abs=0.12)


def test_every_change_of_rate_is_taken() -> None:
    """Each alternates between slow and fast on the one shared library."""
    slow, fast = EspeakEngine("en", 100), EspeakEngine("en", 300)
    for _ in range(6):
        a, b = slow.render(PHRASES[2]), fast.render(PHRASES[2])
        assert a is not None and b is not None
        assert a.seconds > 2 * b.seconds


def test_a_render_can_be_cut_off_at_once(engine: EspeakEngine) -> None:
    asked = []

    def third_time() -> bool:
        asked.append(1)
        return len(asked) >= 3

    assert engine.render(" ".join(PHRASES) * 3, third_time) is None
    # Two more questions at most: one after the library has returned, none per buffer that is left.
    assert len(asked) <= 5
    after = engine.render(PHRASES[0])
    assert after is not None and after.seconds > 1


def test_a_nul_in_a_name_does_not_swallow_the_rest(engine: EspeakEngine) -> None:
    cut, whole = engine.render("long side\0 one two three"), engine.render("long side one two three")
    assert cut is not None and whole is not None
    assert cut.seconds == pytest.approx(whole.seconds, abs=0.05)


def test_an_empty_text_is_nothing(engine: EspeakEngine) -> None:
    pcm = engine.render(" \n")
    assert pcm is not None and pcm.frames == 0


def test_an_unknown_voice_is_named() -> None:
    with pytest.raises(NoSuchPart, match='no voice "no-such-voice".*voice.language'):
        EspeakEngine("no-such-voice")


def test_no_library_names_what_mends_it() -> None:
    with pytest.raises(NoSuchPart, match="pip install espeakng-loader"):
        EspeakEngine(candidates=[LibraryPlace("libno-such-voice.so.9", None, "a test's")])


@pytest.mark.parametrize("phrases", [300, pytest.param(1000, marks=pytest.mark.long)])
def test_many_phrases_do_not_leak(engine: EspeakEngine, phrases: int) -> None:
    process = psutil.Process()
    for n in range(100):
        engine.render(f"warm {n}")
    before = process.memory_info().rss
    for n in range(phrases):
        engine.render(f"set one two decimal {n}")
    # The samples of one phrase alone are more than 50 kB.
    assert process.memory_info().rss - before < 4_000_000


def in_a_process(code: str, *arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """The library's state is one per process: what may spoil it runs in another."""
    return subprocess.run(
        [sys.executable, "-c", code, *arguments],
        capture_output=True,
        text=True,
        cwd=ROOT,
        env={**os.environ, **environment},
        timeout=60,
    )


def test_without_data_the_process_goes_on(tmp_path: Path) -> None:
    """The library would call exit(1)."""
    code = """
import sys
from pathlib import Path
from assistant.errors import NoSuchPart
from assistant.speaking.espeak import EspeakEngine
from assistant.speaking.espeak_files import LibraryPlace, places
try:
    EspeakEngine(candidates=[LibraryPlace(places()[0].library, Path(sys.argv[1]), "a test's")])
except NoSuchPart as error:
    print("went on:", error)
"""
    done = in_a_process(code, str(tmp_path))
    assert "went on:" in done.stdout and "finds no voice data" in done.stdout, done.stderr


def deep_copy_of_the_data(tmp_path: Path) -> Path:
    deep = tmp_path / ("a-long-folder-name-" * 4) / ("and-another-one-" * 5) / "espeak-ng-data"
    shutil.copytree(espeakng_loader.get_data_path(), deep)
    assert len(str(deep)) > 145
    return deep


def test_a_long_data_path_speaks_from_a_short_copy(tmp_path: Path) -> None:
    deep = deep_copy_of_the_data(tmp_path)
    code = """
import sys
from pathlib import Path
from assistant.speaking.espeak import EspeakEngine
from assistant.speaking.espeak_files import LibraryPlace, places
engine = EspeakEngine(candidates=[LibraryPlace(places()[0].library, Path(sys.argv[1]), "a test's")])
print("spoke", engine.render("one two decimal three five").seconds)
"""
    with tempfile.TemporaryDirectory(prefix="kc") as short:
        done = in_a_process(code, str(deep), XDG_CACHE_HOME=short)
    assert done.stdout.startswith("spoke"), done.stderr
    assert 1.2 < float(done.stdout.split()[1]) < 2.5


def test_the_short_copy_is_small_made_once_and_used_again(tmp_path: Path) -> None:
    deep = deep_copy_of_the_data(tmp_path)
    copy = short_data_folder(deep, tmp_path / "c")
    assert len(os.fsencode(copy)) <= LONGEST_DATA_PATH
    made = copy.stat().st_mtime_ns
    assert short_data_folder(deep, tmp_path / "c") == copy
    assert copy.stat().st_mtime_ns == made
    assert sum(file.stat().st_size for file in copy.rglob("*") if file.is_file()) < 2_000_000
    assert [entry.name for entry in copy.parent.iterdir()] == ["espeak-ng-data"]


def test_no_short_place_at_all_is_said(tmp_path: Path) -> None:
    deep = deep_copy_of_the_data(tmp_path)
    with pytest.raises(NoSuchPart, match="install Kerfcall into a shorter path"):
        short_data_folder(deep, deep)


def test_a_short_data_path_is_used_as_it_is() -> None:
    data = places()[0].data
    assert data is not None and short_data_folder(data) == data
