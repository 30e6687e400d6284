"""What a page gets of a driven carriage, and that its halt always gets through."""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from assistant.screens.page.picture import state_of
from assistant.session.facts import MoveAsked
from tests.runner.adapters import drain
from tests.screens.driven_session import PageSeat, driven_job, every_driven_state, page_job, to_moving
from tests.screens.page_made import Made, Pages, ask, made


@pytest.fixture
def one(tmp_path: Path) -> Iterator[Made]:
    with made(tmp_path, page_job()) as it:
        yield it


def states() -> Iterator[tuple[str, dict[str, Any]]]:
    for name, seen in every_driven_state(driven_job()):
        yield name, state_of(seen)


def words_of(state: dict[str, Any]) -> str:
    """All that is shown in big letters, in the head and of the gestures."""
    big = " ".join(f"{way} {figure}" for way, figure in state["big"])
    return " ".join([state["state"], state["beside"], big, state["then"], *state["gestures"].values()])


def test_a_halt_is_offered_while_it_moves_and_at_no_other_time() -> None:
    offered = {state["mode"] for _, state in states() if state["carriage"]["moves"]}
    not_offered = {state["mode"] for _, state in states() if not state["carriage"]["moves"]}
    assert offered == {"homing", "moving"} and not offered & not_offered
    by_name = dict(states())
    assert by_name["on by tap"]["carriage"]["way"] == ("↑ MOVES UP", "TO 6.02")
    assert by_name["homing"]["carriage"]["way"] == ("↓ MOVES DOWN", "TO HOME")


def test_while_it_moves_nothing_on_the_page_looks_like_a_cut_or_a_place() -> None:
    for name, state in states():
        if state["carriage"]["moves"]:
            assert not re.search(r"\bcut\b|stand", words_of(state), re.IGNORECASE), (name, words_of(state))
            assert not state["reading"] and state["tone"] == "moving" and state["carriage"]["at"] is None


def test_where_it_stands_is_shown_only_where_it_does() -> None:
    stood = 0
    for name, state in states():
        if state["mode"] == "cutting" and not state["carriage"]["lost"]:
            stood += 1
            assert state["big"] == [["STANDS AT", state["reading"]]] and state["unit"] == "mm"
            assert state["carriage"]["place"] == f"at {state['reading']}", name
            assert state["carriage"]["at"] == state["carriage"]["target"] is not None
        else:
            assert "STANDS" not in words_of(state) and not state["reading"]
    assert stood > 10
    lost = dict(states())["lost under a call"]
    assert lost["big"] == [["", "CARRIAGE"], ["", "LOST"]] and lost["tone"] == "lost"
    assert lost["state"] == "CARRIAGE LOST" and lost["carriage"]["at"] is None
    assert lost["carriage"]["place"] == "place not known"


def test_hands_are_kept_from_the_clamps_until_it_stands() -> None:
    for _, state in states():
        assert state["carriage"]["free"] == (state["mode"] in ("checks", "cutting", "question", "finished"))


def test_a_carriage_that_is_set_by_hand_has_nothing_of_it(tmp_path: Path) -> None:
    with made(tmp_path) as one:
        page = Pages(one.port, one.pair())
        assert page.wait(lambda kind, body: kind == "all")["state"]["carriage"] is None
        page.close()


def test_each_tick_while_it_moves_says_where_it_is_and_none_at_any_other_time(one: Made) -> None:
    session = PageSeat(one)
    one.page.hub.position = lambda: Fraction(295, 2)
    page = Pages(one.port, one.pair())
    quiet = page.wait(lambda kind, body: kind == "tick")
    assert "carriage" not in quiet
    to_moving(session)
    moved = page.wait(lambda kind, body: kind == "tick" and "carriage" in body)
    assert moved["carriage"] == {"at": 0.5, "place": "now 147.50"}
    one.page.hub.position = lambda: None
    page.wait(lambda kind, body: kind == "tick" and body.get("carriage") == {"at": None, "place": ""})
    one.page.hub.position = lambda: Fraction(9)
    session.answer()
    page.wait(lambda kind, body: kind == "change" and body["state"]["mode"] == "cutting")
    page.messages.clear()
    assert "carriage" not in page.wait(lambda kind, body: kind == "tick")
    page.close()


def press(one: Made, token: str, do: str = "halt") -> int:
    return ask(one.port, "POST", "/do", token=token, body={"do": do}).status


def test_a_halt_from_a_page_halts_the_drive_and_records_nothing(one: Made) -> None:
    session = PageSeat(one)
    token = one.pair()
    to_moving(session)
    before = len(list(one.journal.replay(one.session)))
    assert press(one, token) == 202
    drain(one.runner)
    assert session.drive.halts == 1 and session.mode == "moving", "it stands only once the drive says so"
    assert len(list(one.journal.replay(one.session))) == before
    session.halt(Fraction(1))
    assert session.mode == "halted"


def test_drumming_on_the_page_is_never_refused_while_it_moves(one: Made) -> None:
    """The limit of what a device may ask for in a second doesn't hold for this; for all else it still does."""
    session = PageSeat(one)
    token = one.pair()
    while press(one, token, "again") != 429:
        pass
    to_moving(session)
    hub = one.page.hub
    end = time.monotonic() + 60.0
    while not hub.moving:
        assert time.monotonic() < end
        time.sleep(0.01)
    assert {press(one, token) for _ in range(30)} == {202}
    while press(one, token, "again") != 429:  # on a slow machine the limit has room again
        assert time.monotonic() < end
    drain(one.runner)
    assert session.drive.halts == 30
    session.answer()
    while hub.moving:
        assert time.monotonic() < end
        time.sleep(0.01)
    while press(one, token) != 429:
        assert time.monotonic() < end


def test_a_halt_where_nothing_moves_does_nothing(one: Made) -> None:
    session = PageSeat(one)
    token = one.pair()
    assert press(one, token) == 202
    drain(one.runner)
    assert session.drive.halts == 0 and session.mode == "move asked"


def test_whatever_a_page_sends_no_move_begins(one: Made) -> None:
    """Every request that it could make, in every state before a move."""
    session = PageSeat(one)
    token = one.pair()
    doings = one.page.server.doings
    doings._burst = doings._each_s = 1e6
    seen: set[str] = set()
    hub = one.page.hub
    bodies: list[Callable[[], dict[str, Any]]] = [
        *(lambda do=do: {"do": do} for do in ("again", "halt", "stand by", "yes", "carry on", "move", "home")),  # type: ignore[misc]
        lambda: {"do": "note", "text": "tap"},
        lambda: {"do": "cut", "asked_id": one.runner.state.generation, "seq": hub.standing.seq, "held_ms": 900},
    ]

    def ordered() -> int:
        return sum(isinstance(record.fact, MoveAsked) for record in one.journal.replay(one.session))

    for _ in range(24):
        if session.mode == "finished":
            break
        if session.mode in ("move asked", "halted", "question", "checks"):
            before, mode = ordered(), session.mode
            for body in bodies:
                ask(one.port, "POST", "/do", token=token, body=body())
                drain(one.runner)
            assert ordered() == before and not session.drive.moving
            seen.add(mode)
        session.go_on()
        if session.mode == "moving" and "halted" not in seen:
            session.halt(Fraction(1))
    assert {"move asked", "halted", "checks"} <= seen
