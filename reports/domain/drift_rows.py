"""The rows of the drift report: one a pair of neighbouring counts, and from which probability on they are flagged."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time

from inspections.domain.drift import ReelAssessment, explain
from reels.domain.words import LengthUnit

FALSE_SHARE = 0.05  # expected share of false flags, unless asked otherwise
CHECK_SEED = 20_261_130  # of the fleets that a self-check draws: whoever runs it again finds the same
NOTHING = 2.0  # a probability that nothing reaches


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftRow:
    """One pair of neighbouring counts; lengths in metres, those of a cut given that there was one.

    explanation: in metres; explanation_ft: the same in feet.
    """

    reel: str
    from_at: datetime
    to_at: datetime
    observed_change_m: float
    logged_cut_m: float
    p_unlogged_cut: float
    p_when_counted: float
    cut_m: float
    cut_low_m: float
    cut_high_m: float
    explanation: str
    explanation_ft: str


COLUMNS = (
    "reel", "from_at", "to_at", "observed_change_m", "logged_cut_m", "p_unlogged_cut", "p_when_counted", "cut_m",
    "cut_low_m", "cut_high_m", "flagged", "explanation",
)  # fmt: skip
_OF_INTERVAL = COLUMNS[1:10]


def rows_of(assessment: ReelAssessment) -> Iterator[DriftRow]:
    """The rows of one reel, in order of time."""
    for place, interval in enumerate(assessment.intervals):
        values = {name: getattr(interval, name) for name in _OF_INTERVAL}
        yield DriftRow(
            reel=assessment.reel, explanation=explain(assessment, place),
            explanation_ft=explain(assessment, place, LengthUnit.FEET), **values,
        )  # fmt: skip


def flag_from(falling: Iterable[float], false_share: float = FALSE_SHARE) -> float:
    """From which probability on is flagged, so that the expected share of false flags stays at or below false_share.

    Half-way from the last one flagged to the next: a reel that is looked at between two reports, and whose probability
    moved by a hair, is flagged as the report says. falling: probabilities, the highest first; read only as far as
    needed. Returns NOTHING when none is flagged.
    Source: the Bayesian false discovery rate, as in inspections.domain.drift.choose_flags, which gives the same flags.
    """
    least, last, expected_false, seen = NOTHING, NOTHING, 0.0, 0
    for p in falling:
        if p < last:
            least, last = last, p
        expected_false, seen = expected_false + 1.0 - p, seen + 1
        if expected_false > false_share * seen + 1e-12:  # the mean of 1 - p only grows from here on
            middle = (least + last) / 2.0
            return middle if last < middle < 1.0 else least
    return last


def moment(at: datetime) -> str:
    """A time as reports write it: RFC 3339 in UTC."""
    return at.astimezone(UTC).isoformat().replace("+00:00", "Z")


def end_of(day: date) -> datetime:
    """The last moment of a day, in UTC."""
    return datetime.combine(day, time.max, tzinfo=UTC)


def as_written(row: DriftRow, flag_at: float) -> dict[str, str]:
    """The row as text, by column and in their order.

    Probabilities have nine decimals: many are small, and they are to be told apart.
    """
    lengths = ("observed_change_m", "logged_cut_m", "cut_m", "cut_low_m", "cut_high_m")
    text = {
        "reel": row.reel,
        "from_at": moment(row.from_at),
        "to_at": moment(row.to_at),
        **{name: f"{getattr(row, name):.3f}" for name in lengths},
        **{name: f"{getattr(row, name):.9f}" for name in ("p_unlogged_cut", "p_when_counted")},
        "flagged": "yes" if row.p_unlogged_cut >= flag_at else "no",
        "explanation": row.explanation,
    }
    return {name: text[name] for name in COLUMNS}
