"""Invented fleets with known truth, for measuring the drift model. Made from the rules of the job, not from the model.

A reel is a length of cable in metres. It is lost by cuts, some logged, some not; it is wound back more or less loosely
before each count; the count is of whole wraps; and people slip. Nothing here is taken from inspections.domain except
the records that are handed over.
"""

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import cast

import numpy as np
from numpy.typing import NDArray

from inspections.domain.drift.records import CountSeen, CutLogged, ReelHistory
from reels.domain.uncertainty import FloatArray
from reels.domain.winding import Drum, layer_capacities, wrap_lengths_mm

EPOCH = datetime(2024, 1, 1, 6, tzinfo=UTC)


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetPlan:
    """What a fleet is like. Shares are 0 to 1, of counts (slips) or of log entries (log_*)."""

    name: str
    seed: int
    reels: int = 60
    counts: tuple[int, int] = (10, 40)
    gap_days: float = 30.0
    gap_spread: float = 0.4
    cut_per_interval: float = 0.04
    cut_per_year: float = 0.0
    size: str = "lognormal"
    size_m: float = 8.0
    size_spread: float = 0.6
    looseness: float = 0.4
    looseness_spread: float = 0.4
    fullness_power: float = 1.0
    one_sided: bool = False
    whole_turns: bool = False
    logged_per_interval: float = 0.08
    logged_sd_m: float = 0.2
    logged_sd_share: float = 0.01
    one_wrap: float = 0.0
    correction: float = 0.0
    scale: float = 0.0
    wrong_face: float = 0.0
    copied: float = 0.0
    anything: float = 0.0
    log_misdated: float = 0.0
    log_twice: float = 0.0
    log_wrong: float = 0.0
    log_late: float = 0.0
    stretch_share: float = 0.0
    stretch_days: float = 120.0
    replaced_per_interval: float = 0.0
    replaced_unlogged: bool = False
    received_known: bool = False
    rule_wraps: int = 0
    rule_changed_day: float = 500.0
    people: tuple[int, ...] = ()  # by how many wraps each person's counts are higher than they should be

    def slips(self) -> dict[str, float]:
        return {
            name: getattr(self, name)
            for name in ("one_wrap", "correction", "scale", "wrong_face", "copied", "anything")
        }

    def cut_sizes_m(self, rng: np.random.Generator, n: int) -> FloatArray:
        if self.size == "uniform":
            return rng.uniform(self.size_m * (1 - self.size_spread), self.size_m * (1 + self.size_spread), n)
        if self.size == "gamma":
            shape = 1.0 / self.size_spread**2
            return rng.gamma(shape, self.size_m / shape, n)
        return self.size_m * np.exp(self.size_spread * rng.standard_normal(n))


@dataclass(slots=True, kw_only=True)
class ReelTruth:
    """A history and what really happened: per interval the unlogged metres; per count the slip, or none."""

    history: ReelHistory
    looseness: float
    unlogged_m: list[float] = field(default_factory=list)
    slips: list[str] = field(default_factory=list)
    over_replacement: list[bool] = field(default_factory=list)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrumTables:
    """A drum's own tables, worked out here again from its layers."""

    capacities: NDArray[np.int64]
    turns_below: FloatArray
    metres_below: FloatArray

    @classmethod
    def of(cls, drum: Drum) -> "DrumTables":
        capacities = layer_capacities(drum)
        return cls(
            capacities=capacities,
            turns_below=np.concatenate([[0], np.cumsum(capacities)]).astype(float),
            metres_below=np.concatenate([[0], np.cumsum(capacities * wrap_lengths_mm(drum) / 1000)]),
        )

    def turns(self, metres: FloatArray | float) -> FloatArray:
        return cast(FloatArray, np.interp(metres, self.metres_below, self.turns_below))

    def metres(self, turns: FloatArray | float) -> FloatArray:
        return cast(FloatArray, np.interp(turns, self.turns_below, self.metres_below))

    def count(self, turns: float) -> tuple[int, int]:
        whole = int(np.clip(np.floor(turns + 0.5), 0, self.turns_below[-1] - 1))
        layer = int(np.searchsorted(self.turns_below, whole, side="right") - 1)
        return layer, whole - int(self.turns_below[layer])


def drum_for(rng: np.random.Generator) -> Drum:
    wraps = int(rng.integers(20, 46))
    return Drum(
        core_diameter_mm=float(rng.uniform(300, 600)),
        cable_diameter_mm=float(rng.uniform(8, 15)),
        wraps_odd_layer=wraps,
        wraps_even_layer=wraps - int(rng.integers(0, 2)),
        max_layers=int(rng.integers(12, 26)),
    )


def make_fleet(plan: FleetPlan) -> list[ReelTruth]:
    """All reels of a plan; the same plan gives the same fleet."""
    rng, roster = np.random.default_rng(plan.seed), np.random.default_rng([plan.seed, 1])
    drums = [drum_for(rng) for _ in range(3)]
    return [_reel(plan, drums[i % 3], f"R{i:04d}", rng, roster) for i in range(plan.reels)]


