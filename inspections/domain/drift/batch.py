"""Many count sequences side by side, laid out for the two passes, and the step from one count to the next.

A batch holds rows, one for each sequence and looseness tried, over cells of cable length. The hidden state of a row is
a cell and a log state (log_states), which says what entry, if any, is out of its place.

The step of interval t, from count t to count t + 1, convolves along the cells (correlates, for a cut goes down) with
the kernels of what is logged in it, of stretch, and of an unlogged cut or none; then the window moves from that of t to
that of t + 1. It is done on transforms, `…_fft`, of frequencies 0 … cells.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import cast

import numpy as np
import scipy

from inspections.domain.drift.batch_log import BatchLog, EntryInBatch, MoveTable, log_states_of
from inspections.domain.drift.fixed import FIXED
from inspections.domain.drift.hidden_markov import ComplexArray, IntArray
from inspections.domain.drift.kernels import Kernels, kernels_for, moves_of, stretch_fft
from inspections.domain.drift.likelihood import count_likelihoods
from inspections.domain.drift.log_states import AS_WRITTEN, Placement, first_states, placements, steps_of
from inspections.domain.drift.parameters import DriftParameters
from inspections.domain.drift.records import Ending
from inspections.domain.drift.sequence import CountSequence
from reels.domain.uncertainty import FloatArray

# Counts x looseness values x cells x log states of one batch: some 100 MB at work. Half as large batches take less
# memory and more turns of Python for each count; results don't hang on it.
BATCH_CELLS = 1_200_000


@dataclass(slots=True, kw_only=True, eq=False)
class Batch:
    """Rows side by side, longest first.

    lengths: counts of each row, shape (rows,). likelihoods: (times, rows, 1, cells). start: p(x_1), (rows, log states,
    cells). By interval, (times - 1, rows): shift, by how many cells the window moves; p_cut, q with what closed flags
    make of it; p_cut_open, q as if all were open; p_not_on_record, probability of a cut that is still to be logged at
    the later count; replaced, probability of each length by a replacement that nobody logged; stretch_of, place in
    stretch_ffts, or -1; logged_of, place in move_ffts of what is logged in it, written_of, of the same as it is
    written; at place 0 there is no move. log: the log of the rows.
    """

    sequences: list[CountSequence]
    kernels: Kernels
    theta: DriftParameters
    lengths: IntArray
    likelihoods: FloatArray
    shift: IntArray
    p_cut: FloatArray
    p_cut_open: FloatArray
    p_not_on_record: FloatArray
    start: FloatArray
    replaced: FloatArray
    log: BatchLog
    logged_of: IntArray
    written_of: IntArray
    move_ffts: ComplexArray
    stretch_of: IntArray
    stretch_ffts: list[ComplexArray]

    @property
    def log_states(self) -> int:
        """How many; 1 where nothing is logged."""
        return int(self.start.shape[1])

    def rows(self, place: int) -> slice:
        """The rows of a sequence, one for each looseness tried."""
        points = self.sequences[0].grid_points.size
        return slice(place * points, (place + 1) * points)

    def ahead_fft(self, t: int, filtered_fft: ComplexArray, n: int) -> ComplexArray:
        """The step of interval t without an unlogged cut, within the window of t: (n, log states, frequencies)."""
        moved = filtered_fft[:n].copy() if self.log_states == 1 else self._logged_ahead(t, filtered_fft[:n])
        for row in np.flatnonzero(self.stretch_of[t, :n] >= 0):
            moved[row] *= self.stretch_ffts[self.stretch_of[t, row]]
        return moved

    def _logged_ahead(self, t: int, here_fft: ComplexArray) -> ComplexArray:
        out = np.zeros_like(here_fft)
        out[:, AS_WRITTEN] = here_fft[:, AS_WRITTEN]
        for step in self.log.steps[t]:
            moved = here_fft[step.rows, step.source] * step.factor(np.conj(self.move_ffts))
            if step.source == step.target == AS_WRITTEN:
                out[step.rows, AS_WRITTEN] = moved
            else:
                out[step.rows, step.target] += moved
        return out

    def back_fft(self, t: int, message_fft: ComplexArray, n: int) -> ComplexArray:
        """The adjoint of ahead_fft, which carries messages from t + 1 to t: the same moves the other way round."""
        for row in np.flatnonzero(self.stretch_of[t, :n] >= 0):
            message_fft[row] *= np.conj(self.stretch_ffts[self.stretch_of[t, row]])
        if self.log_states == 1:
            return message_fft
        out = np.zeros_like(message_fft)
        out[:, AS_WRITTEN] = message_fft[:, AS_WRITTEN]
        for step in self.log.steps[t]:
            moved = message_fft[step.rows, step.target] * step.factor(self.move_ffts)
            if step.source == step.target == AS_WRITTEN:
                out[step.rows, AS_WRITTEN] = moved
            else:
                out[step.rows, step.source] += moved
        return out

    def transform(self, t: int, values: FloatArray) -> ComplexArray:
        """Transforms of values at count t, (n, log states, cells); log states that hold nothing are left at zero."""
        size = 2 * self.kernels.cells
        if self.log_states == 1:
            return cast(ComplexArray, scipy.fft.rfft(values, size))
        n = values.shape[0]
        fft = np.zeros((n, self.log_states, size // 2 + 1), dtype=np.complex128)
        fft[:, AS_WRITTEN] = scipy.fft.rfft(values[:, AS_WRITTEN], size)
        for slot, rows in self.log.open_rows(t, n):
            fft[rows, slot] = scipy.fft.rfft(values[rows, slot], size)
        return fft

    def inverse(self, t: int, fft: ComplexArray) -> FloatArray:
        """Values at count t over twice the cells, of their transforms; the same log states are left at zero."""
        size = 2 * self.kernels.cells
        if self.log_states == 1:
            return cast(FloatArray, scipy.fft.irfft(fft, size))
        n = fft.shape[0]
        values = np.zeros((n, self.log_states, size))
        values[:, AS_WRITTEN] = scipy.fft.irfft(fft[:, AS_WRITTEN], size)
        for slot, rows in self.log.open_rows(t, n):
            values[rows, slot] = scipy.fft.irfft(fft[rows, slot], size)
        return values

    def placed(self, t: int, message: FloatArray) -> ComplexArray:
        """Transforms of messages at t + 1, put where they belong in the windows of t: a shift is a turn of phases."""
        fft = self.transform(t + 1, message)
        rows = np.flatnonzero(self.shift[t, : message.shape[0]])
        if rows.size:
            turn = np.outer(self.shift[t, rows], np.arange(fft.shape[2])) * (-np.pi / self.kernels.cells)
            fft[rows] *= np.exp(1j * turn)[:, None, :]
        return fft

    def windowed(self, t: int, moved: FloatArray) -> FloatArray:
        """Values over twice the cells, cut down to the windows of t + 1; what fell below a window came round.

        Rounding in the transforms leaves numbers a little below zero: they are zero.
        """
        cells = self.kernels.cells
        out = np.maximum(moved[..., :cells], 0.0)
        for row in np.flatnonzero(self.shift[t, : moved.shape[0]]):
            shift = int(self.shift[t, row])
            out[row] = np.maximum(np.roll(moved[row], -shift, axis=-1)[..., :cells], 0.0)
            if shift > 0:
                out[row, ..., cells - shift :] = 0.0
        return out

    def unmoved(self, t: int, filtered: FloatArray, still: ComplexArray) -> FloatArray:
        """p(x) before count t + 1 if nothing unlogged was cut, from count t; later entries unknown: (n, cells).

        still: ahead_fft of filtered. Rows that nothing moves are taken over as they are, not transformed and back.
        """
        n, out = filtered.shape[0], filtered[:, AS_WRITTEN].copy()
        moved = (self.stretch_of[t, :n] >= 0) | (self.shift[t, :n] != 0) | self.log.is_moving(t, n)
        rows = np.flatnonzero(moved)
        if rows.size:
            full = np.zeros((n, 2 * self.kernels.cells))
            known = self.log.dated_by(t + 1)[rows]
            full[rows] = scipy.fft.irfft(np.einsum("nl,nlf->nf", known, still[rows]), 2 * self.kernels.cells)
            out[rows] = self.windowed(t, full)[rows]
        return out

    def as_written(self, t: int, values: FloatArray) -> FloatArray:
        """The step of interval t with no unlogged cut and the log as it is written, before and after it: (n, cells)."""
        n, cells = values.shape
        here = self.written_of[t, :n]
        moved = np.zeros((n, 2 * cells))
        moved[:, :cells] = values
        rows = np.flatnonzero((here > 0) | (self.stretch_of[t, :n] >= 0))
        if rows.size:
            fft = scipy.fft.rfft(values[rows], 2 * cells)
            for place, row in enumerate(rows):
                if here[row] > 0:
                    fft[place] *= np.conj(self.move_ffts[here[row]])
                if self.stretch_of[t, row] >= 0:
                    fft[place] *= self.stretch_ffts[self.stretch_of[t, row]]
            moved[rows] = scipy.fft.irfft(fft, 2 * cells)
        return self.windowed(t, moved) * self.log.in_place[t, :n, None]

    def with_replacements(self, t: int, moved: FloatArray) -> FloatArray:
        """p(x) at a count from what the moves of its cable alone give: or it is a new cable, its log in place."""
        moved *= 1.0 - self.theta.replaced_unlogged
        moved[:, AS_WRITTEN] += self.replaced[t, : moved.shape[0], None]
        return moved

    def back_over_replacements(self, t: int, before: FloatArray, later: FloatArray) -> FloatArray:
        """The same backward: messages before and, as far as a new cable explains them, after."""
        before *= 1.0 - self.theta.replaced_unlogged
        before += (self.replaced[t, : before.shape[0]] * later[:, AS_WRITTEN].sum(axis=1))[:, None, None]
        return before

    def cut_factor(self, t: int, n: int) -> ComplexArray:
        """Transform of the move by an unlogged cut or none, for each row: (n, frequencies)."""
        q = self.p_cut[t, :n, None]
        return cast(ComplexArray, (1.0 - q) + q * np.conj(self.kernels.cut_fft))


def batches_of(sequences: Sequence[CountSequence], theta: DriftParameters) -> Iterator[tuple[list[int], Batch]]:
    """Sequences grouped by cell length, number of cells and log states, in bounded batches.

    Yields the places of the batch's sequences in `sequences`, and the batch.
    """
    groups: dict[tuple[float, int, int, int], list[int]] = {}
    for place, sequence in enumerate(sequences):
        key = (sequence.cell_m, sequence.cells, log_states_of(placements(sequence, theta)), sequence.grid_points.size)
        groups.setdefault(key, []).append(place)
    for (cell_m, cells, log_states, _), group in sorted(groups.items()):
        kernels = kernels_for(cell_m, cells, theta)
        places = sorted(group, key=lambda p: -sequences[p].times)
        while places:
            longest = sequences[places[0]]
            each = longest.times * longest.grid_points.size * cells * log_states
            some = max(1, int(BATCH_CELLS / each))
            chosen, places = places[:some], places[some:]
            yield chosen, make_batch([sequences[p] for p in chosen], kernels, theta)


def make_batch(sequences: list[CountSequence], kernels: Kernels, theta: DriftParameters) -> Batch:
    """Lay out sequences of the same cells, log states and as many looseness values, the longest first."""
    points, times, cells = sequences[0].grid_points.size, sequences[0].times, kernels.cells
    rows, intervals = len(sequences) * points, max(times - 1, 1)
    placed = [placements(sequence, theta) for sequence in sequences]
    log_states = max(map(log_states_of, placed))
    log = BatchLog(times=times, rows=rows, log_states=log_states)
    batch = Batch(
        sequences=sequences,
        kernels=kernels,
        theta=theta,
        lengths=np.repeat([s.times for s in sequences], points),
        likelihoods=np.ones((times, rows, 1, cells)),
        shift=np.zeros((intervals, rows), dtype=np.int64),
        p_cut=np.zeros((intervals, rows)),
        p_cut_open=np.zeros((intervals, rows)),
        p_not_on_record=np.zeros((intervals, rows)),
        replaced=np.zeros((intervals, rows)),
        start=np.zeros((rows, log_states, cells)),
        log=log,
        logged_of=np.zeros((intervals, rows), dtype=np.int64),
        written_of=np.zeros((intervals, rows), dtype=np.int64),
        move_ffts=np.zeros((0, 0), dtype=np.complex128),
        stretch_of=np.full((intervals, rows), -1, dtype=np.int64),
        stretch_ffts=[],
    )
    moves = MoveTable(kernels)
    for place, sequence in enumerate(sequences):
        _lay_out(batch, place, sequence)
        if sequence.entries:
            _lay_out_log(batch, place, placed[place], moves)
    if log.entries:
        log.close()
        batch.move_ffts = np.array(moves.ffts)
    return batch


def _lay_out(batch: Batch, place: int, sequence: CountSequence) -> None:
    rows, intervals = batch.rows(place), sequence.times - 1
    batch.shift[:intervals, rows] = np.diff(sequence.offsets)[:, None]
    for a, b in sequence.pieces():
        batch.likelihoods[a:b, rows, 0] = count_likelihoods(sequence, a, b, batch.theta)
    p_cut = batch.theta.p_cut(np.diff(sequence.days))
    odds = np.array([_ending_odds(ending) for ending in sequence.endings])
    batch.p_cut_open[:intervals, rows] = p_cut[:, None]
    batch.p_not_on_record[:intervals, rows] = batch.theta.p_not_on_record(np.diff(sequence.days))[:, None]
    batch.p_cut[:intervals, rows] = (p_cut * odds / (1.0 - p_cut + p_cut * odds))[:, None]
    _add_stretch(batch, sequence, rows)
    batch.replaced[:intervals, rows] = _replaced(sequence, batch)[:, None]
    batch.start[rows, AS_WRITTEN] = _start(sequence, batch.kernels, batch.theta)


def _lay_out_log(batch: Batch, place: int, placed: list[Placement], moves: MoveTable) -> None:
    rows, sequence = batch.rows(place), batch.sequences[place]
    made = moves_of(sequence, batch.kernels, batch.theta)
    for t in range(sequence.times - 1):
        for step in steps_of(placed, t):
            batch.log.add(t, rows, step, moves.place(place, step.entries, made))
    for e, (move, placement) in enumerate(zip(made, placed, strict=True)):
        same = tuple(other for other, each in enumerate(placed) if each.home == placement.home)
        others = moves.place(place, tuple(other for other in same if other != e), made)
        if 0 <= placement.home < sequence.times - 1:
            batch.logged_of[placement.home, rows] = moves.place(place, same, made)
            batch.written_of[placement.home, rows] = moves.written(place, same, made)
        batch.log.entries.append(EntryInBatch(sequence=place, move=move, placement=placement, others=others))
        batch.log.mark(rows, placement, sequence.times)
    start = batch.start[rows, AS_WRITTEN].copy()
    for log_state, p in first_states(placed).items():
        batch.start[rows, log_state] = p * start


def _replaced(sequence: CountSequence, batch: Batch) -> FloatArray:
    """p(x_t+1, a new cable): it fills most of the drum most often, evenly else: shape (intervals,)."""
    full_m, fuller = sequence.winding.below_m[-1], FIXED.new_is_fuller
    shares = FIXED.new_is_full / (1.0 - fuller), (1.0 - FIXED.new_is_full) / fuller
    new = np.where(sequence.read_m[1:] >= fuller * full_m, *shares)
    return cast(FloatArray, batch.theta.replaced_unlogged * batch.kernels.cell_m / full_m * new)


def _ending_odds(ending: Ending | None) -> float:
    if ending in (Ending.MISCOUNT, Ending.LATE_LOGGED_CUT):
        return FIXED.ending_against
    return FIXED.ending_for if ending is Ending.CONFIRMED_LOSS else 1.0


def _start(sequence: CountSequence, kernels: Kernels, theta: DriftParameters) -> FloatArray:
    """p(x_1), before the first count is looked at: anywhere, or near the length at receipt."""
    flat = kernels.cell_m / sequence.winding.below_m[-1]
    if sequence.start_m is None:
        return np.full(kernels.cells, flat)
    logged = sum(e.length_m for e in sequence.entries if e.interval < 0)
    sd = max(theta.received_sd_share * sequence.start_m, FIXED.least_received_sd_m)
    z = (sequence.window_m(0) - (sequence.start_m - logged)) / sd
    near = np.exp(-0.5 * z * z) * kernels.cell_m / (sd * np.sqrt(2.0 * np.pi))
    return cast(FloatArray, FIXED.received_trust * near + FIXED.anywhere * flat)


def growth_m(sequence: CountSequence, theta: DriftParameters) -> FloatArray:
    """Mean growth of new cable in each interval, metres: stretch_share of its length in all, dying away exponentially.

    Shape (intervals,).
    """
    if theta.stretch_share <= 0.0 or sequence.start_day is None:
        return np.zeros(sequence.times - 1)
    left = np.exp(-np.maximum(sequence.days - sequence.start_day, 0.0) / theta.stretch_days)
    return theta.stretch_share * float(sequence.read_m[0]) * (left[:-1] - left[1:])


def _add_stretch(batch: Batch, sequence: CountSequence, rows: slice) -> None:
    mean_m = growth_m(sequence, batch.theta)
    for t in np.flatnonzero(mean_m > FIXED.least_stretch_cells * batch.kernels.cell_m):
        batch.stretch_of[t, rows] = len(batch.stretch_ffts)
        batch.stretch_ffts.append(stretch_fft(float(mean_m[t]), batch.kernels))
