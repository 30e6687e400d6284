"""Prompts to sentences, in English. One short function or template for each key."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from fractions import Fraction
from typing import Any

from assistant.joinery.halves import Half
from assistant.joinery.model import CarriageKind, Register, Zero
from assistant.joinery.settings import MOST_DECIMALS, reading
from assistant.joinery.units import Unit
from assistant.plans.checks import ZERO_CHECK, aloud
from assistant.plans.intents import Mode
from assistant.plans.model import Job, Layout
from assistant.session.effects import Prompt
from assistant.session.kinds import TurnOver
from assistant.session.slip import Meets
from assistant.wording import dial, drive, mishaps, rework
from assistant.wording.halves import (
    CLAMPED,
    edge_at_stop,
    marked_to_backing,
    piece_asked,
    to_the_stop,
    which_half,
    zeroing,
)
from assistant.wording.joining import MOST_NAMED, YES_NO, Figures, listed, sentence
from assistant.wording.numbers import (
    cardinal,
    shown_depth,
    shown_length,
    shown_outward,
    spoken_clearance,
    spoken_depth,
    spoken_distance,
    spoken_length,
    spoken_outward,
    spoken_setting,
)

HOW_TO_CUT = "Set the carriage, start the saw, cut, draw back clear and tap."
NEVER_SPIN = "Never spin it on its face."
AT_ZERO = {
    Zero.OUTSIDE: "At zero the teeth just brush the reference edge.",
    Zero.INSIDE: "At zero the cut takes one full kerf off the reference edge.",
}
"""What the blade does at setting 0, by the carriage's zero (`joinery.settings`)."""
SETTINGS = ("setting", "setting in full")


