"""Fit prediction against closed forms of the normal distribution, root-sum-square, and boards cut in shapely.

`statistics.NormalDist` is the normal table. Nothing here is compared with the simulation's own past.
"""

from __future__ import annotations

import math
import random
import tracemalloc
from dataclasses import replace
from fractions import Fraction as F
from itertools import product
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.affinity import translate
from shapely.geometry import box
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from assistant.advice.fit import (
    AS_GOOD,
    COVERAGE,
    LEFT,
    MOST_JOINTS,
    RIGHT,
    SLOT,
    Errors,
    Joint,
    bands,
    best_of,
    chances,
    clearances,
    joint_of,
    moved,
    room,
    simulate,
    slots_of,
    swells,
)
from assistant.joinery.layout import even, mate
from assistant.joinery.lined import Lining, stages
from assistant.joinery.model import Blade, Carriage, Pattern
from assistant.joinery.pattern import pattern
from assistant.joinery.settings import rounding_report
from assistant.joinery.slots import evenly, lay_out
from assistant.joinery.walls import open_walls
from tests.joinery.plans import joints

PHI = NormalDist().cdf
FINE = Carriage(resolution=F(1, 10**9))
NONE = Errors(0, 0, 0)
MANY = 100_000


def parts(count: int, clearance: F, kerf: F = F(3), finger: F = F(10), carriage: Carriage = FINE) -> list[Pattern]:
    """Both parts of a joint with `count` fingers in all; by default two passes or more in every socket."""
    width = finger * count
    nominal = even(width, finger)
    return [
        pattern(name, open_walls(segments, clearance), width, F(12), Blade(kerf), carriage)
        for name, segments in (("A", nominal), ("B", mate(nominal)))
    ]


def joint(count: int, clearance: float = 0.1, **more: F) -> Joint:
    exact = F(str(clearance))
    return joint_of(*parts(count, exact, **more), exact, FINE)


def one_pass(count: int, clearance: float = 0.1) -> Joint:
    """Every inner socket is as wide as the kerf: both its walls are one pass's."""
    return joint(count, clearance, kerf=F(10) + F(str(clearance)) / 2)


def within(found: float, expected: float, count: int = MANY) -> bool:
    """Whether a simulated share agrees with the true one to 4.5 standard errors (one in 150,000 would not)."""
    return abs(found - expected) <= 4.5 * math.sqrt(max(expected * (1 - expected), 1 / count) / count)


# What the gaps are


@given(joints())
@settings(max_examples=50, deadline=None)
def test_every_gap_is_half_the_clearance_and_sides_alternate(made):
    a, b = (pattern(p.part, p.segments, p.width, p.depth, made.blade, FINE) for p in made.parts)
    found = joint_of(a, b, made.clearance, FINE)
    assert [g.at for g in found.gaps] == pytest.approx([float(s.end) for s in made.nominal[:-1]])
    assert [found.gap(g) for g in found.gaps] == pytest.approx([float(made.clearance) / 2] * len(found.gaps), abs=1e-6)
    sides = [RIGHT if s.is_finger else LEFT for s in made.nominal[:-1]]
    assert [g.side for g in found.gaps] == sides


@given(joints())
@settings(max_examples=50, deadline=None)
def test_what_rounding_leaves_is_what_the_layout_reports(made):
    a, b = made.parts
    found = joint_of(a, b, made.clearance, made.carriage)
    _, worst = rounding_report([*a.passes, *b.passes], made.carriage, made.clearance, width=made.width)
    left = [found.gap(g) for g in found.gaps if g.side == LEFT]
    right = [found.gap(g) for g in found.gaps if g.side == RIGHT]
    expected = float(worst)
    assert min(left or right) + min(right or left) == pytest.approx(expected, abs=1e-9)
    if left and right:
        band = room(found, NONE)
        assert band is not None
        assert (band.middle, band.rss, band.worst) == (pytest.approx(expected, abs=1e-9), 0, 0)


