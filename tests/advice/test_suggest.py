"""Suggestions compared with joints laid out and cut in full, and the ranking with its own marks."""

from __future__ import annotations

from fractions import Fraction as F

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.advice.suggest import TRADE_FINGERS, Advice, Candidate, WantedJoint, one_pass_finger, suggest
from assistant.errors import BadInput
from assistant.joinery.layout import even, mate
from assistant.joinery.model import Blade, Segment
from assistant.joinery.passes import Cut, cuts
from assistant.joinery.walls import open_walls
from tests.joinery.plans import lengths

TRAY = WantedJoint(F(84), F(12), F(12))
SAW = Blade(F(318, 100))


@st.composite
def boards(draw: st.DrawFn) -> tuple[WantedJoint, Blade]:
    kerf = draw(lengths(F(1), F(8)))
    clearance = draw(st.sampled_from([F(0), F(1, 10), F(127, 1000), F(1, 3)]))
    width = draw(lengths(F(2), 40 * kerf))
    wanted = WantedJoint(width, draw(lengths(F(3), F(30))), draw(lengths(F(3), F(30))), clearance)
    return wanted, Blade(kerf, draw(st.sampled_from([F(0), F(1, 5), kerf / 3])), draw(st.sampled_from([F(0), F(2)])))


def parts(one: Candidate, wanted: WantedJoint) -> list[tuple[Segment, ...]]:
    """Both parts laid out as a plan with this candidate would be."""
    a = even(wanted.width, one.division.finger, "finger", one.division.remainder)
    return [a, mate(a)]


def cut(one: Candidate, wanted: WantedJoint, blade: Blade) -> list[tuple[Cut, ...]]:
    return [cuts(open_walls(part, wanted.clearance), wanted.width, blade) for part in parts(one, wanted)]


@given(boards())
@settings(max_examples=40, deadline=None)
def test_every_figure_is_that_of_the_joint_laid_out_in_full(made):
    wanted, blade = made
    for one in suggest(wanted, blade).ranked:
        a, b = parts(one, wanted)
        assert len(a) == one.division.count
        assert sum(map(len, cut(one, wanted, blade))) == one.passes
        standing = [sum((s.width for s in part if s.is_finger), F(0)) for part in (a, b)]
        assert one.wood_left == min(standing) / wanted.width
        assert one.narrowest == min(s.width for s in a)
        opened = (s for part in (a, b) for s in open_walls(part, wanted.clearance) if s.is_finger)
        assert one.stands == min(s.width for s in opened)
        assert one.division.like_edges == (a[0].is_finger == a[-1].is_finger and a[0].width == a[-1].width)


@given(boards())
@settings(max_examples=40, deadline=None)
def test_every_count_that_can_be_cut_is_considered_and_no_other(made):
    wanted, blade = made
    possible = set()
    for count in range(2, int(wanted.width / one_pass_finger(blade.kerf, wanted.clearance)) + 4):
        segments = even(wanted.width, wanted.width / count)
        try:
            for part in (segments, mate(segments)):
                cuts(open_walls(part, wanted.clearance), wanted.width, blade)
        except BadInput:
            continue
        possible.add(count)
    equal = {one.division.count for one in suggest(wanted, blade).ranked if one.division.remainder == "stretch"}
    assert equal == possible


@given(boards())
@settings(max_examples=60, deadline=None)
def test_the_one_pass_finger_is_cut_in_one_pass(made):
    """Its inner sockets are as wide as the kerf; it is there whenever the board holds three of them."""
    wanted, blade = made
    advice = suggest(wanted, blade)
    assert advice.one_pass == blade.kerf - wanted.clearance / 2
    for rank in advice.one_pass_ranks:
        one = advice.ranked[rank - 1]
        assert one.passes_a_socket == (1 if one.division.count > 2 else 0)
        for part, passes in zip(parts(one, wanted), cut(one, wanted, blade), strict=True):
            sockets = [s for s in part if not s.is_finger]
            inner = {n for n, s in enumerate(sockets, 1) if s.start > 0 and s.end < wanted.width}
            assert all(sum(p.socket == n for p in passes) == 1 for n in inner)
    if wanted.width >= 3 * advice.one_pass:
        assert advice.one_pass_ranks


