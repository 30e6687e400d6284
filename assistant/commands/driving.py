"""What `cut` and `resume` share: options, adapters, and the choice between a live and a rehearsed run."""

from __future__ import annotations

import argparse
import contextlib
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

from assistant.commands.page_parts import add_page_options, drawing_of, open_page, page_faults
from assistant.errors import BadInput, CouldNotRun, Fault, NoSuchPart
from assistant.journal.store import Journal
from assistant.pedal.names import stand_in_key
from assistant.plans.model import Job
from assistant.runner.clock import LiveClock, SetClock
from assistant.runner.live import CtrlC, leaving_on_signals, run_live
from assistant.runner.loop import Outputs, Runner
from assistant.runner.rehearsal import Rehearsal
from assistant.runner.script import ScriptLine, read_script
from assistant.runner.trace import Trace
from assistant.screens.line_writer import LineWriter
from assistant.screens.plain import PlainScreen
from assistant.screens.script_keys import ScriptKeys
from assistant.screens.view import TerminalView, suits
from assistant.screens.view_page import Gauges, gauged
from assistant.session.events import DeviceChanged, Displayed, OpenSession, Resume, Start
from assistant.session.state import ENDED_EARLY, FINISHED, State
from assistant.session.voice import to_keep

CLOSING_SPEECH_S = 20.0
MICROPHONE_S = 15.0  # for the recogniser to load and the microphone to be found, where nothing else could drive


def add_run_options(parser: argparse.ArgumentParser) -> None:
    """The options of `cut` and `resume`."""
    parser.add_argument("--state", type=Path, metavar="DIR", help="folder of the journal (default: your data folder)")
    parser.add_argument("--rehearse", type=Path, metavar="SCRIPT", help="play a script of events; prints JSON Lines")
    parser.add_argument(
        "--real-time", action="store_true", help="play the script at its own pace; speech then takes its time"
    )
    parser.add_argument("--mic", type=Path, metavar="FILE.wav", help="hear this file instead of the microphone")
    parser.add_argument("--speaker", type=Path, metavar="FILE.wav", help="write what is said to this file")
    parser.add_argument("--loudspeaker", metavar="NAME", help="speak through this one: its name, or a part of it")
    parser.add_argument("--no-voice", action="store_true", help="neither speak nor listen: text and pedal only")
    parser.add_argument("--no-pedal", action="store_true", help="the terminal's keys only, no pedal")
    parser.add_argument("--plain", action="store_true", help="plain lines on the terminal instead of a whole page")
    add_page_options(parser)


@dataclass
class Run:
    """One run of one session. begin: its first event is made from the clock. beside: other sessions left open."""

    job: Job
    session: str
    journal: Journal
    state: State
    notes: tuple[str, ...] | None
    plan_path: Path | None = None
    beside: tuple[OpenSession, ...] = ()

    @property
    def resumed(self) -> bool:
        """Whether the session had begun before; a file of what is said is then continued."""
        return self.notes is not None

    def first_event(self, clock: LiveClock | SetClock, rehearsed: bool, hear_out: bool) -> Start | Resume:
        """Start for a new session, Resume (with notes on what changed) for one that goes on."""
        if self.notes is not None:
            return Resume(clock.at(), clock.utc(), self.notes, hear_out)
        return Start(clock.at(), clock.utc(), self.job, rehearsed, hear_out, self.beside)


def check_options(args: argparse.Namespace) -> tuple[ScriptLine, ...]:
    """The script's lines; the recording is read into `args.source`, so that no session begins on a bad one.

    Raises BadInput with every fault of the options, the script and the recording.
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
        faults.append(Fault("contradicts --no-voice and --speaker", "", "--loudspeaker", mend))
    if args.no_voice and (args.mic or args.speaker):
        mend = "leave out --no-voice, or leave out --mic and --speaker"
        faults.append(Fault("contradicts --mic and --speaker", "", "--no-voice", mend))
    faults += page_faults(args)
    if faults:
        raise BadInput(faults)
    return lines


def is_rehearsed(args: argparse.Namespace) -> bool:
    """Whether a script or a recording drives it, and nobody's pedal."""
    return args.rehearse is not None or args.mic is not None


def drive(run: Run, args: argparse.Namespace, script: tuple[ScriptLine, ...]) -> int:
    """Run the session to its end or until it is left. Returns the exit code."""
    runner = _rehearse(run, args, script) if is_rehearsed(args) else _live(run, args)
    return 0 if runner.state.mode == FINISHED else 1


# --- rehearsed


def _rehearse(run: Run, args: argparse.Namespace, script: tuple[ScriptLine, ...]) -> Runner:
    clock = SetClock(run.state.at)
    outputs = Outputs(trace=Trace(sys.stdout, run.session, clock.at))
    runner = Runner(lambda records: run.journal.append(run.session, records), outputs, clock, run.state)
    with contextlib.ExitStack() as stack:
        sound = _file_speaker(run, args, clock, runner, stack)
        source, ear = _file_ear(run, args, clock, runner, stack)
        if sound is None:
            from assistant.speaking.speaker import SilentSpeaker

            outputs.speaker = SilentSpeaker(clock, runner.post)
        runner.post(run.first_event(clock, rehearsed=True, hear_out=args.real_time))
        keys = ScriptKeys(clock, stand_in_key(run.job.pedal))
        Rehearsal(runner, clock, script, sound=sound, ear=ear, source=source, keys=keys, real_time=args.real_time).run()
    return runner


