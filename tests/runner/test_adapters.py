"""The adapters of a live run: opened in order, closed in reverse order, each missing part replaced."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from assistant.errors import BadInput, CouldNotRun, Fault, NoSuchPart
from assistant.runner.adapters import CLOSING_SPEECH_S, Adapters, Makers
from assistant.runner.contracts import Inputs, Post
from assistant.runner.live import CtrlC, leaving_on_signals
from assistant.runner.loop import Runner
from assistant.session.events import DeviceChanged, Event, Leave
from assistant.session.state import ENDED_EARLY, FINISHED, STANDING_BY
from tests.runner.adapters import Logbook, started

LEFT = "nothing was begun"


class Part(Logbook):
    """An adapter of any kind. It notes in a shared list when it is opened and closed."""

    def __init__(self, name: str, life: list[str]) -> None:
        super().__init__()
        self.name, self.life = name, life
        self.level: float | None = None
        self.alive, self.down = True, False
        self.microphone = False
        self.asked = 0
        self.drained: list[float] = []
        life.append(f"open {name}")

    @property
    def hub(self) -> Part:
        return self

    def close(self, drain_s: float = 0.0) -> None:
        self.drained.append(drain_s)
        self.life.append(f"close {self.name}")

    def has_microphone(self, within_s: float) -> bool:
        self.asked += 1
        return self.microphone

    def turn(self, event: Event, records: object) -> None: ...

    def withdraw(self, text: str) -> None: ...

    def watching(self, post: Post) -> Post:
        self.watched: list[Event] = []

        def watched(event: Event) -> None:
            self.watched.append(event)
            post(event)

        return watched

    def asked_for_code(self, what: str) -> None:
        self.life.append(f"code {what}")

    def click(self) -> None:
        self.life.append("click")
        super().click()

    def look(self) -> None:
        self.life.append("look")

    def settle(self, inputs: Callable[[], Inputs]) -> None:
        self.life.append("settle")
        self.inputs = inputs


class Desk:
    """Makers that note what is opened. lacking: names those that are missing."""

    def __init__(self, *lacking: str) -> None:
        self.life: list[str] = []
        self.parts: dict[str, Part] = {}
        self.given: dict[str, tuple[Any, ...]] = {}
        self.lacking = lacking
        self.view = Part("view", self.life)
        self.runner, _, _ = started()
        self.runner.outputs.speaker = self.runner.outputs.listener = None
        self.makers = Makers(
            page=lambda *given: self.make("page", *given),
            speaker=lambda: (self.make("speaker"), None),
            listener=lambda: self.make("listener"),
            pedal=lambda *given: self.make("pedal", *given),
            keys=lambda *given: self.make("keys", *given),
        )

    def make(self, name: str, *given: Any) -> Any:
        if name in self.lacking:
            raise NoSuchPart(f"there is no {name};")
        self.given[name] = given
        self.parts[name] = Part(name, self.life)
        return self.parts[name]

    def adapters(self, viewed: bool = True) -> Adapters:
        return Adapters(self.runner, self.makers, self.view, self.view if viewed else None)


def waiting(runner: Runner) -> list[Event]:
    events = []
    while (event := runner.next_event(0)) is not None:
        events.append(event)
    return events


def test_they_are_closed_in_the_opposite_order_and_the_view_first() -> None:
    """The terminal is given back before any of them ends, so that their last messages are seen on it."""
    desk = Desk()
    with desk.adapters() as adapters:
        adapters.open(CtrlC(), LEFT)
        names = ["view", "page", "speaker", "listener", "pedal", "keys"]
        assert desk.life == [*(f"open {name}" for name in names), "settle"]
        desk.life.clear()
    assert desk.life == [f"close {name}" for name in ("view", "keys", "pedal", "listener", "speaker", "page")]
    outputs = desk.runner.outputs
    assert (outputs.speaker, outputs.listener) == (desk.parts["speaker"], desk.parts["listener"])
    assert desk.parts["page"] in outputs.screens and desk.parts["page"] in outputs.watchers


def test_plain_lines_are_closed_by_their_opener() -> None:
    desk = Desk()
    with desk.adapters(viewed=False) as adapters:
        adapters.open(CtrlC(), LEFT)
        desk.given["pedal"][1]()
    assert not {"settle", "look", "close view"} & set(desk.life)


@pytest.mark.parametrize(
    ("part", "device", "stands_in"),
    [
        ("speaker", "loudspeaker", "Announcements are shown as text."),
        ("listener", "microphone", "The pedal and the terminal's keys replace it."),
        ("pedal", "pedal", ""),
        ("keys", "keys", ""),
    ],
)
def test_a_missing_part_is_posted_with_what_replaces_it_and_the_others_are_opened(
    part: str, device: str, stands_in: str
) -> None:
    desk = Desk(part)
    with desk.adapters() as adapters:
        adapters.open(CtrlC(), LEFT)
        (event,) = waiting(desk.runner)
        assert isinstance(event, DeviceChanged)
        assert (event.device, event.state) == (device, "stands in")
        assert event.text == f"there is no {part}; {stands_in}".strip()
        assert set(desk.parts) == {"page", "speaker", "listener", "pedal", "keys"} - {part}


def test_what_is_not_asked_for_is_not_made_and_not_missed() -> None:
    desk = Desk()
    desk.makers = replace(desk.makers, page=None, speaker=None, listener=None, pedal=None)
    with desk.adapters() as adapters:
        adapters.open(CtrlC(), LEFT)
        assert set(desk.parts) == {"keys"} and not waiting(desk.runner)
        post, pedal_alive, click, code, halted = desk.given["keys"]
        assert post == desk.runner.post and not pedal_alive() and code is None and halted is None
        click()  # without a speaker it does nothing
        assert adapters.inputs() == Inputs("off", None, "off", False, True)


def test_pedal_and_keys_post_by_way_of_the_page_and_click() -> None:
    desk = Desk()
    with desk.adapters() as adapters:
        adapters.open(CtrlC(), LEFT)
        keys_post, pedal_alive, click, code, _ = desk.given["keys"]
        pedal_post, pressed, _ = desk.given["pedal"]
        event = Leave(0.0, "")
        keys_post(event)
        pedal_post(event)
        assert desk.parts["page"].watched == [event, event] == waiting(desk.runner)
        click()
        assert "look" not in desk.life
        pressed()
        assert desk.parts["speaker"].of("click") == [("click",)] * 2 and "look" in desk.life
        code("say")
        assert desk.life[-1] == "code say"
        desk.parts["pedal"].alive = False
        assert not pedal_alive()


class Drive:
    """A drive that notes what is done to it. moves: it does."""

    position = Fraction(5)

    def __init__(self, life: list[str]) -> None:
        self.life, self.moves = life, False
        life.append("open drive")

    @property
    def moving(self) -> bool:
        return self.moves

    def pressed(self) -> bool:
        self.life.append("press")
        return self.moves

    def released(self) -> None:
        self.life.append("release")

    def halt(self) -> bool:
        self.life.append("halt")
        return self.moves

    def close(self) -> None:
        self.life.append("close drive")


def driven_desk() -> Desk:
    desk = Desk()

    def drive(pedal_down: Callable[[], bool], tick: Callable[[], None]) -> Drive:
        desk.given["drive"] = (pedal_down, tick)
        return Drive(desk.life)

    desk.makers = replace(desk.makers, drive=drive)  # type: ignore[arg-type]
    return desk


def test_the_drive_is_opened_last_and_closed_before_all_else_which_halts_it() -> None:
    desk = driven_desk()
    with desk.adapters() as adapters:
        adapters.open(CtrlC(), LEFT)
        opened = [name for name in desk.life if name.startswith("open")]
        assert opened[-1] == "open drive"
        assert adapters.inputs().drive == "works" and adapters.inputs().position == 5
    closed = [name for name in desk.life if name.startswith("close")]
    assert closed.index("close drive") < min(closed.index(f"close {name}") for name in ("pedal", "keys", "speaker"))


def test_each_press_halts_the_drive_before_it_clicks_and_a_released_pedal_lets_it_go() -> None:
    desk = driven_desk()
    with desk.adapters() as adapters:
        adapters.open(CtrlC(), LEFT)
        pedal_down, tick = desk.given["drive"]
        _, pressed, released = desk.given["pedal"]
        *_, halted = desk.given["keys"]
        begun = len(desk.life)
        pressed()
        assert desk.life[begun:] == ["press", "click", "look"]
        released()
        assert desk.life[begun + 3 :] == ["release"]
        assert not halted() and not pedal_down()
        drive: Any = desk.runner.outputs.drive
        drive.moves, desk.parts["pedal"].down = True, True
        assert halted() and pedal_down()
        assert desk.parts["page"].position() == 5
        tick()


def test_a_click_that_fails_costs_neither_the_halt_nor_the_look(monkeypatch: pytest.MonkeyPatch) -> None:
    desk = driven_desk()
    with desk.adapters() as adapters:
        adapters.open(CtrlC(), LEFT)

        def broken() -> None:
            raise RuntimeError("no sound")

        monkeypatch.setattr(desk.parts["speaker"], "click", broken)
        begun = len(desk.life)
        desk.given["pedal"][1]()
        assert desk.life[begun:] == ["press", "look"]


def test_a_signal_halts_the_drive_at_once_whatever_the_session_is_doing() -> None:
    desk = driven_desk()
    with leaving_on_signals(desk.runner), desk.adapters() as adapters:
        adapters.open(CtrlC(), LEFT)
        before = desk.life.count("halt")
        os.kill(os.getpid(), signal.SIGTERM)
        assert desk.life.count("halt") == before + 1, "nobody has taken the event off the queue yet"


def test_a_drive_that_may_not_drive_ends_the_run() -> None:
    desk = driven_desk()

    def refuse(*given: object) -> Drive:
        raise BadInput([Fault("is off", "$20 = 0", "the controller", "kerfcall carriage configure")])

    desk.makers = replace(desk.makers, drive=refuse)  # type: ignore[arg-type]
    with pytest.raises(BadInput), desk.adapters() as adapters:
        adapters.open(CtrlC(), LEFT)
    assert "close pedal" in desk.life


def test_the_view_gets_the_state_of_the_inputs() -> None:
    desk = Desk()
    with desk.adapters() as adapters:
        adapters.open(CtrlC(), LEFT)
        inputs = desk.view.inputs
        assert inputs() == Inputs("works", None, "heard", False, True)
        desk.parts["listener"].level, desk.parts["pedal"].down = -30.0, True
        assert inputs() == Inputs("works", -30.0, "heard", True, True)
        desk.parts["pedal"].alive = False
        assert inputs().pedal == "lost"
    desk = Desk("listener", "pedal", "keys")
    with pytest.raises(CouldNotRun), desk.adapters() as adapters:
        adapters.open(CtrlC(), LEFT)
    assert desk.view.inputs() == Inputs("missing", None, "off", False, False)


def test_without_another_way_to_drive_it_the_microphone_is_looked_for_or_the_session_is_refused() -> None:
    desk = Desk("pedal", "keys")
    with pytest.raises(CouldNotRun, match="nothing can control the session"), desk.adapters() as adapters:
        adapters.open(CtrlC(), LEFT)
    assert desk.parts["listener"].asked == 1
    assert desk.life[-4:] == [f"close {name}" for name in ("view", "listener", "speaker", "page")]
    desk, ctrl_c = Desk("pedal", "keys"), CtrlC()
    made = desk.make

    def with_microphone(name: str, *given: Any) -> Any:
        part = made(name, *given)
        part.microphone = True
        return part

    desk.make = with_microphone  # type: ignore[method-assign]
    with desk.adapters() as adapters:
        adapters.open(ctrl_c, LEFT)
        assert not ctrl_c.at_once, "from now on it is an event"


@pytest.mark.parametrize("raises", [False, True])
@pytest.mark.parametrize("name", ["page", "speaker", "listener", "pedal", "keys"])
def test_after_ctrl_c_nothing_more_is_opened_and_what_is_open_is_closed(name: str, raises: bool) -> None:
    """It comes as an event or, during the wait for the microphone, as the exception. The current step ends first."""
    desk, ctrl_c = Desk(), CtrlC()
    made = desk.make

    def interrupted(part: str, *given: Any) -> Any:
        if part == name:
            ctrl_c.came = True
            if raises:
                raise KeyboardInterrupt
        return made(part, *given)

    desk.make = interrupted  # type: ignore[method-assign]
    with pytest.raises(KeyboardInterrupt, match=LEFT), desk.adapters() as adapters:
        adapters.open(ctrl_c, LEFT)
    opened = [line.removeprefix("open ") for line in desk.life if line.startswith("open ")]
    closed = [line.removeprefix("close ") for line in desk.life if line.startswith("close ")]
    assert closed == list(reversed(opened[1:])), "all but the view, which is not settled yet"
    order = ["page", "speaker", "listener", "pedal", "keys"]
    last = order.index(name)
    assert opened[1:] == order[: last + (not raises)]


def test_the_last_words_are_spoken_if_the_session_has_ended() -> None:
    for mode, drained in ((FINISHED, [CLOSING_SPEECH_S]), (ENDED_EARLY, [CLOSING_SPEECH_S]), (STANDING_BY, [])):
        desk = Desk()
        with desk.adapters() as adapters:
            adapters.open(CtrlC(), LEFT)
            desk.runner.state = replace(desk.runner.state, mode=mode)
            adapters.let_speech_end()
            assert desk.parts["speaker"].drained == drained
