"""`decide(state, event) -> Decision`: a short handler for each event, gesture and intent."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from assistant.plans.intents import OF_THE_VOICE, Intent, Mode
from assistant.plans.mishaps import Mishap
from assistant.session import effects as e
from assistant.session import facts as f
from assistant.session.announced import FIRST_WORDS_S, READING_S, WHOLLY_HEARD, deadline, is_announced, is_out
from assistant.session.calling import (
    advance,
    ask_what_was_touched,
    begin_setup,
    confirm_check,
    say_again,
    where_prompt,
)
from assistant.session.checks import runs_down_until
from assistant.session.detours import (
    answer_no,
    answer_yes,
    ask_back,
    ask_change,
    ask_end,
    ask_go_to,
    begin_resuming,
    nothing_changed,
)
from assistant.session.driven import is_driven
from assistant.session.events import (
    Answer,
    Arrived,
    CodeAsked,
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
from assistant.session.from_page import answers_what_it_shows, note_of, only_shown, refused
from assistant.session.intents import ALWAYS_TIMELY, means_something, wanted
from assistant.session.kinds import By, JobChange, Klass, Press, QuestionName, SpeechEnd
from assistant.session.mishaps import NO_IS_AN_ANSWER, is_of_a_mishap, take_figure, tapped, tell
from assistant.session.mishaps import answer as answer_mishap
from assistant.session.moves import (
    arrived,
    count_pass,
    halt,
    halted,
    homed,
    let_after_question,
    let_by_tap,
    let_go_on,
    looked,
    lost,
    not_clear,
    refuse_while_moving,
    sled_moved,
    too_old,
)
from assistant.session.order import coming
from assistant.session.state import (
    CHECKS,
    CUTTING,
    ENDED_EARLY,
    FINISHED,
    HALTED,
    HOMING,
    MOVE_ASKED,
    MOVING,
    QUESTION,
    STANDING_BY,
    State,
)
from assistant.session.turn import Decision, Turn, prompt
from assistant.session.voice import change_voice


def decide(state: State, event: Event) -> Decision:
    """What follows from this event. Pure; the only time it knows is `event.at`.

    Raises TypeError for a kind of event without a handler.
    """
    handler = _EVENTS.get(type(event))
    if handler is None:
        raise TypeError(f"no handler for {type(event).__name__}")
    turn = Turn(state, event)
    if refused(state, event):
        turn.show(prompt("not from the page"))
    else:
        handler(turn, event)
    after = turn.state
    changed = after.job is not None and after.generation != state.generation
    return turn.decision(e.Listen(wanted(after), after.generation) if changed else None)


def _start(turn: Turn, event: Start) -> None:
    job = event.job
    turn.fact(f.Started(job, event.rehearsed))
    if event.test_joint_skipped:
        turn.fact(f.TestJointSkipped())
    if event.hear_out:
        turn.fact(f.HearingOut())
    summary = prompt("summary", title=job.title, setups=len(job.setups), passes=job.total_passes)
    drive = (prompt("cautions of the drive"),) if is_driven(job) else ()
    zero = job.carriage.zero
    cuts = prompt("kerf and zero", kerf=job.kerf, days=event.kerf_days, clearance=job.clearance, zero=zero)
    turn.say(Klass.CAUTION, prompt("cautions"), *drive, summary, cuts)
    if event.beside:
        named = tuple((one.title, one.cut, one.command) for one in event.beside)
        turn.say(Klass.CAUTION, prompt("open sessions", sessions=named))
    begin_setup(turn, job.order[0])


def _resume(turn: Turn, event: Resume) -> None:
    if event.hear_out:
        turn.fact(f.HearingOut())
    begin_resuming(turn, event.notes)


# --- gestures


def _gesture(turn: Turn, event: Gesture) -> None:
    turn.release_notices()
    state = turn.state
    if state.mode in (HOMING, MOVING) and not state.question:
        refuse_while_moving(turn, event)
    # A double tap only has something said again, for which it is never too early.
    elif is_out(state, event.since) or (event.gesture == Press.DOUBLE and state.effective_mode in (CHECKS, CUTTING)):
        _GESTURES[state.effective_mode, event.gesture](turn, event)
    elif event.gesture == Press.LONG and state.opening.after == CUTTING and state.mode in (CHECKS, CUTTING):
        # It began while a pass was called, so it meant "stand by", whatever has been opened since.
        _stand_by(turn, event)
    else:
        turn.show(prompt("pressed too early", gesture=Press(event.gesture).shown), Klass.REFUSED)


def _cut_if_time(turn: Turn, answer: Answer) -> None:
    """No pass takes less than pass_takes_s: anything sooner is an accidental tap or a misheard phrase.

    The time counts from when the setting went out. After a question that interrupted the call, the setting goes out
    again, so that a late answer to the question records no cut.
    """
    state = turn.state
    if not _announced(turn, answer):
        return
    takes = state.the_job.pedal.pass_takes_s
    if answer.since - (state.opening.out_at or 0.0) < takes:
        too_soon = prompt("too soon", takes=takes)
        if only_shown(state, answer):
            turn.show(too_soon, Klass.REFUSED)
        else:
            turn.say(Klass.REFUSED, too_soon)
        return
    count_pass(turn, answer)


def _ignored(turn: Turn, answer: Answer) -> None:
    turn.say(Klass.REFUSED, prompt("tap ignored", mode=turn.state.effective_mode))


def _again(turn: Turn, answer: Answer) -> None:
    say_again(turn)


def _where(turn: Turn, answer: Answer) -> None:
    turn.say(Klass.ANSWER, where_prompt(turn.state))


def _stand_by(turn: Turn, answer: Answer) -> None:
    turn.fact(f.StoodBy(answer.source))
    turn.say(Klass.ANSWER, prompt("standing by"))


def _carry_on(turn: Turn, answer: Answer) -> None:
    if turn.state.on_break:
        ask_what_was_touched(turn)
        return
    if turn.state.unsettled:
        tell(turn, turn.state.unsettled)
        return
    turn.fact(f.CarriedOn(answer.source))
    advance(turn)


def _let_go_on(turn: Turn, event: Gesture) -> None:
    if _announced(turn, event):
        let_go_on(turn, event)


def _let_by_tap(turn: Turn, event: Gesture) -> None:
    if _announced(turn, event):
        let_by_tap(turn, event)


def _confirm(turn: Turn, answer: Answer) -> None:
    """Confirm the open check. "saw off" can't be confirmed before the blade has had time to run down."""
    if not _announced(turn, answer):
        return
    stands_at = runs_down_until(turn.state)
    if stands_at is not None and answer.since < stands_at:
        leaves = turn.state.leaves
        turn.say(
            Klass.REFUSED,
            prompt("blade turns, board in" if leaves else "blade still turns", takes=turn.state.the_job.run_down_s),
        )
        return
    confirm_check(turn, answer.source)


