"""`kerfcall draw`: files are written completely, others left alone, and every fault says what to do."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pypdfium2 as pdfium
import pytest

from assistant.__main__ import main
from tests.drawings.demos import IN_TURN
from tests.plans.files import DEMO, PLAN, SHOP, write


@pytest.fixture
def files(tmp_path: Path) -> tuple[str, str]:
    return str(write(tmp_path, PLAN, "trays.toml")), str(write(tmp_path, SHOP, "shop.toml"))


def _draw(files: tuple[str, str], *words: str) -> int:
    return main(["draw", files[0], "--shop", files[1], *words])


def test_three_kinds_at_once(tmp_path: Path, files: tuple[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    import ezdxf  # slow to import, and every worker collects this file

    paths = {kind: tmp_path / f"trays.{kind}" for kind in ("pdf", "svg", "dxf")}
    assert _draw(files, *(word for kind, path in paths.items() for word in (f"--{kind}", str(path)))) == 0
    printed = capsys.readouterr()
    assert printed.err == "" and len(printed.out.splitlines()) == 3
    document = pdfium.PdfDocument(paths["pdf"])
    assert len(document) > 3
    document.close()
    assert ElementTree.parse(paths["svg"]).getroot().tag.endswith("svg")
    assert len(ezdxf.readfile(paths["dxf"]).modelspace()) > 100


@pytest.mark.parametrize(("plan", "shop"), IN_TURN)
def test_every_demo_plan_is_drawn(plan: str, shop: str, tmp_path: Path) -> None:
    out = tmp_path / "plan.svg"
    assert main(["draw", str(DEMO / f"{plan}.toml"), "--shop", str(DEMO / f"{shop}.toml"), "--svg", str(out)]) == 0
    ElementTree.parse(out)


def test_a_drawing_overwrites_itself(tmp_path: Path, files: tuple[str, str]) -> None:
    out = tmp_path / "trays.pdf"
    assert _draw(files, "--pdf", str(out)) == 0
    before = out.read_bytes()
    assert _draw(files, "--pdf", str(out)) == 0
    assert out.read_bytes() == before
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []


def test_another_file_is_left_alone(tmp_path: Path, files: tuple[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    before = Path(files[0]).read_bytes()
    assert _draw(files, "--svg", files[0]) == 2
    assert "the file exists, is not SVG and was not overwritten" in capsys.readouterr().err
    assert Path(files[0]).read_bytes() == before


def test_an_empty_file_may_be_written_over(tmp_path: Path, files: tuple[str, str]) -> None:
    (tmp_path / "new.dxf").touch()
    assert _draw(files, "--dxf", str(tmp_path / "new.dxf")) == 0


def test_all_faults_of_the_files_asked_for(
    tmp_path: Path, files: tuple[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    words = ("--pdf", str(tmp_path / "no" / "such.pdf"), "--svg", str(tmp_path), "--dxf", files[1])
    assert _draw(files, *words) == 2
    lines = capsys.readouterr().err.splitlines()
    assert [line.split(": ")[1] for line in lines] == ["--svg", "--pdf", "--dxf"]
    assert "is not a file" in lines[0] and "there is no such folder" in lines[1] and "is not DXF" in lines[2]


def test_no_file_asked_for(files: tuple[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    assert _draw(files) == 2
    assert "give --pdf FILE, --svg FILE or --dxf FILE" in capsys.readouterr().err


def test_one_name_for_two_drawings(tmp_path: Path, files: tuple[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    assert _draw(files, "--pdf", str(tmp_path / "x"), "--svg", str(tmp_path / "x")) == 2
    assert "one file can't hold two drawings" in capsys.readouterr().err
    assert not (tmp_path / "x").exists()


def test_faults_of_the_plan_are_reported_as_by_layout(
    tmp_path: Path, files: tuple[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    Path(files[0]).write_text(PLAN.replace("finger = 6", "fingr = 6"), encoding="utf-8")
    assert _draw(files, "--pdf", str(tmp_path / "x.pdf")) == 2
    assert "did you mean finger?" in capsys.readouterr().err
    assert not (tmp_path / "x.pdf").exists()


def test_a_place_that_cant_be_written(
    tmp_path: Path, files: tuple[str, str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def full(source: object, target: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    assert _draw(files, "--svg", str(tmp_path / "x.svg")) == 3
    assert "x.svg can't be written (No space left on device): choose another folder" in capsys.readouterr().err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["shop.toml", "trays.toml"]


def test_without_the_library_nothing_is_half_done(
    tmp_path: Path, files: tuple[str, str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "ezdxf", None)
    assert _draw(files, "--svg", str(tmp_path / "x.svg"), "--dxf", str(tmp_path / "x.dxf")) == 3
    assert "pip install 'kerfcall[dxf]'" in capsys.readouterr().err
    assert not (tmp_path / "x.svg").exists()


def test_svg_needs_no_library(tmp_path: Path, files: tuple[str, str]) -> None:
    script = (
        "import sys\n"
        "for name in ('reportlab', 'ezdxf', 'numpy', 'PIL'): sys.modules[name] = None\n"
        "from assistant.__main__ import main\n"
        f"sys.exit(main(['draw', {files[0]!r}, '--shop', {files[1]!r}, '--svg', {str(tmp_path / 'x.svg')!r}]))"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr


def test_letters_that_no_font_has_are_reported(
    tmp_path: Path, files: tuple[str, str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from assistant.drawings import fonts

    monkeypatch.setattr(fonts, "found_fonts", list)
    Path(files[0]).write_text(PLAN.replace("Trays", "盆 Trays"), encoding="utf-8")
    assert _draw(files, "--pdf", str(tmp_path / "x.pdf")) == 0
    assert "no font on this machine has 盆; the PDF shows ? instead" in capsys.readouterr().err


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such mask")
def test_a_new_file_has_the_rights_that_the_user_gives_new_files(tmp_path: Path, files: tuple[str, str]) -> None:
    before = os.umask(0o027)
    try:
        assert _draw(files, "--svg", str(tmp_path / "x.svg")) == 0
    finally:
        os.umask(before)
    assert (tmp_path / "x.svg").stat().st_mode & 0o777 == 0o640


@pytest.mark.parametrize(("words", "size"), [((), (297, 210)), (("--paper", "letter"), (279.4, 215.9))])
def test_the_paper_can_be_chosen(
    tmp_path: Path, files: tuple[str, str], words: tuple[str, ...], size: tuple[float, float]
) -> None:
    assert _draw(files, "--pdf", str(tmp_path / "x.pdf"), *words) == 0
    document = pdfium.PdfDocument(tmp_path / "x.pdf")
    assert document[0].get_size() == pytest.approx([side * 72 / 25.4 for side in size], abs=0.01)
    document.close()
