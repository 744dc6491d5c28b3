"""Whether counting again what the list of recounts says settles more than counting what was not counted for longest.

    python -m tests.benchmarks.drift.planner [--fleets 10] [--share 0.2]

Fleets are drawn from the model (inspections.domain.drift.simulation) with one more count of every reel, a minute after
its newest one. Each way of choosing may look at so many of these counts. What it gained is told by what is true: the
log loss of "was there an unlogged cut before the newest count", in nats, and how far the metres that are expected to be
missing are from those that are; both summed over the fleet, beside the gain of looking at all of them.
"""

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from inspections.domain.drift import DEFAULT_PARAMETERS, DriftParameters, ReelHistory, assess_fleet, recount
from inspections.domain.drift.simulation import simulate
from reels.domain.uncertainty import FloatArray
from tests.benchmarks.drift.fleets import make_fleet, messy_plan

SEEDS_FROM = 9500
RATES = replace(DEFAULT_PARAMETERS, cuts_per_interval=0.06)
WAYS = ("by the list", "by date", "by chance")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gains:
    """Of one fleet: what each way gained, in nats and in metres, and what counting every reel again would have."""

    nats: dict[str, float]
    metres: dict[str, float]
    all_nats: float
    all_metres: float


def play(number: int, share: float, theta: DriftParameters = RATES) -> Gains:
    """Draw one fleet, count a share of its reels again in each way."""
    rng = np.random.default_rng(SEEDS_FROM + number)
    plan = replace(messy_plan(SEEDS_FROM + number), reels=60, counts=(6, 14), replaced_per_interval=0.0)
    templates = [_with_one_more(truth.history) for truth in make_fleet(plan)]
    fleet = simulate(templates, theta, rng)
    before = [replace(reel.history, counts=reel.history.counts[:-1]) for reel in fleet]
    truth_m = np.array([reel.unlogged_m[-2] for reel in fleet])
    loss, off_m = _losses(before, -1, truth_m, theta)
    loss_after, off_after_m = _losses([reel.history for reel in fleet], -2, truth_m, theta)
    nats, metres = loss - loss_after, off_m - off_after_m
    budget = round(share * len(fleet))
    orders = {
        "by the list": np.argsort([-recount(history, theta).worth_bits for history in before]),
        "by date": np.argsort([history.counts[-1].at.timestamp() for history in before]),
        "by chance": rng.permutation(len(fleet)),
    }
    return Gains(
        nats={way: float(nats[order[:budget]].sum()) for way, order in orders.items()},
        metres={way: float(metres[order[:budget]].sum()) for way, order in orders.items()},
        all_nats=float(nats.sum()),
        all_metres=float(metres.sum()),
    )


def _with_one_more(history: ReelHistory) -> ReelHistory:
    """The same with a count a minute after the newest, and no log entry after that."""
    last = history.counts[-1]
    again = replace(last, at=last.at + timedelta(minutes=1))
    cuts = tuple(cut for cut in history.cuts if cut.at <= last.at)
    return replace(history, counts=(*history.counts, again), cuts=cuts)


def _losses(
    histories: Sequence[ReelHistory], place: int, truth_m: FloatArray, theta: DriftParameters
) -> tuple[FloatArray, FloatArray]:
    """Of each reel: the log loss about the interval at this place, and how far the expected metres missing are off."""
    asked = [reel.intervals[place] for reel in assess_fleet(histories, theta)]
    p = np.clip([each.p_unlogged_cut for each in asked], 1e-9, 1 - 1e-9)
    expected_m = p * [each.cut_m for each in asked]
    return -np.where(truth_m > 0, np.log(p), np.log1p(-p)), np.abs(expected_m - truth_m)


def table(fleets: Sequence[Gains]) -> list[str]:
    """What each way gained, and its share of what counting every reel again would gain."""
    whole = [sum(each.all_nats for each in fleets), sum(each.all_metres for each in fleets)]
    lines = [f"{'':<14}{'nats':>8}{'of all':>8}{'metres':>9}{'of all':>8}"]
    for way in WAYS:
        nats, metres = sum(each.nats[way] for each in fleets), sum(each.metres[way] for each in fleets)
        lines.append(f"{way:<14}{nats:>8.1f}{nats / whole[0]:>8.0%}{metres:>9.1f}{metres / whole[1]:>8.0%}")
    return [*lines, f"{'every reel':<14}{whole[0]:>8.1f}{'':>8}{whole[1]:>9.1f}"]


def main(arguments: Sequence[str] | None = None) -> None:
    """Play fleets and print what was gained."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.drift.planner", description=__doc__)
    parser.add_argument("--fleets", type=int, default=10, help="how many (default 10)")
    parser.add_argument("--share", type=float, default=0.2, help="of the reels that are counted again (default 0.2)")
    chosen = parser.parse_args(arguments)
    print("\n".join(table([play(number, chosen.share) for number in range(chosen.fleets)])))


if __name__ == "__main__":
    main(sys.argv[1:])
