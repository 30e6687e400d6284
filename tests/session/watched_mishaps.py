"""What a second bookkeeper keeps of mishaps, in a woodworker's terms; `watcher.Watcher` owns it and passes all on."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from assistant.plans.model import Job, Setup
from assistant.session import facts as f

if TYPE_CHECKING:
    from tests.session.watcher import Watcher

HANDS_IN = frozenset({"clamps", "guard"})
ASKED_AGAIN: dict[str, frozenset[str]] = {
    "slipped": HANDS_IN,
    "bumped": HANDS_IN,
    "wrong place": HANDS_IN,
    "not deep enough": HANDS_IN | {"blade height"},
    "too deep": HANDS_IN | {"blade height"},
    "missed": HANDS_IN,
    "overshot": frozenset(),
    "jammed": HANDS_IN | {"blade height"},
    "breaker": HANDS_IN,
    "loose piece": HANDS_IN,
    "sawdust": HANDS_IN,
    "cupped": HANDS_IN,
    "chipped": HANDS_IN | {"backing"},
    "wrong pattern": HANDS_IN,
    "kerf measured": frozenset(),
    "other blade": HANDS_IN | {"zero", "blade height"},
    "break": frozenset(),
}
"""The checks that must be answered anew after each mishap, where the job has them."""
MAY_LIE_ELSEWHERE = ("slipped", "bumped", "jammed", "breaker", "sawdust", "cupped", "chipped", "other blade")
MAY_HAVE_BEEN_CUT_SO = ("slipped", "bumped", "sawdust")
"""Nobody noticed at once, so the last cuts may have been made after it."""
ASKS_ON = ("wrong place", "not deep enough", "too deep", "missed", "wrong pattern", "kerf measured", "other blade")
"""What follows hangs on more answers."""
LEAVES_A_MARK = ("jammed", "chipped")
SETTLES = ("ask registered", "move", "standing by", "check", "setting", "setting in full", "setting reached")
"""What is heard next once it has been said of every cut whether it is good."""
SETTLE = frozenset(
    {
        *("kerf_misplaced", "setup_reopened", "depth_set", "jumped", "job_extended", "board_chosen", "board_spoilt"),
        *("carried_on", "setup_started", "cuts_sure", "old_blade_back"),
    }
)
"""After these nothing is left to be asked about a mishap."""
NARROW = Fraction(1)
"""Less than any finger is wide, mm: a cut that is off by a whole finger is seen."""
NOT_MEANWHILE = (f.PassCut, f.CheckConfirmed, f.SettingCalled, f.MoveAsked, f.Reregistered)


def _is_by_another_blade(job: Job, setup: int) -> bool:
    """At its settings this one would move the walls."""
    cut_for = job.pattern_of(setup).passes[0]
    return setup <= job.blade_since and cut_for.kerf_to - cut_for.kerf_from != job.kerf


def end_of(setup: Setup) -> tuple[str, int, int, int]:
    return setup.board, setup.first_copy, setup.end, setup.stage


@dataclass
class Mishaps:
    """due: the checks that must be answered anew. told: what was told last.

    elsewhere: what may have moved work or carriage since the board was last known to lie right, "" for nothing. zeroed:
    the carriage has been zeroed since. open_till_now: the mishap of which more is asked, and not all answers are
    stored. owed: that one, if the session was interrupted and it hasn't been asked about since. doubted: the setups in
    which cuts may have been made after that, and it hasn't been said of all of them whether they are good;
    asks_of_cuts: that is being asked. asks: the open question about a mishap, "" for none. away: the operator is on a
    break, or has not yet said what was touched in it.

    blade_open: another blade is on the saw, and neither its kerf was given nor was the old one put back.

    heights: how often the blade's height was confirmed. made_at: that count when each kerf was made, by setup and pass.
    go_over: the ends that one answer has still to name, with the cuts to be made again. misplaced: cuts named to lie in
    the wrong place. deep: how deep each kerf is, mm, by its end and by where it begins and ends. spoilt_wood: from
    where to where a wrong cut has, or may have, taken wood, each with its setup; mm, as that setup is measured.
    """

    due: frozenset[str] = frozenset()
    zeroed: bool = False
    owed: str = ""
    open_till_now: str = ""
    told: str = ""
    elsewhere: str = ""
    doubted: frozenset[int] = frozenset()
    asks_of_cuts: bool = False
    asks: str = ""
    away: bool = False
    blade_open: bool = False
    deep: dict[tuple[object, Fraction, Fraction], Fraction] = field(default_factory=dict)
    heights: int = 0
    made_at: dict[tuple[int, int], int] = field(default_factory=dict)
    go_over: dict[int, frozenset[int]] = field(default_factory=dict)
    misplaced: frozenset[tuple[int, int]] = frozenset()
    spoilt_wood: frozenset[tuple[int, Fraction, Fraction]] = frozenset()

    def copy(self) -> Mishaps:
        other = object.__new__(Mishaps)
        other.__dict__.update(self.__dict__)
        other.made_at, other.go_over, other.deep = self.made_at.copy(), self.go_over.copy(), self.deep.copy()
        return other

    def hear(self, key: str, figures: Mapping[str, Any], bench: Watcher) -> None:
        of_a_mishap = key.startswith("ask ") and ("mishap" in figures or key == "ask what")
        if of_a_mishap:
            self.asks = key
            if figures.get("mishap") == self.owed:
                self.owed = ""
        elif key in SETTLES or key.startswith("ask "):
            self.asks = ""
        if key == "ask sure":
            assert figures["pass_"] in bench.stands_in(bench.setup), "what is asked about is a cut"
            self.asks_of_cuts = True
        if key == "ask registered" and figures["tried"]:
            assert bench.setup not in self.doubted, "nothing is tried in a cut of which nobody has said that it is good"
            by_hand = self.elsewhere == "bumped" and not bench.driven and not self.zeroed
            assert "zero" not in self.due, "what a cut shows of a carriage that isn't zeroed is of no use"
            assert (figures["moved"] == "carriage") == by_hand, "what was bumped is set right, and the work left alone"
        if key == "check" and figures["name"] == "blade height":
            depth = bench.job.pattern_of(bench.setup).depth
            assert figures["depth"] == depth, "the blade is set to the depth that this end is cut to from now on"

    def read(self, fact: f.Fact, bench: Watcher) -> None:
        """Before the bench reads it."""
        if isinstance(fact, NOT_MEANWHILE):
            assert not self.asks, f"while somebody answers {self.asks}, nothing is called, recorded, confirmed or sent"
        if not isinstance(fact, f.SetupReopened):
            assert not self.go_over, f"one answer has all of {self.go_over} cut again"
        if fact.kind in SETTLE:
            self.open_till_now = self.owed = ""
        getattr(self, f"_{fact.kind}", lambda fact, bench: None)(fact, bench)

    def _went_wrong(self, fact: f.WentWrong, bench: Watcher) -> None:
        checks = {check.name for check in bench.job.checks}
        self.told = fact.mishap
        assert not self.blade_open or fact.mishap == "other blade", "nothing else is taken in before its kerf is known"
        self.blade_open = fact.mishap == "other blade"
        due, kerfs = ASKED_AGAIN[fact.mishap], bench.stands_in(bench.setup)
        if fact.mishap == "bumped" and not kerfs:
            due |= {"zero"}
        self.due |= due & checks
        clamped = (bench.touched or bench.to_register) and not bench.leaves
        if fact.mishap == "bumped" and bench.leaves:
            self.due |= {"zero"} & checks
        if fact.mishap in MAY_LIE_ELSEWHERE and clamped and (kerfs or fact.mishap != "bumped"):
            self._lies_elsewhere(fact.mishap, checks)
        if fact.mishap in MAY_HAVE_BEEN_CUT_SO and kerfs:
            self.doubted, self.asks_of_cuts = self.doubted | {fact.setup}, False
            self._cannot_be_taken_back(bench.job, bench)
        self.away = self.away or fact.mishap == "break"
        self.open_till_now = fact.mishap if fact.mishap in ASKS_ON else ""

    def _came_back(self, fact: f.CameBack, bench: Watcher) -> None:
        checks = {check.name for check in bench.job.checks}
        self.away, self.asks = False, ""
        self.due |= checks & (({"blade height"} if fact.lowered else set()) | (HANDS_IN if fact.touched else set()))
        if fact.touched and (bench.touched or bench.to_register) and not bench.leaves:
            self._lies_elsewhere("break", checks)
        if fact.touched and (bench.leaves or not bench.stands_in(bench.setup)):
            self.due |= {"zero"} & checks

    def _lies_elsewhere(self, why: str, checks: set[str]) -> None:
        both = "bumped" in (why, self.elsewhere) and self.elsewhere not in ("", why)
        if both:  # a cut shows only how work and carriage lie to each other
            self.due |= {"zero"} & checks
        self.elsewhere = "bumped" if "bumped" in (why, self.elsewhere) else why
        self.zeroed = False

    def _zeroed(self, fact: f.Zeroed, bench: Watcher) -> None:
        self.zeroed = True

    def _leaves_it_in_doubt(self, bench: Watcher) -> None:
        """The board goes, and nothing has shown where the carriage stands: the next one would be cut off by as much."""
        if self.elsewhere in ("bumped", "break") and not self.zeroed:
            self.due |= {"zero"} & {check.name for check in bench.job.checks}
        self.elsewhere, self.zeroed = "", False

    def _settles(self, *setups: int) -> None:
        """No cut of these setups is in doubt any more, whatever happens."""
        self.doubted -= set(setups)

    def _cuts_sure(self, fact: f.CutsSure, bench: Watcher) -> None:
        assert self.asks_of_cuts or fact.setup not in self.doubted, "nobody has been asked which cuts are good"
        self._settles(fact.setup)
        self.asks_of_cuts = False

    def _setup_done(self, fact: f.SetupDone, bench: Watcher) -> None:
        assert fact.setup not in self.doubted, "no end is done with while nobody has said which of its cuts are good"
        self._settles(fact.setup)

    def _old_blade_back(self, fact: f.OldBladeBack, bench: Watcher) -> None:
        """It was taken off and put on again, which leaves the backing as it was."""
        assert self.blade_open, "nobody has said that another blade is on"
        self.blade_open = False

    def _carried_on(self, fact: f.CarriedOn, bench: Watcher) -> None:
        assert not self.blade_open, "nobody goes on before it is said which blade is on the saw"

    def _job_extended(self, fact: f.JobExtended, bench: Watcher) -> None:
        if fact.why == "other blade" and self.blade_open:
            self.due |= {"backing"} & {check.name for check in bench.job.checks}
            self.blade_open = False
        self._cannot_be_taken_back(fact.extend(bench.job), bench)

    def _cannot_be_taken_back(self, job: Job, bench: Watcher) -> None:
        """What another blade has cut, or is gone on with by this one, is kept as if it were wrong, and marked."""
        gone = {n for n in self.doubted if n not in job.order or _is_by_another_blade(job, n)}
        for setup in gone:
            for pass_ in bench.stands_in(setup):
                self._spoils_its_socket(setup, pass_, bench)
                bench.marked |= {(setup, pass_)}
        self._settles(*gone)

    def _resumed(self, fact: f.Resumed, bench: Watcher) -> None:
        """Blade, clamps and guard are asked after in any case."""
        self.owed = self.open_till_now
        self.away, self.asks, self.asks_of_cuts = False, "", False

    def _stood_by(self, fact: f.StoodBy, bench: Watcher) -> None:
        self.asks, self.asks_of_cuts = "", False

    def _check_confirmed(self, fact: f.CheckConfirmed, bench: Watcher) -> None:
        self.due -= {fact.check}
        if fact.check == "clamps and guard":
            self.due -= HANDS_IN
        if fact.check == "blade height":
            self.heights += 1
        if fact.check == "zero":
            self.zeroed = True

    def _setting_called(self, fact: f.SettingCalled, bench: Watcher) -> None:
        assert not self.blade_open, "nothing is called by the kerf of a blade that isn't on the saw any more"
        assert not self.owed, f"nothing is called before {self.owed} has been asked about again"
        assert not self.due, f"after a mishap nothing is called before {self.due} have been answered anew"
        assert not self.elsewhere, f"nothing is called where {self.elsewhere} may have moved it, before it is tried"
        assert bench.setup not in self.doubted, "nothing is called beside cuts that nobody has said are good"
        assert not self.away, "whoever is back from a break says what was touched in it before anything is called"
        for setup, pass_ in self.misplaced:
            assert pass_ not in bench.cut[setup], "a cut in the wrong place is still to be made where it belongs"

    def _pass_cut(self, fact: f.PassCut, bench: Watcher) -> None:
        assert not self.blade_open, "nothing is cut by the kerf of a blade that isn't on the saw any more"
        self.made_at[fact.setup, fact.pass_] = self.heights
        self.deep[self._kerf(fact.setup, fact.pass_, bench)] = bench.job.pattern_of(fact.setup).depth
        self.misplaced -= {(fact.setup, fact.pass_)}

    def _kerf_misplaced(self, fact: f.KerfMisplaced, bench: Watcher) -> None:
        self.misplaced |= {(fact.setup, fact.pass_)}
        one, off = bench.job.pattern_of(fact.setup).passes[fact.pass_ - 1], Fraction(fact.off_by)
        step = Fraction(1, 10) if bench.job.carriage.unit == "mm" else Fraction(254, 1000)  # it was measured to that
        self.spoilt_wood |= {(fact.setup, one.kerf_from + off - step, one.kerf_to + off + step)}

    def _goes_over_again(self, pass_: int, bench: Watcher) -> None:
        """A cut that may have been made after something had moved has spoilt its socket, and no others."""
        if pass_ in bench.stands_in(bench.setup) and (self.elsewhere or bench.setup in self.doubted):
            self._spoils_its_socket(bench.setup, pass_, bench)

    def _spoils_its_socket(self, setup: int, pass_: int, bench: Watcher) -> None:
        pattern = bench.job.pattern_of(setup)
        socket = pattern.sockets[pattern.passes[pass_ - 1].socket - 1]
        self.spoilt_wood |= {(setup, socket.start - NARROW, socket.end + NARROW)}

    def _jumped(self, fact: f.Jumped, bench: Watcher) -> None:
        self._goes_over_again(fact.pass_, bench)
        self._settles_without_kerfs(fact.setup, {fact.pass_}, bench)

    def spoilt_here(self, bench: Watcher) -> list[tuple[Fraction, Fraction]]:
        """The same for the end in the clamps, whichever of its setups it was, measured as it lies now."""
        job, here = bench.job, bench.job.setups[bench.setup - 1]
        found = []
        for setup, low, high in self.spoilt_wood:
            one, width = job.setups[setup - 1], job.pattern_of(setup).width
            if end_of(one) == end_of(here):
                turned = (one.half == "other edge") != (here.half == "other edge")
                found.append((width - high, width - low) if turned else (low, high))
        return found

    def _reregistered(self, fact: f.Reregistered, bench: Watcher) -> None:
        assert bench.setup not in self.doubted, "work is put right once it has been said which of its cuts are good"
        assert not (self.blade_open and fact.setting), "where a blade stands in a cut hangs on its kerf"
        self._settles(fact.setup)
        if fact.setting:
            self.elsewhere, self.zeroed = "", False
        else:  # no kerf to set the carriage right by
            self._leaves_it_in_doubt(bench)

    def _setup_started(self, fact: f.SetupStarted, bench: Watcher) -> None:
        """Another clamping."""
        self._leaves_it_in_doubt(bench)
        self.asks_of_cuts = False

    def _board_chosen(self, fact: f.BoardChosen, bench: Watcher) -> None:
        self._leaves_it_in_doubt(bench)
        self.asks, self.asks_of_cuts = "", False

    def _stepped_back(self, fact: f.SteppedBack, bench: Watcher) -> None:
        if fact.setup != bench.setup or bench.over:
            self._leaves_it_in_doubt(bench)
        else:
            self._goes_over_again(fact.pass_, bench)
        self._settles_without_kerfs(fact.setup, {fact.pass_}, bench)

    def _settles_without_kerfs(self, setup: int, gone: Collection[int], bench: Watcher) -> None:
        """What is cut there from now on is cut after that."""
        if not bench.stands_in(setup) - set(gone):
            self._settles(setup)

    def _board_spoilt(self, fact: f.BoardSpoilt, bench: Watcher) -> None:
        self.misplaced = frozenset(place for place in self.misplaced if place[0] not in fact.setups)
        self._is_gone(fact.setups, bench)

    def _is_gone(self, setups: Iterable[int], bench: Watcher) -> None:
        """These ends are cut off, or their boards thrown away."""
        ends = {end_of(bench.job.setups[setup - 1]) for setup in setups}
        self.spoilt_wood = frozenset(
            each for each in self.spoilt_wood if end_of(bench.job.setups[each[0] - 1]) not in ends
        )
        self._settles(*(each.number for each in bench.job.setups if end_of(each) in ends))

    # --- depths

    def _kerf(self, setup: int, pass_: int, bench: Watcher) -> tuple[object, Fraction, Fraction]:
        one = bench.job.pattern_of(setup).passes[pass_ - 1]
        return end_of(bench.job.setups[setup - 1]), one.kerf_from, one.kerf_to

    def steps(self, bench: Watcher) -> tuple[tuple[int, Fraction], ...]:
        """Of each end that two blades have cut to different depths: its setup, and how far these lie apart, mm."""
        found = []
        for n in bench.counting():
            one, pattern = bench.job.setups[n - 1], bench.job.pattern_of(n)
            if one.half in ("piece out", "other edge") or not (pattern.before and bench.cut.get(n)):
                continue
            old = [self.deep[end_of(one), kerf.kerf_from, kerf.kerf_to] for kerf in pattern.before]
            new = [self.deep[self._kerf(n, pass_, bench)] for pass_ in bench.cut[n]]
            if max(new) > min(old):
                found.append((n, max(new) - min(old)))
        return tuple(found)

    def _alike(self, bench: Watcher) -> list[int]:
        """The ends that count, have cuts, and are cut to the depth of this one in the same stage."""
        job, here = bench.job, bench.job.setups[bench.setup - 1]
        depth = job.pattern_of(bench.setup).depth
        ends = [n for n in bench.counting() if job.setups[n - 1].stage == here.stage and bench.cut.get(n)]
        return [n for n in ends if job.pattern_of(n).depth == depth]

    def _of_this_height(self, setup: int, bench: Watcher) -> bool:
        """Whether anything was cut there since the height was last confirmed, or it is the end that is judged."""
        cuts = [self.made_at[setup, pass_] for pass_ in bench.cut[setup]]
        return setup == bench.setup or self.heights in cuts

    def _setup_reopened(self, fact: f.SetupReopened, bench: Watcher) -> None:
        if not (fact.deeper or fact.socket):
            self._is_gone((fact.setup,), bench)
        if fact.socket:
            self._settles_without_kerfs(fact.setup, fact.passes, bench)
        if not fact.deeper:
            return
        assert self.told in ("not deep enough", "too deep"), "only what is not deep enough is gone over again"
        if not self.go_over:
            assert self.told == "not deep enough", "all that is not so deep as the others was named with them"
            self.go_over = {n: bench.cut[n] for n in self._alike(bench) if self._of_this_height(n, bench)}
        assert fact.setup in self.go_over, "what was cut at another height is left alone"
        assert set(fact.passes) == self.go_over.pop(fact.setup), "all of that is gone over, and nothing else"

    def _depth_set(self, fact: f.DepthSet, bench: Watcher) -> None:
        """Its patterns have the depth of this one, in this stage, and that is the end that was cut too deep."""
        job, here = bench.job, bench.job.setups[bench.setup - 1]
        depth = job.pattern_of(bench.setup).depth
        same = [job.setups[n - 1] for n in bench.counting() if job.setups[n - 1].stage == here.stage]
        assert set(fact.patterns) == {one.pattern for one in same if job.patterns[one.pattern].depth == depth}
        assert self.told == "too deep" and fact.change(job).pattern_of(bench.setup).depth > depth
        alike = [n for n in bench.cut.keys() - bench.spoilt if job.setups[n - 1].stage == here.stage]
        alike = [n for n in alike if job.pattern_of(n).depth == depth]
        as_deep = [(n, pass_) for n in alike for pass_ in bench.cut[n] if self.made_at[n, pass_] == self.heights]
        assert as_deep, "where nothing is cut so deep, nothing has to be"
        self.deep |= {self._kerf(n, pass_, bench): Fraction(fact.depth) for n, pass_ in as_deep}
        for n in self._alike(bench):
            if _is_by_another_blade(job, n):
                continue
            if before := frozenset(p for p in bench.cut[n] if self.made_at[n, p] < self.heights):
                self.go_over[n] = before
