"""What is said when something went wrong: the questions, what to do, and how work that may have moved is tried.

As in `prompts`, which takes these in. What to do is common practice, no source. Whatever has a hand near the blade
begins with the saw off and isolated.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import Protocol

from assistant.joinery.halves import Half
from assistant.joinery.misplaced import Thinned
from assistant.joinery.model import Carriage, HomeKind, Register
from assistant.joinery.units import Unit
from assistant.plans.mishaps import Mishap
from assistant.plans.pieces import BLANK
from assistant.session.kinds import Misheard, ToMove
from assistant.session.slip import Meets
from assistant.wording import drive
from assistant.wording.halves import edge_at_stop, to_the_stop
from assistant.wording.joining import MOST_NAMED, YES_NO, Figures, listed, sentence
from assistant.wording.rework import board_of


class MishapWords(drive.DriveWords, Protocol):
    """What these sentences need of `prompts.Words`."""

    carriage: Carriage

    def depth(self, mm: Fraction) -> str: ...

    def exactly(self, mm: Fraction) -> str: ...

    def move(self, figures: Figures) -> str: ...


_FITTED = "Fitted as the saw's manual says, and turned once by hand, touching nothing? Saw still isolated, plug out?"
BACK = "Saw off, blade stopped, sled drawn right back, saw isolated, plug out?"
_SAFE: dict[Mishap, str] = {
    Mishap.JAMMED: (
        "Switch the saw off and keep the sled where it is: don't draw it back. Blade stopped, saw isolated, plug out?"
    ),
    Mishap.TRIPPED: (
        "Put the saw's switch to off and keep the sled where it is. Blade stopped, saw isolated, plug out?"
    ),
    Mishap.LOOSE: "Don't reach for it. Saw off, blade stopped, saw isolated, plug out?",
    Mishap.BUMPED: f"Leave the carriage as it stands. {BACK}",
    Mishap.OVERSHOT: "Is the wood there still uncut?",
    Mishap.KERF: "Is that so?",
    Mishap.BLADE: _FITTED,
}
"""What comes after the mishap's name, where it isn't `BACK`."""

_THIS_SESSION = (
    "A new kerf counts for this session only: for the next, write it into the shop file or calibrate the kerf."
)
_CARDS: dict[Mishap, str] = {
    Mishap.SHALLOW: (
        "With the plug still out, raise the blade to {depth} above the bed, measured at the tooth that stands highest."
    ),
    Mishap.DEEP: (
        "From now on the blade must stand {depth} above the bed. With the plug still out, measure it at the tooth that "
        "stands highest."
    ),
    Mishap.MISSED: "That pass is called next.",
    Mishap.OVERSHOT: "The same setting is called next. Come up to it from below.",
    Mishap.JAMMED: (
        "Plug still out, turn the blade backwards with a piece of wood, not with your fingers, until it is free. If it "
        "won't turn, ease the clamps. Only then draw the sled back. Look for a kerf that has closed, a blunt or bent "
        "blade, and a sled that is off its line."
    ),
    Mishap.TRIPPED: (
        "Plug still out, draw the sled back; if it won't come, report that the work has jammed. Reset the breaker only "
        "with the saw's switch at off. Later, start the saw with the wood clear of the blade, and feed more slowly. If "
        "it trips again, have an electrician look at the saw and its circuit."
    ),
    Mishap.LOOSE: (
        "Push the piece away with a stick, never with your fingers, and draw the sled right back. See where the piece "
        "came from."
    ),
    Mishap.DUST: "Brush it away, under the board as well, and from the sled's runners. Don't blow it.",
    Mishap.CUPPED: "A cupped board rocks, and closes on the blade. Clamp it flat to the backing over its whole width.",
    Mishap.CHIPPED: (
        "Put a fresh face of the backing behind the cut. Keep the chip, and glue it back once the board is cut."
    ),
    Mishap.SWAPPED: "Mark this board as {board}, and give its old name to the one whose place it takes.",
    Mishap.KERF: f"{_THIS_SESSION} If the board was out of its clamps for that, report that it has slipped.",
    Mishap.BLADE: (
        "Before you go on, cut a test kerf in an offcut, clamped and with the guard on, and measure it. If it isn't "
        f"the kerf that you gave, report the other blade again. {_THIS_SESSION}"
    ),
    Mishap.BREAK: (
        "Leave zero and clamps alone, and the blade too, unless the saw's manual has you lower it. When you carry on, "
        "you are asked what was touched."
    ),
}
_HOME_OF_ANOTHER_BLADE = (
    "The home switch still gives the old blade's zero, and this one's may lie elsewhere: leave the session, write the "
    "new kerf into the shop file, run kerfcall calibrate zero, and resume."
)
_LOWER = "With the plug still out, lower the blade to {depth} above the bed, measured at the tooth that stands highest."
_STILL_TO_CUT = "The right cut is still to be made."
_STRIP = (
    "Once the board is cut, make good what was lost with a strip of the same wood, its grain running the same way, and "
    "trim it when the glue is dry."
)
_TRIED_NEXT = "Leave the plug out: when you carry on, the work is tried against the still blade."
_PUT_NEXT = "Leave the plug out: when you carry on, the board is put to the stop and clamped as if it were new."


def _next(words: MishapWords, figures: Figures) -> str:
    is_over, bumped = figures.get("is_over"), figures["mishap"] == Mishap.BUMPED
    if figures["tried"]:
        return _TRIED_NEXT
    if bumped:
        when = "Before the next board" if is_over else "When you carry on"
        return f"{when}, the carriage is {'homed' if words.carriage.drive else 'zeroed'}."
    return "" if is_over else _PUT_NEXT


def _card(words: MishapWords, figures: Figures) -> str:
    mishap = figures["mishap"]
    board = board_of(words, figures["setup"], ended=False)
    to_lower = mishap == Mishap.DEEP and not figures["cut_so"]
    card = (_LOWER if to_lower else _CARDS.get(mishap, "")).format(depth=words.depth(figures["depth"]), board=board)
    if mishap == Mishap.MISPLACED:
        card = " ".join([_STILL_TO_CUT] * figures["to_cut"] + [_STRIP] * figures["lost"])
    if mishap == Mishap.BLADE and words.carriage.drive and words.carriage.drive.home == HomeKind.SWITCH:
        card = f"{card} {_HOME_OF_ANOTHER_BLADE}"
    if mishap in (Mishap.SLIPPED, Mishap.BUMPED, Mishap.DUST, Mishap.CUPPED, Mishap.CHIPPED):
        card = f"{card} {_next(words, figures)}".strip()
    return card


def _ask_safe(words: MishapWords, figures: Figures) -> str:
    mishap = figures["mishap"]
    reported = "You reported this before the interruption. " if figures.get("recalled") else ""
    return f"{reported}{sentence(mishap.means)} {_SAFE.get(mishap, BACK)} {YES_NO}"


def _ask_sure(words: MishapWords, figures: Figures) -> str:
    reported = f"{sentence(figures['mishap'].means)} " if figures.get("recalled") else ""
    pass_ = words.count(figures["pass_"])
    if figures["mishap"] == Mishap.DUST:
        # Nobody sees when it came; where a cut lies can be measured.
        return f"{reported}Does the cut of pass {pass_} lie where it should? {YES_NO}"
    return f"{reported}Was pass {pass_} cut before that, and is it good? {YES_NO}"


def _ask_which(words: MishapWords, figures: Figures) -> str:
    if figures["mishap"] == Mishap.SWAPPED:
        board = board_of(words, figures["setup"], ended=False)
        return (
            f"Is it {board}{',' * (', ' in board)} into which something is cut already, so that it is spoilt? {YES_NO}"
        )
    called = ", the one called now" if figures["called"] else ""
    return f"Was it pass {words.count(figures['pass_'])}{called}? {YES_NO}"


def _fine(words: MishapWords) -> bool:
    return words.carriage.unit == Unit.MM


def _ask_figure(words: MishapWords, figures: Figures) -> str:
    """What is asked for, or the figure so far, which can be tapped on or answered."""
    mishap, figure = figures["mishap"], figures["figure"]
    so_far = "Tap to add one, long press if that is right."
    if mishap in (Mishap.KERF, Mishap.BLADE):
        steps = "hundredths of a millimetre" if _fine(words) else "thousandths of an inch"
        kerf = f"Kerf {words.exactly(figures['kerf'])}? "
        if mishap == Mishap.BLADE and figures["kerf"] == figures["was"]:
            kerf += "If it isn't measured yet, give the width printed on the blade. "
        if mishap == Mishap.BLADE:
            so_far = "Tap to add one, long press if that is right, double tap if the old blade is back on."
        return f"{kerf}Say: the figure is, and its digits, in {steps}. {so_far}"
    if mishap == Mishap.MISSED:
        if figure:
            return f"Pass {words.count(figure)}? {so_far}"
        return "Which pass was missed? Say: the figure is, and its digits; or tap up to it."
    if figure:
        return f"{sentence(words.length(figures['off_by' if mishap == Mishap.MISPLACED else 'proud']))} {so_far}"
    steps = "tenths of a millimetre" if _fine(words) else "hundredths of an inch"
    asks = "How far is it off" if mishap == Mishap.MISPLACED else "How much too deep are they"
    return f"{asks}, in {steps}? Say: the figure is, and its digits; or tap once for each."


def _ends(words: MishapWords, setups: tuple[int, ...]) -> str:
    """Which ends, or which slotted boards, are meant: named where they are few."""
    # Slots of a board that were planned with different depths have setups of their own.
    names = list(dict.fromkeys(board_of(words, number) for number in setups))
    if len(names) > 3:
        return f"{words.count(len(names))} {'boards' if words.job.slotted else 'ends'}"
    return listed(names)


def _ask_verdict(words: MishapWords, figures: Figures) -> str:
    match figures["mishap"]:
        case Mishap.MISPLACED:
            asks = _of_misplaced(words, figures)
        case Mishap.SHALLOW:
            ends, depth = _ends(words, figures["setups"]), words.depth(figures["depth"])
            asks = f"Cut every pass again, with the blade at {depth}: {ends}. Is that right?"
        case Mishap.DEEP:
            asks = _of_too_deep(words, figures)
        case Mishap.MISSED:
            asks = f"Go to pass {words.count(figures['figure'])}, and count it as not cut?"
        case Mishap.KERF | Mishap.BLADE:
            asks = _of_kerf(words, figures)
        case Mishap.CUPPED:
            asks = "Can it be clamped flat to the backing, over its whole width?"
        case Mishap.CHIPPED:
            asks = "Can the finger be mended?"
        case _:
            board = board_of(words, figures["setup"], ended=False)
            asks = (
                f"Is the board in the clamps the same size as {board}{',' * (', ' in board)} and can it take its place?"
            )
    return f"{asks} {YES_NO}"


def _edge(figures: Figures) -> str:
    """The edge from which this clamping is measured, so that near and far are what the operator sees at the saw."""
    return "the edge at the stop" if figures.get("half") == Half.OTHER_EDGE else "the reference edge"


def _of_misplaced(words: MishapWords, figures: Figures) -> str:
    off_by: Fraction = figures["off_by"]
    lost: tuple[Thinned, ...] = figures["thinned"]
    edge = _edge(figures)
    off = f"Off by {words.length(abs(off_by))}, {'nearer to' if off_by < 0 else 'farther from'} {edge}"
    if not lost:
        return f"{off}: no finger has lost anything. Carry on with this board?"
    slots = words.job.slotted
    fingers = [
        f"{_between(words, one.finger) if slots else f'finger {words.count(one.finger)}'} loses "
        f"{words.length(one.lost)} and keeps {words.length(one.left)}"
        for one in lost
    ]
    if figures.get("half") == Half.OTHER_EDGE:
        off = f"{off}; counted from there"
    mate = "" if slots else ", and its mate is as planned"
    if all(one.can_be_filled for one in lost):
        return f"{off}: {listed(fingers)}. A strip glued in can save it{mate}. Carry on with it?"
    if slots:
        return f"{off}: {listed(fingers)}. A strip can't save that. Carry on all the same?"
    return f"{off}: {listed(fingers)}. A strip can't save that; its mate is good. Carry on all the same?"


def _between(words: MishapWords, finger: int) -> str:
    """The wood that a slotted board has in a finger's place."""
    return "the wood before the first slot" if finger == 1 else f"the wood after slot {words.count(finger - 1)}"


