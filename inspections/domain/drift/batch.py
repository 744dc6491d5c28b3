"""Many chains side by side, laid out for the two passes, and the step from one count to the next.

A batch holds rows, one for each chain and looseness value, over cells of cable length. A row may be in one of three
lanes: the log is as written; a logged cut dated before a count is still owed; a logged cut dated after it was taken
already. Steps are convolutions along the cells, done by FFT over twice as many cells so that nothing comes round.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import cast

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, rfft

from inspections.domain.drift.kernels import Kernels, LogMove, kernels_for, moves_of, stretch_fft
from inspections.domain.drift.likelihood import count_likelihoods
from inspections.domain.drift.parameters import DriftParameters
from inspections.domain.drift.records import Ending
from inspections.domain.drift.sequence import CountSequence

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
ComplexArray = NDArray[np.complex128]

BATCH_CELLS = 1_200_000  # counts x looseness values x cells x lanes of one batch: some 100 MB at work
ENDING_ODDS = {Ending.MISCOUNT: 0.01, Ending.LATE_LOGGED_CUT: 0.01, Ending.CONFIRMED_LOSS: 100.0}


@dataclass(slots=True, kw_only=True, eq=False)
class Batch:
    """Rows side by side, longest first. Row arrays: shape (rows,); step arrays: (times, rows)."""

    sequences: list[CountSequence]
    kernels: Kernels
    theta: DriftParameters
    sequence_of_row: IntArray
    grid_point_of_row: IntArray
    lengths: IntArray
    likelihoods: FloatArray
    shift: IntArray
    p_cut: FloatArray
    p_cut_open: FloatArray
    start: FloatArray
    moves: list[LogMove]
    move_of: IntArray
    early: FloatArray
    late: FloatArray
    stretch_of: IntArray
    stretch_ffts: list[ComplexArray]
    ffts: dict[int, ComplexArray] = field(default_factory=dict)
    move_ffts: ComplexArray = field(default_factory=lambda: np.zeros((0, 0), dtype=np.complex128))

    @property
    def log_states(self) -> int:
        """3, or 1 where nothing is logged."""
        return int(self.start.shape[1])

    def ahead_fft(self, t: int, belief_fft: ComplexArray, n: int) -> ComplexArray:
        """Transforms of the beliefs at t + 1 if no unlogged cut was made in between: (n, lanes, frequencies)."""
        here = self.move_of[t + 1, :n]
        logged = here >= 0
        moved = belief_fft[:n].copy() if self.log_states == 1 else self._with_log(t, belief_fft[:n], here, logged, n)
        return self._stretched(t, moved, n)

    def _with_log(
        self, t: int, belief_fft: ComplexArray, here: IntArray, logged: NDArray[np.bool_], n: int
    ) -> ComplexArray:
        before, after = self.move_of[t, :n], self.move_of[t + 2, :n]
        early_next = self.early[t + 2, :n]
        out = np.zeros_like(belief_fft)
        own = belief_fft[:, 0].copy()
        rows = np.flatnonzero(logged)
        own[rows] *= np.conj(self.move_ffts[here[rows]])
        next_rows = np.flatnonzero(after >= 0)
        out[next_rows, 2] = own[next_rows] * (np.conj(self.move_ffts[after[next_rows]]) * early_next[next_rows, None])
        out[:, 0] = own
        out[rows, 0] *= (1.0 - self.late[t + 1, rows])[:, None]
        owed = np.flatnonzero(before >= 0)
        if owed.size:
            extra = belief_fft[owed, 1] * np.conj(self.move_ffts[before[owed]])
            both = np.flatnonzero(logged[owed])
            extra[both] *= np.conj(self.move_ffts[here[owed[both]]])
            out[owed, 0] += extra
        out[rows, 0] += belief_fft[rows, 2]
        out[rows, 1] = belief_fft[rows, 0] * self.late[t + 1, rows][:, None]
        out[:, :2] *= (1.0 - early_next)[:, None, None]
        return out

    def _stretched(self, t: int, moved: ComplexArray, n: int) -> ComplexArray:
        which = self.stretch_of[t, :n]
        for row in np.flatnonzero(which >= 0):
            moved[row] *= self.stretch_ffts[which[row]]
        return moved

    def backward_fft(self, t: int, message_fft: ComplexArray, n: int) -> ComplexArray:
        """The adjoint of ahead_hat."""
        which = self.stretch_of[t, :n]
        for row in np.flatnonzero(which >= 0):
            message_fft[row] *= np.conj(self.stretch_ffts[which[row]])
        if self.log_states == 1:
            return message_fft
        here, before, after = (self.move_of[t + k, :n] for k in (1, 0, 2))
        early_next = self.early[t + 2, :n]
        message_fft[:, :2] *= (1.0 - early_next)[:, None, None]
        out = np.zeros_like(message_fft)
        rows, owed, next_rows = (np.flatnonzero(x >= 0) for x in (here, before, after))
        late = self.late[t + 1, rows][:, None]
        out[:, 0] = message_fft[:, 0]
        out[rows, 0] *= 1.0 - late
        out[next_rows, 0] += message_fft[next_rows, 2] * (
            self.move_ffts[after[next_rows]] * early_next[next_rows, None]
        )
        out[rows, 0] *= self.move_ffts[here[rows]]
        out[rows, 0] += message_fft[rows, 1] * late
        out[rows, 2] = message_fft[rows, 0]
        if owed.size:
            extra = message_fft[owed, 0] * self.move_ffts[before[owed]]
            both = np.flatnonzero(here[owed] >= 0)
            extra[both] *= self.move_ffts[here[owed[both]]]
            out[owed, 1] = extra
        return out

    def transform(self, t: int, belief: FloatArray) -> ComplexArray:
        """Transforms of beliefs at t, (n, lanes, cells); the lanes that hold nothing are left at zero."""
        return self._log_states_fft(belief, self.move_of[t, : belief.shape[0]], self.move_of[t + 1, : belief.shape[0]])

    def _log_states_fft(self, values: FloatArray, owed: IntArray, taken: IntArray) -> ComplexArray:
        size = 2 * self.kernels.cells
        if self.log_states == 1:
            return cast(ComplexArray, rfft(values, size))
        fft = np.zeros((values.shape[0], 3, size // 2 + 1), dtype=np.complex128)
        fft[:, 0] = rfft(values[:, 0], size)
        for log_state, rows in ((1, np.flatnonzero(owed >= 0)), (2, np.flatnonzero(taken >= 0))):
            if rows.size:
                fft[rows, log_state] = rfft(values[rows, log_state], size)
        return fft

    def placed(self, t: int, message: FloatArray) -> ComplexArray:
        """Transforms of messages at t + 1, put where they belong in the windows of t."""
        n = message.shape[0]
        fft = self._log_states_fft(message, self.move_of[t + 1, :n], self.move_of[t + 2, :n])
        rows = np.flatnonzero(self.shift[t, :n])
        if rows.size:
            turn = np.outer(self.shift[t, rows], np.arange(fft.shape[2])) * (-np.pi / self.kernels.cells)
            fft[rows] *= np.exp(1j * turn)[:, None, :]
        return fft

    def windowed(self, t: int, moved: FloatArray) -> FloatArray:
        """Beliefs over twice the cells, cut down to the windows of t + 1; what fell below a window came round."""
        cells = self.kernels.cells
        out = np.maximum(moved[..., :cells], 0.0)
        for row in np.flatnonzero(self.shift[t, : moved.shape[0]]):
            shift = int(self.shift[t, row])
            out[row] = np.maximum(np.roll(moved[row], -shift, axis=-1)[..., :cells], 0.0)
            if shift > 0:
                out[row, ..., cells - shift :] = 0.0
        return out

    def unmoved(self, t: int, belief: FloatArray, still: ComplexArray) -> FloatArray:
        """Beliefs at t + 1 if nothing unlogged was cut, from those at t; later entries unknown: (n, cells)."""
        n, out = belief.shape[0], belief[:, 0].copy()
        special = (
            (self.stretch_of[t, :n] >= 0) | (self.shift[t, :n] != 0) | (self.move_of[t : t + 3, :n] >= 0).any(axis=0)
        )
        rows = np.flatnonzero(special)
        if rows.size:
            fft = still[rows, : min(2, self.log_states)].sum(axis=1)
            full = np.zeros((n, 2 * self.kernels.cells))
            full[rows] = irfft(fft, 2 * self.kernels.cells)
            out[rows] = self.windowed(t, full)[rows]
        return out

    def cut_factor(self, t: int, n: int) -> ComplexArray:
        """Transform of the move by an unlogged cut or none, for each row: (n, frequencies)."""
        q = self.p_cut[t, :n, None]
        return cast(ComplexArray, (1.0 - q) + q * np.conj(self.kernels.cut_fft))


def batches_of(sequences: Sequence[CountSequence], theta: DriftParameters) -> Iterator[tuple[list[int], Batch]]:
    """Chains grouped by cell length, number of cells and whether anything is logged, in bounded batches.

    Yields the places of the batch's chains in `chains`, and the batch.
    """
    groups: dict[tuple[float, int, bool, int], list[int]] = {}
    for place, sequence in enumerate(sequences):
        key = (sequence.cell_m, sequence.cells, bool(sequence.entries), sequence.grid_points.size)
        groups.setdefault(key, []).append(place)
    for (cell_m, cells, logged, _), group in sorted(groups.items()):
        kernels = kernels_for(cell_m, cells, theta)
        places = sorted(group, key=lambda p: -sequences[p].times)
        while places:
            each = sequences[places[0]].times * sequences[places[0]].grid_points.size * cells * (3 if logged else 1)
            some = max(1, int(BATCH_CELLS / each))
            chosen, places = places[:some], places[some:]
            yield chosen, make_batch([sequences[p] for p in chosen], kernels, theta, 3 if logged else 1)


def make_batch(sequences: list[CountSequence], kernels: Kernels, theta: DriftParameters, log_states: int) -> Batch:
    """Lay out chains of the same cells and as many looseness values, the longest first."""
    grid_points = sequences[0].grid_points.size
    rows, times, cells = len(sequences) * grid_points, sequences[0].times, kernels.cells
    likelihoods = np.ones((times, rows, 1, cells))
    shift = np.zeros((max(times - 1, 1), rows), dtype=np.int64)
    for place, sequence in enumerate(sequences):
        mine = slice(place * grid_points, (place + 1) * grid_points)
        shift[: sequence.times - 1, mine] = np.diff(sequence.offsets)[:, None]
        for a, b in sequence.pieces():
            likelihoods[a:b, mine, 0] = count_likelihoods(sequence, a, b, theta)
    p_cut, p_cut_open = np.zeros((2, max(times - 1, 1), rows))
    moves: list[LogMove] = []
    move_of = np.full((times + 1, rows), -1, dtype=np.int64)
    early, late = np.zeros((2, times + 1, rows))
    stretch_of = np.full((max(times - 1, 1), rows), -1, dtype=np.int64)
    stretch_ffts: list[ComplexArray] = []
    start = np.zeros((rows, log_states, cells))
    for place, sequence in enumerate(sequences):
        mine = slice(place * grid_points, (place + 1) * grid_points)
        steps = sequence.times - 1
        p_cut_open[:steps, mine], p_cut[:steps, mine] = (p[:, None] for p in _p_cut(sequence, theta))
        for move in moves_of(place, sequence, kernels, theta):
            at = move.interval + 1
            move_of[at, mine], early[at, mine], late[at, mine] = len(moves), move.early, move.late
            moves.append(move)
        _add_stretch(sequence, kernels, theta, stretch_of[:, mine], stretch_ffts)
        start[mine, 0] = _start(sequence, kernels, theta)
    if log_states == 3:
        start[:, 1] = start[:, 0] * late[0][:, None]
        start[:, 0] *= (1.0 - late[0])[:, None]
        first_after = move_of[1]
        taken = np.flatnonzero(first_after >= 0)
        start[taken, 2] = start[taken, 0] * early[1, taken][:, None]
        start[:, :2] *= (1.0 - early[1])[:, None, None]
    batch = Batch(
        sequences=sequences,
        kernels=kernels,
        theta=theta,
        sequence_of_row=np.repeat(np.arange(len(sequences)), grid_points),
        grid_point_of_row=np.tile(np.arange(grid_points), len(sequences)),
        likelihoods=likelihoods,
        shift=shift,
        lengths=np.repeat([c.times for c in sequences], grid_points),
        p_cut=p_cut,
        p_cut_open=p_cut_open,
        start=start,
        moves=moves,
        move_of=move_of,
        early=early,
        late=late,
        stretch_of=stretch_of,
        stretch_ffts=stretch_ffts,
    )
    if moves:
        batch.move_ffts = np.array([m.fft for m in moves])
    return batch


def _p_cut(sequence: CountSequence, theta: DriftParameters) -> tuple[FloatArray, FloatArray]:
    """Probability of an unlogged cut in each interval before the counts: by the rates, and with closed flags."""
    p = theta.p_cut(np.diff(sequence.days))
    odds = np.array([1.0 if e is None else ENDING_ODDS.get(e, 1.0) for e in sequence.endings])
    return p, p * odds / (1.0 - p + p * odds)


def _start(sequence: CountSequence, kernels: Kernels, theta: DriftParameters) -> FloatArray:
    """Belief about the cable at the first count, before that count: anywhere, or near the length at receipt."""
    flat = kernels.cell_m / sequence.winding.below_m[-1]
    if sequence.start_m is None:
        return np.full(kernels.cells, flat)
    here = sequence.window_m(0)
    logged = sum(e.length_m for e in sequence.entries if e.interval < 0)
    sd = max(theta.received_sd_share * sequence.start_m, 1.0)
    z = (here - (sequence.start_m - logged)) / sd
    near = np.exp(-0.5 * z * z) * kernels.cell_m / (sd * np.sqrt(2.0 * np.pi))
    return cast(FloatArray, 0.7 * near + 0.3 * flat)


def _add_stretch(
    sequence: CountSequence,
    kernels: Kernels,
    theta: DriftParameters,
    stretch_of: IntArray,
    ffts: list[ComplexArray],
) -> None:
    """Growth of new cable in each early interval: an exponential length of the expected mean."""
    if theta.stretch_share <= 0.0 or sequence.start_day is None:
        return
    age = np.maximum(sequence.days - sequence.start_day, 0.0)
    left = np.exp(-age / theta.stretch_days)
    mean_m = theta.stretch_share * float(sequence.read_m[0]) * (left[:-1] - left[1:])
    for t in np.flatnonzero(mean_m > 0.03 * kernels.cell_m):
        stretch_of[t] = len(ffts)
        ffts.append(stretch_fft(float(mean_m[t]), kernels))
