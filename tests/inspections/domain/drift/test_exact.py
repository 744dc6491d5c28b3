"""The passes against the same model written out: every state, every move and every log state as a matrix.

The inference works on transforms, a batch at a time. Here one sequence is worked out as the textbook has it (Rabiner
1989), with matrices of all states: slowly, and with none of the code's own steps but the kernels, which have their own
tests.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pytest

from inspections.domain.drift import ClosedFlag, Ending, ReelHistory
from inspections.domain.drift.batch import Batch, make_batch
from inspections.domain.drift.kernels import EntryMove, kernels_for, moves_of
from inspections.domain.drift.likelihood import reading_pmf
from inspections.domain.drift.log_states import AS_WRITTEN, Placement, placements
from inspections.domain.drift.parameters import DEFAULT_PARAMETERS, LOOSENESS_GRID_WRAPS, DriftParameters
from inspections.domain.drift.posteriors import (
    log_entry_posteriors,
    ordinary_posteriors,
    residuals,
    slip_posteriors,
)
from inspections.domain.drift.sequence import CountSequence, sequences_of
from inspections.domain.drift.smoother import ForwardBackward, cut_posteriors, forward_backward
from reels.domain.uncertainty import FloatArray
from tests.inspections.domain.drift.small_reels import LOWER, STEADY, counted, cut, day

NEAR = 1e-6  # transforms leave rounding of 1e-16 of the largest value, which counts that fit little make larger
RATES = replace(DEFAULT_PARAMETERS, entry_misdated=0.1, entry_void=0.05, entry_wrong=0.05, replaced_unlogged=0.01)
FLAG = ClosedFlag(from_at=day(150), to_at=day(180), ending=Ending.CONFIRMED_LOSS)
LOOSE = tuple(float(place == 14) for place in range(LOOSENESS_GRID_WRAPS.size))  # wide cells, so that they are few
FALLING = [divmod(12 * 28 - 11 * n, 28) for n in range(18)]
HISTORIES: dict[str, ReelHistory] = {
    "steady": counted(STEADY),
    "lower": counted(STEADY + LOWER),
    "a closed flag": counted(STEADY + LOWER, closed_flags=(FLAG,)),
    "received": counted(STEADY, received_at=day(-40), received_m=480.0),
    "received before a cut": counted(STEADY, received_at=day(-40), received_m=483.0, cuts=(cut(-20, 3.0),)),
    "one entry": counted(STEADY + LOWER, cuts=(cut(165, 11.6),)),
    "entries side by side": counted(STEADY + LOWER, cuts=(cut(149, 4.0), cut(151, 6.0), cut(182, 2.0))),
    "a cut entered twice": counted(STEADY + LOWER, cuts=(cut(164, 11.6), cut(165, 11.6), cut(179, 1.0))),
    "entries before and after": counted(STEADY, cuts=(cut(-2, 3.0), cut(2, 2.0), cut(149, 2.0), cut(151, 5.0))),
    "two entries of one interval": counted(STEADY + LOWER, cuts=(cut(160, 6.0), cut(165, 5.6), cut(200, 1.0))),
    "another cable": counted(STEADY + [(15, 3)] * 3),
    "windows that move": counted(FALLING),
    "windows that move by the log": counted(FALLING, cuts=tuple(cut(30 * n + 14, 20.0) for n in range(17))),
}


@dataclass(frozen=True, eq=False)
class WrittenOut:
    """One row of a batch, as matrices over log states and places, twice as many as cells: the window is the upper half.

    What falls below a window stays in the lower half, until it is seen whether it lies in the next window.
    """

    sequence: CountSequence
    batch: Batch
    row: int
    moves: list[EntryMove]
    placed: list[Placement]

    @property
    def cells(self) -> int:
        return self.sequence.cells

    def down(self, kernel: FloatArray) -> FloatArray:
        """The move by a kernel: from each place to each place below it."""
        size = 2 * self.cells
        fall = np.arange(size)[None, :] - np.arange(size)[:, None]
        return np.where((fall >= 0) & (fall < self.cells), kernel[np.clip(fall, 0, self.cells - 1)], 0.0)

    def made(self, entries: set[int]) -> FloatArray:
        """The cuts of these entries, one after the other."""
        out = np.eye(2 * self.cells)
        for e in sorted(entries):
            out = self.down(self.moves[e].whole) @ out
        return out

    @property
    def log_states(self) -> int:
        return self.batch.log_states

    def is_out(self, e: int, j: int, t: int) -> bool:
        """Whether an entry whose cut was made in interval j is out of place at count t."""
        home = self.placed[e].home
        return self.placed[e].slot > 0 and (j < t <= home or home < t <= j)

    def p_made(self, e: int, fits: Callable[[int], bool]) -> float:
        one = self.placed[e]
        return sum(one.at(j) for j in range(one.first, one.last + 1) if fits(j))

    def goes_out(self, e: int, t: int) -> float:
        """Probability that an entry that is in place at count t, and was before, is out of place at the next one."""
        now = self.p_made(e, lambda j: self.is_out(e, j, t + 1) and not self.is_out(e, j, t))
        still = self.p_made(e, lambda j: j >= t or self.placed[e].slot == 0)
        return now / still if now else 0.0

    def start(self) -> FloatArray:
        """By log state and cell, before the first count: shape (log states, cells)."""
        anywhere = self.sequence.cell_m / self.sequence.winding.below_m[-1]
        place = np.full(self.cells, anywhere)
        if self.sequence.start_m is not None:
            length = self.sequence.start_m - sum(e.length_m for e in self.sequence.entries if e.interval < 0)
            sd = max(0.02 * self.sequence.start_m, 1.0)
            z = (self.sequence.window_m(0) - length) / sd
            density = np.exp(-0.5 * z**2) / (sd * np.sqrt(2 * np.pi))
            place = 0.7 * density * self.sequence.cell_m + 0.3 * anywhere
        out = np.zeros((self.log_states, self.cells))
        out[AS_WRITTEN] = place
        for e, one in enumerate(self.placed):
            p = self.p_made(e, lambda j, e=e: self.is_out(e, j, 0))  # type: ignore[misc]
            if p:
                out[one.slot] = p * place
                out[AS_WRITTEN] -= p * place
        return out

    def log_step(self, t: int) -> FloatArray:
        """What the log does in interval t: (log state to, place to, log state from, place from)."""
        size = 2 * self.cells
        out = np.zeros((self.log_states, size, self.log_states, size))
        due = {e for e, one in enumerate(self.placed) if one.home == t}
        out[AS_WRITTEN, :, AS_WRITTEN] = self.made(due) * (
            1 - sum(self.goes_out(e, t) for e in range(len(self.placed)))
        )
        for e, one in enumerate(self.placed):
            made = due - {e} if e in due else due | {e}
            if self.goes_out(e, t):
                out[one.slot, :, AS_WRITTEN] = self.made(made) * self.goes_out(e, t)
            out_now = self.p_made(e, lambda j, e=e: self.is_out(e, j, t))  # type: ignore[misc]
            if not out_now:
                continue
            out_then = self.p_made(e, lambda j, e=e: self.is_out(e, j, t) and self.is_out(e, j, t + 1))  # type: ignore[misc]
            if one.home >= t:  # made already
                target = one.slot if out_then else AS_WRITTEN
                out[target, :, one.slot] = self.made(due - {e})
                continue
            out[one.slot, :, one.slot] = self.made(due) * out_then / out_now
            out[AS_WRITTEN, :, one.slot] = self.made(due | {e}) * (1 - out_then / out_now)
        return np.asarray(out[:, :, :, self.cells :])

    def dated(self, t: int) -> FloatArray:
        """1 for log states that may hold at count t by what is dated before it."""
        out = np.ones(self.log_states)
        for one in self.placed:
            if one.slot and one.first < t <= one.home:
                out[one.slot] = 0.0
        return out

    def cut_to_window(self, t: int) -> FloatArray:
        """From the places about window t to the cells of window t + 1."""
        shift = int(self.sequence.offsets[t + 1] - self.sequence.offsets[t])
        out = np.zeros((self.cells, 2 * self.cells))
        for cell in range(self.cells):
            if 0 <= cell + self.cells + shift < 2 * self.cells:
                out[cell, cell + self.cells + shift] = 1.0
        return out

    def q(self, t: int, *, open_flags: bool = False) -> float:
        days = np.diff(self.sequence.days)[t : t + 1]
        p = float(self.batch.theta.p_cut(days)[0])
        ending = None if open_flags else self.sequence.endings[t]
        odds = {Ending.CONFIRMED_LOSS: 100.0, None: 1.0}[ending]
        return p * odds / (1 - p + p * odds)

    def step(self, t: int, unlogged: FloatArray) -> FloatArray:
        """(log state to, cell to, log state from, cell from); unlogged: what an unlogged cut or none does to places."""
        moves = (1 - self.batch.theta.replaced_unlogged) * self.cut_to_window(t) @ unlogged
        out = np.asarray(np.einsum("cq,lqmd->lcmd", moves, self.log_step(t), optimize=True))
        out[AS_WRITTEN] += self.new_cable(t)
        return out

    def new_cable(self, t: int) -> float:
        """Probability of each cell after a replacement that nobody logged: nine in ten fill half of the drum."""
        full_m = float(self.sequence.winding.below_m[-1])
        times_even = 1.8 if self.sequence.read_m[t + 1] >= full_m / 2 else 0.2
        return self.batch.theta.replaced_unlogged * self.sequence.cell_m / full_m * times_even

    def unlogged(self, t: int) -> FloatArray:
        return (1 - self.q(t)) * np.eye(2 * self.cells) + self.q(t) * self.down(self.batch.kernels.cut)

    @cached_property
    def passes(self) -> tuple[list[FloatArray], list[FloatArray], list[FloatArray], float]:
        """Predicted, filtered and backward by count, each (log states, cells); and the log evidence."""
        likelihood = self.batch.likelihoods[:, self.row, 0]
        times = self.sequence.times
        steps = [self.step(t, self.unlogged(t)) for t in range(times - 1)]
        predicted, filtered, evidence = [self.start()], [], 0.0
        for t in range(times):
            joint = predicted[t] * likelihood[t]
            evidence += float(np.log(joint.sum()))
            filtered.append(joint / joint.sum())
            if t + 1 < times:
                predicted.append(np.einsum("lcmd,md->lc", steps[t], filtered[t]))
        messages = [np.full((self.log_states, self.cells), 1.0)]
        for t in range(times - 2, -1, -1):
            message = np.einsum("lcmd,lc->md", steps[t], messages[0] * likelihood[t + 1])
            messages.insert(0, message / message.sum())
        return predicted, filtered, messages, evidence

    def cut_of_interval(self, t: int) -> tuple[float, float, FloatArray, float]:
        """Probability of an unlogged cut given all counts, and of a new cable; length of a cut; p when counted."""
        _, filtered, messages, _ = self.passes
        likelihood = self.batch.likelihoods[t + 1, self.row, 0]
        after_log = np.einsum("lpmd,md->lp", self.log_step(t), filtered[t])
        later = messages[t + 1] * likelihood
        kernel, size = self.batch.kernels.cut, 2 * self.cells
        overlap = np.zeros(self.cells)
        for k in range(self.cells):
            lower = np.zeros_like(after_log)
            lower[:, : size - k] = after_log[:, k:]
            overlap[k] = np.einsum("lp,cp,lc->", lower, self.cut_to_window(t), later)
        q, q_open = self.q(t), self.q(t, open_flags=True)
        cuts = q * kernel * overlap
        known_then = self.dated(t + 1) @ after_log
        cut, none = (
            likelihood @ self.cut_to_window(t) @ known for known in (self.down(kernel) @ known_then, known_then)
        )
        to_come = float(self.batch.theta.p_not_on_record(np.diff(self.sequence.days)[t : t + 1])[0])
        cut_then, none_then = q_open * cut, (1 - q_open) * ((1 - to_come) * none + to_come * cut)
        new = self.new_cable(t) / (1 - self.batch.theta.replaced_unlogged)
        replaced, replaced_then = new * later[AS_WRITTEN].sum(), new * likelihood.sum()
        total = cuts.sum() + (1 - q) * overlap[0] + replaced
        p_then = cut_then / (cut_then + none_then + replaced_then)
        return float(cuts.sum() / total), float(replaced / total), cuts / cuts.sum(), float(p_then)


def laid_out(history: ReelHistory, theta: DriftParameters = RATES) -> tuple[ForwardBackward, Iterator[WrittenOut]]:
    (sequence,) = sequences_of(history, 0, theta)
    kernels = kernels_for(sequence.cell_m, sequence.cells, theta)
    batch = make_batch([sequence], kernels, theta)
    moves, placed = moves_of(sequence, kernels, theta), placements(sequence, theta)
    rows = (WrittenOut(sequence, batch, row, moves, placed) for row in range(batch.lengths.size))
    return forward_backward(batch), rows


def normalised(values: FloatArray) -> FloatArray:
    return np.asarray(values / values.sum())


@pytest.mark.parametrize("name", HISTORIES)
def test_the_passes_are_those_of_the_model_written_out(name: str) -> None:
    is_moving = name.startswith("windows")
    passes, rows = laid_out(HISTORIES[name], replace(RATES, looseness_shares=LOOSE) if is_moving else RATES)
    cuts = cut_posteriors(passes)
    written_out = next(rows)
    predicted, filtered, messages, evidence = written_out.passes
    assert passes.log_evidence[:, 0].sum() == pytest.approx(evidence, abs=NEAR)
    assert bool(np.ptp(written_out.sequence.offsets)) is is_moving
    log_states = passes.batch.log_states
    assert (log_states > 1) is bool(HISTORIES[name].cuts)
    for t in range(written_out.sequence.times):
        for ours, by_matrices in ((passes.predicted, predicted), (passes.filtered, filtered)):
            assert ours[t, 0] == pytest.approx(by_matrices[t][:log_states], abs=NEAR)
        smoothed = filtered[t] * messages[t]
        assert normalised(passes.smoothed()[t, 0]) == pytest.approx(normalised(smoothed.sum(axis=0)), abs=NEAR)
        without = predicted[t] * messages[t]
        assert normalised(passes.without_own_count()[t, 0]) == pytest.approx(normalised(without.sum(axis=0)), abs=NEAR)
    for t in range(written_out.sequence.times - 1):
        [pair] = np.flatnonzero((cuts.steps == t) & (cuts.rows == 0))
        p, p_replaced, sizes, p_when_counted = written_out.cut_of_interval(t)
        assert cuts.p_cut[pair] == pytest.approx(p, abs=NEAR)
        assert cuts.p_replaced[pair] == pytest.approx(p_replaced, abs=NEAR)
        assert cuts.p_cut[pair] * cuts.sizes[pair] == pytest.approx(p * sizes, abs=NEAR)
        assert passes.p_when_counted[t, 0] == pytest.approx(p_when_counted, abs=NEAR)


@pytest.mark.parametrize("name", HISTORIES)
def test_at_every_count_the_slips_and_no_slip_are_all_there_is(name: str) -> None:
    passes, _ = laid_out(HISTORIES[name])
    slips = slip_posteriors(passes)
    assert slips.sum(axis=2) == pytest.approx(np.ones(slips.shape[:2]))
    if not name.startswith("windows"):  # there a cell's own spread is taken in the layer of the first count of a piece
        no_slip, squared = residuals(passes)
        assert no_slip == pytest.approx(slips[:, :, 0])
        assert (squared >= 0).all()


@pytest.mark.parametrize("name", [*(name for name in HISTORIES if not name.startswith("windows"))])
def test_ordinary_is_no_cut_no_slip_at_either_end_and_the_log_as_it_is_written(name: str) -> None:
    passes, rows = laid_out(HISTORIES[name])
    cuts, written_out = cut_posteriors(passes), next(rows)
    ordinary = ordinary_posteriors(passes, cuts)[cuts.rows == 0]
    predicted, _, messages, _ = written_out.passes
    sequence, likelihoods = written_out.sequence, passes.batch.likelihoods[:, 0, 0]
    sound = RATES.slip_shares[0] * reading_pmf(sequence, sequence.read_turns, sequence.window_turns(0), RATES)[0]
    for t in range(sequence.times - 1):
        whole = np.einsum("lcmd,md->lc", written_out.step(t, written_out.unlogged(t)), predicted[t] * likelihoods[t])
        here = np.concatenate([np.zeros(written_out.cells), predicted[t][AS_WRITTEN] * sound[t]])
        for one, move in zip(written_out.placed, written_out.moves, strict=True):
            here = written_out.down(move.as_written) @ here if one.home == t else here
        goes_out = sum(written_out.goes_out(e, t) for e in range(len(written_out.placed)))
        on_time = (1 - RATES.replaced_unlogged) * (1 - goes_out) * (1 - written_out.q(t))
        straight = on_time * (written_out.cut_to_window(t) @ here) @ (sound[t + 1] * messages[t + 1][AS_WRITTEN])
        assert ordinary[t] == pytest.approx(straight / (whole * likelihoods[t + 1] * messages[t + 1]).sum(), abs=NEAR)


@pytest.mark.parametrize("name", [name for name, history in HISTORIES.items() if len(history.cuts) in (1, 3, 4)])
def test_log_entries_belong_to_other_intervals_as_often_as_the_log_states_say(name: str) -> None:
    passes, rows = laid_out(HISTORIES[name])
    written_out = next(rows)
    _, filtered, messages, _ = written_out.passes
    smoothed = [normalised(f * m) for f, m in zip(filtered, messages, strict=True)]
    for entry in log_entry_posteriors(passes):
        if entry.row > 0:
            continue
        one, move = written_out.placed[entry.entry], written_out.moves[entry.entry]
        t = one.home
        early = smoothed[t][one.slot].sum() if one.is_open(t) else 0.0
        late = smoothed[t + 1][one.slot].sum() if one.is_open(t + 1) else 0.0
        assert (entry.early, entry.late) == pytest.approx((early, late), abs=NEAR)
        if not 0 <= t < written_out.sequence.times - 1:
            assert (entry.void, entry.wrong, entry.error_m2) == (0.0, 0.0, 0.0)
            continue
        likelihood = passes.batch.likelihoods[t + 1, 0, 0]
        others = {e for e, other in enumerate(written_out.placed) if other.home == t} - {entry.entry}
        moved = written_out.made(others) @ written_out.unlogged(t)
        after_cut = moved[:, written_out.cells :] @ filtered[t][AS_WRITTEN]
        later = messages[t + 1][AS_WRITTEN] * likelihood
        fits = np.array([later @ written_out.cut_to_window(t) @ fallen(after_cut, k) for k in range(written_out.cells)])
        void, wrong, written = fits[0] * move.void, fits @ move.wrong, fits * move.as_written
        total, stay = void + wrong + written.sum(), 1 - early - late
        assert (entry.void, entry.wrong) == pytest.approx((stay * void / total, stay * wrong / total), abs=NEAR)
        off_m = passes.batch.kernels.cell_m * np.arange(written_out.cells) - move.entry.length_m
        assert entry.error_m2 == pytest.approx(normalised(written) @ off_m**2, rel=1e-5)


def fallen(places: FloatArray, k: int) -> FloatArray:
    lower = np.zeros_like(places)
    lower[: places.size - k] = places[k:]
    return lower
