"""How alike wordings sound, by spelling: checked with a pronouncing dictionary, over phrases that a shop may choose."""

from __future__ import annotations

import random
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from assistant.plans.alike import TOO_ALIKE, apart, sounds_of, too_alike
from assistant.plans.checks import default_checks
from assistant.plans.intents import HARMLESS, NAMED, NUMBERED, PHRASED, Intent
from assistant.plans.languages import known_languages, language_of
from assistant.plans.own_phrases import dangerously_alike
from assistant.plans.shop_file import read_shop
from tests.plans.files import DEMO_SHOPS, SHOP, shop_faults, shop_of

ENGLISH = language_of("en")
# Intent, a phrase that a shop may want for it, and the shipped phrase that it is too similar to.
REFUSED = (
    ("cut", "return to the previous", "back"),
    ("cut", "please return to the previous one", "back"),
    ("cut", "return two previous", "back"),
    ("cut", "finish this session", "end"),
    ("cut", "finish this section", "end"),
    ("cut", "carry on walking", "carry on"),
    ("cut", "affirm that is bright", "yes"),
    ("back", "proceed to the next pass", "cut"),
    ("back", "proceed to last pass", "cut"),
    ("back", "this pass is uncompleted", "cut"),
    ("mark", "this pass is not completed", "cut"),
    ("end", "this pass is now completed", "cut"),
    ("end", "turn to the previous", "back"),
    ("no", "affirm that is not right", "yes"),
    ("no", "affirm that is wrong", "yes"),
    ("where", "return to the previous", "back"),
    ("again", "say again the session", "end"),
    ("carry on", "carry on with the working", None),
    ("yes", "negative cancel this", "no"),
    ("stand by", "mark down the problem", "mark"),
    ("mark", "go on to pass one number one", "go to"),
    ("how many", "all clamps are insecure", "clamps"),
    ("where", "safety card fitted", "guard"),
)
ACCEPTED = {
    "cut": (
        "cut is finished now",
        "that one is all cut",
        "next position please",
        "one more is done now",
        "ready for the next one",
        "sawn and clear again",
        "on to the following cut",
    ),
    "back": ("now back up by one pass", "step back to the last one", "undo the latest pass", "take me back a pass"),
    "go to": ("jump over to", "move along to pass"),
    "end": ("that is all for today", "we are done for today", "stop for the day now"),
    "yes": ("correct and confirmed", "i agree with that one", "positive go ahead"),
    "no": ("no leave it as it is", "wrong forget about it", "never mind about that"),
    "stand by": ("wait for a moment", "hold on a minute", "take a short break now"),
    "carry on": ("wilco carrying on", "break is over now", "let us continue now"),
    "where": ("where have we got to", "tell me the position", "which pass is it now"),
    "again": ("repeat the last number", "tell me one more time"),
    "how many": ("what is the remaining count", "how many passes remain"),
    "mark": ("note a defect here", "this one has a tear out", "flag the spot for later"),
    "louder": ("speak up a little please", "raise the volume a bit"),
    "quieter": ("lower the volume a bit", "not so loud if you please"),
    Intent.CHECK: (
        "dust port is open now",
        "stepper motor is holding",
        "fence is locked and square",
        "push block is within reach",
        "riving knife is lined up",
        "insert plate lies flush",
    ),
}


def of_language(name: str) -> list[tuple[str, str]]:
    """(intent, wording) of everything shipped in a language."""
    language = language_of(name)
    said = [(intent, text) for intent, texts in language.phrases.items() for text in texts]
    said += [(Intent.CHECK, check.answer) for check in default_checks(language)]
    return said + [(Intent.MISHAP, text) for text in language.mishaps.values()]


@pytest.mark.parametrize(("intent", "text", "of"), [case for case in REFUSED if case[2]])
def test_a_phrase_that_could_be_taken_for_another_is_refused_by_name(
    tmp_path: Path, intent: str, text: str, of: str
) -> None:
    file = SHOP + f'[[phrases]]\nintent = "{intent}"\nadd = ["{text}"]\n'
    (fault,) = shop_faults(tmp_path, file)
    assert fault.startswith("shop.toml: phrases[1].add: sounds too much like") and f'for "{of}"' in fault
    assert f'(got "{text}"); choose words that sound quite different' in fault


def test_the_same_meaning_may_sound_alike(tmp_path: Path) -> None:
    (intent, text, _) = next(case for case in REFUSED if case[2] is None)
    assert shop_of(tmp_path, SHOP + f'[[phrases]]\nintent = "{intent}"\nadd = ["{text}"]\n')


def test_phrases_that_a_shop_may_choose_are_accepted_together(tmp_path: Path) -> None:
    tables = [
        f'[[phrases]]\nintent = "{intent}"\nadd = {list(texts)}\n'.replace("'", '"')
        for intent, texts in ACCEPTED.items()
        if intent != Intent.CHECK
    ]
    tables += [
        f'[[checks]]\nname = "{n}"\nsay = "{n}?"\nanswer = "{a}"\n' for n, a in enumerate(ACCEPTED[Intent.CHECK])
    ]
    shop = shop_of(tmp_path, SHOP + "".join(tables))
    assert dict(shop.voice.phrases)["cut"] == (*ENGLISH.phrases["cut"], *ACCEPTED["cut"])
    assert [check.answer for check in shop.checks[-len(ACCEPTED[Intent.CHECK]) :]] == list(ACCEPTED[Intent.CHECK])


