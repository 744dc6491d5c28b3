"""Sentences about posteriors, made of the facts that decided them, in words a technician accepts."""

from collections.abc import Sequence
from datetime import datetime

from inspections.domain.drift.fixed import FIXED
from inspections.domain.drift.parameters import wraps_apart
from inspections.domain.drift.records import (
    SLIP_WORDS,
    CountPosterior,
    Ending,
    IntervalPosterior,
    Plausibility,
    ReelAssessment,
    Slip,
)
from reels.domain.words import LengthUnit, counted

ENDING_WORDS = {
    Ending.LATE_LOGGED_CUT: "its flag was closed as a cut logged late",
    Ending.MISCOUNT: "its flag was closed as a miscount",
    Ending.CONFIRMED_LOSS: "its flag was closed as a confirmed loss",
    Ending.UNEXPLAINED: "its flag was looked into and stayed unexplained",
}


def explain(reel: ReelAssessment, place: int, unit: LengthUnit = LengthUnit.METRES) -> str:
    """Why an interval is, or isn't, taken for an unlogged cut.

    place: of the interval in reel.intervals. unit: that of the lengths in the sentence.
    """
    interval = reel.intervals[place]
    if interval.replaced:
        return "The cable was replaced between the two counts, which can't be compared."
    parts = [_change(interval, unit), *_rule_change(interval), *_people(interval), *_log_doubt(interval)]
    parts += (
        _for_a_cut(reel, place, unit) if interval.p_unlogged_cut >= FIXED.likely else _against_a_cut(reel, place, unit)
    )
    if interval.ending is not None:
        parts.append(ENDING_WORDS[interval.ending])
    sentence = "; ".join(parts)
    return f"{sentence[0].upper()}{sentence[1:]}."


def _day(at: datetime) -> str:
    return f"{at:%Y-%m-%d}"


def _long(length_m: float, unit: LengthUnit) -> str:
    """A length to a tenth of its unit."""
    return f"{length_m / float(unit.metres):.1f} {unit}"


def _change(interval: IntervalPosterior, unit: LengthUnit) -> str:
    change = interval.observed_change_m
    way = "below" if change < 0 else "above"
    seen = f"{_long(abs(change), unit)} {way}" if abs(change) >= 0.05 else "the same length as"
    cut = interval.logged_cut_m
    log = f"{_long(cut, unit)} is logged as cut" if cut > 0 else "no cut is logged"
    return f"the count of {_day(interval.to_at)} is {seen} that of {_day(interval.from_at)}, and {log} between them"


def _rule_change(interval: IntervalPosterior) -> list[str]:
    if not interval.rule_wraps:
        return []
    return [f"counts of the fleet came out {wraps_apart(interval.rule_wraps)} by then, by a changed rule as it seems"]


def _people(interval: IntervalPosterior) -> list[str]:
    wraps = interval.people_wraps
    if not wraps:
        return []
    far = "one wrap" if abs(wraps) == 1.0 else f"{abs(wraps):g} wraps"
    return [f"counts by who made the later one lie {far} {'above' if wraps > 0 else 'below'} those by the other's"]


def _log_doubt(interval: IntervalPosterior) -> list[str]:
    if interval.logged_cut_m <= 0 or interval.log_doubt < FIXED.likely:
        return []
    return ["what is logged does not fit as it is written (another day, entered twice, or another length)"]


def _steady(reel: ReelAssessment, place: int) -> tuple[tuple[int, int], tuple[int, int]]:
    """Counts from the last move to the interval, and from it to the next move; of each, how many are no slips."""
    first, last = place, place + 1
    while first > 0 and not _moved(reel.intervals[first - 1]):
        first -= 1
    while last < len(reel.intervals) and not _moved(reel.intervals[last]):
        last += 1
    before, after = reel.counts[first : place + 1], reel.counts[place + 1 : last + 1]
    return (len(before), _no_slips(before)), (len(after), _no_slips(after))


def _no_slips(counts: Sequence[CountPosterior]) -> int:
    return sum(count.p_slip < FIXED.likely for count in counts)


def _moved(interval: IntervalPosterior) -> bool:
    return interval.replaced or interval.logged_cut_m > 0 or interval.p_unlogged_cut >= FIXED.likely