def _of_too_deep(words: MishapWords, figures: Figures) -> str:
    proud, depth, setups = words.length(figures["proud"]), words.depth(figures["depth"]), figures["setups"]
    slots, setup = words.job.slotted, words.job.setups[figures["setup"] - 1]
    every = "every slot of this depth" if slots else "every end"
    if slots:
        outcome = [f"What goes into the slots will sit {proud} deeper."]
    elif setup.part.endswith(BLANK):
        every = "every blank"
        seat = "Their tips still seat, and what stands past the board's end is cut off with the blank."
        outcome = [f"The blank's fingers will be {proud} longer. {seat}"]
    elif setup.stage < len(words.job.stages):
        outcome = [f"The lining under the sockets can be {proud} thicker, if the blanks are cut {proud} deeper too."]
    else:
        outcome = [f"The fingers will stand {proud} proud, and the inside will be {proud} shorter at each end."]
    if figures["as_deep"]:
        outcome.append(f"As deep already: {_ends(words, figures['as_deep'])}.")
    if setups:
        outcome.append(f"{sentence(_ends(words, setups)).rstrip('.')} must be cut again, deeper.")
    if figures["stay"]:
        outcome.append(f"Another blade has cut in {_ends(words, figures['stay'])}, and what it cut stays less deep.")
        every = "all the rest"
    return f"{' '.join(outcome)} Cut {every} to {depth}?"


