"""The checks in effect on a machine: the default ones, and what the shop file makes of them.

The shop file adds checks, sets the words and the `when` of default ones ([[checks]]), reorders
(`checks_order`) and removes (`checks_off`). Those in `FIXED` stay as they are.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import Enum, auto
from string import Formatter
from typing import Any, NamedTuple

from assistant.joinery.model import Carriage, Pattern, Register
from assistant.plans.document import shown
from assistant.plans.intents import Intent
from assistant.plans.languages import Language, language_of
from assistant.plans.model import Check, Job, VoiceSettings, When
from assistant.plans.own_phrases import SAY_OTHERWISE, dangerously_alike, phrases_of, sounds_like
from assistant.plans.reader import Table, nearest
from assistant.plans.sayable import mend_for, one_begins_the_other, wrong_with

MOST_CHECKS = 50
# As many as a job may have passes (`joinery.passes.MOST_PASSES`).
MOST_EVERY = 20_000
FIGURES = ("lowest", "highest", "depth", "above", "sockets")
WHEN = (When.SESSION, When.SETUP, When.DEPTH, When.PART, When.STAGE, When.SETUP_END)
"""What a shop file can give, beside "every n"."""
CLAMPS, GUARD, CLAMPS_AND_GUARD = "clamps", "guard", "clamps and guard"
CARRYING_ON, SAW_OFF, BOARD_OUT = "carrying on", "saw off", "board out"
PIECE_CHECK = "distance piece"
FIXED = {
    CLAMPS: When.SETUP,
    GUARD: When.SETUP,
    CLAMPS_AND_GUARD: When.SETUP,
    CARRYING_ON: When.STANDING_BY,
    SAW_OFF: When.SETUP_END,
    BOARD_OUT: When.LEAVING,
    PIECE_CHECK: When.PIECE,
}
"""Checks that no shop file can remove, and when each is asked. Without a distance piece there is no check of it."""
GONE = {"hold-down": "it is part of the clamps question"}
"""Former checks, and what has become of each."""
BLADE_HEIGHT, BACKING = "blade height", "backing"
BAR_CHECK = "setting bar out"
GLUE_CHECK = "glue dry and trimmed"
ZERO_CHECK = "zero"
EDGE_AND_FACE = "edge and face"
EDGE_AND_FACE_SAY = "{way}?"
GUARD_SAY = "guard for this cut fitted: {}?"
GUARD_DEFAULT = "blade boxed in where it comes out behind the backing"
# What the blade sweeps, with a margin above it; on a narrow board there may be no place for a clamp but above it.
KEEP_CLEAR_SAY = "keep clear: {lowest} to {highest}, up to {above} above the bed."


class After(Enum):
    """What makes a check due again, whatever its `when` says."""

    INTERRUPTED = auto()
    """The session was left and resumed: anybody can have been at the saw."""
    CARRIED_ON = auto()
    """The session stood by, and goes on."""
    CLAMPED_AGAIN = auto()
    """The work has been out of its clamps, or can have been."""
    TAKEN_BACK = auto()
    """A pass of this setup no longer counts as cut."""
    ALL_WAS_CUT = auto()
    """The last pass no longer counts as cut: the saw had to be switched off and the work looked at."""
    STAGE_BEFORE = auto()
    """The session went back from a later stage to an earlier one, for a board that joined since."""
    HANDS_IN = auto()
    """Hands were at the work and near the blade, so clamps can be loose and the guard can be off."""
    BLADE_MOVED = auto()
    """The blade was raised, lowered or knocked."""
    BLADE_FITTED = auto()
    """A blade was put on the saw, be it the one that was on before. Its teeth may reach elsewhere."""
    OTHER_BLADE = auto()
    """Another blade stays on the saw, and the backing has the old one's kerfs."""
    CARRIAGE_MOVED = auto()
    """The carriage, its stop or its motor may not stand where its reading says."""
    FACE_SPOILT = auto()
    """Fingers chipped where the blade comes out, so the face behind them no longer supports the wood."""


