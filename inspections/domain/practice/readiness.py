"""Who is ready: a run of practice reels without a miss, and where somebody slips.

Source: our own; the numbers are for the site to set.
"""

from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from inspections.domain.practice.draws import Difficulty
from inspections.domain.practice.marking import Marking
from inspections.domain.practice.slips import PracticeSlip, Rule
from reels.errors import ValueNotTaken


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeResult:
    """One practice reel that somebody has entered: rules it tried, and each miss with its rule and slip."""

    at: datetime
    difficulty: Difficulty
    tried: frozenset[Rule]
    misses: tuple[tuple[Rule, PracticeSlip], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadinessRule:
    """What a site asks for: so many reels in a row without a miss, in the days before.

    in_a_row: 1 or more. within_days: 1 or more. least: easier reels don't add to the run, but a miss in one ends it.
    Raises ValueNotTaken.
    """

    in_a_row: int = 10
    within_days: int = 30
    least: Difficulty = Difficulty.USUAL

    def __post_init__(self) -> None:
        for field in ("in_a_row", "within_days"):
            if getattr(self, field) < 1:
                raise ValueNotTaken(field=field, seen=getattr(self, field), allowed="1 or more")


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleRecord:
    """How often a rule was tried and missed, and by which slips."""

    tried: int
    missed: int
    slips: Mapping[PracticeSlip, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Readiness:
    """Whether somebody is ready, the run they have, and their record by rule within the days asked about."""

    is_ready: bool
    in_a_row: int
    why: str
    by_rule: Mapping[Rule, RuleRecord]


def result_of(marking: Marking, *, difficulty: Difficulty, at: datetime) -> PracticeResult:
    """What is remembered of a marked sheet; a rule missed in two fields by one slip is one miss."""
    misses = dict.fromkeys((mark.rule, mark.slip) for mark in marking.missed if mark.slip is not None)
    tried = frozenset(mark.rule for mark in marking.marks)
    return PracticeResult(at=at, difficulty=difficulty, tried=tried, misses=tuple(misses))


def assess_readiness(results: Collection[PracticeResult], rule: ReadinessRule, at: datetime) -> Readiness:
    """Whether a person is ready on a day, from their results in any order.

    at: the moment asked about, aware as the results are; later results and those past the days asked for don't count.
    """
    since = at - timedelta(days=rule.within_days)
    recent = sorted((result for result in results if since < result.at <= at), key=lambda result: result.at)
    run = 0
    for result in recent:
        # run: reels without a miss since the last miss, of those so far
        run = 0 if result.misses else run + (result.difficulty.place >= rule.least.place)
    is_ready = run >= rule.in_a_row
    why = (
        f"In a row without a miss, of difficulty {rule.least} or harder, in the last {rule.within_days} days: {run}; "
        f"asked for: {rule.in_a_row}."
    )
    return Readiness(is_ready=is_ready, in_a_row=run, why=why, by_rule=_by_rule(recent))


def _by_rule(results: Collection[PracticeResult]) -> Mapping[Rule, RuleRecord]:
    records = {}
    for rule in Rule:
        slips = [[slip for missed, slip in result.misses if missed is rule] for result in results]
        records[rule] = RuleRecord(
            tried=sum(rule in result.tried for result in results),
            missed=sum(bool(missed_by) for missed_by in slips),
            slips=Counter(slip for missed_by in slips for slip in missed_by),
        )
    return records
