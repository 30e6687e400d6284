"""The page: what it has at each size, readable on dark and light, and never by colour alone."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from functools import cache, lru_cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.joinery.model import Carriage
from assistant.plans.checks import DEFAULT_CHECKS
from assistant.plans.model import Check, Job, When
from assistant.screens import view_letters as letters
from assistant.screens.page.picture import pattern_of, state_of
from assistant.screens.plain import place_line
from assistant.screens.view_cells import ANY_COLOUR, BOLD, FULL, MAGENTA, MARKING, RED, Canvas
from assistant.screens.view_gauges import METER_CELLS, Gauges, gauges_of
from assistant.screens.view_heading import heading_of
from assistant.screens.view_page import PageComposer
from assistant.screens.view_sight import LastInput, LogEntry, Sight
from assistant.screens.view_to_do import FIGURE_COLUMNS
from assistant.screens.view_words import setting_text
from assistant.session import facts as f
from assistant.session.apply import apply
from assistant.session.state import State
from assistant.session.turn import view
from assistant.wording.prompts import HOW_TO_CUT, Words
from tests.screens.view_session import Rehearsed
from tests.session.jobs import HANDWHEEL, few_checks, job, plan

SIZES = [(80, 24), (100, 30), (200, 60)]
GAUGES = Gauges("works", 5, False, "heard", False)


def state(a_job: Job, *facts: f.Fact) -> State:
    made = State()
    for n, fact in enumerate((f.Started(a_job), f.SetupStarted(1), *facts), 1):
        made = apply(made, f.Record(n, float(n), "", fact))
    return made


def checked(a_job: Job) -> list[f.Fact]:
    """Every check of the first setup before its first pass."""
    due = (check for check in a_job.checks if check.when not in (When.SETUP_END, When.STANDING_BY, When.STAGE))
    return [f.CheckConfirmed(1, check.name, "pedal") for check in due]


def called(a_job: Job, pass_: int, setup: int = 1) -> f.SettingCalled:
    return f.SettingCalled(setup, pass_, str(a_job.pattern_of(setup).passes[pass_ - 1].setting))


def sight(*facts: f.Fact, of: Job | None = None, **more: object) -> Sight:
    a_job = of or job(plan(width=84, parts="A"))
    return Sight(view(state(a_job, *facts)), Words(a_job), **more)  # type: ignore[arg-type]


def cutting(of: Job | None = None, pass_: int = 3, **more: object) -> Sight:
    a_job = of or job(plan(width=84, parts="A"))
    cut = [f.PassCut(1, n, "pedal") for n in range(1, pass_)]
    return sight(*checked(a_job), *cut, called(a_job, pass_), of=a_job, **more)


def composed(seen: Sight, columns: int = 80, rows: int = 24, gauges: Gauges = GAUGES) -> Canvas:
    return PageComposer().compose(seen, gauges, columns, rows)


@lru_cache(maxsize=4)
def lines_of(canvas: Canvas) -> tuple[str, ...]:
    """The lines of a page that is finished."""
    return tuple(canvas.text(row) for row in range(canvas.rows))


in_letters = cache(letters.big)


def text(canvas: Canvas) -> str:
    return "\n".join(lines_of(canvas))


def shows(canvas: Canvas, wanted: str) -> bool:
    """Whether these words are on the page one after the other, also where a figure stands at their right."""
    wanted = " ".join(wanted.split())
    rows = lines_of(canvas)
    figures = (
        0,
        *range(FIGURE_COLUMNS, FIGURE_COLUMNS + 4),
        *range(canvas.columns * 2 // 5, canvas.columns * 2 // 5 + 4),
    )
    pages = (" ".join(" ".join(row[: canvas.columns - wide] for row in rows).split()) for wide in figures)
    return any(wanted in page for page in pages)


def big_on(canvas: Canvas, wanted: str) -> int:
    """The largest scale at which `wanted` stands somewhere on the page in big letters, 0 for none."""
    page = lines_of(canvas)
    for scale in range(8, 0, -1):
        drawn = in_letters(wanted, scale)
        for top in range(len(page) - len(drawn) + 1):
            at = page[top].find(drawn[0])
            while at >= 0:
                if all(page[top + n][at:].startswith(line) for n, line in enumerate(drawn)):
                    return scale
                at = page[top].find(drawn[0], at + 1)
    return 0


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_while_a_pass_is_called_its_setting_takes_most_of_the_page_with_the_unit_beside_it(
    columns: int, rows: int
) -> None:
    """Once in block letters, and nowhere else; the next one small, and the pass in the head."""
    seen = cutting()
    canvas = composed(seen, columns, rows)
    setting = heading_of(seen.view, seen.words).left[0]  # type: ignore[arg-type]
    assert 3.5 * big_on(canvas, setting) / rows > 0.4
    assert 1 <= big_on(canvas, "MM") <= big_on(canvas, setting) / 2
    shown = text(canvas)
    assert setting not in shown and f"set {setting}" not in shown
    following = f"{float(seen.view.next_setting):.2f}"  # type: ignore[union-attr]
    assert f"then {following}" in shown or (big_on(canvas, "THEN") == 1 and big_on(canvas, following) == 1)
    assert "pass 3 of 14" in shown or big_on(canvas, "PASS 3 OF 14") == 1


def test_a_long_setting_is_not_made_smaller_for_what_stands_beside_it() -> None:
    a_job = job(plan(width=1500, finger=300, parts="A", ends=1))
    last = len(a_job.pattern_of(1).passes)
    canvas = composed(cutting(a_job, last))
    reading = heading_of(view(state(a_job, called(a_job, last))), Words(a_job)).left[0]
    assert len(reading) == 7 and big_on(canvas, reading) == 2
    assert f"pass {last} of {last}" in text(canvas) and "then saw off" in text(canvas)


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_an_open_check_is_shown_big_with_its_figure_and_in_full(columns: int, rows: int) -> None:
    canvas = composed(sight(f.CheckOpened(1, "blade height")), columns, rows)
    assert big_on(canvas, "BLADE HEIGHT") and big_on(canvas, "12.3 MM")
    assert "Blade set to 12.3 mm above the bed the board stands on?" in text(canvas)
    assert "long press: confirmed" in text(canvas)


def end_of_setup(**more: object) -> Sight:
    """All seven sockets of 84 mm in segments of 6 mm are cut; asked whether the saw is off."""
    a_job = job(plan(width=84, parts="A"))
    cut = [f.PassCut(1, n, "pedal") for n in range(1, len(a_job.pattern_of(1).passes) + 1)]
    return sight(*cut, f.CheckOpened(1, "saw off"), of=a_job, **more)


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_at_a_setups_end_saw_off_and_the_count_are_big_and_the_wait_beside_them(
    columns: int, rows: int, now: float
) -> None:
    """Also with two parts lost and the plan's warnings shown before."""
    faults = (("microphone", "Voice is off: no microphone was found."), ("pedal", "No pedal."))
    canvas = composed(end_of_setup(ready_at=now + 9.9, faults=faults), columns, rows)
    for line in ("SAW OFF", "COUNT 7"):
        assert big_on(canvas, line) >= (1 if columns < 200 else 3), line
    assert big_on(canvas, "WAIT 10") or (big_on(canvas, "WAIT") and big_on(canvas, "10"))
    shown = " ".join(text(canvas).split())
    assert "Saw off. When the blade has stopped, count 7 sockets." in shown
    assert "long press: not for 10 s yet" in shown and "No pedal." in shown


