"""What the two passes say of single counts and of the log: slips, residuals, entries that are not as written."""

from dataclasses import dataclass
from typing import cast

import numpy as np
import scipy

from inspections.domain.drift.batch_log import EntryInBatch
from inspections.domain.drift.hidden_markov import TINY
from inspections.domain.drift.likelihood import reading_pmf, slip_likelihoods
from inspections.domain.drift.log_states import AS_WRITTEN, Placement
from inspections.domain.drift.records import SLIPS
from inspections.domain.drift.smoother import CutPosteriors, ForwardBackward
from reels.domain.uncertainty import FloatArray


def slip_posteriors(passes: ForwardBackward) -> FloatArray:
    """Probability of each slip at each count: shape (times, rows, slips)."""
    batch, others = passes.batch, passes.without_own_count()
    out = np.zeros((*others.shape[:2], len(SLIPS)))
    for place, sequence in enumerate(batch.sequences):
        rows = batch.rows(place)
        for a, b in sequence.pieces():
            out[a:b, rows] = slip_likelihoods(sequence, a, b, others[a:b, rows], batch.theta)
    return out / _evidence(passes, others)[:, :, None]


def _evidence(passes: ForwardBackward, others: FloatArray) -> FloatArray:
    """p(y_t | all other counts) on the scale of `others`: shape (times, rows)."""
    return cast(FloatArray, np.einsum("trc,trc->tr", others, passes.batch.likelihoods[:, :, 0]) + TINY)


def residuals(passes: ForwardBackward) -> tuple[FloatArray, FloatArray]:
    """Of each count in each row: probability that it is no slip, and, if so, its mean squared distance in wraps².

    Both (times, rows).
    """
    batch, others = passes.batch, passes.without_own_count()
    fit, squared = np.zeros((2, *others.shape[:2]))
    for place, sequence in enumerate(batch.sequences):
        rows = batch.rows(place)
        for a, b in sequence.pieces():
            at_turns, read = sequence.window_turns(a), sequence.read_turns[a:b]
            fitting = others[a:b, rows] * np.moveaxis(reading_pmf(sequence, read, at_turns, batch.theta), 0, 1)
            fit[a:b, rows] = fitting.sum(axis=2)
            distance_squared = (read[:, None] - at_turns[None, :]) ** 2
            squared[a:b, rows] = np.einsum("tnc,tc->tn", fitting, distance_squared) / (fit[a:b, rows] + TINY)
    return batch.theta.slip_shares[0] * fit / _evidence(passes, others), squared


def ordinary_posteriors(passes: ForwardBackward, cuts: CutPosteriors) -> FloatArray:
    """Probability that an interval has no unlogged cut, a log as written, and no slip at either end: as cuts.p_cut.

    Both counts are read without a slip, all else as in smoother.cut_posteriors.
    """
    batch = passes.batch
    sound = np.zeros_like(passes.predicted[:, :, 0])  # p(y_t, no slip | x_t)
    for place, sequence in enumerate(batch.sequences):
        rows = batch.rows(place)
        for a, b in sequence.pieces():
            pmf = reading_pmf(sequence, sequence.read_turns[a:b], sequence.window_turns(a), batch.theta)
            sound[a:b, rows] = batch.theta.slip_shares[0] * np.moveaxis(pmf, 0, 1)
    together = np.zeros(passes.p_when_counted.shape)
    for t in range(sound.shape[0] - 1):
        n = int(np.count_nonzero(batch.lengths > t + 1))
        here = passes.predicted[t, :n, AS_WRITTEN] * sound[t, :n] * np.exp(-passes.log_evidence[t, :n])[:, None]
        later = passes.backward[t + 1, :n, AS_WRITTEN] * sound[t + 1, :n]
        together[t, :n] = np.einsum("nc,nc->n", batch.as_written(t, here), later)
    ordinary = (1.0 - batch.p_cut[cuts.steps, cuts.rows]) * together[cuts.steps, cuts.rows]
    return ordinary / (cuts.evidence + TINY)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LogEntryPosterior:
    """One log entry in one row, probabilities; error_m2: mean squared error of the length, m².

    entry: place in the batch's log. early, late: the cut was made before its interval, or after it; void: there was
    none; wrong: it had another length. elsewhere: other intervals in which it may have been made, and how probably.
    """

    entry: int
    row: int
    early: float
    late: float
    void: float
    wrong: float
    error_m2: float
    elsewhere: tuple[tuple[int, float], ...]


