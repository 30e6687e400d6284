"""What the operator's foot does with a driven carriage, and what follows once it has arrived, halted or got lost."""

from __future__ import annotations

from assistant.plans.job_json import fraction_text
from assistant.session import effects as e
from assistant.session import facts as f
from assistant.session.calling import advance, ask, close_setup, cut_pass, end_setup, name_board
from assistant.session.detours import ask_clamped
from assistant.session.driven import (
    after_home,
    by_hand,
    by_tap,
    is_driven,
    is_sled_seen,
    still_from,
)
from assistant.session.events import (
    Answer,
    Arrived,
    Gesture,
    Halted,
    Homed,
    Looked,
    Lost,
    NotClear,
    SledMoved,
    TooOld,
)
from assistant.session.facts import Move
from assistant.session.kinds import By, DeviceName, Klass, MoveKind, QuestionName, Then
from assistant.session.order import coming
from assistant.session.sending import begin, propose
from assistant.session.state import CUTTING, ENDED_EARLY, FINISHED, HALTED, HOMING, MOVE_ASKED, MOVING, State
from assistant.session.turn import Turn, prompt


def let_go_on(turn: Turn, answer: Gesture) -> None:
    """The pedal is held down, or a key was kept: what was proposed begins, once the blade stands still for it."""
    state = turn.state
    move = state.driving.move
    assert move is not None
    from_s = still_from(state)
    if from_s is not None and answer.since < from_s:
        turn.say(Klass.REFUSED, prompt("blade may turn", takes=state.the_job.run_down_s))
    elif answer.source == By.PEDAL or by_hand(state.the_job.carriage, move):
        begin(turn, move, answer.source == By.PEDAL, answer.at)
    else:
        ask(turn, QuestionName.MOVE, state.setup, move.pass_)


def let_by_tap(turn: Turn, answer: Gesture) -> None:
    """A tap lets only what needs nothing but a sled drawn right back; anything else wants the pedal held down."""
    state = turn.state
    move = state.driving.move
    assert move is not None
    if by_tap(state.the_job.carriage, move, state.driving.at):
        begin(turn, move, False, answer.at)
    else:
        turn.say(Klass.REFUSED, prompt("hold it down"))


def let_after_question(turn: Turn, answer: Answer) -> None:
    """Yes to "may it move now?", from a key or the pedal: nobody can hold down a voice or a page."""
    move = turn.state.driving.move
    if move is None or answer.source not in (By.PEDAL, By.KEYS):
        turn.show(prompt("hold it down"), Klass.REFUSED)
        return
    turn.fact(f.Dropped())
    if move.what != MoveKind.HOME and not turn.state.driving.known:
        propose(turn, move)
    else:
        begin(turn, move, answer.source == By.PEDAL, answer.at)


def count_pass(turn: Turn, answer: Answer) -> None:
    """The called pass is cut. A switch on the sled must have shown it, and shows once more that it is drawn back."""
    state = turn.state
    drive = state.the_job.carriage.drive
    if drive is None or not drive.clear_input:
        cut_pass(turn, answer.source, answer.at)
    elif state.driving.clear is False:
        _refuse(turn, answer.source, prompt("draw back"))
    elif not is_sled_seen(state):
        _refuse(turn, answer.source, prompt("sled not seen"))
    # It was cut where it was called, and a drive that is lost can't be asked for a fresh look.
    elif not state.driving.known:
        cut_pass(turn, answer.source, answer.at)
    elif state.driving.looking is None:
        # Named after the opening: a look made for a pass called before answers nothing now.
        id = f"l{state.generation}"
        turn.fact(f.Looking(id, answer.at, answer.source))
        turn.effect(e.Look(id))


def looked(turn: Turn, event: Looked) -> None:
    looking = turn.state.driving.looking
    if looking is None or looking.id != event.id:
        return
    turn.fact(f.SledAt(event.clear))
    turn.fact(f.LookedAt())
    # Something else may have opened while the drive looked: a question, or standing by.
    if turn.state.effective_mode != CUTTING or looking.id != f"l{turn.state.generation}":
        return
    if event.clear:
        cut_pass(turn, looking.by, looking.asked_at)
    else:
        _refuse(turn, looking.by, prompt("draw back"))


def _refuse(turn: Turn, by: By, why: e.Prompt) -> None:
    """It is said, except to somebody at a page: that isn't the one who may be pushing a board."""
    if by == By.PAGE:
        turn.show(why, Klass.REFUSED)
    else:
        turn.say(Klass.REFUSED, why)


def sled_moved(turn: Turn, event: SledMoved) -> None:
    """An answer that waits for a look is refused if the sled has left its place by then."""
    if turn.state.job is None or not is_driven(turn.state.job):
        return
    looking = turn.state.driving.looking
    turn.fact(f.SledAt(event.clear))
    if looking is not None and not event.clear:
        turn.fact(f.LookedAt())
        if turn.state.effective_mode == CUTTING:
            _refuse(turn, looking.by, prompt("draw back"))


