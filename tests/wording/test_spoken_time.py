"""How long an operator listens: by the real voice at the default rate, whole sessions of two of the demo's jobs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from assistant.plans.checks import DEFAULT_CHECKS
from assistant.plans.job import build_job
from assistant.plans.model import Job, VoiceSettings
from assistant.plans.plan_file import read_both
from assistant.session.effects import Say
from assistant.speaking.espeak import EspeakEngine
from assistant.wording.prompts import Words
from tests.plans.files import DEMO
from tests.session.driver import Driver

BEFORE = Path(__file__).with_name("tea_trays_before.tsv")
JOBS = [("tea-trays", "shop-readout"), ("spice-drawer-inch", "shop-handwheel-inch")]
RATE_BEFORE = 160  # words a minute
SETUP_S, CHECK_S = 12.0, 3.0
START_S = 9.0  # for kerf, clearance and zero, said once


@pytest.fixture(scope="module")
def voice() -> Iterator[EspeakEngine]:
    engine = EspeakEngine("en-us", VoiceSettings().speech_rate)
    yield engine
    engine.close()


def demo_job(plan: str, shop: str) -> Job:
    return build_job(*read_both(DEMO / f"{plan}.toml", DEMO / f"{shop}.toml"))


@dataclass
class Session:
    """A whole session in which nothing goes wrong. said: every announcement. asked: the checks, as they came."""

    job: Job
    said: list[Say] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        driver = Driver(self.job)
        while True:
            self.said += driver.says
            if driver.state.mode == "finished":
                return
            if driver.state.effective_mode == "checks":
                self.asked.append(driver.asked)
                driver.gesture("hold", after=self.job.run_down_s)
            else:
                driver.gesture("tap")

    def texts(self, klass: str = "") -> list[str]:
        """What is said, of one class or all."""
        words = Words(self.job)
        return [words.say(say.prompts) for say in self.said if klass in ("", say.klass)]

    @property
    def of_kerf_and_zero(self) -> str:
        """What is said at the start of kerf, clearance and zero."""
        (start,) = (say for say in self.said if say.klass == "caution")
        return Words(self.job).one(start.prompts[-1])


def seconds(voice: EspeakEngine, text: str) -> float:
    pcm = voice.render(text)
    assert pcm is not None and pcm.frames
    return pcm.seconds


def said_before() -> Counter[str]:
    rows = [line.split("\t") for line in BEFORE.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    return Counter({text: int(count) for count, text in rows})


def test_the_tea_trays_take_sixty_percent_of_what_they_took_and_no_check_is_lost(voice: EspeakEngine) -> None:
    """Both in one run, each at its own rate. Measured: 423.8 s before, 252.9 s now.

    Without kerf, clearance and zero, of which nothing was said before: they have a limit of their own.
    """
    session, before = Session(demo_job(*JOBS[0])), said_before()
    now = sum(seconds(voice, text) for text in session.texts()) - seconds(voice, session.of_kerf_and_zero)
    voice.set_rate(RATE_BEFORE)
    took = sum(count * seconds(voice, text) for text, count in before.items())
    voice.set_rate(session.job.voice.speech_rate)
    assert now < 0.6 * took
    assert before.total() == len(session.said), "as many announcements"
    settings = [text for text in before.elements() if text.startswith(("Set ", "Down "))]
    assert len(session.texts("setting")) == len(settings) == session.job.total_passes
    checks = [text for text in before.elements() if text.endswith("?") or text.startswith("Saw off.")]
    assert len(session.texts("check")) == len(checks) == len(session.asked) == 24
    assert Counter(session.asked) == {
        "zero": 1,
        "edge and face": 6,
        "clamps": 1,
        "guard": 1,
        "clamps and guard": 5,
        "blade height": 1,
        "backing": 2,
        "dust port": 1,
        "saw off": 6,
    }


@pytest.mark.parametrize(("plan", "shop"), JOBS)
def test_a_setup_takes_twelve_seconds_and_a_check_three(voice: EspeakEngine, plan: str, shop: str) -> None:
    """A limit of the wording, not of a machine: rendered speech is as long on any. Measured: 10.8 s and 2.9 s."""
    session = Session(demo_job(plan, shop))
    setups = [seconds(voice, text) for text in session.texts("clamp")]
    checks = {text: seconds(voice, text) for text in session.texts("check")}
    assert len(setups) == len(session.job.setups) and 8 < max(setups) < SETUP_S, setups
    assert all(0.5 < spoken < CHECK_S for spoken in checks.values()), checks
    assert max(setups[2:]) < max(setups[:2]), "from the third on in short"


def test_carrying_on_too_is_asked_in_short(voice: EspeakEngine) -> None:
    (check,) = (check for check in DEFAULT_CHECKS if check.name == "carrying on")
    driver = Driver(demo_job(*JOBS[0]))
    driver.confirm_all()
    driver.gesture("hold")
    driver.gesture("hold")
    assert driver.asked == check.name and 0.5 < seconds(voice, driver.said) < CHECK_S


@pytest.mark.parametrize(("plan", "shop"), JOBS)
def test_kerf_clearance_and_zero_are_said_in_a_few_seconds(voice: EspeakEngine, plan: str, shop: str) -> None:
    """Measured: 7.7 s in millimetres, 7.1 s in inches."""
    text = Session(demo_job(plan, shop)).of_kerf_and_zero
    assert text.startswith("Kerf ") and "At zero" in text
    assert 3 < seconds(voice, text) < START_S, text
