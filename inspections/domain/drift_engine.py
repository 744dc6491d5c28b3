"""Many chains at once through the forward and backward pass, and what can be read off afterwards.

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
from scipy.special import ndtr

from inspections.domain.drift_chain import Chain, Entry, nearby, reading_chances
from inspections.domain.drift_rates import Rates
from inspections.domain.drift_records import SLIPS, Ending, Slip
from inspections.domain.hidden_chain import backward, forward

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
ComplexArray = NDArray[np.complex128]

BATCH_CELLS = 600_000  # counts x looseness values x cells x lanes of one batch: some 60 MB at work
WRONG_LOG_SD = 0.7
ENDING_ODDS = {Ending.MISCOUNT: 0.02, Ending.LATE_LOGGED_CUT: 0.02, Ending.CONFIRMED_LOSS: 100.0}
NEAR_DAYS = 15.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kernels:
    """Moves in cells, for one cell length and number of cells: the unlogged cut, and its transform."""

    cell_m: float
    cells: int
    cut: FloatArray
    cut_hat: ComplexArray

    def transform(self, kernel: FloatArray) -> ComplexArray:
        return cast(ComplexArray, rfft(kernel, 2 * self.cells))


def kernels_for(cell_m: float, cells: int, rates: Rates) -> Kernels:
    edges = cell_m * (np.arange(cells + 1) - 0.5)
    cut = rates.sizes_within(edges)
    return Kernels(cell_m=cell_m, cells=cells, cut=cut, cut_hat=rfft(cut, 2 * cells))


def _ramp(u: FloatArray, sd: float) -> FloatArray:
    z = u / sd
    return sd * (z * ndtr(z) + np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi))


def _spread_about(length_m: float, sd_m: float, kernels: Kernels) -> FloatArray:
    """A normal length shared linearly between the cells on either side, which keeps its mean."""
    ramp = _ramp(kernels.cell_m * np.arange(-1, kernels.cells + 1) - length_m, sd_m)
    return np.maximum(np.diff(ramp, 2) / kernels.cell_m, 0.0)


def _wrong_length(length_m: float, kernels: Kernels) -> FloatArray:
    edges = np.log(np.maximum(kernels.cell_m * (np.arange(kernels.cells + 1) - 0.5), 1e-6))
    about = np.diff(ndtr((edges - np.log(max(length_m, 0.05))) / WRONG_LOG_SD))
    return 0.5 * about + 0.5 * kernels.cut


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LogMove:
    """What the log entries of one interval do: as written, without a cut, with a wrong length; and all in all."""

    row_chain: int
    interval: int
    entries: tuple[Entry, ...]
    as_written: FloatArray
    void: float
    wrong: FloatArray
    hat: ComplexArray
    early: float
    late: float


def _log_move(place: int, chain: Chain, interval: int, entries: tuple[Entry, ...], kernels: Kernels,
              rates: Rates) -> LogMove:
    hats, single = [], (np.zeros(kernels.cells), 0.0, np.zeros(kernels.cells))
    for entry in entries:
        sd = float(np.hypot(rates.logged_sd_m, rates.logged_sd_share * entry.length_m))
        void = rates.twin_void if entry.twin else rates.entry_void
        wrong = (1.0 - void) * rates.entry_wrong
        written = (1.0 - void - wrong) * _spread_about(entry.length_m, max(sd, 0.02), kernels)
        off = wrong * _wrong_length(entry.length_m, kernels)
        whole = written + off
        whole[0] += void
        single = (written, void, off)
        hats.append(kernels.transform(whole))
    hat = hats[0]
    for other in hats[1:]:
        hat = kernels.transform(np.maximum(irfft(hat * other, 2 * kernels.cells)[: kernels.cells], 0.0))
    early, late = _misdated(chain, interval, entries, rates)
    return LogMove(row_chain=place, interval=interval, entries=entries, as_written=single[0], void=single[1],
                   wrong=single[2], hat=hat, early=early, late=late)


def _misdated(chain: Chain, interval: int, entries: tuple[Entry, ...], rates: Rates) -> tuple[float, float]:
    """Probability that the cut was made before the interval, and after it: the nearer a count, the likelier."""
    days, at = chain.days, np.mean([e.at_day for e in entries])
    has_before, has_after = interval >= 0, interval + 1 < days.size
    length = days[interval + 1] - days[interval] if has_before and has_after else 60.0
    near = min(NEAR_DAYS, max(0.2 * length, 1.0))

    def share(gap: float) -> float:
        nearness = 0.1 + 0.9 * np.exp(-gap / near)
        return float(min(max(rates.entry_misdated * nearness, 0.2 if gap <= 0.0 else 0.0), 0.5))

    early = share(at - days[interval]) if has_before else 0.0
    late = share(days[interval + 1] - at) if has_after else 0.0
    return early, late


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
        return int(self.start.shape[1])

    def ahead_hat(self, t: int, a_hat: ComplexArray, n: int) -> ComplexArray:
        """Transforms of the beliefs at t + 1 if no unlogged cut was made in between: (n, lanes, frequencies)."""
        here = self.move_of[t + 1, :n]
        logged = here >= 0
        if self.lanes == 1:
            moved = a_hat[:n].copy()
        else:
            moved = self._with_log(t, a_hat[:n], here, logged, n)
        return self._stretched(t, moved, n)

    def _with_log(self, t: int, a_hat: ComplexArray, here: IntArray, logged: NDArray[np.bool_],
                  n: int) -> ComplexArray:
        before, after = self.move_of[t, :n], self.move_of[t + 2, :n]
        early_next = self.early[t + 2, :n]
        out = np.zeros_like(a_hat)
        own = a_hat[:, 0].copy()
        rows = np.flatnonzero(logged)
        own[rows] *= np.conj(self.move_hats[here[rows]])
        next_rows = np.flatnonzero(after >= 0)
        out[next_rows, 2] = own[next_rows] * (np.conj(self.move_hats[after[next_rows]])
                                              * early_next[next_rows, None])
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
                out[row, ..., cells - shift:] = 0.0
        return out

    def unmoved(self, t: int, belief: FloatArray, still: ComplexArray) -> FloatArray:
        """Beliefs at t + 1 if nothing unlogged was cut, from those at t; later entries unknown: (n, cells)."""
        n, out = belief.shape[0], belief[:, 0].copy()
        special = (self.stretch_of[t, :n] >= 0) | (self.shift[t, :n] != 0) | (self.move_of[t: t + 3, :n] >= 0).any(axis=0)
        rows = np.flatnonzero(special)
        if rows.size:
            hat = still[rows, : min(2, self.lanes)].sum(axis=1)
            full = np.zeros((n, 2 * self.kernels.cells))
            full[rows] = irfft(hat, 2 * self.kernels.cells)
            out[rows] = self.windowed(t, full)[rows]
        return out

    def cut_factor(self, t: int, n: int) -> ComplexArray:
        q = self.p_cut[t, :n, None]
        return cast(ComplexArray, (1.0 - q) + q * np.conj(self.kernels.cut_hat))


def _backwards(batch: Batch, t: int, b_hat: ComplexArray, n: int) -> ComplexArray:
    """The adjoint of ahead_hat."""
    which = batch.stretch_of[t, :n]
    for row in np.flatnonzero(which >= 0):
        b_hat[row] *= np.conj(batch.stretch_hats[which[row]])
    if batch.lanes == 1:
        return b_hat
    here, before, after = (batch.move_of[t + k, :n] for k in (1, 0, 2))
    early_next = batch.early[t + 2, :n]
    b_hat[:, :2] *= (1.0 - early_next)[:, None, None]
    out = np.zeros_like(b_hat)
    rows, owed, next_rows = (np.flatnonzero(x >= 0) for x in (here, before, after))
    late = batch.late[t + 1, rows][:, None]
    out[:, 0] = b_hat[:, 0]
    out[rows, 0] *= 1.0 - late
    out[next_rows, 0] += b_hat[next_rows, 2] * (batch.move_hats[after[next_rows]] * early_next[next_rows, None])
    out[rows, 0] *= batch.move_hats[here[rows]]
    out[rows, 0] += b_hat[rows, 1] * late
    out[rows, 2] = b_hat[rows, 0]
    if owed.size:
        extra = b_hat[owed, 0] * batch.move_hats[before[owed]]
        both = np.flatnonzero(here[owed] >= 0)
        extra[both] *= batch.move_hats[here[owed[both]]]
        out[owed, 1] = extra
    return out


def batches_of(chains: Sequence[Chain], rates: Rates) -> Iterator[tuple[list[int], Batch]]:
    """Chains grouped by cell length, number of cells and whether anything is logged, in bounded batches.

    Yields the places of the batch's chains in `chains`, and the batch.
    """
    groups: dict[tuple[float, int, bool, int], list[int]] = {}
    for place, chain in enumerate(chains):
        key = (chain.cell_m, chain.cells, bool(chain.entries), chain.nodes.size)
        groups.setdefault(key, []).append(place)
    for (cell_m, cells, logged, _), places in sorted(groups.items()):
        kernels = kernels_for(cell_m, cells, rates)
        places.sort(key=lambda p: -chains[p].times)
        while places:
            each = chains[places[0]].times * chains[places[0]].nodes.size * cells * (3 if logged else 1)
            some = max(1, int(BATCH_CELLS / each))
            chosen, places = places[:some], places[some:]
            yield chosen, make_batch([chains[p] for p in chosen], kernels, rates, 3 if logged else 1)


def make_batch(chains: list[Chain], kernels: Kernels, rates: Rates, lanes: int) -> Batch:
    nodes = chains[0].nodes.size
    rows, times, cells = len(chains) * nodes, chains[0].times, kernels.cells
    likelihoods = np.ones((times, rows, 1, cells))
    shift = np.zeros((max(times - 1, 1), rows), dtype=np.int64)
    for place, chain in enumerate(chains):
        mine = slice(place * nodes, (place + 1) * nodes)
        shift[: chain.times - 1, mine] = np.diff(chain.offsets)[:, None]
        for a, b in chain.pieces():
            likelihoods[a:b, mine, 0] = _likelihoods(chain, a, b, rates)
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
        for move in _moves(place, chain, kernels, rates):
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
    batch = Batch(chains=chains, kernels=kernels, rates=rates, row_chain=np.repeat(np.arange(len(chains)), nodes),
                  row_node=np.tile(np.arange(nodes), len(chains)), likelihoods=likelihoods, shift=shift,
                  lengths=np.repeat([c.times for c in chains], nodes), p_cut=p_cut, p_cut_open=p_cut_open,
                  start=start, moves=moves, move_of=move_of, early=early, late=late, stretch_of=stretch_of,
                  stretch_hats=stretch_hats)
    if moves:
        batch.move_hats = np.array([m.hat for m in moves])
    return batch


def _ways(chain: Chain, a: int, b: int) -> tuple[slice, FloatArray, IntArray]:
    """The hypotheses of counts a to b: where they are, the turns that they stem from, which of these each does."""
    mine = slice(*np.searchsorted(chain.hypothesis_time, [a, b]))
    turns, place = np.unique(chain.hypothesis_turns[mine], return_inverse=True)
    return mine, turns, place


def _likelihoods(chain: Chain, a: int, b: int, rates: Rates) -> FloatArray:
    """Probability of each count a to b, which share a window, at each cell: shape (b - a, nodes, cells)."""
    shares, at_turns = np.array(rates.slip_shares), chain.window_turns(a)
    mine, turns, place = _ways(chain, a, b)
    weights = np.zeros((b - a, turns.size))
    np.add.at(weights, (chain.hypothesis_time[mine] - a, place),
              chain.hypothesis_weight[mine] * shares[chain.hypothesis_slip[mine]])
    shared = (shares[SLIPS.index(Slip.NEARBY)] * nearby(chain.read_turns[a:b], at_turns)
              + _flat(chain, shares)[a:b, None])
    return np.moveaxis(weights @ reading_chances(chain, turns, at_turns, rates), 0, 1) + shared[:, None, :]


def _flat(chain: Chain, shares: FloatArray) -> FloatArray:
    """The part of each count's probability that is the same at every cell: copied, or anything at all."""
    anything = shares[SLIPS.index(Slip.ANYTHING)] / (chain.winding.below_turns[-1] + 1.0)
    return cast(FloatArray, shares[SLIPS.index(Slip.COPIED)] * chain.copied + anything)


