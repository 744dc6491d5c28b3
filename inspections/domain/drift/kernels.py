"""Moves of the cable's length in cells: unlogged cuts, logged cuts as people log them, stretch of new cable.

Each is a kernel: the probability of a move by 0, 1, … cells, shape (cells,). To move a distribution by it is to
convolve, which is to multiply transforms. All transforms are over twice the cells, so that what moves past an end lands
in the other half and does not come round.
"""

from collections.abc import Iterator
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
class LogMove:
    """What the log entries of one interval of a sequence do: as written, with no cut, with a wrong length; all in all.

    sequence: place in its batch. as_written, wrong: kernels, void: probability, of the last entry. fft: transform of
    the whole kernel of all entries. early, late: probability that the cut was made before the interval, and after it.
    """

    sequence: int
    interval: int
    entries: tuple[LogEntry, ...]
    as_written: FloatArray
    void: float
    wrong: FloatArray
    fft: ComplexArray
    others_fft: ComplexArray
    written_fft: ComplexArray
    early: float
    late: float


def moves_of(place: int, sequence: CountSequence, kernels: Kernels, theta: DriftParameters) -> Iterator[LogMove]:
    """What the log does in each interval of a sequence that has entries; place: of the sequence in its batch."""
    by_interval: dict[int, list[LogEntry]] = {}
    for entry in sequence.entries:
        by_interval.setdefault(entry.interval, []).append(entry)
    for interval, entries in sorted(by_interval.items()):
        parts = [_entry_parts(entry, kernels, theta) for entry in entries]
        others, whole = np.eye(1, kernels.cells)[0], _whole(*parts[0])  # no move; the first entry's
        for part in parts[1:]:
            others, whole = whole, _one_after_the_other(whole, _whole(*part), kernels)
        written_fft = np.prod([kernels.transform(written) for written, _, _ in parts], axis=0)
        as_written, void, wrong = parts[-1]
        early, late = _misdated(sequence, interval, entries, theta)
        yield LogMove(
            sequence=place,
            interval=interval,
            entries=tuple(entries),
            as_written=as_written,
            void=void,
            wrong=wrong,
            fft=kernels.transform(whole),
            others_fft=kernels.transform(others),
            written_fft=written_fft,
            early=early,
            late=late,
        )


def _entry_parts(entry: LogEntry, kernels: Kernels, theta: DriftParameters) -> tuple[FloatArray, float, FloatArray]:
    """One entry's moves: as written but for its measuring error, probability of no cut, with a wrong length.

    How likely its length is wrong hangs on how usual it is: wrong ones are entry_wrong of all.
    """
    void = theta.twin_void if entry.twin else theta.entry_void
    about, if_wrong = _wrong_length(entry.length_m, kernels, theta)
    if_right = float(theta.logged_density(np.log(np.asarray(max(entry.length_m, 0.05)))))
    p_wrong = theta.entry_wrong * if_wrong / (theta.entry_wrong * if_wrong + (1.0 - theta.entry_wrong) * if_right)
    written = _spread_about(entry.length_m, _logged_sd(entry.length_m, theta), kernels)
    return (1.0 - void) * (1.0 - p_wrong) * written, void, (1.0 - void) * p_wrong * about


def _whole(written: FloatArray, void: float, wrong: FloatArray) -> FloatArray:
    kernel = written + wrong
    kernel[0] += void
    return kernel


def _one_after_the_other(one: FloatArray, other: FloatArray, kernels: Kernels) -> FloatArray:
    both = scipy.fft.irfft(kernels.transform(one) * kernels.transform(other), 2 * kernels.cells)[: kernels.cells]
    return cast(FloatArray, np.maximum(both, 0.0))


def _misdated(
    sequence: CountSequence, interval: int, entries: list[LogEntry], theta: DriftParameters
) -> tuple[float, float]:
    """Probability that the cut was made before the interval, and after it: the nearer a count, the likelier."""
    days, at = sequence.days, np.mean([e.at_day for e in entries])
    has_before, has_after = interval >= 0, interval + 1 < days.size
    length = days[interval + 1] - days[interval] if has_before and has_after else FIXED.open_interval_days
    near = min(FIXED.near_days, max(FIXED.near_share * length, FIXED.least_near_days))

    def share(gap: float) -> float:
        nearness = FIXED.misdated_far + (1.0 - FIXED.misdated_far) * np.exp(-gap / near)
        least = FIXED.misdated_at_count if gap <= 0.0 else 0.0
        return float(min(max(theta.entry_misdated * nearness, least), FIXED.most_misdated))

    early = share(at - days[interval]) if has_before else 0.0
    late = share(days[interval + 1] - at) if has_after else 0.0
    return early, late


def stretch_fft(mean_m: float, kernels: Kernels) -> ComplexArray:
    """Transform of a growth of about this mean, shared between cells."""
    kernel = _spread_about(mean_m, FIXED.stretch_sd * mean_m, kernels)
    kernel[0] += max(0.0, 1.0 - kernel.sum())  # what would be a shrinking is no growth
    return kernels.transform(kernel)
