"""A misread finger makes no wrong kerf and no wrong backlash: simulated, seeded.

How often a share may come out by chance is judged by Clopper and Pearson's interval as scipy computes it.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.calibrating import backlash_trials
from tests.calibrating.kerf_trials import EIGHT_AND_TWO, INCH, MM, READOUT, Board, Kind, board, tally
from tests.sampling import every


def greatest_share(events: int, trials: int) -> float:
    """The share that would show so few events in one case of twenty."""
    stats = pytest.importorskip("scipy.stats")
    found = stats.binomtest(events, trials, alternative="less").proportion_ci(0.95, "exact")
    return float(found.high)


@pytest.fixture(scope="module", params=[MM, INCH], ids=["mm", "in"])
def cut_board(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Board:
    return board(tmp_path_factory.mktemp("board"), request.param)


@pytest.mark.parametrize(("rounds", "trials"), every(2, [(1, 130), (2, 100)]))
def test_without_a_mistake_the_kerf_lies_within_its_uncertainty(cut_board: Board, rounds: int, trials: int) -> None:
    """At least 95 % of the kerfs lie within U, and under 1 % of the sound readings are left out or refused."""
    found = tally(cut_board, Kind(rounds=rounds), range(trials))
    assert greatest_share(found.over + found.refused, trials) <= 0.05, found
    assert found.double == 0, found
    assert found.lost / found.readings < 0.01, found


@pytest.mark.parametrize(("rounds", "trials"), every(2, [(1, 100), (2, 150)]))
def test_a_mistake_makes_no_wrong_kerf(cut_board: Board, rounds: int, trials: int) -> None:
    """One reading is off by 0.1 to 1 mm, the screw by up to 1 %.

    Of all trials at most 5 % give a kerf off by over U, none by over 2 U. Nearly half are refused for the screw; of the
    rest nearly none.
    """
    found = tally(cut_board, Kind(0.01, rounds, slip=True), range(trials))
    assert greatest_share(found.over, trials) <= 0.05, found
    assert found.double == 0, found
    assert found.refused < 0.6 * trials, found


def test_with_a_sound_screw_a_mistake_hardly_ever_asks_for_the_caliper_again(cut_board: Board) -> None:
    """The reason for five fingers of each spacing: four outvote the misread one."""
    found = tally(cut_board, Kind(0.004, slip=True), range(100))
    assert greatest_share(found.refused, 100) <= 0.05, found


def test_a_cut_set_wrong_makes_no_wrong_kerf(cut_board: Board) -> None:
    """A wrong setting makes one finger wide and its neighbour narrow."""
    found = tally(cut_board, Kind(0.004, cut_slip=True), range(100))
    assert greatest_share(found.over, 100) <= 0.05 and found.double == 0, found


def test_a_mistake_on_a_board_of_eight_and_two_makes_no_wrong_kerf(tmp_path: Path) -> None:
    """A mistake in a long finger must be measured again: nothing shows which of two is wrong."""
    found = tally(board(tmp_path, READOUT, EIGHT_AND_TWO), Kind(0.004, slip=True), range(100))
    assert greatest_share(found.over, 100) <= 0.05 and found.double == 0, found
    assert 0.1 <= found.refused / 100 <= 0.3, found


@pytest.fixture(scope="module", params=[MM, INCH], ids=["mm", "in"])
def backlash_board(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Board:
    return backlash_trials.board(tmp_path_factory.mktemp("board"), request.param)


@pytest.mark.parametrize(("cut", "hand"), [(0.01, 0.008), (0.03, 0.02)], ids=["good", "rough"])
def test_one_reading_off_by_half_a_millimetre_is_caught(backlash_board: Board, cut: float, hand: float) -> None:
    """In at least 19 of 20 trials, and no other reading instead. The play found is right."""
    found = backlash_trials.tally(backlash_board, backlash_trials.Kind(0.5, cut, hand), range(100))
    print(found)
    assert greatest_share(found.trials - found.caught, found.trials) <= 0.05, found
    assert found.wrong == 0, found
    assert found.over <= 0.1 * found.trials, found


@pytest.mark.parametrize(("cut", "hand"), [(0.01, 0.008), (0.03, 0.02)], ids=["good", "rough"])
def test_sound_backlash_readings_are_hardly_ever_refused(backlash_board: Board, cut: float, hand: float) -> None:
    found = backlash_trials.tally(backlash_board, backlash_trials.Kind(0.0, cut, hand), range(100))
    print(found)
    assert greatest_share(found.caught, found.trials) <= 0.03, found
    assert found.over <= 0.1 * found.trials, found