def test_the_one_pass_finger_by_hand():
    assert one_pass_finger(F(318, 100), F(1, 10)) == F(313, 100)
    advice = suggest(WantedJoint(F(313, 100) * 9, F(12), F(12)), SAW)
    (rank,) = advice.one_pass_ranks
    assert advice.ranked[rank - 1].division.count == 9
    assert advice.ranked[rank - 1].passes == 9


def by_count(advice: Advice) -> dict[int, Candidate]:
    return {one.division.count: one for one in advice.ranked if one.division.remainder == "stretch"}


def test_a_tray_by_hand():
    """84 x 12 mm, kerf 3.18, c 0.1: 7 fingers of 12 mm.

    Inner sockets 12.05: ceil(8.87 / 2.98) + 1 = 4 passes; edge sockets 12.025: also 4. In all 28. Six walls of
    12 x 12 mm against a butt joint of 84 x 12 mm: 6/7. Part B keeps 3 of 7 fingers.
    """
    advice = suggest(TRAY, SAW)
    one = by_count(advice)[7]
    assert (one.division.finger, one.passes, one.passes_a_socket) == (12, 28, 4)
    assert (one.glue, one.wood_left, one.narrowest) == (F(6, 7), F(3, 7), 12)
    fewest = min(each.passes for each in advice.ranked)
    assert one.score == pytest.approx(100 * fewest / 28 * (6 / 13) * (6 / 7))
    assert "less glue area than a butt joint" in one.reasons


def test_glue_area_is_compared_with_the_larger_butt_joint():
    """Walls are as long as one board is thick and as high as the other; the butt joint is that of the thicker board."""
    one = by_count(suggest(WantedJoint(F(90), F(10), F(20)), SAW))[9]
    assert one.glue == F(8 * 10 * 20, 90 * 20)


@given(boards())
@settings(max_examples=60, deadline=None)
def test_nothing_ranks_below_what_it_beats_in_every_respect(made):
    wanted, blade = made
    ranked = suggest(wanted, blade).ranked

    def marks(one: Candidate) -> tuple[F | int | bool, ...]:
        return -one.passes, one.glue, one.wood_left, one.narrowest, one.division.like_edges

    for rank, one in enumerate(ranked):
        for below in ranked[rank + 1 :]:
            pairs = list(zip(marks(one), marks(below), strict=True))
            assert not (all(x <= y for x, y in pairs) and any(x < y for x, y in pairs)) or one.score == below.score


def test_a_sliver_is_worth_half():
    """84 / 28 is 3 mm, of which the clearance leaves 2.95: a sliver; 84 / 27 is none. Little else differs."""
    advice = suggest(TRAY, Blade(F(2)))
    found = by_count(advice)
    assert (found[27].is_sliver, found[28].is_sliver) == (False, True)
    assert 1.5 < found[27].score / found[28].score < 2.5
    assert not advice.ranked[0].is_sliver
    assert all(("fingers under 3 mm may break" in one.reasons) == one.is_sliver for one in advice.ranked)


def test_an_odd_count_gives_like_edges():
    for count, one in by_count(suggest(TRAY, SAW)).items():
        assert one.division.like_edges == (count % 2 == 1)
        assert ("edges alike" in one.reasons) == (count % 2 == 1)


def test_thicker_stock_asks_for_wider_fingers():
    best = [suggest(WantedJoint(F(150), F(t), F(t)), SAW).ranked[0].division.finger for t in (6, 12, 19, 40)]
    assert best == sorted(best)
    assert best[0] < best[-1]


@pytest.mark.parametrize(
    ("wanted", "blade", "faults"),
    [
        (WantedJoint(F(0), F(-1), F(12)), SAW, ["width: must be over 0", "thickness: must be over 0"]),
        (WantedJoint(F(84), F(12), F(12), F(7)), SAW, ["clearance: is not possible with this blade (got 7 mm)"]),
        (WantedJoint(F(84), F(12), F(12), F(-1)), SAW, ["clearance: is not possible with this blade (got -1 mm)"]),
        (
            WantedJoint(F(84), F(12), F(12), F(318, 100)),
            SAW,
            ["clearance: is not possible with this blade (got 3.18 mm)"],
        ),
        (TRAY, Blade(F(1), F(1)), ["overlap: passes can't overlap by this much (got 1 mm)"]),
        (WantedJoint(F(1, 20), F(12), F(12)), SAW, ["width: the clearance leaves no wood for a finger (got 0.05 mm)"]),
        (WantedJoint(F(10_000), F(12), F(12)), Blade(F(3, 10)), ["width: every joint would take over 20,000 passes"]),
    ],
)
def test_everything_impossible_is_reported_at_once(wanted: WantedJoint, blade: Blade, faults: list[str]):
    with pytest.raises(BadInput) as caught:
        suggest(wanted, blade)
    found = [str(fault) for fault in caught.value.faults]
    assert len(found) == len(faults)
    assert all(one.startswith(start) for one, start in zip(found, faults, strict=True)), found