def _as_deep(words: MishapWords, figures: Figures) -> str:
    """All of them: more than a few by their setups' numbers, by which a board can be counted as spoilt."""
    setups = figures["setups"]
    ends = f"setups {listed([words.count(n) for n in setups])}" if len(setups) > 3 else _ends(words, setups)
    boards = {board_of(words, n, ended=False) for n in setups}
    count = "Count that board" if len(boards) == 1 else "Count those boards"
    every = "every slot of this depth" if words.job.slotted else "every end"
    return (
        f"Just as deep, and marked now: {ends}. {count} as spoilt too, or report this again and have {every} cut as "
        "deep."
    )


def _of_kerf(words: MishapWords, figures: Figures) -> str:
    kerf, was = words.exactly(figures["kerf"]), words.exactly(figures["was"])
    change = f"Kerf {kerf}, as before" if figures["kerf"] == figures["was"] else f"Kerf {kerf} instead of {was}"
    if not figures["laid_out"]:
        return f"{change}: nothing has to be laid out again. Is that right?"
    figures_of = "old" if figures["mishap"] == Mishap.KERF else "new"
    out = " This board comes out first." if figures["board_out"] else ""
    return (
        f"{change}: what isn't begun is laid out again, and what is begun is finished by the {figures_of} "
        f"figures.{out} Is that right?"
    )