def test_the_wait_counts_down_and_goes(now: float) -> None:
    ends = (now + 29.9, now + 2.9, now - 0.1, 0.0)
    sights = [end_of_setup(ready_at=end) for end in ends]
    waits = [heading_of(seen.view, seen.words, seen.wait_s).right for seen in sights]  # type: ignore[arg-type]
    assert waits == ["WAIT 30", "WAIT 3", "", ""]


ZONE = ("KEEP CLEAR", "5 TO 84 MM", "BELOW 28 MM")
WARNED = LogEntry("warning", "a sliver of 2 mm is left at the far edge of the long side")


@pytest.mark.parametrize(("columns", "rows"), SIZES)
@pytest.mark.parametrize("check", ["clamps", "all set", "dust hood"])
def test_what_to_keep_clear_is_shown_big_and_whole_with_its_height(columns: int, rows: int, check: str) -> None:
    """Whole millimetres away from the blade.

    The first socket begins a hair below 6 mm off the edge, the last ends at 84, 12.3 mm deep with 15 mm above. So it is
    with two things lost, a caution and a warning to be read, and the longest words on how to clamp; for the clamps in a
    shop's own words, and for another check that has the range.
    """
    own = {
        "clamps": few_checks(),
        "all set": tuple(replace(each, say="all set?") if each.name == "clamps" else each for each in few_checks()),
        "dust hood": few_checks(
            Check("dust hood", "hood off {lowest} to {highest}?", "dust hood is well off", "setup")
        ),
    }[check]
    name = "dust hood" if check == "dust hood" else "clamps"
    seen = sight(
        f.CheckOpened(1, name),
        of=job(plan(width=84, parts="A"), own),
        faults=LOST,
        clamp="Setup 1 of 2: long side, part A, end 1 down. " * 4,
        opening=(WARNED, LogEntry("caution", "Kerfcall never stops the saw. " * 6)),
    )
    canvas = composed(seen, columns, rows)
    sizes = [big_on(canvas, line) for line in ZONE]
    assert min(sizes) >= 1 and len(set(sizes)) == 1
    assert sizes[0] >= 2 or columns < 200
    asked = Words(seen.words.job, figures=True).one(seen.view.asked)  # type: ignore[union-attr, arg-type]
    assert asked in words_on(canvas)


