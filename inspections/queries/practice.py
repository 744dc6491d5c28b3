"""What is read of practice: the reel of an exercise, how it was marked, and who is ready."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Q

from inspections.domain.findings import ReelPart
from inspections.domain.keying import reading_from
from inspections.domain.practice import (
    Difficulty,
    Marking,
    PracticeReel,
    PracticeResult,
    PracticeSheet,
    PracticeSlip,
    Readiness,
    ReadinessRule,
    Rule,
    StandSheet,
    assess_readiness,
    mark,
    practice_reel,
)
from inspections.domain.words import Act
from inspections.models import Exercise, ReadinessAsked
from inspections.queries.parameters import rule_parameters
from reels.access import readable_sites
from reels.domain import ledger
from reels.models import Person, Site

STAND_FIELDS = ("serial", "gauge_serial", "unsound")  # entered before the reading
RESULT_FIELDS = ("layers", "wraps", "refers")  # entered last, after the reading


def reel_of(exercise: Exercise) -> PracticeReel:
    """The reel that an exercise is about. No query."""
    return practice_reel(rule_parameters(exercise.parameters), Difficulty(exercise.difficulty), exercise.seed)


def sheet_of(exercise: Exercise) -> PracticeSheet:
    """What was entered so far. No query."""
    entered = exercise.entered
    reading = {name: value for name, value in entered.items() if name not in (*STAND_FIELDS, *RESULT_FIELDS)}
    result = {name: entered.get(name) for name in RESULT_FIELDS}
    return PracticeSheet(reading=reading_from(reading), stand=_stand_entered(entered), **result)


def _stand_entered(entered: Mapping[str, Any]) -> StandSheet | None:
    """None for an exercise that was stopped before, or begun when there was no such step."""
    if "serial" not in entered:
        return None
    return StandSheet(
        serial=entered["serial"], gauge_serial=entered["gauge_serial"],
        unsound=frozenset(ReelPart(part) for part in entered["unsound"]),
    )  # fmt: skip


def marking_of(exercise: Exercise) -> Marking:
    """The sheet, marked. No query."""
    return mark(reel_of(exercise), sheet_of(exercise))


def digest_of(exercise: Exercise) -> str:
    """SHA-256 over all that the row of an ended exercise says. No query."""
    contents = {
        "exercise": exercise.pk, "person": exercise.person_id, "reel_type": exercise.reel_type_id,
        "parameters": exercise.parameters, "reference_side": exercise.reference_side,
        "difficulty": exercise.difficulty, "seed": str(exercise.seed), "counts": exercise.counts,
        "begun_at": ledger.plain(exercise.begun_at), "step": exercise.step, "entered": exercise.entered,
        "ended_at": ledger.plain(exercise.ended_at), "tried": exercise.tried, "misses": exercise.misses,
    }  # fmt: skip
    return ledger.digest(ledger.canonical(contents))


def open_exercise(person: Person) -> Exercise | None:
    """The practice reel that the person has under way. One query."""
    return Exercise.objects.filter(person=person, ended_at__isnull=True).select_related("reel_type").first()


def latest_exercises(person: Person, most: int) -> list[Exercise]:
    """The person's newest ended exercises. One query."""
    return list(Exercise.objects.filter(person=person, ended_at__isnull=False).select_related("reel_type")[:most])


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadinessRequirement:
    """A readiness rule, and what it is asked for: at which site before which act; both None when nobody asks."""

    rule: ReadinessRule
    site: str | None = None
    act: Act | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonReadiness:
    """Where somebody stands under a rule. last_at: when they practised last."""

    person: Person
    readiness: Readiness
    last_at: datetime | None


def requirements_for(act: Act, site: Site | None) -> list[ReadinessRequirement]:
    """What is asked before somebody is authorised for an act at a site, or at every site (None). One query."""
    return _requirements(Q(act=act) & (Q() if site is None else Q(site=site)))


def requirements_at(sites: Collection[Site]) -> list[ReadinessRequirement]:
    """All that these sites ask for. One query."""
    return _requirements(Q(site__in=sites))


def requirements_where_posted(person: Person, at: datetime) -> list[ReadinessRequirement]:
    """All that is asked for at the sites where the person is posted. One query."""
    return _requirements(Q(site__in=readable_sites(person, at)))


def _requirements(where: Q) -> list[ReadinessRequirement]:
    rows = ReadinessAsked.objects.filter(where, is_asked=True).select_related("site").order_by("site__code", "act")
    return [ReadinessRequirement(rule=rule_of(row), site=row.site.name, act=Act(row.act)) for row in rows]


def rule_of(row: ReadinessAsked) -> ReadinessRule:
    """A stored rule as the domain takes it."""
    return ReadinessRule(in_a_row=row.in_a_row, within_days=row.within_days, least=Difficulty(row.least))


def results_of(people: Collection[Person]) -> dict[int, list[PracticeResult]]:
    """What counts towards readiness, by the person's key. One query."""
    results: dict[int, list[PracticeResult]] = {person.pk: [] for person in people}
    rows = Exercise.objects.filter(person__in=people, counts=True, ended_at__isnull=False).order_by("ended_at", "id")
    for person, at, difficulty, tried, misses in rows.values_list(
        "person", "ended_at", "difficulty", "tried", "misses"
    ):
        assert at is not None, "only ended ones are asked for"
        results[person].append(
            PracticeResult(
                at=at, difficulty=Difficulty(difficulty), tried=frozenset(Rule(rule) for rule in tried),
                misses=tuple((Rule(rule), PracticeSlip(slip)) for rule, slip in misses),
            )
        )  # fmt: skip
    return results


def readiness_of(people: Collection[Person], rule: ReadinessRule, at: datetime) -> list[PersonReadiness]:
    """Each person under a rule, in the order given. One query, however many there are."""
    results = results_of(people)
    return [
        PersonReadiness(
            person=person,
            readiness=assess_readiness(results[person.pk], rule, at),
            last_at=max((result.at for result in results[person.pk]), default=None),
        )
        for person in people
    ]