def _yes(turn: Turn, answer: Answer) -> None:
    if not _announced(turn, answer):
        return
    question = turn.state.question
    if question is not None and question.name == QuestionName.MOVE:
        let_after_question(turn, answer)
    elif question is not None and is_of_a_mishap(question):
        turn.fact(f.Dropped())
        answer_mishap(turn, question, True, answer.source)
    else:
        answer_yes(turn)


def _no(turn: Turn, answer: Answer) -> None:
    question = turn.state.question
    if question is not None and is_of_a_mishap(question):
        # To some of these no is as good an answer as yes, and given unheard it would be as wrong.
        if question.name in NO_IS_AN_ANSWER and not _announced(turn, answer):
            return
        turn.fact(f.Dropped())
        answer_mishap(turn, question, False, answer.source)
    else:
        answer_no(turn)


def _tap_on_question(turn: Turn, answer: Answer) -> None:
    question = turn.state.question
    if question is None or not tapped(turn, question):
        _ignored(turn, answer)


def _choose_mishap(turn: Turn, answer: Answer) -> None:
    """Nothing has gone wrong that matters to a board on its way out."""
    if turn.state.leaves:
        _ignored(turn, answer)
    else:
        tell(turn, None)


def _announced(turn: Turn, answer: Answer) -> bool:
    """Whether what is open has been announced. If not, show that, and say it once after current speech."""
    state = turn.state
    if is_announced(state, answer.since):
        return True
    # If the voice can't speak, the operator must read, not wait for it.
    wait = prompt("not read yet" if state.opening.unspoken else "not announced yet")
    if state.opening.reminded or only_shown(state, answer):
        turn.show(wait, Klass.REFUSED)
    else:
        turn.fact(f.Reminded())
        turn.add_notice(wait, klass=Klass.REFUSED)
    return False


def _over(turn: Turn, answer: Answer) -> None:
    turn.show(prompt("session over"))


