"""How well unlogged cuts are found, on simulated fleets of known truth.

    python -m tests.benchmarks.drift.study [--short]

Beside the model: an exact observer told every true rate (and each reel's looseness), the same told rates in the
model's own inference (which on messy fleets knows of slips in the log, as the observer doesn't), a plain smoother that
takes every slip for anything at all, and the ordinary ways of comparators. Whole fleets go to two processes;
each prints a line when it is done, and the tables come last.
"""

import argparse
import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from inspections.domain.drift import DriftParameters, assess_fleet, choose_flags, learn
from inspections.domain.drift.parameters import LOOSENESS_GRID_WRAPS, SIZE_EDGES_M
from inspections.domain.drift.records import SLIPS, ReelAssessment
from reels.domain.uncertainty import FloatArray
from tests.benchmarks.drift.comparators import COMPARATORS, levels_m
from tests.benchmarks.drift.fleets import FleetPlan, ReelTruth, clean_plan, make_fleet, messy_plan
from tests.benchmarks.drift.observer import Observer, cut_law

BoolArray = NDArray[np.bool_]
FEWEST_CUTS = 5  # fleets with fewer cuts have no average precision to speak of


def average_precision(scores: FloatArray, truth: BoolArray) -> float:
    """Mean precision at each true one, from the highest score down; ties in the order given."""
    hits = truth[np.argsort(-scores, kind="stable")]
    return float((np.cumsum(hits) / np.arange(1, hits.size + 1))[hits].mean())


def log_loss(p: FloatArray, truth: BoolArray) -> float:
    """Sum of minus the log probability of what was true, in nats."""
    held = np.clip(p, 1e-9, 1 - 1e-9)
    return float(-np.where(truth, np.log(held), np.log1p(-held)).sum())


def recall_at(scores: FloatArray, truth: BoolArray, false_share: float) -> float:
    """The most true ones found by any threshold whose share of false flags stays within false_share."""
    hits = np.cumsum(truth[np.argsort(-scores, kind="stable")])
    places = np.arange(1, hits.size + 1)
    within = hits[(places - hits) / places <= false_share]
    return float(within.max() / truth.sum()) if within.size else 0.0


def true_parameters(plan: FleetPlan) -> DriftParameters:
    """The true rates of a plan, in the model's words."""
    sizes = np.diff(cut_law(plan, SIZE_EDGES_M)) + 1e-9
    spread = max(plan.looseness_spread, 0.2)
    loose = np.exp(-0.5 * (np.log(LOOSENESS_GRID_WRAPS / plan.looseness) / spread) ** 2)
    slips = np.array([plan.slips().get(slip.value, 0.0) for slip in SLIPS])
    slips[0] = 1.0 - slips.sum()
    return DriftParameters(
        cuts_per_interval=max(plan.cut_per_interval, 1e-6),
        cuts_per_year=plan.cut_per_year,
        size_shares=tuple((sizes / sizes.sum()).tolist()),
        logged_size_shares=tuple((sizes / sizes.sum()).tolist()),
        looseness_shares=tuple((loose / loose.sum()).tolist()),
        fullness_power=plan.fullness_power,
        slip_shares=tuple(np.maximum(slips, 1e-7).tolist()),
        logged_sd_m=plan.logged_sd_m,
        logged_sd_share=plan.logged_sd_share,
        entry_void=1e-5,
        twin_void=0.98 if plan.log_twice else 1e-5,
        entry_wrong=plan.log_wrong + 1e-6,
        entry_misdated=plan.log_misdated + 1e-6,
        entry_late=plan.log_late + 1e-6,
        logged_per_interval=plan.logged_per_interval,
        stretch_share=plan.stretch_share,
        stretch_days=plan.stretch_days,
    )


