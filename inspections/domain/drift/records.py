"""What the drift model takes and what it answers: counts and logged cuts, and the posteriors of them."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from math import log

from reels.domain.winding import Drum


class Ending(StrEnum):
    """How a flag was closed; evidence for the next report."""

    LATE_LOGGED_CUT = "late_logged_cut"
    MISCOUNT = "miscount"
    CONFIRMED_LOSS = "confirmed_loss"
    UNEXPLAINED = "unexplained"


class Slip(StrEnum):
    """Ordinary ways in which two people write down a wrong count."""

    NONE = "none"
    ONE_WRAP = "one_wrap"
    CORRECTION = "correction"
    SCALE = "scale"
    WRONG_FACE = "wrong_face"
    NEARBY = "nearby"
    COPIED = "copied"
    ANYTHING = "anything"


SLIPS = tuple(Slip)
SLIP_WORDS = {
    Slip.NONE: "no slip",
    Slip.ONE_WRAP: "one wrap off",
    Slip.CORRECTION: "a correction forgotten or made twice",
    Slip.SCALE: "a flange scale misread by a layer or two",
    Slip.WRONG_FACE: "the wrong face of the gauge, counted from the other flange",
    Slip.NEARBY: "a few wraps off",
    Slip.COPIED: "the numbers of the time before written again",
    Slip.ANYTHING: "numbers that fit nothing",
}


class LogFault(StrEnum):
    """Ways in which what is logged in an interval may not be as it is written, or is of a neighbouring interval."""

    EARLIER = "earlier"  # it was made before the interval
    LATER = "later"  # it was made after it
    VOID = "void"  # it was not made, or stands there twice
    LENGTH = "length"
    FROM_BEFORE = "from_before"  # what is logged before the interval was made in it
    FROM_AFTER = "from_after"  # what is logged after the interval was made in it


LOG_FAULTS = tuple(LogFault)
OWN_FAULTS = LOG_FAULTS[:4]  # of what is logged in the interval itself


# A count with a smaller tail probability is held up. By its meaning one sound count in a hundred is; half of that would
# let through more one-wrap slips, twice as much would send more sound counts back to the bench.
OUTLIER_TAIL = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class CountSeen:
    """One count after the corrections: when it was made, full layers, part-layer wraps; by which publication and whom.

    revision: the publication and its revision, counted_by, verified_by: people, in any words, if they are known.
    site: people are compared within one.
    """

    at: datetime
    layers: int
    wraps: int
    revision: str | None = None
    counted_by: str | None = None
    verified_by: str | None = None
    site: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CutLogged:
    """One log entry: when the cut is said to have been made, when that was recorded (None: at once), metres."""

    at: datetime
    length_m: float
    recorded_at: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ClosedFlag:
    """The ending of a flag on the interval between two counts, known by their times."""

    from_at: datetime
    to_at: datetime
    ending: Ending


@dataclass(frozen=True, slots=True, kw_only=True)
class ReelHistory:
    """All that is known of a reel, or all that was known on some day: the caller chooses the rows.

    counts, cuts and replaced_at need no order. lead_wraps: the type's lead allowance. received_m: the cable's length
    when it was received, if it is known. Times are all aware or all naive.
    """

    reel: str
    drum: Drum
    counts: tuple[CountSeen, ...]
    cuts: tuple[CutLogged, ...] = ()
    replaced_at: tuple[datetime, ...] = ()
    lead_wraps: int = 1
    received_at: datetime | None = None
    received_m: float | None = None
    closed_flags: tuple[ClosedFlag, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class CountPosterior:
    """One count: is it a slip (0 to 1), of which kind most likely, and the turns that were really on the drum.

    likeliest_slip: NONE where a slip is less probable than one in a hundred. turns: posterior median. slips:
    probability of each of SLIPS. off_m: by how much the count is above the turns, metres.
    """

    at: datetime
    layers: int
    wraps: int
    p_slip: float
    likeliest_slip: Slip
    turns: float
    slips: tuple[float, ...]
    off_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class IntervalPosterior:
    """One pair of neighbouring counts; lengths in metres, cut lengths given that a cut was made (median, 5 and 95 %).

    observed_change_m: later count less earlier, by the winding model. p_unlogged_cut: given all counts; p_when_counted:
    given what was known at the later one. replaced: the cable was replaced in between, so that the two counts can't be
    compared; p_replaced: it was, and nobody logged it. log_doubt: probability that the log entries of this interval are
    not as written (another interval, twice, another length). rule_wraps, people_wraps: by how many wraps a changed rule
    alone, and who counted alone, makes the later count higher than the earlier. log_faults: probability of each of
    LOG_FAULTS. p_ordinary: that nothing was cut but what is logged as it is written, and neither count is a slip.
    drop_m: by how much the later count is lower than the earlier one, the log, stretch, a changed rule and who counted
    lead to expect; usual_m: the standard deviation of that by looseness, rounding and measured lengths.
    """

    from_at: datetime
    to_at: datetime
    observed_change_m: float
    logged_cut_m: float
    p_unlogged_cut: float
    p_when_counted: float
    cut_m: float
    cut_low_m: float
    cut_high_m: float
    replaced: bool = False
    p_replaced: float = 0.0
    log_doubt: float = 0.0
    ending: Ending | None = None
    rule_wraps: int = 0
    people_wraps: float = 0.0
    log_faults: tuple[float, ...] = (0.0,) * len(LOG_FAULTS)
    p_ordinary: float = 0.0
    drop_m: float = 0.0
    usual_m: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ReelAssessment:
    """One reel's posteriors, in order of time; looseness_wraps is the spread of its counts on a half-full drum."""

    reel: str
    counts: tuple[CountPosterior, ...]
    intervals: tuple[IntervalPosterior, ...]
    looseness_wraps: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Plausibility:
    """A count just keyed, held against the history before it.

    tail: probability of a count at least as improbable as this one, if there was neither a slip nor an unlogged cut; 1
    if there is nothing to compare with. expected_turns: what the history predicts. p_unlogged_cut, p_slip: what would
    explain the count, each with or without the other; p_cut_alone: a cut, and the count is as it should be. cut_m,
    cut_low_m, cut_high_m: how long such a cut would be, 90 % interval; 0 where none would explain the count.
    by_general_rates: no rates of the fleet were learned yet.
    """

    comparable: bool
    tail: float
    expected_turns: float
    seen_turns: float
    p_unlogged_cut: float
    p_cut_alone: float
    cut_m: float
    cut_low_m: float
    cut_high_m: float
    p_slip: float
    likeliest_slip: Slip
    by_general_rates: bool = False

    @property
    def is_outlier(self) -> bool:
        """Whether it needs a logged cut, a fresh reading or a reason before it's signed."""
        return self.tail < OUTLIER_TAIL

    @property
    def is_cut_likelier(self) -> bool:
        """Whether a cut explains the count better than a slip. Where neither does, the reel is read again first."""
        return self.p_cut_alone > self.p_slip


@dataclass(frozen=True, slots=True, kw_only=True)
class Recount:
    """One more count now, and the question whether there was an unlogged cut before the newest one.

    p_cut: what is believed of it now. doubt_bits: how open the question is, 0 (settled) to 1 (even odds). worth_bits:
    by how much the count is expected to lower that. doubt_m, worth_m: the same of the metres that are missing, as a
    standard deviation.
    """

    p_cut: float
    doubt_bits: float
    worth_bits: float
    doubt_m: float = 0.0
    worth_m: float = 0.0

    @property
    def worth_nats(self) -> float:
        """The worth in nats, as log losses are told."""
        return self.worth_bits * log(2.0)

    @property
    def settled_share(self) -> float:
        """The share of the doubt that one more count is expected to take away, 0 to 1."""
        return min(self.worth_bits / self.doubt_bits, 1.0) if self.doubt_bits else 0.0


NOTHING_TO_ASK = Recount(p_cut=0.0, doubt_bits=0.0, worth_bits=0.0)