@pytest.mark.parametrize(("columns", "rows"), [*SIZES, (79, 23), (60, 20), (40, 10), (30, 8), (24, 8)])
def test_at_every_size_all_of_what_to_keep_clear_is_shown(columns: int, rows: int) -> None:
    """Big or in words: never the range alone, and never the words without the range."""
    canvas = composed(sight(f.CheckOpened(1, "clamps"), faults=LOST), columns, rows)
    big = [bool(big_on(canvas, line)) for line in ZONE]
    assert all(big) or not any(big)
    assert "Keep clear: 5 to 84 mm, up to 28 mm above the bed." in words_on(canvas)


@pytest.mark.parametrize(("columns", "rows"), SIZES)
@pytest.mark.parametrize("width", [Fraction(84), Fraction(600)])
def test_inches_of_what_to_keep_clear_stay_together(columns: int, rows: int, width: Fraction) -> None:
    """As "3-3/16": with a space alone it reads 33/16 in big letters. By hand: 12.3 and 15 mm are 1.075 in, so 1 1/8."""
    a_job = job(plan(width=int(width), finger=12, parts="A"), carriage=HANDWHEEL)
    seen = sight(f.CheckOpened(1, "clamps"), of=a_job, faults=LOST)
    zone = heading_of(seen.view, seen.words).left  # type: ignore[arg-type]
    assert zone[2] == "BELOW 1-1/8 IN" and "-" in zone[1] and " TO " in zone[1]
    canvas = composed(seen, columns, rows)
    parts = [part for line in zone for part in line.replace(" TO ", " TO\n").split("\n")]
    assert all(big_on(canvas, part) for part in parts) or " ".join(zone) in words_on(canvas)


def test_on_a_low_page_what_to_clamp_is_whole_at_the_first_check() -> None:
    """The longest there is: the end of the previous board, and the warning about a second end."""
    clamp = (
        "Saw off. Wait until the blade stands still. 14 sockets: count them before you unclamp. Setup 2 of 6: long "
        "side, 1 of 2, part A, end 2 down. Turn it end over end: same edge against the setting bar at the left stop, "
        "other face to the backing. Never spin it on its face."
    )
    seen = sight(f.CheckOpened(1, "edge and face"), clamp=clamp, log=(LogEntry("clamp", clamp),))
    for columns, rows in SIZES:
        canvas = composed(seen, columns, rows)
        assert big_on(canvas, "EDGE AND FACE")
        words = " ".join(text(canvas).split())
        assert words.count("Saw off. Wait until the blade") == 1 and words.count("Never spin it on its face.") == 1


# The longest there are, on the smallest page, with two things lost.
LOST = (("microphone", "Voice is off: no microphone was found."), ("speaker", "No loudspeaker: texts are shown only."))


def row_of(canvas: Canvas, wanted: str) -> int:
    """Where these block letters begin."""
    drawn = letters.big(wanted, big_on(canvas, wanted))
    return next(row for row in range(canvas.rows) if drawn[0] in canvas.text(row))


def words_on(canvas: Canvas) -> str:
    return " ".join(text(canvas).split())