def _file_speaker(run: Run, args: argparse.Namespace, clock: Any, runner: Runner, stack: contextlib.ExitStack) -> Any:
    path = _speech_file(args, stack)
    if path is None:
        return None
    from assistant.speaking.file_speaker import FileSpeaker

    try:
        speaker = FileSpeaker(path, clock, runner.post, run.job.voice, append=run.resumed)
    except NoSuchPart:
        if args.speaker is not None:
            raise
        return None
    stack.callback(speaker.close)
    runner.outputs.speaker = speaker
    return speaker


def _speech_file(args: argparse.Namespace, stack: contextlib.ExitStack) -> Path | None:
    """Where speech goes that takes its time: the file asked for or, in real time, one that is thrown away."""
    if args.speaker is not None or args.no_voice or not args.real_time:
        return Path(args.speaker) if args.speaker is not None else None
    return Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="kerfcall-"))) / "said.wav"


def _file_ear(
    run: Run, args: argparse.Namespace, clock: Any, runner: Runner, stack: contextlib.ExitStack
) -> tuple[Any, Any]:
    if args.mic is None:
        return None, None
    from assistant.hearing.listener import FileListener

    ear = FileListener(clock, runner.post, run.job.voice, run.job.checks, start_s=clock.at())
    stack.callback(ear.close)
    runner.outputs.listener = ear
    return args.source, ear


# --- live


def _live(run: Run, args: argparse.Namespace) -> Runner:
    """The first event goes on the queue before any adapter can post, so that the session exists for all others."""
    clock = LiveClock(run.state.at)
    outputs = Outputs()
    runner = Runner(lambda records: run.journal.append(run.session, records), outputs, clock, run.state)
    runner.post(run.first_event(clock, rehearsed=False, hear_out=True))
    with contextlib.ExitStack() as stack:
        ctrl_c = stack.enter_context(leaving_on_signals(runner))
        screen = _screen(run, args, runner, stack)
        desk = _Desk(run, args, clock, runner, screen, stack)
        for step in (
            desk.open_page,
            desk.open_speaker,
            desk.open_listener,
            desk.open_gestures,
            desk.settle_view,
            lambda: desk.refuse_if_deaf(ctrl_c),
        ):
            with contextlib.suppress(KeyboardInterrupt):
                step()
            # Between two steps, so that no adapter is left half open. Nothing of this run is in the journal yet.
            if ctrl_c.came:
                raise KeyboardInterrupt(f"session {run.session} stays open" if run.resumed else "nothing was begun")
        run_live(runner, desk.pump)
        desk.let_speech_end()
    last_lines = LineWriter(sys.stdout)
    if runner.state.job and (lines := to_keep(runner.state)):
        last_lines.put(f"-- The voice was changed. To keep it, in the shop file under [voice]: {', '.join(lines)}\n")
    if runner.state.mode not in (FINISHED, ENDED_EARLY):
        last_lines.put(f"-- Session {run.session} stays open. Come back to it with: kerfcall resume {run.session}\n")
    last_lines.close()
    return runner


def _screen(
    run: Run, args: argparse.Namespace, runner: Runner, stack: contextlib.ExitStack
) -> PlainScreen | TerminalView:
    """The view where the terminal can show it, else plain lines."""
    outputs, clock = runner.outputs, runner.clock

    def displayed(generation: int) -> None:
        runner.post(Displayed(clock.at(), clock.utc(), generation))

    view = None
    if not args.plain and suits(sys.stdout):
        with contextlib.suppress(OSError):  # a terminal that can't be opened a second time
            view = TerminalView(sys.stdout, run.session, displayed)
    if view is None:
        screen = PlainScreen(sys.stdout, writer=LineWriter(sys.stdout, displayed))
        stack.callback(screen.close)
        outputs.screens.append(screen)
        return screen
    stack.callback(view.close)
    if run.resumed:
        view.before(list(run.journal.replay(run.session)))
    outputs.screens.append(view)
    outputs.watchers.append(view)
    return view


