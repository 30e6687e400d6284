"""The grammar holds exactly the phrases."""

from __future__ import annotations

from dataclasses import replace

import pytest

from assistant.hearing.grammar import jsgf, tree_of
from assistant.hearing.numbers import AnyNumber
from tests.hearing.voices import table


def sentences(rule: str) -> set[str]:
    """Every sentence of a rule: read back independently of how it was written."""
    tokens = rule.split()

    def alternatives(i: int, close: str) -> tuple[list[str], int]:
        found, current = [], [""]
        while tokens[i] != close:
            if tokens[i] == "|":
                found, current, i = found + current, [""], i + 1
                continue
            if tokens[i] in "([":
                inside, i = alternatives(i + 1, ")" if tokens[i] == "(" else "]")
                options = inside if tokens[i] == ")" else [*inside, ""]
                i += 1
            else:
                options, i = [tokens[i]], i + 1
            current = [f"{a} {b}".strip() for a in current for b in options]
        return found + current, i

    return set(alternatives(0, ";")[0])


def test_the_grammar_says_every_phrase_and_nothing_else():
    texts = {phrase.text for phrase in table(120)}
    rule = jsgf(texts).split("=", 1)[1]
    assert sentences(rule) == texts


def test_a_phrase_that_another_goes_on_from_may_still_stop():
    assert sentences(jsgf(["go to", "go to pass"]).split("=", 1)[1]) == {"go to", "go to pass"}


def test_any_number_is_every_row_of_digits_and_any_other_after_its_word():
    """With the digits' rule written out, since it is read back as words."""
    number = AnyNumber("the figure is", "number", ("one", "two"), 2)
    text = jsgf(["go on"], [number])
    digits, rule = (line.split("=", 1)[1] for line in text.splitlines() if "=" in line)
    rows = ["one", "two", "one one", "one two", "two one", "two two"]
    expected = {f"the figure is {a} number {b}" for a in rows for b in rows} | {"go on"}
    assert sentences(rule.replace("<digit0>", f"( {digits.strip(' ;')} )")) == expected
    once = jsgf([], [replace(number, again="")]).splitlines()[-1].split("=", 1)[1]
    assert sentences(once.replace("<digit0>", "( one | two )")) == {f"the figure is {row}" for row in rows}


@pytest.mark.parametrize("bad", [AnyNumber("go 5", "", ("one",), 1), AnyNumber("go", "", ("<x>",), 1)])
def test_words_of_numbers_that_would_change_the_grammar_are_refused(bad):
    with pytest.raises(ValueError):
        jsgf(["go on"], [bad])


@pytest.mark.parametrize("bad", [["NEXT"], ["go 5"], ["<b>"], [""], []])
def test_words_that_would_change_the_grammar_are_refused(bad):
    with pytest.raises(ValueError):
        jsgf(bad)


def test_shared_beginnings_are_written_once():
    assert list(tree_of(phrase.text for phrase in table(1000) if phrase.lead_in)) == ["marigold"]