@dataclass(frozen=True, slots=True)
class _Row:
    """A default check.

    say: the whole question, as it is shown, and said on "say again". aloud: what is said else, "" for the whole
    question. It is short, since it is heard at every setup, and it leaves out nothing that must be done. again_after:
    what makes the check due again, beside what goes with its `when`. confirms: other checks that its answer confirms.
    takes_the_place_of: checks that it asks in one question where all of them are due; it is due only with them.
    """

    name: str
    say: str
    when: When
    aloud: str = ""
    again_after: frozenset[After] = frozenset()
    confirms: tuple[str, ...] = ()
    takes_the_place_of: tuple[str, ...] = ()


_AGAIN_AFTER = {
    When.SETUP: frozenset({After.CLAMPED_AGAIN}),
    When.SETUP_END: frozenset({After.TAKEN_BACK}),
    # It was confirmed for other boards, whose glue was dry.
    When.STAGE: frozenset({After.STAGE_BEFORE}),
}
_AS_LEFT = frozenset({After.INTERRUPTED, After.HANDS_IN})
"""What somebody can have changed at the work meanwhile."""

# In the order they are asked. Hold-down: the trailing end of a piece lifts as it leaves the cut, even when it is
# clamped firmly (common practice, no source). Clamps and guard are one question where the guard has been confirmed
# before for this depth: the fewer the questions, the better each is heard. Clamps just confirmed are tight still, so
# nothing asks whether they are. What to keep clear is said with the board to clamp, so the short question needn't.
#
# Beside `FIGURES`, only these questions have: {way} and {short_way}, how the board is held, which depends on its end;
# {count}, how many sockets or slots there are, without the word; {piece} and {short_piece}, what is asked about the
# distance piece, which depends on the half that is cut.
_ASKED = (
    # Where it is asked it decides whether there is anything to clamp.
    _Row(
        GLUE_CHECK,
        "glue dry overnight and scraped off, ends trimmed flush?",
        When.STAGE,
        "glue dry, scraped off and trimmed flush?",
    ),
    # Before the next two: zero is set against the piece, and the board is clamped against it.
    _Row(
        PIECE_CHECK,
        "{piece}?",
        When.PIECE,
        "{short_piece}?",
        frozenset({After.INTERRUPTED, After.CLAMPED_AGAIN}),
    ),
    # In the second half it is asked in other words: zero belongs to the edge with the piece in (`wording.halves`).
    _Row(
        ZERO_CHECK,
        "carriage zeroed to the reference edge?",
        When.SESSION,
        again_after=frozenset({After.CARRIAGE_MOVED, After.BLADE_FITTED}),
    ),
    _Row(EDGE_AND_FACE, EDGE_AND_FACE_SAY, When.SETUP, "{short_way}?"),
    _Row(BAR_CHECK, "setting bar out of its slot?", When.SETUP),
    _Row(
        CLAMPS,
        f"{KEEP_CLEAR_SAY} Clamps, screws and stop all outside and tight, trailing end held down?",
        When.SETUP,
        "clamped tight and clear and held down?",
        _AS_LEFT,
        confirms=(CARRYING_ON,),
    ),
    _Row(GUARD, GUARD_SAY.format(GUARD_DEFAULT), When.SETUP, "guard for this cut fitted?", _AS_LEFT),
    _Row(
        CLAMPS_AND_GUARD,
        f"{KEEP_CLEAR_SAY} Clamped tight and clear, trailing end held down, guard on?",
        When.SETUP,
        "tight and clear, held down, guard on?",
        confirms=(CLAMPS, GUARD, CARRYING_ON),
        takes_the_place_of=(CLAMPS, GUARD),
    ),
    _Row(
        CARRYING_ON,
        "saw off? Clamps still tight, guard on?",
        When.STANDING_BY,
        "saw off, clamps tight, guard on?",
        frozenset({After.CARRIED_ON, After.ALL_WAS_CUT}),
    ),
    _Row(
        BLADE_HEIGHT,
        "blade set to {depth} above the bed the board stands on?",
        When.DEPTH,
        "blade at {depth}?",
        frozenset({After.INTERRUPTED, After.BLADE_MOVED, After.BLADE_FITTED}),
    ),
    _Row(
        BACKING,
        "fresh backing face behind the cut?",
        When.PART,
        again_after=frozenset({After.FACE_SPOILT, After.OTHER_BLADE}),
    ),
    _Row(
        SAW_OFF,
        "saw off. When the blade has stopped, count {sockets}.",
        When.SETUP_END,
        "saw off and stopped? Count {count}.",
    ),
    _Row(
        BOARD_OUT,
        "saw off. When the blade has stopped, take this board out. Is it out?",
        When.LEAVING,
        "saw off and stopped, board out?",
    ),
)
_ROWS = {row.name: row for row in _ASKED}
# As the default asks for it, whatever the shop file says is fitted.
_ASKS_FOR_GUARD = re.compile(re.escape(GUARD_SAY).replace(r"\{\}", r"[^?]+"))


