"""What the hub makes of a session, and that it never delays the session. Also the history and the documents."""

from __future__ import annotations

import json
import re
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from assistant.errors import JournalError
from assistant.joinery.model import Carriage
from assistant.journal.store import Journal
from assistant.plans.intents import Mode
from assistant.plans.mishaps import Mishap
from assistant.screens.page import document, qr
from assistant.screens.page.history import History, PassTimes, detail_of
from assistant.screens.page.hub import Hub, Stream
from assistant.screens.page.picture import pattern_of, state_of
from assistant.screens.view_sight import Gathering
from assistant.session import facts as f
from assistant.session.events import DeviceChanged, Gesture, Heard, NotHeard
from assistant.session.kinds import Klass
from assistant.session.table import as_json, rows_of, standing_of, which_of
from assistant.session.turn import view
from assistant.wording.prompts import Words
from tests.screens.page_made import Made, made, made_job
from tests.session.jobs import HANDWHEEL


@pytest.fixture
def one(tmp_path: Path) -> Iterator[Made]:
    with made(tmp_path) as it:
        yield it


def newest(stream: Stream, timeout_s: float = 2.0) -> dict[str, object]:
    """The last message before the hub falls silent."""
    last: dict[str, object] = {}
    end = time.monotonic() + timeout_s
    while time.monotonic() < end:
        try:
            message = stream.queue.get(timeout=0.5)
        except Exception:  # noqa: BLE001 - an empty queue: silence
            return last
        assert message is not None
        last = json.loads(message.split(b"data: ", 1)[1])
    return last


# --- the hub


def test_before_a_session_has_begun_there_is_nothing_to_show() -> None:
    hub = Hub()
    stream = hub.open("1")
    assert stream is not None
    first = json.loads((stream.queue.get() or b"").split(b"data: ")[1])
    assert (first["state"], first["board"], first["log"], first["session"]) == ({}, None, [], "")
    hub.close()
    assert stream.queue.get() is None


def test_handing_over_costs_the_session_almost_nothing(one: Made) -> None:
    """Even while every stream is full and the hub's own lock is taken."""
    hub = one.page.hub
    one.to_first_pass()
    taken, done = threading.Event(), threading.Event()

    def hold() -> None:
        with hub._guard:
            taken.set()
            done.wait()

    holder = threading.Thread(target=hold)
    holder.start()
    taken.wait(5)
    try:
        for _ in range(200):
            hub.said("three", "answer", "three")
        assert holder.is_alive(), "the lock was not waited for"
    finally:
        done.set()
        holder.join()


def test_no_figure_is_ever_beside_a_state_that_it_does_not_belong_to(tmp_path: Path) -> None:
    """As a page keeps them: the newest of each, across two setups, with pauses, questions and a way back."""
    wheel = replace(made_job(width=18), carriage=replace(HANDWHEEL, zero="outside"))
    with made(tmp_path, wheel) as one:
        stream = one.page.hub.open("1")
        assert stream is not None
        one.to_first_pass()
        for gesture in ("tap", "double", "hold", "hold", "hold", *["tap"] * 4, *["hold"] * 6, "tap", "tap"):
            one.gesture(gesture)
            time.sleep(0.02)
        assert one.runner.state.setup > 1
        time.sleep(0.3)
        kept: dict[str, Any] = {}
        seen, turned = set(), False
        while not stream.queue.empty():
            message = stream.queue.get()
            assert message is not None
            kept |= json.loads(message.split(b"data: ", 1)[1])
            state: Any = kept["state"]
            if not state:
                continue
            assert kept["held"]["setup"] == state["setup"]
            if state["mode"] == "cutting":  # the board is clamped
                assert "TURN END" not in kept["held"]["svg"]
            assert kept["dials"]["asked_id"] == state["asked_id"]
            assert len(kept["dials"]["svgs"]) == (len(state["big"]) if state["big"][0][0][:1].isdigit() else 1) * (
                state["mode"] == "cutting"
            )
            seen.add((state["setup"], state["mode"]))
            turned = turned or "TURN END" in kept["held"]["svg"]
        assert {(1, "cutting"), (1, "standing by"), (2, "cutting")} <= seen
        assert turned


