"""An exact observer of messy fleets, who is told every true rate: what could be known at all.

Written apart from the model, as the generator's own rules (fleets.py) turned round, nothing learned and nothing left
out but plans of whole turns or one-sided looseness: rounding to whole wraps, each reel's own looseness, fuller drums,
every slip, stretch of new cable, replacements; and a log with errors of measuring, wrong lengths, entries that are
misdated, doubled or recorded late. Summed over are all ways in which the entries may have come about: which interval's
cut each one tells, if any. That cuts are no longer than 0.3 of the cable is taken at the length that was read last.

    z_t         cable at count t but for what it has grown by stretch, m; on a grid of 0.15 wraps
    open        entries whose interval may lie on either side of count t; the state says which of them are made
    λ, q_t      probability of a logged and of an unlogged cut in an interval, one of each at most
    p(entry)    of a cut in interval j of real length r: by its date, by when it was recorded, by its length given r

`watch` gives P(u_t > 0 | everything), `newest` the same given what was on record at the later count: a cut that was
made and will be logged, but is not on record yet, is no unlogged one.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import cast

import numpy as np
import scipy
from numpy.typing import NDArray
from scipy.special import ndtr

from inspections.domain.drift.records import CountSeen, CutLogged
from reels.domain.uncertainty import FloatArray
from tests.benchmarks.drift.fleets import EPOCH, DrumTables, FleetPlan, ReelTruth
from tests.benchmarks.drift.observer import cut_law

CELL_WRAPS = 0.15
FINE = 8  # steps in a cell over which a logged length is integrated
CENT_M = 0.01  # lengths are logged to the centimetre
CAP = 0.3  # of the cable, the longest cut
TRACE = 1e-9
LATE_DAYS = 45.0
MISDATED_DAYS = (0.1, 6.0)  # beyond the count that it should be before, or after
TWIN_DAYS = 10.0
FACTORS = (0.1, 10.0, 0.3048, 3.281, 0.5, 2.0)  # of a wrong length; as often as each of them, 0.4 to 2.0 evenly
State = frozenset[int]
Beliefs = dict[State, FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LogEntryKnown:
    """A log entry. weights: by interval, λ/(1 − λ) p(date, record | a cut in it); void: it is another's twin."""

    length_m: float
    weights: dict[int, float]
    void: float

    @property
    def last(self) -> int:
        """The last interval that it may tell a cut of."""
        return max(self.weights, default=-1)


def day_of(at: datetime) -> float:
    return (at - EPOCH).total_seconds() / 86400.0


def slip_sources(plan: FleetPlan, tables: DrumTables) -> dict[tuple[int, int], dict[int, float]]:
    """For each count the whole turns that it may come from, and how probably; "anything" and "copied" aside."""
    out: dict[tuple[int, int], dict[int, float]] = defaultdict(lambda: defaultdict(float))
    capacities, most = tables.capacities, int(tables.turns_below[-1])
    for total in range(most):
        layers, wraps = tables.count(total)
        out[layers, wraps][total] += 1.0 - sum(plan.slips().values())
        for off, share in ((-1, plan.one_wrap / 2 + plan.correction / 4), (1, plan.one_wrap / 2 + plan.correction / 2),
                           (2, plan.correction / 4)):  # fmt: skip
            out[tables.count(total + off)][total] += share
        for off, share in ((-1, 1 / 3), (1, 1 / 3), (-2, 1 / 6), (2, 1 / 6)):
            out[int(np.clip(layers + off, 0, capacities.size - 1)), wraps][total] += plan.scale * share
        for subtract in (1, 2):
            mirrored = int(np.clip(capacities[layers] + 1 - wraps - 2 * subtract, 0, capacities[layers]))
            out[layers, mirrored][total] += plan.wrong_face / 2
    return out


