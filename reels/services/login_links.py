"""Links by which somebody makes a login of their own, or gives theirs a password that nobody else ever knew.

A new service has nobody who could add anybody. Whoever runs commands on the machine makes a link for the first
administrator (`manage.py first_run`), whose page gives another for the second: each chooses a password on a device of
their own, and neither waits for the other. From then on administrators give people links instead of passwords.

The secret of a link is 256 random bits, of which a digest is kept: there is nothing to guess, and no need to sign it.
"""

import hashlib
import hmac
import secrets
from dataclasses import replace
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Q

from reels import access
from reels.domain.words import AskedAt, LinkPurpose
from reels.errors import AlreadyThere, AnotherAdministrator, LinkNotGood
from reels.models import LoginLink, Person
from reels.services import people, tries
from reels.services.browsers import Origin
from reels.services.history import Actor, ActRecorder, by_itself, record_act

SECRET_BYTES = 32  # 256 bits
GOOD_FOR = {
    LinkPurpose.FIRST: timedelta(hours=24),
    LinkPurpose.SECOND: timedelta(days=7),
    LinkPurpose.PASSWORD: timedelta(days=7),
}
ADMINISTRATORS_BEFORE = {LinkPurpose.FIRST: 0, LinkPurpose.SECOND: 1}
COMMAND = "command first_run"
LINK = "link"


@transaction.atomic
def issue_first(*, at: datetime) -> str:
    """The secret of a link for the first administrator, in place of one made before. Raises AlreadyThere."""
    chain = access.lock_register()
    if someone := access.first_administrator():
        raise AlreadyThere(what="first administrator", key=someone.full_name)
    with record_act(chain, "login_link_issued", by_itself(COMMAND), at) as act:
        return _issue(act, LinkPurpose.FIRST, None)


@transaction.atomic
def issue_second(*, actor: Actor, at: datetime) -> str:
    """The secret of a link for the second administrator, in place of one that was lost.

    Raises OnlyAdministrators, or AlreadyThere once there was a second one: somebody alone could otherwise make
    one up whenever two are needed.
    """
    access.only_administrators(actor.person)
    chain = access.lock_register()
    if someone := others_made(actor.person):
        raise AlreadyThere(what="second administrator", key=someone.full_name)
    with record_act(chain, "login_link_issued", actor, at) as act:
        return _issue(act, LinkPurpose.SECOND, None)


def others_made(administrator: Person) -> Person | None:
    """Another who was made an administrator by a link or on the machine, whatever became of them."""
    return Person.objects.filter(is_superuser=True).exclude(pk=administrator.pk).order_by("pk").first()


@transaction.atomic
def issue_for(person: Person, *, actor: Actor, at: datetime) -> str:
    """The secret of a link by which its owner gives a login a password.

    As with a password that is given, sessions and the enrolment end: whoever made the link could have used it.
    Raises OnlyAdministrators, or AnotherAdministrator for one's own login.
    """
    access.only_administrators(actor.person)
    if person == actor.person:
        raise AnotherAdministrator(name=person.full_name, done="the login themselves")
    chain = access.lock_register()
    person.refresh_from_db()
    values = people.password_columns(person, None, at) | access.to_be_enrolled_again(person, actor.person)
    with record_act(chain, "login_link_issued", actor, at, person=person.username) as act:
        act.change(person, must_change_password=False, **values)
        return _issue(act, LinkPurpose.PASSWORD, person)


def opened(secret: str, *, origin: Origin, at: datetime) -> LoginLink:
    """The link that somebody followed; a wrong one counts as a wrong password. Raises LinkNotGood or TooManyTries."""
    prefix = secret.partition("_")[0][:40]
    # Counted for strangers, whoever is logged in: a link is followed before there is a login.
    begun = tries.begin(f"link {prefix}", replace(origin, session="", known=()), at)
    try:
        link = good(secret, at)
    except LinkNotGood:
        begun.failed(None, asked_at=AskedAt.LOGIN, at=at)
        raise
    begun.succeeded()
    return link


def good(secret: str, at: datetime) -> LoginLink:
    """The link with this secret, if it is good at that moment. Raises LinkNotGood."""
    link = LoginLink.objects.select_related("person").filter(prefix=secret.partition("_")[0]).first()
    # An unknown prefix costs the same comparison as a known one.
    matches = hmac.compare_digest(link.digest if link else "", _digest(secret))
    if link is None or not matches or link.used_at or link.replaced_at or link.expires_at <= at:
        raise LinkNotGood()
    return link


@transaction.atomic
def make_administrator(secret: str, *, password: str, at: datetime, **fields: str) -> tuple[Person, str]:
    """An administrator with a password of their own; with the first one, the secret of the link for the second.

    fields: username, full_name and staff_number. Raises LinkNotGood, ValueNotTaken or AlreadyThere.
    """
    chain = access.lock_register()
    link = good(secret, at)
    # Others may have been made on the machine meanwhile, and a link kept back would make one more.
    if Person.objects.filter(is_superuser=True).count() != ADMINISTRATORS_BEFORE.get(LinkPurpose(link.purpose)):
        raise LinkNotGood()
    person = people.administrator(password=password, at=at, **fields)
    with record_act(chain, "administrator_added", Actor(person, via=LINK), at) as act:
        act.add(person)
        act.change(link, person=person, used_at=at)
        second = _issue(act, LinkPurpose.SECOND, None) if link.purpose == LinkPurpose.FIRST else ""
    return person, second


@transaction.atomic
def set_password(secret: str, *, password: str, at: datetime) -> Person:
    """A password of one's own for the login that the link is of. Raises LinkNotGood or ValueNotTaken."""
    chain = access.lock_register()
    link = good(secret, at)
    person = link.person
    if person is None or not person.is_active:
        raise LinkNotGood()
    person.refresh_from_db()
    values = people.password_columns(person, password, at)
    with record_act(chain, "password_set", Actor(person, via=LINK), at) as act:
        act.change(person, must_change_password=False, **values)
        act.change(link, used_at=at)
    return person


def _issue(act: ActRecorder, purpose: LinkPurpose, person: Person | None) -> str:
    prefix = secrets.token_hex(4)
    secret = f"{prefix}_{secrets.token_urlsafe(SECRET_BYTES)}"
    whose = Q(purpose=purpose) if person is None else Q(person=person)
    for earlier in LoginLink.objects.filter(whose, used_at=None, replaced_at=None):
        act.change(earlier, replaced_at=act.at)
    act.add(LoginLink(
        purpose=purpose, person=person, prefix=prefix, digest=_digest(secret), issued_by=act.actor.person,
        issued_at=act.at, expires_at=act.at + GOOD_FOR[purpose],
    ))  # fmt: skip
    return secret


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
