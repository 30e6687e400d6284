"""Every reachable state of a small job under every event: the safety rules hold in all of them."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

import pytest

from assistant.joinery.misplaced import reached, thinned
from assistant.joinery.model import Carriage
from assistant.plans.intents import OF_THE_VOICE, Intent
from assistant.plans.mishaps import Mishap
from assistant.plans.model import Check, Job, Plan
from assistant.session import effects as e
from assistant.session import facts as f
from assistant.session import turn
from assistant.session.apply import apply
from assistant.session.concerned import length_of, most
from assistant.session.decide import decide
from assistant.session.events import (
    Answer,
    Arrived,
    DeviceChanged,
    Displayed,
    Event,
    Gesture,
    Halted,
    Heard,
    Homed,
    Leave,
    Looked,
    Lost,
    NotClear,
    NotHeard,
    Resume,
    SledMoved,
    SpeechEnded,
    SpeechStarted,
    Start,
    TimePassed,
    TooOld,
    WentOut,
)
from assistant.session.intents import wanted
from assistant.session.state import Question, State
from assistant.wording.phrases import phrases_for
from assistant.wording.prompts import Words
from tests.session.driver import UTC
from tests.session.drives import driven_job
from tests.session.jobs import BACKING, EVERY_TWO, HEIGHT, OFFCUTS, ZERO, few_checks, job, plan
from tests.session.journalled import JOURNALLED
from tests.session.watcher import Watcher
from tests.witness import Witness

pytestmark = pytest.mark.timeout(1500)  # a busy machine walks for minutes

COUNTED = {"pass_cut", "check_confirmed", "carried_on", "stepped_back", "jumped", "ended_early", "noted"}
COUNTED |= {"went_wrong", "kerf_misplaced", "depth_set", "came_back", "old_blade_back"}
NOTHING_MOVES = OF_THE_VOICE + (Intent.AGAIN, Intent.HOW_MANY, Intent.WHERE, Intent.MARK)
"""Left out where a carriage is driven: they are walked without a drive, and would double the time here."""
CHANGES = (Intent.BOARD, Intent.REDO, Intent.SPOILT, Intent.COPY, Intent.SOCKET)
"""Of the job: `test_rework` walks them, over setups instead of passes."""
OF_A_CHANGE = {"job_extended", "board_chosen", "setup_reopened", "board_spoilt", "reopened"}
OF_A_MISHAP = {"went_wrong", "kerf_misplaced", "depth_set", "came_back", "cuts_sure", "old_blade_back"}
OF_A_DRIVE = {"move_asked", "moved", "halted", "carriage_lost", "homed"}
STALL_S = 30.0  # how long the runner stalls in every turn, before what was opened in it goes out


@dataclass
class Node:
    state: State
    watcher: Watcher
    witness: Witness
    records: tuple[f.Record, ...]


def place(state: State) -> object:
    """The state without its times: what is counted, what is open, and where the carriage stands."""
    opening = state.opening
    return (
        state.mode,
        state.setup,
        state.cursor,
        state.cuts,
        state.status,
        (state.job.order if state.job else (), state.chosen, state.saw_runs, state.previous),
        tuple(_confirmation(state, n) for n in range(len(state.confirmed))),
        state.redo,
        state.open_check,
        state.touched,
        state.question,
        state.notices,
        (opening.kind, opening.after == "cutting", opening.out_at is not None, state.saw_off_at is not None),
        announced(state) if state.hear_out else None,
        driving(state),
        of_mishaps(state),
    )


def of_mishaps(state: State) -> object:
    """What has gone wrong, and what is known of the kerfs since."""
    told = (state.moved, state.doubted, state.is_zeroed, state.unsettled, state.trouble, state.on_break, state.unread)
    since_height = state.since_height if any(check.name == "blade height" for check in state.the_job.checks) else ()
    laid_out = state.job and (state.job.kerf, tuple((one.depth, len(one.before)) for one in state.job.patterns))
    overshot = state.play_open and state.trouble == "overshot"
    return told, state.steps, state.shallow, wrong_cuts(state), since_height, state.to_register, overshot, laid_out


WRONG = Fraction(2, 10)
"""Two steps, mm: one is no more than what a cut may be measured wrong by."""


def wrong_cuts(state: State) -> object:
    """All that hangs on them: which walls may have been moved, and what is said of the strip and the right cut."""
    if not state.wrong:
        return None
    pattern, known = state.pattern, [cut for cut in state.wrong if cut.off_by is not None]
    of = {w: state.the_job.pattern_of(w.setup) for w in state.wrong}  # another blade may have begun the end
    wood = [reached(of[w], of[w].passes[w.pass_ - 1], w.off_by, length_of(state.the_job)) for w in state.wrong]
    sides = [
        (any(low < one.kerf_from <= high for low, high in wood), any(low <= one.kerf_to < high for low, high in wood))
        for one in (*pattern.before, *pattern.passes)
    ]
    lost = any(thinned(of[w], of[w].passes[w.pass_ - 1], w.off_by or Fraction(0)) for w in known)
    return tuple(sides), lost, frozenset(w.setup for w in state.wrong), frozenset((w.setup, w.pass_) for w in known)


def driving(state: State) -> object:
    """What is known of a driven carriage, without ids; where it was halted doesn't matter, only that it was."""
    it = state.driving
    looking = it.looking is not None and it.looking.id == f"l{state.generation}"
    move = it.move if state.mode in ("move asked", "halted", "homing", "moving") else None
    known = (it.known, it.at, move, it.still, it.placed, it.visited, it.unproved, it.after_cut)
    return (*known, it.clear, it.gone, looking, it.reported is None) if state.the_job.carriage.drive else None


