"""What explains the difference of two neighbouring counts: the posteriors of both counts, of the log and of a loss.

An explanation is a set of courses, and its probability that of all of them. Some may come together (a cut, and a slip
at the count after it), but none of the others with ORDINARY. What has the most is the winner, and nothing is claimed
that is not likelier than not.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from inspections.domain.drift.fixed import FIXED
from inspections.domain.drift.records import (
    LOG_FAULTS,
    OWN_FAULTS,
    SLIPS,
    CountPosterior,
    IntervalPosterior,
    LogFault,
    ReelAssessment,
    Slip,
)


class LikelyCause(StrEnum):
    """What may explain a difference. ORDINARY: looseness, rounding, stretch and the log as it is written."""

    ORDINARY = "ordinary"
    LOSS = "loss"
    SLIP_BEFORE = "slip_before"  # at the earlier count
    SLIP_AFTER = "slip_after"  # at the later count
    LOG = "log"  # what is logged in the interval is not as it is written
    FROM_BEFORE = "from_before"  # what is logged before the interval was made in it
    FROM_AFTER = "from_after"


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """A cause and its probability. slip, fault: of which kind, if that kind has more than any other state."""

    cause: LikelyCause
    p: float
    slip: Slip | None = None
    fault: LogFault | None = None

    @property
    def is_likely(self) -> bool:
        """Likelier than not."""
        return self.p >= FIXED.likely


def explanations(reel: ReelAssessment, place: int) -> list[Explanation]:
    """What may explain an interval, the most probable first. place: in reel.intervals, of one without a replacement."""
    return sorted(_possible(reel, place), key=lambda each: -each.p)


def _possible(reel: ReelAssessment, place: int) -> Iterator[Explanation]:
    interval = reel.intervals[place]
    yield Explanation(cause=LikelyCause.ORDINARY, p=interval.p_ordinary)
    yield Explanation(cause=LikelyCause.LOSS, p=interval.p_unlogged_cut)
    for cause, count in zip(
        (LikelyCause.SLIP_BEFORE, LikelyCause.SLIP_AFTER), reel.counts[place : place + 2], strict=True
    ):
        yield Explanation(cause=cause, p=count.p_slip, slip=_likeliest_state(count))
    yield Explanation(cause=LikelyCause.LOG, p=interval.log_doubt, fault=_likeliest_fault(interval))
    for cause, fault in (
        (LikelyCause.FROM_BEFORE, LogFault.FROM_BEFORE),
        (LikelyCause.FROM_AFTER, LogFault.FROM_AFTER),
    ):
        yield Explanation(cause=cause, p=interval.log_faults[LOG_FAULTS.index(fault)])


def _likeliest_state(count: CountPosterior) -> Slip | None:
    """The slip that has more than any other state of the count, no slip included."""
    likeliest = max(SLIPS, key=lambda slip: count.slips[SLIPS.index(slip)])
    return None if likeliest is Slip.NONE else likeliest


def _likeliest_fault(interval: IntervalPosterior) -> LogFault | None:
    """The fault that has more than any other and than the log as it is written."""
    likeliest = max(OWN_FAULTS, key=lambda fault: interval.log_faults[LOG_FAULTS.index(fault)])
    as_written = 1.0 - interval.log_doubt
    return likeliest if interval.log_faults[LOG_FAULTS.index(likeliest)] > as_written else None


def is_usual(interval: IntervalPosterior) -> bool:
    """Whether looseness, rounding and measured lengths alone make such a difference, within usual_spreads."""
    return abs(interval.drop_m) <= FIXED.usual_spreads * interval.usual_m


def spreads_off(interval: IntervalPosterior) -> float:
    """The difference in standard deviations of the usual."""
    return abs(interval.drop_m) / interval.usual_m


def excludes_the_drop(interval: IntervalPosterior) -> bool:
    """Whether the drop that is seen lies outside the interval of the loss."""
    return not interval.cut_low_m <= interval.drop_m <= interval.cut_high_m
