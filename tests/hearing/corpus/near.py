"""Sentences that reuse the words of the phrases, beside `tests.hearing.sentences.NEAR`. Written for these tests."""

from __future__ import annotations

from tests.hearing import sentences

MORE = (
    "say it again but change your position",
    "the position was filled again last week",
    "both faces of the coin are worn at the edge",
    "the glue takes an hour before it is dry",
    "trim the branches when the wood is dry",
    "put the bar away and close the drawer",
    "what is the height of that blade of grass",
    "we measured the height of the door now",
    "a fresh coat of paint on the backing board",
    "hold the trailing rope down at the end",
    "the mountain pass is open from five to nine",
    "pass me one of those two rulers",
    "finish the job and then return the key",
    "safety glasses are fitted with a guard",
    "the committee made progress on my report",
    "negative numbers cancel out in that sum",
    "you are right to affirm it",
    "working late they carry on until dark",
    "marigold is standing right by the door",
    "marigold mark is down in the cellar",
    "marigold returned to the previous owner",
    "marigold the safety officer was fitted for boots",
)
NEAR = sentences.NEAR + MORE + sentences.DENIALS


def near(half: str) -> tuple[str, ...]:
    """Every second sentence."""
    return NEAR[half == "report" :: 2]


def other(half: str) -> tuple[str, ...]:
    return sentences.OTHER[half == "report" :: 2]
