"""Long random sessions of larger jobs, with interruptions, against the second bookkeeper."""

from __future__ import annotations

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from assistant.journal.playing import misfit
from assistant.plans.intents import Intent
from assistant.plans.mishaps import Mishap
from assistant.session.apply import apply
from assistant.session.intents import wanted
from assistant.session.state import ENDED_EARLY, FINISHED, State
from tests.session.driver import Driver
from tests.session.jobs import EVERY_TWO, HANDWHEEL, few_checks, job, plan
from tests.session.watcher import Watcher

SECONDS = st.floats(0, 30, allow_nan=False)


class Session(RuleBasedStateMachine):
    """Any gesture, phrase, fault, pause or interruption, at any time, early or late."""

    @initialize(handwheel=st.booleans(), every=st.booleans(), count=st.integers(1, 2))
    def begin(self, handwheel: bool, every: bool, count: int) -> None:
        checks = few_checks(EVERY_TWO) if every else None
        a_job = job(plan(30, 6, count=count), checks, HANDWHEEL if handwheel else None)
        self.driver = Driver(a_job)
        self.watcher = Watcher(a_job)
        self.read = self.replayed = 0
        self.replay = State()
        self.heard: object = None

    @rule(gesture=st.sampled_from(("tap", "double", "hold")), after=SECONDS, held=st.floats(0, 2))
    def gesture(self, gesture: str, after: float, held: float) -> None:
        self.driver.gesture(gesture, after, held)

    @rule(after=SECONDS)
    def answer_as_asked(self, after: float) -> None:
        """What a careful operator would do next."""
        mode = self.driver.state.effective_mode
        self.driver.gesture("tap" if mode == "cutting" else "hold", after + 4)

    @rule(intent=st.sampled_from(Intent), number=st.integers(0, len(Mishap) - 1), after=SECONDS, old=st.integers(0, 1))
    def phrase(self, intent: str, number: int, after: float, old: int) -> None:
        checks = self.driver.state.the_job.checks
        setups = len(self.driver.state.the_job.setups)
        if intent in ("spoilt", "copy") and setups > 20:
            return  # no shop has wood for so many
        arguments: dict[str, str | int] = {"mishap": list(Mishap)[number], "figure": number}
        arguments |= {"check": checks[number % len(checks)].name, "go to": number, "socket": f"{number}.{old + 1}"}
        if number % 2:  # else the board in the clamps
            arguments |= dict.fromkeys(("board", "redo", "spoilt", "copy"), number)
        self.driver.heard(intent, arguments.get(intent), after, old, began=min(after, 1.0))

    @rule(
        number=st.integers(0, len(Mishap) - 1), answers=st.lists(st.sampled_from(("tap", "double", "hold")), max_size=9)
    )
    def something_goes_wrong(self, number: int, answers: list[str]) -> None:
        """Told while standing by, and answered in any way."""
        self.driver.heard("stand by")
        self.the_second_bookkeeper_agrees()
        self.driver.heard("mishap", list(Mishap)[number])
        self.the_second_bookkeeper_agrees()
        for gesture in ("hold", *answers):
            self.driver.gesture(gesture)
            self.the_second_bookkeeper_agrees()

    @rule(device=st.sampled_from(("microphone", "pedal")), state=st.sampled_from(("lost", "works")))
    def device(self, device: str, state: str) -> None:
        self.driver.device(device, state)

    @rule(seconds=st.floats(0, 40))
    def pause(self, seconds: float) -> None:
        self.driver.wait(seconds)

    @rule()
    def interrupt_and_resume(self) -> None:
        if self.driver.state.mode not in (FINISHED, ENDED_EARLY):
            self.driver.resume()

    @invariant()
    def the_second_bookkeeper_agrees(self) -> None:
        for record in self.driver.records[self.read :]:
            self.watcher.read(record.fact)
        self.read = len(self.driver.records)
        if self.heard is not self.driver.effects:
            self.heard = self.driver.effects
            self.watcher.hear(self.driver.effects)
        state = self.driver.state
        assert state.cut_in_all == self.watcher.cut_in_all()
        assert {p for p in range(1, state.passes + 1) if state.is_cut(p)} == self.watcher.cut[state.setup]

    @invariant()
    def replay_leads_to_the_same_place(self) -> None:
        for record in self.driver.records[self.replayed :]:
            assert misfit(self.replay, record.fact) == "", "what a session writes is never refused when it is resumed"
            self.replay = apply(self.replay, record)
        self.replayed = len(self.driver.records)
        state, live = self.replay, self.driver.state
        assert (state.n, state.setup, state.cuts, state.confirmed) == (live.n, live.setup, live.cuts, live.confirmed)
        assert (state.job, state.status, state.chosen) == (live.job, live.status, live.chosen)
        assert (state.moved, state.shallow, state.since_height) == (live.moved, live.shallow, live.since_height)

    @invariant()
    def something_can_be_answered(self) -> None:
        assert self.driver.state.mode == ENDED_EARLY or wanted(self.driver.state)


TestSession = Session.TestCase
TestSession.settings = settings(
    max_examples=60, stateful_step_count=80, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
