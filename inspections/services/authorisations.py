"""Who may do what: granted by an administrator to somebody else, and ended; never changed."""

from datetime import datetime

from django.db import transaction

from inspections.domain.words import Act
from inspections.errors import SamePerson
from inspections.models import Authorisation
from reels import access as reel_access
from reels.errors import OutOfTime
from reels.models import Person, ReelType, Site
from reels.services.history import Actor, told


@transaction.atomic
def grant(*, person: Person, act: Act, reel_type: ReelType | None, site: Site | None, valid_from: datetime,
          valid_until: datetime | None, actor: Actor, at: datetime) -> Authorisation:  # fmt: skip
    """Authorise a person. Raises OnlyAdministrators, SamePerson (nobody authorises themselves) or OutOfTime."""
    reel_access.only_administrators(actor.person)
    if person.pk == actor.person.pk:
        raise SamePerson(name=person.full_name, done="asked for it")
    if valid_until and valid_until <= valid_from:
        raise OutOfTime(field="valid_until", seen=valid_until, earliest=valid_from, latest="any time")
    with told(reel_access.lock_register(), "authorisation_granted", actor, at) as entry:
        return entry.add(
            Authorisation(person=person, act=act, reel_type=reel_type, site=site, valid_from=valid_from,
                          valid_until=valid_until, granted_by=actor.person, granted_at=at)
        )  # fmt: skip


@transaction.atomic
def end(*, authorisation: Authorisation, reason: str, actor: Actor, at: datetime) -> Authorisation:
    """End an authorisation before its time. What was signed under it stands."""
    reel_access.only_administrators(actor.person)
    chain = reel_access.lock_register()
    authorisation.refresh_from_db()
    with told(chain, "authorisation_ended", actor, at, reason=reason) as entry:
        return entry.change(authorisation, ended_at=at, ended_by=actor.person, end_reason=reason)
