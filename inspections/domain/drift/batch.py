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

from inspections.domain.drift.chain import Chain
from inspections.domain.drift.kernels import Kernels, LogMove, kernels_for, moves_of, stretch_hat
from inspections.domain.drift.likelihood import likelihoods_of
from inspections.domain.drift.parameters import Rates
from inspections.domain.drift.records import Ending

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
ComplexArray = NDArray[np.complex128]

BATCH_CELLS = 1_200_000  # counts x looseness values x cells x lanes of one batch: some 100 MB at work
ENDING_ODDS = {Ending.MISCOUNT: 0.01, Ending.LATE_LOGGED_CUT: 0.01, Ending.CONFIRMED_LOSS: 100.0}


@dataclass(slots=True, kw_only=True, eq=False)
class Batch:
    """Rows side by side, longest first. Row arrays: shape (rows,); step arrays: (times, rows)."""

    chains: list[Chain]
    kernels: Kernels
    rates: Rates
    row_chain: IntArray
    row_node: IntArray
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
    stretch_hats: list[ComplexArray]
    hats: dict[int, ComplexArray] = field(default_factory=dict)
    move_hats: ComplexArray = field(default_factory=lambda: np.zeros((0, 0), dtype=np.complex128))

    @property
    def lanes(self) -> int:
        """3, or 1 where nothing is logged."""
        return int(self.start.shape[1])

    def ahead_hat(self, t: int, a_hat: ComplexArray, n: int) -> ComplexArray:
        """Transforms of the beliefs at t + 1 if no unlogged cut was made in between: (n, lanes, frequencies)."""
        here = self.move_of[t + 1, :n]
        logged = here >= 0
        moved = a_hat[:n].copy() if self.lanes == 1 else self._with_log(t, a_hat[:n], here, logged, n)
        return self._stretched(t, moved, n)

    def _with_log(self, t: int, a_hat: ComplexArray, here: IntArray, logged: NDArray[np.bool_], n: int) -> ComplexArray:
        before, after = self.move_of[t, :n], self.move_of[t + 2, :n]
        early_next = self.early[t + 2, :n]
        out = np.zeros_like(a_hat)
        own = a_hat[:, 0].copy()
        rows = np.flatnonzero(logged)
        own[rows] *= np.conj(self.move_hats[here[rows]])
        next_rows = np.flatnonzero(after >= 0)
        out[next_rows, 2] = own[next_rows] * (np.conj(self.move_hats[after[next_rows]]) * early_next[next_rows, None])
        out[:, 0] = own
        out[rows, 0] *= (1.0 - self.late[t + 1, rows])[:, None]
        owed = np.flatnonzero(before >= 0)
        if owed.size:
            extra = a_hat[owed, 1] * np.conj(self.move_hats[before[owed]])
            both = np.flatnonzero(logged[owed])
            extra[both] *= np.conj(self.move_hats[here[owed[both]]])
            out[owed, 0] += extra
        out[rows, 0] += a_hat[rows, 2]
        out[rows, 1] = a_hat[rows, 0] * self.late[t + 1, rows][:, None]
        out[:, :2] *= (1.0 - early_next)[:, None, None]
        return out

    def _stretched(self, t: int, moved: ComplexArray, n: int) -> ComplexArray:
        which = self.stretch_of[t, :n]
        for row in np.flatnonzero(which >= 0):
            moved[row] *= self.stretch_hats[which[row]]
        return moved

    def back_hat(self, t: int, b_hat: ComplexArray, n: int) -> ComplexArray:
        """The adjoint of ahead_hat."""
        which = self.stretch_of[t, :n]
        for row in np.flatnonzero(which >= 0):
            b_hat[row] *= np.conj(self.stretch_hats[which[row]])
        if self.lanes == 1:
            return b_hat
        here, before, after = (self.move_of[t + k, :n] for k in (1, 0, 2))
        early_next = self.early[t + 2, :n]
        b_hat[:, :2] *= (1.0 - early_next)[:, None, None]
        out = np.zeros_like(b_hat)
        rows, owed, next_rows = (np.flatnonzero(x >= 0) for x in (here, before, after))
        late = self.late[t + 1, rows][:, None]
        out[:, 0] = b_hat[:, 0]
        out[rows, 0] *= 1.0 - late
        out[next_rows, 0] += b_hat[next_rows, 2] * (self.move_hats[after[next_rows]] * early_next[next_rows, None])
        out[rows, 0] *= self.move_hats[here[rows]]
        out[rows, 0] += b_hat[rows, 1] * late
        out[rows, 2] = b_hat[rows, 0]
        if owed.size:
            extra = b_hat[owed, 0] * self.move_hats[before[owed]]
            both = np.flatnonzero(here[owed] >= 0)
            extra[both] *= self.move_hats[here[owed[both]]]
            out[owed, 1] = extra
        return out

    def transform(self, t: int, belief: FloatArray) -> ComplexArray:
        """Transforms of beliefs at t, (n, lanes, cells); the lanes that hold nothing are left at zero."""
        return self._lanes_hat(belief, self.move_of[t, : belief.shape[0]], self.move_of[t + 1, : belief.shape[0]])

    def _lanes_hat(self, values: FloatArray, owed: IntArray, taken: IntArray) -> ComplexArray:
        size = 2 * self.kernels.cells
        if self.lanes == 1:
            return cast(ComplexArray, rfft(values, size))
        hat = np.zeros((values.shape[0], 3, size // 2 + 1), dtype=np.complex128)
        hat[:, 0] = rfft(values[:, 0], size)
        for lane, rows in ((1, np.flatnonzero(owed >= 0)), (2, np.flatnonzero(taken >= 0))):
            if rows.size:
                hat[rows, lane] = rfft(values[rows, lane], size)
        return hat

    def placed(self, t: int, message: FloatArray) -> ComplexArray:
        """Transforms of messages at t + 1, put where they belong in the windows of t."""
        n = message.shape[0]
        hat = self._lanes_hat(message, self.move_of[t + 1, :n], self.move_of[t + 2, :n])
        rows = np.flatnonzero(self.shift[t, :n])
        if rows.size:
            turn = np.outer(self.shift[t, rows], np.arange(hat.shape[2])) * (-np.pi / self.kernels.cells)
            hat[rows] *= np.exp(1j * turn)[:, None, :]
        return hat

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
            hat = still[rows, : min(2, self.lanes)].sum(axis=1)
            full = np.zeros((n, 2 * self.kernels.cells))
            full[rows] = irfft(hat, 2 * self.kernels.cells)
            out[rows] = self.windowed(t, full)[rows]
        return out

    def cut_factor(self, t: int, n: int) -> ComplexArray:
        """Transform of the move by an unlogged cut or none, for each row: (n, frequencies)."""
        q = self.p_cut[t, :n, None]
        return cast(ComplexArray, (1.0 - q) + q * np.conj(self.kernels.cut_hat))


def batches_of(chains: Sequence[Chain], rates: Rates) -> Iterator[tuple[list[int], Batch]]:
    """Chains grouped by cell length, number of cells and whether anything is logged, in bounded batches.

    Yields the places of the batch's chains in `chains`, and the batch.
    """
    groups: dict[tuple[float, int, bool, int], list[int]] = {}
    for place, chain in enumerate(chains):
        key = (chain.cell_m, chain.cells, bool(chain.entries), chain.nodes.size)
        groups.setdefault(key, []).append(place)
    for (cell_m, cells, logged, _), group in sorted(groups.items()):
        kernels = kernels_for(cell_m, cells, rates)
        places = sorted(group, key=lambda p: -chains[p].times)
        while places:
            each = chains[places[0]].times * chains[places[0]].nodes.size * cells * (3 if logged else 1)
            some = max(1, int(BATCH_CELLS / each))
            chosen, places = places[:some], places[some:]
            yield chosen, make_batch([chains[p] for p in chosen], kernels, rates, 3 if logged else 1)


def make_batch(chains: list[Chain], kernels: Kernels, rates: Rates, lanes: int) -> Batch:
    """Lay out chains of the same cells and as many looseness values, the longest first."""
    nodes = chains[0].nodes.size
    rows, times, cells = len(chains) * nodes, chains[0].times, kernels.cells
    likelihoods = np.ones((times, rows, 1, cells))
    shift = np.zeros((max(times - 1, 1), rows), dtype=np.int64)
    for place, chain in enumerate(chains):
        mine = slice(place * nodes, (place + 1) * nodes)
        shift[: chain.times - 1, mine] = np.diff(chain.offsets)[:, None]
        for a, b in chain.pieces():
            likelihoods[a:b, mine, 0] = likelihoods_of(chain, a, b, rates)
    p_cut, p_cut_open = np.zeros((2, max(times - 1, 1), rows))
    moves: list[LogMove] = []
    move_of = np.full((times + 1, rows), -1, dtype=np.int64)
    early, late = np.zeros((2, times + 1, rows))
    stretch_of = np.full((max(times - 1, 1), rows), -1, dtype=np.int64)
    stretch_hats: list[ComplexArray] = []
    start = np.zeros((rows, lanes, cells))
    for place, chain in enumerate(chains):
        mine = slice(place * nodes, (place + 1) * nodes)
        steps = chain.times - 1
        p_cut_open[:steps, mine], p_cut[:steps, mine] = (p[:, None] for p in _p_cut(chain, rates))
        for move in moves_of(place, chain, kernels, rates):
            at = move.interval + 1
            move_of[at, mine], early[at, mine], late[at, mine] = len(moves), move.early, move.late
            moves.append(move)
        _add_stretch(chain, kernels, rates, stretch_of[:, mine], stretch_hats)
        start[mine, 0] = _start(chain, kernels, rates)
    if lanes == 3:
        start[:, 1] = start[:, 0] * late[0][:, None]
        start[:, 0] *= (1.0 - late[0])[:, None]
        first_after = move_of[1]
        taken = np.flatnonzero(first_after >= 0)
        start[taken, 2] = start[taken, 0] * early[1, taken][:, None]
        start[:, :2] *= (1.0 - early[1])[:, None, None]
    batch = Batch(
        chains=chains,
        kernels=kernels,
        rates=rates,
        row_chain=np.repeat(np.arange(len(chains)), nodes),
        row_node=np.tile(np.arange(nodes), len(chains)),
        likelihoods=likelihoods,
        shift=shift,
        lengths=np.repeat([c.times for c in chains], nodes),
        p_cut=p_cut,
        p_cut_open=p_cut_open,
        start=start,
        moves=moves,
        move_of=move_of,
        early=early,
        late=late,
        stretch_of=stretch_of,
        stretch_hats=stretch_hats,
    )
    if moves:
        batch.move_hats = np.array([m.hat for m in moves])
    return batch


def _p_cut(chain: Chain, rates: Rates) -> tuple[FloatArray, FloatArray]:
    """Probability of an unlogged cut in each interval before the counts: by the rates, and with closed flags."""
    p = rates.p_cut(np.diff(chain.days))
    odds = np.array([1.0 if e is None else ENDING_ODDS.get(e, 1.0) for e in chain.endings])
    return p, p * odds / (1.0 - p + p * odds)


def _start(chain: Chain, kernels: Kernels, rates: Rates) -> FloatArray:
    """Belief about the cable at the first count, before that count: anywhere, or near the length at receipt."""
    flat = kernels.cell_m / chain.winding.below_m[-1]
    if chain.start_m is None:
        return np.full(kernels.cells, flat)
    here = chain.window_m(0)
    logged = sum(e.length_m for e in chain.entries if e.interval < 0)
    sd = max(rates.received_sd_share * chain.start_m, 1.0)
    z = (here - (chain.start_m - logged)) / sd
    near = np.exp(-0.5 * z * z) * kernels.cell_m / (sd * np.sqrt(2.0 * np.pi))
    return cast(FloatArray, 0.7 * near + 0.3 * flat)


def _add_stretch(chain: Chain, kernels: Kernels, rates: Rates, stretch_of: IntArray, hats: list[ComplexArray]) -> None:
    """Growth of new cable in each early interval: an exponential length of the expected mean."""
    if rates.stretch_share <= 0.0 or chain.start_day is None:
        return
    age = np.maximum(chain.days - chain.start_day, 0.0)
    left = np.exp(-age / rates.stretch_days)
    mean_m = rates.stretch_share * float(chain.read_m[0]) * (left[:-1] - left[1:])
    for t in np.flatnonzero(mean_m > 0.03 * kernels.cell_m):
        stretch_of[t] = len(hats)
        hats.append(stretch_hat(float(mean_m[t]), kernels))
