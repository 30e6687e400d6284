"""Every prompt has words and every wording a prompt; numbers are spoken last."""

from __future__ import annotations

import ast
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

import assistant.session
from assistant.joinery.model import Carriage
from assistant.plans.checks import DEFAULT_CHECKS
from assistant.session.effects import Prompt
from assistant.session.kinds import QuestionName
from assistant.session.turn import prompt
from assistant.wording import prompts
from assistant.wording.prompts import Words
from tests.session.jobs import HANDWHEEL, job

TRIED = {
    "tried": 2,
    "where": "kerf",
    "setting": Fraction(602, 100),
    "previous": Fraction(1516, 100),
    "approach": Fraction(552, 100),
}
SESSION = Path(assistant.session.__file__).parent


def keys_used() -> set[str]:
    """First arguments of prompt(...) in the session's code, formatted ones spelt out."""
    found: set[str] = set()
    for path in SESSION.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "prompt":
                found |= _strings(node.args[0])
    return found


def _strings(node: ast.expr) -> set[str]:
    if isinstance(node, ast.Constant):
        return {str(node.value)}
    if isinstance(node, ast.IfExp):
        return _strings(node.body) | _strings(node.orelse)
    return {f"ask {name}" for name in QuestionName}


def test_prompts_and_wordings_match_one_to_one() -> None:
    assert keys_used() == set(prompts._TEMPLATES) | set(prompts._SENTENCES)


def test_a_log_keeps_of_every_prompt_what_is_settled_for_it() -> None:
    """A new prompt is classed, or this fails: kept whole because it tells only what is, or with a record of its own."""
    assert not prompts.STANDS & set(prompts.RECORDS)
    assert keys_used() == prompts.STANDS | set(prompts.RECORDS)


def test_what_a_log_keeps_names_pass_reading_and_place() -> None:
    figures = {"setting": Fraction(1235, 100), "previous": None, "repeated": False, "approach": None, "pass_": 3}
    record = Words(job()).recorded
    assert record((prompt("again"), prompt("setting", **figures))) == "Again: Pass 3 called at 12.35."
    assert record((prompt("stage over", stage=1),)) == "Stage 1 is done."
    assert record((prompt("ended early", left=1),)) == "Session ended. 1 pass was not cut."
    back = prompt("ask back", setup=1, pass_=4, same_setup=False)
    assert record((back,)) == "Asked: back to pass 4 of setup 1?"
    assert record((prompt("check", name="clamps", say="clear?"),)) == "Asked: clamps?"


def say(key: str, **figures: object) -> str:
    return Words(job()).one(prompt(key, **figures))


def test_a_setting_is_the_last_thing_said() -> None:
    text = say("setting", setting=Fraction(1235, 100), previous=None, repeated=False, approach=None)
    assert text == "One two point three five."


def test_the_first_setting_in_full_is_worded_as_agreed() -> None:
    text = say("setting in full", setting=Fraction(1235, 100), previous=None, repeated=False, approach=None)
    assert text == "Set the carriage, start the saw, cut, draw back clear and tap. One two point three five."


def test_past_and_up_again() -> None:
    text = say("setting", setting=Fraction(5), previous=Fraction(40), repeated=False, approach=Fraction(45, 10))
    assert text == "Half a millimetre below, then up to five point zero zero."
    figures = {"setting": Fraction(5), "repeated": False, "approach": Fraction(6)}
    assert say("setting", previous=Fraction(4), **figures) == (
        "One millimetre above, then down to five point zero zero."
    )
    assert say("setting", previous=Fraction(9), **figures) == (
        "One millimetre above, then on down to five point zero zero."
    )
    assert say("setting", previous=Fraction(6), **figures) == "Five point zero zero."


def test_a_handwheel_is_told_the_move_and_both_ends_when_repeated() -> None:
    words = Words(job(carriage=HANDWHEEL))
    figures = {"setting": Fraction(127, 10), "previous": Fraction(127, 20), "approach": None}
    assert words.one(prompt("setting", repeated=False, **figures)) == "Up four turns, to mark zero."
    both = "From turn four, mark zero: up four turns, to turn eight, mark zero"
    assert words.one(prompt("setting", repeated=True, **figures)) == f"{both}."
    assert words.one(prompt("setting in full", repeated=False, **figures)).endswith(f"draw back clear and tap. {both}.")


def test_the_dial_is_told_alike_whatever_numbers_are_read_as() -> None:
    figures = {"setting": Fraction(127, 10), "previous": Fraction(127, 20), "approach": None, "repeated": False}
    for reads in ("digits", "words", "fractions", "turns"):
        a_job = job(carriage=HANDWHEEL)
        a_job = replace(a_job, voice=replace(a_job.voice, reads=reads))
        assert Words(a_job).one(prompt("setting", **figures)) == "Up four turns, to mark zero."