@pytest.mark.parametrize("name", known_languages())
def test_shipped_phrases_are_far_enough_apart(name: str) -> None:
    said = of_language(name)
    alike = [(a, b) for a, b in combinations(said, 2) if dangerously_alike(a, b, language_of(name))]
    assert not alike and {intent for intent, _ in said} == {*PHRASED, *NAMED}
    mishaps = language_of(name).mishaps.values()
    assert not [(a, b) for a, b in combinations(mishaps, 2) if too_alike(a, b)]


@pytest.mark.parametrize("path", DEMO_SHOPS, ids=lambda path: path.stem)
def test_the_demo_shops_own_answers_are_far_enough_apart(path: Path) -> None:
    answers = [(Intent.CHECK, check.answer) for check in read_shop(path).checks]
    assert not [(a, b) for a in answers for b in of_language("en") if dangerously_alike(a, b, ENGLISH)]


def test_a_shops_own_answer_must_meet_the_same_rules(tmp_path: Path) -> None:
    check = '[[checks]]\nname = "fence"\nsay = "fence?"\nanswer = "finish the lesson"\n'
    (fault,) = shop_faults(tmp_path, SHOP + check)
    assert fault.startswith('shop.toml: checks[1].answer: sounds too much like "finish the session" for "end"')
    assert fault.endswith("choose words that sound quite different")
    check = check.replace("finish the lesson", "fence is locked and square")
    text = SHOP + '[[phrases]]\nintent = "mark"\nadd = ["fence is logged and square"]\n' + check
    assert any(
        'checks[1].answer: sounds too much like "fence is logged' in fault for fault in shop_faults(tmp_path, text)
    )


def test_harm_needs_one_of_the_two_to_do_something() -> None:
    """A phrase that only asks, pauses, refuses or changes the voice does no harm if misheard."""
    a, b = "report all my progress", "report my progress"
    fixed = [intent for intent in PHRASED if intent not in NUMBERED]
    for one in fixed:
        for other in fixed:
            harmless = one == other or {one, other} <= HARMLESS
            assert dangerously_alike((one, a), (other, b), ENGLISH) == (not harmless)


def test_a_pronunciation_counts_as_said(tmp_path: Path) -> None:
    phrase = '[[phrases]]\nintent = "cut"\nadd = ["quxxingo the zzyrnal"]\n'
    assert shop_of(tmp_path, SHOP + phrase)
    said = '[pronunciations]\nquxxingo = "F IH N IH SH"\nzzyrnal = "S EH SH AH N"\n'
    (fault,) = shop_faults(tmp_path, SHOP + phrase + said)
    assert 'sounds too much like "finish the session"' in fault


def test_distance_is_0_for_the_same_the_same_both_ways_and_1_at_most() -> None:
    a, b = sounds_of("session"), sounds_of("lesson")
    assert apart(a, a) == 0 < apart(a, b) == apart(b, a) < 1 >= apart(a, ())
    assert apart(a, b, 0.1) == 0.1, "no need to count on"
    assert apart((), ()) == 0


def test_hangul_is_compared_by_its_letters() -> None:
    assert len(sounds_of("한")) == 3
    assert too_alike("다음 패스 로 진행", "다음 패스 로 진행해")
    assert not too_alike("다음 패스 로 진행", "오늘 작업 종료 합니다")


def test_pronunciations_agree_with_the_pronouncing_dictionary() -> None:
    """Outside reference: CMUdict, as shipped with pocketsphinx.

    Every phrase with one word another of them, and all pairs of phrases.
    """
    pytest.importorskip("pocketsphinx")
    from assistant.hearing.sphinx import pronouncer
    from assistant.hearing.vocabulary import distance

    pronounce = pronouncer()
    texts = [text for _, text in of_language("en")]
    words = sorted({word for text in texts for word in text.split()})
    chance = random.Random(1)
    pairs = list(combinations(texts, 2))
    for text in texts:
        own = text.split()
        for place in range(len(own)):
            pairs += [(text, " ".join([*own[:place], word, *own[place + 1 :]])) for word in chance.sample(words, 5)]
    by_dictionary = np.array([distance(a, b, pronounce) for a, b in pairs])
    sounds = [[sound for word in text.split() for sound in sounds_of(word)] for pair in pairs for text in pair]
    by_spelling = np.array([apart(a, b) for a, b in zip(sounds[::2], sounds[1::2], strict=True)])
    same_side = np.mean((by_dictionary < TOO_ALIKE) == (by_spelling < TOO_ALIKE))
    agreement = np.corrcoef(by_dictionary, by_spelling)[0, 1]
    print(f"{len(pairs)} pairs: same verdict {same_side:.3f}, correlation {agreement:.3f}")
    assert same_side > 0.95 and agreement > 0.95
