"""One live session per user: real programs in pseudo-terminals, of different plans, each with its own journal."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from assistant.errors import CouldNotRun, SessionLocked
from assistant.journal.store import Journal
from assistant.runner.one_live import FOLDER_VARIABLE, NAME, LiveLock, refusal
from tests.commands.program import PLAN
from tests.runner.test_whole_program import FIRST_CHECK, SECOND_CHECK, Saw

ROOT = Path(__file__).parents[2]
pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are a matter of POSIX"),
    pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning"),
]


@pytest.fixture
def saws(tmp_path: Path) -> Iterator[tuple[Saw, Saw]]:
    """Two folders, each with a plan, a shop and a journal."""
    both = []
    for name in ("first", "second"):
        (tmp_path / name).mkdir()
        both.append(Saw(tmp_path / name))
    (tmp_path / "second" / "plan.toml").write_text(PLAN.replace("Small tray", "Spice drawer"), encoding="utf-8")
    yield both[0], both[1]
    for saw in both:
        saw.close()


def cutting(saw: Saw) -> None:
    saw.run(saw.cut("--no-voice"))
    saw.until(FIRST_CHECK)


def refused(saw: Saw, command: list[str]) -> str:
    """What is shown, joined to one line."""
    saw.run(command)
    code, shown = saw.ended()
    assert code == 3, shown
    assert "Traceback" not in shown
    return " ".join(shown.split())


def sessions(saw: Saw) -> list[str]:
    with Journal.open(saw.folder / "state") as journal:
        return [row.id for row in journal.sessions()]


def test_a_second_session_is_refused_and_the_first_goes_on(saws: tuple[Saw, Saw]) -> None:
    """The refusal names the holder and how to end it, writes no row, and ending it that way makes room."""
    first, second = saws
    cutting(first)
    (session,) = sessions(first)
    shown = refused(second, second.cut("--no-voice"))
    holder = f"session {session}, Small tray (process {first.child.pid}, since {time.strftime('%Y-%m-')}"
    assert f"kerfcall: another live session is running: {holder}" in shown
    assert f"End it with Ctrl-C in its terminal, or with: kill {first.child.pid};" in shown
    assert f"it stays open for: kerfcall resume {session} --state {first.folder / 'state'}" in shown
    assert FIRST_CHECK not in shown
    assert not (second.folder / "state").exists()

    first.keys(("h", SECOND_CHECK))
    os.kill(first.child.pid, signal.SIGTERM)
    first.until(f"Go back to it with: kerfcall resume {session}")
    assert first.ended()[0] == 1
    cutting(second)


def test_the_view_refuses_before_it_takes_the_terminal(saws: tuple[Saw, Saw]) -> None:
    first, second = saws
    first.run(first.cut_in_view("--no-voice"))
    first.until("\x1b[?1049h")
    shown = refused(second, second.cut_in_view("--no-voice"))
    assert "another live session is running" in shown and "\x1b" not in shown


def test_a_killed_holder_makes_room_and_is_not_named_for_the_next_one(saws: tuple[Saw, Saw]) -> None:
    """Its note stays behind. Resuming is refused like cutting, with the name of the session that runs by then."""
    first, second = saws
    cutting(first)
    killed = first.child.pid
    os.kill(killed, signal.SIGKILL)
    first.child.wait()
    (left,) = Path(os.environ[FOLDER_VARIABLE]).glob("*.json")
    assert f'"pid": {killed}' in left.read_text()

    cutting(second)
    (session,) = sessions(first)
    shown = refused(first, first.words("resume", session, "--no-voice", "--plain"))
    assert f"Spice drawer (process {second.child.pid}, since " in shown and str(killed) not in shown
    second.keys(("h", SECOND_CHECK), ("q", "stays open"))
    assert second.ended()[0] == 1
    first.run(first.words("resume", session, "--no-voice", "--plain"))
    first.until("Resuming Small tray")
    assert f"process {first.child.pid}" in refused(second, second.cut("--no-voice"))


def test_a_rehearsal_runs_beside_a_live_session(saws: tuple[Saw, Saw]) -> None:
    first, second = saws
    cutting(first)
    (second.folder / "script.txt").write_text("3 pedal hold\n6 interrupt\n", encoding="utf-8")
    second.run(second.words(*rehearsal(second)))
    code, shown = second.ended()
    assert code == 1 and '"check_confirmed"' in shown, shown
    (session,) = sessions(second)
    second.run(second.words("resume", session, "--rehearse", str(second.folder / "script.txt")))
    code, shown = second.ended()
    assert code == 1 and '"resumed"' in shown, shown


def rehearsal(saw: Saw) -> list[str]:
    files = [str(saw.folder / name) for name in ("plan.toml", "shop.toml", "script.txt")]
    return ["cut", files[0], "--shop", files[1], "--rehearse", files[2]]


HOLD = """
import sys
from assistant.errors import SessionLocked
from assistant.runner.one_live import LiveLock
sys.stdin.readline()
try:
    with LiveLock("Small tray", None):
        print("held", flush=True)
        sys.stdin.readline()