def test_resuming_asks_what_the_dial_can_show() -> None:
    words = Words(job(carriage=HANDWHEEL))
    figures = {"carriage_at": Fraction(127, 8) + 43 * HANDWHEEL.resolution, "came_from": Fraction(127, 80)}
    assert words.one(prompt("ask carriage", **figures)).startswith("Does the dial read mark four three, ten turns up?")
    assert words.shown((prompt("ask carriage", **figures),)).startswith("Does the dial read mark 43, 10 turns up?")


def test_where_the_mark_is_the_same_before_and_after_the_move_the_turns_are_asked_for() -> None:
    words, turn = Words(job(carriage=HANDWHEEL)), Fraction(127, 80)
    asked = words.one(prompt("ask carriage", carriage_at=6 * turn, came_from=3 * turn))
    assert asked.startswith("Is the carriage already at mark zero, six turns up, and not still three turns up?")
    shown = words.shown((prompt("ask carriage", carriage_at=2 * turn, came_from=None),))
    assert shown.startswith("Is the carriage already at mark 0, 2 turns up, and not still at zero?")


def test_the_first_setting_on_a_handwheel_is_a_place_from_zero() -> None:
    words = Words(job(carriage=HANDWHEEL))
    figures = {"setting": Fraction(127, 10), "previous": None, "approach": None, "repeated": False}
    told = "From zero: up eight turns, to turn eight, mark zero"
    assert words.one(prompt("setting", **figures)) == f"{told}."
    assert words.one(prompt("setting in full", **figures)).endswith(f"draw back clear and tap. {told}.")


BOARD = {
    "setup": 2,
    "place": 2,
    "setups": 4,
    "board": "long side",
    "part": "A",
    "end": 1,
    "copies": 1,
    "first_copy": 1,
    "of": 1,
    "layout": "even",
    "stop_side": "right",
    "register": "stop",
    "short": False,
    "part_changed": False,
    "turn": "",
    "held": False,
    "keep_clear": False,
    "lowest": Fraction(5975, 1000),
    "highest": Fraction(84),
    "above": Fraction(273, 10),
}


def clamp(**figures: object) -> str:
    return say("clamp", **BOARD | figures)


def test_the_second_end_is_turned_and_never_spun() -> None:
    turned = {"end": 2, "turn": "full"}
    assert clamp(**turned).endswith("end two down. Turn it end over end. Never spin it on its face.")
    assert clamp(short=True, **turned) == "Long side, end two. Turn it end over end. Never spin it on its face."
    assert clamp(short=True, end=2, turn="warned") == "Long side, end two: turn it end over end."
    stack = clamp(short=True, end=2, turn="warned", copies=2, of=2)
    assert stack == "Long side, both boards, end two: turn them end over end."


def test_where_no_check_asks_how_it_is_held_the_board_is_named_with_it() -> None:
    assert clamp(held=True).endswith("Reference edge to the right stop, marked face to the backing.")
    held = "Turn it end over end: same edge to the right stop, other face to the backing. Never spin it on its face."
    assert clamp(held=True, end=2, turn="full").endswith(held)
    assert clamp(held=True, short=True, end=2, turn="warned") == f"Long side, end two. {held}"


def test_what_to_keep_clear_is_said_with_the_board() -> None:
    said = "Keep clear: five to eighty-four millimetres, up to twenty-eight above the bed."
    assert clamp(keep_clear=True).endswith(f"end one down. {said}")
    short = clamp(keep_clear=True, short=True, part="B", part_changed=True)
    assert short == f"Long side, part B, end one. {said}"


def test_on_a_screen_the_board_is_named_in_full_with_how_it_is_held() -> None:
    figures = BOARD | {"short": True, "end": 2, "turn": "warned", "keep_clear": True}
    assert Words(job()).shown((prompt("clamp", **figures),)) == (
        "Setup 2 of 4: long side, part A, end 2 down. Turn it end over end: same edge to the right stop, other face to "
        "the backing. Never spin it on its face."
    )


@pytest.mark.parametrize(
    ("copies", "first", "of", "words"),
    [
        (2, 1, 2, "both boards"),
        (3, 1, 3, "all three boards"),
        (2, 3, 5, "boards three and four of five"),
        (3, 4, 8, "boards four to six of eight"),
    ],
)
def test_a_stack_is_counted(copies: int, first: int, of: int, words: str) -> None:
    stack = {"copies": copies, "first_copy": first, "of": of}
    assert clamp(**stack).startswith(f"Setup two of four: long side, {words} clamped together, part A, end one down.")
    assert clamp(short=True, **stack) == f"Long side, {words}, end one."


