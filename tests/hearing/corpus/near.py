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
# Phrases denied, turned into their opposite, or asked. None of them may be taken for the phrase it is like.
DENIED = (
    "marigold the glue is not dry and trimmed",
    "marigold setting bar is not put away",
    "marigold the glue is never dry and trimmed",
    "marigold setting bar was never put away",
    "marigold safety guard not fitted",
    "marigold no safety guard fitted",
    "marigold safety guard never fitted",
    "marigold not all clamps are secure",
    "marigold no clamps are secure",
    "marigold all clamps are never secure",
    "marigold edge and face are not correct",
    "marigold edge and face are never both correct",
    "marigold blade height is not measured",
    "marigold blade height is not now measured",
    "marigold backing face is never a fresh one",
    "marigold backing face is no fresh one",
    "marigold trailing end is never held down",
    "marigold trailing end is not well held down",
    "marigold do not proceed to next pass",
    "marigold never proceed to next pass",
    "marigold this pass is never completed",
    "marigold this pass is not yet completed",
    "marigold do not finish the session",
    "marigold don't return to previous",
    "marigold affirm that is not right",
    "marigold do not carry on working",
    "marigold do not mark down a problem",
    "marigold that is not right",
    "marigold edge and face are both incorrect",
    "marigold edge and face are incorrect",
    "marigold blade height is unmeasured",
    "marigold safety guard unfitted",
    "marigold this pass is incomplete",
    "marigold this pass is uncompleted",
    "marigold the glue is undried and untrimmed",
    "marigold clamps are all insecure",
    "marigold is the setting bar put away",
    "marigold is setting bar put away",
    "marigold is the blade height now measured",
    "marigold is blade height measured now",
    "marigold are edge and face both correct",
    "marigold are both edge and face correct",
    "marigold is the safety guard fitted",
    "marigold is the trailing end well held down",
    "marigold is backing face a fresh one",
    "marigold is the backing face fresh",
    "marigold is this pass completed",
    "marigold has this pass been completed",
    "marigold shall we proceed to next pass",
    "marigold should I return to previous",
    "marigold all clamps are slack",
    "marigold all clamps are undone",
    "marigold edge and face are both mixed up",
    "marigold safety guard taken off",
    "marigold the glue is damp and trimmed",
    "marigold the glue is still wet",
    "marigold setting bar is left in place",
    "marigold blade height is unknown",
    "marigold backing face is an old one",
    "marigold backing face is worn out",
    "marigold trailing end is hanging loose",
    "marigold trailing end is well lifted up",
    "marigold this pass is skipped",
    "marigold start the session",
    "marigold affirm that is false",
    "marigold stop working",
)
NEAR = sentences.NEAR + MORE + sentences.DENIALS


def near(half: str) -> tuple[str, ...]:
    """Every second sentence."""
    return NEAR[half == "report" :: 2]


def other(half: str) -> tuple[str, ...]:
    return sentences.OTHER[half == "report" :: 2]


def denied(half: str) -> tuple[str, ...]:
    return DENIED[half == "report" :: 2]
