"""What `cut` and `resume` share: their options, the making of adapters, and the choice of a live or rehearsed run."""

from __future__ import annotations

import argparse
import contextlib
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

from assistant.commands.page_parts import add_page_options, open_page, page_faults
from assistant.errors import BadInput, Fault, NoSuchPart
from assistant.journal.store import Journal
from assistant.pedal.names import stand_in_key
from assistant.plans.model import Job
from assistant.runner.adapters import Adapters, Makers, Pump
from assistant.runner.clock import LiveClock, SetClock
from assistant.runner.contracts import (
    CodeWish,
    Driven,
    LiveEar,
    LiveKeys,
    LivePage,
    LivePedal,
    LiveScreen,
    LiveView,
    Post,
    Speaker,
)
from assistant.runner.live import leaving_on_signals, run_live
from assistant.runner.loop import Outputs, Runner
from assistant.runner.rehearsal import Rehearsal
from assistant.runner.script import ScriptLine, read_script
from assistant.runner.trace import Trace
from assistant.screens.line_writer import LineWriter
from assistant.screens.plain import PlainScreen
from assistant.screens.script_keys import ScriptKeys
from assistant.screens.view import TerminalView, why_no_view
from assistant.session.events import Displayed, OpenSession, Resume, Start
from assistant.session.facts import Record
from assistant.session.state import ENDED_EARLY, FINISHED, State
from assistant.session.voice import to_keep


def add_run_options(parser: argparse.ArgumentParser) -> None:
    """Adds the options of `cut` and `resume`."""
    parser.add_argument(
        "--state", type=Path, metavar="DIR", help="the folder of the journal (default: your data folder)"
    )
    parser.add_argument(
        "--rehearse", type=Path, metavar="SCRIPT", help="play a script of events; print what happens as JSON Lines"
    )
    parser.add_argument(
        "--real-time", action="store_true", help="play the script at its own pace, and give speech the time it takes"
    )
    parser.add_argument(
        "--mic", type=Path, metavar="FILE.wav", help="listen to this recording instead of the microphone"
    )
    parser.add_argument(
        "--speaker", type=Path, metavar="FILE.wav", help="write the speech to this file instead of playing it"
    )
    parser.add_argument(
        "--loudspeaker", metavar="NAME", help="speak through this loudspeaker: its name, or part of its name"
    )
    parser.add_argument("--no-voice", action="store_true", help="do not speak or listen: screen and pedal only")
    parser.add_argument("--no-pedal", action="store_true", help="use no pedal: the terminal's keys only")
    parser.add_argument(
        "--no-drive", action="store_true", help="leave the carriage's motor alone: it is set by hand, as called"
    )
    parser.add_argument(
        "--plain", action="store_true", help="print plain lines instead of filling the terminal with a page"
    )
    add_page_options(parser)


@dataclass
class Run:
    """One run of one session.

    notes: what has changed since the session was started; None for a new session. beside: other sessions left open.
    test_joint_skipped, kerf_days: as in `Start`.
    """

    job: Job
    session: str
    journal: Journal
    state: State
    notes: tuple[str, ...] | None
    plan_path: Path | None = None
    beside: tuple[OpenSession, ...] = ()
    test_joint_skipped: bool = False
    kerf_days: int | None = None

    @property
    def resumed(self) -> bool:
        """Whether the session had begun before. If so, the speech is added to the end of an existing file."""
        return self.notes is not None

    def first_event(self, clock: LiveClock | SetClock, rehearsed: bool, hear_out: bool) -> Start | Resume:
        """Start for a new session, Resume (with the notes on what has changed) for one that goes on."""
        if self.notes is not None:
            return Resume(clock.at(), clock.utc(), self.notes, hear_out)
        at_hand = (self.beside, self.test_joint_skipped, self.kerf_days)
        return Start(clock.at(), clock.utc(), self.job, rehearsed, hear_out, *at_hand)


def check_options(args: argparse.Namespace) -> tuple[ScriptLine, ...]:
    """Reads the script, and the recording into `args.source`, so that no session starts with a bad one.

    Returns the script's lines. Raises BadInput with every fault of the options, the script and the recording.
    """
    faults: list[Fault] = []
    lines: tuple[ScriptLine, ...] = ()
    args.source = None
    if args.mic is not None:
        from assistant.hearing.wav import WavSource

        try:
            args.source = WavSource(args.mic)
        except BadInput as error:
            faults += error.faults
    if args.rehearse is not None:
        try:
            lines = read_script(args.rehearse)
        except BadInput as error:
            faults += error.faults
    if args.loudspeaker and (args.no_voice or args.speaker):
        mend = "leave it out, or leave out --no-voice and --speaker"
        faults.append(Fault("can't be combined with --no-voice or --speaker", "", "--loudspeaker", mend))
    if args.no_voice and (args.mic or args.speaker):
        mend = "leave out --no-voice, or leave out --mic and --speaker"
        faults.append(Fault("can't be combined with --mic or --speaker", "", "--no-voice", mend))
    faults += page_faults(args)
    if faults:
        raise BadInput(faults)
    return lines


