"""The grammar holds exactly the phrases."""

from __future__ import annotations

import pytest

from assistant.hearing.grammar import jsgf, tree_of
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


@pytest.mark.parametrize("bad", [["NEXT"], ["go 5"], ["<b>"], [""], []])
def test_words_that_would_change_the_grammar_are_refused(bad):
    with pytest.raises(ValueError):
        jsgf(bad)


def test_shared_beginnings_are_written_once():
    assert list(tree_of(phrase.text for phrase in table(1000) if phrase.lead_in)) == ["marigold"]
