"""A count sequence: one stretch of a reel's history between replacements, laid out for the inference.

The hidden state is the length of cable on the drum, in cells of equal length, so that a cut of so many metres moves
every state by as many cells. A count says which cells it fits, directly or through a slip.
"""

from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import cast

import numpy as np
from numpy.typing import NDArray

from inspections.domain.drift.fixed import FIXED
from inspections.domain.drift.geometry import (
    CountColumns,
    WindingTable,
    days_between,
    grid_for,
    ordered_counts,
    turns_of_counts,
    winding_table,
)
from inspections.domain.drift.hidden_markov import IntArray
from inspections.domain.drift.looseness import likely_grid_points
from inspections.domain.drift.parameters import LOOSENESS_GRID_WRAPS, DriftParameters
from inspections.domain.drift.records import SLIPS, CountSeen, CutLogged, Ending, ReelHistory, Slip
from reels.domain.uncertainty import FloatArray

TWIN_ENTRIES = 8  # earlier entries that are looked at; more than are made in so many days


@dataclass(frozen=True, slots=True, kw_only=True)
class LogEntry:
    """A log entry in its interval; interval -1 is before the first count, the last one after the last count.

    at_day, recorded_day: since the reel's first count; recording_known: whether the latter is known. twin: it repeats
    an earlier one.
    """

    interval: int
    at_day: float
    recorded_day: float
    recording_known: bool
    length_m: float
    twin: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CountSequence:
    """Counts between two replacements, with everything about them that doesn't depend on the parameters.

    first: place of the first count among the reel's counts. rule_wraps: what a changed rule or a habit added to each
    count, and is taken off y. read_turns, read_m: y, shape (times,). days: since the reel's first count. copied: the
    count repeats the one before. hypothesis_*: for each way in which a count may have come about, in order of the
    counts: which count, which slip, its weight within the slip, turns that it stems from.
    grid_points: places in LOOSENESS_GRID_WRAPS that are tried. cell_m: length of a cell. offsets: lowest cell of the
    window that is looked at for each count, shape (times,), cells: how many; x_t = cell_m (offsets[t] + 0 … cells - 1).
    """

    reel: int
    first: int
    winding: WindingTable
    days: FloatArray
    rule_wraps: FloatArray
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
        """The same in turns, τ(x)."""
        return self.winding.turns(self.window_m(t))

    def pieces(self) -> list[tuple[int, int]]:
        """Runs of counts that share a window: first and one past the last."""
        edges = [0, *(np.flatnonzero(np.diff(self.offsets)) + 1).tolist(), self.times]
        return list(pairwise(edges))