def test_the_table_of_the_job_goes_out_with_every_turn_that_changes_it_and_with_no_other(one: Made) -> None:
    stream = one.page.hub.open("1")
    assert stream is not None
    one.to_first_pass()
    for gesture in ("tap", "double", "hold", "hold"):
        time.sleep(0.1)
        one.gesture(gesture)
    time.sleep(0.3)
    tables, states, at_all = [], 0, json.loads((stream.queue.get() or b"").split(b"data: ")[1])["job"]
    while not stream.queue.empty():
        body = json.loads((stream.queue.get() or b"").split(b"data: ", 1)[1])
        states += 1
        tables += [body["job"]] if "job" in body else []
    assert tables[-1]["rows"] == as_json(rows_of(one.runner.state.the_job, standing_of(one.runner.state)))
    assert [table["rows"][0]["cut"] for table in ([at_all] if at_all else []) + tables] == [0, 1]
    assert len(tables) < states


def test_half_of_a_turn_goes_to_no_page(one: Made) -> None:
    """The session's thread hands over what was said before the state that it belongs to."""
    one.to_first_pass()
    time.sleep(0.3)
    hub, state = one.page.hub, one.runner.state
    before = hub.standing.seq
    at, utc = one.clock.at(), one.clock.utc()
    hub.turn(Gesture(at, utc, "hold", at), [f.Record(99, at, utc, f.StoodBy("pedal"))])
    hub.said("Standing by.", Klass.ANSWER, "Standing by.")
    time.sleep(0.3)
    assert hub.standing.seq == before
    hub.show(replace(view(state), mode=Mode.STANDING_BY, generation=state.generation + 1), None, Words(state.the_job))
    time.sleep(0.3)
    assert hub.standing.seq > before and hub.standing.mode == Mode.STANDING_BY


def test_a_full_stream_is_closed_rather_than_waited_for() -> None:
    stream = Stream("1")
    for n in range(stream.queue.maxsize):
        stream.put(b"%d" % n)
        assert not stream.closed
    stream.put(b"one more")
    assert stream.closed


def test_what_came_before_a_page_was_opened_is_in_its_first_message(one: Made) -> None:
    one.to_first_pass()
    one.gesture("tap")
    one.turn(DeviceChanged(one.clock.at(), one.clock.utc(), "microphone", "lost", "The microphone is gone."))
    time.sleep(0.3)
    stream = one.page.hub.open("1")
    assert stream is not None
    body = newest(stream)
    state = body["state"]
    assert isinstance(state, dict)
    assert (state["pass"], state["cut"], state["faults"]) == (2, "1", ["The microphone is gone."])
    texts = [entry["text"] for entry in body["log"]]  # type: ignore[attr-defined]
    assert any("3.18" in text for text in texts)
    one.page.hub.shut(stream)


def test_an_entry_of_the_log_is_sent_once(one: Made) -> None:
    stream = one.page.hub.open("1")
    assert stream is not None
    one.to_first_pass()
    for _ in range(12):
        one.gesture("tap")
    time.sleep(0.3)
    texts: list[str] = []
    while not stream.queue.empty():
        message = stream.queue.get()
        assert message is not None
        texts += [entry["text"] for entry in json.loads(message.split(b"data: ", 1)[1]).get("log", [])]
    settings = [text for text in texts if " called at " in text]
    assert len(settings) == len(set(settings)) == 13


def test_equal_entries_are_one_and_a_refusal_goes_with_its_question(one: Made) -> None:
    one.to_first_pass()
    one.turn(NotHeard(one.clock.at(), one.clock.utc(), "noise"))
    one.turn(NotHeard(one.clock.at(), one.clock.utc(), "noise"))
    now = one.runner.state.generation
    for _ in range(3):
        one.turn(Heard(one.clock.at(), one.clock.utc(), "carry on", None, "carry on", one.clock.at(), now))
    time.sleep(0.3)
    log = first_log(one)
    assert [entry["text"] for entry in log[-2:]] == [
        "Not understood: noise (2 times)",
        "Heard, but it means nothing now: carry on (3 times)",
    ]
    assert len({entry["n"] for entry in log}) == len(log)
    one.gesture("tap")
    time.sleep(0.3)
    texts = [entry["text"] for entry in first_log(one)]
    assert "Not understood: noise (2 times)" in texts and not [text for text in texts if "means nothing now" in text]


def first_log(one: Made) -> list[dict[str, Any]]:
    """The log of a page that is opened now."""
    stream = one.page.hub.open("2")
    assert stream is not None
    message = stream.queue.get()
    one.page.hub.shut(stream)
    assert message is not None
    return list(json.loads(message.split(b"data: ", 1)[1])["log"])


