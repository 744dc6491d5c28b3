"""What a report may be expected to find on a fleet, and the most that anybody could: measured on fleets like it.

Fleets like this one are drawn (simulation), the report learns and assesses each as if nothing of it were known, and
beside it an exact observer, the same recursions told every true rate and each reel's own looseness: on a fleet that
is drawn from the model nobody can know more. How well the model fits a fleet that is not, is another question, which
tests/benchmarks/drift answers.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from inspections.domain.drift.flags import choose_flags
from inspections.domain.drift.fleet import assess_fleet
from inspections.domain.drift.learning import learn
from inspections.domain.drift.parameters import LOOSENESS_GRID_WRAPS, DriftParameters
from inspections.domain.drift.records import IntervalPosterior, ReelAssessment, ReelHistory
from inspections.domain.drift.simulation import SimulatedReel, simulate
from reels.domain.uncertainty import FloatArray
from reels.domain.words import LengthUnit

LEAST_M = 2.0  # cuts that are asked about: shorter ones hide in looseness and rounding
DRAWS = 5
COUNTS = 4_000  # of a drawn fleet at most; of a larger fleet reels are taken evenly, which bounds the time
BoolArray = NDArray[np.bool_]
Progress = Callable[[str, int, int], None]  # in words; how many are done, of how many


def unheard(words: str, done: int, of: int) -> None:
    """For progress that nobody asked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SelfCheck:
    """Numbers over all draws. reels, intervals: of one draw. cuts: unlogged ones of at least least_m.

    found, limit: how many of these are flagged, by the report and by the exact observer. flags, false: how many the
    report raises, and over no cut at all; covered: true flags whose length's 90 % interval holds the true length.
    """

    draws: int
    reels: int
    intervals: int
    least_m: float
    false_share: float
    cuts: int
    found: int
    limit: int
    flags: int
    false: int
    covered: int


def self_check(
    histories: Sequence[ReelHistory],
    theta: DriftParameters,
    *,
    false_share: float,
    seed: int,
    draws: int = DRAWS,
    progress: Progress = unheard,
) -> SelfCheck:
    """What the report finds on fleets like this one.

    histories, theta: the fleet, and its parameters. Time: `draws` times what learning and assessing COUNTS counts takes
    at most, and once more to assess them.
    """
    step = max(1, -(-sum(len(h.counts) for h in histories) // COUNTS))
    sample, rng = [h for h in histories[::step] if len(h.counts) > 1], np.random.default_rng(seed)
    numbers, intervals = np.zeros(6, dtype=np.int64), 0
    for number in range(draws):
        progress(f"Drawing fleet {number + 1} of {draws}.", number, draws)
        fleet = simulate(sample, theta, rng)
        drawn = [reel.history for reel in fleet]
        answers = _answers(assess_fleet(drawn, learn(drawn)))
        judged = _Judged(
            true_m=np.concatenate([np.zeros(0), *(reel.unlogged_m for reel in fleet)]),
            report=answers,
            observer=_answers(observe(fleet, theta)),
        )
        numbers += judged.numbers(false_share)
        intervals = len(answers)
    cuts, n_found, limit, flags, false, covered = numbers.tolist()
    return SelfCheck(
        draws=draws, reels=len(sample), intervals=intervals, least_m=LEAST_M, false_share=false_share, cuts=cuts,
        found=n_found, limit=limit, flags=flags, false=false, covered=covered,
    )  # fmt: skip


def observe(fleet: Sequence[SimulatedReel], theta: DriftParameters) -> Iterator[ReelAssessment]:
    """The exact observer's beliefs of each reel, in their order: told θ, and each reel's own looseness."""
    by_looseness: dict[int, Iterator[ReelAssessment]] = {}
    for place in sorted({reel.looseness for reel in fleet}):
        own = tuple(float(at == place) for at in range(LOOSENESS_GRID_WRAPS.size))
        theirs = [reel.history for reel in fleet if reel.looseness == place]
        by_looseness[place] = assess_fleet(theirs, replace(theta, looseness_shares=own))
    for reel in fleet:
        yield next(by_looseness[reel.looseness])


def _answers(assessed: Iterator[ReelAssessment]) -> list[IntervalPosterior]:
    return [interval for reel in assessed for interval in reel.intervals]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Judged:
    true_m: FloatArray
    report: list[IntervalPosterior]
    observer: list[IntervalPosterior]

    def numbers(self, false_share: float) -> NDArray[np.int64]:
        """cuts, found, limit, flags, false, covered."""
        flagged, known = (
            np.array(choose_flags([each.p_unlogged_cut for each in rows], false_share), dtype=bool)
            for rows in (self.report, self.observer)
        )
        asked, true = self.true_m >= LEAST_M, flagged & (self.true_m > 0)
        low, high = np.array([(each.cut_low_m, each.cut_high_m) for each in self.report]).reshape(-1, 2).T
        covered = true & (low <= self.true_m) & (self.true_m <= high)
        # over a replacement nothing is known, and NaN is neither a cut nor none
        false = flagged & (self.true_m == 0)
        return np.array([np.count_nonzero(each) for each in
                         (asked, asked & flagged, asked & known, flagged, false, covered)])  # fmt: skip


def check_in_words(checked: SelfCheck, unit: LengthUnit = LengthUnit.METRES) -> str:
    """What to expect, in a sentence or two."""
    least = f"{checked.least_m / float(unit.metres):.3g} {unit}"
    on = f"{checked.draws} drawn fleets with {checked.cuts} such cuts"
    if not checked.cuts:
        return f"On fleets like yours there is no unlogged cut above {least} to be found ({on})."
    true = checked.flags - checked.false
    covers = f" The 90 % interval of a length covers {_per_cent(checked.covered, true)}." if true else ""
    false = f"{_per_cent(checked.false, checked.flags)} false flags ({100 * checked.false_share:.0f} % are allowed)"
    return (
        f"On fleets like yours this finds {_per_cent(checked.found, checked.cuts)} of unlogged cuts above {least} at "
        f"{false}; the limit, for whoever knew every rate, is {_per_cent(checked.limit, checked.cuts)}.{covers} "
        f"Measured on {on}."
    )


def _per_cent(part: int, whole: int) -> str:
    return f"{100 * part / whole:.0f} %" if whole else "0 %"
