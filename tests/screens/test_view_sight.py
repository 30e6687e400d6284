"""The sight: always the newest. It shows what was heard and what came of it."""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from assistant.plans.mishaps import Mishap
from assistant.runner.clock import SetClock
from assistant.runner.loop import Outputs, Runner
from assistant.screens.view_sight import KEPT, Aside, Gathering, LastInput, LogEntry
from assistant.session.events import (
    CodeAsked,
    DeviceChanged,
    Event,
    Gesture,
    Heard,
    NotHeard,
    Resume,
    SpeechEnded,
    SpeechStarted,
    Start,
    TimePassed,
)
from assistant.session.facts import JobExtended, Record
from assistant.session.intents import wanted
from assistant.session.kinds import JobChange, Klass
from tests.runner.adapters import drain
from tests.session.jobs import few_checks, job, plan, with_pass_time


class Session:
    """A runner without a voice, and what is gathered from it."""

    def __init__(self, *warnings: str) -> None:
        self.gathering = Gathering()
        self.runner = Runner(lambda records: None, Outputs(screens=[self.gathering]), SetClock())
        self.runner.outputs.watchers.append(self.gathering)
        made = with_pass_time(job(plan(width=36), few_checks()), 4.0)
        self.at = 0.0
        self.do(Start(0.0, "", replace(made, warnings=warnings)))

    def do(self, event: Event) -> None:
        self.runner.handle(event)
        drain(self.runner)

    def gesture(self, kind: str, after: float = 10.0) -> None:
        self.at += after
        self.do(Gesture(self.at, "", kind, self.at))

    def heard(self, intent: str, phrase: str, generation: int | None = None) -> LastInput:
        self.at += 10.0
        now = self.runner.state.generation if generation is None else generation
        self.do(Heard(self.at, "", intent, None, phrase, self.at, now))
        return self.sight.heard

    def cutting(self) -> Session:
        self.gesture("hold")
        self.gesture("hold")
        return self

    @property
    def sight(self):  # type: ignore[no-untyped-def]
        return self.gathering.sight


ASKS = re.compile(
    r"\b(hold|tap|press|q) (to|for|again)\b|then tap|(?<!long )\bpress\b|\blong press:"
    r"|\b(set|saw off[.;]|wait until|isolate|refit|count them|turn it|never spin|go (back|on) past|zero the)\b",
    re.IGNORECASE,
)
"""Phrases that ask the operator to do something, in the words that a session uses."""


@pytest.mark.parametrize("seed", range(25))
def test_no_log_line_and_no_answer_ever_says_what_to_do(seed: int) -> None:
    """Random ways through a session, with every gesture and phrase, resumed in between. Cautions may always ask."""
    chance, asked = random.Random(seed), 0

    def begun() -> Session:
        made = Session()
        said = made.gathering.said

        def seen(text: str, klass: str, record: str) -> None:
            nonlocal asked
            asked += bool(ASKS.search(text))
            said(text, klass, record)

        made.gathering.said = seen  # type: ignore[method-assign]
        return made

    session = begun()
    for _ in range(120):
        if session.runner.state.mode == "ended early":  # nothing asks any more
            session = begun()
        session.at += chance.choice((0.5, 6.0, 20.0))
        at, state = session.at, session.runner.state
        intent, argument = chance.choice([*wanted(state), ("back", None), ("copy", None)])
        argument = chance.randint(1, 4) if intent == "go to" else argument
        events: list[Event] = [Gesture(at, "", kind, at) for kind in ("tap", "tap", "hold", "hold", "double")]
        events += [Heard(at, "", intent, argument, "words", at, n) for n in (state.generation, 0)]
        events += [NotHeard(at, "", "too short"), CodeAsked(at, "", "12345678"), TimePassed(at, "")]
        if state.mode != "finished":
            events.append(Resume(at, ""))
        session.do(chance.choice(events))
        sight = session.sight
        told = [entry.text for entry in sight.log if entry.klass not in ("caution", "warning")]
        for text in (*told, sight.heard.made, sight.hands.made):
            assert not ASKS.search(text), text
    assert asked > 10


def test_what_was_heard_is_shown_with_what_it_did() -> None:
    session = Session().cutting()
    answer = session.heard("cut", "marigold proceed to next pass")
    assert answer == LastInput('"marigold proceed to next pass"', "pass 1 is cut")
    assert session.heard("back", "marigold return to previous").made == "read back"
    assert session.heard("yes", "marigold yes that is right").made == "back to pass 1"
    assert session.heard("stand by", "standing by now").made == "standing by"


