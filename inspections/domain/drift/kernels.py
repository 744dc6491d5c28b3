"""Moves of the cable's length in cells: cuts, logged cuts as people log them, stretch of new cable."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, rfft
from scipy.special import ndtr

from inspections.domain.drift.parameters import DriftParameters
from inspections.domain.drift.sequence import CountSequence, LogEntry

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
ComplexArray = NDArray[np.complex128]

WRONG_LOG_SD = 0.7  # spread of the logarithm of a wrong length about the true one
NEAR_DAYS = 15.0  # entries this near a count may well be dated on its wrong side


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kernels:
    """Moves in cells, for one cell length and number of cells: the unlogged cut, and its transform."""

    cell_m: float
    cells: int
    cut: FloatArray
    cut_fft: ComplexArray

    def transform(self, kernel: FloatArray) -> ComplexArray:
        """Transform of a move, over twice the cells."""
        return cast(ComplexArray, rfft(kernel, 2 * self.cells))


def kernels_for(cell_m: float, cells: int, theta: DriftParameters) -> Kernels:
    """The unlogged cut in cells, cuts longer than the window left out."""
    edges = np.asarray(cell_m * (np.arange(cells + 1) - 0.5), dtype=np.float64)
    cut = np.diff(theta.sizes_below(edges))
    return Kernels(cell_m=cell_m, cells=cells, cut=cut, cut_fft=rfft(cut, 2 * cells))


def _ramp(u: FloatArray, sd: float) -> FloatArray:
    z = u / sd
    return cast(FloatArray, sd * (z * ndtr(z) + np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi)))


def _spread_about(length_m: float, sd_m: float, kernels: Kernels) -> FloatArray:
    """A normal length shared linearly between the cells on either side, which keeps its mean."""
    cells_m = np.asarray(kernels.cell_m * np.arange(-1, kernels.cells + 1), dtype=np.float64)
    ramp = _ramp(cells_m - length_m, sd_m)
    return np.maximum(np.diff(ramp, 2) / kernels.cell_m, 0.0)


def _wrong_length(length_m: float, kernels: Kernels) -> FloatArray:
    edges = np.log(np.maximum(kernels.cell_m * (np.arange(kernels.cells + 1) - 0.5), 1e-6))
    about = np.diff(ndtr((edges - np.log(max(length_m, 0.05))) / WRONG_LOG_SD))
    return cast(FloatArray, 0.5 * about + 0.5 * kernels.cut)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LogMove:
    """What the log entries of one interval do: as written, without a cut, with a wrong length; and all in all."""

    sequence_of_row: int
    interval: int
    entries: tuple[LogEntry, ...]
    as_written: FloatArray
    void: float
    wrong: FloatArray
    fft: ComplexArray
    early: float
    late: float


def moves_of(place: int, sequence: CountSequence, kernels: Kernels, theta: DriftParameters) -> Iterator[LogMove]:
    """What the log does in each interval of a chain that has entries; place: of the chain in its batch."""
    by_interval: dict[int, list[LogEntry]] = {}
    for entry in sequence.entries:
        by_interval.setdefault(entry.interval, []).append(entry)
    for interval, entries in sorted(by_interval.items()):
        yield _log_move(place, sequence, interval, tuple(entries), kernels, theta)


def _log_move(
    place: int,
    sequence: CountSequence,
    interval: int,
    entries: tuple[LogEntry, ...],
    kernels: Kernels,
    theta: DriftParameters,
) -> LogMove:
    ffts, single = [], (np.zeros(kernels.cells), 0.0, np.zeros(kernels.cells))
    for entry in entries:
        sd = float(np.hypot(theta.logged_sd_m, theta.logged_sd_share * entry.length_m))
        void = theta.twin_void if entry.twin else theta.entry_void
        wrong = (1.0 - void) * theta.entry_wrong
        written = (1.0 - void - wrong) * _spread_about(entry.length_m, max(sd, 0.02), kernels)
        off = wrong * _wrong_length(entry.length_m, kernels)
        whole = written + off
        whole[0] += void
        single = (written, void, off)
        ffts.append(kernels.transform(whole))
    fft = ffts[0]
    for other in ffts[1:]:
        fft = kernels.transform(np.maximum(irfft(fft * other, 2 * kernels.cells)[: kernels.cells], 0.0))
    early, late = _misdated(sequence, interval, entries, theta)
    return LogMove(
        sequence_of_row=place,
        interval=interval,
        entries=entries,
        as_written=single[0],
        void=single[1],
        wrong=single[2],
        fft=fft,
        early=early,
        late=late,
    )


def _misdated(
    sequence: CountSequence, interval: int, entries: tuple[LogEntry, ...], theta: DriftParameters
) -> tuple[float, float]:
    """Probability that the cut was made before the interval, and after it: the nearer a count, the likelier."""
    days, at = sequence.days, np.mean([e.at_day for e in entries])
    has_before, has_after = interval >= 0, interval + 1 < days.size
    length = days[interval + 1] - days[interval] if has_before and has_after else 60.0
    near = min(NEAR_DAYS, max(0.2 * length, 1.0))

    def share(gap: float) -> float:
        nearness = 0.1 + 0.9 * np.exp(-gap / near)
        return float(min(max(theta.entry_misdated * nearness, 0.2 if gap <= 0.0 else 0.0), 0.5))

    early = share(at - days[interval]) if has_before else 0.0
    late = share(days[interval + 1] - at) if has_after else 0.0
    return early, late


def stretch_fft(mean_m: float, kernels: Kernels) -> ComplexArray:
    """Transform of a growth of about this mean, half as uncertain as it is long, shared between cells."""
    kernel = _spread_about(mean_m, max(0.5 * mean_m, 0.02), kernels)
    kernel[0] += max(0.0, 1.0 - kernel.sum())
    return kernels.transform(kernel)