def again_after(check: Check) -> frozenset[After]:
    """What makes this check due again whatever its `when` says, a default one or the shop's own."""
    row = _ROWS.get(check.name)
    # Due only where those it stands for are, so they alone have reasons to be asked again.
    if row and row.takes_the_place_of:
        return frozenset()
    return _AGAIN_AFTER.get(check.when, frozenset()) | (row.again_after if row else frozenset())


def covered_by(name: str) -> tuple[str, ...]:
    """The checks that an answer to this one confirms: itself, and those that go with it."""
    row = _ROWS.get(name)
    return (name, *row.confirms) if row else (name,)


def aloud(name: str, say: str) -> str:
    """The short question of a default check, to be said; `say` where a check asks something of its own.

    A stored session says what it stored, where the default question has another wording by now.
    """
    row = _ROWS.get(name)
    if row is None or not row.aloud or not (say == row.say or (name == GUARD and _ASKS_FOR_GUARD.fullmatch(say))):
        return say
    return row.aloud


def asks_way(checks: Sequence[Check]) -> bool:
    """Whether a check says how the board is held: its edge against what, and which face against the backing."""
    return any(check.name == EDGE_AND_FACE and check.say == EDGE_AND_FACE_SAY for check in checks)


def asks_keep_clear(checks: Sequence[Check]) -> bool:
    """Whether clamps are asked about, aloud, with what to keep clear of the blade."""
    asked = [aloud(check.name, check.say) for check in checks if check.name in (CLAMPS, CLAMPS_AND_GUARD)]
    return all("{lowest}" in say and "{highest}" in say for say in asked)


def default_checks(language: Language) -> tuple[Check, ...]:
    """Every default check, in order, confirmed in this language."""
    return tuple(Check(row.name, row.say, language.answers[row.name], row.when) for row in _ASKED)


def with_fixed(checks: Sequence[Check], language: Language) -> tuple[Check, ...]:
    """The checks of a session stored before some of the fixed ones existed, with those added at the end."""
    names = {check.name for check in checks}
    fixed = FIXED.keys() - {PIECE_CHECK}  # no such session had a piece
    missing = [check for check in default_checks(language) if check.name in fixed and check.name not in names]
    return (*checks, *missing)


DEFAULT_CHECKS = default_checks(language_of("en"))


def figures_of(job: Job, pattern: Pattern) -> dict[str, Any]:
    """What `FIGURES` stand for while `pattern` is cut, mm, exact; wording rounds them away from the blade.

    lowest, highest: how far off the reference edge the outermost kerfs begin and end; where another blade has begun the
    end, also its kerfs, since the still blade may be tried in one. depth: of the cut. above: how far above the bed
    clamps, screws, hold-down and stop stay clear. sockets: how many are finished once it is cut, those of an earlier
    clamping or blade included. begun: 1 if it leaves one cut only in part, else 0.
    """
    passes, sockets = pattern.passes, pattern.sockets
    if pattern.is_rest:
        passes = tuple(sorted((*pattern.before, *passes), key=lambda each: each.kerf_to))
    # Sockets are cut from the reference edge on, so all before the last are finished; the rest from the other edge.
    last = passes[-1].socket
    begun = max(each.kerf_to for each in passes) < sockets[last - 1].end
    return {
        "lowest": min(each.kerf_from for each in passes),
        "highest": max(each.kerf_to for each in passes),
        "depth": pattern.depth,
        "above": pattern.depth + job.clear_above,
        "sockets": len(sockets) if pattern.mirrored else last - begun,
        "begun": int(begun and not pattern.mirrored),
    }