class Words:
    """Turns prompts into sentences for one job, with its carriage, its unit and its way of reading numbers.

    figures: word them for a screen, with numbers as figures ("12.3 mm") and everything in full. A setting's own number
    stays as it is spoken.
    """

    def __init__(self, job: Job, figures: bool = False):
        self.job = job
        self.carriage = job.carriage
        self._unit, self._reads = job.carriage.unit, job.voice.reads
        self.figures = figures

    def shown(self, prompts: Iterable[Prompt]) -> str:
        """An announcement for a screen: a setting's figures on a first line, then all of it with numbers in figures."""
        prompts = tuple(prompts)
        settings = [dict(prompt.figures) for prompt in prompts if prompt.key in (*SETTINGS, drive.REACHED)]
        heads = [self.shown_call(each["setting"], each.get("previous"), each.get("approach")) for each in settings]
        if any(prompt.key == drive.REACHED for prompt in prompts):
            heads = [Words(self.job, figures=True).position(each["setting"]) for each in settings]
        return "\n".join([*heads, Words(self.job, figures=True).say(prompts)])

    def shown_call(self, setting: Fraction, previous: Fraction | None, approach: Fraction | None) -> str:
        """What to set, in figures: a handwheel's move and where it ends, else the setting and what comes before it."""
        if dial.has_dial(self.carriage):
            return dial.shown_call(self.carriage, setting, previous, approach)
        if approach is None or approach == previous:
            return reading(self.carriage, setting)
        first, _ = dial.ways(previous, approach, setting)
        return f"{reading(self.carriage, setting)}   (first {first} to {reading(self.carriage, approach)})"

    def recorded(self, prompts: Iterable[Prompt]) -> str:
        """What a log keeps of an announcement or a line: what happened, and never what to do (see `RECORDS`)."""
        words = Words(self.job, figures=True)
        texts = []
        for prompt in prompts:
            kept = None if prompt.key in STANDS else RECORDS[prompt.key]
            if kept is None:
                texts.append(words.one(prompt))
            elif isinstance(kept, str):
                texts.append(kept.format(**{name: words._figure(value) for name, value in prompt.figures}))
            else:
                texts.append(kept(words, dict(prompt.figures)))
        return " ".join(filter(None, texts))

    def say(self, prompts: Iterable[Prompt]) -> str:
        """The sentences of an announcement, joined. Raises KeyError for a prompt that has no wording."""
        return " ".join(self.one(prompt) for prompt in prompts)

    def one(self, prompt: Prompt) -> str:
        """One prompt as a sentence."""
        figures = dict(prompt.figures)
        template = _TEMPLATES.get(prompt.key)
        if template is not None:
            filled = template.format(**{name: self._figure(value) for name, value in figures.items()})
            # Some begin with a figure, which can be a word.
            return filled[:1].upper() + filled[1:]
        return _SENTENCES[prompt.key](self, figures)

    def _figure(self, value: Any) -> str:
        """Lengths (Fractions, mm) in the carriage's unit, counts in words, names as they are."""
        if isinstance(value, Fraction):
            return self.length(value)
        if isinstance(value, int):
            return self.count(value)
        return f"{value:g}" if isinstance(value, float) else str(value)  # a float: seconds

    def count(self, number: int) -> str:
        return str(number) if self.figures else cardinal(number)

    def counted(self, count: int, one: str, many: str) -> str:
        return f"{self.count(count)} {one if count == 1 else many}"

    def position(self, setting: Fraction) -> str:
        """A setting as the carriage shows it."""
        if dial.has_dial(self.carriage):
            return (dial.shown_reading if self.figures else dial.spoken_reading)(self.carriage, setting)
        return reading(self.carriage, setting) if self.figures else self._read(setting)

    def _read(self, setting: Fraction) -> str:
        return spoken_setting(self.carriage, self._reads, setting)

    def length(self, mm: Fraction) -> str:
        """A length in the carriage's unit."""
        return (shown_length if self.figures else spoken_length)(mm, self._unit)

    def exactly(self, mm: Fraction) -> str:
        """A length in the carriage's unit, with all the places that it has."""
        return (shown_length if self.figures else spoken_length)(mm, self._unit, MOST_DECIMALS)

    def clearance(self, mm: Fraction) -> str:
        """A clearance in the carriage's unit."""
        return (shown_length if self.figures else spoken_clearance)(mm, self._unit)

    def depth(self, mm: Fraction) -> str:
        """A blade height as near as it can be set."""
        return (shown_depth if self.figures else spoken_depth)(mm, self._unit, self._reads)

    def clear_of(self, mm: Fraction, up: bool, named: bool = True) -> str:
        """How far the blade reaches, rounded away from it, so that what clears this length clears the blade."""
        return (shown_outward if self.figures else spoken_outward)(mm, self._unit, up, named)

    def setting(self, figures: Figures, full: bool = False) -> str:
        """The setting. Its number comes last, and it is the only one that could be set.

        A setting that must be come up to is preceded by how far below it to go first; a distance, not a place. full:
        both ends of a handwheel's move, as ever when the wheel may have been turned already.
        """
        setting, previous, approach = figures["setting"], figures["previous"], figures["approach"]
        if dial.has_dial(self.carriage):
            return dial.spoken_call(self.carriage, setting, previous, approach, full or figures["repeated"])
        if approach is None or approach == previous:
            return self._read(setting)
        first, last = dial.ways(previous, approach, setting)
        side = "below" if approach < setting else "above"
        onward = "on " if first == last else ""
        # A distance: said as a place, the point below could be taken for the setting.
        distance = spoken_distance(self.carriage, abs(setting - approach))
        return f"{distance} {side}, then {onward}{last} to {self._read(setting)}"

    def move(self, figures: Figures) -> str:
        """The setting and how to get to it, in full; on a screen in figures."""
        if not self.figures:
            return self.setting({**figures, "repeated": True})
        return " ".join(self.shown_call(figures["setting"], figures["previous"], figures["approach"]).split())

    def check(self, figures: Figures) -> str:
        """What a check asks: the short question aloud, unless its figure `whole` says so; the whole one on a screen.

        Aloud, the unit is named once: at the end of the range, from which a height in millimetres takes it.
        A height in inches names its own: "up to one above the bed" would leave open one what.
        """
        say = figures["say"]
        half = figures.get("half", "")
        if figures.get("name") == ZERO_CHECK and Half(half).is_second:
            # Taken at its word, any other question would move zero by the piece, or to an edge that isn't at the stop.
            return sentence(f"zero the carriage {zeroing(half)}. Done?")
        if not self.figures and not figures.get("whole"):
            say = aloud(figures.get("name", ""), say)
        has_range = "{lowest} to {highest}" in say
        filled = say.format(
            lowest=self.clear_of(figures["lowest"], up=False, named=not has_range),
            highest=self.clear_of(figures["highest"], up=True),
            depth=self.depth(figures["depth"]),
            above=self.clear_of(
                figures["above"], up=True, named=self.figures or self._unit == Unit.INCH or not has_range
            ),
            sockets=self.sockets(figures["sockets"], figures.get("begun", 0)),
            count=self.count(figures["sockets"]) + ", and one begun" * figures.get("begun", 0),
            **_ways(self, figures["end"] if "{way}" in say or "{short_way}" in say else 1, figures.get("half", "")),
            **piece_asked(
                figures.get("half", ""),
                self.length(self.carriage.distance_piece or Fraction(0)),
                self.position(figures["setting"]) if "setting" in figures else "",
                figures.get("where", Meets.NOTHING),
            ),
        )
        return sentence(filled)

    def sockets(self, number: int, begun: int = 0) -> str:
        """How many sockets: "seven sockets", or "slots" where those are cut; "and one begun" beside whole ones."""
        kind = "slot" if self.job.slotted else "socket"
        return self.counted(number, kind, f"{kind}s") + " and one begun" * begun

    def keep_clear(self, figures: Figures) -> tuple[str, str]:
        """What to keep clear, from the figures of a check: "5 to 84 mm" off the edge, "28 mm" above the bed."""
        low, high = self.clear_of(figures["lowest"], up=False, named=False), self.clear_of(figures["highest"], up=True)
        return f"{low} to {high}", self.clear_of(figures["above"], up=True)

    def clamp(self, figures: Figures) -> str:
        """Which board to clamp, how, and aloud what to keep clear; a screen shows that with the check."""
        short = figures["short"] and not self.figures
        parts = [_board_in_short(self, figures) if short else _which_board(self, figures)]
        if "off" in figures:
            parts.append(_comes_off(self, figures))
        if figures["held"] or self.figures:
            parts.append(_held(figures))
        elif figures["turn"] == TurnOver.FULL:
            parts.append(f"Turn it end over end. {NEVER_SPIN}")
        if figures["keep_clear"] and not self.figures:
            low = self.clear_of(figures["lowest"], up=False, named=False)
            high = self.clear_of(figures["highest"], up=True)
            above = self.clear_of(figures["above"], up=True, named=self._unit == Unit.INCH)
            parts.append(f"Keep clear: {low} to {high}, up to {above} above the bed.")
        return " ".join(parts)


