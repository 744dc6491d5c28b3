"""The log of a batch's rows: which log states are open at each count, and the steps between them, rows together."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import cast

import numpy as np
from numpy.typing import NDArray

from inspections.domain.drift.fixed import FIXED
from inspections.domain.drift.hidden_markov import ComplexArray, IntArray
from inspections.domain.drift.kernels import EntryMove, Kernels, one_after_the_other
from inspections.domain.drift.log_states import AS_WRITTEN, LogStep, Placement
from reels.domain.uncertainty import FloatArray

FEW_SLOTS = 2  # sequences that need no more are put together, as are those that need more


def log_states_of(placed: Sequence[Placement]) -> int:
    """Log states of the batch that a sequence with these entries is put into; 1 where nothing is logged."""
    if not placed:
        return 1
    slots = max(placement.slot for placement in placed)
    return 1 + (FEW_SLOTS if slots <= FEW_SLOTS else FIXED.entries_out_of_place)


class MoveTable:
    """The transforms of what is made by sets of entries: each set's once. At place 0: nothing."""

    def __init__(self, kernels: Kernels) -> None:
        self.kernels = kernels
        self.ffts: list[ComplexArray] = [np.ones(kernels.cells + 1, dtype=np.complex128)]
        self.places: dict[tuple[int, tuple[int, ...], bool], int] = {}

    def place(self, sequence: int, entries: tuple[int, ...], moves: Sequence[EntryMove]) -> int:
        """Place of the transform of what these entries of a sequence of the batch make."""
        return self._place(sequence, entries, moves, as_written=False)

    def written(self, sequence: int, entries: tuple[int, ...], moves: Sequence[EntryMove]) -> int:
        """The same if they are as they are written."""
        return self._place(sequence, entries, moves, as_written=True)

    def _place(self, sequence: int, entries: tuple[int, ...], moves: Sequence[EntryMove], *, as_written: bool) -> int:
        if not entries:
            return 0
        key = (sequence, entries, as_written)
        if key not in self.places:
            self.places[key] = len(self.ffts)
            each = [moves[e].as_written if as_written else moves[e].whole for e in entries]
            self.ffts.append(self.kernels.transform(one_after_the_other(each, self.kernels)))
        return self.places[key]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EntryInBatch:
    """A log entry; sequence: of the batch; others: place in move_ffts of the other entries of its home."""

    sequence: int
    move: EntryMove
    placement: Placement
    others: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RowsStep:
    """Rows whose log goes from a log state to one in an interval: probability and place in move_ffts of each."""

    source: int
    target: int
    rows: IntArray
    probability: FloatArray
    moves: IntArray

    def factor(self, move_ffts: ComplexArray) -> ComplexArray:
        """What the step multiplies the transforms of the rows by."""
        return self.probability[:, None] * move_ffts[self.moves]


@dataclass(slots=True, kw_only=True, eq=False)
class BatchLog:
    """By count, which log states are open and which entry has been dated; by interval, the steps of all rows.

    in_place: (times - 1, rows), probability that no entry goes out of place in the interval, if none is yet.
    """

    times: int
    rows: int
    log_states: int
    entries: list[EntryInBatch] = field(default_factory=list)
    steps: list[list[RowsStep]] = field(default_factory=list)
    in_place: FloatArray = field(default_factory=lambda: np.ones((0, 0)))
    _added: dict[tuple[int, int, int], list[tuple[int, float, int]]] = field(default_factory=dict)
    _open: dict[tuple[int, int], list[int]] = field(default_factory=dict)
    _dated: NDArray[np.bool_] = field(default_factory=lambda: np.ones((0, 0, 0), dtype=np.bool_))

    def __post_init__(self) -> None:
        """Until something is logged every state is known, and nothing moves."""
        self._dated = np.ones((self.times, self.rows, self.log_states), dtype=np.bool_)
        self.steps = [[] for _ in range(max(self.times - 1, 1))]
        self.in_place = np.ones((max(self.times - 1, 1), self.rows))

    def add(self, t: int, rows: slice, step: LogStep, move: int) -> None:
        """Add a step of interval t of some rows; one that changes nothing is left out."""
        if step.source == step.target == AS_WRITTEN and step.probability == 1.0 and not step.entries:
            return
        if step.source == step.target == AS_WRITTEN:
            self.in_place[t, rows] = step.probability
        steps = self._added.setdefault((t, step.source, step.target), [])
        steps += [(row, step.probability, move) for row in range(rows.start, rows.stop)]

    def mark(self, rows: slice, placement: Placement, times: int) -> None:
        """Note at which counts an entry's log state is open, and at which of them its date is still to come."""
        for t in range(times):
            if placement.is_open(t):
                self._open.setdefault((t, placement.slot), []).extend(range(rows.start, rows.stop))
                self._dated[t, rows, placement.slot] = placement.home < t

    def close(self) -> None:
        """Put the steps together; after this nothing is added."""
        for (t, source, target), steps in sorted(self._added.items()):
            rows, probability, moves = zip(*sorted(steps), strict=True)
            self.steps[t].append(
                RowsStep(source=source, target=target, rows=np.array(rows), probability=np.array(probability),
                         moves=np.array(moves))
            )  # fmt: skip

    def open_rows(self, t: int, n: int) -> Iterator[tuple[int, IntArray]]:
        """Log states that are open at count t, and their rows among the first n."""
        for slot in range(1, self.log_states):
            rows = np.array(self._open.get((t, slot), []), dtype=np.int64)
            rows = rows[rows < n]
            if rows.size:
                yield slot, rows

    def dated_by(self, t: int) -> FloatArray:
        """1 for log states of entries that are dated before count t, or of none; 0 for those dated later: (rows, …)."""
        return cast(FloatArray, self._dated[t].astype(np.float64))

    def is_moving(self, t: int, n: int) -> NDArray[np.bool_]:
        """Whether the log may do anything in interval t, of the first n rows: shape (n,)."""
        out = np.zeros(self.rows, dtype=np.bool_)
        for step in self.steps[t]:
            out[step.rows] = True
        return out[:n]