def _under_way(state: State, id: str) -> Move | None:
    """The move that this answers, None if it is another or an old one."""
    return state.driving.move if id and id == state.driving.id and state.mode in (HOMING, MOVING) else None


def arrived(turn: Turn, event: Arrived) -> None:
    move = _under_way(turn.state, event.id)
    if move is None or move.to is None:
        return
    turn.fact(f.Moved(move.setup, move.pass_, fraction_text(move.to), fraction_text(event.reported)))
    _follow(turn, move)


def homed(turn: Turn, event: Homed) -> None:
    """Go on to the next place in the same press, or say what the switch has shown before anybody unclamps."""
    move = _under_way(turn.state, event.id)
    if move is None or move.what == MoveKind.SETTING:
        return
    visits = move.what == MoveKind.VISIT
    off_by = fraction_text(event.off_by) if visits and event.off_by is not None else ""
    turn.fact(f.CarriageHomed(turn.state.setup, off_by, visits and event.beyond))
    if not turn.state.driving.known:
        ask(turn, QuestionName.OFF, turn.state.setup, 0)
        return
    if move.then == Then.END:
        _on_to_next_setup(turn, move)
        return
    following = after_home(turn.state, move)
    if following is None:
        _follow(turn, move)
    elif by_hand(turn.state.the_job.carriage, move):
        propose(turn, following)
    else:
        begin(turn, following, move.held, event.at)


def _on_to_next_setup(turn: Turn, move: Move) -> None:
    """The setup is over; on to the next one's first place while the pedal is still held down."""
    state = turn.state
    number, following = coming(state), after_home(state, move)
    if following is None:
        end_setup(turn)
        return
    close_setup(turn)
    turn.fact(f.SetupStarted(number))
    begin(turn, following, move.held, turn.event.at)


def _follow(turn: Turn, move: Move) -> None:
    """It stands where it was to go."""
    match move.then:
        case Then.BOARD:
            name_board(turn)
        case Then.CLAMPED:
            ask_clamped(turn)
        case Then.TRIAL:
            ask(turn, QuestionName.REGISTERED, turn.state.setup, turn.state.next_pass())
        case Then.END:
            end_setup(turn)
        case Then.CALL:
            advance(turn, after_gate=not move.step)


def halted(turn: Turn, event: Halted) -> None:
    """Its place is known, so it needs no homing: it may go on."""
    move = _under_way(turn.state, event.id)
    if move is None:
        return
    turn.fact(f.CarriageHalted(turn.state.setup, fraction_text(event.reported)))
    propose(turn, move, halted=turn.state.driving.known)


def not_clear(turn: Turn, event: NotClear) -> None:
    _ask_again(turn, event.id, prompt("sled is out"))


def too_old(turn: Turn, event: TooOld) -> None:
    _ask_again(turn, event.id, prompt("too old"))


def _ask_again(turn: Turn, id: str, why: e.Prompt) -> None:
    """Nothing was sent, so it stands where it stood."""
    move = _under_way(turn.state, id)
    if move is not None:
        turn.fact(f.NotSent())
        stands = turn.state.driving
        # It was halted on its way before; from the home switch it has not set out yet.
        halted = stands.known and stands.at is None and stands.reported is not None
        propose(turn, move, why, halted=halted)


def lost(turn: Turn, event: Lost) -> None:
    """Nobody knows where it stands. What was recorded stays; the next pass is not begun before it is homed again."""
    state = turn.state
    if state.job is None or not is_driven(state.job) or state.mode == ENDED_EARLY:
        return
    news = prompt("device", text=event.text)
    turn.fact(f.CarriageLost(state.setup, event.why, event.text))
    move = state.driving.move
    if state.mode in (HOMING, MOVING, MOVE_ASKED, HALTED) and move is not None:
        if state.question:
            turn.fact(f.Dropped())
        propose(turn, Move(MoveKind.HOME, move.then, state.setup), news)
    elif state.question and state.question.name == QuestionName.REGISTERED:
        # The work can't be tried where nobody knows that the carriage stands.
        turn.fact(f.Dropped())
        propose(turn, Move(MoveKind.HOME, Then.CLAMPED, state.setup), news)
    # A pass may be under way, and a voice in mid-push startles: it is spoken at the next answer.
    elif state.quiet:
        turn.show(news)
        turn.fact(f.NoticeHeld(DeviceName.CARRIAGE, event.text))
    elif state.mode != FINISHED:
        turn.add_notice(news)


def halt(turn: Turn, answer: Answer) -> None:
    turn.effect(e.Halt())


def refuse_while_moving(turn: Turn, answer: Answer) -> None:
    """A press that halts answers nothing else."""
    turn.show(prompt("moving"), Klass.REFUSED)
