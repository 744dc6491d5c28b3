"""Sentences about beliefs, made of the facts that decided them, in words a technician accepts."""

from datetime import datetime
from typing import TYPE_CHECKING

from inspections.domain.drift_records import SLIP_WORDS, CountBelief, Ending, IntervalBelief, ReelAssessment, Slip

if TYPE_CHECKING:
    from inspections.domain.drift_newest import Plausibility

ENDING_WORDS = {
    Ending.LATE_LOGGED_CUT: "it was closed as a cut logged late",
    Ending.MISCOUNT: "it was closed as a miscount",
    Ending.CONFIRMED_LOSS: "it was closed as a confirmed loss",
    Ending.UNEXPLAINED: "it was looked into and stayed unexplained",
}


def explain(reel: ReelAssessment, place: int) -> str:
    """Why an interval is, or isn't, taken for an unlogged cut.

    place: of the interval in reel.intervals.
    """
    interval = reel.intervals[place]
    if interval.replaced:
        return "The cable was replaced between the two counts, which can't be compared."
    parts = [_change(interval), *_log_doubt(interval)]
    parts += _for_a_cut(reel, place) if interval.p_unlogged_cut >= 0.5 else _against_a_cut(reel, place)
    if interval.ending is not None:
        parts.append(ENDING_WORDS[interval.ending])
    sentence = "; ".join(parts)
    return f"{sentence[0].upper()}{sentence[1:]}."


def _day(at: datetime) -> str:
    return f"{at:%Y-%m-%d}"


def _change(interval: IntervalBelief) -> str:
    change = interval.observed_change_m
    way = "shorter" if change < 0 else "longer"
    seen = f"{abs(change):.1f} m {way}" if abs(change) >= 0.05 else "no different"
    log = f"{interval.logged_cut_m:.1f} m is logged" if interval.logged_cut_m > 0 else "no cut is logged"
    return f"from {_day(interval.from_at)} to {_day(interval.to_at)} the counts make the cable {seen} and {log}"


def _log_doubt(interval: IntervalBelief) -> list[str]:
    if interval.logged_cut_m <= 0 or interval.log_doubt < 0.5:
        return []
    return ["the log entry does not fit as written (another day, entered twice, or another length)"]


def _steady_after(reel: ReelAssessment, place: int) -> tuple[int, int]:
    """Counts after the interval and before the next move, and how many of them are no slips."""
    last = place + 1
    while last < len(reel.intervals) and not _moved(reel.intervals[last]):
        last += 1
    counts = reel.counts[place + 1 : last + 1]
    return len(counts), sum(c.p_slip < 0.5 for c in counts)


def _steady_before(reel: ReelAssessment, place: int) -> tuple[int, int]:
    first = place
    while first > 0 and not _moved(reel.intervals[first - 1]):
        first -= 1
    counts = reel.counts[first : place + 1]
    return len(counts), sum(c.p_slip < 0.5 for c in counts)


def _moved(interval: IntervalBelief) -> bool:
    return interval.replaced or interval.logged_cut_m > 0 or interval.p_unlogged_cut >= 0.5


def _for_a_cut(reel: ReelAssessment, place: int) -> list[str]:
    interval = reel.intervals[place]
    after, kept = _steady_after(reel, place)
    before, held = _steady_before(reel, place)
    parts = [
        f"{held} of {before} {_counts(before)} before it hold to the longer cable and {kept} of {after} "
        f"{_counts(after)} after it to the shorter"
    ]
    parts.append(f"about {interval.cut_m:.1f} m are missing ({interval.cut_low_m:.1f} to {interval.cut_high_m:.1f} m)")
    if after == 1:
        parts.append("a further count would tell a cut from a slip")
    return parts


def _counts(n: int) -> str:
    return "count" if n == 1 else "counts"


def _against_a_cut(reel: ReelAssessment, place: int) -> list[str]:
    slips = [c for c in reel.counts[place : place + 2] if c.p_slip >= 0.5]
    if slips:
        return [_slip(c) for c in slips]
    if reel.intervals[place].p_unlogged_cut >= 0.05:
        return [f"a cut of about {reel.intervals[place].cut_m:.1f} m can't be ruled out"]
    return [f"looseness of {reel.looseness_wraps:.1f} wraps, whole wraps and the log explain it"]


def _slip(count: CountBelief) -> str:
    return (
        f"the count of {_day(count.at)} ({count.layers} layers, {count.wraps} wraps) does not fit those around it: "
        f"most likely {SLIP_WORDS[count.likeliest_slip]}"
    )


def plausibility_in_words(found: "Plausibility") -> str:
    """What to say about a count just keyed; the offer to log a cut comes first."""
    if not found.comparable:
        return "There is no earlier count of this cable to compare with."
    off = found.seen_turns - found.expected_turns
    way = "fewer" if off < 0 else "more"
    if not found.surprising:
        return f"The count fits the history of the reel ({abs(off):.1f} wraps {way} than expected)."
    parts = [f"{abs(off):.1f} wraps {way} than the history predicts, as rare as 1 in {_one_in(found.tail)}"]
    if found.p_unlogged_cut >= 0.05:
        parts.append(f"a cut of about {found.cut_m:.1f} m would explain it: was one made? Log it now")
    if found.p_slip >= 0.05 and found.likeliest_slip is not Slip.NONE:
        parts.append(f"so would a slip: {SLIP_WORDS[found.likeliest_slip]}")
    return f"The count is {'; '.join(parts)}."


def _one_in(tail: float) -> int:
    n = 1.0 / max(tail, 1e-6)
    return round(n, -len(str(int(n))) + 1) if n >= 10 else round(n)  # type: ignore[return-value]
