"""The checks in effect: the default checks in order, and what a shop file may change."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.plans.checks import DEFAULT_CHECKS, FIGURES, FIXED, aloud, default_checks
from assistant.plans.languages import CHECKS, known_languages, language_of
from tests.plans.files import DEMO_SHOPS, SHOP, shop_faults, shop_of

BAR = SHOP + '[carriage]\nregister = "setting bar"\n'
DUST = '[[checks]]\nname = "dust port"\nsay = "dust port open?"\nanswer = "dust port is open now"\n'


def _names(folder: Path, text: str) -> list[str]:
    return [check.name for check in shop_of(folder, text).checks]


def test_default_checks_in_order_with_when(tmp_path: Path) -> None:
    assert [(check.name, check.when) for check in shop_of(tmp_path, BAR).checks] == [
        ("glue dry and trimmed", "stage"),
        ("zero", "session"),
        ("edge and face", "setup"),
        ("setting bar out", "setup"),
        ("clamps", "setup"),
        ("guard", "setup"),
        ("clamps and guard", "setup"),
        ("carrying on", "standing by"),
        ("blade height", "depth"),
        ("backing", "part"),
        ("saw off", "setup end"),
        ("board out", "leaving"),
    ]


def test_the_setting_bar_check_is_there_only_with_a_setting_bar(tmp_path: Path) -> None:
    assert "setting bar out" not in _names(tmp_path, SHOP)


def test_the_guard_question_names_what_guards_this_cut(tmp_path: Path) -> None:
    text = SHOP + '[guard]\nfitted = "blade box behind the backing"\n'
    guard = next(check for check in shop_of(tmp_path, text).checks if check.name == "guard")
    assert guard.say == "guard for this cut fitted: blade box behind the backing?"
    usual = next(check for check in shop_of(tmp_path).checks if check.name == "guard")
    assert "boxed in where it comes out behind the backing" in usual.say


def test_the_clamp_question_names_the_span_of_the_blade_and_the_height_check_the_depth() -> None:
    says = {check.name: check.say for check in DEFAULT_CHECKS}
    assert all(figure in says["clamps"] for figure in ("{lowest}", "{highest}", "{above}"))
    assert "{depth}" in says["blade height"]
    figures = dict.fromkeys((*FIGURES, "way", "piece"), "7")
    assert all("{" not in say.format(**figures) for say in says.values())


def test_a_default_question_has_a_short_form_and_one_of_a_shops_own_is_said_as_it_is(tmp_path: Path) -> None:
    for check in DEFAULT_CHECKS:
        if check.name not in ("edge and face", "distance piece"):  # placeholders alone
            assert len(aloud(check.name, check.say)) <= len(check.say)
        assert aloud(check.name, f"{check.say} And the fence?") == f"{check.say} And the fence?"
    text = SHOP + '[guard]\nfitted = "blade box behind the backing"\n'
    guard = next(check for check in shop_of(tmp_path, text).checks if check.name == "guard")
    assert aloud("guard", guard.say) == "guard for this cut fitted?"
    assert aloud("dust port", "dust port open?") == "dust port open?"


def test_default_answers_are_distinct_and_free_of_other_phrases() -> None:
    answers = [check.answer for check in DEFAULT_CHECKS]
    assert len(set(answers)) == len(answers)
    assert not set(answers) & {text for texts in language_of("en").phrases.values() for text in texts}


def test_every_language_confirms_every_default_check() -> None:
    for name in known_languages():
        checks = default_checks(language_of(name))
        assert sorted(check.name for check in checks) == sorted(CHECKS)
        assert all(check.answer for check in checks)


def test_every_word_of_every_answer_is_known_to_the_embedded_recogniser(tmp_path: Path) -> None:
    """Outside reference: the pronouncing dictionary shipped with pocketsphinx."""
    pocketsphinx = pytest.importorskip("pocketsphinx")
    decoder = pocketsphinx.Decoder(lm=None, loglevel="FATAL")
    checks = list(DEFAULT_CHECKS)
    for path in DEMO_SHOPS:
        checks += shop_of(tmp_path, path.read_bytes()).checks
    words = {word for check in checks for word in check.answer.split()}
    assert [word for word in words if decoder.lookup_word(word) is None] == []


def test_own_checks_follow_the_default_ones(tmp_path: Path) -> None:
    check = shop_of(tmp_path, SHOP + DUST + 'when = "every 25"\n').checks[-1]
    assert (check.name, check.say, check.answer, check.when, check.every) == (
        "dust port",
        "dust port open?",
        "dust port is open now",
        "every",
        25,
    )


def test_an_own_check_without_when_is_asked_at_every_setup(tmp_path: Path) -> None:
    assert shop_of(tmp_path, SHOP + DUST).checks[-1].when == "setup"


def test_checks_order_puts_the_named_ones_first(tmp_path: Path) -> None:
    names = _names(tmp_path, 'checks_order = ["guard", "dust port"]\n' + SHOP + DUST)
    assert names[:4] == ["guard", "dust port", "glue dry and trimmed", "zero"]
    assert len(names) == 12


def test_checks_off_removes(tmp_path: Path) -> None:
    assert "backing" not in _names(tmp_path, 'checks_off = ["backing"]\n' + SHOP)


def test_a_default_check_may_get_another_when_and_other_words(tmp_path: Path) -> None:
    text = SHOP + '[[checks]]\nname = "backing"\nwhen = "setup"\nanswer = "backing board is a fresh one"\n'
    backing = next(check for check in shop_of(tmp_path, text).checks if check.name == "backing")
    assert (backing.when, backing.answer) == ("setup", "backing board is a fresh one")
    assert backing.say == next(check.say for check in DEFAULT_CHECKS if check.name == "backing")


@pytest.mark.parametrize("name", FIXED)
def test_what_keeps_fingers_safe_stays_and_stays_when_it_is_asked(tmp_path: Path, name: str) -> None:
    every = "clamps, guard, clamps and guard, carrying on, saw off, board out, distance piece are always asked"
    shop = SHOP + "[carriage]\ntravel = [0, 60]\ndistance_piece = 30\n"
    assert shop_faults(tmp_path, f'checks_off = ["{name}"]\n' + shop) == [
        f'shop.toml: checks_off: can\'t remove this check (got "{name}"); leave it out: {every}'
    ]
    assert shop_faults(tmp_path, shop + f'[[checks]]\nname = "{name}"\nwhen = "session"\n') == [
        f'shop.toml: checks[1].when: can\'t be changed for {name} (got "session"); '
        f'it is always "{FIXED[name]}"; leave this out'
    ]
    same = shop_of(tmp_path, shop + f'[[checks]]\nname = "{name}"\nwhen = "{FIXED[name]}"\nsay = "well then?"\n')
    assert next(check for check in same.checks if check.name == name).say == "well then?"


def test_a_removed_check_is_refused_with_what_replaced_it(tmp_path: Path) -> None:
    mend = 'is no longer a check (got "hold-down"); leave it out: it is part of the clamps question'
    assert shop_faults(tmp_path, 'checks_off = ["hold-down"]\n' + SHOP) == [f"shop.toml: checks_off: {mend}"]
    told = shop_faults(tmp_path, SHOP + '[[checks]]\nname = "hold-down"\nwhen = "setup"\n')
    assert len(told) == 1 and "checks[1].name: is no longer a check" in told[0]


def test_a_shops_own_check_may_be_asked_at_a_setups_end(tmp_path: Path) -> None:
    assert shop_of(tmp_path, SHOP + DUST + 'when = "setup end"\n').checks[-1].when == "setup end"


@pytest.mark.parametrize(
    ("answer", "what"),
    [
        ("yes it is", "has 3 syllables, too few to be kept apart from other speech"),
        ("all clamps are secure", 'is like the answer of the check "clamps"'),
        ("all clamps are secure now", 'is like the answer of the check "clamps"'),
        ("this pass is completed", "is like a phrase that means something else"),
        ("go to pass number seven", "is like a phrase that means something else"),
        ("it is time for a coffee now", 'is like the phrase of the mishap "break"'),
        ("dust port 2 is open now", "must be plain words, letters only"),
        ("marigold dust port is open", 'must not begin with the lead-in word "marigold"'),
    ],
)
def test_answers_must_be_long_plain_and_distinct(tmp_path: Path, answer: str, what: str) -> None:
    faults = shop_faults(tmp_path, SHOP + f'[[checks]]\nname = "x"\nsay = "x?"\nanswer = "{answer}"\n')
    assert len(faults) == 1
    assert faults[0].startswith(f"shop.toml: checks[1].answer: {what}")
    mend = "write it without that word" if "lead-in" in what else "give a phrase of five syllables or more"
    assert f'(got "{answer}"); {mend}' in faults[0]


@pytest.mark.parametrize(
    "say", ["{foo}", "{", "}", "{{depth}}", "{depth:>9}", "{depth!r}", "{depth.real}", "{}", "{0}"]
)
def test_questions_take_no_other_figures(tmp_path: Path, say: str) -> None:
    text = SHOP + f'[[checks]]\nname = "x"\nsay = "{say}"\nanswer = "dust port is open now"\n'
    assert shop_faults(tmp_path, text) == [
        f'shop.toml: checks[1].say: holds a figure we can\'t fill in (got "{say}"); '
        "use {lowest}, {highest}, {depth}, {above} and {sockets} only, and no other braces"
    ]


@pytest.mark.parametrize("when", ["often", "every 0", "every", "every 20001", "every 5 ", "every x"])
def test_when_is_one_of_the_known_times(tmp_path: Path, when: str) -> None:
    text = SHOP + DUST + f'when = "{when}"\n'
    if when == "every 5 ":
        assert shop_of(tmp_path, text).checks[-1].every == 5
        return
    assert "checks[1].when: is not a time to ask a check" in shop_faults(tmp_path, text)[0]


def test_every_fault_of_the_checks_is_reported_at_once(tmp_path: Path) -> None:
    text = (
        'checks_order = ["gurd", "clamps", "clamps"]\nchecks_off = "backing"\n'
        + SHOP
        + DUST
        + DUST
        + '[[checks]]\nname = "setting bar out"\n'
        + '[[checks]]\nsay = "x"\nansver = "y"\n'
        + '[[checks]]\nname = "y"\n'
        + '[guard]\nfitted = "{box}"\n'
    )
    faults = "\n".join(shop_faults(tmp_path, text))
    for expected in (
        'checks_order: is not a default check (got "gurd"); did you mean "guard"?',
        'checks_order: names a check twice (got "clamps"); name it once',
        'checks_off: must be a list of names (got "backing"); give checks_off = ["name", "name"]',
        'checks[2].name: names a check a second time (got "dust port"); give each check its own name',
        'checks[3].name: is a check for a setting bar only (got "setting bar out")',
        "checks[4].name: is missing",
        "checks[5].say: is missing",
        "checks[5].answer: is missing; give a phrase of five syllables or more, of ordinary words",
        'guard.fitted: must hold no braces (got "{box}"); write it in plain words',
    ):
        assert expected in faults
