"""Words of stored files as members of an enum."""

from __future__ import annotations

from enum import StrEnum
from typing import TypeVar, cast

Member = TypeVar("Member", bound=StrEnum)


def member(kind: type[Member], word: str) -> Member:
    """The member with this word.

    A word that isn't known stays what it is, so that what holds it can still be listed, exported and repaired. Whoever
    acts on it says what is wrong with it, as `journal.playing` does.
    """
    return kind(word) if word in tuple(kind) else cast(Member, word)