class _Desk:
    """Opens the live adapters one by one; what is missing is posted as a DeviceChanged that says what stands in."""

    def __init__(
        self,
        run: Run,
        args: argparse.Namespace,
        clock: LiveClock,
        runner: Runner,
        screen: PlainScreen | TerminalView,
        stack: contextlib.ExitStack,
    ):
        self._run, self._args, self._clock, self._runner, self._stack = run, args, clock, runner, stack
        self._screen = screen
        self._ways_in = 0  # beside the microphone
        self._listener: Any = None
        self._pedal: Any = None
        self._keys = False
        self._page: Any = None
        self._post = runner.post
        self.pump: Callable[[float], None] | None = None
        """What must be called as time goes on, if anything."""

    def open_page(self) -> None:
        """The bench page, where it is asked for. Raises CouldNotRun where it can't be served."""
        run = self._run
        if not self._args.page:
            return
        from assistant.screens.page.pairing import LASTS_S

        drawing, note = drawing_of(run.plan_path, run.job), partial(self._screen.note, for_s=LASTS_S)
        self._page = page = open_page(
            self._args,
            self._clock,
            note,
            self._screen.withdraw,
            post=self._runner.post,
            session=run.session,
            drawing=drawing,
        )
        self._stack.callback(page.close)
        if run.resumed:
            page.hub.before(list(run.journal.replay(run.session)))
        self._runner.outputs.screens.append(page.hub)
        self._runner.outputs.watchers.append(page.hub)
        self._post = page.watching(self._runner.post)

    def open_speaker(self) -> None:
        """The loudspeaker, or a file."""
        if self._args.no_voice:
            return
        try:
            if self._args.speaker is not None:
                from assistant.speaking.file_speaker import FileSpeaker

                writer = FileSpeaker(
                    self._args.speaker, self._clock, self._runner.post, self._run.job.voice, append=self._run.resumed
                )
                self._keep(writer)
                self.pump = writer.advance
                return
            from assistant.speaking.speaker import LiveSpeaker

            voice = self._run.job.voice
            voice = replace(voice, loudspeaker=self._args.loudspeaker or voice.loudspeaker)
            speaker = LiveSpeaker(self._clock, self._runner.post, voice)
            self._screen.note(f"-- {speaker.line}")
            self._keep(speaker)
        except NoSuchPart as error:
            self._missing("loudspeaker", error, "What would be spoken is shown as text.")

    def _keep(self, speaker: Any) -> None:
        self._runner.outputs.speaker = speaker
        self._stack.callback(speaker.close)

    def open_listener(self) -> None:
        if self._args.no_voice:
            return
        try:
            from assistant.hearing.listener import LiveListener

            listener = LiveListener(self._clock, self._runner.post, self._run.job.voice, self._run.job.checks)
        except NoSuchPart as error:
            self._missing("microphone", error, "The pedal and the terminal's keys stand in.")
            return
        self._screen.note(f"-- ears: {listener.choice.why}")
        self._listener = self._runner.outputs.listener = listener
        self._stack.callback(listener.close)

    def open_gestures(self) -> None:
        """The pedal and the terminal's keys."""
        pedal = self._pedal = None if self._args.no_pedal else self._open_pedal()
        try:
            from assistant.screens.keys import TerminalKeys

            keys = TerminalKeys(
                self._clock,
                self._post,
                lambda: pedal is not None and pedal.alive,
                stand_in_key(self._run.job.pedal),
                self._click,
                self._screen.note,
                self._page.asked_for_code if self._page else None,
            )
        except NoSuchPart as error:
            self._missing("keys", error, "")
            return
        self._stack.callback(keys.close)
        self._keys = True
        self._ways_in += 1

    def _open_pedal(self) -> Any:
        try:
            from assistant.pedal.listener import PedalListener

            pedal = PedalListener(self._clock, self._post, self._run.job.pedal, self._pressed)
        except NoSuchPart as error:
            self._missing("pedal", error, "")
            return None
        self._stack.callback(pedal.close)
        self._ways_in += 1
        return pedal

    def _click(self) -> None:
        speaker = self._runner.outputs.speaker
        if speaker is not None:
            speaker.click()

    def _pressed(self) -> None:
        self._click()
        if isinstance(self._screen, TerminalView):
            self._screen.look()

    def settle_view(self) -> None:
        """All adapters are open: the view tells of them, and gives the terminal back before any of them ends."""
        if isinstance(self._screen, TerminalView):
            self._screen.gauges = self._gauges
            self._screen.mind_stops()
            self._stack.callback(self._screen.close)

    def _gauges(self) -> Gauges:
        listener, pedal = self._listener, self._pedal
        voice = "works" if listener is not None else "off" if self._args.no_voice else "missing"
        heard = "off" if pedal is None else "heard" if pedal.alive else "lost"
        level = getattr(listener, "level", None)
        return gauged(voice, level, heard, pedal is not None and pedal.down, self._keys)

    def _missing(self, device: str, error: NoSuchPart, stands_in: str) -> None:
        text = f"{error} {stands_in}".strip()
        self._runner.post(DeviceChanged(self._clock.at(), self._clock.utc(), device, "stands in", text))

    def refuse_if_deaf(self, ctrl_c: CtrlC) -> None:
        """Raises CouldNotRun when nothing at all could drive the session."""
        if self._ways_in:
            return
        ctrl_c.at_once = True  # while it waits for the microphone
        if ctrl_c.came or (self._listener is not None and self._listener.has_microphone(MICROPHONE_S)):
            ctrl_c.at_once = False
            return
        raise CouldNotRun(
            "nothing can drive the session: no pedal, no terminal for its keys, no microphone; "
            "run it in a terminal, or play a script with --rehearse"
        )

    def let_speech_end(self) -> None:
        speaker = self._runner.outputs.speaker
        if speaker is not None and self._runner.state.mode in (FINISHED, ENDED_EARLY):
            speaker.close(CLOSING_SPEECH_S)
