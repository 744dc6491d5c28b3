"""Moves of a length in cells: they are probabilities, keep their means, and are convolved without coming round."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.fft import irfft

from inspections.domain.drift import CutLogged, kernels
from inspections.domain.drift.kernels import EntryMove, Kernels, kernels_for, moves_of
from inspections.domain.drift.parameters import DEFAULT_PARAMETERS, SIZE_EDGES_M
from inspections.domain.drift.sequence import sequences_of
from reels.domain.uncertainty import FloatArray
from tests.inspections.domain.drift.small_reels import STEADY, counted, cut

CELL_M, CELLS = 0.5, 96
GRID = kernels_for(CELL_M, CELLS, DEFAULT_PARAMETERS)
AT_M = CELL_M * np.arange(CELLS)


def kernel_of(fft: NDArray[np.complex128], cells: int = CELLS) -> FloatArray:
    return np.asarray(irfft(fft, 2 * cells)[:cells])


def test_an_unlogged_cut_moves_by_as_many_cells_as_its_length() -> None:
    below = DEFAULT_PARAMETERS.sizes_below
    for cell in (1, 2, 20, CELLS - 1):
        edges = np.array([CELL_M * (cell - 0.5), CELL_M * (cell + 0.5)])
        assert GRID.cut[cell] == pytest.approx(np.diff(below(edges))[0])
    assert GRID.cut.sum() == pytest.approx(below(np.array([CELL_M * (CELLS - 0.5)]))[0])
    assert kernel_of(GRID.cut_fft) == pytest.approx(GRID.cut, abs=1e-12)
    assert GRID.edges_m()[[0, 1, -1]].tolist() == [-0.25, 0.25, CELL_M * (CELLS - 0.5)]


def test_moves_one_after_the_other_are_their_convolution_and_nothing_comes_round() -> None:
    late = np.zeros(CELLS)
    late[CELLS - 10] = 1.0
    both = irfft(GRID.transform(late) * GRID.cut_fft, 2 * CELLS)
    assert both[: 2 * CELLS - 1] == pytest.approx(np.convolve(late, GRID.cut), abs=1e-12)


@given(st.floats(5, 35), st.floats(0.0, 1.0))
def test_a_normal_length_keeps_its_mean_and_gains_the_spread_of_the_cells(length_m: float, sd_m: float) -> None:
    kernel = kernels._spread_about(length_m, sd_m, GRID)
    mean = float(kernel @ AT_M)
    assert (kernel.sum(), mean) == pytest.approx((1.0, length_m), abs=1e-6)
    # shared linearly between two cells: at most a quarter of a cell's square more
    more = float(kernel @ (AT_M - mean) ** 2) - max(sd_m, 0.02) ** 2
    assert -1e-6 <= more <= CELL_M**2 / 4 + 1e-6


def test_a_length_of_which_nearly_all_is_past_the_window_leaves_little_in_it() -> None:
    assert kernels._spread_about(AT_M[-1] + 5.0, 0.3, GRID).sum() == pytest.approx(0.0, abs=1e-9)


def sharp_sizes(length_m: float) -> tuple[float, ...]:
    """All logged cuts in the class of a length."""
    place = np.searchsorted(SIZE_EDGES_M, length_m) - 1
    return tuple((np.arange(SIZE_EDGES_M.size - 1) == place).astype(float).tolist())


def test_a_wrong_length_is_that_times_a_factor_of_which_the_true_one_is_usual() -> None:
    theta = replace(DEFAULT_PARAMETERS, logged_size_shares=sharp_sizes(10.0), logged_sd_m=0.1)
    for logged_m, true_m in ((1.0, 10.0), (5.0, 10.0), (3.0, 3.0 / 0.3048), (33.0, 33.0 * 0.3048)):
        about, _ = kernels._wrong_length(logged_m, GRID, theta)
        assert about.sum() == pytest.approx(1.0, abs=0.01)
        assert abs(AT_M[about.argmax()] - true_m) <= CELL_M
        assert about[np.abs(AT_M - true_m) < 1.0].sum() > 0.5


def test_the_lengths_that_are_logged_by_mistake_are_likely_in_all_once() -> None:
    log_lengths = np.linspace(np.log(0.05), np.log(3000.0), 1500)
    density = [kernels._wrong_length(float(m), GRID, DEFAULT_PARAMETERS)[1] for m in np.exp(log_lengths)]
    assert np.trapezoid(density, log_lengths) == pytest.approx(1.0, abs=0.02)


def test_an_entry_of_an_unusual_length_is_rather_wrong() -> None:
    sizes = sharp_sizes(10.0)
    share = {}
    for length_m in (1.0, 10.0):
        _, [move] = moves(cut(45, length_m), entry_wrong=0.05, logged_size_shares=sizes)
        share[length_m] = move.wrong.sum() / (1.0 - move.void)
    assert share[10.0] < 0.02
    assert share[1.0] > 0.9
    # but that all cuts are usual is never quite sure
    assert share[1.0] < 0.9999


# The log ------------------------------------------------------------------------------------------------------------


def moves(*cuts: CutLogged, **theta: Any) -> tuple[Kernels, list[EntryMove]]:
    rates = replace(DEFAULT_PARAMETERS, **theta)
    (sequence,) = sequences_of(counted(STEADY, cuts=cuts), 0, rates)
    grid = kernels_for(CELL_M, CELLS, rates)
    return grid, moves_of(sequence, grid, rates)


def test_an_entry_is_as_written_or_void_or_of_another_length() -> None:
    rates = replace(DEFAULT_PARAMETERS, logged_sd_m=0.3, logged_sd_share=0.04)
    grid, [move] = moves(cut(45, 10.0), entry_void=0.25, entry_wrong=0.2, logged_sd_m=0.3, logged_sd_share=0.04)
    assert (move.entry.interval, move.void) == (1, 0.25)
    # of the three quarters that are not void a fifth is wrong, but for how usual the length is
    about, if_wrong = kernels._wrong_length(10.0, grid, rates)
    if_right = float(DEFAULT_PARAMETERS.logged_density(np.log(np.array(10.0))))
    p_wrong = 0.2 * if_wrong / (0.2 * if_wrong + 0.8 * if_right)
    wrong = 0.75 * p_wrong * about
    assert move.wrong == pytest.approx(wrong)
    written = 0.75 * (1.0 - p_wrong) * kernels._spread_about(10.0, 0.5, grid)  # √(0.3² + 0.4²)
    assert move.as_written == pytest.approx(written)
    whole = written + wrong
    whole[0] += 0.25
    assert move.whole == pytest.approx(whole, abs=1e-12)


def test_an_entry_that_repeats_one_is_void_as_often_as_such_are() -> None:
    grid, [first, second] = moves(cut(45, 10.0), cut(46, 10.0), twin_void=0.7, entry_void=0.1)
    assert (first.void, second.void) == (0.1, 0.7)
    both = kernels.one_after_the_other([first.whole, second.whole], grid)
    assert both == pytest.approx(np.convolve(first.whole, second.whole)[:CELLS], abs=1e-9)


def test_entries_have_moves_in_the_order_of_their_dates() -> None:
    _, found = moves(cut(100, 4.0), cut(-5, 3.0), cut(45, 10.0), cut(400, 2.0))
    assert [(move.entry.interval, move.entry.length_m) for move in found] == [(-1, 3.0), (1, 10.0), (3, 4.0), (5, 2.0)]


@given(st.floats(0.05, 3.0))
def test_a_growth_is_about_its_mean_and_never_a_shrinking(mean_m: float) -> None:
    kernel = kernel_of(kernels.stretch_fft(mean_m, GRID))
    assert kernel.sum() == pytest.approx(1.0)
    assert kernel.min() >= -1e-12
    assert kernel @ AT_M == pytest.approx(mean_m, abs=0.01 + 0.02 * mean_m)