@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (100, 30), (120, 30), (200, 60)])
def test_whether_the_board_is_clamped_as_it_was_is_asked_whole(columns: int, rows: int) -> None:
    a_job = job(plan(width=84, parts="A"))
    cut = [f.PassCut(1, n, "pedal") for n in (1, 2, 3)]
    seen = sight(*cut, called(a_job, 4), f.Asked("registered", 1, 4), of=a_job, faults=LOST)
    assert seen.view and seen.view.asked and seen.words
    asked = Words(a_job, figures=True).one(seen.view.asked)
    assert len(asked) > 250 and asked in words_on(composed(seen, columns, rows))
    assert all(big_on(composed(seen, columns, rows), line) for line in ("CLAMPED", "AGAIN?"))


def test_the_introduction_of_a_resumed_session_comes_before_its_question() -> None:
    a_job = job(plan(width=84, parts="A"))
    bare = sight(f.PassCut(1, 1, "pedal"), called(a_job, 2), f.Asked("clamped", 1, 2), of=a_job, faults=LOST)
    assert bare.view and bare.view.asked
    asked = Words(a_job, figures=True).one(bare.view.asked)
    begin = "Resuming long side: end 1, setup 1 of 2. 1 pass is recorded as cut. See that the saw is off."
    shown = words_on(composed(replace(bare, asking=f"{begin} {asked}")))
    assert f"{begin} {asked}" in shown
    assert begin not in words_on(composed(replace(bare, asking=f"{begin} Another question?")))


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_what_to_do_at_the_saw_is_shown_with_a_runs_first_setting_and_its_number_once(columns: int, rows: int) -> None:
    a_job = job(plan(width=84, parts="A"))
    seen = sight(*checked(a_job), called(a_job, 2), of=a_job, setting=f"{HOW_TO_CUT} One two decimal one eight.")
    canvas = composed(replace(seen, faults=LOST), columns, rows)
    assert HOW_TO_CUT in words_on(canvas) and "decimal" not in text(canvas)
    assert HOW_TO_CUT not in words_on(composed(replace(seen, setting="One two decimal one eight."), columns, rows))


def test_the_sessions_opening_words_are_shown_at_the_first_check() -> None:
    caution = LogEntry("caution", "Kerfcall never stops the saw. " + "The saw's manual rules. " * 5)
    warning = LogEntry("warning", "a sliver of 2 mm is left at the far edge of the long side")
    clamp = "Setup 1 of 2: long side, part A, end 1 down. Reference edge to the left stop."
    seen = sight(
        f.CheckOpened(1, "edge and face"),
        clamp=clamp,
        opening=(warning, caution),
        log=(warning, caution, LogEntry("clamp", clamp)),
        faults=LOST,
    )
    for columns, rows in SIZES:
        canvas = composed(seen, columns, rows)
        for each in (clamp, warning.text, caution.text.strip()):
            assert shows(canvas, each) and words_on(canvas).count(each) <= 1, (columns, rows, each)
        assert shows(canvas, "!! a sliver") and shows(canvas, "!! Kerfcall never")


def test_words_without_room_begin_in_the_log_and_show_that_they_go_on() -> None:
    long = LogEntry("caution", "Mind this. " * 120)
    shown = text(composed(sight(f.CheckOpened(1, "guard"), opening=(long,), log=(long,))))
    assert "Guard for this cut fitted" in shown and "!! Mind this." in shown and " …" in shown


@pytest.mark.parametrize(("columns", "rows"), [(40, 10), (30, 6), (20, 5), (60, 13)])
def test_on_a_page_made_too_small_the_setting_stays_with_its_approach(columns: int, rows: int) -> None:
    a_job = job(plan(width=84, parts="A"))
    seen = sight(called(a_job, 5), called(a_job, 2), of=a_job, setting="Return, then come up.", faults=LOST)
    assert seen.view and seen.view.approach is not None
    shown = words_on(composed(seen, columns, rows))
    assert f"FIRST DOWN TO {float(seen.view.approach):.2f}" in shown
    assert f"up to {float(seen.view.setting):.2f}" in shown