@dataclass(slots=True, kw_only=True, eq=False)
class FleetAnswers:
    """All answers about one fleet; every array has one number an interval that is not over a replacement."""

    plan: FleetPlan
    cut_m: FloatArray
    whole: dict[str, FloatArray] = field(default_factory=dict)
    when_counted: dict[str, FloatArray] = field(default_factory=dict)
    lengths_m: FloatArray = field(default_factory=lambda: np.zeros((0, 3)))
    learn_seconds: float = 0.0
    intervals_a_second: float = 0.0

    @property
    def truth(self) -> BoolArray:
        return self.cut_m > 0


def study(plan: FleetPlan) -> FleetAnswers:
    """Make a fleet, ask everybody, keep the answers."""
    fleet = make_fleet(plan)
    kept = ~np.concatenate([r.over_replacement for r in fleet]).astype(bool)
    outcome = FleetAnswers(plan=plan, cut_m=np.concatenate([r.unlogged_m for r in fleet])[kept])
    histories = [r.history for r in fleet]
    started = time.perf_counter()
    parameters = learn(histories)
    outcome.learn_seconds = time.perf_counter() - started
    started = time.perf_counter()
    assessments = list(assess_fleet(histories, parameters))
    outcome.intervals_a_second = kept.size / (time.perf_counter() - started)
    outcome.whole["model"], outcome.when_counted["model"], outcome.lengths_m = _answers(assessments, kept)
    told_model = list(assess_fleet(histories, true_parameters(plan)))
    outcome.whole["told model"], outcome.when_counted["told model"], _ = _answers(told_model, kept)
    for name, slips in (("exact observer", True), ("plain smoother", False)):
        pieces = [_observe(plan, reel, slips) for reel in fleet]
        outcome.whole[name] = np.concatenate([p[0] for p in pieces])[kept]
        outcome.when_counted[name] = np.concatenate([p[1] for p in pieces])[kept]
    for name, score in COMPARATORS.items():
        outcome.whole[name] = np.concatenate([score(levels_m(h)) for h in histories])[kept]
    return outcome


