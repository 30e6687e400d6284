"""The glossary: words that no text of the project may use, in code, comments, documents, plans or the bench page."""

from __future__ import annotations

import ast
import io
import re
import tokenize
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parent.parent
INSTEAD = {
    r"told": "shown, said, reported, recorded",
    r"anew|afresh": "again",
    r"stands? in for|stood in for|standing in": "limited, is used instead, replaces",
    r"local codes": "local regulations",
    r"is heeded|are heeded|is minded": "is respected",
    r"thus|hence|wherein|whereof|thereof|therein": "so, in which",
    # Beside a board this is an order to hold the wood; clamps hold down, and the trailing end is held down.
    # What starts and keeps a driven move is to hold the pedal down; a long press is a gesture.
    r"hold (for yes|to carry on|to confirm)|(a|the|pedal|or) hold\b(?!-)|holds the pedal|hold the pedal(?! down)": (
        "long press"
    ),
}
"""What must not appear, and what is said instead."""
LEFT = {("assistant/runner/script.py", "pedal hold"), ("assistant/calibrating/joints.py", "told")}
"""Where an old word names old data: a file, and what stands around it."""


def texts_of(path: Path) -> Iterator[tuple[int, str]]:
    """(line, text): the strings and comments of a Python file; each line of any other."""
    text = path.read_text(encoding="utf-8")
    if path.suffix != ".py":
        yield from enumerate(text.splitlines(), 1)
        return
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.lineno, node.value
    for token in tokenize.generate_tokens(io.StringIO(text).readline):
        if token.type == tokenize.COMMENT:
            yield token.start[0], token.string


def read_by_people() -> list[Path]:
    found = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "models").glob("*.md")]
    found += [
        path for kind in ("py", "toml", "html", "js", "css", "txt") for path in (ROOT / "assistant").rglob(f"*.{kind}")
    ]
    return found + list((ROOT / "demo_plans").glob("*.toml"))


def test_words_that_nobody_would_say_are_nowhere() -> None:
    forbidden = {re.compile(rf"\b(?:{word})\b", re.IGNORECASE): instead for word, instead in INSTEAD.items()}
    found = []
    for path in read_by_people():
        name = path.relative_to(ROOT).as_posix()
        for line, text in texts_of(path):
            flat = " ".join(text.split())
            for word, instead in forbidden.items():
                for match in word.finditer(flat):
                    around = flat[max(0, match.start() - 30) : match.end() + 30]
                    if not any(name == file and words in around for file, words in LEFT):
                        found.append(f"{name}:{line}: ...{around}...  say: {instead}")
    assert not found, "\n".join(found)


def test_the_glossary_would_notice(tmp_path: Path) -> None:
    """Strings, docstrings and comments are all read."""
    path = tmp_path / "bad.py"
    path.write_text('"""As just told."""\nx = "begin anew"  # stands in\n', encoding="utf-8")
    texts = " ".join(text for _, text in texts_of(path))
    assert all(word in texts for word in ("told", "anew", "stands in"))