def wood(part: Pattern, moves: dict[int, float], kerf: float, reference: float) -> BaseGeometry:
    """What the saw leaves of a board's end when passes, kerf and reference are off by this much."""
    cut = [
        box(
            float(p.kerf_from) + moves[p.number] + reference - kerf / 2,
            -1,
            float(p.kerf_to) + moves[p.number] + reference + kerf / 2,
            2,
        )
        for p in part.passes
    ]
    # Ignore what happens at the edges: the gaps are at inner walls.
    return box(-5, 0, float(part.width) + 5, 1).difference(unary_union(cut))


def errors_at(made: Joint, a: Pattern, b: Pattern, moves: dict[str, dict[int, float]]) -> list[float]:
    """The error of each of the joint's passes, by its number there, found from where the passes' walls lie."""
    found = [0.0] * made.passes
    for gap in made.gaps:
        for which, wall in ((gap.opens, "kerf_to"), (gap.closes, "kerf_from")):
            near = [
                moves[part.part][p.number]
                for part in (a, b)
                for p in part.passes
                if abs(float(getattr(p, wall)) - gap.at) < 0.3
            ]
            assert len(near) == 1
            found[which] = near[0]
    return found


@pytest.mark.parametrize("kerf", [F(3), F(10) + F(3, 20)])
@pytest.mark.parametrize("count", [2, 3, 6, 7])
def test_each_error_moves_the_walls_that_it_moves_on_a_board(count: int, kerf: F):
    """Cut in shapely: gaps are the free space between both boards' wood, without using the formula."""
    clearance = F(3, 10)
    a, b = parts(count, clearance, kerf)
    made = joint_of(a, b, clearance, FINE)
    chance = random.Random(count)
    for _ in range(5):
        moves = {each.part: {p.number: chance.uniform(-0.02, 0.02) for p in each.passes} for each in (a, b)}
        kerf_error = chance.uniform(-0.02, 0.02)
        reference = {"A": chance.uniform(-0.02, 0.02), "B": chance.uniform(-0.02, 0.02)}
        whole = [wood(each, moves[each.part], kerf_error, reference[each.part]) for each in (a, b)]
        free = box(-1, 0, float(a.width) + 1, 1).difference(unary_union(whole))
        inner = [g for g in getattr(free, "geoms", [free]) if g.bounds[0] > 1 and g.bounds[2] < float(a.width) - 1]
        seen = sorted((g.centroid.x, g.area) for g in inner)
        per_pass = errors_at(made, a, b, moves)
        way = {LEFT: 1, RIGHT: -1}
        expected = [
            made.gap(g)
            + kerf_error
            + way[g.side] * (reference["A"] - reference["B"])
            + per_pass[g.opens]
            - per_pass[g.closes]
            for g in made.gaps
        ]
        assert [area for _, area in seen] == pytest.approx(expected, abs=1e-7)


@pytest.mark.parametrize("seed", range(8))
def test_a_joint_goes_together_when_a_slide_exists_at_which_no_wood_meets(seed: int):
    """Part B is pushed along part A in shapely; the rule of the two least gaps says whether a place is found."""
    a, b = parts(5, F(1, 25))
    made = joint_of(a, b, F(1, 25), FINE)
    chance = random.Random(seed)
    moves = {each.part: {p.number: chance.uniform(-0.03, 0.03) for p in each.passes} for each in (a, b)}
    reference = chance.uniform(-0.5, 0.5)
    per_pass = errors_at(made, a, b, moves)
    gaps: dict[str, list[float]] = {LEFT: [], RIGHT: []}
    for g in made.gaps:
        way = 1 if g.side == LEFT else -1
        gaps[g.side].append(made.gap(g) + way * reference + per_pass[g.opens] - per_pass[g.closes])
    slack = min(gaps[LEFT]) + min(gaps[RIGHT])
    middle = (min(gaps[LEFT]) - min(gaps[RIGHT])) / 2
    part_a = wood(a, moves["A"], 0, reference)
    part_b = translate(wood(b, moves["B"], 0, 0), xoff=middle)
    inside = box(1, 0, float(a.width) - 1, 1)
    overlap = part_a.intersection(part_b).intersection(inside).area
    assert (overlap < 1e-9) == (slack >= 0)
    assert slack >= 0 or overlap >= -slack / 2 - 1e-9