def log_entry_posteriors(passes: ForwardBackward) -> list[LogEntryPosterior]:
    """For every log entry and every row: is it as written?"""
    batch = passes.batch
    posteriors = []
    for number, entry in enumerate(batch.log.entries):
        sequence, rows = batch.sequences[entry.sequence], batch.rows(entry.sequence)
        early, late, void, wrong, error_m2 = np.zeros((5, sequence.grid_points.size))
        placement, home = entry.placement, entry.placement.home
        out_at = {
            t: _log_state_share(passes, t, rows, placement.slot) for t in range(sequence.times) if placement.is_open(t)
        }
        early, late = out_at.get(home, early), out_at.get(home + 1, late)
        if 0 <= home < sequence.times - 1:
            void, wrong, error_m2 = _as_written(passes, entry, rows)
        stay = np.maximum(1.0 - early - late, 0.0)
        columns = np.array([early, late, stay * void, stay * wrong, error_m2])
        elsewhere = _made_elsewhere(placement, out_at, sequence.times)
        for number_of_row, (p_early, p_late, p_void, p_wrong, m2) in enumerate(columns.T.tolist()):
            posteriors.append(
                LogEntryPosterior(
                    entry=number,
                    row=rows.start + number_of_row,
                    early=p_early,
                    late=p_late,
                    void=p_void,
                    wrong=p_wrong,
                    error_m2=m2,
                    elsewhere=tuple((t, float(p[number_of_row])) for t, p in elsewhere),
                )
            )
    return posteriors


def _made_elsewhere(placement: Placement, out_at: dict[int, FloatArray], times: int) -> list[tuple[int, FloatArray]]:
    """Of intervals other than its home, the probability that the cut was made there, by looseness tried.

    An entry that is made before its date goes out of place there, one that is made after it comes back.
    """
    made = []
    for t in range(max(placement.first, 0), min(placement.last + 1, times - 1)):
        before, after = (np.asarray(out_at.get(count, 0.0)) for count in (t, t + 1))
        if t != placement.home and (t in out_at or t + 1 in out_at):
            p = after - before if t < placement.home else before - after
            made.append((t, np.clip(p, 0.0, 1.0) + np.zeros_like(next(iter(out_at.values())))))
    return made


def _log_state_share(passes: ForwardBackward, t: int, rows: slice, log_state: int) -> FloatArray:
    smoothed = (passes.filtered[t, rows] * passes.backward[t, rows]).sum(axis=-1)
    return cast(FloatArray, smoothed[:, log_state] / (smoothed.sum(axis=1) + TINY))


def _as_written(passes: ForwardBackward, entry: EntryInBatch, rows: slice) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Given that the log is as it is dated: no cut, wrong length, and else the mean squared error in m².

    As in smoother.cut_posteriors, with the roles changed: the unlogged cut and the other entries go into the message,
    and the correlation is over lengths of this one.
    """
    batch, t, move = passes.batch, entry.placement.home, entry.move
    cells, size = batch.kernels.cells, 2 * batch.kernels.cells
    later = scipy.fft.rfft(passes.backward[t + 1, rows, AS_WRITTEN] * batch.likelihoods[t + 1, rows, 0], size)
    later *= np.exp(-1j * np.pi / cells * batch.shift[t, rows][:, None] * np.arange(cells + 1))
    q = batch.p_cut[t, rows, None]
    later *= ((1.0 - q) + q * batch.kernels.cut_fft) * batch.move_ffts[entry.others]
    overlap = scipy.fft.irfft(scipy.fft.rfft(passes.filtered[t, rows, AS_WRITTEN], size) * np.conj(later), size)
    overlap = np.maximum(overlap[:, :cells], 0.0)
    written, wrong = overlap * move.as_written, (overlap * move.wrong).sum(axis=1)
    void = overlap[:, 0] * move.void
    total = written.sum(axis=1) + wrong + void + TINY
    off_squared = (batch.kernels.cell_m * np.arange(cells) - move.entry.length_m) ** 2
    return void / total, wrong / total, (written @ off_squared) / (written.sum(axis=1) + TINY)
