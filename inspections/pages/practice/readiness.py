"""Who is ready, and where people slip: one's own page, and the instructor's."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from inspections import access
from inspections.domain.practice import WHY, PracticeSlip, Readiness, ReadinessRule, Rule
from inspections.domain.practice.words import RULE_NAMES, SLIP_NAMES
from inspections.queries import practice
from inspections.queries.practice import ReadinessRequirement
from reels.models import Person, Site
from reels.pages.answers import page, reader, show
from reels.pages.formats import Badge

READY = Badge(word="Ready", icon="checked", tone="good")
NOT_YET = Badge(word="Not yet", icon="awaited", tone="doing")
SHOWN = 20


@page
def people(request: HttpRequest) -> HttpResponse:
    """The instructor's page: everybody at a site under each rule that is asked there."""
    person, at = reader(request), timezone.now()
    access.only_instructors(person, at)
    sites = access.instructed_sites(person, at)
    chosen = _chosen(request.GET.get("site", ""), list(sites))
    trainees = list(access.instructed_people(sites.filter(pk=chosen.pk), at))
    rules = practice.requirements_at([chosen]) or [ReadinessRequirement(rule=ReadinessRule())]
    shown = {
        "sites": list(sites), "chosen": chosen, "section": "practice",
        "groups": [{"asked": each, "rows": _readiness_lines(each, trainees, at)} for each in rules],
    }  # fmt: skip
    return show(request, "inspections/practice/people.html", shown, chosen)


@page
def one_person(request: HttpRequest, person_id: int) -> HttpResponse:
    """One person's practice: where they stand, each rule with its slips, and the newest reels."""
    at = timezone.now()
    person = access.practising_person(person_id, reader(request), at)
    rules = practice.requirements_where_posted(person, at) or [ReadinessRequirement(rule=ReadinessRule())]
    shown = {
        "person": person, "standing": standing_under(rules, person, at), "section": "practice",
        "by_rule": results_by_rule(rules[0].rule, person, at), "within_days": rules[0].rule.within_days,
        "latest": practice.latest_exercises(person, SHOWN),
    }  # fmt: skip
    return show(request, "inspections/practice/person.html", shown)


def standing_under(rules: Sequence[ReadinessRequirement], person: Person, at: datetime) -> list[dict[str, Any]]:
    return [_readiness_lines(each, [person], at)[0] for each in rules]


def results_by_rule(rule: ReadinessRule, person: Person, at: datetime) -> list[dict[str, Any]]:
    """How each counting rule that was tried went, in the days that a readiness rule looks at."""
    [ready] = practice.readiness_of([person], rule, at)
    return [_rule_row(each, ready.readiness) for each in Rule if ready.readiness.by_rule[each].tried]


def _chosen(code: str, sites: list[Site]) -> Site:
    return next((site for site in sites if site.code == code), sites[0])


def _readiness_lines(asked: ReadinessRequirement, people: Sequence[Person], at: datetime) -> list[dict[str, Any]]:
    return [
        {
            "asked": asked,
            "ready": each,
            "badge": READY if each.readiness.is_ready else NOT_YET,
            "slips": [
                f"{RULE_NAMES[rule]}: {record.missed} of {record.tried}"
                for rule, record in each.readiness.by_rule.items()
                if record.missed
            ],
        }
        for each in practice.readiness_of(people, asked.rule, at)
    ]


def _rule_row(rule: Rule, ready: Readiness) -> dict[str, Any]:
    record = ready.by_rule[rule]
    slips = sorted(record.slips.items(), key=lambda item: (-item[1], list(PracticeSlip).index(item[0])))
    return {
        "name": RULE_NAMES[rule], "tried": record.tried, "missed": record.missed,
        "slips": [f"{SLIP_NAMES[slip]} ({n})" for slip, n in slips], "whys": [WHY[slip] for slip, _ in slips],
    }  # fmt: skip