def test_a_blank_fits_its_openings_with_its_own_clearance():
    segments = even(F(72), F(12))
    final = {"A": open_walls(segments, F(1, 10)), "B": open_walls(mate(segments), F(1, 10))}
    lining = Lining(F(3, 2), ("A",), F(3, 50))
    (made,) = stages(final, {"A": F(12), "B": F(12)}, lining, F(3))
    opened = pattern("A", made.opened, F(72), F(14), Blade(F(3)), FINE)
    blank = pattern("A blank", made.blank, F(72), F(15), Blade(F(3)), FINE)
    found = joint_of(opened, blank, lining.glue_clearance, FINE)
    assert [found.gap(g) for g in found.gaps] == pytest.approx([0.03] * 5, abs=1e-6)


# The simulation against the normal table


def test_a_reference_error_only_makes_a_step():
    """Edge-locked, both edges level: |difference of two references| <= c/2. Sliding: always."""
    error = 0.04
    draws = simulate(joint(9), Errors(0, 0, error), joints=MANY)
    found = chances(draws, 10)
    both = NormalDist(0, error * math.sqrt(2))
    assert found.goes == 1
    assert within(found.flush, 2 * both.cdf(0.05) - 1)
    assert found.step == 0  # more than half stand flush: 62 %
    assert found.great_step == pytest.approx(both.inv_cdf(0.975) - 0.05, rel=0.02)


def test_the_step_where_most_joints_must_slide():
    error = 0.2
    draws = simulate(joint(9), Errors(0, 0, error), joints=MANY)
    found = chances(draws, 10)
    both = NormalDist(0, error * math.sqrt(2))
    assert found.step == pytest.approx(both.inv_cdf(0.75) - 0.05, rel=0.02)
    assert found.great_step == pytest.approx(both.inv_cdf(0.975) - 0.05, rel=0.02)


def test_a_kerf_error_widens_every_gap_alike():
    error = 0.03
    found = chances(simulate(joint(9), Errors(0, error, 0), joints=MANY), 10)
    assert within(found.goes, PHI(0.05 / error))
    assert found.flush == found.goes
    assert found.great_step == 0


def test_shigleys_stack_of_tolerances():
    """Shigley, Mechanical Engineering Design, example 1-3: w = 0.005, root-sum-square 0.006 at three sigma.

    P(w < 0) = 0.006210 (computed with mpmath).
    """
    made = joint(9, 0.01)
    errors = Errors(0, 0.002, 0)
    assert next(bands(made, errors)).rss == pytest.approx(0.006)
    found = chances(simulate(made, errors, joints=MANY), 10)
    assert within(1 - found.flush, 0.006210)


@pytest.mark.parametrize("count", [2, 3, 8, 25])
def test_edge_locked_gaps_of_sockets_cut_in_several_passes_are_independent(count: int):
    """Each wall belongs to one gap, each of these walls to one pass: all n gaps good is one good to the n."""
    error = 0.02
    found = chances(simulate(joint(count), Errors(error, 0, 0), joints=MANY), 10)
    assert within(found.flush, PHI(0.05 / (error * math.sqrt(2))) ** (count - 1))


def goes_by_integral(count: int, clearance: float, error: float) -> float:
    """P(min of n left gaps + min of m right ones >= 0), all gaps independent, by quadrature."""
    sigma = error * math.sqrt(2)
    left, right = count // 2, (count - 1) // 2
    x = np.linspace(-9 * sigma, 9 * sigma, 20_001) + clearance / 2
    above = np.array([1 - NormalDist(clearance / 2, sigma).cdf(v) for v in x])
    above_other = np.array([1 - NormalDist(clearance / 2, sigma).cdf(-v) for v in x])
    least = 1 - above**left
    return float((np.diff(least) * ((above_other**right)[1:] + (above_other**right)[:-1]) / 2).sum())