def _p_cut(chain: Chain, rates: Rates) -> tuple[FloatArray, FloatArray]:
    """Probability of an unlogged cut in each interval before the counts: by the rates, and with closed flags."""
    p = rates.p_cut(np.diff(chain.days))
    odds = np.array([1.0 if e is None else ENDING_ODDS.get(e, 1.0) for e in chain.endings])
    return p, p * odds / (1.0 - p + p * odds)


def _moves(place: int, chain: Chain, kernels: Kernels, rates: Rates) -> Iterator[LogMove]:
    by_interval: dict[int, list[Entry]] = {}
    for entry in chain.entries:
        by_interval.setdefault(entry.interval, []).append(entry)
    for interval, entries in sorted(by_interval.items()):
        yield _log_move(place, chain, interval, tuple(entries), kernels, rates)


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


def _add_stretch(chain: Chain, kernels: Kernels, rates: Rates, stretch_of: IntArray,
                 hats: list[ComplexArray]) -> None:
    """Growth of new cable in each early interval: an exponential length of the expected mean."""
    if rates.stretch_share <= 0.0 or chain.start_day is None:
        return
    age = np.maximum(chain.days - chain.start_day, 0.0)
    left = np.exp(-age / rates.stretch_days)
    mean_m = rates.stretch_share * float(chain.read_m[0]) * (left[:-1] - left[1:])
    for t in np.flatnonzero(mean_m > 0.03 * kernels.cell_m):
        stretch_of[t] = len(hats)
        hats.append(stretch_hat(float(mean_m[t]), kernels))