except SessionLocked:
    print("refused", flush=True)
"""


def test_of_many_that_begin_at_once_one_runs() -> None:
    pipe = subprocess.PIPE
    children = [
        subprocess.Popen([sys.executable, "-c", HOLD], cwd=ROOT, stdin=pipe, stdout=pipe, text=True) for _ in range(6)
    ]
    try:
        for child in children:
            assert child.stdin is not None
            child.stdin.write("go\n")
            child.stdin.flush()
        said = [child.stdout.readline().strip() for child in children if child.stdout is not None]
        assert sorted(said) == ["held"] + 5 * ["refused"]
    finally:
        for child in children:
            child.communicate("end\n", timeout=20)


def test_without_a_usable_runtime_folder_the_data_folder_is_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both know of each other there."""
    monkeypatch.delenv(FOLDER_VARIABLE)
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setattr("platformdirs.user_runtime_path", lambda *_, **__: tmp_path / "file")
    with LiveLock("Small tray", None):
        assert [path.name for path in (tmp_path / "data" / "kerfcall").glob("*.lock")] == ["live-session.lock"]
        with pytest.raises(SessionLocked, match="Small tray"):
            LiveLock("Spice drawer", None).__enter__()
    with LiveLock("Spice drawer", None):
        pass


@pytest.mark.skipif(sys.platform != "linux", reason="the variable is the desktops' on Linux")
def test_the_lock_is_in_the_users_runtime_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(FOLDER_VARIABLE)
    (tmp_path / "run").mkdir(mode=0o700)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "run"))
    with LiveLock("Small tray", None):
        held = {path.name for path in (tmp_path / "run" / "kerfcall").iterdir()}
    assert held == {"live-session.lock", "live-session.json"}


def test_without_a_runtime_folder_no_warning_is_shown() -> None:
    """The library warns once per process, on the operator's terminal."""
    script = "from assistant.runner.one_live import _folders\nprint(next(_folders()))"
    environ = {name: value for name, value in os.environ.items() if name not in (FOLDER_VARIABLE, "XDG_RUNTIME_DIR")}
    done = subprocess.run([sys.executable, "-c", script], cwd=ROOT, env=environ, capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, "") and "kerfcall" in done.stdout


def test_without_a_usable_folder_the_refusal_says_what_to_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "file"))
    with pytest.raises(CouldNotRun, match=f"can't lock {tmp_path}.*{FOLDER_VARIABLE}"):
        LiveLock("Small tray", None).__enter__()


@pytest.mark.parametrize(
    "left",
    [b"", b"{", b"[]", b"\xff", b'{"pid": "1", "title": "t", "session": "s", "state": "", "since": "2026-01-01"}'],
)
def test_an_unreadable_note_names_nobody(tmp_path: Path, left: bytes) -> None:
    (tmp_path / "note").write_bytes(left)
    assert refusal(tmp_path / "note") == refusal(tmp_path / "missing")
    assert refusal(tmp_path / "note").startswith("another live session is running. Only one may run")


def test_a_session_that_is_just_beginning_offers_no_resume() -> None:
    with LiveLock("Small tray", None) as lock:
        early = refusal(lock._note_file)
        lock.name("2026-11-25-1")
        later = refusal(lock._note_file)
    assert "running: Small tray (process" in early and "resume" not in early
    assert "session 2026-11-25-1, Small tray" in later and later.endswith("kerfcall resume 2026-11-25-1")


def test_a_journal_named_from_the_holders_folder_is_found_from_any_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path))
    monkeypatch.chdir(tmp_path)
    with LiveLock("Small tray", Path("state"), "2026-11-25-1"):
        said = refusal(tmp_path / f"{NAME}.json")
    assert said.endswith(f"kerfcall resume 2026-11-25-1 --state {tmp_path.resolve() / 'state'}")
