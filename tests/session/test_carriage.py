"""A carriage on a screw with play: following the announcements makes every cut where it is laid out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction as F

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from assistant.errors import BadInput
from assistant.joinery.model import Blade, Carriage
from assistant.plans.job import build_job
from assistant.plans.model import BoardPlan, Job, JointPlan, Plan, Shop
from assistant.session.due import PassStep, steps
from assistant.session.slip import to_try
from assistant.wording.prompts import Words
from tests.session.driver import Driver
from tests.session.jobs import few_checks
from tests.wording.turner import Turner, number

BOARDS = (BoardPlan("long side", "A", 1, 2), BoardPlan("short side", "B", 1, 2))


@dataclass
class Screw:
    """Where the dial shows the carriage, and where the carriage really is, mm.

    Turned upwards, the screw pushes the carriage. Turned downwards, it first turns through its play and then pulls the
    carriage after it.
    """

    play: F
    says: F = F(0)
    stands: F = F(0)

    def to(self, setting: F) -> None:
        self.says = setting
        self.stands = min(max(self.stands, setting), setting + self.play)


def stops(words: str, carriage: Carriage, says: F) -> list[F]:
    """Where the words of a setting lead an operator who does just that, mm, from what the dial or readout shows."""
    words = words.lower().removeprefix("set the carriage, start the saw, cut, draw back clear and tap. ")
    words = words.removesuffix(".")
    if carriage.kind == "handwheel":
        assert carriage.divisions
        turner = Turner(round(says / carriage.resolution), carriage.divisions)
        turner.follow(words)
        return [each * carriage.resolution for each in turner.stops]
    unit = F(254, 10) if carriage.unit == "in" else F(1)
    unit = carriage.resolution if carriage.kind == "steps" else unit
    before, _, last = words.rpartition(", then ")
    way, _, said = last.rpartition(" to ")
    setting = number(said) * unit
    if not before:
        assert not way, "a setting alone is a number and nothing else"
        return [setting]
    # The one number that could be set is the setting: what comes before it is a distance, with its unit.
    distance, _, side = before.rpartition(" ")
    first = setting + {"above": 1, "below": -1}[side] * length(distance, unit)
    moved = {"up": setting > first, "down": setting < first, "on down": setting < first < says}
    assert moved[way], f"{words}, but it says {float(says)}"
    return [first, setting]


def length(words: str, unit: F) -> F:
    """A distance with its unit, which must be the carriage's own (mm)."""
    if words == "half a millimetre":
        return F(1, 2)
    amount, _, noun = words.rpartition(" ")
    size = {"mill": F(1), "inch": F(254, 10), "step": unit}[noun[:4]]
    assert size == unit, f"{words}: another unit than the setting's"
    return number(amount) * size


@st.composite
def shops(draw: st.DrawFn) -> Shop:
    kind = draw(st.sampled_from(["readout", "handwheel", "steps"]))
    unit = "mm" if kind == "steps" else draw(st.sampled_from(["mm", "in"]))
    pitch = divisions = None
    resolution = draw(st.sampled_from([F(1, 100), F(1, 20)])) if unit == "mm" else F(254, 10_000)
    if kind == "steps":
        resolution = F(1, draw(st.sampled_from([80, 400])))
    if kind == "handwheel":
        pitch, divisions = draw(st.sampled_from([F(2), F(254, 160)])), draw(st.sampled_from([50, 125]))
        resolution = pitch / divisions
    zero = draw(st.sampled_from(["outside", "inside"]))
    backlash = draw(st.sampled_from([F(0), F(1, 10), F(3, 4)]))
    carriage = Carriage(kind, resolution, pitch, divisions, unit, zero, backlash=backlash)
    kerf = draw(st.sampled_from([F(318, 100), F(241, 100), F(5)]))
    return Shop("mm", Blade(kerf, overrun=draw(st.sampled_from([F(0), F(1, 2), F(2)]))), carriage, checks=few_checks())


@st.composite
def jobs(draw: st.DrawFn) -> Job:
    """Plans whose edge sockets may be narrower than the kerf, on every carriage."""
    kinds = {
        "starts_with": draw(st.sampled_from(["finger", "socket"])),
        "remainder": draw(st.sampled_from(["far edge", "both edges", "stretch"])),
    }
    width = F(draw(st.integers(20, 70)))
    joint = JointPlan("even", finger=F(draw(st.integers(6, 14))), **kinds)
    if draw(st.booleans()):
        edge, inner = F(draw(st.integers(1, 6))), st.integers(6, 14).map(F)
        widths = (edge, *draw(st.lists(inner, min_size=1, max_size=4)), edge)
        width, joint = sum(widths, F(0)), JointPlan("listed", widths=widths, starts_with=kinds["starts_with"])
    plan = Plan("Tray", "mm", width, {"A": F(10), "B": F(12)}, joint, draw(st.permutations(BOARDS)))
    try:
        return build_job(plan, draw(shops()))
    except BadInput:
        assume(False)
        raise


