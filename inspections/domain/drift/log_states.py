"""The log as a chain: which entry, if any, is out of its place at a count.

An entry is dated in one interval, its home h, but its cut may have been made in another, j, on the wrong side of one or
more counts. With m the share of misdated entries (entry_misdated), δ the days from the date to interval j, L the home's
length and r_j what the day of recording says (nobody records a cut before it is made):

    p(j) / p(h) = m / (1 − m) · L f(δ) r_j,   f(δ) = ½ (1 − far) exp(−δ / near) / near + the same with far days

for a right date may be any of the home's, while a wrong one lies close to a count. At a count t the hidden log state is

    AS_WRITTEN   every cut was made on the side of count t where it is dated
    slot k ≥ 1   one entry, the one that has this slot at t, was made on the other side; all others as they are dated

Two entries that may be out of place at the same count have different slots. A step of interval t is told by its source,
target, probability, and the entries whose cuts are made in it.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from inspections.domain.drift.fixed import FIXED
from inspections.domain.drift.parameters import DriftParameters
from inspections.domain.drift.sequence import CountSequence, LogEntry
from reels.domain.uncertainty import FloatArray

AS_WRITTEN = 0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Placement:
    """In which interval the cut of an entry may have been made.

    home: the interval of its date. first: the earliest possible one. p: of intervals first, first + 1, …, summing to
    one. slot: its log state when it is out of place, 0 if it is never.
    """

    home: int
    first: int
    p: FloatArray
    slot: int = 0

    @property
    def last(self) -> int:
        """The latest possible interval."""
        return self.first + self.p.size - 1

    def at(self, interval: int) -> float:
        """Probability of one interval."""
        return float(self.p[interval - self.first]) if self.first <= interval <= self.last else 0.0

    def before(self, interval: int) -> float:
        """Probability of all intervals before one."""
        return float(self.p[: max(interval - self.first, 0)].sum())

    def after(self, interval: int) -> float:
        """Probability of all intervals after one."""
        return float(self.p[max(interval + 1 - self.first, 0) :].sum())

    def is_open(self, count: int) -> bool:
        """Whether it may be out of place at a count."""
        return self.slot > 0 and self.first < count <= self.last


@dataclass(frozen=True, slots=True, kw_only=True)
class LogStep:
    """One way of the log through an interval: from a log state to one, how probably, making the cuts of these entries.

    entries: places in the sequence's entries, rising.
    """

    source: int
    target: int
    probability: float
    entries: tuple[int, ...]


def placements(sequence: CountSequence, theta: DriftParameters) -> list[Placement]:
    """Where the cut of each entry may have been made, in the order of the entries; the likeliest to move get slots."""
    placed = [_placement(sequence, entry, theta) for entry in sequence.entries]
    taken: list[list[Placement]] = [[] for _ in range(FIXED.entries_out_of_place)]
    for number in sorted(range(len(placed)), key=lambda e: (placed[e].at(placed[e].home), e)):
        one = placed[number]
        if one.p.size == 1:
            continue
        free = (k for k, others in enumerate(taken) if all(_are_apart(one, other) for other in others))
        slot = next(free, None)
        if slot is None:  # it stays where it is dated
            placed[number] = replace(one, first=one.home, p=np.ones(1))
            continue
        placed[number] = replace(one, slot=slot + 1)
        taken[slot].append(placed[number])
    return placed


def _are_apart(one: Placement, other: Placement) -> bool:
    """Whether there is no count at which both may be out of place."""
    return one.last <= other.first or other.last <= one.first


def _placement(sequence: CountSequence, entry: LogEntry, theta: DriftParameters) -> Placement:
    days, home = sequence.days, entry.interval
    inside = 0 <= home < days.size - 1
    length = float(days[home + 1] - days[home]) if inside else FIXED.open_interval_days
    odds = theta.entry_misdated / (1.0 - theta.entry_misdated) * length
    early: list[float] = []  # of the interval before home, the one before that, …
    for j in range(home - 1, -2, -1):
        gap = entry.at_day - float(days[j + 1])
        chance = odds * _date_density(gap)
        early.append(max(chance, FIXED.misdated_at_count) if gap <= 0.0 else chance)
        if chance < FIXED.least_misdated:
            break
    late: list[float] = []
    for j in range(home + 1, days.size):
        chance = odds * _date_density(float(days[j]) - entry.at_day) * _recording_ratio(sequence, entry, j, theta)
        late.append(chance)
        if odds * _date_density(float(days[j]) - entry.at_day) < FIXED.least_misdated:
            break
    while late and late[-1] < FIXED.least_misdated:
        late.pop()
    while early and early[-1] < FIXED.least_misdated:
        early.pop()
    wrong = sum(early) + sum(late)
    most = FIXED.most_misdated / (1.0 - FIXED.most_misdated)
    scale = min(1.0, most / wrong) if wrong else 1.0
    p = np.array([*(scale * x for x in reversed(early)), 1.0, *(scale * x for x in late)])
    return Placement(home=home, first=home - len(early), p=p / p.sum())


def _date_density(gap_days: float) -> float:
    """f(δ), a day: how often a wrong date lies so many days on the wrong side of a count."""
    near = (1.0 - FIXED.misdated_far) * np.exp(-gap_days / FIXED.near_days) / FIXED.near_days
    far = FIXED.misdated_far * np.exp(-gap_days / FIXED.far_days) / FIXED.far_days
    return float(0.5 * (near + far))


def _recording_ratio(sequence: CountSequence, entry: LogEntry, j: int, theta: DriftParameters) -> float:
    """p(day of recording | made in the later interval j) over p(it | made on the day it is dated)."""
    if not entry.recording_known:
        return 1.0
    start, recorded = float(sequence.days[j]), entry.recorded_day
    if recorded < start:
        return 0.0
    end = float(sequence.days[j + 1]) if j + 1 < sequence.times else start + FIXED.open_interval_days
    promptly = 1.0 - theta.entry_late
    late, prompt = theta.entry_late / FIXED.late_days, promptly / FIXED.prompt_days
    wait = recorded - entry.at_day
    if_right = prompt * np.exp(-wait / FIXED.prompt_days) + late * np.exp(-wait / FIXED.late_days)
    if_wrong = promptly * (recorded <= end) / (end - start) + late * np.exp(-(recorded - start) / FIXED.late_days)
    return float(if_wrong / if_right)


def first_states(placed: list[Placement]) -> dict[int, float]:
    """Probability of each log state at the first count, those that are open at it alone."""
    out = {one.slot: one.after(-1) if one.home < 0 else one.at(-1) for one in placed if one.is_open(0)}
    scale = min(1.0, FIXED.most_misdated / max(sum(out.values()), 1e-300))
    out = {slot: scale * p for slot, p in out.items()}
    return {AS_WRITTEN: 1.0 - sum(out.values()), **out}


def steps_of(placed: list[Placement], t: int) -> Iterator[LogStep]:
    """Every way of the log through interval t; the probabilities of those from one source sum to one."""
    here = tuple(e for e, one in enumerate(placed) if one.home == t)
    leaving = dict(_leaving(placed, t))
    scale = min(1.0, FIXED.most_misdated / max(sum(leaving.values()), 1e-300))
    yield LogStep(source=AS_WRITTEN, target=AS_WRITTEN, probability=1.0 - scale * sum(leaving.values()), entries=here)
    for e, p in leaving.items():
        made = _without(here, e) if placed[e].home == t else _with(here, e)
        yield LogStep(source=AS_WRITTEN, target=placed[e].slot, probability=scale * p, entries=made)
    for e, one in enumerate(placed):
        if not one.is_open(t):
            continue
        if one.home >= t:  # it was made before count t: nothing is left to make when its date comes
            target = AS_WRITTEN if one.home == t else one.slot
            yield LogStep(source=one.slot, target=target, probability=1.0, entries=_without(here, e))
            continue
        now = one.at(t) / (one.at(t) + one.after(t))
        yield LogStep(source=one.slot, target=AS_WRITTEN, probability=now, entries=_with(here, e))
        if now < 1.0:
            yield LogStep(source=one.slot, target=one.slot, probability=1.0 - now, entries=here)


def _leaving(placed: list[Placement], t: int) -> Iterator[tuple[int, float]]:
    """Entries that go out of place in interval t, if none is yet: made before they are dated, or not made when due."""
    for e, one in enumerate(placed):
        if one.slot == 0:
            continue
        due = one.after(t) if one.home == t else one.at(t) if one.home > t else 0.0
        if due > 0.0:
            yield e, due / (1.0 - one.before(t))


def _without(entries: tuple[int, ...], e: int) -> tuple[int, ...]:
    return tuple(each for each in entries if each != e)


def _with(entries: tuple[int, ...], e: int) -> tuple[int, ...]:
    return tuple(sorted((*entries, e)))