def test_if_no_fact_came_of_it_the_answer_shows_what_it_did() -> None:
    session = Session().cutting()
    assert session.heard("how many", "how many more to go").made.endswith("in all.")
    assert "means nothing now" in session.heard("carry on", "marigold carry on").made
    assert "Heard too late" in session.heard("cut", "marigold proceed to next pass", generation=0).made
    session.do(NotHeard(session.at, "", "it was too short"))
    assert session.sight.heard.made == "Not understood: it was too short"


def test_a_tap_too_soon_shows_that_it_did_not_count() -> None:
    session = Session().cutting()
    session.gesture("tap", after=1.0)
    assert session.sight.hands.given == "pedal tap" and "Too soon, not counted" in session.sight.hands.made
    session.gesture("tap", after=9.0)
    assert session.sight.hands.made == "pass 1 is cut"
    assert session.sight.heard == LastInput()  # what foot and voice did is kept apart


def test_a_check_confirmed_by_the_foot() -> None:
    session = Session()
    session.gesture("hold")
    assert session.sight.hands == LastInput("pedal long press", "clamps confirmed")


def test_what_is_lost_stays_until_it_works_again() -> None:
    session = Session()
    for state, lost in (("lost", ["off"]), ("stands in", []), ("lost", ["off"]), ("works", [])):
        session.do(DeviceChanged(session.at, "", "microphone", state, "off"))
        assert [text for _, text in session.sight.faults] == lost


def test_speaking_lasts_from_the_first_to_the_last_announcement() -> None:
    session = Session()
    for event, speaking in (
        (SpeechStarted(1, "", "a1"), True),
        (SpeechStarted(1, "", "a2"), True),
        (SpeechEnded(1, "", "a1", "whole"), True),
        (SpeechEnded(1, "", "a2", "cut off"), False),
    ):
        session.do(event)
        assert session.sight.speaking == speaking


def test_the_layouts_warnings_come_first_and_once() -> None:
    session = Session("a sliver of 2 mm")
    assert [entry.text for entry in session.sight.log].count("a sliver of 2 mm") == 1
    assert session.sight.log[0].text == "a sliver of 2 mm" and session.sight.log[0].mark == "!!"


def test_the_log_does_not_grow_for_ever() -> None:
    session = Session().cutting()
    for _ in range(3 * KEPT):
        session.gesture("double")
        session.heard("where", "tell me where we are")
    assert len(session.sight.log) == KEPT


def log_of(session: Session) -> list[str]:
    return [entry.counted_text for entry in session.sight.log]


TOO_SOON = "Too soon, not counted: a pass takes longer."


def test_equal_lines_are_one_with_their_number() -> None:
    session = Session().cutting()
    for times in ("", " (2 times)", " (3 times)"):
        session.gesture("tap", after=0.5)
        assert log_of(session)[-1] == TOO_SOON + times
    assert [entry.text for entry in session.sight.log].count(TOO_SOON) == 1
    session.heard("where", "tell me where we are")
    session.heard("where", "tell me where we are")
    assert log_of(session)[-1].endswith("(2 times)") and log_of(session)[-2] == TOO_SOON + " (3 times)"


def test_a_refusal_goes_when_something_else_is_open() -> None:
    session = Session().cutting()
    session.gesture("tap", after=0.5)
    assert session.sight.hands.made == TOO_SOON
    session.heard("cut", "proceed to next pass")
    assert TOO_SOON not in " ".join(log_of(session))
    assert session.sight.hands == LastInput() and session.sight.heard.made == "pass 1 is cut"
    session.heard("carry on", "carry on")
    assert session.sight.log[-1].klass == "refused" and "means nothing now" in log_of(session)[-1]
    session.gesture("tap")
    assert not [entry for entry in session.sight.log if entry.klass == "refused"] and session.sight.heard == LastInput()


def test_other_lines_stay_when_something_else_is_open() -> None:
    session = Session().cutting()
    session.heard("mark", "mark down a problem")
    session.gesture("tap")
    assert "Problem marked at setup 1, pass 1." in log_of(session)


def test_a_list_covers_the_page_until_the_next_answer() -> None:
    session = Session().cutting()
    session.gathering.note("Keys:\n  space: tap")
    session.gathering.note("-- a line, such as which microphone is used")
    assert session.sight.note
    session.gesture("double")
    assert not session.sight.note
    session.gathering.note("-- a line")
    assert not session.sight.note and session.sight.log[-1].text == "a line"