def stretch_hat(mean_m: float, kernels: Kernels) -> ComplexArray:
    """Transform of a growth of about this mean, half as uncertain as it is long, shared between cells."""
    kernel = _spread_about(mean_m, max(0.5 * mean_m, 0.02), kernels)
    kernel[0] += max(0.0, 1.0 - kernel.sum())
    return kernels.transform(kernel)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Run:
    """The two passes over a batch. before, after, messages: (times, rows, lanes, cells); log_evidence: (times, rows).

    p_when_counted: (times - 1, rows), the newest interval's probability at its later count.
    """

    batch: Batch
    before: FloatArray
    after: FloatArray
    messages: FloatArray
    log_evidence: FloatArray
    p_when_counted: FloatArray


def run(batch: Batch, smooth: bool = True) -> Run:
    """Forward, and backward unless only the newest interval is asked for."""
    cells, size = batch.kernels.cells, 2 * batch.kernels.cells
    newest = np.zeros(batch.p_cut.shape)

    def ahead(t: int, belief: FloatArray) -> FloatArray:
        n = belief.shape[0]
        still = batch.ahead_hat(t, batch.transform(t, belief), n)
        moved = batch.windowed(t, irfft(still * batch.cut_factor(t, n)[:, None, :], size))
        newest[t, :n] = _newest(batch, t, batch.unmoved(t, belief, still), moved)
        return moved

    def back(t: int, message: FloatArray) -> FloatArray:
        n = message.shape[0]
        hat = batch.placed(t, message) * np.conj(batch.cut_factor(t, n))[:, None, :]
        return cast(FloatArray, np.maximum(irfft(_backwards(batch, t, hat, n), size)[..., :cells], 0.0))

    filtered = forward(batch.start, batch.likelihoods, ahead, batch.lengths)
    if smooth:
        messages = backward(batch.likelihoods, back, batch.lengths, (batch.lanes, cells))
    else:
        messages = np.ones_like(filtered.after)
    return Run(batch=batch, before=filtered.before, after=filtered.after, messages=messages,
               log_evidence=filtered.log_evidence, p_when_counted=newest)


