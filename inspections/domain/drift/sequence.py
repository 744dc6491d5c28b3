"""One stretch of a reel's history between replacements, laid out for the inference: readings, log entries, windows.

The hidden state is the length of cable on the drum, in cells of equal length, so that a cut of so many metres moves
every state by as many cells. A count says which cells it fits, directly or through a slip.
"""

from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise
from typing import cast

import numpy as np
from numpy.typing import NDArray

from inspections.domain.drift.geometry import (
    CountColumns,
    WindingTable,
    days_between,
    grid_for,
    ordered_counts,
    turns_of_counts,
    winding_table,
)
from inspections.domain.drift.looseness import likely_grid_points
from inspections.domain.drift.parameters import LOOSENESS_GRID_WRAPS, DriftParameters
from inspections.domain.drift.records import SLIPS, CountSeen, CutLogged, Ending, ReelHistory, Slip

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

TWIN_ENTRIES = 8  # earlier entries among which a second one of the same cut is looked for


@dataclass(frozen=True, slots=True, kw_only=True)
class LogEntry:
    """A log entry in its interval; interval -1 is before the first count, the last one after the last count."""

    interval: int
    at_day: float
    recorded_day: float
    length_m: float
    twin: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CountSequence:
    """Counts between two replacements, with everything about them that doesn't depend on the rates.

    first: place of the first count among the reel's counts. read_turns, read_m: shape (times,). days: since the
    reel's first count. copied: the count repeats the one before. hypothesis_*: for each way in which a count may have
    come about, in order of the counts: which count, which slip, its weight within the slip, turns that it stems from.
    offsets: lowest cell of the window of cells that is looked at for each count, shape (times,); cells: how many.
    """

    reel: int
    first: int
    winding: WindingTable
    days: FloatArray
    read_turns: FloatArray
    read_m: FloatArray
    copied: NDArray[np.bool_]
    hypothesis_time: IntArray
    hypothesis_slip: IntArray
    hypothesis_weight: FloatArray
    hypothesis_turns: FloatArray
    entries: tuple[LogEntry, ...]
    endings: tuple[Ending | None, ...]
    start_day: float | None
    start_m: float | None
    grid_points: IntArray
    cell_m: float
    cells: int
    offsets: IntArray

    @property
    def times(self) -> int:
        """How many counts."""
        return int(self.read_turns.size)

    def window_m(self, t: int) -> FloatArray:
        """Length of cable at each cell of the window of count t, metres."""
        return cast(FloatArray, self.cell_m * (self.offsets[t] + np.arange(self.cells)))

    def window_turns(self, t: int) -> FloatArray:
        """The same in turns."""
        return self.winding.turns(self.window_m(t))

    def pieces(self) -> list[tuple[int, int]]:
        """Runs of counts that share a window: first and one past the last."""
        edges = [0, *(np.flatnonzero(np.diff(self.offsets)) + 1).tolist(), self.times]
        return list(pairwise(edges))


def sequences_of(history: ReelHistory, reel: int, theta: DriftParameters) -> list[CountSequence]:
    """A reel's history cut at its replacements; stretches without a count are left out."""
    counts = ordered_counts(history)
    if not counts:
        return []
    since, winding = counts[0].at, winding_table(history.drum)
    days = np.array([days_between(c.at, since) for c in counts])
    turns = turns_of_counts(counts, winding)
    bounds = [-np.inf, *sorted(days_between(at, since) for at in history.replaced_at), np.inf]
    part = np.searchsorted(bounds[1:-1], days, side="right")
    cuts = sorted(history.cuts, key=lambda c: c.at)
    dated = list(zip(cuts, _twins(cuts, since), [days_between(c.at, since) for c in cuts], strict=True))
    received = None if history.received_at is None else days_between(history.received_at, since)
    grid_points = likely_grid_points(history, theta)
    sequences = []
    for piece in np.unique(part):
        chosen = np.flatnonzero(part == piece)
        readings = CountColumns(
            first=int(chosen[0]),
            layers=np.array([counts[i].layers for i in chosen]),
            wraps=np.array([counts[i].wraps for i in chosen]),
            turns=turns[chosen],
            before_turns=turns[chosen[0] - 1] if chosen[0] > 0 else -1.0,
            metres=winding.metres(turns[chosen]),
            days=days[chosen],
        )
        inside = [(c, twin) for c, twin, day in dated if bounds[piece] <= day < bounds[piece + 1]]
        plain = _sequence(history, reel, winding, readings, grid_points)
        sequences.append(
            replace(
                plain,
                entries=tuple(_log_entry(c, twin, readings.days, since) for c, twin in inside),
                endings=_endings(history, [counts[i] for i in chosen]),
                start_day=received if piece == 0 else bounds[piece],
                start_m=history.received_m if piece == 0 else None,
            )
        )
    return sequences