def read_checks(root: Table, carriage: Carriage, voice: VoiceSettings) -> tuple[Check, ...]:
    """The checks of a shop file, in order, faults noted.

    carriage: only one with register = "setting bar" has the setting-bar check, and only one with a distance piece has
    that check. voice: its language, its lead-in word and its phrases, none of which an answer may be like.
    """
    guard = root.table("guard")
    fitted = guard.text("fitted", GUARD_DEFAULT)
    guard.close()
    if fitted and ("{" in fitted or "}" in fitted):
        guard.fault("fitted", "must hold no braces", "write it in plain words", fitted)
        fitted = GUARD_DEFAULT
    checks = [
        replace(check, say=GUARD_SAY.format(fitted)) if check.name == GUARD else check
        for check in default_checks(language_of(voice.language))
        if check.name not in _NEEDS or _NEEDS[check.name].there(carriage)
    ]
    _own(root, checks, carriage, voice)
    ordered = _ordered(root, checks)
    off = _off(root, checks)
    return tuple(check for check in ordered if check.name not in off)


class _Need(NamedTuple):
    """What a carriage must have for a check to make sense. there: whether it has it. mend: how a shop file gives it."""

    there: Callable[[Carriage], bool]
    what: str
    mend: str


_BAR = _Need(lambda one: one.register == Register.SETTING_BAR, "a setting bar", 'set carriage.register = "setting bar"')
_PIECE = _Need(lambda one: one.distance_piece is not None, "a distance piece", "give carriage.distance_piece")
_NEEDS = {BAR_CHECK: _BAR, PIECE_CHECK: _PIECE}


def _own(root: Table, checks: list[Check], carriage: Carriage, voice: VoiceSettings) -> None:
    named: set[str] = set()
    for table in root.tables("checks", MOST_CHECKS):
        name = table.text("name", required=True, most=40)
        if name is None:
            table.skip()
        elif name in named:
            table.fault("name", "names a check a second time", "give each check its own name", name)
        elif name in GONE:
            table.fault("name", "is no longer a check", f"leave this table out: {GONE[name]}", name)
            table.skip()
        elif name in _NEEDS and not _NEEDS[name].there(carriage):
            need = _NEEDS[name]
            table.fault("name", f"is a check for {need.what} only", f"{need.mend}, or leave this check out", name)
            table.skip()
        else:
            named.add(name)
            _one(table, name, checks, voice)
        table.close()


def _one(table: Table, name: str, checks: list[Check], voice: VoiceSettings) -> None:
    place = next((n for n, check in enumerate(checks) if check.name == name), None)
    known = checks[place] if place is not None else None
    say = _say(table, known)
    answer = _answer(table, known, voice, [check for check in checks if check.name != name])
    when, every = _when(table, name, known)
    if say is None or answer is None:
        return
    check = Check(name, say, answer, when, every)
    if place is None:
        checks.append(check)
    else:
        checks[place] = check


def _say(table: Table, known: Check | None) -> str | None:
    say = table.text("say", known.say if known else None, required=known is None, most=200)
    if say is not None and table.has("say") and not _fills(say):
        mend = "use {lowest}, {highest}, {depth}, {above} and {sockets} only, and no other braces"
        table.fault("say", "holds a figure we can't fill in", mend, say)
        return known.say if known else None
    return say


def _fills(say: str) -> bool:
    try:
        parts = list(Formatter().parse(say))
    except ValueError:
        return False
    # A doubled brace parses to one brace of literal text, which no voice can say.
    if any("{" in literal or "}" in literal for literal, *_ in parts):
        return False
    return all(name is None or (name in FIGURES and not spec and not turn) for _, name, spec, turn in parts)


