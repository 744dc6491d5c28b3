"""What moves when each fixed parameter of the drift model is halved or doubled.

    python -m tests.benchmarks.drift.sensitivity [--reels 24] [--counts 10 30] [names …]

One messy fleet is learned from and assessed once as things are and again with one parameter changed. Told are the
change of the expected log loss (beliefs of the exact observer for truth, see judge) and the largest change of any
probability; weights of hypotheses have the first one changed, and are made to sum to what they did.
"""

import argparse
import importlib
import pkgutil
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from inspections.domain import drift
from inspections.domain.drift import ReelHistory, assess_fleet, learn
from inspections.domain.drift.fixed import FIXED, Parameters
from reels.domain.uncertainty import FloatArray
from tests.benchmarks.drift.fleets import make_fleet
from tests.benchmarks.drift.judge import expected_loss, messy_fleet, observe

NUMBER = 90  # of the judge's messy fleets: none of those that it is run on
FACTORS = (0.5, 2.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """Of one parameter and factor: the expected loss over that of the model as it is, and the largest change of p."""

    name: str
    factor: float
    loss_ratio: float
    largest: float


def changed(value: Any, factor: float) -> Any:
    """A parameter halved or doubled; whole numbers stay whole, and at least one."""
    if isinstance(value, int):
        return max(1, round(value * factor))
    if isinstance(value, float):
        return value * factor
    if isinstance(value[0], float):
        scaled = (value[0] * factor, *value[1:])
        return tuple(weight * sum(value) / sum(scaled) for weight in scaled)
    pairs = ((value[0][0], value[0][1] * factor), *value[1:])
    scale = sum(weight for _, weight in value) / sum(weight for _, weight in pairs)
    return tuple((off, weight * scale) for off, weight in pairs)


@contextmanager
def with_fixed(parameters: Parameters) -> Iterator[None]:
    """The whole package works with these instead of its own."""
    modules = [
        importlib.import_module(f"{drift.__name__}.{each.name}") for each in pkgutil.iter_modules(drift.__path__)
    ]
    holders = [module for module in modules if hasattr(module, "FIXED")]
    try:
        for module in holders:
            module.FIXED = parameters  # type: ignore[attr-defined]
        yield
    finally:
        for module in holders:
            module.FIXED = FIXED  # type: ignore[attr-defined]


def believed(histories: Sequence[ReelHistory]) -> FloatArray:
    """p of every interval, by what is learned from these reels."""
    theta = learn(histories)
    return np.array([i.p_unlogged_cut for reel in assess_fleet(histories, theta) for i in reel.intervals])


def sensitivity(reels: int, counts: tuple[int, int], names: Sequence[str]) -> Iterator[Moved]:
    """Change the named parameters one by one."""
    plan = replace(messy_fleet(NUMBER), reels=reels, counts=counts)
    fleet = make_fleet(plan)
    histories = [reel.history for reel in fleet]
    kept = ~np.concatenate([reel.over_replacement for reel in fleet]).astype(bool)
    q = observe(plan, fleet, [[] for _ in fleet])[0][kept]
    as_is = believed(histories)[kept]
    for name in names:
        for factor in FACTORS:
            with with_fixed(replace(FIXED, **{name: changed(getattr(FIXED, name), factor)})):
                p = believed(histories)[kept]
            ratio = expected_loss(p, q) / expected_loss(as_is, q)
            yield Moved(name=name, factor=factor, loss_ratio=ratio, largest=float(np.abs(p - as_is).max()))


def main(arguments: Sequence[str] | None = None) -> None:
    """Print a line for each parameter and factor."""
    every = [each.name for each in fields(Parameters)]
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.drift.sensitivity", description=__doc__)
    parser.add_argument("--reels", type=int, default=24)
    parser.add_argument("--counts", type=int, nargs=2, default=(10, 30), help="least and most counts of a reel")
    parser.add_argument("names", nargs="*", metavar="name", help="parameters; all unless some are named")
    chosen = parser.parse_args(arguments)
    if unknown := set(chosen.names) - set(every):
        parser.error(f"{', '.join(sorted(unknown))}: no such parameter; allowed: {', '.join(every)}")
    for moved in sensitivity(chosen.reels, tuple(chosen.counts), chosen.names or every):
        what = f"loss x {moved.loss_ratio:.4f}   largest change of p {moved.largest:.4f}"
        print(f"{moved.name:<24}x {moved.factor:<5}{what}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