def test_a_warning_is_seen_with_the_list_that_covers_the_log_and_goes_with_it() -> None:
    session = Session().cutting()
    session.gathering.note("Keys:\n  space: tap")
    assert session.sight.laid_over == "Keys:\n  space: tap"
    session.gathering.note("-- a line")
    session.gathering.note("!! a wrong code")
    assert session.sight.laid_over == "!! a wrong code\nKeys:\n  space: tap"
    assert (session.sight.log[-1].mark, session.sight.log[-1].text) == ("!!", "a wrong code")
    session.gesture("double")
    assert session.sight.laid_over == ""
    session.gathering.note("Keys:\n  space: tap")
    assert session.sight.laid_over == "Keys:\n  space: tap"


def test_time_left_comes_with_the_third_pass_and_goes_with_the_last() -> None:
    session = Session().cutting()
    for _ in range(3):
        assert session.sight.left_s is None
        session.gesture("tap", after=10.0)
    view = session.sight.view
    changeovers = (view.setups - view.setup) * 20.0
    assert session.sight.left_s == (view.passes_in_all - 3) * 10.0 + changeovers
    while session.runner.state.mode != "finished":
        session.gesture("tap" if session.runner.state.mode == "cutting" else "hold")
    assert session.sight.left_s is None


def test_the_caution_is_shown_until_a_check_is_confirmed_and_a_warning_until_a_cut() -> None:
    session = Session("a sliver of 2 mm")
    assert [entry.klass for entry in session.sight.opening] == ["warning", "caution"]
    assert "never stops the saw" in session.sight.opening[1].text
    session.gesture("tap")
    assert len(session.sight.opening) == 2
    session.gesture("hold")
    assert [entry.text for entry in session.sight.opening] == ["a sliver of 2 mm"]
    session.gesture("hold")
    assert session.runner.state.cursor == 1 and session.sight.opening
    session.gesture("tap")
    assert not session.sight.opening


def test_what_a_resumed_session_begins_with_stays_when_its_question_is_said_again() -> None:
    session = Session().cutting()
    session.gesture("tap")
    session.do(Resume(session.at, ""))
    assert session.sight.asking.startswith("Resuming ") and "See that the saw is off." in session.sight.asking
    session.heard("again", "say again position")
    assert session.sight.asking.startswith("Resuming ")


def test_standing_by_ends_with_all_that_goes_with_it() -> None:
    session = Session().cutting()
    session.gesture("hold")
    assert session.sight.log[-1].text == "Standing by." and session.sight.hands.made == "standing by"
    session.gesture("tap")
    assert session.sight.hands.made == "what went wrong?"
    session.gesture("double")
    assert session.sight.hands.made == "Nothing changed."
    session.gesture("hold")
    assert session.sight.hands.made == "carrying on"
    assert not any("to carry on" in entry.text for entry in session.sight.log)


def test_what_went_wrong_is_shown_by_its_words_from_the_question_to_the_fact() -> None:
    session = Session().cutting()
    session.heard("cut", "marigold proceed to next pass")
    session.gesture("hold")
    made = []
    for gesture in ("tap", "tap", "tap", "double", *("tap",) * 5, "hold"):
        session.gesture(gesture)
        made.append(session.sight.hands.made)
    assert made == [
        "what went wrong?",
        "the work has jammed on the blade?",
        "the breaker tripped in the cut?",
        "Not reported. Nothing changed.",
        "what went wrong?",
        "the work has jammed on the blade?",
        "the breaker tripped in the cut?",
        "a loose piece lies by the blade?",
        "the board has slipped?",
        "the board has slipped",
    ]
    assert session.sight.heard.made == "", "what the pass was cut by may no longer be true"
    session.gesture("double")
    assert session.sight.hands.made == "back to pass 1"


def told(session: Session, mishap: Mishap, *gestures: str) -> LastInput:
    session.at += 10.0
    at = session.at
    session.do(Heard(at, "", "mishap", str(mishap), "words", at, session.runner.state.generation))
    for gesture in gestures:
        session.gesture(gesture)
    return session.sight.hands  # type: ignore[no-any-return]


def test_each_later_fact_of_a_mishap_has_its_words() -> None:
    session = Session().cutting()
    session.gesture("tap")
    session.gesture("hold")
    assert told(session, Mishap.DEEP, "hold", "tap", "hold", "hold").made == "cut to another depth from now on"
    assert told(session, Mishap.BLADE, "hold", "double", "hold").made == "the old blade is back on"
    assert told(session, Mishap.MISPLACED, "hold", "hold", "tap", "tap").made == "figure 2?"
    session.gesture("hold")
    assert session.sight.hands.made == "the next question"
    session.gesture("hold")
    session.gesture("hold")
    assert session.sight.hands.made == "pass 2 lies in the wrong place"
    assert told(session, Mishap.BREAK, "hold", "hold", "double", "double").made == "back from a break"
    assert session.runner.state.mode == "checks"