class MessyObserver:
    """One reel, watched by somebody who knows the plan."""

    def __init__(self, plan: FleetPlan, truth: ReelTruth, sources: dict[tuple[int, int], dict[int, float]]) -> None:
        self.plan, self.truth, self.sources = plan, truth, sources
        self.tables = DrumTables.of(truth.history.drum)
        self.counts = truth.history.counts
        self.days = [day_of(c.at) for c in self.counts]
        self.read_m = self.tables.metres(np.array([self.tables.turns_below[c.layers] + c.wraps for c in self.counts]))
        totals = self.tables.turns(self.read_m)
        low, high = (float(self.tables.metres(t)) for t in (totals.min() - 40.0, totals.max() + 40.0))
        middle = float(np.median(totals))
        self.cell = CELL_WRAPS * float(self.tables.metres(middle + 1.0) - self.tables.metres(middle))
        self.z = np.arange(max(low, 1.0) - 0.01 * high, high, self.cell)
        self.size = scipy.fft.next_fast_len(2 * self.z.size, real=True)
        self.kernels: dict[tuple[float, int], NDArray[np.complex128]] = {}
        self.grown = self._grown()
        self.seen = [self._seen(t) for t in range(len(self.counts))]

    def _grown(self) -> list[float]:
        """By how much the cable on the drum at each count has grown."""
        born, out, new = 0.0, [], float(np.median(self.read_m[:3]))
        replaced = sorted(day_of(at) for at in self.truth.history.replaced_at)
        for t, day in enumerate(self.days):
            if t and self.truth.over_replacement[t - 1]:
                born = max(d for d in replaced if d <= day)
                new = float(np.median(self.read_m[t : t + 3]))
            out.append(self.plan.stretch_share * new * (1.0 - float(np.exp(-(day - born) / self.plan.stretch_days))))
        return out

    def _seen(self, t: int) -> FloatArray:
        """p(count | z) at every cell."""
        count = self.counts[t]
        turns = self.tables.turns(np.maximum(self.z + self.grown[t], 0.0))
        full = self.tables.turns_below[-1]
        spread = self.truth.looseness * np.maximum(turns / (full / 2), 1e-3) ** self.plan.fullness_power
        out = np.full(self.z.size, self.plan.anything / full)
        for total, weight in self.sources[count.layers, count.wraps].items():
            if weight > 0:
                out += weight * (ndtr((total + 0.5 - turns) / spread) - ndtr((total - 0.5 - turns) / spread))
        before: CountSeen | None = self.counts[t - 1] if t else None
        same = before is not None and (before.layers, before.wraps) == (count.layers, count.wraps)
        copied = self.plan.copied
        return out * (1.0 + copied) if before is None else out + copied * same

    # Cuts -------------------------------------------------------------------------------------------------------

    def _cut(self, t: int, step_m: float, n: int) -> FloatArray:
        """Distribution of a cut's length in interval t over n steps, the longest ones about the cap.

        The cap is known as well as the length is: to a wrap or two, and 2 %. A trace of any length keeps sums above 0.
        """
        edges = step_m * (np.arange(n + 1) - 0.5)
        cap = CAP * float(np.median(self.read_m[max(t - 1, 0) : t + 2]))
        longer = 1.0 - float(cut_law(self.plan, np.array([cap]))[0])
        below = cut_law(self.plan, np.minimum(edges, cap))
        below = below + longer * ndtr((edges - cap) / (3.0 * self.cell + 0.02 * cap)) + TRACE * np.arange(n + 1) / n
        below[0] = 0.0
        return cast(FloatArray, np.diff(below))

    @cached_property
    def cut_ffts(self) -> list[NDArray[np.complex128]]:
        """Of an unlogged cut in each interval."""
        return [np.conj(scipy.fft.rfft(self._cut(t, self.cell, self.z.size), self.size)) for t in range(self.intervals)]

    @property
    def intervals(self) -> int:
        return len(self.counts) - 1

    @cached_property
    def p_cut(self) -> FloatArray:
        gaps = np.diff(self.days) / 365.25
        return cast(FloatArray, -np.expm1(-self.plan.cut_per_interval - self.plan.cut_per_year * gaps))

    def _entry_fft(self, entry: LogEntryKnown, t: int) -> NDArray[np.complex128]:
        """Transform of law(r) p(logged length | r): fine lengths shared linearly between the cells on either side."""
        if (entry.length_m, t) not in self.kernels:
            step = self.cell / FINE
            real: FloatArray = step * np.arange(self.z.size * FINE, dtype=np.float64)
            fine = self._cut(t, step, real.size) * length_likelihood(self.plan, entry.length_m, real)
            place = np.arange(real.size) / FINE
            lower = np.floor(place).astype(int)
            kernel = np.bincount(lower, fine * (lower + 1 - place), self.z.size + 1)[: self.z.size + 1]
            kernel += np.bincount(lower + 1, fine * (place - lower), self.z.size + 1)[: self.z.size + 1]
            self.kernels[entry.length_m, t] = np.conj(scipy.fft.rfft(kernel[: self.z.size], self.size))
        return self.kernels[entry.length_m, t]

    def _moved(self, values: FloatArray, fft: NDArray[np.complex128]) -> FloatArray:
        """Values carried down (by conj. transforms) or up (by their conjugate)."""
        moved = scipy.fft.irfft(scipy.fft.rfft(values, self.size) * fft, self.size)[: self.z.size]
        return cast(FloatArray, np.maximum(moved, 0.0))

    # The log ----------------------------------------------------------------------------------------------------

    def entries(self, known_at: float = np.inf) -> list[LogEntryKnown]:
        """The log as it was known on a day."""
        log = [c for c in self.truth.history.cuts if day_of(c.recorded_at or c.at) <= known_at]
        out = []
        for place, cut in enumerate(log):
            weights = {j: w for j in range(self.intervals) if (w := self._weight(cut, j)) > 0}
            twin = next((o for o in log[:place] if o.length_m == cut.length_m and self._is_twin(cut, o)), None)
            void, alone = 0.0, 1.0 - self.plan.log_twice
            if twin is not None:
                void = self.plan.log_twice * (0.5 if cut.at == twin.at else 0.5 / TWIN_DAYS)
                void /= alone  # of the first one, which then has not stayed alone
            out.append(
                LogEntryKnown(length_m=cut.length_m, weights={j: w * alone for j, w in weights.items()}, void=void)
            )
        return out

    @staticmethod
    def _is_twin(cut: CutLogged, other: CutLogged) -> bool:
        return 0.0 <= day_of(cut.at) - day_of(other.at) <= TWIN_DAYS

    def _weight(self, cut: CutLogged, j: int) -> float:
        """λ p(date, record | a cut in interval j), per day²."""
        plan, at, recorded = self.plan, day_of(cut.at), day_of(cut.recorded_at or cut.at)
        start, end = self.days[j], self.days[j + 1]
        gap, wait = end - start, recorded - at
        if self.truth.over_replacement[j]:
            return 0.0
        at_once = float(abs(wait) < 1e-6)
        late = plan.log_late * float(np.exp(-wait / LATE_DAYS)) / LATE_DAYS
        recorded_so = (1.0 - plan.log_late) * at_once + late * (1.0 - at_once)
        near, far = MISDATED_DAYS
        p = 0.0
        if start + 0.02 * gap <= at <= start + 0.98 * gap:
            p += (1.0 - plan.log_misdated) * recorded_so / (0.96 * gap)
        if near <= at - end <= far:
            p += plan.log_misdated * 0.5 / (far - near) * recorded_so
        if near <= start - at <= far:  # recorded on the true day, in the first half of the interval, or late
            true_day = (1.0 - plan.log_late) * float(0.02 * gap <= recorded - start <= 0.5 * gap) / (0.48 * gap)
            p += plan.log_misdated * 0.5 / (far - near) * (true_day + late * (1.0 - at_once))
        return plan.logged_per_interval * p / (1.0 - plan.logged_per_interval)

    def _unrecorded(self, j: int, known_at: float) -> float:
        """λ P(a cut made in interval j is not on record on a day), over 1 − λ."""
        plan, end = self.plan, self.days[j + 1]
        if self.truth.over_replacement[j]:
            return 0.0
        days = np.linspace(self.days[j] + 0.02 * (end - self.days[j]), self.days[j] + 0.98 * (end - self.days[j]), 16)
        waited = np.exp(-np.maximum(known_at - days, 0.0) / LATE_DAYS)
        on_time = plan.log_late * float(waited.mean())
        near, far = MISDATED_DAYS
        # misdated after the count: dated beyond it, and recorded not before
        beyond = end + np.linspace(near, far, 16)
        later = np.where(beyond > known_at, 1.0, plan.log_late * np.exp(-np.maximum(known_at - beyond, 0) / LATE_DAYS))
        misdated = 0.5 * float(later.mean()) + 0.5 * plan.log_late * float(waited[:8].mean())
        p = (1.0 - plan.log_misdated) * on_time + plan.log_misdated * misdated
        return plan.logged_per_interval * p / (1.0 - plan.logged_per_interval)

    # The passes -------------------------------------------------------------------------------------------------

    def _choices(self, entries: list[LogEntryKnown], t: int, state: State) -> Iterator[tuple[int | None, State, float]]:
        """What interval t may have made of the log: which entry's cut, the state after it, and the weight."""
        for chosen in (None, *(e for e, entry in enumerate(entries) if t in entry.weights and e not in state)):
            made = state if chosen is None else state | {chosen}
            weight = 1.0 if chosen is None else entries[chosen].weights[t]
            over = [e for e, entry in enumerate(entries) if entry.last == t]
            for e in over:
                weight *= 1.0 if e in made else entries[e].void
            if weight > 0:
                yield chosen, made - set(over), weight

    def _still(self, entries: list[LogEntryKnown], t: int, here: Beliefs, pending: float = 0.0) -> Beliefs:
        """p(z, state) after the log of interval t, before an unlogged cut."""
        out: Beliefs = {}
        for state, values in here.items():
            for chosen, after, weight in self._choices(entries, t, state):
                moved = values if chosen is None else self._moved(values, self._entry_fft(entries[chosen], t))
                if chosen is None and pending:
                    moved = moved + pending * self._moved(values, self.cut_ffts[t])
                out[after] = out.get(after, 0.0) + weight * moved
        if self.truth.over_replacement[t]:
            flat = np.full(self.z.size, 1.0 / self.z.size)
            return {state: values.sum() * flat for state, values in out.items()}
        return out

    def _start(self) -> Beliefs:
        return {frozenset(): self.seen[0] / self.seen[0].sum()}

    def _ahead(self, t: int, still: Beliefs) -> Beliefs:
        out, p = {}, 0.0 if self.truth.over_replacement[t] else self.p_cut[t]
        for state, values in still.items():
            out[state] = ((1 - p) * values + p * self._moved(values, self.cut_ffts[t])) * self.seen[t + 1]
        total = sum(float(values.sum()) for values in out.values())
        return {state: values / total for state, values in out.items()}

    def watch(self) -> FloatArray:
        """P(u_t > 0 | everything), each interval's; of a replacement's none."""
        entries = self.entries()
        here, stills = self._start(), []
        for t in range(self.intervals):
            stills.append(self._still(entries, t, here))
            here = self._ahead(t, stills[-1])
        message = {state: np.ones(self.z.size) for state in here}
        out = np.zeros(self.intervals)
        for t in range(self.intervals - 1, -1, -1):
            later = {state: values * self.seen[t + 1] for state, values in message.items()}
            p, up = self.p_cut[t], np.conj(self.cut_ffts[t])
            if self.truth.over_replacement[t]:
                message = self._back(entries, t, {s: np.full(self.z.size, v.mean()) for s, v in later.items()}, stills)
                continue
            cut = {state: self._moved(values, up) for state, values in later.items()}
            gone = p * sum(float(np.dot(stills[t][s], v)) for s, v in cut.items() if s in stills[t])
            stay = (1 - p) * sum(float(np.dot(stills[t][s], v)) for s, v in later.items() if s in stills[t])
            out[t] = gone / (gone + stay)
            message = self._back(entries, t, {s: (1 - p) * v + p * cut[s] for s, v in later.items()}, stills)
        return out

    def _back(
        self,
        entries: list[LogEntryKnown],
        t: int,
        later: Beliefs,
        stills: list[Beliefs],
    ) -> Beliefs:
        """Messages from after the log of interval t to before it, for the states that may be there."""
        before = {frozenset()} if t == 0 else set(stills[t - 1])
        out: Beliefs = {}
        for state in before:
            total = np.zeros(self.z.size)
            for chosen, after, weight in self._choices(entries, t, state):
                if after in later:
                    up = None if chosen is None else np.conj(self._entry_fft(entries[chosen], t))
                    total += weight * (later[after] if up is None else self._moved(later[after], up))
            out[state] = total
        scale = sum(float(values.sum()) for values in out.values())
        return {state: values / scale for state, values in out.items()}

    def newest(self, last: int, least: float = 1e-4) -> float:
        """P(u_t > 0 | what was on record at the later count), of one interval that is over no replacement."""
        known_at = self.days[last + 1]
        entries = self.entries(known_at)
        here = self._start()
        for t in range(last + 1):
            pending = self._unrecorded(t, known_at)
            still = self._still(entries, t, here, pending if pending > least else 0.0)
            if t < last:
                here = self._ahead(t, still)
        p, after = self.p_cut[last], self.seen[last + 1]
        gone = p * sum(float(np.dot(self._moved(v, self.cut_ffts[last]), after)) for v in still.values())
        stay = (1 - p) * sum(float(np.dot(v, after)) for v in still.values())
        return float(gone / (gone + stay))