def _reel(plan: FleetPlan, drum: Drum, name: str, rng: np.random.Generator, roster: np.random.Generator) -> ReelTruth:
    drum_tables = DrumTables.of(drum)
    looseness = plan.looseness * float(np.exp(plan.looseness_spread * rng.standard_normal()))
    length = new = received_m = float(drum_tables.metres_below[-1] * rng.uniform(0.6, 0.92))
    times = int(rng.integers(plan.counts[0], plan.counts[1] + 1))
    gaps = plan.gap_days * np.exp(plan.gap_spread * rng.standard_normal(times))
    at = float(rng.uniform(0, 90))
    born, grown = 0.0, 0.0
    counts: list[CountSeen] = []
    cuts: list[CutLogged] = []
    replaced: list[datetime] = []
    truth = ReelTruth(history=ReelHistory(reel=name, drum=drum, counts=()), looseness=looseness)
    for k in range(times):
        if k:
            start, at = at, at + max(float(gaps[k]), 1.0)
            lost = 0.0
            exchanged = rng.random() < plan.replaced_per_interval
            if exchanged:
                born, grown = start + (at - start) * float(rng.random()), 0.0
                replaced.append(_when(born))
                length = new = float(drum_tables.metres_below[-1] * rng.uniform(0.6, 0.92))
            else:
                length, lost = _lose(plan, length, start, at, cuts, rng)
            truth.unlogged_m.append(lost)
            truth.over_replacement.append(exchanged)
        growth = plan.stretch_share * new * (1 - np.exp(-(at - born) / plan.stretch_days))
        length, grown = length + growth - grown, growth
        if plan.whole_turns:
            length = float(drum_tables.metres(np.round(drum_tables.turns(length))))
        by, other, habit = _pair(plan, roster)
        higher = _rule(plan, at) + habit
        slip, layers, wraps = _count(plan, drum_tables, length, looseness, counts, higher, rng)
        counts.append(CountSeen(at=_when(at), layers=layers, wraps=wraps, counted_by=by, verified_by=other))
        truth.slips.append(slip)
    truth.history = ReelHistory(
        reel=name,
        drum=drum,
        counts=tuple(counts),
        replaced_at=() if plan.replaced_unlogged else tuple(replaced),
        cuts=tuple(_logged(plan, cuts, counts, rng)),
        received_at=EPOCH,
        received_m=received_m if plan.received_known else None,
    )
    return truth


def _rule(plan: FleetPlan, day: float) -> int:
    """By how many wraps a changed rule makes counts of that day higher."""
    return plan.rule_wraps if day >= plan.rule_changed_day else 0


def _pair(plan: FleetPlan, roster: np.random.Generator) -> tuple[str | None, str | None, int]:
    """Who counts and who verifies, and by how many wraps the first one's counts are higher."""
    if not plan.people:
        return None, None, 0
    by, other = roster.permutation(len(plan.people))[:2]
    return f"person {by}", f"person {other}", plan.people[by]


def _when(day: float) -> datetime:
    return EPOCH + timedelta(days=day)


def _lose(
    plan: FleetPlan, length: float, start: float, at: float, cuts: list[CutLogged], rng: np.random.Generator
) -> tuple[float, float]:
    """Cuts of one interval: what is left, and what nobody logged."""
    lost = 0.0
    p = -np.expm1(-plan.cut_per_interval - plan.cut_per_year * (at - start) / 365.25)
    if rng.random() < p:
        lost = float(min(plan.cut_sizes_m(rng, 1)[0], 0.3 * length))
    if rng.random() < plan.logged_per_interval:
        real = float(min(plan.cut_sizes_m(rng, 1)[0], 0.3 * length))
        off = float(np.hypot(plan.logged_sd_m, plan.logged_sd_share * real) * rng.standard_normal())
        when = start + (at - start) * float(rng.uniform(0.02, 0.98))
        cuts.append(CutLogged(at=_when(when), length_m=round(max(real + off, 0.1), 2)))
        length -= real
    return length - lost, lost


def _count(
    plan: FleetPlan,
    drum_tables: DrumTables,
    length: float,
    looseness: float,
    counts: list[CountSeen],
    higher: int,
    rng: np.random.Generator,
) -> tuple[str, int, int]:
    turns = float(drum_tables.turns(length))
    spread = looseness * (turns / (drum_tables.turns_below[-1] / 2)) ** plan.fullness_power
    noise = float(rng.standard_normal())
    if plan.one_sided:
        noise = 1.0 - float(rng.gamma(1.0))
    layers, wraps = drum_tables.count(turns + spread * noise + higher)
    draw = rng.random()
    for slip, share in plan.slips().items():
        if draw < share:
            return slip, *_slipped(slip, layers, wraps, drum_tables, counts, rng)
        draw -= share
    return "none", layers, wraps


