"""What the two passes say of single counts and of the log: slips, looseness, entries that are not as written."""

from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, rfft

from inspections.domain.drift.kernels import LogMove
from inspections.domain.drift.likelihood import reading_pmf, slip_likelihoods
from inspections.domain.drift.records import SLIPS
from inspections.domain.drift.smoother import ForwardBackward

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


def slip_posteriors(result: ForwardBackward) -> FloatArray:
    """Probability of each slip at each count: shape (times, rows, slips)."""
    batch = result.batch
    smoothed = (result.predicted * result.backward).sum(axis=2)
    scale = np.einsum("trc,trc->tr", smoothed, batch.likelihoods[:, :, 0]) + 1e-300
    out = np.zeros((*scale.shape, len(SLIPS)))
    grid_points = batch.sequences[0].grid_points.size
    for place, sequence in enumerate(batch.sequences):
        mine = slice(place * grid_points, (place + 1) * grid_points)
        for a, b in sequence.pieces():
            out[a:b, mine] = slip_likelihoods(sequence, a, b, smoothed[a:b, mine], batch.theta)
    return cast(FloatArray, out / scale[:, :, None])


def residuals(result: ForwardBackward) -> tuple[FloatArray, FloatArray]:
    """Of each count in each row: probability that it is no slip, and, if so, its mean squared distance in wraps.

    Both (times, rows).
    """
    batch = result.batch
    smoothed = (result.predicted * result.backward).sum(axis=2)
    scale = np.einsum("trc,trc->tr", smoothed, batch.likelihoods[:, :, 0]) + 1e-300
    share, squared = np.zeros((2, *scale.shape))
    grid_points = batch.sequences[0].grid_points.size
    for place, sequence in enumerate(batch.sequences):
        mine = slice(place * grid_points, (place + 1) * grid_points)
        for a, b in sequence.pieces():
            at_turns, read = sequence.window_turns(a), sequence.read_turns[a:b]
            fit = reading_pmf(sequence, read, at_turns, batch.theta)
            fitting = smoothed[a:b, mine] * np.moveaxis(fit, 0, 1)
            share[a:b, mine] = fitting.sum(axis=2)
            off = (read[:, None] - at_turns[None, :]) ** 2
            squared[a:b, mine] = np.einsum("tnc,tc->tn", fitting, off) / (share[a:b, mine] + 1e-300)
    return batch.theta.slip_shares[0] * share / scale, squared


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LogEntryPosterior:
    """What is believed of the log entries of one interval in one row, probabilities; error_m2: mean squared error."""

    move: int
    row: int
    early: float
    late: float
    void: float
    wrong: float
    error_m2: float


def log_entry_posteriors(result: ForwardBackward) -> list[LogEntryPosterior]:
    """For every interval with log entries and every row: were they as written?"""
    batch = result.batch
    grid_points = batch.sequences[0].grid_points.size
    found = []
    for number, move in enumerate(batch.moves):
        sequence = batch.sequences[move.sequence_of_row]
        mine = slice(move.sequence_of_row * grid_points, (move.sequence_of_row + 1) * grid_points)
        early, late = np.zeros((2, grid_points))
        if move.interval >= 0:
            early = _log_state_share(result, move.interval, mine, 2)
        if move.interval + 1 < sequence.times:
            late = _log_state_share(result, move.interval + 1, mine, 1)
        void, wrong, error = np.zeros((3, grid_points))
        if 0 <= move.interval < sequence.times - 1:
            void, wrong, error = _as_written(result, move, mine)
        stay = np.maximum(1.0 - early - late, 0.0)
        for k in range(grid_points):
            found.append(
                LogEntryPosterior(
                    move=number,
                    row=mine.start + k,
                    early=float(early[k]),
                    late=float(late[k]),
                    void=float(stay[k] * void[k]),
                    wrong=float(stay[k] * wrong[k]),
                    error_m2=float(error[k]),
                )
            )
    return found


def _log_state_share(result: ForwardBackward, t: int, mine: slice, log_state: int) -> FloatArray:
    smoothed = (result.filtered[t, mine] * result.backward[t, mine]).sum(axis=-1)
    return cast(FloatArray, smoothed[:, log_state] / (smoothed.sum(axis=1) + 1e-300))


def _as_written(result: ForwardBackward, move: LogMove, mine: slice) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Given that the entries belong to their interval: no cut, wrong length, and else the mean squared error in m²."""
    batch, t = result.batch, move.interval
    cells, size = batch.kernels.cells, 2 * batch.kernels.cells
    later = rfft(result.backward[t + 1, mine, 0] * batch.likelihoods[t + 1, mine, 0], size)
    later *= np.exp(-1j * np.pi / cells * batch.shift[t, mine][:, None] * np.arange(cells + 1))
    q = batch.p_cut[t, mine, None]
    backward_fft = later * ((1.0 - q) + q * batch.kernels.cut_fft)
    overlap = np.maximum(irfft(rfft(result.filtered[t, mine, 0], size) * np.conj(backward_fft), size)[:, :cells], 0.0)
    written, wrong = overlap * move.as_written, (overlap * move.wrong).sum(axis=1)
    void = overlap[:, 0] * move.void
    total = written.sum(axis=1) + wrong + void + 1e-300
    length = move.entries[-1].length_m
    off = (batch.kernels.cell_m * np.arange(cells) - length) ** 2
    return void / total, wrong / total, (written @ off) / (written.sum(axis=1) + 1e-300)