def _confirmation(state: State, index: int) -> object:
    """Where a check was last confirmed. Passes count only if the check is asked every so many passes."""
    check, last = state.the_job.checks[index], state.confirmed[index]
    if last is None or check.when == "standing by":
        return None
    asks_how_many = last.passes if check.when == "every" else 0
    return last.setup, last.stage, last.part, last.depth, asks_how_many


def announced(state: State) -> object:
    """How far the announcement of what is open has got."""
    opening = state.opening
    if opening.announced_at is not None or opening.kind not in ("checks", "question", "cutting"):
        return None
    return (opening.announcement != "", opening.displayed_at is not None, opening.unspoken, opening.reminded)


def events(
    state: State, mishaps: tuple[Mishap, ...] = (), changes: tuple[Intent, ...] = ()
) -> Iterator[tuple[str, Event]]:
    """Everything that can happen next, some of it too early or too late. mishaps: those told. changes: of the job."""
    out_at = state.at if state.opening.out_at is None else state.opening.out_at
    at = max(state.at, out_at) + 12  # longer than a pass takes, and a blade to run down
    for gesture in ("tap", "double", "hold"):
        yield "fresh", Gesture(at, UTC, gesture, at)
        yield "pressed before it was asked", Gesture(at, UTC, gesture, out_at - 0.01)
    soon = out_at + 3.99 if state.quiet else out_at
    yield "too soon", Gesture(max(state.at, soon), UTC, "tap", soon)
    yield "too soon", Gesture(max(state.at, out_at + 9.99), UTC, "hold", out_at + 9.99)
    driven = state.the_job.carriage.drive is not None
    for intent in Intent:
        if intent in CHANGES and intent not in changes or (driven and intent in NOTHING_MOVES):
            continue
        arguments = _arguments(state, intent, mishaps)
        for argument in arguments:
            yield "fresh", Heard(at, UTC, intent, argument, intent, at, state.generation)
        # The argument doesn't affect whether it is in time. Take the first: it answers what is asked, the worst case.
        yield "old grammar", Heard(at, UTC, intent, arguments[0], intent, at, state.generation - 1)
        early = out_at - 0.01
        yield "begun before it was asked", Heard(at, UTC, intent, arguments[0], intent, early, state.generation)
    yield "too soon", Heard(max(state.at, soon), UTC, "cut", None, "cut", soon, state.generation)
    yield "time", TimePassed(at + 15, UTC)
    if not driven:
        yield "device", DeviceChanged(at, UTC, "microphone", "lost", "The microphone is gone.")
    for like in ("", "how many passes are left", "marigold proceed to next pass"):
        yield "other", NotHeard(at, UTC, "noise", like)
    yield "other", SpeechEnded(at, UTC, "of another", "whole")
    if id := state.opening.announcement:
        yield "begun to sound", SpeechStarted(out_at + 0.1, UTC, id)
        for how in ("whole", "cut off", "failed"):
            yield "ended", SpeechEnded(max(state.at, out_at), UTC, id, how)
    if state.the_job.carriage.drive:
        yield from _of_the_drive(state, at)
    yield "shown", Displayed(max(state.at, out_at), UTC, state.generation)
    yield "shown before", Displayed(at, UTC, state.generation - 1)
    yield "leave", Leave(at, UTC)


def _of_the_drive(state: State, at: float) -> Iterator[tuple[str, Event]]:
    """What a driven carriage may report, to the point or of an order that is over."""
    it = state.driving
    to = it.move.to if it.move is not None and it.move.to is not None else Fraction(0)
    # As many outcomes as differ: a place found true, off by more than the joint bears, and farther than was counted.
    for id in dict.fromkeys((it.id or "m1", "m0")):
        label = "drive" if id == it.id else "of an order that is over"
        yield label, Arrived(at, UTC, id, to)
        yield label, Homed(at, UTC, id, Fraction(0) if it.move and it.move.what == "visit" else None)
        yield label, Homed(at, UTC, id, Fraction(1))
        yield label, Homed(at, UTC, id, Fraction(1, 2), True)
        yield label, Halted(at, UTC, id, to - 1)
        yield label, NotClear(at, UTC, id)
        yield label, TooOld(at, UTC, id)
    yield "drive", Lost(at, UTC, "reset", "The controller started again. Home the carriage.")
    if state.the_job.carriage.drive and state.the_job.carriage.drive.clear_input:
        for clear in (False, True):
            yield "drive", SledMoved(at, UTC, clear)
            yield "drive", Looked(at, UTC, it.looking.id if it.looking else "l0", clear)
    for source in ("keys", "page"):
        yield f"from {source}", Gesture(at, UTC, "hold", at, source)
        yield f"from {source}", Gesture(at, UTC, "tap", at, source)
        for intent in ("cut", "yes", "halt"):
            yield f"from {source}", Heard(at, UTC, intent, None, "", at, state.generation, source)


def _arguments(state: State, intent: str, mishaps: tuple[Mishap, ...]) -> list[str | int | None]:
    if intent == "check":
        names = [check.name for check in state.the_job.checks]
        return [names[state.open_check or 0], *(name for name in names if name != names[state.open_check or 0])]
    if intent == "go to":
        return [1, state.passes, state.passes + 1]
    if intent == "mishap":
        return [*mishaps, None] if mishaps else [Mishap.SLIPPED]
    if intent == "figure":
        question = state.question or Question("figure", state.setup, 0, Mishap.MISSED)  # type: ignore[arg-type]
        return [*FIGURES.get(question.mishap, (1,)), 0, most(state, question) + 1]  # type: ignore[arg-type]
    return [None]