def test_a_slotted_board_has_no_end_and_no_backing_face() -> None:
    slotted = {"board": "shelf", "layout": "slots", "stop_side": "left"}
    assert clamp(**slotted) == "Setup two of four: shelf, part A, slotted side down."
    assert clamp(held=True, **slotted).endswith("slotted side down. Reference edge to the left stop.")
    assert clamp(short=True, first_copy=2, of=3, **slotted) == "Shelf, two of three."
    assert say("way", end=1, stop_side="left", layout="slots") == "slotted side down, reference edge to the left stop"


def default(name: str, carriage: Carriage | None = None, layout: str = "even", **figures: object) -> tuple[str, str]:
    """A default check's short question and its whole one, as they are said."""
    check = next(check for check in DEFAULT_CHECKS if check.name == name)
    zone = {"lowest": Fraction(5), "highest": Fraction(84), "above": Fraction(28), "depth": Fraction(123, 10)}
    figures = {"name": name, "say": check.say, "end": 1, "sockets": 7, **zone} | figures
    words = Words(replace(job(carriage=carriage), layout=layout))
    return words.one(prompt("check", **figures)), words.one(prompt("check", whole=True, **figures))


@pytest.mark.parametrize(
    ("carriage", "layout", "end", "short", "whole"),
    [
        (Carriage(), "even", 1, "Edge to the stop, marked face back?",
            "Reference edge against the left stop, marked face against the backing?"),
        (Carriage(stop_side="right"), "even", 2, "Edge to the stop, other face back?",
            "Reference edge against the right stop, other face against the backing?"),
        (Carriage(register="setting bar"), "listed", 1, "Edge to the bar, marked face back?",
            "Reference edge against the setting bar at the left stop, marked face against the backing?"),
        (Carriage(), "slots", 1, "Slotted side down, edge to the stop?",
            "Slotted side down, reference edge against the left stop?"),
    ],
)  # fmt: skip
def test_edge_and_face_are_asked_about_as_they_must_lie(
    carriage: Carriage, layout: str, end: int, short: str, whole: str
) -> None:
    assert default("edge and face", carriage, layout, end=end) == (short, whole)


def test_a_screen_shows_the_whole_question_and_say_again_says_it() -> None:
    assert default("blade height") == (
        "Blade at twelve point three millimetres?",
        "Blade set to twelve point three millimetres above the bed the board stands on?",
    )
    assert default("saw off") == (
        "Saw off and stopped? Count seven.",
        "Saw off. When the blade has stopped, count seven sockets.",
    )
    figures = {"depth": Fraction(123, 10), "lowest": Fraction(0), "highest": Fraction(84), "above": Fraction(28)}
    check = next(check for check in DEFAULT_CHECKS if check.name == "blade height")
    asked = prompt("check", name=check.name, say=check.say, end=1, sockets=7, **figures)
    assert Words(job()).shown((asked,)) == "Blade set to 12.3 mm above the bed the board stands on?"


def test_a_question_of_a_shops_own_is_said_whole() -> None:
    assert (
        default("saw off", say="saw off? Count {sockets}, and look for torn grain.")
        == ("Saw off? Count seven sockets, and look for torn grain.",) * 2
    )


@pytest.mark.parametrize(("end", "face"), [(1, "marked"), (2, "other")])
def test_the_way_a_board_is_held_in_short(end: int, face: str) -> None:
    expected = f"end {end} down, reference edge to the right stop, {face} face to the backing"
    assert say("way", end=end, stop_side="right", layout="listed") == expected


def test_with_a_setting_bar_the_edge_goes_against_it_wherever_it_is_told() -> None:
    a_job = job(carriage=Carriage(register="setting bar", stop_side="right"))
    bar = "against the setting bar at the right stop"
    for figures in (False, True):
        words = Words(a_job, figures=figures)
        way = words.one(prompt("way", end=1, stop_side="right", layout="even"))
        assert way == f"end 1 down, reference edge {bar}, marked face to the backing"
        assert bar in words.one(prompt("way", end=1, stop_side="right", layout="slots"))
        for cut in ({"cut_here": 0, "tried": 0}, {"cut_here": 3, "tolerance": Fraction(1, 40), **TRIED}):
            asked = words.one(prompt("ask registered", **cut))
            assert f"Reference edge {bar}, and clamp, then put the bar away." in asked
    plain = Words(job()).one(prompt("ask registered", cut_here=0, tried=0))
    assert "Reference edge to the left stop, and clamp. No pass" in plain