@pytest.mark.parametrize(("count", "clearance", "error"), [(3, 0.05, 0.02), (9, 0.1, 0.02), (25, 0.1, 0.015)])
def test_sliding_chance_by_quadrature(count: int, clearance: float, error: float):
    made = joint(count, clearance)
    found = chances(simulate(made, Errors(error, 0, 0), joints=MANY), 10)
    expected = goes_by_integral(count, clearance, error)
    assert 0.05 < expected < 0.995
    assert within(found.goes, expected)
    assert found.flush < found.goes


@pytest.mark.parametrize(("cut", "errors_left"), [(one_pass, 2), (joint, 4)])
def test_a_socket_cut_in_one_pass_keeps_its_width(cut, errors_left: int):
    """Three fingers in all: left gap + right gap = c + four errors; in one pass two of them are one and cancel."""
    error, clearance = 0.05, 0.1
    made = cut(3, clearance)
    found = chances(simulate(made, Errors(error, 0, 0), joints=MANY), 10)
    assert within(found.goes, PHI(clearance / (error * math.sqrt(errors_left))))
    band = room(made, Errors(error, 0, 0))
    assert band is not None
    assert band.worst == pytest.approx(COVERAGE * errors_left * error)
    assert band.rss == pytest.approx(COVERAGE * math.sqrt(errors_left) * error)


def test_no_gap_over_the_limit_by_the_normal_table():
    """So much clearance that all joints seat flush: every one of n independent gaps must be under the limit."""
    error, limit = 0.01, 0.32
    draws = simulate(joint(15, 0.6), Errors(error, 0, 0), joints=MANY)
    found = chances(draws, limit)
    assert found.goes == found.flush == 1
    assert within(found.no_gap_over, PHI((limit - 0.3) / (error * math.sqrt(2))) ** 14)
    assert found.serves == found.no_gap_over


@pytest.mark.parametrize("off", [0.3, -0.3])
def test_a_slid_joint_shows_its_gaps_on_one_side(off: float):
    """One reference is off by d. Slid only as far as it must, gaps are 0 on one side and c on the other."""
    made = joint(3)
    way = {LEFT: -off, RIGHT: off}
    shifted = replace(made, gaps=tuple(replace(g, offset=g.offset + way[g.side]) for g in made.gaps))
    draws = simulate(shifted, NONE, joints=1)
    assert chances(draws, 0.1001).no_gap_over == 1
    assert chances(draws, 0.0999).no_gap_over == 0
    assert chances(draws, 1).step == pytest.approx(0.25)
    assert chances(draws, 1).flush == 0


@given(
    st.integers(2, 12),
    st.floats(0, 0.03),
    st.floats(0, 0.03),
    st.floats(0, 0.1),
    st.integers(0, 2**32),
)
@settings(max_examples=40, deadline=None)
def test_sliding_never_does_worse_than_edge_locked(count, setting, kerf, reference, seed):
    found = chances(simulate(joint(count), Errors(setting, kerf, reference), joints=500, seed=seed), 0.2)
    assert found.goes >= found.flush
    assert found.goes >= found.serves
    assert 0 <= found.step <= found.great_step


@pytest.mark.parametrize("cut", [joint, one_pass])
def test_simulated_gaps_scatter_as_root_sum_square_says(cut):
    """All three errors at once; a joint of three fingers has one gap on each side, so no least of several."""
    errors = Errors(0.011, 0.017, 0.023)
    made = cut(3)
    draws = simulate(made, errors, joints=MANY)
    right, left = bands(made, errors)
    for gaps, band in ((draws.least_left, left), (draws.least_right, right)):
        assert np.std(gaps) * COVERAGE == pytest.approx(band.rss, rel=0.01)
        assert np.mean(gaps) == pytest.approx(0, abs=band.rss / 200)
    slack = room(made, errors)
    assert slack is not None
    assert np.std(draws.least_left + draws.least_right) * COVERAGE == pytest.approx(slack.rss, rel=0.01)