FIGURES: dict[Mishap, tuple[int, ...]] = {Mishap.MISPLACED: (2, 60), Mishap.DEEP: (3,), Mishap.MISSED: (1, 2)}
FIGURES |= {Mishap.KERF: (400, 500), Mishap.BLADE: (400, 500)}
"""In the walk: what a strip can fill or not, each pass of a small end, and a smaller kerf and `TWO_PASSES`."""
DEEPER = Fraction(1, 10)
"""mm: with more, the walk of what is cut too deep again and again would not end."""


def went_out(node: Node) -> Node:
    """What was opened goes out late, and no answer before that counts."""
    state = node.state
    if state.opening.out_at is not None:
        node.witness.out(state.at)
        return node
    _nothing_counts(node)
    node.witness.out(state.at + STALL_S)
    return step(node, WentOut(state.at + STALL_S, UTC, state.generation))[0]


def _nothing_counts(node: Node) -> None:
    key = place(node.state)
    if key in _HELD_UP:
        return
    _HELD_UP.add(key)
    for label, event in events(node.state):
        if label == "fresh":
            kinds = {record.fact.kind for record in decide(node.state, event).records}
            assert not kinds & COUNTED, f"what has not gone out yet is answered by nothing, but gave {kinds}"


_HELD_UP: set[object] = set()


def step(node: Node, event: Event) -> tuple[Node, list[f.Fact], tuple[e.Effect, ...]]:
    decision = decide(node.state, event)
    state = node.state
    for record in decision.records:
        state = apply(state, record)
    assert state is decision.state or state == decision.state, "what is replayed is what was decided"
    to_us = _speech(event).startswith("marigold ")
    if not decision.records:  # the place is the same, and there is no fact for the witness to object to
        node.watcher.hear(decision.effects, to_us)
        return node, [], decision.effects
    records = [record for record in decision.records if not record.fact.passing]
    kept = [record.fact for record in records]
    watcher, witness = node.watcher.copy(), node.witness.copy()
    witness.turn(event, kept, decision.effects)
    if any(isinstance(record.fact, f.NotSent) for record in decision.records):
        watcher.not_sent()
    for fact in kept:
        watcher.read(fact)
    watcher.hear(decision.effects, to_us)
    return Node(state, watcher, witness, (*node.records, *records)), kept, decision.effects


def _speech(event: Event) -> str:
    """What the speech was like; by voice only."""
    if isinstance(event, NotHeard):
        return event.like
    return event.phrase if isinstance(event, Heard) and event.source == "voice" else ""


def look_at(
    label: str, event: Event, before: State, after: State, kept: list[f.Fact], effects: tuple[e.Effect, ...]
) -> None:
    kinds = {fact.kind for fact in kept}
    did = {type(effect) for effect in effects}
    if label in ("pressed before it was asked", "old grammar", "begun before it was asked"):
        assert not kinds & COUNTED, f"an answer that is {label} does not count, but gave {kinds}"
        if "stood_by" in kinds and isinstance(event, Gesture):
            assert before.opening.after == "cutting", "an early long press stands by only if a pass was announced last"
    if label == "too soon" and before.effective_mode == "cutting":
        assert "pass_cut" not in kinds, "a pass can't be cut sooner than it takes"
    if label == "too soon" and before.open_check is not None:
        first_asked = before.saw_off_at == before.opening.out_at
        if before.the_job.checks[before.open_check].name == "saw off" and first_asked:
            assert not kinds & COUNTED, "nobody has counted before the blade stands still"
    if before.hear_out and before.opening.announced_at is None:
        answered = kinds & {"pass_cut", "check_confirmed", "stepped_back", "jumped", "ended_early", "reregistered"}
        assert not answered, f"nothing is confirmed or recorded before it has been announced, but {answered}"
    if isinstance(event, SpeechEnded) and event.how == "cut off" and before.opening.announced_at is None:
        again = before.hear_out and event.id == before.opening.announcement != ""
        assert any(isinstance(x, e.Say) and not x.replaces for x in effects) == again, "what was cut off is said again"
    if question := before.question:
        _look_at_a_mishap(label, event, question, before, after, kinds)
    if isinstance(event, Gesture) and event.gesture == "tap":
        assert not kinds or before.mode != "standing by", "a tap goes through what can be told, and tells nothing"
        assert "check_confirmed" not in kinds, "a check is never confirmed by a tap"
        assert not kinds & {"stepped_back", "jumped", "ended_early"}, "a tap answers no question"
    if isinstance(event, DeviceChanged) and before.effective_mode == "cutting":
        assert e.Say not in did, "a voice in mid-push startles"
        assert e.Show in did, "but it is shown at once"
    if e.Note in did:
        assert _speech(event), "a note answers speech that was like a phrase, and nothing else"
        assert before.effective_mode != "cutting" or _speech(event).startswith("marigold "), "a note in mid-push"
        assert not kinds & COUNTED, "what was heard and counted is no news of a failure"
    if before.the_job.carriage.drive:
        _look_at_the_drive(label, event, before, after, kinds, effects)
    _look_at_speech(after, effects)