def is_rehearsed(args: argparse.Namespace) -> bool:
    """Whether a script or a recording drives the run, and not an operator."""
    return args.rehearse is not None or args.mic is not None


def drive(run: Run, args: argparse.Namespace, script: tuple[ScriptLine, ...]) -> int:
    """Runs the session until it is finished or the operator leaves it. Returns 0 if it is finished, else 1."""
    runner = _rehearse(run, args, script) if is_rehearsed(args) else _live(run, args)
    return 0 if runner.state.mode == FINISHED else 1


def _rehearse(run: Run, args: argparse.Namespace, script: tuple[ScriptLine, ...]) -> Runner:
    clock = SetClock(run.state.at)
    outputs = Outputs(trace=Trace(sys.stdout, run.session, clock.at))
    runner = Runner(lambda records: run.journal.append(run.session, records), outputs, clock, run.state)
    with contextlib.ExitStack() as stack:
        sound, ear = _file_speaker(run, args, clock, runner, stack), None
        if sound is None:
            from assistant.speaking.speaker import SilentSpeaker

            outputs.speaker = SilentSpeaker(clock, runner.post)
        if args.mic is not None:
            from assistant.hearing.listener import FileListener

            ear = FileListener(clock, runner.post, run.job.voice, run.job.checks, start_s=clock.at())
            stack.callback(ear.close)
            outputs.listener = ear
        # Only with --real-time must an announcement be heard before it can be answered.
        runner.post(run.first_event(clock, rehearsed=True, hear_out=args.real_time))
        keys, drive = ScriptKeys(clock, stand_in_key(run.job.pedal)), None
        if run.job.carriage.drive:
            from assistant.carriage.rehearsed import RehearsedDrive

            drive = outputs.drive = RehearsedDrive(clock, runner.post, run.job.carriage)
        Rehearsal(
            runner,
            clock,
            script,
            sound=sound,
            ear=ear,
            source=args.source,
            keys=keys,
            drive=drive,
            real_time=args.real_time,
        ).run()
    return runner


def _file_speaker(run: Run, args: argparse.Namespace, clock: Any, runner: Runner, stack: contextlib.ExitStack) -> Any:
    """A speaker that writes to a file, so that speech takes the time it takes; None if the run needs none.

    With --real-time and no --speaker the speech goes to a temporary file.
    """
    if args.speaker is not None:
        path = Path(args.speaker)
    elif args.real_time and not args.no_voice:
        path = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="kerfcall-"))) / "said.wav"
    else:
        return None
    from assistant.speaking.file_speaker import FileSpeaker

    try:
        speaker = FileSpeaker(path, clock, runner.post, run.job.voice, append=run.resumed)
    except NoSuchPart:  # no voice is installed: a reason to end only if the user asked for the file
        if args.speaker is not None:
            raise
        return None
    stack.callback(speaker.close)
    runner.outputs.speaker = speaker
    return speaker


def _live(run: Run, args: argparse.Namespace) -> Runner:
    """Runs the session with the real devices."""
    clock = LiveClock(run.state.at)
    outputs = Outputs()
    runner = Runner(lambda records: run.journal.append(run.session, records), outputs, clock, run.state)
    # Queued before any adapter can post: every other event then meets a session that exists.
    runner.post(run.first_event(clock, rehearsed=False, hear_out=True))
    with contextlib.ExitStack() as stack:
        # Entered first, so left last: a Ctrl-C while adapters close must not raise.
        ctrl_c = stack.enter_context(leaving_on_signals(runner))
        before = list(run.journal.replay(run.session)) if run.resumed else []
        screen, view = _screen(run, args, runner, before, stack)
        adapters = stack.enter_context(Adapters(runner, _makers(run, args, runner, screen, before), screen, view))
        adapters.open(ctrl_c, f"session {run.session} stays open" if run.resumed else "no session was started")
        run_live(runner, adapters.pump)
        adapters.let_speech_end()
    last_lines = LineWriter(sys.stdout)  # not `print`, which would wait for ever on a terminal that nobody reads
    if runner.state.job and (lines := to_keep(runner.state)):
        last_lines.put(
            f"-- You changed the voice. To keep it, put this in the shop file under [voice]: {', '.join(lines)}\n"
        )
    if runner.state.mode not in (FINISHED, ENDED_EARLY):
        last_lines.put(f"-- Session {run.session} stays open. Go back to it with: kerfcall resume {run.session}\n")
    last_lines.close()
    return runner