def _steps_left(words: MishapWords, figures: Figures) -> str:
    """Each where they are few, else how many there are and the highest."""
    steps: tuple[tuple[int, Fraction], ...] = figures["steps"]
    if len(steps) <= MOST_NAMED:
        named = [f"{words.length(size)} in setup {words.count(setup)}" for setup, size in steps]
    else:
        highest = max(size for _, size in steps)
        named = [f"up to {words.length(highest)} in {words.count(len(steps))} setups"]
    sockets = "slots" if words.job.slotted else "sockets"
    return f"The cuts of two blades leave a step in the {sockets}: {listed(named)}."


def _cannot_be(words: MishapWords, figures: Figures) -> str:
    """The figure that was understood, and what shows that it isn't what was meant."""
    size = figures["size"]
    said = f"{sentence(words.length(size)).rstrip('.')} can't be right"
    match figures["why"]:
        case Misheard.NOUGHT:
            return f"{said}: if nothing is wrong, double tap."
        case Misheard.KERF:
            return f"{said} for a kerf." if size else "A kerf of zero can't be right."
        case Misheard.DEPTH:
            return f"{said}: these cuts should be only {words.length(figures['depth'])} deep."
        case Misheard.BLADE:
            highest, depth = words.length(figures["highest"]), words.length(figures["depth"])
            return f"{said}: these cuts should be {depth} deep, and the blade reaches no higher than {highest}."
    pass_, width = words.count(figures["pass_"]), words.length(figures["width"])
    return f"{said}: so far off, pass {pass_} would miss the board, which is {width} wide."


_TRIED = {
    Meets.KERF: "Try the still blade in that kerf, turned by hand: its teeth just pass on both sides.",
    Meets.FAR_WALL: "The still blade just meets that cut's wall away from {edge}.",
    Meets.NEAR_WALL: "The still blade just meets that cut's wall towards {edge}.",
    Meets.EDGE: "Only an edge is cut, no kerf to try: the still blade just meets that cut's shoulder.",
}
"""What shows that the work has not moved, by the place where the blade is tried."""