def _answer(table: Table, known: Check | None, voice: VoiceSettings, others: Sequence[Check]) -> str | None:
    mend = "give a phrase of five syllables or more, of ordinary words"
    answer = table.text("answer", known.answer if known else None, required=known is None, mend=mend)
    # A default answer was judged when its language was read (`plans.languages`).
    if answer is None or not table.has("answer"):
        return answer
    answer = answer.lower()
    what = _wrong_with(answer, voice, others)
    alike = None if what else _sounds_like(answer, voice)
    if what or alike:
        mend = mend_for(answer, voice.lead_in, mend) if what else SAY_OTHERWISE
        table.fault("answer", what or alike or "", mend, answer)
        return known.answer if known else None
    return answer


def _wrong_with(answer: str, voice: VoiceSettings, others: Sequence[Check]) -> str | None:
    what = wrong_with(answer, voice.language, voice.lead_in)
    if what:
        return what
    if any(one_begins_the_other(answer, phrase) for texts in phrases_of(voice).values() for phrase in texts):
        return "is like a phrase that means something else"
    mishaps = language_of(voice.language).mishaps
    mishap = next((mishap for mishap, phrase in mishaps.items() if one_begins_the_other(answer, phrase)), None)
    if mishap:
        return f"is like the phrase of the mishap {shown(mishap)}"
    rival = next((check for check in others if one_begins_the_other(answer, check.answer)), None)
    return f"is like the answer of the check {shown(rival.name)}" if rival else None


def _sounds_like(answer: str, voice: VoiceSettings) -> str | None:
    language = language_of(voice.language)
    said = [(intent, text, str(intent)) for intent, texts in phrases_of(voice).items() for text in texts]
    said += [(Intent.MISHAP, text, str(mishap)) for mishap, text in language.mishaps.items()]
    for intent, text, of in said:
        if dangerously_alike((Intent.CHECK, answer), (intent, text), language, voice.pronunciations):
            return sounds_like(text, of)
    return None


def _when(table: Table, name: str, known: Check | None) -> tuple[When, int]:
    default = (known.when, known.every) if known else (When.SETUP, 0)
    raw = table.text("when")
    if raw is None or (name in FIXED and raw == FIXED[name]):
        return default
    if name in FIXED:
        table.fault("when", f"can't be changed for {name}", f'it is always "{FIXED[name]}"; leave this out', raw)
        return default
    if raw in WHEN:
        return When(raw), 0
    every = re.fullmatch(r"every (\d{1,5})", raw)
    if every and 1 <= int(every[1]) <= MOST_EVERY:
        return When.EVERY, int(every[1])
    mend = f'give one of {", ".join(WHEN)}, or "every n" with n passes from 1 to {MOST_EVERY:,}'
    table.fault("when", "is not a time to ask a check", mend, raw)
    return default


def _ordered(root: Table, checks: Sequence[Check]) -> list[Check]:
    """Those named in `checks_order` first, in that order, then the others in theirs."""
    order = _known_names(root, "checks_order", checks)
    named = {check.name: check for check in checks}
    return [named[name] for name in order] + [check for check in checks if check.name not in order]


def _off(root: Table, checks: Sequence[Check]) -> list[str]:
    off = _known_names(root, "checks_off", checks)
    for name in off:
        if name in FIXED:
            kept = ", ".join(fixed for fixed in FIXED if any(check.name == fixed for check in checks))
            root.fault("checks_off", "can't remove this check", f"leave it out: {kept} are always asked", name)
    return off


def _known_names(root: Table, key: str, checks: Sequence[Check]) -> list[str]:
    names = [*(check.name for check in checks), *_NEEDS]
    found: list[str] = []
    for name in root.names(key):
        if name in GONE:
            root.fault(key, "is no longer a check", f"leave it out: {GONE[name]}", name)
        elif name not in names:
            near = nearest(name, names)
            mend = f'did you mean "{near}"?' if near else f"the checks are: {', '.join(dict.fromkeys(names))}"
            root.fault(key, "is not a default check", mend, name)
        elif name in found:
            root.fault(key, "names a check twice", "name it once", name)
        elif any(check.name == name for check in checks):
            found.append(name)
    return found
