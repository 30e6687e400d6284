"""Who may enter which room: imports only go up the list, and heavy libraries come late."""

from __future__ import annotations

import ast
import functools
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import assistant

PACKAGE = Path(assistant.__file__).parent
ROOMS = (
    "joinery",
    "plans",
    "advice",
    "session",
    "wording",
    "journal",
    "runner",
    "hearing",
    "speaking",
    "pedal",
    "carriage",
    "drawings",
    "screens",
    "calibrating",
)
# Beside the rooms, and imported from everywhere: they know of nothing that cuts, hears or speaks.
FOR_ALL = ("asking", "errors", "files", "health", "patience", "process")
# A room may enter those before it in this list, and itself. Adapters beside one another stay apart but for
# what is named here: the loudspeaker shares the microphone's handling of ALSA, and one process looks for both;
# screens show the figures that are drawn.
ADAPTERS = ("hearing", "speaking", "pedal", "carriage", "drawings", "screens")
NEIGHBOURS = {("speaking", "hearing"), ("screens", "drawings")}
HEAVY = (
    "pocketsphinx",
    "vosk",
    "miniaudio",
    "sounddevice",
    "pyttsx3",
    "pynput",
    "numpy",
    "platformdirs",
    "filelock",
    "serial",
    "reportlab",
    "ezdxf",
)


def is_module(name: str) -> bool:
    """Whether `assistant.name` is a module, and not a constant of the package, such as its version."""
    return (PACKAGE / name).is_dir() or (PACKAGE / f"{name}.py").exists()


@functools.cache
def imports(path: Path) -> tuple[str, ...]:
    """Full names of the modules of ours that this file imports, wherever in it."""
    return tuple(_imports(path))


def _imports(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names if alias.name.startswith("assistant"))
        elif isinstance(node, ast.ImportFrom):
            assert not node.level, f"{path}: imports are written in full"
            if node.module == "assistant":
                yield from (f"assistant.{alias.name}" for alias in node.names if is_module(alias.name))
            elif (node.module or "").startswith("assistant."):
                names = [f"{node.module}.{alias.name}" for alias in node.names]
                modules = [
                    name for name in names if PACKAGE.parent.joinpath(*name.split(".")).with_suffix(".py").exists()
                ]
                yield from modules or [str(node.module)]


def module_of(path: Path) -> str:
    """The full name of the module in this file; of a package's `__init__`, the package's."""
    return ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts).removesuffix(".__init__")


def room_of(module: str) -> str:
    parts = module.split(".")
    return parts[1] if len(parts) > 1 else ""


def files() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def test_imports_only_go_up_the_list() -> None:
    for path in files():
        room = path.relative_to(PACKAGE).parts[0].removesuffix(".py")
        for module in imports(path) if room in ROOMS else ():
            other = room_of(module)
            if other in (*FOR_ALL, room):
                continue
            assert other in ROOMS, f"{path} must not import {module}"
            assert ROOMS.index(other) < ROOMS.index(room), f"{path} must not import {module}: it lies below"
            if room in ADAPTERS and other in ADAPTERS:
                assert (room, other) in NEIGHBOURS, f"{path}: {room} and {other} stand beside one another"


@pytest.mark.parametrize("name", FOR_ALL)
def test_what_all_import_imports_nothing_of_ours(name: str) -> None:
    assert not list(imports(PACKAGE / f"{name}.py"))


def test_files_are_put_in_place_in_one_way() -> None:
    """A temporary file of a place's own: only `files` makes one, so that no second way is tried and half tested."""
    for path in files():
        if path != PACKAGE / "files.py":
            assert "mkstemp" not in path.read_text(encoding="utf-8"), path


def test_only_the_program_itself_imports_commands() -> None:
    """They are wiring: what anything else needs of one belongs into a room. `__main__` runs them."""
    for path in files():
        if path.parent != PACKAGE / "commands" and path != PACKAGE / "__main__.py":
            assert not [module for module in imports(path) if room_of(module) == "commands"], path


def test_no_imports_go_in_circles() -> None:
    """Wherever in a module they stand: a circle that is closed within a function binds the two as much."""
    ours = {module_of(path): path for path in files()}
    uses = {module: {other for other in imports(path) if other in ours} - {module} for module, path in ours.items()}
    while uses:
        imported = set().union(*uses.values())
        outside = {module for module, others in uses.items() if not others or module not in imported}
        if not outside:  # what is in a circle both imports and is imported, however much is taken away around it
            break
        uses = {module: others - outside for module, others in uses.items() if module not in outside}
    assert not uses, "\n".join(f"{module} imports {', '.join(sorted(others))}" for module, others in uses.items())


def test_what_is_calibrated_does_not_depend_on_how_readings_come() -> None:
    """Only dictation hears and speaks, only the joints look into the journal, and only health.py answers `ready`."""
    reaching_out = {"dictation", "microphone", "joints", "health"}
    for path in (PACKAGE / "calibrating").glob("*.py"):
        if path.stem not in reaching_out:
            assert {room_of(m) for m in imports(path)} <= {"calibrating", "plans", "joinery", "asking", "errors"}, (
                path.name
            )


def test_joinery_imports_nothing_of_ours_but_errors() -> None:
    for path in (PACKAGE / "joinery").glob("*.py"):
        assert {room_of(m) for m in imports(path)} <= {"joinery", "errors"}, path.name


def test_the_session_has_no_clock_no_thread_and_no_sleep() -> None:
    for path in (PACKAGE / "session").glob("*.py"):
        found = {
            alias.name
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.Import | ast.ImportFrom)
            for alias in (node.names if isinstance(node, ast.Import) else [ast.alias(str(node.module))])
        }
        assert not found & {"time", "threading", "asyncio", "queue", "datetime", "random", "os"}, path.name


@pytest.mark.parametrize("command", [["--help"], ["--version"], ["layout", "--help"], ["cut", "--help"]])
def test_heavy_libraries_come_late(command: list[str]) -> None:
    """--help works, quickly, on a machine that has none of them."""
    script = (
        "import sys\n"
        f"for name in {HEAVY!r}: sys.modules[name] = None\n"
        "from assistant.__main__ import main\n"
        f"main({command!r})\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_a_layout_needs_no_native_library() -> None:
    plans = Path(__file__).parent.parent / "demo_plans"
    script = (
        "import sys\n"
        f"for name in {HEAVY!r}: sys.modules[name] = None\n"
        "from assistant.__main__ import main\n"
        f"sys.exit(main(['layout', {str(plans / 'tea-trays.toml')!r}, '--shop', {str(plans / 'shop-readout.toml')!r}]))"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_the_journal_needs_neither_sound_nor_numbers(tmp_path: Path) -> None:
    native = [name for name in HEAVY if name not in ("platformdirs", "filelock")]
    script = (
        "import sys\n"
        f"for name in {native!r}: sys.modules[name] = None\n"
        "from assistant.__main__ import main\n"
        f"sys.exit(main(['journal', 'list', '--state', {str(tmp_path)!r}]))"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_a_class_name_means_one_thing() -> None:
    found: dict[str, list[str]] = {}
    for path in files():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef):
                found.setdefault(node.name, []).append(module_of(path))
    assert not {name: modules for name, modules in found.items() if len(modules) > 1}


def test_modules_stay_readable() -> None:
    """Above 600 lines there is more than one idea in it."""
    long = {path.name: lines for path in files() if (lines := len(path.read_text(encoding="utf-8").splitlines())) > 600}
    assert not long
