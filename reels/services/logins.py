"""Who somebody is: the user name, password and, where there is one, the code of a second factor."""

import logging
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from django.conf import settings
from django.contrib.auth import authenticate

from reels import access
from reels.domain.words import AskedAt
from reels.errors import OnlyInPerson, SecondFactorMissing, WrongPassword
from reels.models import Alarm, Person
from reels.services import second_factor, tries
from reels.services.browsers import Origin
from reels.services.history import Actor

log = logging.getLogger("wrapledger.security")


@dataclass(frozen=True, slots=True)
class Proof:
    """Somebody at the keys who has just given their password again. Made by `prove` and nowhere else."""

    actor: Actor
    password: str = field(repr=False)


def log_in(*, username: str, password: str, code: str, origin: Origin, at: datetime) -> Person | None:
    """The person with this name and password, and with this code if they have a second factor; else None.

    Slow by design, whether the name is known or not. Raises TooManyTries.
    """
    # Whoever is logged in and tries another login has no session of that one.
    begun = tries.begin(username, replace(origin, session=""), at)
    user = authenticate(username=username, password=password)
    if isinstance(user, Person) and not _is_stale(user, at) and _is_second_factor(user, code, at):
        begun.succeeded()
        log.info("%s logged in from %s.", user.username, origin.address)
        return user
    person = Person.objects.filter(username=username).first()
    log.info("A login as %s from %s was refused.", person.username if person else "somebody unknown", origin.address)
    begun.failed(person, asked_at=AskedAt.LOGIN, at=at)
    return None


def prove(actor: Actor, password: str, *, asked_at: AskedAt, origin: Origin, at: datetime) -> Proof:
    """Check the actor's own password again: slow by design, so before any lock is held, and outside a transaction.

    Raises OnlyInPerson, TooManyTries or WrongPassword.
    """
    person = actor.person
    if not actor.is_at_the_keys:
        raise OnlyInPerson()
    begun = tries.begin(person.username, origin, at)
    if not person.check_password(password):
        log.info("A password of %s for %s from %s was refused.", person.username, asked_at.value, origin.address)
        begun.failed(person, asked_at=asked_at, at=at)
        raise WrongPassword()
    begun.succeeded()
    return Proof(actor, password)


def require_second_factor_to_sign(person: Person) -> None:
    """Raises SecondFactorMissing where SECOND_FACTOR asks signers for one and the person has none."""
    if settings.SECOND_FACTOR != "optional" and access.second_factor_of(person) is None:
        raise SecondFactorMissing(name=person.full_name)


def alarms_since_last_login(person: Person) -> int:
    """How many alarms an administrator may not have seen yet; 0 for everybody else."""
    if not person.is_staff:
        return 0
    since = {"at__gt": person.last_login} if person.last_login else {}
    return Alarm.objects.filter(**since).count()


def _is_stale(person: Person, at: datetime) -> bool:
    """Whether an administrator gave the password so long ago that it may have got into other hands."""
    set_at = person.password_set_at
    return (
        person.must_change_password
        and set_at is not None
        and at - set_at > timedelta(days=settings.GIVEN_PASSWORD_DAYS)
    )


def _is_second_factor(person: Person, code: str, at: datetime) -> bool:
    factor = access.second_factor_of(person)
    return factor is None or second_factor.takes(factor, code, at)
