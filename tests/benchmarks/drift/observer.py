"""An exact observer who knows every true rate of a simulated fleet, each reel's own looseness included. Slow and plain.

Written apart from the model: a fine grid of metres, the generator's own rules turned round, nothing learned. It knows
slips and logged cuts with their measuring error; it does not know that log entries may be wrong, nor of stretch.
"""

from typing import cast

import numpy as np
from scipy.signal import fftconvolve
from scipy.special import ndtr
from scipy.stats import gamma as gamma_law

from inspections.domain.drift.records import CountSeen
from reels.domain.uncertainty import FloatArray
from tests.benchmarks.drift.fleets import DrumTables, FleetPlan, ReelTruth

CELL_WRAPS = 0.15


def cut_law(plan: FleetPlan, metres: FloatArray) -> FloatArray:
    """Probability that a cut is shorter than so many metres."""
    m = np.maximum(metres, 1e-9)
    if plan.size == "uniform":
        low, high = plan.size_m * (1 - plan.size_spread), plan.size_m * (1 + plan.size_spread)
        return np.clip((metres - low) / (high - low), 0.0, 1.0)
    if plan.size == "gamma":
        shape = 1.0 / plan.size_spread**2
        return np.where(metres > 0, gamma_law.cdf(m, shape, scale=plan.size_m / shape), 0.0)
    return np.where(metres > 0, ndtr(np.log(m / plan.size_m) / plan.size_spread), 0.0)


class Observer:
    """One reel, watched by somebody who knows the plan. slips=False: all slips taken for anything at all, 1 %."""

    def __init__(self, plan: FleetPlan, truth: ReelTruth, slips: bool = True) -> None:
        self.plan, self.truth, self.slips = plan, truth, slips
        self.tables = DrumTables.of(truth.history.drum)
        self.counts = truth.history.counts
        totals = [self.tables.turns_below[c.layers] + c.wraps for c in self.counts]
        low = max(float(self.tables.metres(min(totals) - 75.0)), 1.0)
        high = float(self.tables.metres(max(totals) + 75.0))
        per_wrap = float(self.tables.metres(np.median(totals) + 1) - self.tables.metres(np.median(totals)))
        self.cell = CELL_WRAPS * per_wrap
        self.y = np.arange(low, high, self.cell)
        self.x = self.tables.turns(self.y)
        self.spread = truth.looseness * (self.x / (self.tables.turns_below[-1] / 2)) ** plan.fullness_power
        edges = np.asarray(self.cell * (np.arange(self.y.size + 1) - 0.5), dtype=np.float64)
        self.cut = np.diff(cut_law(plan, edges))
        self.steps = [self._step(a, b) for a, b in zip(self.counts[:-1], self.counts[1:], strict=True)]
        before: list[CountSeen | None] = [None, *self.counts[:-1]]
        self.seen = [self._seen(c, b) for c, b in zip(self.counts, before, strict=True)]

    def _read(self, total: float) -> FloatArray:
        d = total - self.x
        return cast(FloatArray, ndtr((d + 0.5) / self.spread) - ndtr((d - 0.5) / self.spread))

    def _seen(self, count: CountSeen, before: CountSeen | None) -> FloatArray:
        below, capacities = self.tables.turns_below, self.tables.capacities
        total = below[count.layers] + count.wraps
        if not self.slips:
            return cast(FloatArray, 0.99 * self._read(total) + 0.01 / below[-1])
        plan, same = self.plan, before is not None and (before.layers, before.wraps) == (count.layers, count.wraps)
        out = (1.0 - sum(plan.slips().values())) * self._read(total)
        out = out + plan.one_wrap * 0.5 * (self._read(total - 1) + self._read(total + 1))
        out = out + plan.correction * (
            0.5 * self._read(total - 1) + 0.25 * (self._read(total - 2) + self._read(total + 1))
        )
        for off, weight in ((-1, 1 / 3), (1, 1 / 3), (-2, 1 / 6), (2, 1 / 6)):
            layers = count.layers + off
            if 0 <= layers < capacities.size:
                out = out + plan.scale * weight * self._read(below[layers] + count.wraps)
        for subtract in (1, 2):
            wraps = capacities[count.layers] + 1 - 2 * subtract - count.wraps
            if wraps >= 0:
                out = out + plan.wrong_face * 0.5 * self._read(below[count.layers] + wraps)
        return cast(FloatArray, out + plan.copied * same + plan.anything / below[-1])

    def _step(self, a: CountSeen, b: CountSeen) -> tuple[float, FloatArray | None]:
        days = (b.at - a.at).total_seconds() / 86400
        p = float(-np.expm1(-self.plan.cut_per_interval - self.plan.cut_per_year * days / 365.25))
        logged = [c for c in self.truth.history.cuts if a.at < c.at <= b.at]
        kernel: FloatArray | None = None
        real = self.cell * np.arange(self.y.size)
        for entry in logged:
            sd = np.hypot(self.plan.logged_sd_m, self.plan.logged_sd_share * real) + 0.3 * self.cell
            one = self.cut * np.exp(-0.5 * ((entry.length_m - real) / sd) ** 2) / sd
            one = one / one.sum() if one.sum() > 0 else (real == real[np.abs(real - entry.length_m).argmin()]) * 1.0
            kernel = one if kernel is None else np.convolve(kernel, one)[: one.size]
        return p, kernel

    @staticmethod
    def _down(posterior: FloatArray, kernel: FloatArray) -> FloatArray:
        return cast(FloatArray, np.maximum(fftconvolve(posterior[::-1], kernel)[: posterior.size][::-1], 0.0))

    @staticmethod
    def _up(message: FloatArray, kernel: FloatArray) -> FloatArray:
        return cast(FloatArray, np.maximum(fftconvolve(message, kernel)[: message.size], 0.0))

    def watch(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Probability of an unlogged cut: given everything, and when counted; and the 5, 50, 95 % lengths."""
        after = [self.seen[0] / self.seen[0].sum()]
        stills, newest = [], []
        for t, (p, kernel) in enumerate(self.steps):
            still = after[-1] if kernel is None else self._down(after[-1], kernel)
            cut = self._down(still, self.cut)
            stay, gone = (1 - p) * still * self.seen[t + 1], p * cut * self.seen[t + 1]
            stills.append(still)
            newest.append(gone.sum() / (gone.sum() + stay.sum() + 1e-300))
            total = stay + gone + 1e-300
            after.append(total / total.sum())
        message = np.ones(self.y.size)
        smoothed, lengths = np.zeros(len(self.steps)), np.zeros((len(self.steps), 3))
        for t in range(len(self.steps) - 1, -1, -1):
            p, kernel = self.steps[t]
            message = message * self.seen[t + 1]
            overlap = np.maximum(fftconvolve(stills[t], message[::-1])[self.y.size - 1 :], 0.0)
            sizes = self.cut * overlap
            gone, stay = p * sizes.sum(), (1 - p) * overlap[0]
            smoothed[t] = gone / (gone + stay + 1e-300)
            summed = np.cumsum(sizes) / (sizes.sum() + 1e-300)
            lengths[t] = self.cell * np.searchsorted(summed, [0.05, 0.5, 0.95])
            message = (1 - p) * message + p * self._up(message, self.cut)
            message = message if kernel is None else self._up(message, kernel)
            message = message / message.sum()
        return smoothed, np.array(newest), lengths