def test_a_check_has_its_figures_filled_in() -> None:
    figures = {
        "lowest": Fraction(0),
        "highest": Fraction(84),
        "depth": Fraction(123, 10),
        "above": Fraction(273, 10),
        "sockets": 7,
    }
    assert say("check", say="height set to {depth}?", **figures) == "Height set to twelve point three millimetres?"


def test_a_span_is_rounded_away_from_the_blade_and_named_once() -> None:
    """A clamp that is clear of what is said must be clear of what is cut: whole mm or sixteenths, outward."""
    figures = {
        "lowest": Fraction(5975, 1000),
        "highest": Fraction(32_020, 1000),
        "depth": Fraction(12),
        "above": Fraction(2701, 100),
        "sockets": 7,
    }
    assert say("check", say="clear, {lowest} to {highest}?", **figures) == "Clear, five to thirty-three millimetres?"
    assert say("check", say="{highest} down to {lowest}?", **figures) == (
        "Thirty-three millimetres down to five millimetres?"
    )
    inches = Words(job(carriage=HANDWHEEL))
    told = inches.one(prompt("check", say="clear, {lowest} to {highest}?", **figures))
    assert told == "Clear, three sixteenths to one and five sixteenths inches?"
    past = figures | {"lowest": Fraction(-5, 10)}
    assert say("check", say="{lowest} to {highest}?", **past) == "Minus one to thirty-three millimetres?"
    zone = "clear: {lowest} to {highest}, up to {above} above the bed?"
    assert (
        say("check", say=zone, **figures)
        == "Clear: five to thirty-three millimetres, up to twenty-eight above the bed?"
    )
    assert inches.one(prompt("check", say=zone, **figures)) == (
        "Clear: three sixteenths to one and five sixteenths inches, up to one and one eighth inches above the bed?"
    )
    shown = Words(job(), figures=True).one(prompt("check", say=zone, **figures))
    assert shown == "Clear: 5 to 33 mm, up to 28 mm above the bed?"
    assert say("check", say="below {above}?", **figures) == "Below twenty-eight millimetres?"


def test_the_clamp_question_names_all_that_could_be_in_the_way() -> None:
    asked = next(check.say for check in DEFAULT_CHECKS if check.name == "clamps")
    assert all(word in asked for word in ("keep clear", "Clamps", "tight", "screws", "held down", "stop", "outside"))


def test_no_caution_is_lost_from_the_beginning() -> None:
    """Design, section 4: never stops a saw; hearing protection; the pedal's place; what rules over it."""
    told = say("cautions")
    for caution in (
        "never stops the saw",
        "hearing protection on",
        "Eye",
        "hands out",
        "pedal away from the saw's switch",
    ):
        assert caution in told
    assert "The saw's manual, local regulations and safe working practice come first." in told


def test_on_a_screen_a_settings_figures_come_first_on_a_line_of_their_own() -> None:
    figures = {"setting": Fraction(1235, 100), "previous": None, "repeated": False}
    words = Words(job())
    shown = words.shown((prompt("again"), prompt("setting", approach=None, **figures)))
    assert shown == "12.35\nAgain: One two point three five."
    wheel = Words(job(carriage=HANDWHEEL))
    first = wheel.shown((prompt("setting", approach=None, **figures | {"setting": 972 * HANDWHEEL.resolution}),))
    assert first.startswith("up 7 turns + 97 marks to 7 turns + 97\nFrom zero: up seven turns and ninety-seven, to")
    figures["previous"] = Fraction(20)
    below = words.shown((prompt("setting", approach=Fraction(1185, 100), **figures),))
    assert below.splitlines()[0] == "12.35   (first down to 11.85)"


def test_on_a_screen_other_numbers_are_figures_too() -> None:
    figures: dict[str, object] = {"lowest": Fraction(7), "highest": Fraction(33), "depth": Fraction(12), "sockets": 7}
    figures |= {"above": Fraction(27), "say": "{lowest} to {highest}?"}
    assert Words(job()).shown((prompt("check", **figures),)) == "7 to 33 mm?"
    assert Words(job(carriage=HANDWHEEL)).shown((prompt("check", **figures),)) == "1/4 to 1 5/16 in?"
    assert Words(job()).shown((prompt("how many", left_here=3, left=11),)) == "3 to go on this end, 11 in all."
    resumed = Words(job()).shown((prompt("resumed", setup=2, place=2, setups=4, cut=3),))
    assert resumed == (
        "Resuming Small tray: short side, end 2, setup 2 of 4. 3 passes are recorded as cut. See that the saw is off."
    )