def sequences_of(history: ReelHistory, reel: int, theta: DriftParameters) -> list[CountSequence]:
    """A reel's history cut at its replacements; stretches without a count are left out.

    reel: any number that tells the reel from others. theta: only what looseness is likely hangs on it.
    """
    counts = ordered_counts(history)
    if not counts:
        return []
    since, winding = counts[0].at, winding_table(history.drum)
    days = np.array([days_between(c.at, since) for c in counts])
    rule_wraps = theta.taken_off(counts)
    turns = np.maximum(turns_of_counts(counts, winding) - rule_wraps, 0.0)
    bounds = [-np.inf, *sorted(days_between(at, since) for at in history.replaced_at), np.inf]
    part = np.searchsorted(bounds[1:-1], days, side="right")
    cuts = sorted(history.cuts, key=lambda c: c.at)
    dated = list(zip(cuts, _twins(cuts, since), [days_between(c.at, since) for c in cuts], strict=True))
    received = None if history.received_at is None else days_between(history.received_at, since)
    grid_points = likely_grid_points(history, theta)
    sequences = []
    for piece in np.unique(part):
        chosen = np.flatnonzero(part == piece)
        columns = _columns(counts, chosen, turns, rule_wraps, days, winding)
        inside = [(c, twin) for c, twin, day in dated if bounds[piece] <= day < bounds[piece + 1]]
        looseness = float(LOOSENESS_GRID_WRAPS[grid_points[grid_points.size // 2]])
        cell_m, cells, offsets = grid_for(columns, winding, looseness)
        time, slip, weight, from_turns = _hypotheses(columns, winding, history.lead_wraps)
        sequences.append(
            CountSequence(
                reel=reel,
                first=columns.first,
                winding=winding,
                days=columns.days,
                rule_wraps=columns.rule_wraps,
                read_turns=columns.turns,
                read_m=columns.metres,
                copied=_copied(columns),
                hypothesis_time=time,
                hypothesis_slip=slip,
                hypothesis_weight=weight,
                hypothesis_turns=from_turns,
                entries=tuple(_log_entry(c, twin, columns.days, since) for c, twin in inside),
                endings=_endings(history, [counts[i] for i in chosen]),
                start_day=received if piece == 0 else bounds[piece],
                start_m=history.received_m if piece == 0 else None,
                grid_points=grid_points,
                cell_m=cell_m,
                cells=cells,
                offsets=offsets,
            )
        )
    return sequences


def _columns(counts: tuple[CountSeen, ...], chosen: IntArray, turns: FloatArray, rule_wraps: FloatArray,
             days: FloatArray, winding: WindingTable) -> CountColumns:  # fmt: skip
    """The chosen counts of a reel, as arrays. chosen: their places among all of the reel's, rising."""
    first = int(chosen[0])
    return CountColumns(
        first=first,
        layers=np.array([counts[i].layers for i in chosen]),
        wraps=np.array([counts[i].wraps for i in chosen]),
        turns=turns[chosen],
        rule_wraps=rule_wraps[chosen],
        before_turns=turns[first - 1] + rule_wraps[first - 1] if first > 0 else -1.0,
        metres=winding.metres(turns[chosen]),
        days=days[chosen],
    )


def _copied(counts: CountColumns) -> NDArray[np.bool_]:
    """Whether a count repeats the one before, as they were written."""
    written = counts.turns + counts.rule_wraps
    return cast(NDArray[np.bool_], np.equal(np.concatenate([[counts.before_turns], written[:-1]]), written))


def _twins(cuts: list[CutLogged], since: datetime) -> list[bool]:
    """Whether an entry repeats the length of an earlier one not long before."""
    return [
        any(
            abs(cut.length_m - other.length_m) <= FIXED.twin_share * cut.length_m + FIXED.twin_m
            and days_between(cut.at, since) - days_between(other.at, since) <= FIXED.twin_days
            for other in cuts[max(i - TWIN_ENTRIES, 0) : i]
        )
        for i, cut in enumerate(cuts)
    ]


def _log_entry(cut: CutLogged, twin: bool, days: FloatArray, since: datetime) -> LogEntry:
    at = days_between(cut.at, since)
    recorded = at if cut.recorded_at is None else max(at, days_between(cut.recorded_at, since))
    return LogEntry(
        interval=int(np.searchsorted(days, at, side="right")) - 1,
        at_day=at,
        recorded_day=recorded,
        recording_known=cut.recorded_at is not None,
        length_m=max(cut.length_m, 0.0),
        twin=twin,
    )


def _endings(history: ReelHistory, counts: list[CountSeen]) -> tuple[Ending | None, ...]:
    closed = {(flag.from_at, flag.to_at): flag.ending for flag in history.closed_flags}
    return tuple(closed.get((a.at, b.at)) for a, b in pairwise(counts))


def _hypotheses(
    counts: CountColumns, winding: WindingTable, lead: int
) -> tuple[IntArray, IntArray, FloatArray, FloatArray]:
    """Every turn count from which a reading may have come by a slip: time, slip, weight, turns on the drum."""
    columns: list[tuple[IntArray, Slip, float, FloatArray]] = []
    every = np.arange(counts.turns.size)

    def add(slip: Slip, weight: float, turns: FloatArray, possible: NDArray[np.bool_] | bool = True) -> None:
        on_the_drum = (turns >= 0) & (turns <= winding.below_turns[-1]) & possible
        columns.append((every[on_the_drum], slip, weight, turns[on_the_drum]))

    add(Slip.NONE, 1.0, counts.turns)
    for off, weight in FIXED.one_wrap:
        add(Slip.ONE_WRAP, weight, counts.turns + off)
    (down, forgotten), (up, twice) = FIXED.correction_wrap
    (lead_down, lead_forgotten), (lead_up, lead_twice) = FIXED.correction_lead
    for off, weight in (
        (down, forgotten),
        (lead_down * lead, lead_forgotten),
        (down + lead_down * lead, FIXED.correction_both),
        (up, twice),
        (lead_up * lead, lead_twice),
    ):
        add(Slip.CORRECTION, weight, counts.turns + off)
    last = winding.capacities.size - 1
    for off, weight in FIXED.scale_layers:
        layers = counts.layers + off
        turns = winding.below_turns[np.clip(layers, 0, last)] + counts.wraps - counts.rule_wraps
        add(Slip.SCALE, weight, turns, (layers >= 0) & (layers <= last))
    # Of n wraps the wrong face shows capacity + 1 − n; what was subtracted from it has to come off once more.
    part = np.clip(counts.layers, 0, last)
    for subtracted, weight in zip((0, 2 * lead, 2 * lead + 2), FIXED.wrong_face, strict=True):
        mirrored = winding.capacities[part] + 1 - counts.wraps - subtracted
        add(Slip.WRONG_FACE, weight, winding.below_turns[part] + mirrored - counts.rule_wraps, mirrored >= 0)
    time = np.concatenate([times for times, _, _, _ in columns])
    slip = np.concatenate([np.full(times.size, SLIPS.index(kind)) for times, kind, _, _ in columns])
    weights = np.concatenate([np.full(times.size, weight) for times, _, weight, _ in columns])
    # stable: the sums over hypotheses are made in this order, and a sum's last digits hang on it
    order = np.argsort(time, kind="stable")
    return time[order], slip[order], weights[order], np.concatenate([turns for *_, turns in columns])[order]