def test_a_board_narrower_than_three_fingers_still_has_a_corner():
    advice = suggest(WantedJoint(F(5), F(6), F(6)), SAW)
    (one,) = advice.ranked
    assert (one.division.count, one.passes, one.passes_a_socket) == (2, 2, 0)
    assert advice.one_pass_ranks == ()


INCH = F(254, 10)
QUARTER = WantedJoint(INCH * F(7, 2), INCH / 2, INCH / 2, INCH * F(4, 1000))
EIGHTH = Blade(INCH / 8)


@given(boards())
@settings(max_examples=40, deadline=None)
def test_in_inches_each_customary_finger_that_can_be_cut_comes_first_and_once(made):
    wanted, blade = made
    ranked = suggest(wanted, blade, unit="in").ranked
    trade = [one for one in ranked if one.trade]
    assert list(ranked[: len(trade)]) == trade
    assert [one.score for one in trade] == sorted((one.score for one in trade), reverse=True)
    possible = set()
    for finger in TRADE_FINGERS:
        for remainder in ("both edges", "far edge") if 2 * finger <= wanted.width else ():
            segments = even(wanted.width, finger, "finger", remainder)
            try:
                for part in (segments, mate(segments)):
                    cuts(open_walls(part, wanted.clearance), wanted.width, blade)
            except BadInput:
                continue
            possible.add(finger)
    assert [one.division.finger for one in trade] == sorted(possible, key=[o.division.finger for o in trade].index)
    for one in trade:
        a, b = parts(one, wanted)
        assert len(a) == one.division.count and sum(map(len, cut(one, wanted, blade))) == one.passes


@given(boards())
@settings(max_examples=40, deadline=None)
def test_what_a_slightly_different_finger_saves_is_what_it_saves_when_cut(made):
    wanted, blade = made
    ranked = suggest(wanted, blade, unit="in").ranked
    for one in ranked:
        others = [
            one.passes - other.passes
            for other in ranked
            if abs(other.division.finger / one.division.finger - 1) <= F(1, 8) and not other.is_sliver
        ]
        if not one.trade or max(others, default=0) < F(one.passes, 5):
            assert one.saving is None
            continue
        assert one.saving is not None and one.saving.passes == max(others)
        other = ranked[one.saving.rank - 1]
        assert other.division.finger == one.saving.finger
        assert sum(len(p) for p in cut(one, wanted, blade)) - one.saving.passes == sum(
            map(len, cut(other, wanted, blade))
        )
        assert any(f"saves {one.saving.passes} passes (rank {one.saving.rank})" in why for why in one.reasons)


def test_a_quarter_of_an_inch_by_hand():
    """3 1/2 in, kerf 1/8, overlap 0.2 mm, c 0.004 in.

    A socket of 1/4 + 0.002 takes ceil(0.127 / 0.1171) + 1 = 3 passes, 14 of them 42. 15 fingers of 0.2333 take
    ceil(0.1103 / 0.1171) + 1 = 2 each, 30 in all.
    """
    ranked = suggest(QUARTER, EIGHTH, unit="in").ranked
    (one,) = (each for each in ranked if each.division.finger == INCH / 4)
    assert (one.trade, one.passes, one.passes_a_socket) == (True, 42, 3)
    assert one.saving is not None and (one.saving.finger, one.saving.passes) == (QUARTER.width / 15, 12)
    assert f"0.2333 in saves 12 passes (rank {one.saving.rank})" in one.reasons
    assert {each.division.finger / INCH for each in ranked if each.trade} >= {F(1, 4), F(5, 16), F(3, 8), F(1, 2)}


def test_in_millimetres_no_finger_is_customary():
    ranked = suggest(QUARTER, EIGHTH).ranked
    assert not any(one.trade or one.saving for one in ranked)
    assert [one.score for one in ranked] == sorted((one.score for one in ranked), reverse=True)