def _twins(cuts: list[CutLogged], since: datetime) -> list[bool]:
    """Whether an entry repeats the length of an earlier one not long before."""
    twins: list[bool] = []
    for i, cut in enumerate(cuts):
        twins.append(
            any(
                abs(cut.length_m - other.length_m) <= 0.005 * cut.length_m + 0.005
                and days_between(cut.at, since) - days_between(other.at, since) <= 45.0
                for other in cuts[max(i - TWIN_ENTRIES, 0) : i]
            )
        )
    return twins


def _log_entry(cut: CutLogged, twin: bool, days: FloatArray, since: datetime) -> LogEntry:
    at = days_between(cut.at, since)
    recorded = at if cut.recorded_at is None else max(at, days_between(cut.recorded_at, since))
    return LogEntry(
        interval=int(np.searchsorted(days, at, side="right")) - 1,
        at_day=at,
        recorded_day=recorded,
        length_m=max(cut.length_m, 0.0),
        twin=twin,
    )


def _endings(history: ReelHistory, counts: list[CountSeen]) -> tuple[Ending | None, ...]:
    closed = {(flag.from_at, flag.to_at): flag.ending for flag in history.closed_flags}
    return tuple(closed.get((a.at, b.at)) for a, b in pairwise(counts))


def _sequence(
    history: ReelHistory, reel: int, winding: WindingTable, readings: CountColumns, grid_points: IntArray
) -> CountSequence:
    """The counts laid out, with no log and nothing known of the start."""
    time, slip, weight, turns = _hypotheses(readings, winding, history.lead_wraps)
    cell_m, cells, offsets = grid_for(
        readings, winding, float(LOOSENESS_GRID_WRAPS[grid_points[grid_points.size // 2]])
    )
    previous = np.concatenate([[readings.before_turns], readings.turns[:-1]])
    return CountSequence(
        reel=reel,
        first=readings.first,
        winding=winding,
        days=readings.days,
        read_turns=readings.turns,
        read_m=readings.metres,
        copied=previous == readings.turns,
        hypothesis_time=time,
        hypothesis_slip=slip,
        hypothesis_weight=weight,
        hypothesis_turns=turns,
        entries=(),
        endings=(),
        start_day=None,
        start_m=None,
        grid_points=grid_points,
        cell_m=cell_m,
        cells=cells,
        offsets=offsets,
    )


def _hypotheses(
    readings: CountColumns, winding: WindingTable, lead: int
) -> tuple[IntArray, IntArray, FloatArray, FloatArray]:
    """Every turn count from which a reading may have come by a slip: time, slip, weight, turns on the drum."""
    found: list[tuple[IntArray, Slip, float, FloatArray]] = []
    every = np.arange(readings.turns.size)

    def add(slip: Slip, weight: float, turns: FloatArray, usable: NDArray[np.bool_] | None = None) -> None:
        fine = (turns >= 0) & (turns <= winding.below_turns[-1])
        fine = fine if usable is None else fine & usable
        found.append((every[fine], slip, weight, turns[fine]))

    add(Slip.NONE, 1.0, readings.turns)
    for off in (-1, 1):
        add(Slip.ONE_WRAP, 0.5, readings.turns + off)
    # a forgotten correction leaves the count too high, one made twice too low
    for off, weight in ((-1, 0.3), (-lead, 0.15), (-1 - lead, 0.15), (1, 0.25), (lead, 0.15)):
        add(Slip.CORRECTION, weight, readings.turns + off)
    last = winding.capacities.size - 1
    for off, weight in ((-1, 0.33), (1, 0.33), (-2, 0.17), (2, 0.17)):
        layers = readings.layers + off
        inside = (layers >= 0) & (layers <= last)
        add(Slip.SCALE, weight, winding.below_turns[np.clip(layers, 0, last)] + readings.wraps, inside)
    part = np.clip(readings.layers, 0, last)
    for off, weight in ((0, 0.4), (2 * lead, 0.3), (2 * lead + 2, 0.3)):
        mirrored = winding.capacities[part] + 1 - readings.wraps - off
        add(Slip.WRONG_FACE, weight, winding.below_turns[part] + mirrored, mirrored >= 0)
    time = np.concatenate([f[0] for f in found])
    slip = np.concatenate([np.full(f[0].size, SLIPS.index(f[1])) for f in found])
    within = np.concatenate([np.full(f[0].size, f[2]) for f in found])
    order = np.argsort(time, kind="stable")
    return time[order], slip[order], within[order], np.concatenate([f[3] for f in found])[order]
