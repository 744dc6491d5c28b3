"""How near the drift model comes to what could be known: beside the exact observer of messy fleets, by expected ratios.

    python -m tests.benchmarks.drift.judge [--fleets 10] [--first 0] [--kinds clean messy …]

On one drawn fleet a ratio is off by chance by one to three hundredths. So nothing is scored by what happened to be true
but by what the observer believes: the expected log loss of p where q is believed is −q log p − (1 − q) log (1 − p), and
average precision is the mean over truths drawn from q. That this may be done is shown by the observer's calibration on
what was true, which is printed first. `loss` and `precision` are ratios to the observer's own; `newest` is of a sample
of intervals as they were asked about on the day of the later count. The seeds are used for nothing else.
"""

import argparse
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from inspections.domain.drift import DriftParameters, ReelHistory, assess_fleet, choose_flags, learn
from reels.domain.uncertainty import FloatArray
from tests.benchmarks.drift.fleets import DrumTables, FleetPlan, ReelTruth, clean_plan, make_fleet, messy_plan
from tests.benchmarks.drift.messy_observer import MessyObserver, slip_sources
from tests.benchmarks.drift.study import BoolArray, average_precision, calibration

SEEDS_FROM = 7000
NEWEST_ASKED = 60  # intervals of a fleet
DRAWS = 200  # of the truth, for average precision


def _even(plan: FleetPlan) -> FleetPlan:
    return replace(plan, reels=60, counts=(10, 40), whole_turns=False)


def clean_fleet(number: int) -> FleetPlan:
    """Rates as in the study, other seeds, 60 reels."""
    return _even(clean_plan(SEEDS_FROM + number))


def messy_fleet(number: int) -> FleetPlan:
    """Every slip, a log as people keep it, stretch and replacements."""
    return _even(messy_plan(SEEDS_FROM + number))


def rule_fleet(number: int) -> FleetPlan:
    """A messy fleet all of whose counts are a wrap lower from a day in the middle of them on."""
    plan = messy_fleet(number + 50)
    return replace(plan, name=f"rule {number}", rule_wraps=-1, rule_changed_day=45.0 + 10.0 * plan.gap_days)


def people_fleet(number: int) -> FleetPlan:
    """A clean or a messy fleet counted by six people, two always one wrap over and one always one under."""
    plan = (clean_fleet, messy_fleet)[number % 2](number + 150)
    return replace(plan, name=f"people {number}", people=(1, 1, -1, 0, 0, 0))


def replaced_fleet(number: int) -> FleetPlan:
    """A clean or a messy fleet in which one interval of fifty has a replacement that nobody logged."""
    plan = (clean_fleet, messy_fleet)[number % 2](number + 250)
    return replace(plan, name=f"replaced {number}", replaced_per_interval=0.02, replaced_unlogged=True)


