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
    """At every setup, to the last one's end. Measured: 26.4 and 28.0 s before the first answer.

    Clamps with what to keep clear take 10.3 and 11.8 s, once for each depth; with the guard 9.9 and 11.2 s at the other
    setups; saw off 4.2 s; carrying on 3.2 s; every other check 5.0 s or less.
    """
    job = demo_job(plan, shop)
    driver = Driver(job)
    first = seconds(voice, job, driver.says)
    assert 15 < first < 30
    took: dict[str, float] = {}

    while driver.state.mode != "finished":
        if driver.state.effective_mode == "checks":
            spoken = seconds(voice, job, driver.says[-1:])
            took[driver.asked] = max(spoken, took.get(driver.asked, 0.0))
            driver.gesture("hold", after=job.run_down_s)
        elif "carrying on" not in took:
            # Stand by, and carry on.
            driver.gesture("hold")
            driver.gesture("hold")
        else:
            driver.gesture("tap")
    assert {"clamps", "clamps and guard", "carrying on", "saw off"} <= took.keys()
    assert all(0.5 < spoken < 12 for spoken in took.values()), took