def _newest(batch: Batch, t: int, unmoved: FloatArray, moved: FloatArray) -> FloatArray:
    """Probability of an unlogged cut in t to t + 1 at the count of t + 1; entries dated later aren't known yet."""
    n = moved.shape[0]
    likelihood = batch.likelihoods[t + 1, :n, 0]
    q, q_open = batch.p_cut[t, :n], batch.p_cut_open[t, :n]
    no_cut = np.einsum("nc,nc->n", unmoved, likelihood)
    either = np.einsum("nlc,nc->n", moved[:, : min(2, batch.lanes)], likelihood)
    cut = np.maximum(either - (1.0 - q) * no_cut, 0.0) / q
    return cast(FloatArray, q_open * cut / (q_open * cut + (1.0 - q_open) * no_cut + 1e-300))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reading:
    """What a run says, row by row; steps and rows list the intervals, shape (pairs,).

    p_cut: (pairs,). sizes: (pairs, cells), distribution of the cut's length in cells given a cut.
    """

    steps: IntArray
    rows: IntArray
    p_cut: FloatArray
    sizes: FloatArray


def read_intervals(result: Run) -> Reading:
    """Probability and length of an unlogged cut in every interval of every row, given all counts."""
    batch = result.batch
    cells, size = batch.kernels.cells, 2 * batch.kernels.cells
    steps, rows, overlaps = [], [], []
    for t in range(batch.likelihoods.shape[0] - 1):
        n = int(np.count_nonzero(batch.lengths > t + 1))
        still = batch.ahead_hat(t, batch.transform(t, result.after[t, :n]), n)
        later = batch.placed(t, result.messages[t + 1, :n] * batch.likelihoods[t + 1, :n])
        together = (still * np.conj(later)).sum(axis=1)
        overlaps.append(np.maximum(irfft(together, size)[:, :cells], 0.0))
        steps.append(np.full(n, t))
        rows.append(np.arange(n))
    if not steps:
        empty = np.zeros(0, dtype=np.int64)
        return Reading(steps=empty, rows=empty, p_cut=np.zeros(0), sizes=np.zeros((0, cells)))
    step, row, overlap = np.concatenate(steps), np.concatenate(rows), np.concatenate(overlaps)
    q = batch.p_cut[step, row]
    sizes = batch.kernels.cut * overlap + 1e-300
    cut = q * sizes.sum(axis=1)
    return Reading(steps=step, rows=row, p_cut=cut / (cut + (1.0 - q) * overlap[:, 0]),
                   sizes=sizes / sizes.sum(axis=1, keepdims=True))