@pytest.mark.parametrize(("columns", "rows"), [(40, 10), (30, 6), (20, 5)])
def test_on_a_page_made_too_small_the_check_stays_whole(columns: int, rows: int) -> None:
    shown = words_on(composed(sight(f.CheckOpened(1, "guard"), faults=LOST), columns, rows))
    assert "Guard for this cut fitted: blade boxed in where it comes out behind the backing?" in shown


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_a_question_is_shown_big_and_read_back_in_full(columns: int, rows: int) -> None:
    canvas = composed(sight(called(job(plan(width=84, parts="A")), 3), f.Asked("back", 1, 2)), columns, rows)
    assert big_on(canvas, "BACK TO 2?") >= 1 and "and count it as not cut?" in text(canvas)
    keys = " ".join(text(canvas).splitlines()[-1 if rows < 48 else -5].split())
    assert keys.startswith("tap: nothing │double tap: no │long press: yes")


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_two_moves_are_in_their_order_and_equally_big(columns: int, rows: int) -> None:
    a_job = job(plan(width=84, parts="A"))
    canvas = composed(sight(called(a_job, 5), called(a_job, 2), of=a_job), columns, rows)
    setting = a_job.pattern_of(1).passes[1].setting
    moves = [f"1 DOWN TO {float(setting - Fraction(1, 2)):.2f}", f"2 UP TO {float(setting):.2f}"]
    first, second = (big_on(canvas, move) for move in moves)
    assert first == second >= 1 and big_on(canvas, "MM") <= first
    assert row_of(canvas, moves[0]) < row_of(canvas, moves[1])
    assert f"{float(setting):.2f}" not in text(canvas)


def test_a_setting_that_is_come_down_to_says_so() -> None:
    a_job = job(plan(width=84, parts="A"))
    pattern = a_job.patterns[0]
    passes = tuple(replace(one, down=one.number == 2) for one in pattern.passes)
    a_job = replace(a_job, patterns=(replace(pattern, passes=passes), *a_job.patterns[1:]))
    canvas = composed(sight(f.PassCut(1, 1, "pedal"), called(a_job, 2), of=a_job))
    setting = float(passes[1].setting)
    assert big_on(canvas, f"1 UP TO {setting + 1:.2f}") and big_on(canvas, f"2 DOWN TO {setting:.2f}")


def test_a_handwheel_shows_the_move_the_mark_and_the_turns_from_zero() -> None:
    a_job = job(plan(width=84, parts="A"), carriage=HANDWHEEL)
    first, second = (one.setting / HANDWHEEL.resolution for one in a_job.pattern_of(1).passes[:2])
    assert (first, second) == (721, 947)  # 125 marks a turn: 5 turns + 96, 7 turns + 72; 1 turn + 101 between them
    seen = sight(called(a_job, 1), f.PassCut(1, 1, "pedal"), called(a_job, 2), of=a_job)
    canvas = composed(seen)
    assert big_on(canvas, "UP 1+101") and big_on(canvas, "TO 7+72")
    assert "pass 2 of 14" in text(canvas) and "turns +" in text(canvas)
    assert "UP ► 1 turn + 101 marks" in text(canvas), "the dial"
    assert seen.view and seen.words
    assert "pass 2/14, up 1 turn + 101 marks to 7 turns + 72, then " in place_line(seen.view, seen.words)


def test_a_low_page_has_where_a_handwheel_ends_rather_than_the_move_in_big() -> None:
    a_job = job(plan(width=84, parts="A"), carriage=HANDWHEEL)
    seen = sight(called(a_job, 1), f.PassCut(1, 1, "pedal"), called(a_job, 2), of=a_job)
    canvas = composed(seen, 60, 13)
    assert big_on(canvas, "TO 7+72") and "up 1 turn + 101 marks to 7 turns + 72" in text(canvas)


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_a_handwheel_that_goes_past_shows_both_places_big_and_both_amounts(columns: int, rows: int) -> None:
    """By hand: pass 5 is 17 turns + 13, pass 2 is 7 turns + 72, and half a turn is 62.5 marks: first to 7 turns + 9."""
    a_job = job(plan(width=84, parts="A"), carriage=HANDWHEEL)
    canvas = composed(sight(called(a_job, 5), called(a_job, 2), of=a_job), columns, rows)
    assert big_on(canvas, "1 DOWN TO 7+9") == big_on(canvas, "2 UP TO 7+72") >= 1
    last = a_job.pattern_of(1).passes[4].setting / HANDWHEEL.resolution
    turns, marks = divmod(last - (7 * 125 + 9), 125)
    assert f"1 down {turns} turns + {marks} marks, 2 up 63 marks" in text(canvas)


