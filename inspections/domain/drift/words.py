"""Sentences about posteriors, made of the facts that decided them, in words a technician accepts."""

from collections.abc import Sequence
from datetime import datetime
from typing import assert_never

from inspections.domain.drift.explanations import (
    Explanation,
    LikelyCause,
    excludes_the_drop,
    explanations,
    is_usual,
    spreads_off,
)
from inspections.domain.drift.fixed import FIXED
from inspections.domain.drift.parameters import wraps_apart
from inspections.domain.drift.records import (
    SLIP_WORDS,
    CountPosterior,
    Ending,
    IntervalPosterior,
    LogFault,
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

FAULT_WORDS = {
    LogFault.EARLIER: "what is logged between them was cut before the first of them",
    LogFault.LATER: "what is logged between them was cut after the second of them",
    LogFault.VOID: "what is logged was not cut, or stands there twice",
    LogFault.LENGTH: "what is logged has another length than was cut",
    None: "what is logged does not fit as it is written (another day, entered twice, or another length)",
}
EVEN_ODDS, THREE_TO_TWO, MOST_ODDS = 1.25, 1.75, 1000  # what is said of odds up to the first two, and from the last on
LEAST_SAID_M = 0.05  # what is shorter reads as 0.0


def explain(reel: ReelAssessment, place: int, unit: LengthUnit = LengthUnit.METRES) -> str:
    """What explains the difference of two neighbouring counts, and by what odds.

    place: of the interval in reel.intervals. unit: that of the lengths in the sentence.
    """
    interval = reel.intervals[place]
    if interval.replaced:
        return "The cable was replaced between the two counts, which can't be compared."
    if interval.p_replaced >= FIXED.likely:
        return _sentence([_change(interval, unit), _was_it_replaced(reel.reel, interval)], end="?")
    winner, *others = explanations(reel, place)
    claimed = [each for each in (winner, *others) if each.is_likely and each.cause is not LikelyCause.ORDINARY]
    parts = [_change(interval, unit), *_rule_change(interval), *_people(interval)]
    for each in claimed:
        parts += _claim(reel, place, each, unit)
    if not claimed:
        parts += (
            _usual(reel, interval, winner) if winner.cause is LikelyCause.ORDINARY else _open(reel, place, winner, unit)
        )
    parts += [
        _besides(reel, place, each, unit) for each in others if each not in claimed and _is_worth_saying(each, winner)
    ]
    if _would_tell(reel, place):
        parts.append("one more count would tell a cut from a slip")
    if interval.ending is not None:
        parts.append(ENDING_WORDS[interval.ending])
    return _sentence(parts)


def _was_it_replaced(reel: str, interval: IntervalPosterior) -> str:
    between = f"between {_day(interval.from_at)} and {_day(interval.to_at)}"
    how = odds(interval.p_replaced)
    return f"the counts from then on fit another cable ({how}): was that of {reel} replaced {between}"


def _sentence(parts: Sequence[str], end: str = ".") -> str:
    sentence = "; ".join(parts)
    return f"{sentence[0].upper()}{sentence[1:]}{end}"


def _is_worth_saying(each: Explanation, winner: Explanation) -> bool:
    """A loss always is; the rest only where nothing is likelier than not."""
    asked = each.cause is LikelyCause.LOSS or not winner.is_likely
    return asked and each.cause is not LikelyCause.ORDINARY and each.p >= FIXED.worth_saying


def _would_tell(reel: ReelAssessment, place: int) -> bool:
    """Of the newest interval, if it is in doubt whether it has a loss."""
    p = reel.intervals[place].p_unlogged_cut
    return place == len(reel.intervals) - 1 and FIXED.worth_saying <= p <= FIXED.settled


def _claim(reel: ReelAssessment, place: int, each: Explanation, unit: LengthUnit) -> list[str]:
    if each.cause is LikelyCause.LOSS:
        return _loss(reel, place, unit)
    return [f"{_cause(reel, place, each, unit)} ({odds(each.p)})"]


def _usual(reel: ReelAssessment, interval: IntervalPosterior, winner: Explanation) -> list[str]:
    logged = "the logged cut, " if interval.logged_cut_m > 0 else ""
    if is_usual(interval):
        usual = f"the looseness usual for this reel ({reel.looseness_wraps:.1f} wraps)"
        how = "explain it" if winner.is_likely else "explain it better than anything else"
        return [f"{logged}{usual} and the rounding to whole wraps {how} ({odds(winner.p)})"]
    off = f"that is {spreads_off(interval):.1f} times the usual spread of this reel's counts"
    return [f"{off}, and still no cut and no slip explains it better ({odds(winner.p)} for none)"]


def _open(reel: ReelAssessment, place: int, winner: Explanation, unit: LengthUnit) -> list[str]:
    if winner.p < FIXED.worth_saying:
        return ["nothing explains it by itself: several things came together"]
    cause = _cause(reel, place, winner, unit)
    return [f"nothing explains it for sure; the likeliest is that {cause} ({odds(winner.p)})"]


def _besides(reel: ReelAssessment, place: int, each: Explanation, unit: LengthUnit) -> str:
    if each.cause is LikelyCause.LOSS:
        cut = _long(reel.intervals[place].cut_m, unit)
        return f"an unlogged cut of about {cut} can't be ruled out ({odds(each.p)})"
    return f"less likely is that {_cause(reel, place, each, unit)} ({odds(each.p)})"


def _cause(reel: ReelAssessment, place: int, each: Explanation, unit: LengthUnit) -> str:
    """A cause as a clause of its own."""
    before, after = reel.counts[place : place + 2]
    match each.cause:
        case LikelyCause.LOSS:
            return f"about {_long(reel.intervals[place].cut_m, unit)} were cut and not logged"
        case LikelyCause.SLIP_BEFORE:
            return _slip(before, each.slip)
        case LikelyCause.SLIP_AFTER:
            return _slip(after, each.slip)
        case LikelyCause.LOG:
            return FAULT_WORDS[each.fault]
        case LikelyCause.FROM_BEFORE:
            return f"a cut logged before {_day(before.at)} was made after that count"
        case LikelyCause.FROM_AFTER:
            return f"a cut logged after {_day(after.at)} was made before that count"
        case LikelyCause.ORDINARY:
            return "nothing happened but what is logged"
        case _:
            assert_never(each.cause)


def odds(p: float) -> str:
    """ "about 9 to 1", "about even odds", "about 1 to 4": p over 1 − p, to one figure from ten on."""
    ratio = max(p, 1.0 - p) / max(min(p, 1.0 - p), 1e-12)
    if ratio < EVEN_ODDS:
        return "about even odds"
    if ratio >= MOST_ODDS:
        of = f"more than {MOST_ODDS:,} to 1"
        return of if p > 0.5 else f"less than 1 to {MOST_ODDS:,}"
    whole = "3 to 2" if ratio < THREE_TO_TWO else ""
    number = round(ratio)
    number = round(number, 1 - len(str(number)))
    if p > 0.5:
        return f"about {whole or f'{number} to 1'}"
    return f"about {'2 to 3' if whole else f'1 to {number}'}"


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


def _loss(reel: ReelAssessment, place: int, unit: LengthUnit) -> list[str]:
    interval = reel.intervals[place]
    before, after = _steady(reel, place)
    low = interval.cut_low_m / float(unit.metres)
    why = f", {_why_not_the_drop(reel, place, unit)}" if excludes_the_drop(interval) else ""
    return [
        f"an unlogged cut explains it ({odds(interval.p_unlogged_cut)})",
        f"{_of_counts(*before)} before it {_fit(*before)} the longer cable, and {_of_counts(*after)} after it "
        f"{_fit(*after)} the shorter",
        f"about {_long(interval.cut_m, unit)} are missing ({low:.1f} to {_long(interval.cut_high_m, unit)}){why}",
    ]


def _why_not_the_drop(reel: ReelAssessment, place: int, unit: LengthUnit) -> str:
    """Why the length of a loss is not that which the two counts and the log leave: the count that lies off the most."""
    interval, (before, after) = reel.intervals[place], reel.counts[place : place + 2]
    drop_m = interval.drop_m
    seen = (
        f"not the {_long(drop_m, unit)} by these two counts"
        if drop_m >= 0
        else f"though these two counts show {_long(-drop_m, unit)} more cable"
    )
    is_longer = drop_m > interval.cut_high_m
    # how much of the difference each end makes: a first count too high, or a second too low, makes a drop longer
    first, second = (before.off_m, -after.off_m) if is_longer else (-before.off_m, after.off_m)
    if max(first, second) < LEAST_SAID_M:
        return f"{seen}, for the log and the other counts say so"
    count = before if first >= second else after
    way = "above" if count.off_m > 0 else "below"
    return f"{seen}, for that of {_day(count.at)} is {_long(abs(count.off_m), unit)} {way} what all counts together say"


def _of_counts(n: int, fitting: int) -> str:
    if fitting == n:
        return {1: "the count", 2: "both counts"}.get(n, f"all {n} counts")
    if n == 1:
        return "not even the count"
    return f"{fitting or 'none'} of the {n} counts"


def _fit(n: int, fitting: int) -> str:
    return "fits" if fitting == 1 or n == 1 else "fit"


def _slip(count: CountPosterior, kind: Slip | None) -> str:
    """That a count is a slip. kind: what it is most likely; None where that can't be told."""
    why = f"most likely {SLIP_WORDS[kind]}" if kind else "a slip, of which kind can't be told"
    if kind is Slip.ANYTHING:
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