def test_what_is_asked_keeps_the_number_with_which_it_was_first_asked(one: Made) -> None:
    one.to_first_pass()
    time.sleep(0.3)
    before = one.page.hub.standing
    one.gesture("double")
    time.sleep(0.3)
    after = one.page.hub.standing
    assert after.seq > before.seq
    assert (after.asked_id, after.asked_seq) == (before.asked_id, before.asked_seq)
    one.gesture("tap")
    time.sleep(0.3)
    assert one.page.hub.standing.asked_seq > after.seq


def test_a_hub_that_died_does_not_look_alive() -> None:
    hub = Hub()
    assert hub.alive
    hub.close()
    assert not hub.alive


# --- the picture


def sight_of(one: Made) -> Gathering:
    gathering = Gathering()
    one.runner.outputs.screens.append(gathering)
    one.runner.outputs.watchers.append(gathering)
    return gathering


def test_figures_are_those_of_the_carriage(tmp_path: Path) -> None:
    job = made_job()
    wheel = replace(job, carriage=replace(HANDWHEEL, zero="outside"))
    with made(tmp_path, wheel) as one:
        gathering = sight_of(one)
        one.to_first_pass()
        state = state_of(gathering.sight)
    # 3.18 mm on a screw of 25.4 mm / 16 with 125 marks a turn: 2.0031 turns, so 2 turns and 0.39 mark.
    assert state["reading"] == "2 turns + 0.39"
    assert state["big"] == [["UP", "2+0.39"], ["TO", "2+0.39"]]
    assert state["unit"] == "turns + marks"


def test_at_the_end_what_is_left_to_do_stays_in_sight(tmp_path: Path) -> None:
    with made(tmp_path, made_job(width=18)) as one:
        gathering = sight_of(one)
        one.to_first_pass()
        while one.runner.state.mode == "cutting":
            assert state_of(gathering.sight)["asked"] == ""
            one.gesture("tap")
            one.to_first_pass()
        assert "refit the riving knife and guard" in state_of(gathering.sight)["asked"]


def test_the_point_to_go_past_to_is_shown(tmp_path: Path) -> None:
    job = made_job()
    slack = replace(job, carriage=Carriage(backlash=Fraction(1, 5), travel=(Fraction(-10), Fraction(400))))
    with made(tmp_path, slack) as one:
        gathering = sight_of(one)
        one.to_first_pass()
        for _ in range(one.runner.state.passes):
            one.gesture("tap")
        one.to_first_pass()
        # By hand: at 3.18 mm again, and before that lower by the backlash of 0.2 and by 0.5 mm.
        assert state_of(gathering.sight)["big"] == [["1 DOWN TO", "2.48"], ["2 UP TO", "3.18"]]


def test_a_board_is_what_the_pattern_says_to_a_ten_thousandth() -> None:
    job = made_job()
    for pattern in job.patterns:
        data = pattern_of(pattern, job)
        assert data["width"] == float(pattern.width)
        for (start, end), socket in zip(data["sockets"], pattern.sockets, strict=True):
            assert abs(Fraction(start) - socket.start) <= Fraction(1, 10_000)
            assert abs(Fraction(end) - socket.end) <= Fraction(1, 10_000)
        assert [number for *_, number in data["passes"]] == [one.socket for one in pattern.passes]


@pytest.mark.parametrize(("copies", "first", "told"), [(1, 1, ""), (1, 2, "2 of 2"), (3, 1, "1 to 3 of 3 together")])
def test_which_of_several_like_boards(copies: int, first: int, told: str) -> None:
    job = made_job()
    setups = (replace(job.setups[0], copies=copies, first_copy=first), *job.setups[2:])
    assert which_of(replace(job, setups=setups), 1) == told