def test_a_stepper_shows_its_steps() -> None:
    a_job = job(plan(width=84, parts="A"), carriage=Carriage(kind="steps", resolution=Fraction(1, 400)))
    seen = cutting(a_job, 1)
    steps = a_job.pattern_of(1).passes[0].setting * 400
    assert big_on(composed(seen), str(steps)) and "steps" in text(composed(seen)).lower()


def test_a_check_that_no_glyph_can_write_is_shown_in_plain_letters() -> None:
    own = (Check("먼지 문", "먼지 문 열림?", "x", "setup"),)
    canvas = composed(sight(f.CheckOpened(1, "먼지 문"), of=job(plan(width=84, parts="A"), own)))
    assert "먼지 문" in text(canvas).replace("\n", "")


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_everything_that_must_be_seen_is_on_the_page(columns: int, rows: int) -> None:
    seen = cutting(
        left_s=1510.0,
        heard=LastInput('"marigold proceed to next pass"', "pass 2 is cut"),
        hands=LastInput("pedal tap", "pass 1 is cut"),
        faults=(("microphone", "Voice is off: no sound."),),
        log=(LogEntry("answer", "Nothing changed."),),
    )
    canvas = composed(seen, columns, rows)
    for part in (
        "long side, part A",
        "setup 1 of 2",
        "end 1 down, reference edge to the left stop, marked face to the backing",
        f"2/{seen.view.passes}",  # type: ignore[union-attr]
        "about 25 min left",
        '"marigold proceed to next pass" -> pass 2 is cut',
        "tap -> pass 1 is cut",
        "!! Voice is off: no sound.",
        "Nothing changed.",
        "█████░░░░░░░ open",
        "pedal heard",
        "tap: pass cut, call next",
        "?: keys",
    ):
        assert shows(canvas, part), part


def test_microphone_and_pedal_are_shown_in_words() -> None:
    seen = cutting()
    for gauges, words in (
        (Gauges("off"), ("mic off", "pedal off: keys")),
        (Gauges("missing", pedal="lost"), ("mic missing", "pedal lost: keys")),
        (Gauges("works", None), ("mic no sound",)),
        (Gauges("works", 0, True, "heard", True), ("mic SILENT: muted?", "pedal DOWN")),
    ):
        assert all(word in text(composed(seen, gauges=gauges)) for word in words)
    assert "waits" in text(composed(replace(seen, speaking=True)))


@pytest.mark.parametrize(
    ("given", "pedal", "shown"),
    [
        ("pedal long press", "heard", "pedal heard   long press -> clamps confirmed  ?: keys"),
        ("pedal long press", "off", "pedal off: keys   pedal long press -> "),
        ("keys long press", "heard", "pedal heard   keys long press -> "),
    ],
)
def test_what_a_gesture_did_fits_into_80_columns_beside_the_microphone(given: str, pedal: str, shown: str) -> None:
    """The pedal is named once."""
    gauges, hands = Gauges("works", METER_CELLS, False, pedal), LastInput(given, "clamps confirmed")
    row = text(composed(cutting(hands=hands), gauges=gauges)).splitlines()[-2]
    assert shown in row and "open" in row and row.rstrip().endswith("?: keys")


def test_no_key_is_offered_if_none_is_read() -> None:
    finished = sight(f.Finished())
    assert "q: leave" in text(composed(finished)) and "?: keys" in text(composed(finished))
    shown = text(composed(finished, gauges=Gauges(keys=False)))
    assert "q: leave" not in shown and "keys" not in shown and "double tap: say again" in shown


@pytest.mark.parametrize(("level", "cells"), [(-120.0, 0), (-70.0, 0), (-40.0, 6), (-10.0, 12), (0.0, METER_CELLS)])
def test_the_meter_runs_from_a_quiet_room_to_near_clipping(level: float, cells: int) -> None:
    assert gauges_of("works", level, "heard", False).level == cells


def test_a_list_covers_the_page_whole() -> None:
    from assistant.screens.key_meanings import KEY_LIST

    shown = text(composed(cutting(note=KEY_LIST)))
    words = [" ".join(line.split()) for line in shown.splitlines()]
    assert all(" ".join(line.split()) in words for line in KEY_LIST.splitlines())
    assert shown.splitlines()[-1].startswith(" tap: pass cut"), "the keys stay"


