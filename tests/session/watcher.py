"""A second bookkeeper, in a woodworker's terms: it reads the journal's facts and knows nothing of the state machine."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction

from assistant.plans.model import Job
from assistant.session import facts as f


@dataclass
class Watcher:
    """Raises AssertionError, in plain words, as soon as a fact breaks a rule of the shop."""

    job: Job
    setup: int = 0
    secured: set[str] = field(default_factory=set)
    open_check: str | None = None
    called: int = 0
    counted: bool = False
    paused: set[str] = field(default_factory=set)
    guarded: tuple[object, int] | None = None
    cut: dict[int, set[int]] = field(default_factory=dict)
    over: bool = False
    dialled: tuple[int, int] = (0, 0)
    stood: Fraction = Fraction(0)
    stands: Fraction = Fraction(0)

    def copy(self) -> Watcher:
        cut = {setup: set(passes) for setup, passes in self.cut.items()}
        return replace(self, secured=set(self.secured), paused=set(self.paused), cut=cut)

    def read(self, fact: f.Fact) -> None:
        if self.over:
            assert isinstance(fact, f.SteppedBack | f.Resumed), "nothing but going back follows the end of a session"
        getattr(self, f"_{fact.kind}", lambda fact: None)(fact)

    def _setup_started(self, fact: f.SetupStarted) -> None:
        assert fact.setup in (self.setup, self.setup + 1), "setups come in order"
        assert fact.setup == 1 or self.counted, "no board is named before the one before it was counted"
        self.setup, self.called, self.open_check, self.counted = fact.setup, 0, None, False
        self.secured.clear()
        self.paused.clear()
        self.cut[fact.setup] = set()

    def _check_opened(self, fact: f.CheckOpened) -> None:
        self.open_check = fact.check
        if fact.check == "saw off":
            assert self._all_cut(), "sockets are counted when all of them are cut"
        else:
            assert not self._all_cut(), "all is cut: there is nothing to ask but the count"
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
        self.secured.add(fact.check)
        if fact.check == "clamps and guard":
            self.secured |= {"clamps", "guard"}
        if fact.check == "carrying on":
            self.secured |= self.paused
            self.paused.clear()
        if fact.check == "guard":
            self.guarded = self._blade()
        if fact.check == "saw off":
            self.counted = True
        self.open_check = None

    def _setting_called(self, fact: f.SettingCalled) -> None:
        assert self.open_check is None, "no setting is called while a check is open"
        assert "clamps" in self.secured, "no setting is called before the clamps of this clamping are confirmed"
        assert "guard" in self.secured, "no setting is called before the guard for this cut is confirmed"
        assert fact.setup == self.setup, "a setting belongs to the board in the clamps"
        assert fact.pass_ not in self.cut[self.setup], "a pass that is recorded is not called again"
        assert not self.counted, "what was counted is not cut any more"
        self.called = fact.pass_
        setting, dialled = Fraction(fact.setting), (fact.setup, fact.pass_)
        if (setting, dialled) != (self.stands, self.dialled):
            self.stood = self.stands
        self.stands, self.dialled = setting, dialled

    def _zeroed(self, fact: f.Zeroed) -> None:
        self.dialled, self.stands = (0, 0), Fraction(0)

    def spoken(self, approach: Fraction | None) -> None:
        """The setting last called is said, with the point to come up from."""
        below = approach is not None and approach < self.stands
        assert below == (self.stands < self.stood), "a setting that lies lower is come up to, and no other"

    def _pass_cut(self, fact: f.PassCut) -> None:
        assert (fact.setup, fact.pass_) == (self.setup, self.called), "only the pass that was called is recorded"
        assert fact.pass_ not in self.cut[self.setup], "no pass is recorded twice unless back or go-to named it"
        self.cut[self.setup].add(fact.pass_)
        self.called = 0

    def _carried_on(self, fact: f.CarriedOn) -> None:
        self.paused |= self.secured & {"clamps", "guard"}
        self._unsure()

    def _stood_by(self, fact: f.StoodBy) -> None:
        self.called, self.open_check = 0, None

    def _resumed(self, fact: f.Resumed) -> None:
        assert not self.over
        self.paused.clear()
        self.guarded = None
        self._unsure()

    def _unsure(self) -> None:
        self.called, self.open_check = 0, None
        self.secured -= {"clamps", "guard"}

    def _stepped_back(self, fact: f.SteppedBack) -> None:
        if fact.setup != self.setup or self.over:
            assert fact.setup in (self.setup, self.setup - 1), "back reaches one setup at the most"
            self.secured.clear()
            self.paused.clear()
            self.guarded = None
            self.setup, self.over = fact.setup, False
        self.called, self.open_check, self.counted = 0, None, False
        self.cut[self.setup].discard(fact.pass_)

    def _jumped(self, fact: f.Jumped) -> None:
        assert fact.setup == self.setup, "go-to stays on the board in the clamps"
        self.called, self.counted = 0, False
        self.cut[self.setup].discard(fact.pass_)

    def _setup_done(self, fact: f.SetupDone) -> None:
        self._has_all(fact.setup)
        assert self.counted, "a setup ends when its sockets are counted, the saw switched off"

    def _has_all(self, setup: int) -> None:
        every = {p.number for p in self.job.pattern_of(setup).passes}
        assert self.cut[setup] == every, "a setup can't end with a pass not recorded"

    def _finished(self, fact: f.Finished) -> None:
        assert self.setup == len(self.job.setups), "the session is finished when the last setup is"
        for number in range(1, self.setup + 1):
            self._has_all(number)
        self.over = True

    def _ended_early(self, fact: f.EndedEarly) -> None:
        self.over = True