def test_a_page_has_what_to_keep_clear_and_what_a_gesture_does_now(one: Made) -> None:
    """By hand: from the edge, where the first socket is, to 78 mm and a hair; 10.3 mm deep and 15 mm above it."""
    gathering = sight_of(one)
    gathering.show(view(one.runner.state), None, Words(one.runner.state.the_job))
    stream = one.page.hub.open("1")
    assert stream is not None
    state: Any = newest(stream)["state"]
    one.page.hub.shut(stream)
    assert state["big"] == [["", "KEEP CLEAR"], ["", "0 TO 79 MM"], ["", "BELOW 26 MM"]]
    assert (state["tone"], state["state"], state["beside"]) == ("check", "CHECK 1 OF 2", "clamps")
    assert state["gestures"] == {"tap": "say again", "double tap": "say again", "long press": "confirmed"}
    assert "Reference edge to the left stop" in state["clamp"]
    one.to_first_pass()
    state = state_of(gathering.sight)
    assert (state["big"], state["unit"], state["then"]) == ([["", "3.18"]], "mm", "then 6.02")
    assert (state["clamp"], state["times"], state["left_s"]) == ("", [], None)
    one.gesture("hold")
    state = state_of(gathering.sight)
    assert (state["gestures"]["long press"], state["state"]) == ("carry on", "STANDING BY")
    assert state["asked"].replace("\u00a0", " ").startswith("Pending: pass 1 of 14.")
    assert "Will ask first: saw, clamps and guard" in state["asked"]
    one.gesture("hold")
    state = state_of(gathering.sight)
    assert (state["gestures"]["long press"], state["check"]) == ("confirmed", "carrying on")
    assert "carry" not in json.dumps(state).replace("carrying on", "")


def test_what_to_do_is_in_the_state_while_standing_by_and_beside_no_question(one: Made) -> None:
    one.to_first_pass()
    one.gesture("hold")
    stream = one.page.hub.open("1")
    assert stream is not None
    assert newest(stream)["state"]["card"] == ""  # type: ignore[index]
    at = one.clock.at()
    one.turn(Heard(at, one.clock.utc(), "mishap", "jammed", "", at, one.runner.state.generation, "page"))
    asked = newest(stream)["state"]
    assert asked["big"] == [["", "JAMMED?"], ["", "PLUG OUT?"]] and asked["card"] == ""  # type: ignore[index]
    assert asked["gestures"] == {"tap": "next", "double tap": "no", "long press": "yes"}  # type: ignore[index]
    one.gesture("hold")
    shown = newest(stream)["state"]
    assert shown["card"].startswith("Plug still out, turn the blade backwards with a piece of wood")  # type: ignore[index]
    assert shown["big"] == [["", "SAW OFF"]]  # type: ignore[index]
    assert "Will ask first: where the work lies, clamps, guard." in shown["asked"]  # type: ignore[index]
    one.gesture("hold")
    assert newest(stream)["state"]["card"] == ""  # type: ignore[index]


def test_the_page_has_a_button_for_all_that_can_go_wrong() -> None:
    html = document.page().html.decode()
    buttons = re.findall(r'<button type="button" data-mishap="([^"]*)">([^<]*)</button>', html)
    assert [name for name, _ in buttons] == list(Mishap)
    assert [unescape(words).lower() for _, words in buttons] == [mishap.means for mishap in Mishap]


def test_a_clock_is_there_only_while_nobody_cuts(tmp_path: Path) -> None:
    """Beside a blade it would hurry. How long the rest takes is known from three passes on."""
    with made(tmp_path, made_job(width=18)) as one:
        gathering = sight_of(one)
        gathering.pace.take(one.journal.replay(one.session))
        one.to_first_pass()
        for _ in range(3):
            one.gesture("tap")
            state = state_of(gathering.sight)
            assert (state["left_s"], state["left"], state["times"]) == (None, "", [])
        one.gesture("hold")
        state = state_of(gathering.sight)
        assert (state["left_s"] >= 0, state["left"]) == (True, "less than a minute left")
        assert state["times"][0].replace("\u00a0", " ").startswith("Setup 1: under 1 min for 3 of 4 passes")
        while one.runner.state.mode != "finished":
            one.gesture("hold" if one.runner.state.mode != "cutting" else "tap")
            assert state_of(gathering.sight)["left_s"] is None
        assert re.match(r"done at \d\d:\d\d$", state_of(gathering.sight)["times"][0])


def test_a_setup_ends_with_a_big_question_and_how_long_it_waits(tmp_path: Path) -> None:
    """By hand: three segments of 6 mm, the outer two are sockets.

    The next board is not named before this is confirmed, and it can't be confirmed while the blade may still turn.
    """
    with made(tmp_path, made_job(width=18, run_down_s=30.0)) as one:
        gathering = sight_of(one)
        one.to_first_pass()
        while one.runner.state.mode == "cutting":
            assert state_of(gathering.sight)["wait_s"] == 0
            one.gesture("tap")
        state = state_of(gathering.sight)
        assert state["big"] == [["", "SAW OFF"], ["", "COUNT 2"]]
        assert "saw off. when the blade has stopped, count 2 sockets" in state["asked"].lower()
        assert gathering.sight.view is not None and gathering.sight.view.wait_s == 30.0
        assert 0 < state["wait_s"] <= 30
        assert state["setup"] == 1
        one.gesture("hold")
        assert "may still have been turning" in state_of(gathering.sight)["hands"]["made"].lower()
        assert state_of(gathering.sight)["big"] == [["", "SAW OFF"], ["", "COUNT 2"]]