_GESTURES: dict[tuple[Mode, Press], Callable[[Turn, Any], None]] = {
    (CUTTING, Press.TAP): _cut_if_time,
    (CUTTING, Press.DOUBLE): _again,
    (CUTTING, Press.LONG): _stand_by,
    (CHECKS, Press.TAP): _again,
    (CHECKS, Press.DOUBLE): _again,
    (CHECKS, Press.LONG): _confirm,
    (QUESTION, Press.TAP): _tap_on_question,
    (QUESTION, Press.DOUBLE): _no,
    (QUESTION, Press.LONG): _yes,
    (STANDING_BY, Press.TAP): _choose_mishap,
    (STANDING_BY, Press.DOUBLE): _where,
    (STANDING_BY, Press.LONG): _carry_on,
    (MOVE_ASKED, Press.TAP): _let_by_tap,
    (MOVE_ASKED, Press.DOUBLE): _again,
    (MOVE_ASKED, Press.LONG): _let_go_on,
    (HALTED, Press.TAP): _let_by_tap,
    (HALTED, Press.DOUBLE): _again,
    (HALTED, Press.LONG): _let_go_on,
    (FINISHED, Press.TAP): _over,
    (FINISHED, Press.DOUBLE): _again,
    (FINISHED, Press.LONG): _over,
    (ENDED_EARLY, Press.TAP): _over,
    (ENDED_EARLY, Press.DOUBLE): _over,
    (ENDED_EARLY, Press.LONG): _over,
}


# --- phrases


def _heard(turn: Turn, event: Heard) -> None:
    """A phrase heard under an older grammar, or begun before the question went out, is shown but not obeyed."""
    state = turn.state
    if not only_shown(state, event):
        turn.release_notices()
    state = turn.state
    # A key has a meaning of its own, whatever grammar is in force; for it the time of the press decides.
    dated = event.source == By.VOICE or answers_what_it_shows(event)
    # Standing by is obeyed under any grammar: stopping is never the wrong answer.
    stale = dated and event.generation != state.generation and event.intent != Intent.STAND_BY
    early = not is_out(state, event.since) and event.intent not in ALWAYS_TIMELY
    if stale or early:
        turn.show(prompt("heard too late" if stale else "heard too early", phrase=event.phrase), Klass.REFUSED)
        _note(turn, event.phrase if event.source == By.VOICE else "")
        return
    if not means_something(state, event):
        turn.show(prompt("means nothing now", phrase=event.phrase or event.intent), Klass.REFUSED)
        _note(turn, event.phrase if event.source == By.VOICE else "")
        return
    _INTENTS[event.intent](turn, event)


def _how_many(turn: Turn, event: Heard) -> None:
    state = turn.state
    left_here = state.passes - state.cut_here
    turn.say(Klass.ANSWER, prompt("how many", left_here=left_here, left=state.left_in_all))


def _mark(turn: Turn, event: Heard) -> None:
    state = turn.state
    pass_ = state.cursor
    turn.fact(f.Noted(state.setup, pass_, note_of(event)))
    noted = prompt("noted", setup=state.setup, pass_=pass_)
    if only_shown(state, event):
        turn.show(noted)
    else:
        turn.say(Klass.ANSWER, noted)


def _change(turn: Turn, event: Heard, what: JobChange) -> None:
    """A change of the job. argument: a setup's number; for a socket "setup.socket"; None by voice: this board."""
    setup, _, socket = str(event.argument or "").partition(".")
    if setup:
        ask_change(turn, what, int(setup), int(socket or 0))
    elif what == JobChange.BOARD and not coming(turn.state):
        turn.say(Klass.ANSWER, prompt("no other board"))
    else:
        ask_change(turn, what, coming(turn.state) if what == JobChange.BOARD else turn.state.setup)


def _figure(turn: Turn, event: Heard) -> None:
    question = turn.state.question
    assert question is not None  # or it means nothing now
    take_figure(turn, question, int(event.argument or 0))


_INTENTS: dict[Intent, Callable[[Turn, Heard], None]] = {
    Intent.CUT: _cut_if_time,
    Intent.AGAIN: _again,
    Intent.BACK: lambda turn, event: ask_back(turn),
    Intent.GO_TO: lambda turn, event: ask_go_to(turn, int(event.argument or 0)),
    Intent.CHECK: _confirm,
    Intent.STAND_BY: _stand_by,
    Intent.CARRY_ON: _carry_on,
    Intent.HOW_MANY: _how_many,
    Intent.WHERE: _where,
    **{intent: lambda turn, event: change_voice(turn, event.intent) for intent in OF_THE_VOICE},
    Intent.YES: _yes,
    Intent.NO: _no,
    Intent.MARK: _mark,
    Intent.BOARD: lambda turn, event: _change(turn, event, JobChange.BOARD),
    Intent.REDO: lambda turn, event: _change(turn, event, JobChange.END),
    Intent.SPOILT: lambda turn, event: _change(turn, event, JobChange.SPOILT),
    Intent.COPY: lambda turn, event: _change(turn, event, JobChange.COPY),
    Intent.SOCKET: lambda turn, event: _change(turn, event, JobChange.SOCKET),
    Intent.MISHAP: lambda turn, event: tell(turn, Mishap(str(event.argument)) if event.argument else None),
    Intent.FIGURE: _figure,
    Intent.END: lambda turn, event: ask_end(turn),
    Intent.HALT: halt,
}


