"""Writes phrases as a JSGF grammar, a tree in which phrases share their beginnings."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Any

from assistant.hearing.numbers import AnyNumber

WORD = re.compile(r"[a-z][a-z']*\Z")
WordTree = dict[str, Any]
END = ""


def plain_word(word: str) -> bool:
    """Whether a grammar can have the word: lower-case letters and apostrophes only."""
    return WORD.match(word) is not None


def tree_of(texts: Iterable[str]) -> WordTree:
    """A tree of the texts' words. The key `END` marks where a phrase can stop."""
    root: WordTree = {}
    for text in texts:
        node = root
        for word in text.split():
            node = node.setdefault(word, {})
        node[END] = {}
    return root


def _alternatives(node: WordTree) -> str:
    branches = [f"{word}{_tail(below)}" for word, below in node.items() if word != END]
    return " | ".join(branches)


def _tail(node: WordTree) -> str:
    inside = _alternatives(node)
    if not inside:
        return ""
    return f" [ {inside} ]" if END in node else f" ( {inside} )"


def jsgf(texts: Iterable[str], numbers: Sequence[AnyNumber] = ()) -> str:
    """A grammar of exactly these phrases, whose words must have been checked.

    numbers: phrases beside them that end with any number, and with any other in place of its repetition.

    No part of it loops: pocketsphinx takes minutes over a grammar with a loop of many words. Raises ValueError for no
    phrases or a bad word.
    """
    texts = list(texts)
    words = {word for text in texts for word in text.split()}
    for one in numbers:
        words.update(one.begin.split(), one.again.split(), one.words)
    for word in words:
        if not plain_word(word):
            raise ValueError(f"not a word for a grammar: {word!r}")
    rules, ways = "", [_alternatives(tree_of(texts))]
    for n, one in enumerate(numbers):
        number = ""
        for _ in range(one.longest):
            number = f"<digit{n}>" + (f" [ {number} ]" if number else "")
        rules += f"<digit{n}> = {' | '.join(one.words)} ;\n"
        ways.append(f"{one.begin} {number}" + (f" {one.again} {number}" if one.again else ""))
    rule = " | ".join(filter(None, ways))
    if not rule:
        raise ValueError("a grammar needs at least one phrase")
    return f"#JSGF V1.0;\ngrammar phrases;\n{rules}public <phrase> = {rule} ;\n"
