"""A second bookkeeper, in a woodworker's terms: it reads the journal's facts and knows nothing of the state machine."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from assistant.joinery.model import Pass
from assistant.plans.model import Check, Job
from assistant.session import effects as e
from assistant.session import facts as f
from tests.session.watched_mishaps import LEAVES_A_MARK, Mishaps

ASKED_BY_THEMSELVES = ("session", "depth", "part", "stage", "every", "distance piece")
"""Rules of checks that hang on nothing but what is cut, and for which blade and which board."""
FOR_THE_WORK = ("clamps", "guard")
"""Checks (one name begins with the other's) that have rules of their own."""

READ_BY_THEN = ("ask clamped", "ask registered", "ask sure")
"""Questions that come once it has been read where the carriage stands."""


@dataclass
class Watcher:
    """Raises AssertionError, in plain words, as soon as a fact or what is said breaks a rule of the shop.

    loses: what ends must lose before they are clamped, mm, by board, copy and end; alike: the end that loses its joint
    together with the one named last; told_of: the ends of which that was said as their board was named. touched: a
    check of this board has been answered, so it may be in the clamps. clamping: how often one was begun. answered_for:
    for what each check was last answered. made_since: passes made since then, those that were taken back as well.
    to_ask: what must be asked before work goes on after an interruption. moved: the carriage was. stands: where it was
    last called to, mm, for pass `meant`; stood: where before. is_read: somebody is asked whether it stands there;
    came_down: who said so had come down to it, and may not have come up to it yet. at_work: the last thing said that
    somebody waits for was a setting, so a board may be on its way over the blade. asked_to_try: the setting to which
    the question about the distance piece has the carriage brought, mm.

    before: the setup before this one. ended_with: what is asked at a setup's end and has been answered since all of it
    was cut. spoilt: setups that count no more. chosen: which one follows was chosen. leaves: this board comes out of
    the clamps before all of it is cut. done: setups that are over. clamped: setups whose board was ever put into the
    clamps. saw_on: it may run, since a pass was called after it was last confirmed off. to_register: this board has
    cuts in it and was clamped again, and nobody has shown yet that it lies where it lay. shallow: kerfs that are there,
    but don't count, since they are not deep enough. wrong: what follows from mishaps.

    Of a driven carriage: homed: its place is known. sent: where it was last sent, until it stands. arrived_at: where it
    stands; left: where it stood before it was sent off. lies_at: where it was last brought, whatever is known of it
    since. placed: in this setup it has been where the board is clamped. proved: it was homed since the last pass.
    """

    job: Job
    setup: int = 0
    secured: frozenset[str] = frozenset()
    open_check: str | None = None
    called: int = 0
    ended_with: frozenset[str] = frozenset()
    before: int = 0
    spoilt: frozenset[int] = frozenset()
    leaves: bool = False
    saw_on: bool = False
    to_register: bool = False
    chosen: bool = False
    shallow: dict[int, frozenset[int]] = field(default_factory=dict)
    wrong: Mishaps = field(default_factory=Mishaps)
    paused: frozenset[str] = frozenset()
    guarded: tuple[object, int] | None = None
    cut: dict[int, frozenset[int]] = field(default_factory=dict)
    over: bool = False
    done: frozenset[int] = frozenset()
    clamped: frozenset[int] = frozenset()
    touched: bool = False
    clamping: int = 0
    answered_for: dict[str, object] = field(default_factory=dict)
    to_ask: frozenset[str] = frozenset()
    moved: bool = False
    meant: int = 0
    stood: Fraction = Fraction(0)
    stands: Fraction = Fraction(0)
    stood_by_journal: Fraction = Fraction(0)
    is_read: bool = False
    came_down: bool = False
    came_down_by_journal: bool = False
    made_since: dict[str, int] = field(default_factory=dict)
    marked: frozenset[tuple[int, int]] = frozenset()
    at_work: bool = False
    asked_to_try: Fraction | None = None
    zone: tuple[Fraction, ...] = ()
    warned: bool = False
    homed: bool = False
    sent: f.MoveAsked | None = None
    arrived_at: Fraction | None = None
    left: Fraction | None = None
    lies_at: Fraction | None = None
    placed: bool = False
    proved: bool = False
    loses: dict[tuple[str, int, int], Fraction] = field(default_factory=dict)
    alike: tuple[str, int, int] | None = None
    told_of: frozenset[tuple[str, int, int]] = frozenset()

    def copy(self) -> Watcher:
        """As `replace` makes it, in a tenth of the time: a walk needs one for each step."""
        other = object.__new__(Watcher)
        other.__dict__.update(self.__dict__)
        other.cut, other.made_since = self.cut.copy(), self.made_since.copy()
        other.answered_for, other.loses = self.answered_for.copy(), self.loses.copy()
        other.shallow, other.wrong = self.shallow.copy(), self.wrong.copy()
        return other

    def read(self, fact: f.Fact) -> None:
        if self.over:
            assert isinstance(fact, f.SteppedBack | f.Reopened | f.Resumed | f.CarriageLost), (
                "nothing but going back or opening it again follows the end of a session"
            )
        self.wrong.read(fact, self)
        getattr(self, f"_{fact.kind}", lambda fact: None)(fact)

    def hear(self, effects: Iterable[e.Effect], to_us: bool | None = None) -> None:
        """What is said in a turn, once its facts have been read.

        to_us: it follows speech that began with the lead-in; None: not known.
        """
        for effect in effects:
            if isinstance(effect, e.Note):
                assert to_us is not False or not (self.called and self.at_work), "a sound in mid-push startles"
            if not isinstance(effect, e.Say):
                continue
            said = [(prompt.key, dict(prompt.figures)) for prompt in effect.prompts]
            self._hear_what_was_marked(dict(said))
            if effect.klass in ("setting", "question", "check", "clamp", "move", "end"):
                self.at_work = effect.klass == "setting"
            for key, figures in said:
                if "left" in figures:
                    left = sum(len(self.job.pattern_of(n).passes) for n in self.counting()) - self.cut_in_all()
                    assert figures["left"] == left, "what is left to cut is what has not been recorded"
                if key in ("ask clamped", "ask registered") and self.is_tried_later():
                    assert not self.wants("backing"), "work that comes out for the backing is tried after that"
                    assert not self.wants("zero"), "a cut shows nothing for a carriage that isn't zeroed"
                if key == "ask clamped":
                    self.to_register = False  # a no is followed by what `_hear_what_is_tried` hears
                    assert self.touched and not self._all_cut(), "there is nothing in the clamps that could move"
                self.wrong.hear(key, figures, self)
                if key == "ask registered":
                    self._hear_what_is_tried(figures)
                self.to_ask -= {key, "ask clamped"} if key in ("ask registered", "ask sure") else {key}
                self._hear_where_it_stands(effect.klass, key)
                if key == "clamp":
                    self._hear_what_to_clamp(figures)
                if key == "check" and figures["name"].startswith("clamps"):
                    self._hear_of_clamps(figures)
                if key == "check" and figures["name"] == "distance piece":
                    self._hear_of_the_piece(figures)
                if key == "check" and figures["name"] == "saw off":
                    self._hear_what_to_count(figures)
                if key in ("setting", "setting in full"):
                    self._hear_setting(figures["setting"], figures["previous"], figures["approach"])

    def _hear_where_it_stands(self, klass: str, key: str) -> None:
        """What is asked after the carriage shows what was answered: it stands there, or it is zeroed."""
        if key in ("ask carriage", "ask zeroed"):
            self.is_read = key == "ask carriage"
        elif self.is_read and (klass in ("clamp", "check", "setting") or key in READ_BY_THEN):
            self.is_read = False
            self.came_down, self.stood = self.came_down or self.stood > self.stands, self.stands

    def _zone(self) -> tuple[Fraction, ...]:
        pattern = self.job.pattern_of(self.setup)
        passes, depth = [*pattern.passes, *self._by_another()], pattern.depth
        return min(one.kerf_from for one in passes), max(one.kerf_to for one in passes), depth + self.job.clear_above

    def _hear_what_to_clamp(self, figures: dict[str, Any]) -> None:
        """A board that lies on its other end was turned over; the first time in a run nobody is left to spin it."""
        setup = self.job.setups[self.setup - 1]
        assert (figures["setup"], figures["end"]) == (self.setup, setup.end), "what is clamped is what is named"
        assert figures.get("off") == self.loses.get(self._end(self.setup)), "an end that gets shorter is said to"
        self.told_of |= {self._end(self.setup)} if "off" in figures else set()
        turns = setup.end == 2 and setup.half in ("", "piece in")
        assert bool(figures["turn"]) == turns, "the second end is turned to, and no other, and its second half lies so"
        assert figures["turn"] != "warned" or self.warned, "who has not been warned yet may spin it"
        assert not figures["turn"] or figures["turn"] == "full" or figures["short"]
        self.warned |= figures["turn"] == "full"
        if figures["keep_clear"]:
            self.zone = (figures["lowest"], figures["highest"], figures["above"])

    def _hear_of_clamps(self, figures: dict[str, Any]) -> None:
        """Whoever is asked whether the clamps are clear has heard in this run what they must be clear of."""
        if figures["whole"]:
            self.zone = (figures["lowest"], figures["highest"], figures["above"])
        assert self.zone == self._zone(), "clear of what"

    def _hear_of_the_piece(self, figures: dict[str, Any]) -> None:
        """It is in for a first half and out for a second, which is tried in a cut of the first if one is in reach."""
        setup, pattern, carriage = self.job.setups[self.setup - 1], self.job.pattern_of(self.setup), self.job.carriage
        assert figures["half"] == setup.half != "" and carriage.distance_piece, "the piece is in or out as it should be"
        self.asked_to_try = figures.get("setting")
        first = self._first_half()
        low = carriage.travel[0] if carriage.travel else Fraction(0)
        there = [one for one in first if one.setting - carriage.distance_piece >= low + carriage.resolution]
        there = [one for one in there if self._sure_walls(one)]
        if setup.half == "piece in" or self.cut[self.setup]:
            assert self.asked_to_try is None, "there is no first half to try, or a cut of this one tells more"
        elif there and not self.driven:
            assert self.asked_to_try is not None, "what can be tried is tried"
        if self.asked_to_try is not None:
            assert self._is_of_the_first_half(self.setup, self.asked_to_try), "the blade is tried where a kerf is"
            assert not self.driven or self.arrived_at == self.asked_to_try, "nothing moves at the clamps"
            assert self.asked_to_try >= low, "the carriage gets there"
            assert any(one.kerf_from > 0 or one.kerf_to < pattern.width for one in first)

    def _first_half(self, number: int = 0) -> list[Pass]:
        """Every pass of the half before this setup (or setup `number`), if it is a second half."""
        number = number or self.setup
        if (
            self.job.setups[number - 1].half != "piece out"
            or number == 1
            or self.job.setups[number - 2].half != "piece in"
        ):
            return []
        return list(self.job.pattern_of(number - 1).passes)

    def _by_another(self) -> list[Pass]:
        """The kerfs of another blade in this end."""
        second = self.job.setups[self.setup - 1].half in ("piece out", "other edge")
        return [] if second else list(self.job.pattern_of(self.setup).before)

    def _too_shallow_by_another(self, setup: int) -> list[Pass]:
        """The kerfs of another blade that were to be gone over in what this setup cuts, and by this one no more can."""
        job, this = self.job, self.job.setups[setup - 1]
        found = []
        for n, passes in self.shallow.items():
            one = job.setups[n - 1]
            same = self._end(n) == self._end(setup) and (one.stage, one.half) == (this.stage, this.half)
            if n not in job.order and same and job.pattern_of(n).segments == job.pattern_of(setup).segments:
                found += [each for each in job.pattern_of(n).passes if each.number in passes]
        return found

    def _is_of_the_first_half(self, setup: int, setting: Fraction) -> bool:
        """Whether the blade is in a kerf of the first half at this setting, with the piece out."""
        shift, half_step = self.job.carriage.distance_piece or Fraction(0), self.job.carriage.resolution / 2
        sides = [
            one.kerf_to if self.job.carriage.zero == "outside" else one.kerf_from for one in self._first_half(setup)
        ]
        return any(abs(side - shift - setting) <= half_step for side in sides)

    def _hear_what_to_count(self, figures: dict[str, Any]) -> None:
        """What is counted is there: sockets with all their passes are whole, and one with some of them is begun."""
        pattern = self.job.pattern_of(self.setup)
        gone = [(one.kerf_from, one.kerf_to) for one in (*self._first_half(), *self._by_another(), *pattern.passes)]
        if self.job.setups[self.setup - 1].half == "other edge":
            width = pattern.width
            gone += [(width - p.kerf_to, width - p.kerf_from) for p in self.job.pattern_of(self.setup - 1).passes]
        whole = 0
        for each in pattern.sockets:
            at = each.start
            for left, right in sorted(gone):
                at = max(at, right) if left <= at else at
            whole += at >= each.end
        assert figures["sockets"] == whole, "no more sockets are counted than are whole"
        begun = any(s.start < right < s.end for s in pattern.sockets for _, right in [max(gone, key=lambda k: k[1])])
        assert bool(figures["begun"]) == begun, "who counts a socket that is only begun is told that it is"

    def _hear_setting(self, setting: Fraction, previous: Fraction | None, approach: Fraction | None) -> None:
        """It is moved from where it stands, and the screw's play taken up from below, also when it is said again."""
        assert setting == self.stands, "what is said is what is called"
        assert (previous or 0) == self.stood, "whoever has read where the carriage stands moves it from there"
        below = approach is not None and approach < self.stands
        assert below == (self.stands < self.stood or self.came_down), "a setting that lies lower is come up to"

    def _hear_what_was_marked(self, said: dict[str, dict[str, Any]]) -> None:
        """Whoever is to look at the work hears what to look for, and nothing else of the kind."""
        here = tuple(pass_ for setup, pass_ in sorted(self.marked) if setup == self.setup)
        counting = said.get("check", {}).get("name") == "saw off"
        assert said.get("marked here", {}).get("passes", ()) == (here if counting else ()), (
            "what is counted is looked at"
        )
        ending = "finished" in said or "ended early" in said
        assert said.get("marked in all", {}).get("places", ()) == (tuple(sorted(self.marked)) if ending else ())
        assert said.get("steps left", {}).get("steps", ()) == (self.wrong.steps(self) if ending else ()), (
            "whoever cleans a socket hears that its floor has a step, and how high that is"
        )

    def _noted(self, fact: f.Noted) -> None:
        self.marked |= {(fact.setup, fact.pass_)}

    def _hear_what_is_tried(self, figures: dict[str, Any]) -> None:
        """The still blade is tried where a cut has left a wall, and nowhere that is still to be cut."""
        pattern, cut = self.job.pattern_of(self.setup), self.stands_in(self.setup)
        if not figures["tried"]:
            assert not any(self._sure_walls(pattern.passes[n - 1]) for n in cut), "where a wall stands it can be tried"
            if "where" in figures:
                self._hear_what_is_tried_of_another_blade(figures)
                return
            ours = pattern.passes[0].kerf_to - pattern.passes[0].kerf_from
            for one in self._too_shallow_by_another(self.setup):
                fits = one.kerf_to - one.kerf_from >= ours
                assert not (fits and self._sure_walls(one)), "a kerf that isn't deep enough lies where it should"
            return
        one = pattern.passes[figures["tried"] - 1]
        assert one.number in cut and figures["setting"] == one.setting, "what is tried is a cut, at its own setting"
        assert not self.driven or self.lies_at == one.setting, "nothing moves while hands are at the blade"
        assert figures["previous"] == self.stands, "the carriage is moved from where it stands"
        below = figures["approach"] is not None and figures["approach"] < one.setting
        assert below == (one.setting < self.stands), "the play is taken up as ever"
        walls = self._sure_walls(one)
        match figures["where"]:
            case "kerf":
                assert walls == {"far", "near"}, "a kerf has two walls"
            case "edge":
                ours = [pattern.passes[number - 1] for number in cut - {one.number}]
                inside = [each for each in self._inside(ours) if self._sure_walls(each)]
                assert walls and not inside, "where a kerf is cut it tells more than an edge"
            case wall:
                assert wall.split()[0] in walls, "a wall that is to be met stands, where no wrong cut has moved it"

    def _sure_walls(self, one: Pass) -> set[str]:
        """On which sides of this cut the wood stands as it should."""
        pattern, cut = self.job.pattern_of(self.setup), self.stands_in(self.setup)
        others = [pattern.passes[number - 1] for number in cut]
        by_another = [*self._by_another(), *self._too_shallow_by_another(self.setup)]
        others = [each for each in (*others, *self._first_half(), *by_another) if each is not one]
        gone = [(each.kerf_from, each.kerf_to) for each in others] + self.wrong.spoilt_here(self)
        far = one.kerf_to < pattern.width and all(not low <= one.kerf_to < high for low, high in gone)
        near = one.kerf_from > 0 and all(not low < one.kerf_from <= high for low, high in gone)
        return {side for side, stands in (("far", far), ("near", near)) if stands}

    def _hear_what_is_tried_of_another_blade(self, figures: dict[str, Any]) -> None:
        assert self._is_in_anothers_cut(figures["setting"]), "the blade goes into what is cut, and meets its wall"
        assert figures["previous"] == self.stands, "the carriage is moved from where it stands"

    def _is_in_anothers_cut(self, setting: Fraction) -> bool:
        """Whether this blade is all in what another has cut, and ends where that does."""
        kerf = self.job.pattern_of(self.setup).passes[0]
        wide = kerf.kerf_to - kerf.kerf_from
        left = setting - (wide if self.job.carriage.zero == "outside" else 0)
        there = [*self._by_another(), *self._too_shallow_by_another(self.setup)]
        gone, step = sorted((p.kerf_from, p.kerf_to) for p in there), self.job.carriage.resolution
        reached = left + step
        for low, high in gone:
            reached = max(reached, high) if low <= reached else reached
        sides = {side for pair in gone for side in pair}
        ends_there = any(abs(at - side) <= step for at in (left, left + wide) for side in sides)
        return reached >= left + wide - step and ends_there

    def _inside(self, cuts: list[Pass]) -> list[Pass]:
        """Those in sockets with wood on both their sides."""
        pattern = self.job.pattern_of(self.setup)
        inner = [n for n, s in enumerate(pattern.sockets, start=1) if s.start > 0 and s.end < pattern.width]
        return [one for one in cuts if one.socket in inner]

    def counting(self) -> list[int]:
        return [n for n in self.job.order if n not in self.spoilt]

    def cut_in_all(self) -> int:
        return sum(len(self.cut.get(n, ())) for n in self.counting())

    def stands_in(self, setup: int) -> frozenset[int]:
        """The passes whose kerfs are in this end, deep enough or not."""
        return self.cut.get(setup, frozenset()) | self.shallow.get(setup, frozenset())

    def _what_for(self, check: Check) -> object:
        """Two answers to a check are one as long as this is the same."""
        setup, pattern = self.job.setups[self.setup - 1], self.job.pattern_of(self.setup)
        match check.when:
            case "depth":
                return pattern.depth
            case "part":
                return setup.part, pattern.depth, setup.stage
            case "stage":
                return setup.stage
            case "distance piece":
                return setup.half
            case "setup":
                return self.clamping
        return check.when

    def _is_due(self, check: Check) -> bool:
        if check.when == "stage" and self.job.setups[self.setup - 1].stage == 1:
            return False
        if check.name not in self.answered_for:
            return True
        if check.when == "every":
            return self.made_since[check.name] >= check.every
        return self.answered_for[check.name] != self._what_for(check)

    def is_tried_later(self) -> bool:
        """Whether the work has cuts, and must be tried in one of them before it is cut on."""
        return bool(self.stands_in(self.setup)) and (self.to_register or bool(self.wrong.elsewhere))

    def wants(self, name: str) -> bool:
        """Whether this check is due, if the job has it."""
        check = next((check for check in self.job.checks if check.name == name), None)
        return check is not None and (self._is_due(check) or name in self.wrong.due)

    def _asks_of_its_own(self, check: Check) -> bool:
        return check.when in ASKED_BY_THEMSELVES or (check.when == "setup" and not check.name.startswith(FOR_THE_WORK))

    def _setup_started(self, fact: f.SetupStarted) -> None:
        assert not self.saw_on, "no board is named before the saw is off"
        self._asked_anew()
        whole = self.setup and self.setup not in self.spoilt and not self.leaves
        assert not whole or self._is_counted(), "no board is named before the one before it was counted"
        assert fact.setup not in self.spoilt, "nothing more is cut into a spoilt board"
        assert not self._is_all_cut(fact.setup), "what is all cut is not begun again"
        stage = self.job.setups[fact.setup - 1].stage
        if self.setup and stage < self.job.setups[self.setup - 1].stage:
            for check in self.job.checks:
                if check.when == "stage":
                    self.answered_for.pop(check.name, None)
        if fact.setup in self.clamped:
            self.answered_for.pop("distance piece", None)
        if self._end(fact.setup) in self.loses:  # it is cut off on this saw, so its blade has been moved
            self.answered_for.pop("blade height", None)
            self.answered_for.pop("zero", None)
        self.clamped |= {fact.setup}
        self.meant = 0
        self.before, self.leaves, self.to_register = self.setup, False, self._has_cuts(fact.setup)
        self.chosen = False
        self.setup, self.called, self.open_check, self.ended_with = fact.setup, 0, None, frozenset()
        self.touched, self.clamping = False, self.clamping + 1
        self.placed = False
        self.secured = frozenset()
        self.paused = frozenset()
        self.cut.setdefault(fact.setup, frozenset())

    def _has_cuts(self, setup: int) -> bool:
        """Whether the end has any, by this blade in this setup, or by another."""
        second = self.job.setups[setup - 1].half in ("piece out", "other edge")
        before = bool(self.job.pattern_of(setup).before) and not second
        return bool(self.stands_in(setup)) or before or bool(self._too_shallow_by_another(setup))

    def _is_all_cut(self, setup: int) -> bool:
        return self.cut.get(setup, frozenset()) == {p.number for p in self.job.pattern_of(setup).passes}

    def _job_extended(self, fact: f.JobExtended) -> None:
        assert [one.number for one in fact.setups] == list(
            range(len(self.job.setups) + 1, len(self.job.setups) + len(fact.setups) + 1)
        ), "what joins the job is numbered on"
        grown = fact.extend(self.job)
        gone = {n for n, passes in self.cut.items() if passes and n in self.job.order and n not in fact.order}
        for number in gone:
            one, cut = grown.setups[number - 1], self.cut[number]
            kerfs = {(p.kerf_from, p.kerf_to) for p in grown.pattern_of(number).passes if p.number in cut}
            end = one.board, one.first_copy, one.end, one.stage
            there = [
                {(p.kerf_from, p.kerf_to) for p in grown.pattern_of(new.number).before}
                for new in fact.setups
                if (new.board, new.first_copy, new.end, new.stage) == end and new.number in fact.order
            ]
            assert any(kerfs <= each for each in there), (
                "what is cut stays in the job, or another setup goes on with it"
            )
        self.job = grown
        self._asked_anew()

    def _board_chosen(self, fact: f.BoardChosen) -> None:
        assert fact.setup not in self.spoilt | self.done, "what is over or spoilt is not chosen"
        self._asked_anew()
        self.leaves = not self._all_cut() or self.setup in self.done | self.spoilt
        self.to_ask -= {"ask clamped"}  # it is on its way out
        self.chosen = True
        self.called, self.open_check, self.meant, self.to_register = 0, None, 0, False

    def _setup_reopened(self, fact: f.SetupReopened) -> None:
        old = self.job.pattern_of(fact.setup).before if not fact.socket else ()
        left = self._too_shallow_by_another(fact.setup)
        assert old or left or self.stands_in(fact.setup) & set(fact.passes), "what was never cut can't be cut again"
        if fact.setup == self.setup and self._all_cut():  # the saw was off, and somebody has looked at the work
            self.paused |= self.secured & {"clamps", "guard"}
            self.secured -= {"clamps", "guard"}
        again, cut = set(fact.passes), self.cut.get(fact.setup, frozenset())
        there = self.shallow.get(fact.setup, frozenset())
        self.shallow[fact.setup] = there | cut & again if fact.deeper else there - again
        self.cut[fact.setup] = cut - again
        self.leaves |= fact.setup == self.setup and self.chosen
        self.done -= {fact.setup}
        if not (fact.socket or fact.deeper):
            for n in self.shallow.keys() - set(self.job.order):
                same_end = self._end(n) == self._end(fact.setup)
                self.shallow[n] = frozenset() if same_end else self.shallow[n]
            assert not self.stands_in(fact.setup), "of an end that is cut off nothing is left"
            self.marked = frozenset(place for place in self.marked if place[0] != fact.setup)
        if fact.cut_off:
            self._must_lose(fact.setup, Fraction(fact.cut_off))
        if fact.setup == self.setup:
            self.called, self.ended_with = 0, frozenset()
            if fact.deeper:
                self.meant, self.to_register = 0, True

    def _end(self, setup: int) -> tuple[str, int, int]:
        one = self.job.setups[setup - 1]
        return one.board, one.first_copy, one.end

    def _must_lose(self, setup: int, off: Fraction) -> None:
        """An end and the one opposite it lose as much, whether or not that one has a joint."""
        this, ours = self._end(setup), self.job.setups[setup - 1]
        if self.alike == this:
            self.alike = None
            return
        of_the_part = {
            self._end(n)
            for n in self.counting()
            if (self.job.setups[n - 1].part, self.job.setups[n - 1].end) == (ours.part, ours.end)
        }
        ends = of_the_part if len(of_the_part) == 2 and ours.copies == 1 else {this}
        self.alike = None
        for end in ends:
            self.loses[end] = self.loses.get(end, Fraction(0)) + off
            self.told_of -= {end}
            made = [n for n in self.counting() if self._end(n) == end and self._has_cuts(n)]
            if end != this and made:
                self.alike = end

    def _went_wrong(self, fact: f.WentWrong) -> None:
        assert fact.setup == self.setup, "it went wrong with the board in the clamps"
        self._asked_anew()
        if fact.mishap in LEAVES_A_MARK:
            self.marked |= {(fact.setup, fact.pass_)}
        if fact.mishap == "overshot":  # it stands too high, and the play of the screw lies on the wrong side
            self.stood = self.stood_by_journal = self.stands
            self.came_down = self.came_down_by_journal = True
            self.arrived_at = self.lies_at = None
        if fact.mishap in ("bumped", "other blade"):
            self.homed, self.arrived_at, self.lies_at = False, None, None

    def _came_back(self, fact: f.CameBack) -> None:
        self._asked_anew()
        if fact.touched:
            self.homed, self.arrived_at, self.lies_at = False, None, None

    def _asked_anew(self) -> None:
        """What was answered before counts no more, whoever asks."""
        self.secured -= self.wrong.due
        self.paused -= self.wrong.due
        for check in self.wrong.due:
            self.answered_for.pop(check, None)

    def _kerf_misplaced(self, fact: f.KerfMisplaced) -> None:
        self.marked |= {(fact.setup, fact.pass_)}

    def _depth_set(self, fact: f.DepthSet) -> None:
        self.job = fact.change(self.job)
        is_cut_on = self.touched and not (self.leaves or self._all_cut())
        self.to_register |= is_cut_on and bool(self.stands_in(self.setup))

    def _board_spoilt(self, fact: f.BoardSpoilt) -> None:
        boards = {(s.board, s.first_copy) for s in self.job.setups if s.number in fact.setups}
        assert len(boards) == 1, "one board is spoilt, and its good mates stay"
        self.spoilt |= set(fact.setups)
        self.marked = frozenset(place for place in self.marked if place[0] not in fact.setups)

    def _reopened(self, fact: f.Reopened) -> None:
        assert self.over, "what is open can't be opened"
        self.over = False

    @property
    def driven(self) -> bool:
        return self.job.carriage.drive is not None

    def _move_asked(self, fact: f.MoveAsked) -> None:
        assert self.open_check is None, "nothing moves while somebody has the clamps in hand"
        assert self.driven and self.sent is None, "one order at a time"
        assert self.homed or fact.what == "home", "from an unknown place it only goes home"
        if fact.what == "setting" and fact.pass_:
            (one,) = (one for one in self.job.pattern_of(fact.setup).passes if one.number == fact.pass_)
            assert Fraction(fact.to) == one.setting, "it goes to a pass of the job, and nowhere else"
        elif fact.what == "setting":
            bar = Fraction(fact.to) == 0 and self.job.carriage.register == "setting bar"
            tried = self._is_of_the_first_half(fact.setup, Fraction(fact.to))
            by_another = fact.setup == self.setup and self._is_in_anothers_cut(Fraction(fact.to))
            assert bar or tried or by_another, (
                "without a pass it goes to zero for the bar, or to where a cut of another half or blade is tried"
            )
        self.left = self.arrived_at
        self.sent, self.arrived_at, self.lies_at, self.called = fact, None, None, 0

    def _moved(self, fact: f.Moved) -> None:
        assert self.sent is not None and fact.asked == self.sent.to, "it stands where it was sent, or not at all"
        self.arrived_at, self.sent, self.placed, self.moved = Fraction(fact.asked), None, True, True
        self.stands = self.stood = self.stood_by_journal = self.lies_at = self.arrived_at
        self.came_down = self.came_down_by_journal = False

    def _halted(self, fact: f.CarriageHalted) -> None:
        assert self.sent is not None, "what stands can't be halted"
        self.sent = None

    def _carriage_lost(self, fact: f.CarriageLost) -> None:
        self.homed, self.sent, self.arrived_at = False, None, None

    def _homed(self, fact: f.CarriageHomed) -> None:
        assert self.sent is not None and self.sent.what != "setting", "nobody homes it unasked"
        allowed = max(self.job.clearance / 4, self.job.carriage.resolution)
        off = fact.beyond or not fact.off_by or abs(Fraction(fact.off_by)) > allowed
        self.homed = self.sent.what == "home" or not off
        self.proved, self.sent, self.arrived_at = True, None, None

    def not_sent(self) -> None:
        """The drive sent nothing, so it stands where it stood."""
        self.sent, self.arrived_at, self.lies_at = None, self.left, self.left

    def _check_opened(self, fact: f.CheckOpened) -> None:
        assert self.placed or not self.driven, "no board is named before the carriage stands where it is clamped"
        # That question can be the second, since the work comes out of its clamps for the backing.
        by_another = self._has_cuts(self.setup) and bool(self.wrong.elsewhere)  # if this one goes into its cuts
        comes_first = fact.check in ("zero", "backing") and (self.is_tried_later() or by_another)
        may_wait = {"ask clamped"} if comes_first else set()
        assert not self.to_ask - may_wait, f"before work goes on after an interruption {self.to_ask} are asked"
        self.open_check = fact.check
        (check,) = (check for check in self.job.checks if check.name == fact.check)
        if self._asks_of_its_own(check):
            assert self._is_due(check), f"{fact.check} has been answered, and holds"
        if fact.check == "distance piece" and self.job.setups[self.setup - 1].half == "piece out":
            zero = [check for check in self.job.checks if check.name == "zero"]
            assert not any(self._is_due(check) or "zero" in self.wrong.due for check in zero), (
                "it goes back in for zero"
            )
        if fact.check == "board out":
            assert self.leaves and self.saw_on, "only a board that comes out before it is all cut is asked after"
        elif check.when == "setup end":
            assert self._all_cut() and not self.leaves, "what ends a setup, such as the count, is asked when all is cut"
            assert fact.check not in self.ended_with, f"{fact.check} has been answered, and holds"
        else:
            assert not self.leaves, "a board on its way out needs no check but that the saw is off"
            assert not self._all_cut(), "all is cut: there is nothing to ask but what ends a setup"
        if fact.check == "clamps and guard":
            assert self.guarded == self._blade(), "a guard not yet confirmed for this depth is asked for by itself"
        if fact.check == "carrying on":
            assert "clamps" in self.paused, "work that was never clamped can't be clamped still"

    def _all_cut(self) -> bool:
        return self.cut[self.setup] == {p.number for p in self.job.pattern_of(self.setup).passes}

    def _blade(self) -> tuple[object, int]:
        return self.job.pattern_of(self.setup).depth, self.job.setups[self.setup - 1].stage

    def _check_confirmed(self, fact: f.CheckConfirmed) -> None:
        assert fact.check == self.open_check, "only the check that is asked can be confirmed"
        if fact.check == "zero" and self.job.setups[self.setup - 1].half == "piece out":
            # The piece went back to the stop for that, so the board was out of its clamps.
            self.clamping += 1
            self.answered_for.pop("distance piece", None)
            self.secured -= {"clamps", "guard"}
            self.paused -= {"clamps", "guard"}
        self.secured |= {fact.check}
        # Zero and backing come before the board is put to the stop again.
        self.touched |= not (self.to_register and fact.check in ("zero", "backing"))
        if fact.check == "zero" and self.moved:
            self._zeroed(f.Zeroed(self.setup))
        (check,) = (check for check in self.job.checks if check.name == fact.check)
        self.answered_for[fact.check] = self._what_for(check)
        self.made_since[fact.check] = 0
        if fact.check == "clamps and guard":
            self.secured |= {"clamps", "guard"}
        if fact.check == "carrying on":
            self.secured |= self.paused
            self.paused = frozenset()
        if fact.check == "guard":
            self.guarded = self._blade()
        if check.when == "setup end":
            self.ended_with |= {fact.check}
        if fact.check in ("saw off", "board out"):
            self.saw_on = False
        if fact.check == "distance piece" and self.asked_to_try not in (None, self.stands):
            self.stood = self.stood_by_journal = self.stands
            self.stands, self.came_down, self.came_down_by_journal = self.asked_to_try, False, False
            self.moved = True
        self.open_check = None

    def _setting_called(self, fact: f.SettingCalled) -> None:
        assert self.open_check is None, "no setting is called while a check is open"
        assert "clamps" in self.secured, "no setting is called before the clamps of this clamping are confirmed"
        assert "guard" in self.secured, "no setting is called before the guard for this cut is confirmed"
        assert fact.setup == self.setup, "a setting belongs to the board in the clamps"
        assert fact.pass_ not in self.cut[self.setup], "a pass that is recorded is not called again"
        assert not self._is_counted(), "what was counted is not cut any more"
        assert not self.leaves and self.setup not in self.spoilt, "this board is on its way out"
        assert not self.to_register, "a board that was out of the clamps is cut on only where it lies as it lay"
        assert not self.to_ask, f"before work goes on after an interruption {self.to_ask} are asked"
        due = [check.name for check in self.job.checks if self._asks_of_its_own(check) and self._is_due(check)]
        assert not due, f"no setting is called before {due} have been asked"
        assert not self.driven or (self.homed and self.arrived_at == Fraction(fact.setting)), "it does not stand there"
        self.called = fact.pass_
        if self.loses.pop(self._end(self.setup), None) is not None:
            assert self._end(self.setup) in self.told_of, "an end that must lose length loses it before it is cut"
        setting = Fraction(fact.setting)
        if (setting, fact.pass_) != (self.stands, self.meant):
            self.stood, self.came_down = self.stands, self.came_down and setting == self.stands
            self.stood_by_journal = self.stands
            self.came_down_by_journal = self.came_down_by_journal and setting == self.stands
        self.stands, self.meant, self.moved, self.saw_on = setting, fact.pass_, True, True

    def _zeroed(self, fact: f.Zeroed) -> None:
        self.stands = self.stood = self.stood_by_journal = Fraction(0)
        self.came_down = self.came_down_by_journal = False  # it is come up to from the edge

    def _pass_cut(self, fact: f.PassCut) -> None:
        assert (fact.setup, fact.pass_) == (self.setup, self.called), "only the pass that was called is recorded"
        assert fact.pass_ not in self.cut[self.setup], "no pass is recorded twice unless back or go-to named it"
        self.cut[self.setup] |= {fact.pass_}
        self.shallow[self.setup] = self.shallow.get(self.setup, frozenset()) - {fact.pass_}
        self.made_since = {check: made + 1 for check, made in self.made_since.items()}
        self.called, self.proved = 0, False

    def _carried_on(self, fact: f.CarriedOn) -> None:
        self.paused |= self.secured & {"clamps", "guard"}
        self._unsure()

    def _stood_by(self, fact: f.StoodBy) -> None:
        self.called, self.open_check = 0, None

    def _resumed(self, fact: f.Resumed) -> None:
        assert not self.over
        # What was read before isn't written down.
        self.stood, self.came_down = self.stood_by_journal, self.came_down_by_journal
        self.zone, self.warned = (), False
        self.paused = frozenset()
        self.guarded = None
        self.answered_for.pop("blade height", None)
        self.answered_for.pop("distance piece", None)
        self.to_ask = frozenset({"ask carriage"} if self.moved and not self.driven else ())
        self.homed, self.sent, self.arrived_at = False, None, None
        if self.touched and not self._all_cut() and not self.leaves:
            self.to_ask |= {"ask clamped"}
        self._unsure()

    def _reregistered(self, fact: f.Reregistered) -> None:
        """Another clamping, and a carriage that was moved from where it stood to where a cut was tried."""
        self._asked_anew()
        self.clamping, self.to_register = self.clamping + 1, False
        self.answered_for.pop("distance piece", None)
        if fact.setting:
            setting = Fraction(fact.setting)
            settings = [one.setting for one in self.job.pattern_of(self.setup).passes]
            by_another = self._by_another() or self._too_shallow_by_another(self.setup)
            assert settings.count(setting) == 1 or by_another, "it was tried at a pass of this setup"
            if setting != self.stands:
                self.stood = self.stood_by_journal = self.stands
            self.stands = setting

    def _unsure(self) -> None:
        self.called, self.open_check = 0, None
        self.secured -= {"clamps", "guard"}

    def _stepped_back(self, fact: f.SteppedBack) -> None:
        self._asked_anew()
        if fact.setup != self.setup or self.over:
            assert fact.setup in (self.setup, self.before), "back reaches one setup at the most"
            assert self.over or not self.touched, "back does not reach past an answered check"
            self.touched, self.clamping = True, self.clamping + 1
            self.answered_for.pop("distance piece", None)
            self.secured = frozenset()
            self.paused = frozenset()
            self.guarded = None
            self.setup, self.before, self.over = fact.setup, 0, False
        elif self._all_cut():  # the saw was off, and somebody has looked at the work
            self.paused |= self.secured & {"clamps", "guard"}
            self.secured -= {"clamps", "guard"}
        self.called, self.open_check, self.ended_with, self.meant = 0, None, frozenset(), fact.pass_
        self._is_not_cut(fact.pass_)
        self.to_register |= self.setup in self.done and self._has_cuts(self.setup)
        self.done -= {self.setup}

    def _jumped(self, fact: f.Jumped) -> None:
        assert fact.setup == self.setup, "go-to stays on the board in the clamps"
        self.called, self.ended_with, self.meant = 0, frozenset(), fact.pass_
        self._is_not_cut(fact.pass_)

    def _is_not_cut(self, pass_: int) -> None:
        self.leaves |= self.chosen
        self.cut[self.setup] -= {pass_}
        self.shallow[self.setup] = self.shallow.get(self.setup, frozenset()) - {pass_}

    def _setup_done(self, fact: f.SetupDone) -> None:
        self._has_all(fact.setup)
        self.done |= {fact.setup}
        assert self._is_counted(), "a setup ends when its sockets are counted, the saw switched off"
        left = {check.name for check in self.job.checks if check.when == "setup end"} - self.ended_with
        assert not left, f"a setup ends when {left} have been asked"
        if self.driven and self.homed and self.job.carriage.drive.home == "switch":  # type: ignore[union-attr]
            assert self.proved, "a setup ends when the switch has proved where the carriage stood"

    def _is_counted(self) -> bool:
        return "saw off" in self.ended_with

    def _has_all(self, setup: int) -> None:
        every = {p.number for p in self.job.pattern_of(setup).passes}
        assert self.cut.get(setup) == every, "a setup can't end with a pass not recorded"

    def _finished(self, fact: f.Finished) -> None:
        assert not self.saw_on, "the session is finished when the saw is off"
        for number in self.counting():
            self._has_all(number)
        self.over = True

    def _ended_early(self, fact: f.EndedEarly) -> None:
        self.over = True