@pytest.mark.parametrize(("columns", "rows"), SIZES)
@pytest.mark.parametrize("lines", range(1, 31))
@pytest.mark.parametrize("two_moves", [False, True])
def test_above_a_list_the_thing_to_do_is_whole_or_not_there(
    columns: int, rows: int, lines: int, two_moves: bool
) -> None:
    """Half a figure could be read as another one."""
    a_job = job(plan(width=84, parts="A"), carriage=HANDWHEEL)
    seen = sight(called(a_job, 5), called(a_job, 2), of=a_job, setting=HOW_TO_CUT) if two_moves else cutting()
    assert seen.view and seen.words
    canvas = composed(replace(seen, note="\n".join(f"line {n}" for n in range(lines))), columns, rows)
    wanted = heading_of(seen.view, seen.words).left
    top = next(row for row in range(rows) if canvas.text(row) == "─" * columns)
    is_big = [bool(big_on(canvas, line)) for line in wanted]
    above = Canvas(columns, top)
    above.lines = canvas.lines[:top]
    assert (
        all(is_big) or (not any(is_big) and words_on(above).count(setting_text(seen.view, seen.words)) == 1) or top < 6
    )
    head = 4 if rows >= 48 else 1
    blocks = [row for row in range(head, top) if re.search("[▀▄█]{2}", canvas.text(row))]
    assert all(is_big) or not blocks


@settings(max_examples=80, deadline=None)
@given(st.integers(1, 240), st.integers(1, 80), st.sampled_from(["cutting", "checks", "note", "nothing"]))
def test_any_size_makes_a_page_of_that_size(columns: int, rows: int, what: str) -> None:
    seen = {
        "cutting": cutting(faults=(("a", "b" * 300), ("c", "d"), ("e", "f"))),
        "checks": sight(f.CheckOpened(1, "clamps"), log=(LogEntry("clamp", "w " * 500),)),
        "note": cutting(note="a\n  b"),
        "nothing": Sight(),
    }[what]
    canvas = composed(seen, columns, rows)
    assert len(canvas.lines) == rows and {len(line) for line in canvas.lines} == {columns}


def luminance(red: int, green: int, blue: int) -> float:
    """WCAG 2.2, relative luminance of an sRGB colour."""
    parts = [c / 255 / 12.92 if c / 255 <= 0.04045 else ((c / 255 + 0.055) / 1.055) ** 2.4 for c in (red, green, blue)]
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


