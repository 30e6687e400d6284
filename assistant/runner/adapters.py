"""Opens the adapters of a live run one by one, owns them during the run, and closes them in reverse order.

Each adapter's maker knows how to make it, and with which user options (`commands/driving.py`). This room knows adapters
by their contracts only. So it imports none, and a new kind of adapter changes nothing here.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import dataclass
from types import TracebackType

from assistant.errors import CouldNotRun, NoSuchPart
from assistant.runner.contracts import (
    CodeWish,
    DriveInput,
    Driven,
    Inputs,
    LiveEar,
    LiveKeys,
    LivePage,
    LivePedal,
    LiveScreen,
    LiveView,
    PedalInput,
    Post,
    Speaker,
    VoiceInput,
)
from assistant.runner.live import CtrlC
from assistant.runner.loop import Runner
from assistant.session.events import DeviceChanged
from assistant.session.kinds import DeviceName, DeviceState
from assistant.session.state import ENDED_EARLY, FINISHED

CLOSING_SPEECH_S = 20.0  # for the last words, which are the longest: what is left of the job
MICROPHONE_S = 15.0  # to load the recogniser and find the microphone, if nothing else can drive the session

Pump = Callable[[float], None]
"""Must be called with the session time (s) as it goes on."""


@dataclass(frozen=True, slots=True)
class Makers:
    """Functions that open the adapters; None: not asked for. Each is called once. All but `page` can raise NoSuchPart.

    page: given `post`; can raise CouldNotRun. speaker: returns it and its pump, if it has one. pedal: given `post` and
    functions to call at each press and when it comes up. keys: given `post`, whether a pedal is alive, a function to
    call at each key with a meaning, a function to ask for the page's pairing code, None without a page, and one to
    call before any key is looked up, which says whether it halted something. drive: given whether the pedal is down,
    and a function to call once a second while the carriage moves; can also raise BadInput.
    """

    page: Callable[[Post], LivePage] | None
    speaker: Callable[[], tuple[Speaker, Pump | None]] | None
    listener: Callable[[], LiveEar] | None
    pedal: Callable[[Post, Callable[[], None], Callable[[], None]], LivePedal] | None
    keys: Callable[
        [Post, Callable[[], bool], Callable[[], None], Callable[[CodeWish], None] | None, Callable[[], bool] | None],
        LiveKeys,
    ]
    drive: Callable[[Callable[[], bool], Callable[[], None]], Driven] | None = None


class Adapters:
    """Posts a DeviceChanged for each missing part that says what replaces it. Enter it first, then open it."""

    def __init__(self, runner: Runner, makers: Makers, screen: LiveScreen, view: LiveView | None):
        """screen: already open; its opener closes it. view: the same object, if it covers the terminal."""
        self._runner, self._makers, self._screen, self._view = runner, makers, screen, view
        self._stack = contextlib.ExitStack()
        self._ways_in = 0  # beside the microphone
        self._listener: LiveEar | None = None
        self._pedal: LivePedal | None = None
        self._keys = False
        self._page: LivePage | None = None
        self._post: Post = runner.post
        self.pump: Pump | None = None

    def __enter__(self) -> Adapters:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> bool | None:
        return self._stack.__exit__(kind, error, trace)

    def open(self, ctrl_c: CtrlC, left: str) -> None:
        """Open all adapters. Raises CouldNotRun if nothing can drive the session.

        Raises KeyboardInterrupt after a Ctrl-C, with the text `left`, which says what became of the session.
        """
        # The page first: pedal and keys post through what it watches. The pedal before keys and drive: both ask it.
        for step in (
            self.open_page,
            self.open_speaker,
            self.open_listener,
            self.open_pedal,
            self.open_keys,
            self.open_drive,
            self.settle_view,
            lambda: self.refuse_if_nothing_drives(ctrl_c),
        ):
            with contextlib.suppress(KeyboardInterrupt):
                step()
            # Only between two steps, so that no adapter stays half open. Nothing of this run is in the journal yet.
            if ctrl_c.came:
                raise KeyboardInterrupt(left)

    def open_page(self) -> None:
        if self._makers.page is None:
            return
        page = self._page = self._makers.page(self._runner.post)
        self._stack.callback(page.close)
        self._runner.outputs.screens.append(page.hub)
        self._runner.outputs.watchers.append(page.hub)
        self._post = page.watching(self._runner.post)

    def open_speaker(self) -> None:
        """Open the loudspeaker, or the sound file."""
        if self._makers.speaker is None:
            return
        try:
            speaker, self.pump = self._makers.speaker()
        except NoSuchPart as error:
            self._post_missing(DeviceName.LOUDSPEAKER, error, "Announcements are shown as text.")
            return
        self._runner.outputs.speaker = speaker
        self._stack.callback(speaker.close)

    def open_listener(self) -> None:
        if self._makers.listener is None:
            return
        try:
            listener = self._makers.listener()
        except NoSuchPart as error:
            self._post_missing(DeviceName.MICROPHONE, error, "The pedal and the terminal's keys replace it.")
            return
        self._listener = self._runner.outputs.listener = listener
        self._stack.callback(listener.close)

    def open_pedal(self) -> None:
        if self._makers.pedal is None:
            return
        try:
            self._pedal = self._makers.pedal(self._post, self._pedal_pressed, self._pedal_released)
        except NoSuchPart as error:
            self._post_missing(DeviceName.PEDAL, error, "")
            return
        self._stack.callback(self._pedal.close)
        self._ways_in += 1

    def open_keys(self) -> None:
        """Open the terminal's keys. Open the pedal first: a key's meaning depends on whether a pedal is heard."""
        pedal = self._pedal
        try:
            keys = self._makers.keys(
                self._post,
                lambda: pedal is not None and pedal.alive,
                self._click,
                self._page.asked_for_code if self._page else None,
                self._halt_if_moving if self._makers.drive else None,
            )
        except NoSuchPart as error:
            self._post_missing(DeviceName.KEYS, error, "")
            return
        self._stack.callback(keys.close)
        self._keys = True
        self._ways_in += 1

    def open_drive(self) -> None:
        """Open the carriage's drive, the last so that it is closed first, which halts it.

        Raises BadInput or NoSuchPart: a driven session without its drive is no session.
        """
        if self._makers.drive is None:
            return
        drive = self._makers.drive(self._pedal_down, self._tick)
        self._runner.outputs.drive = drive
        self._stack.callback(drive.close)
        if self._page is not None:
            self._page.hub.position = lambda: drive.position

    def _pedal_down(self) -> bool:
        pedal = self._pedal
        return pedal is not None and pedal.down

    def _pedal_released(self) -> None:
        drive = self._runner.outputs.drive
        if drive is not None:
            drive.released()

    def _halt_if_moving(self) -> bool:
        drive = self._runner.outputs.drive
        return drive is not None and drive.pressed()

    def _tick(self) -> None:
        speaker = self._runner.outputs.speaker
        if speaker is not None:
            speaker.tick()

    def _click(self) -> None:
        speaker = self._runner.outputs.speaker
        if speaker is not None:
            speaker.click()

    def _pedal_pressed(self) -> None:
        # The halt first: neither a click nor a screen may delay it.
        self._halt_if_moving()
        with contextlib.suppress(Exception):  # a failed click must not cost the view's look
            self._click()
        if self._view is not None:
            self._view.look()

    def settle_view(self) -> None:
        """All adapters are open: the view shows their state, and gives the terminal back before any of them ends."""
        if self._view is not None:
            self._view.settle(self.inputs)
            self._stack.callback(self._view.close)

    def inputs(self) -> Inputs:
        """The present state of all inputs. Callable from any thread."""
        listener, pedal = self._listener, self._pedal
        asked = self._makers.listener is not None
        voice = VoiceInput.WORKS if listener is not None else VoiceInput.MISSING if asked else VoiceInput.OFF
        heard = PedalInput.OFF if pedal is None else PedalInput.HEARD if pedal.alive else PedalInput.LOST
        level = None if listener is None else listener.level
        drive = self._runner.outputs.drive
        position = None if drive is None else drive.position
        # While it homes it has no position either, and isn't lost.
        lost = position is None and drive is not None and not drive.moving
        driven = DriveInput.OFF if drive is None else DriveInput.LOST if lost else DriveInput.WORKS
        return Inputs(voice, level, heard, pedal is not None and pedal.down, self._keys, driven, position)

    def _post_missing(self, device: DeviceName, error: NoSuchPart, instead: str) -> None:
        clock, text = self._runner.clock, f"{error} {instead}".strip()
        self._runner.post(DeviceChanged(clock.at(), clock.utc(), device, DeviceState.STANDS_IN, text))

    def refuse_if_nothing_drives(self, ctrl_c: CtrlC) -> None:
        """Raises CouldNotRun if nothing at all can drive the session."""
        if self._ways_in:
            return
        # This thread waits for the microphone, so it would not handle a Ctrl-C that became an event.
        ctrl_c.at_once = True
        if ctrl_c.came or (self._listener is not None and self._listener.has_microphone(MICROPHONE_S)):
            ctrl_c.at_once = False
            return
        raise CouldNotRun(
            "nothing can control the session: no pedal, no terminal for its keys, no microphone; "
            "run it in a terminal, or play a script with --rehearse"
        )

    def let_speech_end(self) -> None:
        """Wait for the last words if the session has ended."""
        speaker = self._runner.outputs.speaker
        if speaker is not None and self._runner.state.mode in (FINISHED, ENDED_EARLY):
            speaker.close(CLOSING_SPEECH_S)
