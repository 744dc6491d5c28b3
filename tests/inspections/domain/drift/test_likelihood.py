"""The probability of a count at each length, beside the integrals that the table stands for."""

import numpy as np
import pytest
from scipy.stats import norm

from inspections.domain.drift import likelihood
from inspections.domain.drift.likelihood import count_likelihoods, reading_pmf, slip_likelihoods
from inspections.domain.drift.looseness import spread_factor
from inspections.domain.drift.parameters import DEFAULT_PARAMETERS, LOOSENESS_GRID_WRAPS
from inspections.domain.drift.records import SLIPS, Slip
from inspections.domain.drift.sequence import CountSequence, sequences_of
from reels.domain import winding
from tests.inspections.domain.drift.small_reels import DRUM, counted

FULL = float(winding.turns_of(20, 0, DRUM))


@pytest.fixture
def sequence() -> CountSequence:
    return sequences_of(counted([(12, 10), (12, 9), (12, 10)]), 0, DEFAULT_PARAMETERS)[-1]


@pytest.mark.parametrize("turns", [3.0, 120.0, 334.0, 540.0])
def test_the_table_gives_the_normal_integrals_to_within_its_steps(sequence: CountSequence, turns: float) -> None:
    at_turns = turns + np.array([-80.0, -61.0, -30.0, -5.0, -1.0, -0.25, 0.0, 0.25, 1.0, 5.0, 30.0, 61.0, 80.0])
    table = reading_pmf(sequence, np.array([turns]), at_turns, DEFAULT_PARAMETERS)[:, 0]
    factor = spread_factor(np.array([turns]), sequence.winding, DEFAULT_PARAMETERS.fullness_power)[0]
    in_cell = 0.25 * sequence.cell_m / sequence.winding.metres_per_wrap(turns)
    spread = np.hypot(LOOSENESS_GRID_WRAPS[sequence.grid_points] * factor, in_cell)[:, None]
    exact = norm.cdf((turns + 0.5 - at_turns) / spread) - norm.cdf((turns - 0.5 - at_turns) / spread)
    assert table == pytest.approx(exact, abs=0.03)
    assert np.abs(table - exact).mean() < 0.008


def test_no_looseness_on_any_drum_leaves_the_table(sequence: CountSequence) -> None:
    factor = spread_factor(np.arange(1.0, FULL), sequence.winding, DEFAULT_PARAMETERS.fullness_power)
    assert LOOSENESS_GRID_WRAPS.min() * factor.min() < likelihood._TABLE_SPREADS[0] * 1.5
    assert LOOSENESS_GRID_WRAPS.max() * factor.max() <= likelihood._TABLE_SPREADS[-1]
    assert likelihood._TABLE_SPREADS[-1] == pytest.approx(10.0, rel=0.05)
    assert likelihood._DISTANCES[[0, -1]].tolist() == [-60.0, 60.0]


def test_a_count_that_says_nothing_is_any_number_that_the_drum_can_hold(sequence: CountSequence) -> None:
    share = DEFAULT_PARAMETERS.slip_shares[SLIPS.index(Slip.ANYTHING)]
    others = np.ones((1, sequence.grid_points.size, sequence.window_turns(0).size))
    by_slip = slip_likelihoods(sequence, 0, 1, others, DEFAULT_PARAMETERS)[0, 0]
    assert by_slip[SLIPS.index(Slip.ANYTHING)] == pytest.approx(share / (FULL + 1) * others.shape[2])


def test_what_each_slip_explains_adds_up_to_the_whole(sequence: CountSequence) -> None:
    whole = count_likelihoods(sequence, 0, 1, DEFAULT_PARAMETERS)
    others = np.ones_like(whole)
    by_slip = slip_likelihoods(sequence, 0, 1, others, DEFAULT_PARAMETERS)
    assert by_slip.sum(axis=2) == pytest.approx(whole.sum(axis=2))