def test_what_joins_the_job_after_another_kerf_is_no_board() -> None:
    made = {}
    for why in (JobChange.COPY, JobChange.SPOILT, Mishap.KERF):
        session = Session().cutting()
        joined = Record(99, session.at, "", JobExtended((), (), (), why))
        session.gathering.turn(Gesture(session.at, "", "hold", session.at), [joined])
        made[why] = session.sight.hands.made
    assert made == {
        JobChange.COPY: "one more board",
        JobChange.SPOILT: "one more board",
        Mishap.KERF: "what isn't begun is laid out again",
    }


def test_what_to_clamp_is_over_with_the_first_setting() -> None:
    session = Session()
    assert session.sight.clamp.startswith("Setup 1 of 4: short side, part B, end 1 down. Reference edge")
    session.cutting()
    assert session.sight.clamp == ""
    session.gesture("hold")
    session.gesture("hold")
    assert session.sight.view.mode == "checks" and session.sight.clamp == ""


def test_what_must_be_done_at_the_end_stays_when_it_is_said_again() -> None:
    session = Session()
    while session.runner.state.mode != "finished":
        assert not session.sight.closing
        session.gesture("tap" if session.runner.state.mode == "cutting" else "hold")
    closing = session.sight.closing
    assert "refit the riving knife" in closing
    session.gesture("double")
    assert session.sight.closing == closing
    assert session.sight.log[-1].text == "All cut."


def test_what_was_lost_leaves_the_log_when_it_is_back() -> None:
    session = Session()
    lost, back = "Voice is off: no sound.", "The microphone is back."
    session.do(DeviceChanged(session.at, "", "microphone", "lost", lost))
    assert lost in log_of(session)
    session.do(DeviceChanged(session.at, "", "microphone", "works", back))
    assert lost not in log_of(session) and back in log_of(session)


def test_what_was_done_goes_when_the_pass_is_taken_back_or_the_session_stops() -> None:
    """Beside pass 1 called again, "pass 1 is cut" would contradict it."""
    session = Session().cutting()
    session.gesture("tap")
    assert session.sight.hands.made == "pass 1 is cut"
    session.heard("back", "marigold return to previous")
    assert session.sight.hands.made == "pass 1 is cut"  # only asked so far
    session.heard("yes", "marigold yes that is right")
    assert session.sight.heard.made == "back to pass 1" and session.sight.hands == LastInput()
    session.gesture("tap")
    session.heard("stand by", "standing by now")
    assert session.sight.hands == LastInput()


def test_the_time_stands_with_each_line_and_the_last_time_with_a_repeated_one() -> None:
    session = Session().cutting()
    for utc in ("2026-03-02T09:00:00Z", "2026-03-02T09:05:00Z"):
        session.at += 0.5
        session.do(Gesture(session.at, utc, "tap", session.at))
    last = session.sight.log[-1]
    assert (last.times, last.utc) == (2, "2026-03-02T09:05:00Z")
    assert last.clock == datetime(2026, 3, 2, 9, 5, tzinfo=UTC).astimezone().strftime("%H:%M")
    assert LogEntry("line", "text").clock == ""


def test_the_sight_is_of_one_moment_only_between_turns() -> None:
    """Between the words of what a turn opens and its snapshot it is not: drawn then, they would not belong together."""
    session = Session()
    gathering, told = session.gathering, []
    for name in ("said", "show"):
        plain = getattr(gathering, name)

        def watched(*args: object, name: str = name, plain: Callable[..., None] = plain) -> None:
            plain(*args)
            told.append((name, gathering.whole))

        setattr(gathering, name, watched)
    assert gathering.whole
    for gesture in ("hold", "hold", "tap", "hold", "hold"):
        told.clear()
        session.gesture(gesture)
        assert gathering.whole and told[-1] == ("show", True)
        assert ("said", False) in told and ("said", True) not in told


def test_the_classes_of_lines_stay_as_the_page_has_them() -> None:
    assert {"setting", "check", "move", "question", "refused"} <= {klass.value for klass in Klass}
    assert {aside.value for aside in Aside} == {"warning", "note"}


def test_where_the_time_went_is_kept_only_while_no_blade_turns() -> None:
    session = Session().cutting()
    assert session.sight.times is None
    session.gesture("tap")
    session.gesture("hold")
    assert session.sight.times is not None and session.sight.times.setups[0].cut == 1
    session.gesture("hold")
    assert session.sight.times is None
    while session.runner.state.mode != "finished":
        session.gesture("tap" if session.runner.state.mode == "cutting" else "hold")
    assert session.sight.times is not None and len(session.sight.times.setups) == 4