def _comes_off(words: Words, figures: Figures) -> str:
    """What an end must lose before it is clamped, so that opposite boards stay as long as each other."""
    off = words.length(figures["off"])
    if figures["joint"]:
        return f"First cut its old joint off: {off}."
    return f"First cut {off} off this end, as off the board opposite."


def _held(figures: Figures) -> str:
    half = figures.get("half", "")
    stop = to_the_stop(figures["register"], figures["stop_side"], half)
    if figures["layout"] == Layout.SLOTS:
        return f"{edge_at_stop(half).capitalize()} {stop}."
    if figures["end"] == 1 or half not in (Half.NONE, Half.PIECE_IN):
        face = "marked" if marked_to_backing(figures["end"], half) else "other"
        return f"{edge_at_stop(half).capitalize()} {stop}, {face} face to the backing."
    return f"Turn it end over end: same edge {stop}, other face to the backing. {NEVER_SPIN}"


def _setup_of(words: Words, figures: Figures) -> str:
    """Of so many: "three of eight", or "nine, eight in all" where it is cut in another place than its number says."""
    number, of = words.count(figures["setup"]), words.count(figures["setups"])
    return f"{number} of {of}" if figures["place"] == figures["setup"] else f"{number}, {of} in all"


def _which_board(words: Words, figures: Figures) -> str:
    place = f"Setup {_setup_of(words, figures)}"
    which = [figures["board"], *_which_of(words, figures), f"part {figures['part']}"]
    slots = figures["layout"] == Layout.SLOTS
    which.append("slotted side down" if slots else f"end {words.count(figures['end'])} down")
    which += _half(figures)
    return f"{place}: {', '.join(which)}."


