"""The two documents, each one file with its style and script inside, and the policy that lets nothing else run."""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass
from functools import cache
from html import escape
from importlib.resources import files

from assistant.plans.mishaps import Mishap
from assistant.wording.joining import sentence


@dataclass(frozen=True, slots=True)
class WebDocument:
    """A page as it is served. html: UTF-8. policy: the value of its Content-Security-Policy header."""

    html: bytes
    policy: str


NOTHING = "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
"""For every response that isn't one of our documents."""


@cache
def page() -> WebDocument:
    """What a paired device sees: empty until its script, which has the token, has asked for the contents."""
    return _document("page.html", ("page.css",), ("token.js", "board.js", "plot.js", "page.js"))


@cache
def door() -> WebDocument:
    """What everyone sees first: a field for the pairing code."""
    return _document("door.html", ("page.css",), ("token.js", "door.js"))


def _document(html: str, styles: tuple[str, ...], scripts: tuple[str, ...]) -> WebDocument:
    style, script = ("\n".join(_text(name) for name in names) for names in (styles, scripts))
    whole = _text(html).replace("/* style */", style).replace("/* script */", script)
    whole = whole.replace("<!-- mishaps -->", "\n    ".join(_button(mishap) for mishap in Mishap))
    policy = (
        f"default-src 'none'; script-src {_hash(script)}; style-src {_hash(style)}; connect-src 'self'; "
        "img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )
    return WebDocument(whole.encode(), policy)


def _button(mishap: Mishap) -> str:
    words = escape(sentence(mishap.means).removesuffix("."))
    return f'<button type="button" data-mishap="{escape(mishap)}">{words}</button>'


def _text(name: str) -> str:
    return files("assistant.screens.page").joinpath(name).read_text(encoding="utf-8")


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