def slip_beliefs(result: Run) -> FloatArray:
    """Probability of each slip at each count: shape (times, rows, slips)."""
    batch = result.batch
    shares = np.array(batch.rates.slip_shares)
    believed = (result.before * result.messages).sum(axis=2)
    scale = np.einsum("trc,trc->tr", believed, batch.likelihoods[:, :, 0]) + 1e-300
    out = np.zeros((*scale.shape, len(SLIPS)))
    nodes = batch.chains[0].nodes.size
    for place, chain in enumerate(batch.chains):
        mine = slice(place * nodes, (place + 1) * nodes)
        for a, b in chain.pieces():
            out[a:b, mine] = _slips(chain, a, b, believed[a:b, mine], batch.rates)
    return out / scale[:, :, None]


def _slips(chain: Chain, a: int, b: int, believed: FloatArray, rates: Rates) -> FloatArray:
    """Unscaled probability of each slip at counts a to b: (b - a, nodes, slips). believed: (b - a, nodes, cells)."""
    shares, at_turns = np.array(rates.slip_shares), chain.window_turns(a)
    ways, turns, true = _ways(chain, a, b)
    time, slip = chain.hypothesis_time[ways] - a, chain.hypothesis_slip[ways]
    fit = reading_chances(chain, turns, at_turns, rates)
    met = np.matmul(np.moveaxis(believed, 1, 0), np.moveaxis(fit, 1, 2))
    out = np.zeros((len(SLIPS), b - a, fit.shape[0]))
    part = met[:, time, true].T * (chain.hypothesis_weight[ways] * shares[slip])[:, None]
    np.add.at(out, (slip, time), part)
    total = believed.sum(axis=2)
    near = nearby(chain.read_turns[a:b], at_turns)
    anything = shares[SLIPS.index(Slip.ANYTHING)] / (chain.winding.below_turns[-1] + 1.0)
    out[SLIPS.index(Slip.NEARBY)] = shares[SLIPS.index(Slip.NEARBY)] * np.einsum("tnc,tc->tn", believed, near)
    out[SLIPS.index(Slip.COPIED)] = shares[SLIPS.index(Slip.COPIED)] * chain.copied[a:b, None] * total
    out[SLIPS.index(Slip.ANYTHING)] = anything * total
    return np.moveaxis(out, 0, 2)


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
            found.append(LogBelief(move=number, row=mine.start + k, early=float(early[k]), late=float(late[k]),
                                   void=float(stay[k] * void[k]), wrong=float(stay[k] * wrong[k]),
                                   error_m2=float(error[k])))
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