FOLLOWS: dict[str, set[str]] = {
    "what": set(),
    "safe": {"went_wrong", "cuts_sure", "noted"},
    "sure": {"stepped_back", "cuts_sure"},
    "which": {"board_spoilt", "job_extended", "setup_reopened", "board_chosen"},
    "figure": set(),
    "old blade": {"old_blade_back"},
    "spoilt": {"board_spoilt", "job_extended", "board_chosen"},
    "side": set(),
    "verdict": {
        *("kerf_misplaced", "stepped_back", "jumped", "depth_set", "setup_reopened", "board_chosen", "job_extended"),
        "noted",
    },
    "lowered": set(),
    "touched": {"came_back", "carried_on"},
}
"""What an answer to each question about a mishap may record by itself."""
GOES_ON = {"check_opened", "setting_called", "setup_done", "setup_started", "finished"}
"""What may follow in the same turn, once everything is told and the operator goes on."""
BY_YES = {
    Mishap.MISPLACED: "kerf_misplaced",
    Mishap.SHALLOW: "setup_reopened",
    Mishap.DEEP: "depth_set",
    Mishap.MISSED: "jumped",
    Mishap.KERF: "job_extended",
    Mishap.BLADE: "job_extended",
}
CLOSES_ANOTHER_BLADE = {"old_blade_back", "job_extended"}
AT_ANY_TIME = {"resumed", "carriage_lost", "stood_by"}


def _look_at_a_mishap(
    label: str, event: Event, question: Question, before: State, after: State, kinds: set[str]
) -> None:
    """Nothing but what the question is about, and nothing unheard: to some of them no is as good an answer as yes."""
    if question.mishap is None and question.name != "what":
        return
    goes_on = question.name == "touched" or before.mode != "standing by" or "board_chosen" in kinds
    allowed = FOLLOWS[question.name] | AT_ANY_TIME | (GOES_ON if goes_on else set())
    if isinstance(event, TimePassed):
        assert not kinds and after.question == question, "whoever has gone to look has not answered"
    assert kinds <= allowed, f"{question.name} is about {FOLLOWS[question.name]}, but {kinds} came of it"
    meant = event.gesture if isinstance(event, Gesture) else event.intent if isinstance(event, Heard) else ""
    laid_out = question.mishap in (Mishap.KERF, Mishap.BLADE, Mishap.SWAPPED) or question.name == "spoilt"
    assert laid_out or "job_extended" not in kinds, "nothing else lays anything out"
    if question.name == "which":
        assert not kinds & FOLLOWS["which"] or question.mishap == Mishap.SWAPPED, (
            "which pass it was changes nothing yet"
        )
        by_yes = meant in ("hold", "yes")
        assert "board_spoilt" not in kinds or by_yes, "no board is spoilt without a yes"
    if kinds & FOLLOWS[question.name]:
        assert label in ("fresh", "too soon", "from keys") and isinstance(event, Answer), label
        assert not before.hear_out or before.opening.announced_at is not None, "what nobody has heard is answered"
    counts = label == "fresh" and not (before.hear_out and before.opening.announced_at is None)
    if "old_blade_back" in kinds:
        assert meant in ("hold", "yes"), "nothing but a yes closes it without a kerf"
    if before.unsettled == Mishap.BLADE and isinstance(event, Answer) and not kinds & CLOSES_ANOTHER_BLADE:
        still = after.question.mishap if after.question else after.unsettled
        assert still == after.unsettled == Mishap.BLADE, "another blade stays open until it is known which one is on"
    if question.name == "safe" and "noted" in kinds:
        assert question.mishap == Mishap.DEEP, "only what stays too deep is marked"
    if question.name == "verdict" and "noted" in kinds:
        assert question.mishap == Mishap.DEEP and meant in ("double", "no"), "only what stays too deep is marked"
    if question.name == "sure" and counts and meant in ("double", "no"):
        assert "stepped_back" in kinds and not after.is_cut(question.pass_), "what isn't sure is cut again"
    if question.name == "verdict" and counts and meant in ("hold", "yes") and question.mishap in BY_YES:
        assert BY_YES[question.mishap] in kinds, "what was read back and agreed to is done"
    if question.name == "safe" and counts and meant in ("hold", "yes"):
        assert "went_wrong" in kinds
    if meant == "figure":
        assert not kinds, "a figure alone changes nothing"


SENT = (e.Home, e.MoveTo)


def _look_at_the_drive(
    label: str, event: Event, before: State, after: State, kinds: set[str], effects: tuple[e.Effect, ...]
) -> None:
    """Whether this could let the carriage go, whatever it was meant to do."""
    sent = [effect for effect in effects if isinstance(effect, SENT)]
    assert len(sent) == ("move_asked" in kinds) <= 1, "what is sent is recorded first, one order at a time"
    drive = before.the_job.carriage.drive
    assert drive
    if label == "of an order that is over":
        assert not kinds and not sent, "the answer to an order that is over means nothing"
    if isinstance(event, Lost):
        assert kinds <= {"carriage_lost"} and not (after.driving.known and before.mode != "ended early")
        if before.effective_mode == "cutting":
            assert e.Say not in {type(effect) for effect in effects}, "a voice in mid-push startles"
    for effect in sent:
        assert before.effective_mode not in ("checks", "standing by"), "hands are in the clamps"
        assert not isinstance(event, Answer) or event.source != "page", "a page starts nothing"
        assert label not in ("pressed before it was asked", "begun before it was asked", "old grammar")
        by_hand = drive.home == "by hand" and isinstance(effect, e.Home)  # nothing moves then
        steps = after.driving.move is not None and after.driving.move.step
        may_turn = not (by_hand or before.question or before.driving.still or steps)
        assert label != "too soon" or not may_turn, "the blade may still turn"
        assert isinstance(event, Gesture | Heard | Looked | Homed), f"nothing but a foot lets it go, but {event} did"
        assert isinstance(effect, e.Home) or after.driving.known, "it goes nowhere from an unknown place"
        if isinstance(event, Heard):
            assert event.source == "keys" and event.intent == "yes", "a voice alone lets nothing go"
        if not effect.held:
            _look_at_what_nobody_holds(event, before, after, effect, drive.clear_input)
    if isinstance(event, Gesture) and before.effective_mode in ("homing", "moving"):
        assert not kinds, "the press that halts answers nothing else"
    if "setting_called" in kinds:
        called = after.pattern.passes[after.cursor - 1].setting
        assert after.driving.known and after.driving.at == called, "a pass is called only where the carriage stands"
    if drive.clear_input and "pass_cut" in kinds:
        assert before.driving.gone and before.driving.clear, "a pass counts once the sled has been out and back"
    for effect in effects:
        if isinstance(effect, e.Say) and isinstance(event, Lost | NotClear | TooOld):
            said = Words(before.the_job).say(effect.prompts).lower()
            assert not {"cut", "ready"} & set(said.replace(".", " ").replace(",", " ").split()), said