def test_resuming_names_job_and_board_and_asks_one_thing_at_a_time() -> None:
    told = say("resumed", setup=1, place=1, setups=4, cut=1)
    assert told.startswith("Resuming Small tray: short side, end one, setup one of four. One pass is recorded as cut.")
    asked = say("ask carriage", carriage_at=Fraction(1235, 100), came_from=None)
    assert asked.count("?") == 1 and asked.startswith("Does the carriage still read one two point three five")


def test_slots_are_called_slots() -> None:
    slotted = Words(replace(job(), layout="slots"))
    assert (slotted.sockets(5), slotted.sockets(1)) == ("five slots", "one slot")
    assert "end" not in slotted.one(prompt("resumed", setup=1, place=1, setups=4, cut=1))


def test_work_clamped_afresh_is_tried_at_a_named_setting_within_a_quarter_of_the_clearance() -> None:
    text = say("ask registered", cut_here=1, tolerance=Fraction(4, 100), **TRIED)
    assert text.startswith("Saw off, isolated, plug out. ")
    assert "Carriage to pass two: half a millimetre below, then up to six point zero two. " in text
    assert "Try the still blade in that kerf, turned by hand: its teeth just pass on both sides. " in text
    assert "off by more than zero point zero four millimetres, " in text
    assert "Draw right back. Done?" in text, "before the saw starts, or a motor moves"
    shown = Words(job(), figures=True).one(prompt("ask registered", cut_here=1, tolerance=Fraction(0), **TRIED))
    assert "Carriage to pass 2: 6.02 (first down to 5.52). " in shown and "off at all, " in shown
    tolerance = Fraction(1, 40)
    dialled = Words(job(carriage=HANDWHEEL)).one(prompt("ask registered", cut_here=1, tolerance=tolerance, **TRIED))
    assert "Carriage to pass two: from turn nine, mark" in dialled, "nobody knows whether the wheel was turned already"


@pytest.mark.parametrize(
    ("where", "told"),
    [("far wall", "away from the reference edge"), ("near wall", "towards the reference"), ("edge", "no kerf to try")],
)
def test_where_no_kerf_of_its_own_is_cut_it_is_said_what_the_blade_meets(where: str, told: str) -> None:
    text = say("ask registered", cut_here=1, tolerance=Fraction(4, 100), **{**TRIED, "where": where})
    assert told in text and "in that kerf" not in text
    gone = say("ask registered", cut_here=1, tried=0)
    assert "The blade can be tried in none of the cuts, so you have only the edge to go by." in gone


@pytest.mark.parametrize(
    ("passes", "told"),
    [
        ((7,), "A problem is marked at pass seven."),
        ((0,), "A problem is marked before the first pass."),
        ((2, 7), "Problems are marked at passes two and seven."),
        ((2, 7, 9), "Problems are marked at passes two, seven and nine."),
        ((0, 2, 9), "Problems are marked before the first pass, at pass two and at pass nine."),
        ((0, 2, 7, 9), "Problems are marked at four passes, the last at pass nine."),
    ],
)
def test_marked_problems_of_a_setup_are_named_as_long_as_they_are_few(passes: tuple[int, ...], told: str) -> None:
    assert say("marked here", passes=passes) == told


@pytest.mark.parametrize(
    ("places", "told"),
    [
        (((2, 0),), "A problem is marked in setup two before the first pass."),
        (((1, 3), (2, 1)), "Problems are marked in setup one at pass three and in setup two at pass one."),
        (((1, 1), (1, 2), (1, 3), (2, 1)), "Problems are marked at four places, in setups one and two."),
        (((1, 1), (1, 2), (1, 3), (1, 4)), "Problems are marked at four places, in setup one."),
        (
            ((1, 1), (2, 1), (3, 1), (9, 1)),
            "Problems are marked at four places, in four of the setups, the last in setup nine.",
        ),
    ],
)
def test_marked_problems_of_a_session_are_named_or_counted(places: tuple[tuple[int, int], ...], told: str) -> None:
    assert say("marked in all", places=places) == told


def test_a_prompt_without_wording_is_refused_by_name() -> None:
    with pytest.raises(KeyError, match="sing a song"):
        say("sing a song")


def test_announcements_are_sentences_one_after_another() -> None:
    words = Words(job())
    text = words.say((Prompt("nothing changed"), prompt("how many", left_here=3, left=11)))
    assert text == "Nothing changed. Three to go on this end, eleven in all."