def _answers(assessments: Sequence[ReelAssessment], kept: BoolArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    rows = [i for reel in assessments for i in reel.intervals]
    whole, then = np.array([[i.p_unlogged_cut, i.p_when_counted] for i in rows])[kept].T
    return whole, then, np.array([[i.cut_low_m, i.cut_m, i.cut_high_m] for i in rows])[kept]


def _observe(plan: FleetPlan, reel: ReelTruth, slips: bool) -> tuple[FloatArray, FloatArray]:
    """The observer doesn't know of replacements: it watches each cable by itself; nothing in between."""
    whole, then = np.zeros((2, len(reel.unlogged_m)))
    edges = [0, *(np.flatnonzero(reel.over_replacement) + 1).tolist(), len(reel.history.counts)]
    for first, last in pairwise(edges):
        if last - first > 1:
            part = replace(reel.history, counts=reel.history.counts[first:last])
            watched = Observer(plan, ReelTruth(history=part, looseness=reel.looseness), slips).watch()
            whole[first : last - 1], then[first : last - 1] = watched[:2]
    return whole, then


def method_table(outcomes: Sequence[FleetAnswers], reference: str, question: str) -> list[str]:
    """Every method beside the reference: mean average precision and its ratio, log loss ratio, recall."""
    lines = [f"  {question:<24}{'avg prec':>10}{'ratio':>8}{'log loss ratio':>16}{'recall at 5 % false':>21}"]
    answers = [(o, o.whole if question == "given everything" else o.when_counted) for o in outcomes]
    telling = [(o, scores) for o, scores in answers if o.truth.sum() >= FEWEST_CUTS]
    for name in answers[0][1]:
        precision = [average_precision(scores[name], o.truth) for o, scores in telling]
        known = [average_precision(scores[reference], o.truth) for o, scores in telling]
        recall = np.mean([recall_at(scores[name], o.truth, 0.05) for o, scores in telling])
        ratio = np.mean(np.array(precision) / np.array(known))
        loss = ""
        if name not in COMPARATORS:
            own, best = (sum(log_loss(scores[n], o.truth) for o, scores in answers) for n in (name, reference))
            loss = f"{own / best:.3f}"
        lines.append(f"  {name:<24}{np.mean(precision):>10.3f}{ratio:>8.3f}{loss:>16}{recall:>21.3f}")
    return lines


def promise_lines(outcomes: Sequence[FleetAnswers]) -> list[str]:
    """What the model says of itself, held against the truth: flags, calibration, lengths."""
    flags = [np.array(choose_flags(o.whole["model"].tolist()), dtype=bool) for o in outcomes]
    flagged = np.concatenate(flags)
    p, cut_m = np.concatenate([o.whole["model"] for o in outcomes]), np.concatenate([o.cut_m for o in outcomes])
    low, middle, high = np.concatenate([o.lengths_m for o in outcomes]).T
    true_flag = flagged & (cut_m > 0)
    false = float((flagged & (cut_m == 0)).sum() / max(flagged.sum(), 1))
    stated = float((1.0 - p[flagged]).mean()) if flagged.any() else 0.0
    covered = float(((low <= cut_m) & (cut_m <= high))[true_flag].mean())
    error = np.abs(middle - cut_m)[true_flag]
    lines = [
        f"  flags {flagged.sum()}, false {false:.1%}, stated {stated:.1%}; "
        f"recall {true_flag.sum() / (cut_m > 0).sum():.3f}",
        f"  length of flagged cuts: 90 % interval covers {covered:.1%}; median error {np.median(error):.2f} m",
        "  calibration (said, true, intervals): " + "  ".join(calibration(p, cut_m > 0)),
    ]
    speeds = [o.intervals_a_second for o in outcomes if o.cut_m.size > 500]
    if speeds:
        lines.append(f"  one core: {np.median(speeds):,.0f} intervals a second (median of fleets above 500 intervals)")
    return lines


def calibration(p: FloatArray, truth: BoolArray) -> list[str]:
    """Where so much was said on average: how often it was true, and of how many intervals."""
    edges = [0.0, 0.01, 0.05, 0.2, 0.5, 0.8, 0.95, 1.0 + 1e-9]
    out = []
    for least, most in pairwise(edges):
        inside = (p >= least) & (p < most)
        if inside.any():
            out.append(f"{p[inside].mean():.3f}/{truth[inside].mean():.3f}/{inside.sum()}")
    return out


def conduct(kind: str, plans: Sequence[FleetPlan], say: Callable[[str], None]) -> list[FleetAnswers]:
    """Study all plans on two processes and print the tables of the kind."""
    outcomes = []
    with ProcessPoolExecutor(max_workers=2) as pool:
        for number, outcome in enumerate(pool.map(study, plans), start=1):
            outcomes.append(outcome)
            cuts = int(outcome.truth.sum())
            say(
                f"{number:>3} of {len(plans)}  {outcome.plan.name:<10}{outcome.cut_m.size:>6} intervals{cuts:>6} cuts  "
                f"learned in {outcome.learn_seconds:.1f} s, {outcome.intervals_a_second:,.0f} intervals a second"
            )
    reference = "exact observer" if kind == "clean" else "told model"
    say(f"\n{kind} fleets, against the {reference}")
    for question in ("given everything", "when counted"):
        for line in method_table(outcomes, reference, question):
            say(line)
    for line in promise_lines(outcomes):
        say(line)
    say("")
    return outcomes


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the study and print it."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.drift.study", description=__doc__)
    parser.add_argument("--short", action="store_true", help="three fleets of each kind instead of the whole study")
    parser.add_argument("--fleets", type=int, default=24, help="fleets of each kind (default 24)")
    chosen = parser.parse_args(arguments)
    fleets = 3 if chosen.short else chosen.fleets
    for kind, plan in (("clean", clean_plan), ("messy", messy_plan)):
        conduct(kind, [plan(i) for i in range(fleets)], lambda line: print(line, flush=True))


if __name__ == "__main__":
    main(sys.argv[1:])