def _look_at_what_nobody_holds(event: Event, before: State, after: State, effect: e.Effect, clear_input: bool) -> None:
    """A tap's step, a key's yes and what follows it, or zeroing by hand."""
    drive = before.the_job.carriage.drive
    if isinstance(effect, e.Home) and drive and drive.home == "by hand":
        return
    if isinstance(event, Homed):
        assert before.driving.move and not before.driving.move.held, "it goes on as it began"
        return
    if isinstance(event, Answer) and before.question:
        assert before.question.name == "move" and event.source == "keys", "only a key's yes is not held down"
        return
    assert clear_input and isinstance(effect, e.MoveTo), "a tap moves it on a switch's word"
    if isinstance(event, Looked):
        assert event.clear and before.driving.clear and before.mode == "cutting", "the sled never left since the tap"
    stood = before.driving.at
    assert stood is not None and 0 < effect.setting - stood <= 25, "up, and not far"
    assert after.driving.move and after.driving.move.setup == before.setup, "on the same board"


def _look_at_speech(state: State, effects: tuple[e.Effect, ...]) -> None:
    """Everything said and shown can be put into words, and a setting's announcement ends with the setting."""
    for effect in effects:
        if isinstance(effect, e.Say):
            _can_be_worded(state, effect.prompts)
            if effect.klass == "setting":
                assert effect.prompts[-1].key.startswith("setting"), "the setting is spoken last"
            if effect.klass == "end" and state.mode == "finished":
                assert effect.prompts[-1].key == "finished", "what to refit is said last"
        if isinstance(effect, e.Show) and effect.line:
            _can_be_worded(state, (effect.line,))
        if isinstance(effect, e.Listen) and effect.wanted not in _GRAMMARS:
            _GRAMMARS.add(effect.wanted)
            texts = [p.text for p in phrases_for(effect.wanted, state.the_job.checks, "marigold")]
            assert len(texts) == len(set(texts)), "no phrase means two things at once"


_WORDED: set[tuple[e.Prompt, ...]] = set()
_GRAMMARS: set[object] = set()


def _can_be_worded(state: State, prompts: tuple[e.Prompt, ...]) -> None:
    if prompts not in _WORDED:
        _WORDED.add(prompts)
        assert Words(state.the_job).say(prompts).strip()


def made_once(view: Callable[[State, float], e.View]) -> Callable[[State, float], e.View]:
    """The view as it was made before, if the state is the same one at the same time."""
    last: tuple[State, float, e.View] | None = None

    def made(state: State, at: float) -> e.View:
        nonlocal last
        if last is None or last[0] is not state or last[1] != at:
            last = (state, at, view(state, at))
        return last[2]

    return made


@pytest.fixture(autouse=True)
def views_made_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of the events that a place is walked under most show the same view."""
    monkeypatch.setattr(turn, "view", made_once(turn.view))


def walk(
    a_job: object,
    most: int,
    hear_out: bool = False,
    killed: bool = True,
    mishaps: tuple[Mishap, ...] = (),
    changes: tuple[Intent, ...] = (),
) -> tuple[int, int, set[str]]:
    """Breadth first over every place; returns places, transitions and the kinds of facts seen.

    killed: the process dies at every place and is started again. mishaps: those that are told, at every place where
    somebody stands by. What is asked about the others is looked at, but not answered. changes: of the job, as above.
    """
    a_job = replace(a_job, voice=replace(a_job.voice, tone=True))  # type: ignore[attr-defined, type-var]
    start = Node(State(), Watcher(a_job), Witness(), ())  # type: ignore[arg-type]
    first, _, _ = step(start, Start(0.0, UTC, a_job, hear_out=hear_out, test_joint_skipped=True))  # type: ignore[arg-type]
    first = went_out(first)
    seen = {place(first.state)}
    waiting = deque([first])
    transitions, kinds = 0, {record.fact.kind for record in first.records}
    while waiting:
        node = waiting.popleft()
        happens = events(node.state, mishaps, changes)
        for label, event in with_restart(node, happens) if killed else happens:
            base = replayed(node) if label == "restart" else node
            after, kept, effects = step(base, event)
            transitions += 1
            kinds |= {fact.kind for fact in kept}
            look_at(label, event, base.state, after.state, kept, effects)
            if after is base:
                continue  # nothing came of it
            after = went_out(after)
            if not is_walked(after.state, mishaps, a_job):
                continue
            if (where := place(after.state)) not in seen:
                seen.add(where)
                waiting.append(after)
        can_go_on(node.state)
        assert len(seen) <= most, "more places than this job should have"
    return len(seen), transitions, kinds


def is_walked(state: State, mishaps: tuple[Mishap, ...], begun: Job) -> bool:
    """Whether any of these mishaps is asked about, or none, with a figure of the walk's.

    What becomes of a job to which a board was added is walked by `test_rework_rules`; here another kerf adds one setup,
    and one cut lies where none should be, by `WRONG` if it is known how far off it is.
    begun: the job as it began.
    """
    question, now = state.question, state.the_job
    if len(now.setups) > len(begun.setups) + bool({Mishap.KERF, Mishap.BLADE} & set(mishaps)):
        return False
    if len(state.wrong) > 1 or any(cut.off_by and abs(cut.off_by) != WRONG for cut in state.wrong):
        return False
    if any(one.depth > was.depth + DEEPER for one, was in zip(now.patterns, begun.patterns, strict=False)):
        return False
    if question is None or (question.mishap is None and question.name != "what"):
        return True
    if question.mishap is None:
        return bool(mishaps)
    return question.mishap in mishaps and abs(question.figure) in (0, 1, *FIGURES.get(question.mishap, ()))


def with_restart(node: Node, all_events: Iterator[tuple[str, Event]]) -> Iterator[tuple[str, Event]]:
    yield from all_events
    if node.state.mode not in ("finished", "ended early"):
        yield "restart", Resume(node.state.at + 60, UTC, hear_out=node.state.hear_out)


def replayed(node: Node) -> Node:
    """The process died here: the state that follows from the journal's records alone."""
    state = State()
    for record in node.records:
        state = apply(state, record)
    live = node.state
    names = ("setup", "cursor", "cuts", "status", "chosen", "saw_runs", "confirmed", "redo", "touched", "carriage_at")
    names += ("moved", "doubted", "shallow", "wrong", "since_height")
    for name in (*names, "marked", "previous", "job"):
        assert getattr(state, name) == getattr(live, name), f"replay differs in {name}"
    return replace(node, state=state)