@given(jobs(), st.booleans())
@settings(deadline=None, max_examples=150, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])
def test_following_what_is_said_makes_every_cut_where_it_is_laid_out(job: Job, down: bool) -> None:
    if down:  # a calibration's second pass comes down to its setting
        first = job.patterns[0]
        passes = tuple(replace(one, down=one.number == 2) for one in first.passes)
        job = replace(job, patterns=(replace(first, passes=passes), *job.patterns[1:]))
    _follow(job)


@st.composite
def in_two_halves(draw: st.DrawFn) -> Job:
    """Boards of 60 mm on a travel that ends at 40 mm or so."""
    shop, finger = draw(shops()), F(draw(st.integers(6, 9)))
    travel, piece = (F(-20), F(draw(st.integers(37, 44)))), F(draw(st.integers(2700, 3300)), 100)
    shop = replace(shop, carriage=replace(shop.carriage, travel=travel, distance_piece=piece))
    plan = Plan("Tray", "mm", F(60), {"A": F(10), "B": F(12)}, JointPlan("even", finger=finger), BOARDS)
    return build_job(plan, shop)


@given(in_two_halves())
@settings(deadline=None, max_examples=40, suppress_health_check=[HealthCheck.too_slow])
def test_in_two_halves_too_where_the_carriage_goes_to_a_cut_of_the_first_between_them(job: Job) -> None:
    assert {setup.half for setup in job.setups} == {"piece in", "piece out"}
    _follow(job)


def _confirm(driver: Driver, screw: Screw) -> None:
    """Long press until no check is open, and bring the carriage up to where a check asks to try the still blade."""
    while driver.state.effective_mode == "checks":
        tried = to_try(driver.state) if driver.asked == "distance piece" else None
        if tried:
            screw.says = screw.stands = tried.setting
        driver.gesture("hold", after=driver.state.the_job.run_down_s)


def _follow(job: Job) -> None:
    words, driver = Words(job), Driver(job)
    screw = Screw(job.carriage.backlash or F(1, 10))
    called = []
    _confirm(driver, screw)
    while driver.state.mode != "finished":
        (said,) = (say for say in driver.says if say.klass == "setting")
        called.append(dict(said.prompts[-1].figures)["approach"])
        for stop in stops(words.one(said.prompts[-1]), job.carriage, screw.says):
            screw.to(stop)
        one = driver.state.pattern.passes[driver.state.cursor - 1]
        assert screw.says == one.setting
        assert screw.stands == one.setting + (screw.play if one.down else 0), f"pass {one.number} is off by its play"
        driver.gesture("tap")
        _confirm(driver, screw)
    assert called == [step.approach for step in steps(job) if isinstance(step, PassStep)]


@given(jobs(), st.integers(1, 6), st.booleans())
@settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])
def test_after_an_interruption_a_carriage_found_at_its_setting_is_not_moved_there_again(
    job: Job, interrupted: int, came_up: bool
) -> None:
    """Interrupted after the carriage was moved to the pass in flight, or only past it before coming up."""
    words, driver = Words(job), Driver(job)
    screw = Screw(job.carriage.backlash or F(1, 10))
    driver.confirm_all()
    for done in range(interrupted):
        (said,) = (say for say in driver.says if say.klass == "setting")
        for stop in stops(words.one(said.prompts[-1]), job.carriage, screw.says):
            screw.to(stop)
        if done < interrupted - 1:
            driver.gesture("tap")
            driver.confirm_all()
            assume(driver.state.mode != "finished")
    one = driver.state.pattern.passes[driver.state.cursor - 1]
    if not came_up and dict(said.prompts[-1].figures)["approach"] is not None:
        screw.stands = one.setting + screw.play
    driver.resume()
    assert driver.state.question and driver.state.question.name == "carriage"
    while driver.state.question:
        driver.gesture("hold")
    driver.confirm_all()
    (said,) = (say for say in driver.says if say.klass == "setting")
    for stop in stops(words.one(said.prompts[-1]), job.carriage, screw.says):
        screw.to(stop)
    assert screw.says == one.setting
    assert screw.stands == one.setting, "off by its play"
