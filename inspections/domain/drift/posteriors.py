"""What the two passes say of single counts and of the log: slips, looseness, entries that are not as written."""

from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, rfft

from inspections.domain.drift.kernels import LogMove
from inspections.domain.drift.likelihood import reading_chances, slips_of
from inspections.domain.drift.records import SLIPS
from inspections.domain.drift.smoother import Run

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


def slip_beliefs(result: Run) -> FloatArray:
    """Probability of each slip at each count: shape (times, rows, slips)."""
    batch = result.batch
    believed = (result.before * result.messages).sum(axis=2)
    scale = np.einsum("trc,trc->tr", believed, batch.likelihoods[:, :, 0]) + 1e-300
    out = np.zeros((*scale.shape, len(SLIPS)))
    nodes = batch.chains[0].nodes.size
    for place, chain in enumerate(batch.chains):
        mine = slice(place * nodes, (place + 1) * nodes)
        for a, b in chain.pieces():
            out[a:b, mine] = slips_of(chain, a, b, believed[a:b, mine], batch.rates)
    return cast(FloatArray, out / scale[:, :, None])


def misfits(result: Run) -> tuple[FloatArray, FloatArray]:
    """Of each count in each row: probability that it is no slip, and, if so, its mean squared distance in wraps.

    Both (times, rows).
    """
    batch = result.batch
    believed = (result.before * result.messages).sum(axis=2)
    scale = np.einsum("trc,trc->tr", believed, batch.likelihoods[:, :, 0]) + 1e-300
    share, squared = np.zeros((2, *scale.shape))
    nodes = batch.chains[0].nodes.size
    for place, chain in enumerate(batch.chains):
        mine = slice(place * nodes, (place + 1) * nodes)
        for a, b in chain.pieces():
            at_turns, read = chain.window_turns(a), chain.read_turns[a:b]
            fit = reading_chances(chain, read, at_turns, batch.rates)
            fitting = believed[a:b, mine] * np.moveaxis(fit, 0, 1)
            share[a:b, mine] = fitting.sum(axis=2)
            off = (read[:, None] - at_turns[None, :]) ** 2
            squared[a:b, mine] = np.einsum("tnc,tc->tn", fitting, off) / (share[a:b, mine] + 1e-300)
    return batch.rates.slip_shares[0] * share / scale, squared


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LogBelief:
    """What is believed of the log entries of one interval in one row, probabilities; error_m2: mean squared error."""

    move: int
    row: int
    early: float
    late: float
    void: float
    wrong: float
    error_m2: float


def log_beliefs(result: Run) -> list[LogBelief]:
    """For every interval with log entries and every row: were they as written?"""
    batch = result.batch
    nodes = batch.chains[0].nodes.size
    found = []
    for number, move in enumerate(batch.moves):
        chain = batch.chains[move.row_chain]
        mine = slice(move.row_chain * nodes, (move.row_chain + 1) * nodes)
        early, late = np.zeros((2, nodes))
        if move.interval >= 0:
            early = _lane_share(result, move.interval, mine, 2)
        if move.interval + 1 < chain.times:
            late = _lane_share(result, move.interval + 1, mine, 1)
        void, wrong, error = np.zeros((3, nodes))
        if 0 <= move.interval < chain.times - 1:
            void, wrong, error = _as_written(result, move, mine)
        stay = np.maximum(1.0 - early - late, 0.0)
        for k in range(nodes):
            found.append(
                LogBelief(
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


def _lane_share(result: Run, t: int, mine: slice, lane: int) -> FloatArray:
    believed = (result.after[t, mine] * result.messages[t, mine]).sum(axis=-1)
    return cast(FloatArray, believed[:, lane] / (believed.sum(axis=1) + 1e-300))


def _as_written(result: Run, move: LogMove, mine: slice) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Given that the entries belong to their interval: no cut, wrong length, and else the mean squared error in m²."""
    batch, t = result.batch, move.interval
    cells, size = batch.kernels.cells, 2 * batch.kernels.cells
    later = rfft(result.messages[t + 1, mine, 0] * batch.likelihoods[t + 1, mine, 0], size)
    later *= np.exp(-1j * np.pi / cells * batch.shift[t, mine][:, None] * np.arange(cells + 1))
    q = batch.p_cut[t, mine, None]
    back_hat = later * ((1.0 - q) + q * batch.kernels.cut_hat)
    overlap = np.maximum(irfft(rfft(result.after[t, mine, 0], size) * np.conj(back_hat), size)[:, :cells], 0.0)
    written, wrong = overlap * move.as_written, (overlap * move.wrong).sum(axis=1)
    void = overlap[:, 0] * move.void
    total = written.sum(axis=1) + wrong + void + 1e-300
    length = move.entries[-1].length_m
    off = (batch.kernels.cell_m * np.arange(cells) - length) ** 2
    return void / total, wrong / total, (written @ off) / (written.sum(axis=1) + 1e-300)