def can_go_on(state: State) -> None:
    if state.mode != "ended early":
        assert wanted(state) or state.question, "there is always something that can be answered"


EVERY_PASS = few_checks(replace(EVERY_TWO, every=1))
ONE_PASS = Fraction(605, 100)  # a kerf as wide as a 6 mm finger's socket
TWO_PASSES = Fraction(5)
TWO_HALVES = Carriage(travel=(Fraction(0), Fraction(115, 10)), distance_piece=Fraction(502, 100))
"""Between the two passes of a 6 mm finger's socket the travel ends."""
SMALL_JOBS = {
    "a check every pass": (EVERY_PASS, plan(18, 6, ends=1, parts="A"), TWO_PASSES),
    "a check of its own at each setup's end": (few_checks(OFFCUTS), plan(18, 6, ends=2, parts="A"), ONE_PASS),
    "two ends of two passes each": (few_checks(), plan(18, 6, ends=2, parts="A"), TWO_PASSES),
    "a check for the session and one for the depth": (
        few_checks(
            Check("apron", "apron on?", "apron is tied on again", "session"),
            HEIGHT,
        ),
        plan(12, 6, ends=1),
        TWO_PASSES,
    ),
}


def both_edges(a_plan: Plan) -> Plan:
    widths = (a_plan.width,) * len(a_plan.boards)
    return replace(a_plan, joint=replace(a_plan.joint, far_half="other edge"), measured_widths=widths)


IN_TWO_HALVES = {
    "one end in two halves": (few_checks(), plan(18, 6, ends=1, parts="A"), TWO_PASSES),
    "two ends in two halves each": (few_checks(), plan(18, 6, ends=2, parts="A"), TWO_PASSES),
    "two ends from both edges": (few_checks(), both_edges(plan(30, 6, ends=2, parts="A")), ONE_PASS),
}
IN_EVERY_RUN = ("a check of its own at each setup's end",)
WALKED = [pytest.param(name, marks=() if name in IN_EVERY_RUN else pytest.mark.long) for name in SMALL_JOBS]
HEARD_OUT = [
    pytest.param(few_checks(), ONE_PASS, False, id="one pass, never killed"),
    pytest.param(few_checks(), ONE_PASS, True, id="one pass", marks=pytest.mark.long),
    pytest.param(EVERY_PASS, TWO_PASSES, False, id="a check every pass, never killed", marks=pytest.mark.long),
]
AFTER_A_KILL = {"resumed", "reregistered", "zeroed"}