def _half(figures: Figures) -> list[str]:
    return [CLAMPED[figures["half"]]] if figures.get("half") else []


def _board_in_short(words: Words, figures: Figures) -> str:
    """The board, its end and what has changed."""
    which = [figures["board"], *_which_of(words, figures, short=True)]
    which += [f"part {figures['part']}"] if figures["part_changed"] else []
    which += [] if figures["layout"] == Layout.SLOTS else [f"end {words.count(figures['end'])}"]
    which += _half(figures)
    it = "it" if figures["copies"] == 1 else "them"
    turned = f": turn {it} end over end" if figures["turn"] == TurnOver.WARNED and not figures["held"] else ""
    return sentence(", ".join(which) + turned)


def _which_of(words: Words, figures: Figures, short: bool = False) -> list[str]:
    """Which of several like boards, if there are several: "two of four", "both boards clamped together"."""
    first, copies, of = figures["first_copy"], figures["copies"], figures["of"]
    if copies == 1:
        return [f"{words.count(first)} of {words.count(of)}"] if of > 1 else []
    if copies == of:
        which = "both boards" if of == 2 else f"all {words.count(of)} boards"
    else:
        to = "and" if copies == 2 else "to"
        which = f"boards {words.count(first)} {to} {words.count(first + copies - 1)} of {words.count(of)}"
    return [which if short else f"{which} clamped together"]


def _ways(words: Words, end: int, half: str = "") -> dict[str, str]:
    """How the board of this end is held, in the whole question and in the short one."""
    carriage, slots = words.carriage, words.job.slotted
    bar, before = carriage.register == Register.SETTING_BAR, half == Half.PIECE_IN
    itself = " itself" * (half == Half.PIECE_OUT)
    between = "the setting bar at " * bar + "the distance piece at " * before
    stop = f"against {between}the {carriage.stop_side} stop{itself}"
    which = {Half.THIS_EDGE: "reference ", Half.OTHER_EDGE: "other "}.get(Half(half), "")
    short = f"{which}edge to the {'bar' if bar else 'piece' if before else 'stop'}{itself}"
    if slots:
        return {"way": f"slotted side down, {edge_at_stop(half)} {stop}", "short_way": f"slotted side down, {short}"}
    face = "marked face" if marked_to_backing(end, half) else "other face"
    return {"way": f"{edge_at_stop(half)} {stop}, {face} against the backing", "short_way": f"{short}, {face} back"}


def _way(words: Words, figures: Figures) -> str:
    half = figures.get("half", "")
    stop = to_the_stop(words.carriage.register, figures["stop_side"], half)
    if figures["layout"] == Layout.SLOTS:
        return f"slotted side down, {edge_at_stop(half)} {stop}"
    face = "marked" if marked_to_backing(figures["end"], half) else "other"
    return f"end {figures['end']} down, {edge_at_stop(half)} {stop}, {face} face to the backing"


def _ask_back(words: Words, figures: Figures) -> str:
    pass_ = words.count(figures["pass_"])
    setup = "" if figures["same_setup"] else f" of setup {words.count(figures['setup'])}, the board before this one,"
    return f"Go back to pass {pass_}{setup} and count it as not cut? {YES_NO}"


def _ask_carriage(words: Words, figures: Figures) -> str:
    stands = words.position(figures["carriage_at"])
    if dial.has_dial(words.carriage):
        # A dial reads the same after every whole turn, so a mark alone may fit both places.
        other = dial.other_place_of_mark(words.carriage, figures["carriage_at"], figures["came_from"])
        if other is not None:
            far_up = dial.far_up(words.carriage, other, words.figures)
            return f"Is the carriage already at {stands}, and not still {far_up}? {YES_NO}"
        return f"Does the dial read {stands}? {YES_NO}"
    verb = "show" if words.carriage.kind == CarriageKind.STEPS else "read"
    return f"Does the carriage still {verb} {stands}, untouched? {YES_NO}"


