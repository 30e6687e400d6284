"""The words that every screen shares: the state, what each gesture means now, what comes next, when it will be done."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import pytest

from assistant.screens.view_words import (
    NOTHING,
    Gestures,
    check_count,
    done_of,
    gestures_of,
    next_of,
    pending_of,
    setup_of,
    status_of,
    unit_of,
)
from assistant.session.events import DeviceChanged, Resume
from assistant.wording.prompts import Words
from tests.screens.test_view_sight import Session
from tests.session.jobs import HANDWHEEL, job, plan


def words(session: Session) -> tuple[str, str]:
    status = status_of(session.sight)
    return status.word, status.lost


def test_the_head_says_what_the_session_is_doing() -> None:
    session = Session()
    assert words(session) == ("CHECK 1 OF 2", "") and check_count(session.sight.view) == "check 1 of 2"
    session.gesture("hold")
    assert words(session) == ("CHECK 2 OF 2", "")
    session.gesture("hold")
    assert words(session) == ("CUTTING", "") and check_count(session.sight.view) == ""
    session.do(DeviceChanged(session.at, "", "loudspeaker", "lost", "No loudspeaker."))
    assert words(session) == ("CUTTING", "VOICE LOST")
    session.do(DeviceChanged(session.at, "", "loudspeaker", "works", "Back."))
    session.do(DeviceChanged(session.at, "", "pedal", "lost", "No pedal."))
    assert words(session) == ("CUTTING", "")
    session.heard("end", "marigold end the session")
    assert words(session) == ("QUESTION", "")
    session.gesture("double")
    session.gesture("hold")
    assert words(session) == ("STANDING BY", "")
    session.do(Resume(session.at, ""))
    assert words(session) == ("QUESTION", "")


def test_at_a_setups_end_and_at_the_sessions_end() -> None:
    session = Session().cutting()
    seen = []
    while session.runner.state.mode != "finished":
        session.gesture("tap" if session.runner.state.mode == "cutting" else "hold")
        seen.append(words(session)[0])
    assert "SAW OFF" in seen and seen[-1] == "ALL CUT"


def test_each_gesture_has_its_meaning_now() -> None:
    session = Session()
    view = session.sight.view
    assert gestures_of(view) == Gestures("say again", "say again", "confirmed")
    assert gestures_of(view, 8).long == "not for 8 s yet"
    session.cutting()
    assert gestures_of(session.sight.view) == Gestures("pass cut, call next", "say again", "stand by")
    session.gesture("hold")
    assert gestures_of(session.sight.view) == Gestures("what went wrong", "where we are", "carry on")
    session.heard("end", "marigold end the session")
    assert gestures_of(session.sight.view) == Gestures(NOTHING, "no", "yes")
    session.gesture("hold")
    assert gestures_of(session.sight.view) == Gestures(NOTHING, NOTHING, NOTHING)


def test_what_comes_next_is_named_in_small() -> None:
    session = Session().cutting()
    while session.runner.state.mode == "cutting":
        named = next_of(session.sight.view, session.sight.words)
        session.gesture("tap")
        view = session.sight.view
        setting = f"{float(view.setting):.2f}" if view.pass_ else ""
        assert named == (f"then {setting}" if setting else "then saw off")
    assert next_of(session.sight.view, session.sight.words) == ""
    view = replace(session.sight.view, mode="cutting", pass_=1, next_check="zero")
    assert next_of(view, session.sight.words) == "then check: zero"


@pytest.mark.parametrize(("carriage", "unit"), [(None, "mm"), (HANDWHEEL, "turns + marks")])
def test_a_setting_has_its_unit(carriage: object, unit: str) -> None:
    assert unit_of(Words(job(plan(), carriage=carriage))) == unit  # type: ignore[arg-type]


def test_standing_by_names_what_waits_and_what_is_asked_first() -> None:
    session = Session().cutting()
    assert pending_of(session.sight.view) == ()
    session.gesture("hold")
    assert pending_of(session.sight.view) == ("Pending: pass 1 of 6.", "Will ask first: saw, clamps and guard.")


def test_while_a_board_is_on_its_way_out_the_saw_is_to_be_off_and_it_counts_no_more() -> None:
    session = Session().cutting()
    session.gesture("tap")
    before = session.sight.view
    assert setup_of(before) == f"1 of {before.setups}"
    session.heard("spoilt", "marigold this board has been spoiled")
    session.gesture("hold")
    view = session.sight.view
    assert view.leaves and view.check == "board out" and words(session) == ("SAW OFF", "")
    assert setup_of(view) == "1" and (view.cut_in_all, view.passes_in_all) == (0, before.passes_in_all)
    assert view.setups == before.setups, "the board in its place counts instead"
    session.heard("stand by", "standing by for now")
    assert pending_of(session.sight.view)[0] == "Pending: this board comes out."
    assert gestures_of(session.sight.view) == Gestures(NOTHING, "where we are", "carry on")
    session.gesture("tap")
    assert session.sight.view.mode == "standing by", "as the gestures have it"
    session.gesture("hold")
    while session.sight.view.leaves:
        session.gesture("hold")
    view = session.sight.view
    assert setup_of(view) == f"{view.setup} ({view.place} of {view.setups})" and view.place < view.setup
    assert "board out" not in pending_of(view) and view.standing.status[0] == "spoilt"


def test_when_it_will_be_done_is_shown_only_while_no_blade_turns() -> None:
    session, noon = Session().cutting(), datetime(2026, 3, 2, 12, 0)
    for _ in range(3):
        session.gesture("tap")
        assert done_of(session.sight, noon) == ""
    while session.runner.state.mode != "cutting":
        session.gesture("hold")
    session.gesture("hold")
    assert session.sight.left_s and done_of(replace(session.sight, left_s=1200.0), noon).startswith("done about 12:20")
    session.gesture("hold")
    assert done_of(session.sight, noon) == ""
    while session.runner.state.mode != "finished":
        session.gesture("tap" if session.runner.state.mode == "cutting" else "hold")
    ended = replace(session.sight, ended_utc=datetime(2026, 3, 2, 15, 12).astimezone().isoformat())
    assert done_of(ended, noon) == "done at 15:12"