def _ask_registered(words: MishapWords, figures: Figures) -> str:
    carriage, moved = words.carriage, figures.get("moved")
    bar = ", then put the bar away" if carriage.register == Register.SETTING_BAR else ""
    half = figures.get("half", "")
    stop = to_the_stop(carriage.register, carriage.stop_side, half)
    # The saw comes first: what follows has hands at the blade.
    begin = f"Saw off, isolated, plug out. {edge_at_stop(half).capitalize()} {stop}, and clamp{bar}."
    if "where" not in figures:
        nothing = "The blade can be tried in none of the cuts" if figures["cut_here"] else "No pass is cut yet"
        if half == Half.PIECE_OUT and not figures["cut_here"]:
            return f"{begin} No pass of this half is cut yet: what can be tried comes next. Done? {YES_NO}"
        return f"{begin} {nothing}, so you have only the edge to go by. Done? {YES_NO}"
    tolerance = f"by more than {words.length(figures['tolerance'])}" if figures["tolerance"] else "at all"
    place = f"pass {words.count(figures['tried'])}" if figures["tried"] else "an earlier cut"
    if carriage.drive:
        stands = f"The carriage stands at {place}: leave it there."
    else:
        stands = f"Carriage to {place}: {words.move(figures)}."
    if moved == ToMove.CARRIAGE:
        begin = "Saw off, isolated, plug out. Leave the work clamped."
        reads = words.position(figures["setting"])
        mend = f"draw back, move the carriage, coming up, until it fits, and set the reading there to {reads}"
    else:
        mend = "clamp the work to suit the cut and mark down a problem"
    if moved == ToMove.WORK:
        begin = "Saw off, isolated, plug out."
        mend = "move the work, not the carriage, and clamp it"
    tried = f"{_TRIED[figures['where']].format(edge=_edge(figures))} If it is off {tolerance}, {mend}."
    # Nobody may start the saw, nor a motor move the carriage, with the blade still in the wood.
    return f"{begin} {stands} {tried} Draw right back. Done? {YES_NO}"


SENTENCES: dict[str, Callable[[MishapWords, Figures], str]] = {
    "ask registered": _ask_registered,
    "ask safe": _ask_safe,
    "ask sure": _ask_sure,
    "ask which": _ask_which,
    "ask figure": _ask_figure,
    "ask side": lambda words, figures: f"Does the cut lie nearer to {_edge(figures)} than it should? {YES_NO}",
    "ask verdict": _ask_verdict,
    "as deep": _as_deep,
    "steps left": _steps_left,
    "too high to match": lambda words, figures: (
        f"Nothing else can be cut as deep: the blade reaches no higher than {words.length(figures['highest'])}."
    ),
    "card": _card,
    "figure can't be": _cannot_be,
    "kerf won't do": lambda words, figures: f"{sentence(figures['why'])} {sentence(figures['mend'])}",
    "mishap unsettled": lambda words, figures: (
        f"It was reported that {figures['mishap'].means}, and there are questions left about that."
        " Resume the session first, and answer them."
    ),
}

TEMPLATES: dict[str, str] = {
    "ask what": "What went wrong? Tap to hear one thing after the other; double tap if nothing did.",
    "ask lowered": f"Was the blade's height changed meanwhile? {YES_NO}",
    "ask touched": f"Has anybody touched anything else: work, clamps, carriage or zero? {YES_NO}",
    "ask old blade": f"Is the old blade back on? {_FITTED} {YES_NO}",
    "old kerf counts": "The kerf stays as it was.",
    "tap to choose": "Tap to go through what can go wrong.",
    "no figure yet": "No figure yet.",
    "not reported": "If it did happen, make it safe, and report it again.",
    "another board": (
        "Put that board aside, and have another ready in its own place. The right one is cut next, from its first pass."
    ),
}

STANDS = frozenset({
    "as deep", "steps left", "too high to match", "old kerf counts",
    "kerf won't do", "no figure yet", "another board", "figure can't be", "mishap unsettled",
})  # fmt: skip
"""Prompts that a log keeps whole, as in `prompts.STANDS`."""

RECORDS: dict[str, str | Callable[[MishapWords, Figures], str]] = {
    "ask registered": "Asked: clamped again?",
    "ask what": "Asked: what went wrong?",
    "ask safe": lambda words, figures: f"Asked: {figures['mishap'].means}, and all safe?",
    "ask sure": "Asked: pass {pass_} cut before that?",
    "ask which": lambda words, figures: (
        f"Asked: was it {board_of(words, figures['setup'], ended=False)}?"
        if figures["mishap"] == Mishap.SWAPPED
        else f"Asked: was it pass {figures['pass_']}?"
    ),
    "ask figure": lambda words, figures: f"Asked: the figure, {figures['figure']} so far?",
    "ask old blade": "Asked: is the old blade back on?",
    "ask side": lambda words, figures: f"Asked: nearer to {_edge(figures)}?",
    "ask verdict": lambda words, figures: f"Asked: go on, {figures['mishap'].means}?",
    "ask lowered": "Asked: was the blade's height changed?",
    "ask touched": "Asked: was anything else touched?",
    "card": lambda words, figures: f"What to do was said: {figures['mishap'].means}.",
    "tap to choose": "That was no choice.",
    "not reported": "Not reported.",
}
"""What a log keeps of the others, as in `prompts.RECORDS`."""