def test_the_band_of_a_gap_by_hand():
    """c/2 = 0.05; two settings of 0.01, one kerf of 0.02, two references of 0.03, each three times."""
    (band, *_) = bands(joint(5), Errors(0.01, 0.02, 0.03))
    assert band.middle == pytest.approx(0.05)
    assert band.worst == pytest.approx(3 * (0.02 + 0.02 + 0.06))
    assert band.rss == pytest.approx(3 * math.sqrt(2 * 0.01**2 + 0.02**2 + 2 * 0.03**2))


def extremes(made: Joint, size: float) -> tuple[float, float]:
    """Least and greatest room over every combination of all errors at either limit, tried one by one."""
    found = []
    for signs in product((-size, size), repeat=made.passes + 2):
        *per_pass, kerf, reference = signs
        gaps: dict[str, list[float]] = {LEFT: [], RIGHT: []}
        for g in made.gaps:
            way = 1 if g.side == LEFT else -1
            gaps[g.side].append(made.gap(g) + kerf + way * reference + per_pass[g.opens] - per_pass[g.closes])
        found.append(min(gaps[LEFT]) + min(gaps[RIGHT]))
    return min(found), max(found)


@pytest.mark.parametrize(("cut", "count"), [(joint, 3), (joint, 5), (one_pass, 3), (one_pass, 5), (one_pass, 9)])
def test_the_worst_case_is_the_worst_of_all_combinations(cut, count: int):
    made = cut(count)
    band = room(made, Errors(0.01, 0.01, 0.01))
    assert band is not None
    least, _ = extremes(made, COVERAGE * 0.01)
    assert band.middle - band.worst == pytest.approx(least)


def least_of_all_pairs(found: Joint, errors: Errors) -> float:
    """Each pair's four errors added up by pass, so that what cancels does."""
    least = math.inf
    for one, other in product(found.gaps, repeat=2):
        if (one.side, other.side) == (LEFT, RIGHT):
            weights = dict.fromkeys((one.opens, one.closes, other.opens, other.closes), 0)
            for which, weight in ((one.opens, 1), (one.closes, -1), (other.opens, 1), (other.closes, -1)):
                weights[which] += weight
            off = COVERAGE * (errors.setting * sum(map(abs, weights.values())) + 2 * errors.kerf)
            least = min(least, found.gap(one) + found.gap(other) - off)
    return least


@given(joints())
@settings(max_examples=40, deadline=None)
def test_the_tightest_pair_is_the_tightest_of_all_pairs(made):
    found = joint_of(*made.parts, made.clearance, made.carriage)
    errors = Errors(0.02, 0.005, 0.03)
    band = room(found, errors)
    least = least_of_all_pairs(found, errors)
    assert (band is None) == (least == math.inf)
    assert band is None or band.middle - band.worst == pytest.approx(least)


@given(st.lists(st.floats(-0.1, 0.1), min_size=8, max_size=8))
@settings(max_examples=100, deadline=None)
def test_the_tightest_pair_where_neighbours_share_a_pass(offsets):
    made = one_pass(9)
    found = replace(made, gaps=tuple(replace(g, offset=x) for g, x in zip(made.gaps, offsets, strict=True)))
    errors = Errors(0.02, 0.005, 0.03)
    band = room(found, errors)
    assert band is not None
    assert band.middle - band.worst == pytest.approx(least_of_all_pairs(found, errors))


def test_one_wall_alone_always_slides_open():
    made = joint(2)
    assert room(made, Errors(0.1, 0.1, 0.1)) is None
    found = chances(simulate(made, Errors(0.1, 0.1, 0.1), joints=1000), 10)
    assert found.goes == 1
    assert found.flush < 0.8
    assert found.great_step > 0