def _resuming(words: Words, figures: Figures) -> str:
    setup = words.job.setups[figures["setup"] - 1]
    place = setup.board if words.job.slotted else f"{setup.board}, end {words.count(setup.end)}"
    place += which_half(setup)
    of = f"setup {_setup_of(words, figures)}"
    cut = words.counted(figures["cut"], "pass is recorded as cut", "passes are recorded as cut")
    return f"Resuming {words.job.title}: {place}, {of}. {sentence(cut)}"


def _ask_zeroed(words: Words, figures: Figures) -> str:
    return f"Zero the carriage again {zeroing(figures.get('half', ''))}. Done? {YES_NO}"


def _where(words: Words, figures: Figures) -> str:
    place = f"Setup {_setup_of(words, figures)}"
    if not figures["pass_"]:
        return f"{place}: all cut."
    slots = words.job.slotted
    board = figures["board"] if slots else f"{figures['board']}, end {words.count(figures['end'])}"
    board += which_half(words.job.setups[figures["setup"] - 1])
    next_pass = f"pass {words.count(figures['pass_'])} of {words.count(figures['passes'])}"
    return f"{place}, {board}: {next_pass} is next."


def _noted(words: Words, figures: Figures) -> str:
    place = f"setup {words.count(figures['setup'])}"
    if figures["pass_"]:
        place += f", pass {words.count(figures['pass_'])}"
    return f"Problem marked at {place}."


def _open_sessions(words: Words, figures: Figures) -> str:
    """The newest open sessions. The command of each is shown and not said."""
    named = []
    for title, cut, command in figures["sessions"][:MOST_NAMED]:
        passes = f"{title}, {words.counted(cut, 'pass', 'passes')} cut"
        named.append(f"{passes} ({command})" if words.figures else passes)
    more = len(figures["sessions"]) - len(named)
    named += [words.counted(more, "older one", "older ones")] if more else []
    kind = "These sessions are" if len(figures["sessions"]) > 1 else "This session is"
    return f"{kind} still open: {'; '.join(named)}."


def _resume_instead(words: Words, figures: Figures) -> str:
    old = "one of them" if len(figures["sessions"]) > 1 else "it"
    return f"{_open_sessions(words, figures)} To go on with {old}, leave this new session and resume the old one."


def _kerf_and_zero(words: Words, figures: Figures) -> str:
    """What the settings rest on: the kerf and its age, the clearance, and what the blade does at zero."""
    days = figures["days"]
    if days is None:
        measured = "never measured"
    else:
        measured = "measured " + (f"{words.counted(days, 'day', 'days')} ago" if days else "today")
    kerf, clearance = words.exactly(figures["kerf"]), words.clearance(figures["clearance"])
    return f"Kerf {kerf}, {measured}; clearance {clearance}. {AT_ZERO[figures['zero']]}"


def _marked_here(words: Words, figures: Figures) -> str:
    first, *more = figures["passes"]
    if not more:
        return f"A problem is marked {_at_pass(words, first)}."
    if len(more) < MOST_NAMED:
        if first:
            return f"Problems are marked at passes {listed([words.count(pass_) for pass_ in (first, *more)])}."
        return f"Problems are marked {listed([_at_pass(words, pass_) for pass_ in (first, *more)])}."
    return f"Problems are marked at {words.count(len(more) + 1)} passes, the last at pass {words.count(more[-1])}."


def _at_pass(words: Words, pass_: int) -> str:
    return f"at pass {words.count(pass_)}" if pass_ else "before the first pass"