def _slipped(
    slip: str, layers: int, wraps: int, drum_tables: DrumTables, counts: list[CountSeen], rng: np.random.Generator
) -> tuple[int, int]:
    total = drum_tables.turns_below[layers] + wraps
    if slip == "one_wrap":
        return drum_tables.count(total + rng.choice([-1, 1]))
    if slip == "correction":
        return drum_tables.count(total + rng.choice([1, 1, 2, -1]))
    if slip == "scale":
        return int(np.clip(layers + rng.choice([-1, 1, -1, 1, -2, 2]), 0, drum_tables.capacities.size - 1)), wraps
    if slip == "wrong_face":
        subtract = 1 + int(rng.random() < 0.5)
        as_read = wraps + subtract
        return layers, int(
            np.clip(drum_tables.capacities[layers] + 1 - as_read - subtract, 0, drum_tables.capacities[layers])
        )
    if slip == "copied" and counts:
        return counts[-1].layers, counts[-1].wraps
    if slip == "copied":
        return layers, wraps
    return drum_tables.count(float(rng.uniform(0, drum_tables.turns_below[-1])))


def _logged(
    plan: FleetPlan, cuts: list[CutLogged], counts: list[CountSeen], rng: np.random.Generator
) -> list[CutLogged]:
    """The log as people keep it: misdated, twice, with a wrong length, or late."""
    times = [c.at for c in counts]
    out = []
    for cut in cuts:
        at, length, recorded = cut.at, cut.length_m, cut.at
        if rng.random() < plan.log_wrong:
            length = round(length * float(rng.choice([0.1, 10.0, 0.3048, 3.281, 0.5, 2.0, rng.uniform(0.4, 2)])), 2)
        if rng.random() < plan.log_misdated:
            after = min((t for t in times if t >= at), key=lambda t: t - at)
            before = max((t for t in times if t <= at), key=lambda t: t)
            later = after - at < at - before
            at = (after if later else before) + (1 if later else -1) * timedelta(days=float(rng.uniform(0.1, 6)))
            recorded = max(at, recorded)
        if rng.random() < plan.log_late:
            recorded = at + timedelta(days=float(rng.exponential(45.0)))
        out.append(CutLogged(at=at, length_m=length, recorded_at=recorded))
        if rng.random() < plan.log_twice:
            again = at + timedelta(days=float(rng.choice([0.0, rng.uniform(0, 10)])))
            out.append(CutLogged(at=again, length_m=length, recorded_at=max(again, recorded)))
    return out


def clean_plan(number: int) -> FleetPlan:
    """A fleet whose counts see the cable through whole wraps and looseness alone; every rate varied by the number."""
    rng = np.random.default_rng(1000 + number)
    return FleetPlan(
        name=f"clean {number}",
        seed=1000 + number,
        reels=int(rng.choice([12, 40, 100])),
        counts=((4, 12), (10, 40), (40, 90))[number % 3],
        gap_days=float(rng.choice([7, 30, 120])),
        gap_spread=float(rng.uniform(0.2, 0.9)),
        cut_per_interval=float(rng.choice([0, 0.02, 0.06])),
        cut_per_year=float(rng.choice([0.05, 0.2, 0.5])),
        size=("lognormal", "uniform", "gamma")[int(rng.integers(3))],
        size_m=float(rng.choice([4, 8, 15])),
        size_spread=float(rng.uniform(0.4, 0.9)),
        looseness=float(rng.choice([0.15, 0.35, 0.7, 1.4])),
        looseness_spread=float(rng.uniform(0.1, 0.7)),
        fullness_power=float(rng.choice([0.0, 0.5, 1, 1.5])),
        logged_per_interval=float(rng.choice([0.03, 0.1, 0.25])),
        logged_sd_m=float(rng.choice([0.05, 0.2, 0.5])),
        logged_sd_share=float(rng.choice([0.005, 0.02])),
        whole_turns=bool(rng.random() < 0.2),
    )


def messy_plan(number: int) -> FleetPlan:
    """A fleet with every slip, a log as people keep it, stretch of new cable and replacements."""
    rng = np.random.default_rng(2000 + number)
    return replace(
        clean_plan(number + 500),
        name=f"messy {number}",
        seed=2000 + number,
        one_wrap=float(rng.uniform(0, 0.03)),
        correction=float(rng.uniform(0, 0.02)),
        scale=float(rng.uniform(0, 0.02)),
        wrong_face=float(rng.uniform(0, 0.015)),
        copied=float(rng.uniform(0, 0.03)),
        anything=float(rng.uniform(0, 0.01)),
        log_misdated=float(rng.uniform(0, 0.15)),
        log_twice=float(rng.uniform(0, 0.06)),
        log_wrong=float(rng.uniform(0, 0.06)),
        log_late=float(rng.uniform(0, 0.2)),
        stretch_share=float(rng.choice([0, 0.001, 0.003])),
        stretch_days=float(rng.uniform(60, 200)),
        replaced_per_interval=float(rng.choice([0, 0.01])),
    )