def test_all_joints_of_a_job_go_at_least_as_often_as_independent_ones():
    """Ten joints cut with one kerf error, drawn by hand: they succeed or fail together more than independent joints."""
    chance = np.random.default_rng(4)
    kerf = chance.normal(0, 0.02, (20_000, 1))
    settings_off = chance.normal(0, 0.02, (20_000, 10, 4)) @ np.array([1, -1, 1, -1])
    goes = 0.1 + 2 * kerf + settings_off >= 0
    made = chances(simulate(joint(3), Errors(0.02, 0.02, 0), joints=MANY), 10)
    assert abs(made.goes - goes.mean()) < 0.02
    assert made.all_go(1) == made.goes
    assert goes.all(axis=1).mean() > made.all_go(10) > 0


# Clearance


def test_the_best_clearance_lies_where_the_normal_table_says():
    """Kerf error alone: a gap must lie between 0 and the limit, so c/2 = limit / 2 is best, by symmetry.

    The tightest clearance that is as good to half a percentage point is chosen.
    """
    error, limit = 0.05, 0.15
    draws = simulate(joint(7), Errors(0, error, 0), joints=MANY)

    def serves(c: float) -> float:
        return PHI((limit - c / 2) / error) - PHI(-c / 2 / error)

    good = [n / 100 for n in range(31) if serves(n / 100) >= serves(limit) - AS_GOOD]
    found = best_of(clearances(draws, limit))
    assert found is not None
    assert found == pytest.approx(good[0], abs=0.0101)
    assert within(chances(draws, limit, found).serves, serves(found))


def test_another_clearance_is_as_though_the_joint_had_been_cut_with_it():
    errors = Errors(0.01, 0.01, 0.05)
    tight, loose = (simulate(joint(9, c), errors, joints=5000) for c in (0.04, 0.2))
    assert chances(tight, 0.15, 0.2) == chances(loose, 0.15)


def test_the_best_clearance_starts_at_the_least_and_is_a_multiple_of_the_step():
    draws = simulate(joint(9), Errors(0.001, 0.001, 0.001), joints=500)
    assert best_of(clearances(draws, 0.15, least=0.08)) == pytest.approx(0.08)
    assert best_of(clearances(draws, 0.15, step=0.0127)) == pytest.approx(0.0254), "0 serves half of them only"


@pytest.mark.parametrize(
    ("shares", "best"),
    [
        ({0.07: 0.62, 0.08: 0.62, 0.09: 0.975, 0.10: 0.975, 0.11: 0.975, 0.12: 0.97}, 0.10),
        ({0.08: 0.62, 0.09: 0.975, 0.10: 0.96, 0.11: 0.95, 0.12: 0.5}, 0.10),
        ({0.08: 0.98, 0.09: 0.98, 0.10: 0.62}, 0.08),
        ({0.08: 0.93, 0.09: 0.97, 0.10: 0.99, 0.11: 0.99, 0.12: 0.97}, 0.10),
        ({0.09: 0.06, 0.10: 0.99, 0.11: 0.51, 0.12: 0.51}, 0.10),
        ({0.09: 0.0, 0.10: 0.2, 0.11: 0.0}, 0.10),
    ],
    ids=["cliff below", "a little less", "cliff above", "smooth", "no other serves nearly as well", "alone"],
)
def test_the_edge_of_a_cliff_is_not_advised(shares: dict[float, float], best: float):
    """If a clearance one step away works nearly as well, and doesn't fall off a step beyond."""
    assert best_of(shares) == best


def test_only_permitted_clearances_are_advised():
    shares = {0.07: 1.0, 0.08: 1.0, 0.09: 1.0}
    assert best_of(shares, [0.08, 0.09]) == 0.08


def test_no_clearance_works_if_errors_are_over_the_limit():
    draws = simulate(joint(49), Errors(0.5, 0, 0), joints=500)
    assert best_of(clearances(draws, 0.05)) is None