def _marked_in_all(words: Words, figures: Figures) -> str:
    """Each place where they are few, else how many there are and in which setups."""
    places = figures["places"]
    if len(places) <= MOST_NAMED:
        named = [f"in setup {words.count(setup)} {_at_pass(words, pass_)}" for setup, pass_ in places]
        return f"{'Problems are' if len(places) > 1 else 'A problem is'} marked {listed(named)}."
    setups = [words.count(setup) for setup in sorted({setup for setup, _ in places})]
    if len(setups) > MOST_NAMED:
        setups = [f"{words.count(len(setups))} of the setups, the last in setup {setups[-1]}"]
        return f"Problems are marked at {words.count(len(places))} places, in {setups[0]}."
    kind = "setups" if len(setups) > 1 else "setup"
    return f"Problems are marked at {words.count(len(places))} places, in {kind} {listed(setups)}."


def _ended(words: Words, figures: Figures) -> str:
    passes = sentence(words.counted(figures["left"], "pass was", "passes were")).rstrip(".")
    return f"Session ended. {passes} not cut."


def _tap_ignored(words: Words, figures: Figures) -> str:
    then = YES_NO if figures["mode"] == Mode.QUESTION else "Long press to carry on."
    return f"{_no_answer(words, figures)} {then}"


def _no_answer(words: Words, figures: Figures) -> str:
    return "A tap is not an answer." if figures["mode"] == Mode.QUESTION else "Standing by: a tap does nothing."


def _called(words: Words, figures: Figures) -> str:
    return f"Pass {figures['pass_']} called at {reading(words.carriage, figures['setting'])}."


def _back_asked(words: Words, figures: Figures) -> str:
    setup = "" if figures["same_setup"] else f" of setup {figures['setup']}"
    return f"Asked: back to pass {figures['pass_']}{setup}?"


def _pairing_code(words: Words, figures: Figures) -> str:
    """The digits one by one in two groups, on every screen and aloud."""
    # Not as one number: a code is typed digit by digit, and may begin with noughts.
    digits = [cardinal(int(digit)) for digit in figures["code"]]
    half = len(digits) // 2
    return f"Pairing code: {' '.join(digits[:half])}, {' '.join(digits[half:])}."


_SENTENCES: dict[str, Callable[[Words, Figures], str]] = {
    # The first board, which comes next, says how many setups there are.
    "summary": lambda words, figures: f"{figures['title']}: {words.counted(figures['passes'], 'pass', 'passes')}.",
    "kerf and zero": _kerf_and_zero,
    "clamp": Words.clamp,
    "check": Words.check,
    "setting": lambda words, figures: sentence(words.setting(figures)),
    # What to do comes first, so that the number comes last.
    "setting in full": lambda words, figures: f"{HOW_TO_CUT} {sentence(words.setting(figures, full=True))}",
    **drive.SENTENCES,
    **rework.SENTENCES,
    "ask back": _ask_back,
    "ask carriage": _ask_carriage,
    "resumed": lambda words, figures: f"{_resuming(words, figures)} See that the saw is off.",
    **mishaps.SENTENCES,
    "ask zeroed": _ask_zeroed,
    "where": _where,
    "way": _way,
    "noted": _noted,
    "open sessions": _resume_instead,
    "marked here": _marked_here,
    "marked in all": _marked_in_all,
    "ended early": lambda words, figures: (
        f"{_ended(words, figures)} Saw off. Wait until the blade has stopped, then refit the riving knife and guard."
    ),
    "tap ignored": _tap_ignored,
    "pairing code": _pairing_code,
}

