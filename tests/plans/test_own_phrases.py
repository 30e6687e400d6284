"""[[phrases]] and [pronunciations]: what a user may say instead, under the same rules as the shipped phrases."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.plans.languages import language_of
from assistant.plans.own_phrases import PHONES, phrases_of
from tests.plans.files import SHOP, job_of, shop_faults, shop_of

CUT = '[[phrases]]\nintent = "cut"\n'


def wordings(folder: Path, text: str, intent: str = "cut") -> tuple[str, ...]:
    return phrases_of(shop_of(folder, SHOP + text).voice)[intent]


def test_say_replaces_and_add_puts_more_beside(tmp_path: Path) -> None:
    shipped = language_of("en").phrases["cut"]
    assert wordings(tmp_path, CUT + 'say = ["Cut is finished now"]') == ("cut is finished now",)
    assert wordings(tmp_path, CUT + 'add = ["cut is finished now"]') == (*shipped, "cut is finished now")
    assert wordings(tmp_path, "") == shipped


def test_the_words_before_a_pass_number_may_be_ones_own(tmp_path: Path) -> None:
    text = '[[phrases]]\nintent = "go to"\nsay = ["jump over to"]'
    assert wordings(tmp_path, text, "go to") == ("jump over to",)


def test_other_intents_keep_theirs(tmp_path: Path) -> None:
    text = CUT + 'say = ["cut is finished now"]'
    assert wordings(tmp_path, text, "end") == ("finish the session",)


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        (CUT + 'say = ["done"]', "phrases[1].say: has 1 syllable, too few to be kept apart from other speech"),
        (CUT + 'say = ["cut 5 is finished now"]', "phrases[1].say: must be plain words, letters only"),
        (
            CUT + 'say = ["marigold cut is done"]',
            'phrases[1].say: must not begin with the lead-in word "marigold", which Kerfcall adds itself '
            '(got "marigold cut is done"); write it without that word',
        ),
        (CUT + 'say = ["finish the session"]', 'phrases[1].say: is too much like a phrase of "end"'),
        (CUT + 'say = ["go to pass number"]', 'phrases[1].say: is too much like a phrase of "go to"'),
        (CUT + 'say = ["all clamps are secure"]', 'phrases[1].say: is too much like the answer of the check "clamps"'),
        (CUT + 'say = ["the kerf was measured"]', 'phrases[1].say: is too much like the phrase of the mishap "kerf me'),
        (CUT + 'say = ["the circuit breaker had tripped"]', "phrases[1].say: sounds too much like"),
        ('[[phrases]]\nintent = "mishap"\n', "phrases[1].intent: has fixed phrases, one for each mishap"),
        (CUT + "say = []", "phrases[1].say: must be 1 to 10 phrases"),
        (CUT + 'say = "cut is finished now"', "phrases[1].say: must be a list of names"),
        (CUT, "phrases[1].say: is missing"),
        (
            CUT + 'say = ["cut is finished now"]\nadd = ["that was one more cut"]',
            "phrases[1].add: means nothing together with",
        ),
        (CUT + 'say = ["cut is finished now", "cut is finished now"]', "phrases[1].say: gives a phrase twice"),
        (CUT + 'sy = ["cut is finished now"]', "phrases[1].sy: is not a key that Kerfcall knows; did you mean say?"),
        (
            '[[phrases]]\nintent = "cutt"\n',
            'phrases[1].intent: is not a known intent (got "cutt"); did you mean',
        ),
        ('[[phrases]]\nintent = "check"\n', "phrases[1].intent: has an answer instead of a phrase"),
        ('[[phrases]]\nsay = ["a"]', "phrases[1].intent: is missing"),
        (2 * (CUT + 'say = ["cut is finished now"]\n'), "phrases[2].intent: is given twice"),
        ('[pronunciations]\nwilco = "W IH L K OO"', 'pronunciations.wilco: contains "OO", a phone that'),
        ('[pronunciations]\nwilco = ""', "pronunciations.wilco: must be text of 1 to 200 characters"),
        ("[pronunciations]\nwilco = 3", "pronunciations.wilco: must be text of 1 to 200 characters"),
        ('[pronunciations]\n"Will co" = "W IH L"', "pronunciations.Will co: must be one word in lower-case letters"),
        ('[voice]\nlead_in = "standing"', "voice.lead_in: is the first word of a phrase"),
        ('[voice]\nlead_in = "sawdust"', "voice.lead_in: is the first word of a phrase"),
        (
            '[voice]\nlanguage = "ko"\n[pronunciations]\nwilco = "W IH L K OW"',
            "pronunciations: work with the embedded recogniser, which hears only en",
        ),
    ],
)
def test_unsayable_phrases_are_refused(tmp_path: Path, text: str, fault: str) -> None:
    faults = shop_faults(tmp_path, SHOP + text)
    assert any(line.startswith(f"shop.toml: {fault}") for line in faults), faults


def test_all_faults_are_reported_at_once(tmp_path: Path) -> None:
    text = CUT + 'say = ["done", "b 2"]\n[[phrases]]\nintent = "ned"\n[pronunciations]\nx = "Q"\n[voice]\nlead_in = "A"'
    assert len(shop_faults(tmp_path, SHOP + text)) == 5


def test_an_own_answer_may_not_be_an_own_phrase_and_the_fault_is_the_answers(tmp_path: Path) -> None:
    text = CUT + 'say = ["cut is finished now"]\n[[checks]]\nname = "x"\nsay = "x?"\nanswer = "cut is finished now"\n'
    assert [line.split(": ")[1] for line in shop_faults(tmp_path, SHOP + text)] == ["checks[1].answer"]


def test_a_wording_given_up_is_free_for_an_answer(tmp_path: Path) -> None:
    text = (
        CUT + 'say = ["cut is finished now"]\n[[checks]]\nname = "x"\nsay = "x?"\nanswer = "this pass is completed"\n'
    )
    assert shop_of(tmp_path, SHOP + text).checks[-1].answer == "this pass is completed"


def test_phones_are_cmudicts_with_or_without_stress(tmp_path: Path) -> None:
    voice = shop_of(tmp_path, SHOP + '[pronunciations]\nwilco = "W IH1 L K OW0"\nfower = "f ow er"\n').voice
    assert voice.pronunciations == (("wilco", "W IH L K OW"), ("fower", "F OW ER"))


def test_the_phones_are_those_of_the_embedded_recognisers_dictionary() -> None:
    """Outside reference: every phone used in cmudict-en-us.dict, as shipped with pocketsphinx."""
    pocketsphinx = pytest.importorskip("pocketsphinx")
    lines = Path(pocketsphinx.get_model_path("en-us/cmudict-en-us.dict")).read_text(encoding="utf-8").splitlines()
    assert {phone for line in lines for phone in line.split()[1:]} == PHONES


def test_they_go_into_the_job(tmp_path: Path) -> None:
    text = CUT + 'say = ["wilco that one is cut"]\n[pronunciations]\nwilco = "W IH L K OW"\n'
    voice = job_of(tmp_path, shop=SHOP + text).voice
    assert voice.phrases == (("cut", ("wilco that one is cut",)),)
    assert voice.pronunciations == (("wilco", "W IH L K OW"),)


def test_a_korean_shop_is_confirmed_in_korean(tmp_path: Path) -> None:
    shop = shop_of(tmp_path, SHOP + '[voice]\nlanguage = "ko"\n')
    assert (shop.voice.language, shop.voice.lead_in) == ("ko", language_of("ko").lead_in)
    assert {check.name: check.answer for check in shop.checks}["clamps"] == language_of("ko").answers["clamps"]
    text = SHOP + '[[checks]]\nname = "x"\nsay = "x?"\nanswer = "집진 구멍 열림"\n[voice]\nlanguage = "ko"\n'
    assert shop_of(tmp_path, text).checks[-1].answer == "집진 구멍 열림"