def length_likelihood(plan: FleetPlan, logged_m: float, real_m: FloatArray) -> FloatArray:
    """P(this length is logged | real lengths): right but for the measuring, or wrong."""
    sd: FloatArray = np.hypot(plan.logged_sd_m, plan.logged_sd_share * real_m)
    right: FloatArray = _measured(np.array([round(logged_m / CENT_M)]), real_m, sd)[0]
    if not plan.log_wrong:
        return right
    wrong = np.zeros_like(real_m)
    for factor in FACTORS:
        cents = np.arange(
            np.floor((logged_m - 0.006) / factor / CENT_M), np.ceil((logged_m + 0.006) / factor / CENT_M) + 1
        )
        cents = cents[np.abs(np.round(np.round(cents * CENT_M, 2) * factor, 2) - logged_m) < 1e-6]
        wrong += _measured(cents, real_m, sd).sum(axis=0)
    # evenly: coarse steps of both lengths do, for it is smooth over them
    edges = np.linspace(logged_m / 2.0, logged_m / 0.4, 65)
    middle = (edges[1:] + edges[:-1]) / 2.0
    coarse, coarse_sd = real_m[::FINE], sd[::FINE]
    mass = np.diff(ndtr((edges[:, None] - coarse) / coarse_sd), axis=0)
    wrong += np.interp(real_m, coarse, (mass * (CENT_M / (1.6 * middle))[:, None]).sum(axis=0))
    return (1.0 - plan.log_wrong) * right + plan.log_wrong * wrong / (len(FACTORS) + 1)


def _measured(cents: FloatArray, real_m: FloatArray, sd: FloatArray) -> FloatArray:
    """P(so many centimetres are measured), ten at least: shape (cents, lengths)."""
    m = np.asarray(cents, dtype=np.float64)[:, None] * CENT_M
    upper, lower = ndtr((m + 0.005 - real_m) / sd), ndtr((m - 0.005 - real_m) / sd)
    return cast(FloatArray, np.where(m < 0.095, 0.0, np.where(m < 0.105, upper, upper - lower)))
