"""`kerfcall demo`: plays a whole session with nothing but this computer.

A synthetic operator waits for each announcement to end and answers in another voice, through the real recogniser.
Partway through a board the process is killed, and a second one resumes from the journal.
"""

from __future__ import annotations

import argparse
import contextlib
import subprocess
import sys
import tempfile
import wave
from pathlib import Path

from assistant.commands.demo_run import ACTS, DRIVEN_ACTS, PLUG_PULLED, operator_track, play, voice_track
from assistant.errors import BadInput, CouldNotRun, Fault
from assistant.journal.account import account
from assistant.journal.store import Journal
from assistant.process import shielded_from_ctrl_c
from assistant.speaking.mix import mix

INTRO = """Kerfcall demo: two boards of a small tray (an invented job), cut without a saw.
A synthetic operator answers by voice, through the real recogniser, and with a pedal.
  >> ?? --   what Kerfcall says        [..]   where the session is        op:   what the operator does
"""
DRIVEN = """A motor moves the carriage: here a simulated one, with a simulated motion controller. No hardware is used.
"""
RATE = 22050  # Hz, of the WAV file
CUT_OFF = "\n*** The process was killed partway through a board. A new one resumes from the journal. ***\n"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--out",
        type=Path,
        default=Path("kerfcall-demo.wav"),
        metavar="FILE.wav",
        help="write everything said to this file (default: kerfcall-demo.wav)",
    )
    parser.add_argument(
        "--drive", action="store_true", help="a motor moves the carriage: with a halt, a lost place and a resume"
    )
    parser.add_argument("--state", type=Path, metavar="DIR", help="keep the journal in this folder")
    # For the child processes, each of which plays one act.
    parser.add_argument("--act", type=int, choices=range(len(ACTS)), help=argparse.SUPPRESS)


def run(args: argparse.Namespace) -> int:
    if args.act is not None:
        return play((DRIVEN_ACTS if args.drive else ACTS)[args.act], args.act, args.state)
    if args.out.exists() and not args.out.is_file():
        raise BadInput([Fault("is not a file", "", str(args.out), "give the name of a WAV file to write")])
    # Now, not when everything has been played and would be lost.
    _refuse_unwritable(args.out)
    with contextlib.ExitStack() as stack:
        state = _journal_folder(args.state, stack)
        print(INTRO + (DRIVEN * args.drive), flush=True)
        _play_in_child(state, 0, PLUG_PULLED, args.drive)
        print(CUT_OFF, flush=True)
        _play_in_child(state, 1, 0, args.drive)
        print("\nThe journal's record of the session:\n", flush=True)
        with Journal.open_to_read(state) as journal:
            latest = journal.sessions()[-1]
            print(account(latest, journal.replay(latest.id, with_gaps=True)))
        seconds = _write_sound(state, args.out)
    print(f"\nRecording of everything said ({seconds:.0f} s): {args.out}")
    return 0


def _journal_folder(asked: Path | None, stack: contextlib.ExitStack) -> Path:
    """The journal's folder, created if need be. Raises CouldNotRun if it can't be created or written to."""
    try:
        state = asked or Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="kerfcall-demo-")))
        state.mkdir(parents=True, exist_ok=True)
        # That a folder is there says nothing about the right to write in it.
        with tempfile.TemporaryFile(dir=state):
            return state
    except OSError as error:
        where = f"the folder {asked}" if asked else "a folder for the journal"
        mend = "give another folder with --state DIR"
        raise CouldNotRun(f"{where} can't be created or written to: {error.strerror or error}; {mend}") from error


def _play_in_child(state: Path, act: int, expected: int, driven: bool) -> None:
    """Plays one act in a child process. Raises CouldNotRun if its exit code is not the expected one."""
    command = [sys.executable, "-m", "assistant", "demo", "--act", str(act), "--state", str(state)]
    command += ["--drive"] if driven else []
    process = None
    try:
        with shielded_from_ctrl_c():
            process = subprocess.Popen(command)
        code = process.wait()
    except BaseException:  # Ctrl-C too: the child is shielded from it and would play on
        if process is not None:
            process.kill()
            process.wait()
        raise
    if code != expected:
        raise CouldNotRun(f"part {act + 1} of the demo ended with exit code {code}; the lines above say why")


def _write_sound(folder: Path, out: Path) -> float:
    """Writes what was said in all acts, one after another, as mono 22,050 Hz. Returns the length in seconds."""
    sound = mix([(voice_track(folder, act), operator_track(folder, act)) for act in range(len(ACTS))], RATE)
    try:
        # Opened here and not by `wave`: its writer, if it can't open a file, complains again when it is collected.
        with out.open("wb") as file, wave.open(file, "wb") as wav:
            wav.setnchannels(1)
            wav.setsampwidth(2)
            wav.setframerate(RATE)
            wav.writeframes(sound)
    except OSError as error:
        raise _unwritable(out, error) from error
    return len(sound) / 2 / RATE


def _refuse_unwritable(out: Path) -> None:
    """Raises CouldNotRun if this file can't be written. Leaves an existing file as it is, and creates none."""
    there = out.exists()
    try:
        with out.open("ab"):
            pass
        if not there:
            out.unlink()
    except OSError as error:
        raise _unwritable(out, error) from error


def _unwritable(out: Path, error: OSError) -> CouldNotRun:
    return CouldNotRun(f"{out} can't be written: {error.strerror or error}; give another file with --out FILE.wav")