KINDS: dict[str, Callable[[int], FleetPlan]] = {
    "clean": clean_fleet,
    "messy": messy_fleet,
    "rule": rule_fleet,
    "people": people_fleet,
    "replaced": replaced_fleet,
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Judged:
    """One fleet: the observer's beliefs q, the model's p and the truth, by interval; *_newest of those asked about."""

    q: FloatArray
    p: FloatArray
    truth: BoolArray
    q_newest: FloatArray
    p_newest: FloatArray
    truth_newest: BoolArray


def observe(
    plan: FleetPlan, fleet: Sequence[ReelTruth], asked: Sequence[Sequence[int]]
) -> tuple[FloatArray, FloatArray]:
    """The observer's beliefs of all intervals, and, as the newest ones, of those asked about, reel by reel."""
    drums = {reel.history.drum for reel in fleet}
    sources = {drum: slip_sources(plan, DrumTables.of(drum)) for drum in drums}
    whole, newest = [np.zeros(0)], [0.0][:0]
    for reel, places in zip(fleet, asked, strict=True):
        observer = MessyObserver(plan, reel, sources[reel.history.drum])
        whole.append(observer.watch())
        newest += [observer.newest(t) for t in places]
    return np.concatenate(whole), np.array(newest)


def judge(plan: FleetPlan, theta_of: Callable[[list[ReelHistory]], DriftParameters] = learn) -> Judged:
    """Ask the observer and the model about a fleet of the plan."""
    fleet = make_fleet(plan)
    histories = [reel.history for reel in fleet]
    cut_m = np.concatenate([reel.unlogged_m for reel in fleet])
    kept = ~np.concatenate([reel.over_replacement for reel in fleet]).astype(bool)
    chosen = np.zeros(kept.size, dtype=bool)
    rng = np.random.default_rng(plan.seed)
    chosen[rng.permutation(np.flatnonzero(kept))[:NEWEST_ASKED]] = True
    ends = np.cumsum([0, *(len(reel.unlogged_m) for reel in fleet)])
    asked = [np.flatnonzero(chosen[a:b]).tolist() for a, b in pairwise(ends)]
    # Somebody who is told of the rule, of habits and of replacements sees what would have been without them.
    told = replace(plan, rule_wraps=0, people=(0,) * len(plan.people), replaced_unlogged=False)
    q, q_newest = observe(told, make_fleet(told), asked)
    rows = [i for reel in assess_fleet(histories, theta_of(histories)) for i in reel.intervals]
    p, p_newest = np.array([[i.p_unlogged_cut, i.p_when_counted] for i in rows]).T
    truth = cut_m > 0
    return Judged(q=q[kept], p=p[kept], truth=truth[kept], q_newest=q_newest, p_newest=p_newest[chosen],
                  truth_newest=truth[chosen])  # fmt: skip


def expected_loss(p: FloatArray, q: FloatArray) -> float:
    """Nats: what p is expected to lose where q is believed."""
    held = np.clip(p, 1e-9, 1 - 1e-9)
    return float(-(q * np.log(held) + (1.0 - q) * np.log1p(-held)).sum())


def expected_precision_ratio(p: FloatArray, q: FloatArray, seed: int) -> float:
    """Mean over truths drawn from q of average precision by p, over that by q."""
    rng = np.random.default_rng(seed)
    draws = [draw for draw in rng.random((DRAWS, q.size)) < q if draw.any()]
    own = sum(average_precision(q, draw) for draw in draws)
    return sum(average_precision(p, draw) for draw in draws) / own if own else 1.0


def flags_of(judged: Judged) -> tuple[int, float, float]:
    """Flags, how many of them are expected to be false, and the share of expected cuts that they find."""
    flagged = np.array(choose_flags(judged.p.tolist()), dtype=bool)
    return int(flagged.sum()), float((1.0 - judged.q[flagged]).sum()), float(judged.q[flagged].sum() / judged.q.sum())


def table(kind: str, fleets: Sequence[Judged]) -> list[str]:
    """The observer's calibration and the ratios, fleet by fleet and together."""
    q, truth = (np.concatenate([getattr(f, name) for f in fleets]) for name in ("q", "truth"))
    newest, truth_newest = (np.concatenate([getattr(f, name) for f in fleets]) for name in ("q_newest", "truth_newest"))
    losses = np.array([[expected_loss(f.p, f.q), expected_loss(f.q, f.q)] for f in fleets])
    late = np.array([[expected_loss(f.p_newest, f.q_newest), expected_loss(f.q_newest, f.q_newest)] for f in fleets])
    ratios = [expected_precision_ratio(f.p, f.q, number) for number, f in enumerate(fleets)]
    flags = np.array([flags_of(f) for f in fleets])
    return [
        f"{kind}: {q.size} intervals, {truth.sum()} cuts, {q.sum():.1f} believed by the observer",
        "  observer's calibration (said/true/intervals): " + "  ".join(calibration(q, truth)),
        "  the same of the newest interval:              " + "  ".join(calibration(newest, truth_newest)),
        "  loss       " + _told(losses[:, 0] / losses[:, 1], losses[:, 0].sum() / losses[:, 1].sum()),
        "  precision  " + _told(np.array(ratios), float(np.mean(ratios))),
        "  newest     " + _told(late[:, 0] / late[:, 1], late[:, 0].sum() / late[:, 1].sum()),
        f"  flags {flags[:, 0].sum():.0f}, expected false {flags[:, 1].sum() / max(flags[:, 0].sum(), 1):.1%}; "
        f"of expected cuts found {flags[:, 2].mean():.1%}",
    ]


def _told(each: FloatArray, together: float) -> str:
    return f"{together:.3f}   (" + " ".join(f"{ratio:.3f}" for ratio in each) + ")"


def main(arguments: Sequence[str] | None = None) -> None:
    """Judge the model on fleets of each kind and print it."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.drift.judge", description=__doc__)
    parser.add_argument("--fleets", type=int, default=10, help="fleets of each kind (default 10)")
    parser.add_argument("--first", type=int, default=0, help="number of the first fleet, for other seeds")
    parser.add_argument("--kinds", nargs="+", choices=list(KINDS), default=list(KINDS))
    chosen = parser.parse_args(arguments)
    for kind in chosen.kinds:
        fleets = []
        for number in range(chosen.first, chosen.first + chosen.fleets):
            started = time.perf_counter()
            fleets.append(judge(KINDS[kind](number)))
            sys.stderr.write(f"{kind} {number}: {time.perf_counter() - started:.0f} s\n")
        print("\n".join(table(kind, fleets)), flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
