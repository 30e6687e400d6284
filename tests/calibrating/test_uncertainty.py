"""Statistics of a calibration against certified and published values, and other libraries."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.calibrating.uncertainty import (
    Component,
    combined,
    fit_line,
    rectangular,
    resolution,
    student,
    weighted_mean,
    with_students_factor,
)

NORRIS = Path(__file__).parents[1] / "references" / "norris.csv"


def norris() -> tuple[list[float], list[float]]:
    with NORRIS.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    return [float(row["x"]) for row in rows], [float(row["y"]) for row in rows]


def test_the_line_of_norris_to_the_certified_digits() -> None:
    """NIST Statistical Reference Datasets, linear least squares, Norris: certified to 15 digits."""
    line = fit_line(*norris())
    certified = {
        "intercept": -0.262323073774029,
        "slope": 1.00211681802045,
        "u_intercept": 0.232818234301152,
        "u_slope": 0.429796848199937e-03,
        "sd": 0.884796396144373,
    }
    for name, value in certified.items():
        assert getattr(line, name) == pytest.approx(value, rel=2e-14), name
    assert line.dof == 34


def test_norris_used_for_a_reading() -> None:
    """Computed from the certified coefficients in exact arithmetic: x = 500 reads 500.796086."""
    assert fit_line(*norris()).at(500) == pytest.approx(500.796086, abs=5e-7)


def test_the_end_gauge_of_the_gum() -> None:
    """JCGM 100:2008, H.1: u = 32 nm, 16 degrees of freedom, k = 2.92 and U = 93 nm at 99 %."""
    parts = [(25.0, 18), (9.7, 25.6), (0.0, None), (2.9, 50), (16.6, 2)]
    u = combined([Component("", size, count) for size, count in parts])
    assert round(u) == 32
    k = student(0.99, 16)
    assert round(k, 2) == 2.92
    assert round(k * u) == 93


def test_the_end_gauge_with_another_library() -> None:
    """The same model propagated by the `uncertainties` package."""
    uncertainties = pytest.importorskip("uncertainties")
    standard, difference = uncertainties.ufloat(50.000623e6, 25), uncertainties.ufloat(215, 9.7)
    alpha, theta = uncertainties.ufloat(11.5e-6, 1.2e-6), uncertainties.ufloat(-0.1, 0.41)
    d_alpha, d_theta = uncertainties.ufloat(0, 0.58e-6), uncertainties.ufloat(0, 0.029)
    length = standard + difference - standard * (d_alpha * theta + alpha * d_theta)
    parts = [Component(str(i), size) for i, size in enumerate(length.error_components().values())]
    assert combined(parts) == pytest.approx(length.std_dev, rel=1e-12)
    assert length.nominal_value == pytest.approx(50.000838e6, abs=0.5)


@pytest.mark.parametrize(
    ("level", "dof", "k"),
    # GUM, table G.2 (recalled, not read), but for 0.99 and 0.95 at 16, computed with 40 digits.
    [
        (0.95, 16, 2.1199),
        (0.99, 16, 2.9208),
        (0.9545, 1, 13.97),
        (0.9545, 4, 2.87),
        (0.9545, 10, 2.28),
        (0.95, 2, 4.30),
    ],
)
def test_students_factor_as_published(level: float, dof: float, k: float) -> None:
    assert student(level, dof) == pytest.approx(k, abs=0.005)


@settings(deadline=None, max_examples=60)
@given(st.floats(0.01, 0.9999), st.floats(0.6, 3000))
def test_students_factor_as_scipy_has_it(level: float, dof: float) -> None:
    stats = pytest.importorskip("scipy.stats")
    assert student(level, dof) == pytest.approx(stats.t.ppf((1 + level) / 2, dof), rel=1e-9, abs=1e-10)


def test_many_degrees_of_freedom_are_the_normal_distribution() -> None:
    assert student(0.95, math.inf) == pytest.approx(1.959963985, abs=1e-9)
    assert student(0.95, 9e5) == pytest.approx(1.959963985, abs=1e-5)


@pytest.mark.parametrize(("level", "dof"), [(0, 3), (1, 3), (0.5, 0), (0.5, -1)])
def test_what_has_no_factor(level: float, dof: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        student(level, dof)


points = st.lists(st.tuples(st.floats(-500, 500), st.floats(-500, 500), st.floats(0.01, 5)), min_size=3, max_size=25)


@settings(deadline=None, max_examples=60)
@given(points)
def test_a_weighted_line_as_numpy_has_it(rows: list[tuple[float, float, float]]) -> None:
    np = pytest.importorskip("numpy")
    x, y, u = ([row[i] for row in rows] for i in range(3))
    if max(x) - min(x) < 1:
        return
    line = fit_line(x, y, u)
    design = np.column_stack([np.ones(len(x)), x]) / np.array(u)[:, None]
    solution = np.linalg.lstsq(design, np.array(y) / u, rcond=None)[0]
    covariance = np.linalg.inv(design.T @ design)
    assert (line.intercept, line.slope) == pytest.approx(tuple(solution), rel=1e-6, abs=1e-6)
    assert line.u_intercept == pytest.approx(math.sqrt(covariance[0, 0]), rel=1e-5)
    assert line.u_slope == pytest.approx(math.sqrt(covariance[1, 1]), rel=1e-5)


def test_weights_move_the_line() -> None:
    """A point with almost no weight is ignored."""
    assert fit_line([0, 1, 2], [0, 1, 9], [0.01, 0.01, 1000]).slope == pytest.approx(1, abs=1e-6)


@pytest.mark.parametrize(
    ("x", "y", "u"), [([1], [1], None), ([1, 1], [1, 2], None), ([1, 2], [1], None), ([1, 2], [1, 2], [1, 0])]
)
def test_values_that_make_no_line(x: list[float], y: list[float], u: list[float] | None) -> None:
    with pytest.raises(ValueError, match="a line needs"):
        fit_line(x, y, u)


def test_a_rectangular_component() -> None:
    """GUM 4.3.7: half-width a gives a / sqrt 3; a caliper of 0.01 mm has a = 0.005: 0.002887 mm."""
    assert resolution(0.01) == pytest.approx(0.002887, abs=5e-7)
    assert rectangular(0.05) == pytest.approx(0.028868, abs=5e-7)


def test_components_add_as_squares() -> None:
    """0.01/sqrt 3, 0.02/sqrt 3 and 0.015 mm together: 0.019791 mm, doubled 0.039581 (computed)."""
    u = combined([Component("", rectangular(0.01)), Component("", rectangular(0.02)), Component("", 0.015)])
    assert (u, 2 * u) == (pytest.approx(0.019791, abs=5e-7), pytest.approx(0.039581, abs=1e-6))


def test_few_readings_count_less() -> None:
    """Twice the widened uncertainty covers as much as Student's factor."""
    assert 2 * with_students_factor(1.0, 3) == pytest.approx(student(0.9545, 3))
    assert with_students_factor(1.0, 1e7) == pytest.approx(1.0, abs=1e-3)


def test_a_weighted_mean() -> None:
    """Weights 4 to 1; scatter as given or less leaves the uncertainty, more widens it."""
    mean = weighted_mean([10.0, 10.5], [1.0, 2.0])
    assert (mean.value, mean.u) == (pytest.approx(10.1), pytest.approx(1 / math.sqrt(1.25)))
    wide = weighted_mean([10.0, 20.0], [1.0, 1.0])
    assert wide.birge == pytest.approx(math.sqrt(50))
    assert wide.u == pytest.approx(5.0)
    assert weighted_mean([3.0], [0.2]).u == 0.2
    with pytest.raises(ValueError, match="needs values"):
        weighted_mean([], [])