# --- the rest


def _not_heard(turn: Turn, event: NotHeard) -> None:
    turn.show(prompt("not heard", reason=event.reason))
    _note(turn, event.like)


def _note(turn: Turn, like: str) -> None:
    """Play the notes for a phrase that did nothing. In mid-push, only if it began with the lead-in word."""
    state = turn.state
    voice = state.the_job.voice
    if like and voice.tone and (not state.quiet or like.partition(" ")[0] == voice.lead_in):
        turn.effect(e.Note())


def _went_out(turn: Turn, event: WentOut) -> None:
    """From now on count all times of what is open."""
    opening = turn.state.opening
    if event.generation != opening.generation or opening.out_at is not None:
        return
    turn.fact(f.OpeningOut())
    ends_at = deadline(turn.state)
    if ends_at is not None:
        turn.effect(e.WakeAt(ends_at))


def _time_passed(turn: Turn, event: TimePassed) -> None:
    ends_at = deadline(turn.state)
    # Wake-ups are never called off, so this one may belong to something that is no longer open.
    if ends_at is None or event.at < ends_at:
        return
    # The read-back got no answer, and silence is a no.
    if turn.state.question:
        turn.fact(f.Dropped())
        nothing_changed(turn)
    else:
        turn.effect(e.Close(open_=False))


def _device_changed(turn: Turn, event: DeviceChanged) -> None:
    """Show the news at once. While a pass may be under way, speak it only at the next gesture or phrase."""
    # A part can fail before the session has begun; there is no language yet to say it in.
    if turn.state.job is None:
        return
    notice = prompt("device", text=event.text)
    if turn.state.quiet:
        turn.show(notice)
        turn.fact(f.NoticeHeld(event.device, event.text))
    else:
        turn.add_notice(notice)


def _code_asked(turn: Turn, event: CodeAsked) -> None:
    """Say the code, but never in mid-push; the terminal shows it anyway."""
    if turn.state.job is None:
        return
    if turn.state.quiet:
        turn.show(prompt("code not said"))
    else:
        turn.add_notice(prompt("pairing code", code=event.code), klass=Klass.CODE)


def _leave(turn: Turn, event: Leave) -> None:
    turn.effect(e.Close(open_=turn.state.mode not in (FINISHED, ENDED_EARLY)))


def _speech_started(turn: Turn, event: SpeechStarted) -> None:
    """A check or question counts once its first words are spoken. What ends with a number or a direction doesn't."""
    if _awaits(turn.state, event) and turn.state.opening.kind not in WHOLLY_HEARD:
        turn.fact(f.Delivered(event.at + FIRST_WORDS_S))


def _speech_ended(turn: Turn, event: SpeechEnded) -> None:
    """Say again what an answer cut off. What could not be spoken must be read."""
    if not _awaits(turn.state, event):
        return
    if event.how == SpeechEnd.WHOLE:
        turn.fact(f.Delivered(event.at))
    elif event.how == SpeechEnd.CUT_OFF:
        # It waits, since what cut it off is being spoken now.
        say_again(turn, waits=True, whole=False)
    else:
        turn.fact(f.Unspoken())
        _read(turn)


def _awaits(state: State, event: SpeechStarted | SpeechEnded) -> bool:
    """Whether this is the announcement of what is open, and that doesn't count as announced yet."""
    opening = state.opening
    if not state.hear_out or event.id != opening.announcement:
        return False
    return opening.announced_at is None or event.at < opening.announced_at


def _displayed(turn: Turn, event: Displayed) -> None:
    opening = turn.state.opening
    if turn.state.hear_out and event.generation == opening.generation and opening.displayed_at is None:
        turn.fact(f.OnScreen())
        _read(turn)


def _read(turn: Turn) -> None:
    opening = turn.state.opening
    # The voice can fail before or after the screen shows it: whichever comes second settles it.
    if opening.unspoken and opening.displayed_at is not None:
        turn.fact(f.Delivered(opening.displayed_at + READING_S))


_EVENTS: dict[type[Event], Callable[[Turn, Any], None]] = {
    Start: _start,
    Resume: _resume,
    Gesture: _gesture,
    Heard: _heard,
    NotHeard: _not_heard,
    TimePassed: _time_passed,
    DeviceChanged: _device_changed,
    CodeAsked: _code_asked,
    Leave: _leave,
    SpeechStarted: _speech_started,
    WentOut: _went_out,
    Displayed: _displayed,
    SpeechEnded: _speech_ended,
    Looked: looked,
    SledMoved: sled_moved,
    Arrived: arrived,
    Homed: homed,
    Halted: halted,
    NotClear: not_clear,
    TooOld: too_old,
    Lost: lost,
}