def _screen(
    run: Run, args: argparse.Namespace, runner: Runner, before: Sequence[Record], stack: contextlib.ExitStack
) -> tuple[LiveScreen, LiveView | None]:
    """The whole-page view if the terminal can show it, else plain lines. before: the facts of a resumed session."""
    outputs, clock = runner.outputs, runner.clock

    def displayed(generation: int) -> None:
        runner.post(Displayed(clock.at(), clock.utc(), generation))

    view = None
    why = "" if args.plain else why_no_view(sys.stdout)
    if not args.plain and not why:
        try:
            view = TerminalView(sys.stdout, run.session, displayed)
        except OSError:
            why = "this terminal can't be opened a second time"
    if view is None:
        screen = PlainScreen(sys.stdout, writer=LineWriter(sys.stdout, displayed))
        if why and sys.stdout.isatty():
            screen.note(f"-- Plain lines: {why}.")
        stack.callback(screen.close)
        outputs.screens.append(screen)
        return screen, None
    stack.callback(view.close)
    view.before(before)
    outputs.screens.append(view)
    outputs.watchers.append(view)
    return view, view


def _makers(run: Run, args: argparse.Namespace, runner: Runner, screen: LiveScreen, before: Sequence[Record]) -> Makers:
    """How this run opens each adapter.

    Each imports its room only when it is called, so that a missing library costs that adapter alone.
    """
    clock, job = runner.clock, run.job

    def page(post: Post) -> LivePage:
        from assistant.drawings.of_session import drawing_of
        from assistant.screens.page.pairing import LASTS_S

        drawing, note = drawing_of(run.plan_path, job), partial(screen.note, for_s=LASTS_S)
        made = open_page(args, clock, note, screen.withdraw, post=post, session=run.session, drawing=drawing)
        made.hub.before(before)
        return made

    def speaker() -> tuple[Speaker, Pump | None]:
        if args.speaker is not None:
            from assistant.speaking.file_speaker import FileSpeaker

            writer = FileSpeaker(args.speaker, clock, runner.post, job.voice, append=run.resumed)
            return writer, writer.advance
        from assistant.speaking.speaker import LiveSpeaker

        voice = replace(job.voice, loudspeaker=args.loudspeaker or job.voice.loudspeaker)
        live = LiveSpeaker(clock, runner.post, voice)
        screen.note(f"-- {live.line}")
        return live, None

    def listener() -> LiveEar:
        from assistant.hearing.listener import LiveListener

        ear = LiveListener(clock, runner.post, job.voice, job.checks)
        screen.note(f"-- hearing: {ear.choice.why}")
        return ear

    def pedal(post: Post, pressed: Callable[[], None], released: Callable[[], None]) -> LivePedal:
        from assistant.pedal.listener import PedalListener

        return PedalListener(clock, post, job.pedal, pressed, released=released)

    def keys(
        post: Post,
        pedal_alive: Callable[[], bool],
        click: Callable[[], None],
        code: Callable[[CodeWish], None] | None,
        halts: Callable[[], bool] | None,
    ) -> LiveKeys:
        from assistant.screens.job_note import JobNote
        from assistant.screens.keys import TerminalKeys
        from assistant.screens.mishap_note import MishapNote

        table = JobNote(lambda: runner.state, screen, whole_page=isinstance(screen, TerminalView))
        mishaps = MishapNote(lambda: runner.state, screen)
        pedal_key = stand_in_key(job.pedal)
        return TerminalKeys(clock, post, pedal_alive, pedal_key, click, screen.note, code, halts, table, mishaps)

    def drive(pedal_down: Callable[[], bool], tick: Callable[[], None]) -> Driven:
        from assistant.carriage.drive import LiveDrive
        from assistant.carriage.settings import out_of_reach

        screen.note("-- the carriage's controller is asked for its settings")
        made = LiveDrive(clock, runner.post, job.carriage, pedal_down, tick)
        if faults := out_of_reach(job, made.reach):
            made.close()
            raise BadInput(faults)
        return made

    return Makers(
        page=page if args.page else None,
        speaker=None if args.no_voice else speaker,
        listener=None if args.no_voice else listener,
        pedal=None if args.no_pedal else pedal,
        keys=keys,
        drive=drive if job.carriage.drive else None,
    )