def contrast(one: tuple[int, int, int], other: tuple[int, int, int]) -> float:
    high, low = sorted((luminance(*one), luminance(*other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


BLACK, WHITE = (0, 0, 0), (255, 255, 255)
# xterm's default colours 1 and 5; the Linux console, which is dark, shows bold as its bright colours 9 and 13.
XTERM = {RED: (205, 0, 0), MAGENTA: (205, 0, 205)}
CONSOLE = {RED: (255, 85, 85), MAGENTA: (255, 85, 255)}


@pytest.mark.parametrize("colour", MARKING)
def test_each_colour_of_a_mark_can_be_seen_on_dark_and_on_light(colour: int) -> None:
    """WCAG 2.2, 1.4.11 and 1.4.3 for large text: at least 3 : 1."""
    assert contrast(XTERM[colour], BLACK) >= 3 and contrast(XTERM[colour], WHITE) >= 3
    assert contrast(CONSOLE[colour], BLACK) >= 3


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_nothing_that_must_be_read_is_in_a_colour(columns: int, rows: int) -> None:
    """Words and figures have the terminal's own contrast; colour fills cells, or marks what a word names beside it."""
    faults = (("microphone", "Voice is off."),)
    for seen in (cutting(), cutting(faults=faults), end_of_setup(), sight(f.CheckOpened(1, "guard"), faults=faults)):
        canvas = composed(seen, columns, rows)
        coloured = [cell for line in canvas.lines for cell in line if cell[1] & ANY_COLOUR]
        assert {char for char, _ in coloured} <= {FULL, "▼", "▲", " ", "!"} and all(s & BOLD for _, s in coloured)
        assert [char for char, _ in coloured].count("!") == 2 * len(seen.faults)
        marks = {char for char, style in coloured if style & MAGENTA}
        assert marks <= {"▼", "▲", FULL}


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_head_and_keys_have_the_colour_of_the_state(columns: int, rows: int) -> None:
    """And red for a lost voice, in whatever state."""
    seen = [
        cutting(),
        sight(f.CheckOpened(1, "guard")),
        sight(called(job(plan(width=84, parts="A")), 3), f.Asked("end", 1, 3)),
        sight(f.StoodBy("pedal")),
        end_of_setup(),
        cutting(faults=(("microphone", "Voice is off."),)),
    ]
    colours = []
    for each in seen:
        canvas = composed(each, columns, rows)
        ends = {canvas.lines[0][0], canvas.lines[0][-1], canvas.lines[-1][-1]}
        assert len(ends) == 1 and {char for char, _ in ends} == {FULL}
        colours.append(ends.pop()[1] & ANY_COLOUR)
    assert len(set(colours)) == len(seen) and colours[-1] == RED


def barred_job() -> Job:
    """A board whose holding takes the longest words there are."""
    a_job = job(plan(width=84, parts="A"))
    return replace(a_job, carriage=replace(a_job.carriage, register="setting bar"))


@pytest.mark.parametrize(("columns", "rows"), [*SIZES, (60, 20), (40, 10)])
def test_how_the_board_is_held_is_shown_to_its_end(columns: int, rows: int) -> None:
    a_job = barred_job()
    cut = [f.PassCut(1, n, "pedal") for n in (1, 2, 3)]
    clamp = "Setup 1 of 2: long side, end 1 down. Against the setting bar, marked face to the backing."
    for seen in (
        sight(called(a_job, 1), of=a_job, faults=LOST),
        sight(*cut, called(a_job, 4), f.Asked("registered", 1, 4), of=a_job, faults=LOST),
        sight(f.CheckOpened(1, "guard"), of=a_job, clamp=clamp, faults=LOST),
    ):
        assert seen.view and seen.words and seen.view.way
        way = seen.words.one(seen.view.way)
        assert len(way) > 78 and "setting bar" in way
        if (columns, rows) == (40, 10) and seen.view.mode == "question":
            continue  # the question takes all the room
        canvas = composed(seen, columns, rows)
        assert shows(canvas, way) or shows(canvas, clamp)


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_the_figure_asks_for_a_turn_only_before_the_board_is_clamped(columns: int, rows: int) -> None:
    """Setup 2 is end 2 of the board: turned over for edge and face, and held from then on."""
    a_job = job(plan(width=84, parts="A"))
    second = f.SetupStarted(2)
    asked = composed(sight(second, f.CheckOpened(2, "edge and face"), of=a_job), columns, rows)
    assert "TURN" in text(asked) and "OTHER FACE" in text(asked) and "BACKING" in text(asked)
    for fact in (f.CheckOpened(2, "backing"), called(a_job, 1, 2), f.StoodBy("pedal")):
        shown = text(composed(sight(second, fact, of=a_job), columns, rows))
        assert "TURN" not in shown and ("OTHER FACE" in shown) == (columns >= 100)


def in_two_halves() -> Rehearsed:
    carriage = Carriage(travel=(Fraction(0), Fraction(60)), distance_piece=Fraction("30.02"))
    checks = tuple(check for check in DEFAULT_CHECKS if check.name != "setting bar out")
    return Rehearsed(job(plan(84, parts="A", ends=1), checks, carriage))


@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (132, 43)])
def test_it_says_which_half_is_cut_and_in_large_letters_whether_the_piece_is_in(columns: int, rows: int) -> None:
    session = in_two_halves()
    words = Words(session.runner.state.the_job)
    first = session.sight
    assert "first half" in words_on(composed(first, columns, rows))
    assert first.view and heading_of(first.view, words).left == ("DISTANCE PIECE", "30.02 MM")
    while session.runner.state.setup == 1:
        assert session.sight.view
        if session.sight.view.check == "saw off":
            assert heading_of(session.sight.view, words).left == ("SAW OFF", "COUNT 4 + 1 BEGUN")
        session.gesture("tap" if session.runner.state.effective_mode == "cutting" else "hold")
    second = session.sight
    assert second.view and heading_of(second.view, words).left == ("DISTANCE PIECE", "OUT")
    assert "second half" in words_on(composed(second, columns, rows))
    # The page has the same, and what the first half has cut.
    state = state_of(second)
    assert (state["half"], state["big"]) == ("second half", [["", "DISTANCE PIECE"], ["", "OUT"]])
    board = pattern_of(words.job.pattern_of(2), words.job)
    assert board["gone"] == [each[:2] for each in pattern_of(words.job.pattern_of(1), words.job)["passes"]]
    assert pattern_of(words.job.pattern_of(1), words.job)["gone"] == []
