"""The words under the big letters: what to set, what is asked, what to clamp, and what the session began with."""

from __future__ import annotations

import re
from dataclasses import dataclass

from assistant.joinery.settings import reading
from assistant.plans.checks import CLAMPS, CLAMPS_AND_GUARD
from assistant.plans.model import Job
from assistant.screens.view_cells import BOLD, MAGENTA, cut_to, width, wrapped
from assistant.screens.view_sight import Sight
from assistant.session.effects import View
from assistant.session.state import CHECKS, CUTTING, ENDED_EARLY, FINISHED, QUESTION, STANDING_BY
from assistant.wording import dial
from assistant.wording.prompts import Words

Line = tuple[str, int]  # text and style
UNITS = {"steps": "steps"}
"""What a setting is counted in, for this carriage kind; otherwise its unit."""


@dataclass(frozen=True, slots=True)
class WordLines:
    """The words to show.

    required: lines that are shown whole before anything else gets more than it needs. optional: as room allows; each
    text of the log with its lines, the most important first.
    """

    required: tuple[Line, ...] = ()
    optional: tuple[tuple[str, tuple[Line, ...]], ...] = ()

    @property
    def lines(self) -> tuple[Line, ...]:
        return (*self.required, *(line for _, lines in self.optional for line in lines))

    def texts(self, rows: int) -> set[str]:
        """The texts of `optional` that fit whole in so many rows, so that the log can leave them out."""
        whole, used = set(), len(self.required)
        for text, lines in self.optional:
            used += len(lines)
            if used <= rows:
                whole.add(text)
        return whole

    def in_rows(self, rows: int, columns: int) -> tuple[Line, ...]:
        """As many lines as fit; the last shows that there is more."""
        if len(self.lines) <= rows or rows <= 0:
            return self.lines[: max(0, rows)]
        *kept, (text, style) = self.lines[:rows]
        return (*kept, (f"{cut_to(text, columns - 2)} …", style))


HINTS = {
    CUTTING: "tap: pass cut, call next   double tap: say again   long press: stand by",
    CHECKS: "long press: confirmed   tap: say again",
    QUESTION: "long press: yes   double tap: no",
    STANDING_BY: "long press: carry on   double tap: where we are",
    FINISHED: "q: leave   double tap: say again",
    ENDED_EARLY: "q: leave",
}
GAP = "   "  # between two hints; screens with less room split the hints there


def hint_of(view: View, keys: bool) -> str:
    """What each gesture does in this mode, between gaps. keys: whether the terminal's keys are read."""
    hints = HINTS.get(view.mode, "").split(GAP)
    return GAP.join(hint for hint in hints if keys or not hint.startswith("q:"))


def zone_of(view: View, words: Words) -> tuple[str, ...]:
    """What the open check wants kept clear of the blade, in capitals, a line each; () if it is about something else.

    A range alone looks like where the clamps go, so it is never shown without these words and its height.
    """
    if view.mode != CHECKS or view.asked is None:
        return ()
    figures = dict(view.asked.figures)
    asks_for_it = all(name in figures["say"] for name in ("{lowest}", "{highest}"))
    if not asks_for_it and view.check not in (CLAMPS, CLAMPS_AND_GUARD):
        return ()
    reach, above = (unbroken(text.upper()) for text in Words(words.job, figures=True).keep_clear(figures))
    return "KEEP CLEAR", reach, f"BELOW {above}"


def unbroken(figure: str) -> str:
    """Joins a whole number and its fraction: without a hyphen, "3 3/16" in big letters would read 33/16."""
    return re.sub(r"(?<=\d) (?=\d+/\d)", "-", figure)


def which_of(job: Job, number: int) -> str:
    """Which of several equal boards setup `number` cuts: "2 of 4", "1 to 3 of 4 together"; "" if there is only one."""
    setup = job.setups[number - 1]
    of = max(s.first_copy + s.copies - 1 for s in job.setups if (s.board, s.part) == (setup.board, setup.part))
    last = setup.first_copy + setup.copies - 1
    if of == 1:
        return ""
    return f"{setup.first_copy} of {of}" if setup.copies == 1 else f"{setup.first_copy} to {last} of {of} together"


def word_lines(sight: Sight, room: int) -> WordLines:
    """The words for a sight that has a view. room: columns, 1 or more."""
    view, words = sight.view, sight.words
    assert view is not None and words is not None
    optional: list[tuple[str, tuple[Line, ...]]] = []
    if view.mode == CHECKS and sight.clamp:
        optional.append((sight.clamp, _plain(sight.clamp, room)))
    for entry in sight.opening:
        broken = wrapped(entry.text, room - 3)  # beside the two characters of its mark and a space
        marked = tuple((f"{entry.mark if n == 0 else '  '} {line}", 0) for n, line in enumerate(broken))
        optional.append((entry.text, marked))
    return WordLines(tuple(_required(sight, view, words, room)), tuple(optional))


def asked_with(sight: Sight) -> tuple[str, str]:
    """What is asked, and what was said before it: how a resumed session begins, or a notice that was kept back."""
    view, words = sight.view, sight.words
    if view is None or words is None or not view.asked:
        return "", ""
    asked = words.shown((view.asked,))
    return (sight.asking.removesuffix(asked).strip() if sight.asking.endswith(asked) else ""), asked


def _required(sight: Sight, view: View, words: Words, room: int) -> list[Line]:
    if view.mode == CUTTING and view.pass_:
        return [*_setting(view, words, room), *_plain(sight.setting, room)]
    if view.mode in (FINISHED, ENDED_EARLY):
        return list(_plain(sight.closing, room))
    if not view.asked:
        return []
    before, asked = asked_with(sight)
    return [*_plain(before, room), *((line, BOLD) for line in wrapped(asked, room))]


def _plain(text: str, room: int) -> tuple[Line, ...]:
    return tuple((line, 0) for line in wrapped(text, room)) if text else ()


def _setting(view: View, words: Words, room: int) -> list[Line]:
    carriage, approach = words.carriage, view.approach
    direct = approach is None or approach == view.previous
    target, unit = reading(carriage, view.setting), UNITS.get(carriage.kind, carriage.unit)
    if dial.has_dial(carriage):
        call = words.shown_call(view.setting, view.previous, approach)
        text = call if direct else f"FIRST {call}"
    elif direct:
        text = f"set {target} {unit}"
    else:
        first, last = dial.ways(view.previous, approach, view.setting)
        onward = "on " if first == last else ""
        text = f"FIRST {first.upper()} TO {reading(carriage, approach)}, then {onward}{last} to {target} {unit}"
    text = f"{text}   pass {view.pass_} of {view.passes}"
    style = BOLD if direct else BOLD | MAGENTA
    # Wrapping would close up the gap before the pass, so a text that fits is not wrapped.
    return [(text, style)] if width(text) <= room else [(line, style) for line in wrapped(text, room)]
