"""Moves of the cable's length in cells: unlogged cuts, logged cuts as people log them, stretch of new cable.

Each is a kernel: the probability of a move by 0, 1, … cells, shape (cells,). To move a distribution by it is to
convolve, which is to multiply transforms. All transforms are over twice the cells, so that what moves past an end lands
in the other half and does not come round.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import cast

import numpy as np
import scipy

from inspections.domain.drift.fixed import FIXED
from inspections.domain.drift.hidden_markov import ComplexArray
from inspections.domain.drift.parameters import SIZE_EDGES_M, DriftParameters
from inspections.domain.drift.sequence import CountSequence, LogEntry
from reels.domain.uncertainty import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kernels:
    """The unlogged cut for one cell length and number of cells: its kernel, given that there is one, and transform."""

    cell_m: float
    cells: int
    cut: FloatArray
    cut_fft: ComplexArray

    def transform(self, kernel: FloatArray) -> ComplexArray:
        """Transform of a move, over twice the cells."""
        return cast(ComplexArray, scipy.fft.rfft(kernel, 2 * self.cells))

    def edges_m(self) -> FloatArray:
        """Edges of the cells of a move, metres: shape (cells + 1,)."""
        return cast(FloatArray, self.cell_m * (np.arange(self.cells + 1) - 0.5))


def kernels_for(cell_m: float, cells: int, theta: DriftParameters) -> Kernels:
    """The unlogged cut in cells, cuts longer than the window left out."""
    cut = np.diff(theta.sizes_below(np.asarray(cell_m * (np.arange(cells + 1) - 0.5), dtype=np.float64)))
    return Kernels(cell_m=cell_m, cells=cells, cut=cut, cut_fft=scipy.fft.rfft(cut, 2 * cells))


def _spread_about(length_m: float, sd_m: float, kernels: Kernels) -> FloatArray:
    """A normal length shared linearly between the cells on either side, which keeps its mean.

    A cell's share is E[max(0, 1 − |length − cell| / cell_m)]: the second difference of the ramp E[max(0, cell −
    length)] = sd (z Φ(z) + φ(z)), z = (cell − length) / sd.
    """
    cells_m = np.asarray(kernels.cell_m * np.arange(-1, kernels.cells + 1), dtype=np.float64)
    sd_m = max(sd_m, FIXED.least_sd_m)
    z = (cells_m - length_m) / sd_m
    ramp = sd_m * (z * scipy.special.ndtr(z) + np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi))
    return cast(FloatArray, np.maximum(np.diff(ramp, 2) / kernels.cell_m, 0.0))


def _wrong_length(length_m: float, kernels: Kernels, theta: DriftParameters) -> tuple[FloatArray, float]:
    """Where the true length lies if this one was logged by mistake, summing to one; and p(log length logged | wrong).

    A length that was logged as f times the true one speaks of length / f, as much as cuts of that length are usual.
    """
    log_m = np.log(max(length_m, 0.05))
    factors, shares = np.array(FIXED.wrong_factors).T
    by_factor = shares * theta.logged_density(log_m - np.log(factors))
    # Steps of the lognormal about the length, and of any length: as fine as the classes of lengths.
    steps = np.log(SIZE_EDGES_M)
    middle, width = (steps[1:] + steps[:-1]) / 2.0, np.diff(steps)
    usual = theta.logged_density(middle) * width
    off = (middle - log_m) / FIXED.wrong_log_sd
    about = FIXED.wrong_about * usual * np.exp(-0.5 * off**2) / (FIXED.wrong_log_sd * np.sqrt(2.0 * np.pi))
    any_share = max(1.0 - FIXED.wrong_about - float(shares.sum()), 0.0)
    classes = about + any_share * float(theta.logged_density(np.asarray(log_m))) * usual
    below = np.concatenate([[0.0], np.cumsum(classes)])
    cells = np.diff(np.interp(np.log(np.maximum(kernels.edges_m(), 1e-9)), steps, below))
    for factor, weight in zip(factors, by_factor, strict=True):
        cells += weight * _spread_about(length_m / factor, _logged_sd(length_m / factor, theta), kernels)
    density = float(by_factor.sum() + classes.sum())
    return cells / density, density


def _logged_sd(length_m: float, theta: DriftParameters) -> float:
    return float(np.hypot(theta.logged_sd_m, theta.logged_sd_share * length_m))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EntryMove:
    """What one log entry does to the cable: as written, with no cut, with a wrong length.

    as_written, wrong: kernels, void: probability; whole: all of them. Summing to one but for what is past the window.
    """

    entry: LogEntry
    as_written: FloatArray
    void: float
    wrong: FloatArray

    @property
    def whole(self) -> FloatArray:
        """The kernel of the entry, however it came about."""
        kernel = self.as_written + self.wrong
        kernel[0] += self.void
        return kernel


def moves_of(sequence: CountSequence, kernels: Kernels, theta: DriftParameters) -> list[EntryMove]:
    """What each entry of a sequence does, in their order."""
    return [_entry_move(entry, kernels, theta) for entry in sequence.entries]


def one_after_the_other(moves: Iterable[FloatArray], kernels: Kernels) -> FloatArray:
    """The kernel of several moves, one after the other; what is past the window is left out."""
    both, *others = moves
    for other in others:
        moved = scipy.fft.irfft(kernels.transform(both) * kernels.transform(other), 2 * kernels.cells)
        both = np.maximum(moved[: kernels.cells], 0.0)
    return both


def _entry_move(entry: LogEntry, kernels: Kernels, theta: DriftParameters) -> EntryMove:
    """How likely its length is wrong hangs on how usual it is: wrong ones are entry_wrong of all."""
    void = theta.twin_void if entry.twin else theta.entry_void
    about, if_wrong = _wrong_length(entry.length_m, kernels, theta)
    if_right = float(theta.logged_density(np.log(np.asarray(max(entry.length_m, 0.05)))))
    p_wrong = theta.entry_wrong * if_wrong / (theta.entry_wrong * if_wrong + (1.0 - theta.entry_wrong) * if_right)
    written = _spread_about(entry.length_m, _logged_sd(entry.length_m, theta), kernels)
    return EntryMove(
        entry=entry,
        as_written=(1.0 - void) * (1.0 - p_wrong) * written,
        void=void,
        wrong=(1.0 - void) * p_wrong * about,
    )


def stretch_fft(mean_m: float, kernels: Kernels) -> ComplexArray:
    """Transform of a growth of about this mean, shared between cells."""
    kernel = _spread_about(mean_m, FIXED.stretch_sd * mean_m, kernels)
    kernel[0] += max(0.0, 1.0 - kernel.sum())  # what would be a shrinking is no growth
    return kernels.transform(kernel)
