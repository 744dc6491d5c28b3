"""What the rates of a fleet mean: probabilities that add up, quantiles that turn round, and sentences that say them."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.domain.drift.parameters import (
    DAYS_PER_YEAR,
    DEFAULT_PARAMETERS,
    LOOSENESS_GRID_WRAPS,
    SIZE_EDGES_M,
    DriftParameters,
    in_words,
    lognormal_shares,
    usual_looseness_wraps,
)
from inspections.domain.drift.records import SLIPS, Slip

CLASSES = SIZE_EDGES_M.size - 1


def one_of(n: int, place: int) -> tuple[float, ...]:
    return tuple(float(i == place) for i in range(n))


def test_the_size_classes_are_ten_to_a_factor_of_ten() -> None:
    assert (SIZE_EDGES_M[0], SIZE_EDGES_M[-1]) == pytest.approx((0.3, 300.0))
    assert SIZE_EDGES_M[10] == pytest.approx(3.0)


def test_the_looseness_grid_goes_from_what_rounding_hides_to_what_hardly_tells_one_layer_from_the_next() -> None:
    assert (LOOSENESS_GRID_WRAPS[0], LOOSENESS_GRID_WRAPS[-1]) == pytest.approx((0.1, 4.3), abs=0.01)
    assert LOOSENESS_GRID_WRAPS[1:] / LOOSENESS_GRID_WRAPS[:-1] == pytest.approx(1.265, abs=1e-3)


@pytest.mark.parametrize("shares", ["size_shares", "looseness_shares", "slip_shares"])
def test_the_shares_that_everything_starts_from_add_up(shares: str) -> None:
    values = getattr(DEFAULT_PARAMETERS, shares)
    assert min(values) > 0
    assert sum(values) == pytest.approx(1.0)


def test_before_anything_is_learned_one_count_in_fifty_slips_and_the_usual_cut_is_of_some_metres() -> None:
    # our own broad guess, as the decision on the inference says it; a fleet soon knows better
    assert DEFAULT_PARAMETERS.slip_share(Slip.NONE) == pytest.approx(0.98, abs=0.001)
    assert 6.0 < DEFAULT_PARAMETERS.size_quantile_m(0.5) < 9.0
    assert 0.4 < usual_looseness_wraps(DEFAULT_PARAMETERS) < 0.5


@given(st.floats(1.0, 90.0), st.floats(0.1, 0.5))
def test_half_of_a_lognormal_is_shorter_than_its_median(median_m: float, log_sd: float) -> None:
    theta = replace(DEFAULT_PARAMETERS, size_shares=tuple(lognormal_shares(median_m, log_sd)))
    assert sum(theta.size_shares) == pytest.approx(1.0)
    # log-uniform within a class, where the lognormal is not
    assert theta.size_quantile_m(0.5) == pytest.approx(median_m, rel=0.1)
    # 84.1 % of a normal lies below one standard deviation above the middle
    assert theta.size_quantile_m(0.8413) == pytest.approx(median_m * np.exp(log_sd), rel=0.15)


@given(st.integers(0, CLASSES - 1), st.floats(0, 1))
def test_lengths_are_log_uniform_within_a_class(place: int, share: float) -> None:
    theta = replace(DEFAULT_PARAMETERS, size_shares=one_of(CLASSES, place))
    low, high = SIZE_EDGES_M[place], SIZE_EDGES_M[place + 1]
    assert theta.sizes_below(np.array([low * (high / low) ** share])) == pytest.approx(share, abs=1e-9)
    assert theta.size_quantile_m(0.5) == pytest.approx(np.sqrt(low * high))


@given(st.floats(0.001, 0.999))
def test_as_many_cuts_are_shorter_than_a_quantile_as_it_says(share: float) -> None:
    theta = DEFAULT_PARAMETERS
    assert theta.sizes_below(np.array([theta.size_quantile_m(share)])) == pytest.approx(share)


def test_no_cut_is_shorter_than_nothing_and_all_are_shorter_than_more_than_anybody_cuts_off() -> None:
    assert DEFAULT_PARAMETERS.sizes_below(np.array([-5.0, 0.0, 0.29, 301.0])).tolist() == pytest.approx([0, 0, 0, 1])


def test_a_cut_is_as_probable_as_the_rate_of_the_interval_and_of_its_years_say() -> None:
    theta = replace(DEFAULT_PARAMETERS, cuts_per_interval=0.1, cuts_per_year=0.2)
    at_once, a_year, backwards = theta.p_cut(np.array([0.0, DAYS_PER_YEAR, -30.0]))
    # none of a Poisson number of mean 0.1, and of 0.3
    assert (at_once, a_year, backwards) == pytest.approx((1 - np.exp(-0.1), 1 - np.exp(-0.3), 1 - np.exp(-0.1)))


def test_no_rate_is_so_low_or_so_high_that_counts_could_not_overrule_it() -> None:
    never = replace(DEFAULT_PARAMETERS, cuts_per_interval=0.0, cuts_per_year=0.0)
    always = replace(DEFAULT_PARAMETERS, cuts_per_interval=50.0)
    assert (never.p_cut(np.zeros(1))[0], always.p_cut(np.zeros(1))[0]) == (1e-6, 0.9)


def test_a_looseness_that_no_reel_has_had_stays_possible_if_barely() -> None:
    n = LOOSENESS_GRID_WRAPS.size
    log_prior = replace(DEFAULT_PARAMETERS, looseness_shares=one_of(n, 4)).log_looseness()
    assert np.exp(log_prior[4]) == pytest.approx(1.0)
    assert np.delete(np.exp(log_prior), 4) == pytest.approx(1e-9)


def test_the_usual_looseness_is_the_geometric_mean_over_the_fleet() -> None:
    shares = [0.0] * LOOSENESS_GRID_WRAPS.size
    shares[2] = shares[8] = 0.5
    theta = replace(DEFAULT_PARAMETERS, looseness_shares=tuple(shares))
    assert usual_looseness_wraps(theta) == pytest.approx(LOOSENESS_GRID_WRAPS[5])


def rates(**changes: Any) -> DriftParameters:
    slips = {Slip.NONE: 0.9, Slip.SCALE: 0.0625, Slip.COPIED: 0.0375}
    simple = replace(
        DEFAULT_PARAMETERS,
        cuts_per_interval=0.016,
        cuts_per_year=0.25,
        size_shares=one_of(CLASSES, 10),
        looseness_shares=one_of(LOOSENESS_GRID_WRAPS.size, 0),
        slip_shares=tuple(slips.get(slip, 0.0) for slip in SLIPS),
        logged_sd_m=0.3,
        logged_sd_share=0.02,
        entry_void=0.01,
        entry_wrong=0.03,
        entry_misdated=0.05,
    )
    return replace(simple, **changes)


def test_the_rates_are_said_in_sentences() -> None:
    cuts, lengths, spread, slips, log, stretch = in_words(rates())
    assert cuts == (
        "Unlogged cuts of one reel: 0.016 in every interval between two counts, however short, and 0.250 a year."
    )
    # one class, 3.00 to 3.78 m
    assert lengths == "Half of them are longer than 3.4 m, and nine in ten between 3.0 and 3.7 m."
    assert spread == "The counts of a usual reel spread by 0.10 wraps on a half-full drum."
    assert slips.startswith("Slips: one wrap off: 0.00 % of counts; a correction")
    assert "misread by a layer or two: 6.25 % of counts" in slips
    assert "no slip" not in slips
    assert log == (
        "Logged lengths are off by about 0.30 m and 2.00 %; 3.00 % of entries have a wrong length, 1.00 % had no cut, "
        "and 5.00 % are dated on the wrong side of a count."
    )
    assert stretch == "No growth of new cable is to be seen."


def test_a_growth_of_new_cable_is_said_with_its_time() -> None:
    grown = in_words(rates(stretch_share=0.004, stretch_days=90.0))[-1]
    assert grown == "New cable grows by 0.40 %, most of it within 90 days."