# --- the history


def test_a_session_is_shown_with_its_pace(one: Made) -> None:
    one.to_first_pass()
    for _ in range(5):
        one.gesture("tap")
    history = History(one.folder)
    (row,) = history.sessions()["sessions"]
    assert (row["id"], row["passes_cut"], row["state"]) == (one.session, 5, "open")
    found = history.one(one.session)
    assert found is not None
    assert [(take["setup"], take["pass"], take["by"]) for take in found["pace"]] == [
        (1, n, "pedal") for n in range(1, 6)
    ]
    assert (found["of"], len(found["boards"])) == (56, 2)
    assert found["account"][0] == f"Session {one.session}: Small tray"
    assert history.one("2020-01-01-1") is None


def test_a_pass_with_a_pause_in_it_has_no_time() -> None:
    times = PassTimes()
    facts = [
        (0.0, f.SettingCalled(1, 1, "1/1")),
        (8.0, f.PassCut(1, 1, "pedal")),
        (8.0, f.SettingCalled(1, 2, "2/1")),
        (9.0, f.StoodBy("pedal")),
        (500.0, f.CarriedOn("pedal")),
        (510.0, f.SettingCalled(1, 2, "2/1")),
        (516.5, f.PassCut(1, 2, "voice")),
    ]
    records = [f.Record(n, at, "", fact) for n, (at, fact) in enumerate(facts, 1)]
    assert list(times.noting(records)) == records
    assert [each["took_s"] for each in times.passes] == [8.0, 6.5]


def test_a_pass_taken_back_counts_once(one: Made) -> None:
    """In the pace, in the minutes of its setup, and in the list."""
    one.to_first_pass()
    for _ in range(3):
        one.gesture("tap")
    now = one.runner.state.generation
    one.turn(Heard(one.clock.at(), one.clock.utc(), "back", None, "return to previous", one.clock.at(), now))
    one.gesture("hold")
    history = History(one.folder)
    found = history.one(one.session)
    assert found is not None
    assert [(take["setup"], take["pass"]) for take in found["pace"]] == [(1, 1), (1, 2)]
    assert found["passes_cut"] == 2
    assert found["times"][0].startswith("Setup 1: under 1 min for 2 of 14 passes")


def test_reading_a_long_session_gives_way_to_the_session_that_cuts(one: Made) -> None:
    one.to_first_pass()
    for _ in range(100):
        one.gesture("double")
        one.gesture("tap") if one.runner.state.mode == "cutting" else one.gesture("hold")
    (row,) = one.journal.sessions()
    pauses: list[float] = []
    detail_of(row, one.journal.replay(one.session), pauses.append)
    assert len(pauses) >= row.facts // 50 > 0


def test_the_journal_is_read_beside_the_session_and_never_written(one: Made) -> None:
    with Journal.open_beside(one.folder) as journal:
        one.to_first_pass()  # written meanwhile, and visible
        assert journal.sessions()[0].facts == one.journal.sessions()[0].facts
        with pytest.raises(JournalError):
            journal.new_session("x", "", "", one.clock.utc())


def test_without_a_journal_there_are_no_sessions(tmp_path: Path) -> None:
    assert History(tmp_path).sessions() == {"sessions": [], "in_all": 0}
    with pytest.raises(JournalError, match="there is no journal"):
        Journal.open_beside(tmp_path)


# --- the documents


@pytest.mark.parametrize("served", [document.page(), document.door()])
def test_a_document_is_whole_in_itself(served: document.WebDocument) -> None:
    text = served.html.decode()
    assert "/* style */" not in text and "/* script */" not in text
    assert text.count("<script>") == text.count("<style>") == 1
    assert not any(attribute in text for attribute in (" onclick=", " onload=", " style="))


def test_a_qr_code_is_drawn_if_its_library_is_installed() -> None:
    pytest.importorskip("segno", reason="segno is not installed")
    picture = qr.picture("http://192.168.1.7:8437/#12345678")
    lines = picture.splitlines()
    # Version 3 has 29 modules (ISO/IEC 18004), two rows a line, one of border on either side.
    assert {len(line) for line in lines} == {3 + 29 + 2}
    assert len(lines) == (29 + 2 + 1) // 2
