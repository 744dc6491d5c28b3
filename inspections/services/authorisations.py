"""Who may do what: granted by an administrator to somebody else, and ended; never changed.

A site may ask for practice first. That is asked when an authorisation is granted, and never takes one away.
"""

from datetime import datetime

from django.db import transaction

from inspections.domain.practice import ReadinessRule, assess_readiness
from inspections.domain.words import Act
from inspections.errors import NotReady, SamePerson
from inspections.models import Authorisation, ReadinessAsked
from inspections.queries import practice
from reels import access as reel_access
from reels.errors import AlreadyThere, OutOfTime
from reels.models import Person, ReelType, Site
from reels.services.history import Actor, record_act


@transaction.atomic
def grant(*, person: Person, act: Act, reel_type: ReelType | None, site: Site | None, valid_from: datetime,
          valid_until: datetime | None, actor: Actor, at: datetime) -> Authorisation:  # fmt: skip
    """Authorise a person. What was asked of their practice, and found, is told with it.

    Raises OnlyAdministrators, SamePerson (nobody authorises themselves), OutOfTime, or NotReady where a site asks for
    practice that is not there.
    """
    reel_access.only_administrators(actor.person)
    if person.pk == actor.person.pk:
        raise SamePerson(name=person.full_name, done="asked for it")
    if valid_until and valid_until <= valid_from:
        raise OutOfTime(field="valid_until", seen=valid_until, earliest=valid_from, latest="any time")
    chain = reel_access.lock_register()
    readiness = _readiness_in_words(person, act, site, at)
    with record_act(
        chain, "authorisation_granted", actor, at, **({"readiness": readiness} if readiness else {})
    ) as recorder:
        return recorder.add(
            Authorisation(person=person, act=act, reel_type=reel_type, site=site, valid_from=valid_from,
                          valid_until=valid_until, granted_by=actor.person, granted_at=at)
        )  # fmt: skip


@transaction.atomic
def end(*, authorisation: Authorisation, reason: str, actor: Actor, at: datetime) -> Authorisation:
    """End an authorisation before its time. What was signed under it stands."""
    reel_access.only_administrators(actor.person)
    chain = reel_access.lock_register()
    authorisation.refresh_from_db()
    with record_act(chain, "authorisation_ended", actor, at, reason=reason) as act:
        return act.change(authorisation, ended_at=at, ended_by=actor.person, end_reason=reason)


# Practice asked for -------------------------------------------------------------------------------------------------


@transaction.atomic
def ask_readiness(*, site: Site, act: Act, rule: ReadinessRule, actor: Actor, at: datetime) -> ReadinessAsked:
    """Have a site ask for practice before somebody is authorised there for an act.

    Raises OnlyAdministrators, or AlreadyThere: a rule that is there is changed, by `register.change`.
    """
    reel_access.only_administrators(actor.person)
    chain = reel_access.lock_register()
    if ReadinessAsked.objects.filter(site=site, act=act).exists():
        raise AlreadyThere(what="readiness rule", key=f"{act} at {site}")
    with record_act(chain, "readiness_rule_added", actor, at) as recorder:
        return recorder.add(
            ReadinessAsked(site=site, act=act, in_a_row=rule.in_a_row, within_days=rule.within_days, least=rule.least)
        )


def _readiness_in_words(person: Person, act: Act, site: Site | None, at: datetime) -> list[str]:
    """What each site that asks for practice found, in words; for every site (None), of each that asks."""
    readiness = []
    results = practice.results_of([person])[person.pk]
    for asked in practice.requirements_for(act, site):
        ready = assess_readiness(results, asked.rule, at)
        if not ready.is_ready:
            raise NotReady(site=asked.site, act=act.value, name=person.full_name, why=ready.why)
        readiness.append(f"{asked.site}: {ready.why}")
    return readiness
