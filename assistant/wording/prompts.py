"""Prompts to sentences, in English. One short function or template for each key."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from fractions import Fraction
from typing import Any

from assistant.plans.model import Job
from assistant.session.effects import Prompt
from assistant.wording.numbers import cardinal, spoken_length, spoken_position, spoken_setting

YES_NO = "Hold for yes, double tap for no."


class Words:
    """Turns prompts into sentences for one job: its carriage, its unit, its way of reading numbers."""

    def __init__(self, job: Job):
        self._job = job
        self.carriage = job.carriage

    def say(self, prompts: Iterable[Prompt]) -> str:
        """The sentences of an announcement, joined. Raises KeyError for a prompt that has no wording."""
        return " ".join(self.one(prompt) for prompt in prompts)

    def one(self, prompt: Prompt) -> str:
        """One prompt as a sentence."""
        figures = dict(prompt.figures)
        template = _TEMPLATES.get(prompt.key)
        if template is not None:
            filled = template.format(**{name: self._figure(value) for name, value in figures.items()})
            return filled[:1].upper() + filled[1:]
        return _SENTENCES[prompt.key](self, figures)

    def _figure(self, value: Any) -> str:
        """Lengths (Fractions, mm) in the carriage's unit, counts in words, names as they are."""
        if isinstance(value, Fraction):
            return self.length(value)
        if isinstance(value, int):
            return cardinal(value)
        return f"{value:g}" if isinstance(value, float) else str(value)

    def _setting(self, setting: Fraction, previous: Fraction | None) -> str:
        words = spoken_setting(self.carriage, self._job.voice.reads, setting, previous)
        return words if self._reads_turns else f"set {words}"

    @property
    def _reads_turns(self) -> bool:
        return self.carriage.kind == "handwheel" and self._job.voice.reads in ("digits", "turns")

    def position(self, setting: Fraction) -> str:
        """Where the carriage stands at `setting`, in words."""
        return spoken_position(self.carriage, self._job.voice.reads, setting)

    def length(self, mm: Fraction) -> str:
        """A length in the carriage's unit, in words."""
        return spoken_length(mm, self.carriage.unit)

    def setting(self, figures: dict[str, Any]) -> str:
        """The setting, the number last; when it lies below, first past it and then up to it."""
        setting, approach = figures["setting"], figures["approach"]
        if approach is not None:
            past = self.position(approach)
            upward = self._setting(setting, approach)
            return f"go back past it, to {past}; then come up: {upward}"
        if figures["repeated"]:
            return f"set {self.position(setting)}"
        return self._setting(setting, figures["previous"])

    def check(self, figures: dict[str, Any]) -> str:
        say = figures.pop("say")
        return _sentence(say.format(**{name: self._figure(value) for name, value in figures.items()}))

    def clamp(self, figures: dict[str, Any]) -> str:
        return " ".join((*_which_board(figures), *_which_way(figures)))


def _sentence(text: str) -> str:
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if text[-1:] in ".?!" else ".")


def _which_board(figures: dict[str, Any]) -> tuple[str, ...]:
    first, copies, of = figures["first_copy"], figures["copies"], figures["of"]
    place = f"Setup {cardinal(figures['setup'])} of {cardinal(figures['setups'])}."
    if copies > 1:
        last = cardinal(first + copies - 1)
        boards = f"clamp {cardinal(copies)} together, {cardinal(first)} to {last} of {cardinal(of)}"
    else:
        boards = f"board {cardinal(first)} of {cardinal(of)}" if of > 1 else "one board"
    name = f"{figures['board']}, part {figures['part']}"
    down = "slotted side down" if figures["layout"] == "slots" else f"end {cardinal(figures['end'])} down"
    return (place, _sentence(f"{name}, {boards}, {down}"))


def _which_way(figures: dict[str, Any]) -> tuple[str, ...]:
    side = figures["stop_side"]
    stop = (
        f"against the setting bar at the {side} stop" if figures["register"] == "setting bar" else f"to the {side} stop"
    )
    if figures["layout"] == "slots":
        return (f"Reference edge {stop}.",)
    if figures["end"] == 1:
        return (f"Reference edge {stop}, marked face to the backing.",)
    return (
        f"Turn it end over end: same edge {stop}, other face to the backing.",
        "Never spin it on its face: that mirrors the pattern.",
    )


def _way(words: Words, figures: dict[str, Any]) -> str:
    side = figures["stop_side"]
    if figures["layout"] == "slots":
        return f"slotted side down, reference edge to the {side} stop"
    face = "marked" if figures["end"] == 1 else "other"
    return f"end {figures['end']} down, reference edge to the {side} stop, {face} face to the backing"


def _in_full(words: Words, figures: dict[str, Any]) -> str:
    return _sentence(words.setting(figures)).rstrip(".") + "; then start the saw; cut, draw back clear, then tap."


def _ask_back(words: Words, figures: dict[str, Any]) -> str:
    pass_ = cardinal(figures["pass_"])
    setup = "" if figures["same_setup"] else f" of setup {cardinal(figures['setup'])}, the board before this one"
    return f"Back to pass {pass_}{setup}: it then counts as not cut. Is that right? {YES_NO}"


def _ask_carriage(words: Words, figures: dict[str, Any]) -> str:
    stands = words.position(figures["carriage_at"])
    return f"Is the carriage untouched? It should read {stands}. Does it? {YES_NO}"


