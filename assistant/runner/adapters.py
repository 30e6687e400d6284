"""The adapters of one live run: opened one by one, owned while it lasts, closed in reverse order.

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
    Inputs,
    LiveEar,
    LiveKeys,
    LivePage,
    LivePedal,
    LiveScreen,
    LiveView,
    Post,
    Speaker,
)
from assistant.runner.live import CtrlC
from assistant.runner.loop import Runner
from assistant.session.events import DeviceChanged
from assistant.session.kinds import DeviceName, DeviceState
from assistant.session.state import ENDED_EARLY, FINISHED

CLOSING_SPEECH_S = 20.0
MICROPHONE_S = 15.0  # for the recogniser to load and the microphone to be found, where nothing else could drive

Pump = Callable[[float], None]
"""A function that must be called with the session time as that goes on."""


@dataclass(frozen=True, slots=True)
class Makers:
    """What opens each adapter; None: it is not wanted. Each is called once and may raise NoSuchPart, but for `page`.

    page: of `post`; may raise CouldNotRun. speaker: it, and its pump where it has one. pedal: of `post` and what is
    called at each press. keys: of `post`, whether a pedal is alive, what is called at each key that means something,
    and what is asked for the page's pairing code, None where there is no page.
    """

    page: Callable[[Post], LivePage] | None
    speaker: Callable[[], tuple[Speaker, Pump | None]] | None
    listener: Callable[[], LiveEar] | None
    pedal: Callable[[Post, Callable[[], None]], LivePedal] | None
    keys: Callable[[Post, Callable[[], bool], Callable[[], None], Callable[[str], None] | None], LiveKeys]


class Adapters:
    """A missing part is posted as a DeviceChanged that says what replaces it. Enter it first, then open it."""

    def __init__(self, runner: Runner, makers: Makers, screen: LiveScreen, view: LiveView | None):
        """screen: open already, and closed by the one who opened it. view: the same, where it covers the terminal."""
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
        """Open all of them. Raises CouldNotRun where nothing could drive the session.

        Raises KeyboardInterrupt after a Ctrl-C; left: what then became of the session.
        """
        for step in (
            self.open_page,
            self.open_speaker,
            self.open_listener,
            self.open_pedal,
            self.open_keys,
            self.settle_view,
            lambda: self.refuse_if_nothing_drives(ctrl_c),
        ):
            with contextlib.suppress(KeyboardInterrupt):
                step()
            # Between two steps, so that no adapter is left half open. Nothing of this run is in the journal yet.
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
        """The loudspeaker, or a file."""
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
            self._pedal = self._makers.pedal(self._post, self._pedal_pressed)
        except NoSuchPart as error:
            self._post_missing(DeviceName.PEDAL, error, "")
            return
        self._stack.callback(self._pedal.close)
        self._ways_in += 1

    def open_keys(self) -> None:
        """The terminal's. After the pedal: what a key means depends on whether one is heard."""
        pedal = self._pedal
        try:
            keys = self._makers.keys(
                self._post,
                lambda: pedal is not None and pedal.alive,
                self._click,
                self._page.asked_for_code if self._page else None,
            )
        except NoSuchPart as error:
            self._post_missing(DeviceName.KEYS, error, "")
            return
        self._stack.callback(keys.close)
        self._keys = True
        self._ways_in += 1

    def _click(self) -> None:
        speaker = self._runner.outputs.speaker
        if speaker is not None:
            speaker.click()

    def _pedal_pressed(self) -> None:
        self._click()
        if self._view is not None:
            self._view.look()

    def settle_view(self) -> None:
        """All adapters are open: the view tells of them, and gives the terminal back before any of them ends."""
        if self._view is not None:
            self._view.settle(self.inputs)
            self._stack.callback(self._view.close)

    def inputs(self) -> Inputs:
        """How they stand now; from any thread."""
        listener, pedal = self._listener, self._pedal
        voice = "works" if listener is not None else "off" if self._makers.listener is None else "missing"
        heard = "off" if pedal is None else "heard" if pedal.alive else "lost"
        level = None if listener is None else listener.level
        return Inputs(voice, level, heard, pedal is not None and pedal.down, self._keys)

    def _post_missing(self, device: DeviceName, error: NoSuchPart, instead: str) -> None:
        clock, text = self._runner.clock, f"{error} {instead}".strip()
        self._runner.post(DeviceChanged(clock.at(), clock.utc(), device, DeviceState.STANDS_IN, text))

    def refuse_if_nothing_drives(self, ctrl_c: CtrlC) -> None:
        """Raises CouldNotRun when nothing at all could drive the session."""
        if self._ways_in:
            return
        # While it waits for the microphone, on this thread, no event would be handled.
        ctrl_c.at_once = True
        if ctrl_c.came or (self._listener is not None and self._listener.has_microphone(MICROPHONE_S)):
            ctrl_c.at_once = False
            return
        raise CouldNotRun(
            "nothing can control the session: no pedal, no terminal for its keys, no microphone; "
            "run it in a terminal, or play a script with --rehearse"
        )

    def let_speech_end(self) -> None:
        """The last words, where the session has come to its end."""
        speaker = self._runner.outputs.speaker
        if speaker is not None and self._runner.state.mode in (FINISHED, ENDED_EARLY):
            speaker.close(CLOSING_SPEECH_S)