@pytest.mark.parametrize(("checks", "kerf", "killed"), HEARD_OUT)
def test_the_rules_hold_if_answers_count_only_after_their_question_was_announced(
    checks: tuple[Check, ...], kerf: Fraction, killed: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    a_plan = plan(18, 6, ends=1, parts="A")
    places, transitions, kinds = walk(job(a_plan, checks, kerf=kerf), most=60_000, hear_out=True, killed=killed)
    with capsys.disabled():
        print(f"\nheard out: {places} states, {transitions} transitions")
    unseen = {"stage_ready"} | OF_A_DRIVE | OF_A_CHANGE | OF_A_MISHAP | (set() if killed else AFTER_A_KILL)
    assert kinds >= {fact.kind for fact in JOURNALLED} - unseen


@pytest.mark.long
def test_the_rules_hold_if_the_first_setting_is_below_zero() -> None:
    a_plan = plan(14, 6, ends=1, parts="B")
    edges = replace(a_plan.joint, layout="listed", finger=None, widths=(Fraction(4), Fraction(6), Fraction(4)))
    a_job = job(replace(a_plan, joint=edges), few_checks(), Carriage(zero="inside"), kerf=Fraction(5))
    assert a_job.patterns[0].passes[0].setting < 0
    walk(a_job, most=60_000)


@pytest.mark.parametrize("name", WALKED)
def test_every_reachable_state_under_every_event_keeps_the_rules(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    checks, a_plan, kerf = SMALL_JOBS[name]
    places, transitions, kinds = walk(job(a_plan, checks, kerf=kerf), most=60_000)
    with capsys.disabled():
        print(f"\n{name}: {places} states, {transitions} transitions")
    expected = {fact.kind for fact in JOURNALLED} - {"stage_ready"} - OF_A_DRIVE - OF_A_CHANGE - OF_A_MISHAP
    assert kinds >= expected, f"the walk never saw {expected - kinds}"


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=pytest.mark.long if n else ()) for n, name in enumerate(IN_TWO_HALVES)]
)
def test_a_board_wider_than_the_travel_keeps_the_rules(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    checks, a_plan, kerf = IN_TWO_HALVES[name]
    from_both = a_plan.joint.far_half == "other edge"
    carriage = Carriage(travel=(Fraction(0), Fraction(20))) if from_both else TWO_HALVES
    a_job = job(a_plan, checks, carriage, kerf=kerf)
    halves = ["this edge", "other edge"] if from_both else ["piece in", "piece out"]
    assert [setup.half for setup in a_job.setups] == halves * a_plan.boards[0].ends
    places, transitions, _ = walk(a_job, most=60_000)
    with capsys.disabled():
        print(f"\n{name}: {places} states, {transitions} transitions")


ONE_END, TWO_ENDS = plan(18, 6, ends=1, parts="A"), plan(18, 6, ends=2, parts="A")
MISHAPS: dict[str, tuple[tuple[Mishap, ...], tuple[Check, ...], Plan, Fraction, bool]] = {
    "slipped, one pass": ((Mishap.SLIPPED,), (), ONE_END, ONE_PASS, True),
    "not deep enough, one pass": ((Mishap.SHALLOW,), (HEIGHT,), ONE_END, ONE_PASS, True),
    "overshot": ((Mishap.OVERSHOT,), (), ONE_END, TWO_PASSES, True),
    "break": ((Mishap.BREAK,), (HEIGHT,), ONE_END, ONE_PASS, True),
    "slipped, or not deep enough": ((Mishap.SLIPPED, Mishap.SHALLOW), (HEIGHT,), ONE_END, ONE_PASS, True),
    "bumped": ((Mishap.BUMPED,), (ZERO,), ONE_END, TWO_PASSES, False),
    "bumped, one pass": ((Mishap.BUMPED,), (ZERO,), ONE_END, ONE_PASS, True),
    "bumped or slipped, one pass": ((Mishap.BUMPED, Mishap.SLIPPED), (ZERO,), ONE_END, ONE_PASS, False),
    "slipped": ((Mishap.SLIPPED,), (), ONE_END, TWO_PASSES, True),
    "sawdust": ((Mishap.DUST,), (), ONE_END, TWO_PASSES, False),
    "wrong place": ((Mishap.MISPLACED,), (), ONE_END, TWO_PASSES, False),
    "missed": ((Mishap.MISSED,), (), ONE_END, TWO_PASSES, False),
    "jammed": ((Mishap.JAMMED,), (HEIGHT,), ONE_END, TWO_PASSES, False),
    "breaker or loose piece": ((Mishap.TRIPPED, Mishap.LOOSE), (), ONE_END, TWO_PASSES, False),
    "chipped": ((Mishap.CHIPPED,), (BACKING,), ONE_END, TWO_PASSES, False),
    "cupped": ((Mishap.CUPPED,), (), ONE_END, TWO_PASSES, False),
    "wrong pattern": ((Mishap.SWAPPED,), (), ONE_END, TWO_PASSES, False),
    "slipped, another board first": ((Mishap.SLIPPED,), (), TWO_ENDS, ONE_PASS, True),
    "slipped, another board of two passes first": ((Mishap.SLIPPED,), (), TWO_ENDS, TWO_PASSES, True),
    "slipped, or another blade": ((Mishap.SLIPPED, Mishap.BLADE), (), ONE_END, TWO_PASSES, True),
    "wrong pattern, two boards": ((Mishap.SWAPPED,), (), plan(12, 6, ends=2), ONE_PASS, False),
    "not deep enough": ((Mishap.SHALLOW,), (HEIGHT,), ONE_END, TWO_PASSES, False),
    "not deep enough, or the wrong pattern": ((Mishap.SHALLOW, Mishap.SWAPPED), (HEIGHT,), ONE_END, ONE_PASS, False),
    "not deep enough, two ends": ((Mishap.SHALLOW,), (HEIGHT,), TWO_ENDS, ONE_PASS, False),
    "not deep enough, or another blade": ((Mishap.SHALLOW, Mishap.BLADE), (), ONE_END, ONE_PASS, False),
    "too deep": ((Mishap.DEEP,), (BACKING,), ONE_END, TWO_PASSES, False),
    "too deep, two ends": ((Mishap.DEEP,), (HEIGHT,), TWO_ENDS, ONE_PASS, False),
    "kerf measured again": ((Mishap.KERF,), (), ONE_END, TWO_PASSES, False),
    "other blade": ((Mishap.BLADE,), (BACKING,), ONE_END, TWO_PASSES, False),
    "break, two ends": ((Mishap.BREAK,), (HEIGHT,), TWO_ENDS, ONE_PASS, False),
}
"""What is told, and of which job. Where another board can be gone on with first: `ANOTHER_BOARD`."""
ANOTHER_BOARD = ("slipped, another board first", "slipped, another board of two passes first")
MISHAPS_IN_EVERY_RUN = ("not deep enough, one pass",)
MISHAPS_IN_THE_LONG_RUN = (
    *("slipped, one pass", "overshot", "break", "bumped, one pass", "missed", "jammed", "chipped", "too deep"),
)
"""The others take minutes each: `python -m tests.session.test_rules` walks them all."""
FOLLOWS_FROM = {Mishap.MISPLACED: "kerf_misplaced", Mishap.BREAK: "came_back", Mishap.DEEP: "depth_set"}
FOLLOWS_FROM |= {Mishap.KERF: "job_extended", Mishap.BLADE: "old_blade_back"}


def walk_mishaps(name: str) -> None:
    mishaps, checks, a_plan, kerf, killed = MISHAPS[name]
    places, transitions, kinds = walk(
        job(a_plan, few_checks(*checks), kerf=kerf),
        most=400_000,
        killed=killed,
        mishaps=mishaps,
        changes=(Intent.BOARD,) if name in ANOTHER_BOARD else (),
    )
    print(f"\ntold, {name}: {places} states, {transitions} transitions")
    assert kinds >= {"went_wrong", *(kind for mishap, kind in FOLLOWS_FROM.items() if mishap in mishaps)}


@pytest.mark.parametrize(
    "name", [*MISHAPS_IN_EVERY_RUN, *(pytest.param(name, marks=pytest.mark.long) for name in MISHAPS_IN_THE_LONG_RUN)]
)
def test_the_rules_hold_after_each_mishap(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    with capsys.disabled():
        walk_mishaps(name)


@pytest.mark.long
def test_a_mishap_is_told_only_by_answers_that_were_asked_for_aloud(capsys: pytest.CaptureFixture[str]) -> None:
    a_job = job(ONE_END, few_checks(), kerf=ONE_PASS)
    places, transitions, kinds = walk(a_job, most=60_000, hear_out=True, killed=False, mishaps=(Mishap.SLIPPED,))
    with capsys.disabled():
        print(f"\nheard out, slipped: {places} states, {transitions} transitions")
    assert kinds >= {"went_wrong", "stepped_back", "reregistered"}


IN_TWO: dict[str, object] = {"travel": TWO_HALVES.travel, "distance_piece": TWO_HALVES.distance_piece}
DRIVEN_JOBS = {
    "no clear input, one pass, never killed": (few_checks(), ONE_END, ONE_PASS, {"clear_input": False}, False),
    "a clear input, one pass, never killed": (few_checks(), ONE_END, ONE_PASS, {}, False),
    "a clear input, one pass": (few_checks(), ONE_END, ONE_PASS, {}, True),
    "no clear input, two passes, never killed": (few_checks(), ONE_END, TWO_PASSES, {"clear_input": False}, False),
    "no clear input, two passes": (few_checks(), ONE_END, TWO_PASSES, {"clear_input": False}, True),
    "a clear input, two passes": (few_checks(), ONE_END, TWO_PASSES, {}, True),
    "two ends of a pass each": (few_checks(), plan(18, 6, ends=2, parts="A"), ONE_PASS, {}, True),
    "a setting bar": (few_checks(), ONE_END, TWO_PASSES, {"register": "setting bar"}, True),
    "home by hand": (few_checks(), plan(18, 6, ends=2, parts="A"), ONE_PASS, {"home": "by hand"}, True),
    "a check every pass": (EVERY_PASS, ONE_END, TWO_PASSES, {}, True),
    "a distance piece, never killed": (few_checks(), ONE_END, TWO_PASSES, IN_TWO, False),
    "a distance piece": (few_checks(), ONE_END, TWO_PASSES, IN_TWO, True),
}
"""Those after the second take minutes each: `python -m tests.session.test_rules` walks them all."""
DRIVEN_WALKED = list(DRIVEN_JOBS)[:2]


def walk_driven(name: str) -> None:
    checks, a_plan, kerf, changes, killed = DRIVEN_JOBS[name]
    a_job = driven_job(a_plan, checks, kerf, **changes)  # type: ignore[arg-type]
    places, transitions, kinds = walk(a_job, most=400_000, killed=killed)
    print(f"\ndriven, {name}: {places} states, {transitions} transitions")
    # Without a drive, all that asks and marks is walked already; zeroing is asked for only where it is done by hand.
    unseen = {"stage_ready", "zeroed", "noted"} | OF_A_CHANGE | OF_A_MISHAP | (set() if killed else AFTER_A_KILL)
    assert kinds >= {fact.kind for fact in JOURNALLED} - unseen


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=pytest.mark.long if n else ()) for n, name in enumerate(DRIVEN_WALKED)]
)
def test_a_driven_carriage_keeps_the_rules_in_every_reachable_state(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with capsys.disabled():
        walk_driven(name)


DRIVEN_MISHAPS = (Mishap.BUMPED, Mishap.JAMMED, Mishap.OVERSHOT, Mishap.BREAK)
"""Each of these does something else to a driven carriage; after the first they take minutes each, as above."""


@pytest.mark.long
@pytest.mark.parametrize("mishap", DRIVEN_MISHAPS[:1])
def test_a_driven_carriage_keeps_the_rules_after_a_mishap(mishap: Mishap, capsys: pytest.CaptureFixture[str]) -> None:
    with capsys.disabled():
        walk_driven_mishap(mishap, ONE_PASS)


def walk_driven_mishap(mishap: Mishap, kerf: Fraction) -> None:
    a_job = driven_job(ONE_END, few_checks(), kerf, clear_input=False)
    places, transitions, kinds = walk(a_job, most=400_000, killed=False, mishaps=(mishap,))
    print(f"\ndriven, {mishap} told: {places} states, {transitions} transitions")
    assert "went_wrong" in kinds


if __name__ == "__main__":
    turn.view = made_once(turn.view)
    for told in MISHAPS:
        walk_mishaps(told)
    for told in DRIVEN_MISHAPS:
        walk_driven_mishap(told, TWO_PASSES)
    for job_name in DRIVEN_JOBS:
        walk_driven(job_name)