def _ask_registered(words: Words, figures: dict[str, Any]) -> str:
    begin = "Saw off and isolated. Reference edge to the stop, and clamp."
    if not figures["cut_here"]:
        return f"{begin} No pass is cut yet, so the edge is all there is to go by. Done? {YES_NO}"
    tolerance = words.length(figures["tolerance"])
    return (
        f"{begin} Try the still blade in a cut kerf, the last one of a socket, with the carriage at its setting. "
        f"If they differ by more than {tolerance}, follow the kerf and mark down a problem. Done? {YES_NO}"
    )


def _where(words: Words, figures: dict[str, Any]) -> str:
    place = f"Setup {cardinal(figures['setup'])} of {cardinal(figures['setups'])}"
    if not figures["pass_"]:
        return f"{place}: all cut."
    board = f"{figures['board']}, end {cardinal(figures['end'])}"
    return f"{place}, {board}: pass {cardinal(figures['pass_'])} of {cardinal(figures['passes'])} is next to be cut."


def _noted(words: Words, figures: dict[str, Any]) -> str:
    place = f"setup {cardinal(figures['setup'])}"
    if figures["pass_"]:
        place += f", pass {cardinal(figures['pass_'])}"
    return f"Problem marked at {place}."


def _saw_off(words: Words, figures: dict[str, Any]) -> str:
    sockets = figures["sockets"]
    count = _counted(sockets, "socket: look at it", "sockets: count them")
    return f"Saw off. Wait until the blade stands still. {_sentence(count + ' before you unclamp')}"


def _ended_early(words: Words, figures: dict[str, Any]) -> str:
    left = figures["left"]
    passes = _sentence(_counted(left, "pass was", "passes were")).rstrip(".")
    after = "Saw off; wait until the blade stands still; refit the riving knife and guard."
    return f"Session ended. {passes} not cut. {after}"


def _tap_ignored(words: Words, figures: dict[str, Any]) -> str:
    if figures["mode"] == "question":
        return f"A tap is no answer. {YES_NO}"
    return "Standing by: a tap does nothing. Hold to carry on."


def _summary(words: Words, figures: dict[str, Any]) -> str:
    setups, passes = figures["setups"], figures["passes"]
    counts = f"{_counted(setups, 'setup', 'setups')}, {_counted(passes, 'pass', 'passes')} in all"
    return f"{figures['title']}: {counts}."


def _counted(count: int, one: str, many: str) -> str:
    return f"{cardinal(count)} {one if count == 1 else many}"


_SENTENCES: dict[str, Callable[[Words, dict[str, Any]], str]] = {
    "summary": _summary,
    "clamp": Words.clamp,
    "check": Words.check,
    "setting": lambda words, figures: _sentence(words.setting(figures)),
    "setting in full": _in_full,
    "ask back": _ask_back,
    "ask carriage": _ask_carriage,
    "ask registered": _ask_registered,
    "where": _where,
    "way": _way,
    "noted": _noted,
    "saw off": _saw_off,
    "ended early": _ended_early,
    "tap ignored": _tap_ignored,
}

_TEMPLATES: dict[str, str] = {
    "cautions": (
        "Before you begin. Kerfcall never stops the blade. The saw's manual, local codes and qualified practice rule. "
        "Keep eye and hearing protection on, keep your hands out of the line of the blade, "
        "and keep this pedal away from the saw's own switch."
    ),
    "stage over": (
        "Stage {stage} is done. Glue each blank into its board, end to end, reference edges level, and leave it "
        "overnight. When the glue is dry, cut the blank off at the board's own end, trim the end flush and never "
        "short, and scrape the glue off edge and end. The session may be left until then."
    ),
    "finished": "All is cut. Isolate the saw, and refit the riving knife and guard.",
    "again": "Again:",
    "standing by": "Standing by. Hold to carry on.",
    "how many": "{left_here} to go on this end, {left} in all.",
    "nothing changed": "Nothing changed.",
    "nothing to go back to": "There is no pass to go back to.",
    "earlier setup closed": "The setup before is closed; going back ends at the first pass of this one.",
    "no such pass": "There is no pass {pass_}; this end has {passes}.",
    "setup reopened": "That board again, for pass {pass_}, clamped as it was.",
    "resumed": "Resuming, setup {setup} of {setups}. Passes recorded as cut: {cut}. See that the saw is off.",
    "ask go to": "Go to pass {pass_}: it counts as not cut and is called next. Is that right? " + YES_NO,
    "ask end": "End the session with {left} passes not cut. Is that right? " + YES_NO,
    "ask zeroed": (
        "Zero the carriage again with the saw off and isolated: reference edge at zero, reading at zero. Is it done? "
        + YES_NO
    ),
    "ask clamped": "Is the work still clamped just as it was? " + YES_NO,
    "device": "{text}",
    "too soon": "Too soon, not counted: a pass takes longer. When it is cut and drawn back, tap again.",
    "not told yet": "Not counted: hear the question first, then answer it.",
    "pressed too early": "The {gesture} began before this was asked; it does not count.",
    "heard too late": "Heard too late, not obeyed: {phrase}",
    "heard too early": "Heard before this was asked, not obeyed: {phrase}",
    "means nothing now": "Heard, but it means nothing now: {phrase}",
    "not heard": "Not understood: {reason}",
    "session over": "The session is over.",
}
