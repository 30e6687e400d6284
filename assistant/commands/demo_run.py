"""One act of the demo: wires the file speaker, the file listener and the synthetic operator together."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import as_file, files
from pathlib import Path

from assistant.carriage.rehearsed import RehearsedDrive
from assistant.errors import NoSuchPart
from assistant.hearing.listener import FileListener
from assistant.journal.choosing import replayed
from assistant.journal.lock import SessionLock
from assistant.journal.store import Journal
from assistant.plans.intents import Intent, Mode
from assistant.plans.job import build_job
from assistant.plans.model import Job
from assistant.plans.plan_file import read_both
from assistant.runner.clock import SetClock
from assistant.runner.loop import Outputs, Runner
from assistant.runner.rehearsal import Rehearsal
from assistant.runner.script import DriveMishap
from assistant.screens.plain import PlainScreen
from assistant.session.events import Event, Resume, SpeechStarted, Start
from assistant.session.state import FINISHED, State
from assistant.speaking.espeak import EspeakEngine
from assistant.speaking.file_speaker import FileSpeaker
from assistant.speaking.operator import Habits, RecordedSource, SyntheticOperator

OPERATOR_VOICES = ("en-us", "en-gb", "en")
# The exit code of a killed process. Windows has no such signal: there, a code that nothing else gives.
PLUG_PULLED = -signal.SIGKILL if hasattr(signal, "SIGKILL") else 86


@dataclass(frozen=True, slots=True)
class Act:
    """One act. habits: the operator's. plug_pulled_at: the process is killed after so many passes; 0 for never.

    driven: a motor moves the carriage. lost_at: after so many passes its controller starts again; 0 for never.
    """

    habits: Habits
    plug_pulled_at: int
    driven: bool = False
    lost_at: int = 0


ACTS = (
    Act(Habits(by_pedal=frozenset({"guard"}), by_voice=frozenset({1}), asks={2: Intent.WHERE, 3: Intent.AGAIN}), 3),
    Act(Habits(by_pedal=frozenset({"clamps"}), by_voice=frozenset({5, 9}), asks={6: Intent.HOW_MANY}), 0),
)


DRIVEN_ACTS = (
    Act(Habits(by_pedal=frozenset({"guard"}), halts=frozenset({3})), 3, driven=True),
    Act(Habits(by_pedal=frozenset({"clamps"}), asks={6: Intent.WHERE}), 0, driven=True, lost_at=5),
)
"""With a halt on the way, a kill, and a controller that starts again in mid-session."""


def voice_track(folder: Path, act: int) -> Path:
    """The file with what Kerfcall says in this act."""
    return folder / f"demo-voice-{act}.wav"


def operator_track(folder: Path, act: int) -> Path:
    """The file with what the operator says in this act, at 16 kHz."""
    return folder / f"demo-operator-{act}.wav"


def play(act: Act, number: int, state_dir: Path) -> int:
    """Plays one act. The first starts the session, the others resume it. Returns the exit code."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the demo's own process answers Ctrl-C and ends this one
    with Journal.open(state_dir) as journal:
        if number:
            session = journal.latest_open()
            if session is None:
                return 3
            state = replayed(journal, session)
            return _run(act, number, state_dir, journal, session, state, state.the_job)
        with as_file(files("assistant.commands") / "demo_files") as folder:
            shop = "shop-driven.toml" if act.driven else "shop.toml"
            job = build_job(*read_both(folder / "plan.toml", folder / shop))
        session = journal.new_session(job.title, job.plan_digest, "", SetClock().utc())
        return _run(act, number, state_dir, journal, session, State(), job)


def _run(act: Act, number: int, folder: Path, journal: Journal, session: str, state: State, job: Job) -> int:
    # Session time moves with the sound's samples, so that every machine plays the same session.
    clock = SetClock(state.at)
    screen = PlainScreen(sys.stdout, keys=False)
    runner = Runner(lambda records: journal.append(session, records), Outputs(screens=[screen]), clock, state)
    with contextlib.ExitStack() as stack:
        stack.enter_context(SessionLock(folder, session))
        speaker = FileSpeaker(voice_track(folder, number), clock, runner.post, job.voice)
        stack.callback(speaker.close)
        ear = FileListener(clock, runner.post, job.voice, job.checks, start_s=clock.at())
        stack.callback(ear.close)

        def note(text: str) -> None:
            screen.note(f"                                        op: {text}")

        drive = RehearsedDrive(clock, runner.post, job.carriage) if job.carriage.drive else None
        runner.outputs.drive = drive
        operator = SyntheticOperator(
            _operator_voice(), clock, runner.post, lambda: runner.phrases, act.habits, note, drive
        )
        pulls, loses = _plug_puller(act, runner), _loser(act, runner, drive, note)

        def mishaps(event: Event) -> None:
            pulls(event)
            loses(event)

        source = RecordedSource(operator, operator_track(folder, number), mishaps)
        stack.callback(source.close)
        runner.outputs.speaker, runner.outputs.listener = speaker, ear
        runner.outputs.screens.append(operator)
        if not number:  # shown once for both acts
            screen.note(f"-- {speaker.line}\n-- {ear.choice.why}")
        first = Resume(clock.at(), clock.utc()) if number else Start(clock.at(), clock.utc(), job)
        runner.post(first)
        Rehearsal(runner, clock, sound=speaker, ear=ear, source=source, drive=drive).run()
    return 0 if runner.state.mode == FINISHED else 1


def _operator_voice() -> EspeakEngine:
    """A voice other than the announcements'. Raises NoSuchPart when espeak-ng has none of `OPERATOR_VOICES`."""
    for name in OPERATOR_VOICES:
        try:
            return EspeakEngine(name, 130)
        except NoSuchPart:
            continue
    raise NoSuchPart("espeak-ng has no second voice; pip install --force-reinstall espeakng-loader")


def _plug_puller(act: Act, runner: Runner) -> Callable[[Event], None]:
    """Kills this process, with nothing tidied up, as soon as the voice begins to speak the setting that is due."""

    def pull_when_due(event: Event) -> None:
        state = runner.state
        due = act.plug_pulled_at and state.cut_in_all == act.plug_pulled_at and state.mode == Mode.CUTTING
        if due and isinstance(event, SpeechStarted):
            # The lines so far are part of the demo, and a killed process would lose them.
            sys.stdout.flush()
            if PLUG_PULLED < 0:  # this system has signals
                os.kill(os.getpid(), -PLUG_PULLED)
            os._exit(PLUG_PULLED)

    return pull_when_due


def _loser(
    act: Act, runner: Runner, drive: RehearsedDrive | None, note: Callable[[str], None]
) -> Callable[[Event], None]:
    """Has the carriage's controller start again, once, when the voice has begun to say where it stands."""
    lost = False

    def lose_when_due(event: Event) -> None:
        nonlocal lost
        state = runner.state
        due = act.lost_at and state.cut_in_all == act.lost_at and state.mode == Mode.CUTTING
        if drive is not None and not lost and due and isinstance(event, SpeechStarted):
            lost = True
            note("(the carriage's controller starts again by itself)")
            drive.mishap(DriveMishap.RESET)

    return lose_when_due
