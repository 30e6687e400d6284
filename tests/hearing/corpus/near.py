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
# Phrases with one word of them another. No grammar of phrases alone can tell a rhyme; how many are taken is measured,
# not judged. Those that would be dangerous and that come to mind are decoys of the language, and none of these.
ONE_OFF = (
    "marigold proceed to next step",
    "marigold this pass is cancelled",
    "marigold this class is completed",
    "marigold return to beginning",
    "marigold carry on walking",
    "marigold turn the heater up",
    "marigold softer voice from here on",
    "marigold talk more softly to me",
    "marigold pick up the piece a bit",
    "marigold affirm that is bright",
    "marigold mark down a message",
    "marigold finish the lesson",
    "marigold edge and base are both correct",
    "marigold edge and face are both crooked",
    "marigold setting bar is put down",
    "marigold sitting bar is put away",
    "marigold all stamps are secure",
    "marigold all clamps are missing",
    "marigold safety card fitted",
    "marigold safety guard needed",
    "marigold clamps are tight and card is on",
    "marigold blade width is now measured",
    "marigold parking face is a fresh one",
    "marigold the glue is dry and sanded",
    "marigold carriage hero is correct",
    "marigold still clamped with the cord on",
    "marigold saw is off and all are mounted",
)
NEAR = sentences.NEAR + MORE + sentences.DENIALS


def near(half: str) -> tuple[str, ...]:
    """Every second sentence."""
    return NEAR[half == "report" :: 2]


def other(half: str) -> tuple[str, ...]:
    return sentences.OTHER[half == "report" :: 2]


def one_off(half: str) -> tuple[str, ...]:
    return ONE_OFF[half == "report" :: 2]