def _for_a_cut(reel: ReelAssessment, place: int, unit: LengthUnit) -> list[str]:
    interval = reel.intervals[place]
    before, after = _steady(reel, place)
    low = interval.cut_low_m / float(unit.metres)
    parts = [
        f"{_of_counts(*before)} before it {_fit(*before)} the longer cable, and {_of_counts(*after)} after it "
        f"{_fit(*after)} the shorter",
        f"about {_long(interval.cut_m, unit)} are missing ({low:.1f} to {_long(interval.cut_high_m, unit)})",
    ]
    if after[0] == 1:
        parts.append("one more count would tell a cut from a slip")
    return parts


def _of_counts(n: int, fitting: int) -> str:
    if fitting == n:
        return {1: "the count", 2: "both counts"}.get(n, f"all {n} counts")
    if n == 1:
        return "not even the count"
    return f"{fitting or 'none'} of the {n} counts"


def _fit(n: int, fitting: int) -> str:
    return "fits" if fitting == 1 or n == 1 else "fit"


def _against_a_cut(reel: ReelAssessment, place: int, unit: LengthUnit) -> list[str]:
    slips = [c for c in reel.counts[place : place + 2] if c.p_slip >= FIXED.likely]
    if slips:
        return [_slip(c) for c in slips]
    interval = reel.intervals[place]
    if interval.p_unlogged_cut >= FIXED.worth_saying:
        return [f"an unlogged cut of about {_long(interval.cut_m, unit)} can't be ruled out"]
    logged = "the logged cut, " if interval.logged_cut_m > 0 else ""
    usual = f"the looseness usual for this reel ({reel.looseness_wraps:.1f} wraps)"
    return [f"{logged}{usual} and the rounding to whole wraps explain it"]


def _slip(count: CountPosterior) -> str:
    why = f"most likely {SLIP_WORDS[count.likeliest_slip]}"
    if count.likeliest_slip is Slip.ANYTHING:
        why = "no ordinary slip explains it"
    which = f"{_day(count.at)} ({counted(count.layers, 'layer')}, {counted(count.wraps, 'wrap')})"
    return f"the count of {which} does not fit those around it: {why}"


BY_GENERAL_RATES = " This is by general rates: the fleet's own are not learned yet."


def plausibility_in_words(weighed: Plausibility, unit: LengthUnit = LengthUnit.METRES) -> str:
    """What to say about a count just keyed, lengths in a unit; what explains it best comes first."""
    if not weighed.comparable:
        return "There is no earlier count of this cable to compare with."
    off = weighed.seen_turns - weighed.expected_turns
    apart = f"{abs(off):.1f} wraps {'fewer' if off < 0 else 'more'} than"
    by = BY_GENERAL_RATES if weighed.by_general_rates else ""
    if not weighed.is_outlier:
        near = "as many wraps as" if abs(off) < 0.05 else apart
        return f"The count fits the reel's history: {near} expected.{by}"
    how_often = f"without a cut or a slip that happens {_how_often(weighed.tail)}"
    return f"The count is {apart} the history predicts; {how_often}. {_what_explains(weighed, unit)}{by}"


def _what_explains(weighed: Plausibility, unit: LengthUnit) -> str:
    """What is likelier comes first."""
    explanations = []
    if weighed.p_cut_alone >= FIXED.worth_saying:
        cut = f"a cut of about {_long(weighed.cut_m, unit)}: was one made? Log it now."
        explanations.append((weighed.p_cut_alone, cut))
    if weighed.p_slip >= FIXED.worth_saying and weighed.likeliest_slip not in (Slip.NONE, Slip.ANYTHING):
        explanations.append((weighed.p_slip, f"a slip: {SLIP_WORDS[weighed.likeliest_slip]}."))
    if not explanations:
        return "Neither a cut of a usual length nor an ordinary slip explains it."
    best, *others = (words for _, words in sorted(explanations, reverse=True))
    begin = "What explains it best is" if others else "What would explain it is"
    return " ".join([f"{begin} {best}", *(f"Less likely is {other}" for other in others)])


def _how_often(tail: float) -> str:
    """To one figure: "once in 400 counts", "less than once in a million counts"."""
    if tail < 1e-6:
        return "less than once in a million counts"
    n = round(1.0 / tail)
    return f"once in {round(n, 1 - len(str(n))):,} counts"
