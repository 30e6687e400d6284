"""How long an operator listens before the first answer and at each check, by the real voice at the default rate."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from assistant.plans.job import build_job
from assistant.plans.model import Job, VoiceSettings
from assistant.plans.plan_file import read_both
from assistant.session.effects import Say
from assistant.speaking.espeak import EspeakEngine
from assistant.wording.prompts import Words
from tests.plans.files import DEMO
from tests.session.driver import Driver


@pytest.fixture(scope="module")
def voice() -> Iterator[EspeakEngine]:
    engine = EspeakEngine("en-us", VoiceSettings().speech_rate)
    yield engine
    engine.close()


def demo_job(plan: str, shop: str) -> Job:
    return build_job(*read_both(DEMO / f"{plan}.toml", DEMO / f"{shop}.toml"))


def seconds(voice: EspeakEngine, job: Job, says: list[Say]) -> float:
    pcm = [voice.render(Words(job).say(say.prompts)) for say in says]
    return sum(each.seconds for each in pcm if each is not None)


@pytest.mark.parametrize(
    ("plan", "shop"), [("tea-trays", "shop-readout"), ("spice-drawer-inch", "shop-handwheel-inch")]
)
def test_half_a_minute_before_the_first_answer_and_twelve_seconds_a_check(
    voice: EspeakEngine, plan: str, shop: str
) -> None:
    """Measured 26.9 and 28.5 s, and 9.6 and 11.7 s for the clamps with the height to keep clear."""
    job = demo_job(plan, shop)
    driver = Driver(job)
    first = seconds(voice, job, driver.says)
    assert 15 < first < 30
    while driver.state.effective_mode == "checks":
        assert 0.5 < seconds(voice, job, driver.says[-1:]) < 12
        driver.gesture("hold")