_TEMPLATES: dict[str, str] = {
    "cautions": (
        "Kerfcall never stops the saw. The saw's manual, local regulations and safe working practice come first. "
        "Eye and hearing protection on, hands out of the blade's line, pedal away from the saw's switch."
    ),
    "stage over": (
        "Stage {stage} is done. Glue each blank into its board, end to end, reference edges level, and leave it "
        "overnight. When the glue is dry, cut the blank off at the board's end, trim the end flush and never "
        "short, and scrape the glue off edge and end. You can leave the session until then."
    ),
    "finished": "All cut. Isolate the saw and refit the riving knife and guard.",
    "again": "Again:",
    "standing by": "Standing by. Saw off. Long press to carry on.",
    "how many": "{left_here} to go on this end, {left} in all.",
    "louder": "Louder.",
    "quieter": "Quieter.",
    "slower": "Slower.",
    "quicker": "Quicker.",
    "loudest": "As loud as it goes.",
    "softest": "As quiet as it goes.",
    "slowest": "As slow as it goes.",
    "quickest": "As quick as it goes.",
    "nothing changed": "Nothing changed.",
    "nothing to go back to": "There is no pass to go back to.",
    "earlier setup closed": "The previous setup is closed. You can go back only to the first pass of this one.",
    "no such pass": "There is no pass {pass_}; this end has {passes}.",
    "setup reopened": "That board again, clamped as it was, for pass {pass_}.",
    "ask go to": "Go to pass {pass_} and count it as not cut? " + YES_NO,
    "ask end": "End the session with {left} passes not cut? " + YES_NO,
    "ask clamped": "Is the work still clamped just as it was? " + YES_NO,
    "device": "{text}",
    "too soon": "Too soon, not counted: a pass takes longer. Tap again when it is cut and drawn back.",
    "blade still turns": "Not counted: the blade takes {takes} seconds to stop. Wait, count, then confirm.",
    "pressed too early": "The {gesture} began before this was asked, so it does not count.",
    "not announced yet": "Not counted: wait for the announcement, then answer.",
    "not read yet": "Not counted: read the screen first, then answer.",
    "heard too late": "Heard too late, not done: {phrase}",
    "heard too early": "Heard before this was asked, not done: {phrase}",
    "means nothing now": "Heard, but it means nothing now: {phrase}",
    "not heard": "Not understood: {reason}",
    "session over": "The session is over.",
    "code not said": "The pairing code is on the terminal. It is not said while a pass may be under way.",
    "not from the page": "Refused: the page may not do that.",
    "advanced from the page": "Advanced from the page.",
    **drive.TEMPLATES,
    **rework.TEMPLATES,
    **mishaps.TEMPLATES,
}

# What a log keeps of a prompt. It stays there when something else is open, so it never says what to do: "long press to
# carry on", read a minute later, would confirm a check. Each prompt is in one of these two.
STANDS = frozenset({
    "summary", "cautions", "kerf and zero", "way", "where", "noted", "marked here", "marked in all", "how many",
    "device", "louder", "quieter", "slower", "quicker", "loudest", "softest", "slowest", "quickest",
    "nothing changed", "nothing to go back to", "earlier setup closed", "no such pass",
    "pressed too early", "heard too late", "heard too early", "means nothing now", "not heard", "session over",
    "code not said", "not from the page", "advanced from the page",
    *drive.STANDS, *rework.STANDS, *mishaps.STANDS,
})  # fmt: skip
"""Kept whole: they state facts, and stay true whenever they are read."""

RECORDS: dict[str, str | Callable[[Words, Figures], str]] = {
    "again": "Again:",
    "clamp": _which_board,
    "check": lambda words, figures: f"Asked: {figures['name']}?",
    "setting": _called,
    "setting in full": _called,
    **drive.RECORDS,
    **rework.RECORDS,
    **mishaps.RECORDS,
    "stage over": "Stage {stage} is done.",
    "setup reopened": "That board again, for pass {pass_}.",
    "finished": "All cut.",
    "ended early": _ended,
    "standing by": "Standing by.",
    "tap ignored": _no_answer,
    "too soon": "Too soon, not counted: a pass takes longer.",
    "blade still turns": "Not counted: the blade may still have been turning.",
    "not announced yet": "Not counted: it had not been announced.",
    "not read yet": "Not counted: it had not been shown long enough to be read.",
    "open sessions": _open_sessions,
    "resumed": _resuming,
    "ask back": _back_asked,
    "ask go to": "Asked: go to pass {pass_}?",
    "ask end": "Asked: end the session?",
    "ask carriage": lambda words, figures: f"Asked: carriage untouched at {words.position(figures['carriage_at'])}?",
    "ask zeroed": "Asked: carriage zeroed again?",
    "ask clamped": "Asked: still clamped just as it was?",
    "pairing code": "The pairing code was said.",
}
"""Kept in these words, without what the prompt asks for."""
