"""What earlier joints show about the clearance to write."""

from __future__ import annotations

import math

import pytest

from assistant.calibrating.learned import FELT, MEASURED, Correction, Reported, correction_of, learned


@pytest.mark.parametrize(
    ("what", "amount", "written", "wanted", "correction"),
    [
        (Reported.TIGHT, 0.05, 0.10, 0.10, 0.05),
        (Reported.LOOSE, 0.03, 0.10, 0.10, -0.03),
        (Reported.TIGHT, 0.0, 0.15, 0.10, 0.05),  # right as it was, with 0.05 more than wanted
        (Reported.GAP, 0.16, 0.10, 0.10, -0.06),  # the saw made 0.06 more than written
        (Reported.GAP, 0.10, 0.04, 0.10, -0.06),  # and again, when less was written
        (Reported.GAP, -0.02, 0.10, 0.10, 0.12),  # it jams: the saw made 0.12 less than written
    ],
)
def test_a_joint_gives_what_to_add_to_the_clearance_wanted(
    what: Reported, amount: float, written: float, wanted: float, correction: float
) -> None:
    assert correction_of(what, amount, written, wanted)[0] == pytest.approx(correction)


def test_a_felt_fit_is_less_certain_than_a_measured_fit() -> None:
    assert correction_of(Reported.GAP, 0.1, 0.1, 0.1)[1] == MEASURED
    assert correction_of(Reported.TIGHT, 0.01, 0.1, 0.1)[1] == FELT > MEASURED
    assert correction_of(Reported.LOOSE, 0.4, 0.1, 0.1)[1] == pytest.approx(0.1)


def test_what_is_reported_of_a_joint_stays_as_histories_have_it() -> None:
    assert {one.value for one in Reported} == {"too tight", "too loose", "gap"}


def test_the_correction_is_the_weighted_mean() -> None:
    """Weights 4 : 1 by hand, compared with numpy's weighted least squares of a constant."""
    np = pytest.importorskip("numpy")
    joints = [Correction(1, 3.2, 0.06, 0.01), Correction(2, 3.2, 0.05, 0.02)]
    found = learned(joints, 3.2)
    assert found is not None
    assert found.correction == pytest.approx((4 * 0.06 + 0.05) / 5)
    fitted, cov = np.polyfit([0.0, 0.0], [0.06, 0.05], 0, w=[100, 50], cov="unscaled")
    assert (found.correction, found.u) == pytest.approx((float(fitted[0]), math.sqrt(cov[0, 0])))


def test_joints_that_disagree_make_it_less_sure() -> None:
    close = learned([Correction(n, 3.2, 0.05, 0.01) for n in range(3)], 3.2)
    wide = learned([Correction(n, 3.2, 0.05 * n, 0.01) for n in range(3)], 3.2)
    assert close is not None
    assert wide is not None
    assert close.u == pytest.approx(0.01 / math.sqrt(3))
    assert wide.u == pytest.approx(close.u * 5, rel=0.01)
    assert wide.birge == pytest.approx(5, rel=0.01)


def test_a_kerf_corrected_since_moves_the_correction_by_twice_that() -> None:
    """Once the file says what the saw cuts, nothing is left to correct.

    The saw cuts 3.23, the shop file said 3.20: sockets 0.03 wider, fingers 0.03 thinner, clearance 0.06 too great.
    """
    found = learned([Correction(1, 3.20, -0.06, 0.01)], 3.23)
    assert found is not None
    assert found.correction == pytest.approx(0.0)


def test_another_blades_joints_dont_count() -> None:
    found = learned([Correction(1, 2.4, 0.3, 0.01), Correction(2, 3.2, 0.05, 0.01)], 3.2)
    assert found is not None
    assert (found.count, found.other, found.correction) == (1, (1,), pytest.approx(0.05))
    assert learned([Correction(1, 2.4, 0.3, 0.01)], 3.2) is None


def test_an_outlying_joint_is_named() -> None:
    rows = [Correction(n, 3.2, 0.05, 0.01) for n in (3, 4, 5)] + [Correction(9, 3.2, 0.25, 0.01)]
    found = learned(rows, 3.2)
    assert found is not None
    assert found.far == (9,)