# Drawing


def test_the_same_seed_gives_the_same_joints():
    errors = Errors(0.01, 0.01, 0.03)
    first, again, other = (chances(simulate(joint(9), errors, joints=3000, seed=s), 0.12) for s in (5, 5, 6))
    assert first == again
    assert first != other


def test_every_chunk_draws_new_joints():
    """25 fingers: 5,000 joints at a time. A chunk that repeated the one before would give equal joints."""
    draws = simulate(joint(25), Errors(0.01, 0.01, 0.03), joints=12_000)
    assert len(np.unique(draws.least_left)) == 12_000


def test_memory_stays_bounded_for_any_number_of_joints_and_fingers():
    """32 bytes a joint are kept. All errors at once would be 100,000 x 200 x 8 bytes, 160 MB."""
    made = joint(200)
    tracemalloc.start()
    try:
        simulate(made, Errors(0.01, 0.01, 0.03), joints=MANY)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < MANY * 32 + 16e6


@pytest.mark.parametrize("count", [0, -1, MOST_JOINTS + 1])
def test_how_many_joints_may_be_simulated(count: int):
    with pytest.raises(ValueError, match="1 to 1,000,000 joints"):
        simulate(joint(3), NONE, joints=count)


def test_a_joint_without_walls_is_refused():
    with pytest.raises(ValueError, match="no gaps"):
        simulate(Joint((), 0, 0.1, 1), NONE)


# Movement of wood, slots, glue and squareness


def test_wood_that_moves_alike_in_both_parts_keeps_the_fit():
    made = joint(9)
    assert moved(made, 0.004, 0.004) == made


def test_wood_that_moves_more_in_one_part_is_worst_at_the_far_edge():
    """84 mm of flat-sawn cherry beside the same wood that stayed: 0.00248 x 3 % x 84 mm = 0.625 mm (Wood Handbook)."""
    made = moved(joint(7, finger=F(12)), 0.00248 * 3, 0)
    off = [g.offset for g in made.gaps]
    assert off[-1] == pytest.approx(0.00248 * 3 * 72)
    assert off[0] == pytest.approx(-0.00248 * 3 * 12)
    assert [x > 0 for x in off] == [g.side == LEFT for g in made.gaps]


def slotted(thick: F, count: int = 5, clearance: F = F(1, 10)) -> Joint:
    width = F(300)
    (group,) = lay_out(evenly(width, count, thick, F(5)), width, clearance, F(3))
    board = pattern("A", group.segments, width, group.depth, Blade(F(3)), FINE)
    return slots_of(board, clearance, FINE)


def test_slots_cut_in_several_passes_by_the_normal_table():
    error = 0.04
    made = slotted(F(6))
    assert [g.side for g in made.gaps] == [SLOT] * 5
    found = chances(simulate(made, Errors(error, 0, 5), joints=MANY), 10)
    assert within(found.goes, PHI(0.1 / (error * math.sqrt(2))) ** 5)
    assert found.great_step == 0


def test_a_slot_cut_in_one_pass_is_as_wide_as_the_kerf():
    made = slotted(F(3) - F(1, 10))
    errors = Errors(0.5, 0.05, 5)
    found = chances(simulate(made, errors, joints=MANY), 10)
    assert within(found.goes, PHI(0.1 / 0.05))
    assert room(made, errors).worst == pytest.approx(COVERAGE * 0.05)  # type: ignore[union-attr]


def test_a_slots_play_lies_half_on_either_side():
    draws = simulate(slotted(F(6)), NONE, joints=10)
    assert chances(draws, 0.0501).no_gap_over == 1
    assert chances(draws, 0.0499).no_gap_over == 0


def test_glue_swells_fingers_below_8_hundredths_with_15_fingers_and_more():
    """Common practice, no source."""
    assert swells(0.0799, 15)
    assert not swells(0.08, 15)
    assert not swells(0.0799, 14)
