"""People and their logins: who is added, by whom they are enrolled, and whose their passwords are.

A password that an administrator gave is known to two, so it is good for nothing but changing it; and whoever gave it
could change it as well, so a second administrator enrols its owner before the login may do anything that is authorised.
To act in somebody else's name takes two administrators.
"""

from datetime import datetime
from typing import Any

from django.contrib.auth import password_validation
from django.contrib.auth.hashers import make_password
from django.core.exceptions import ValidationError
from django.db import transaction

from reels import access
from reels.errors import AlreadyThere, AnotherAdministrator, ValueNotTaken
from reels.models import Person
from reels.services import register, tries
from reels.services.history import Actor, record_act
from reels.services.logins import Proof


@transaction.atomic
def add_person(
    *, actor: Actor, at: datetime, password: str | None, is_settled: bool = False, like: Person | None = None,
    **fields: Any,
) -> Person:  # fmt: skip
    """A new login for a human being, who is to be enrolled and to change the password.

    password: None for one who never logs in (a name in an import). For commands that make people up, is_settled:
    neither is waited for; like: who has the same password already. Raises ValueNotTaken for a password that is too
    weak, AlreadyThere for a user name or staff number ever used.
    """
    assert actor.is_a_command or not (is_settled or like), "who is at the keys can only add a login that waits"
    person = Person(created_at=at, login_given_by=actor.person, must_change_password=password is not None, **fields)
    if is_settled:
        person.must_change_password, person.enrolled_at = False, at
    _assign(person, password_columns(person, password, at, like))
    return register.add(person, "person_added", actor, at)


@transaction.atomic
def add_administrator(*, password: str | None, at: datetime, via: str, **fields: Any) -> Person:
    """An administrator, for whoever runs commands on the machine: the first ones of an installation have nobody to ask.

    via: which command. password: None for one who never logs in. fields: username, full_name and staff_number.
    Raises ValueNotTaken or AlreadyThere.
    """
    person = administrator(password=password, at=at, **fields)
    with record_act(access.lock_register(), "administrator_added", Actor(person, via=via), at) as act:
        return act.add(person)


def administrator(*, password: str | None, at: datetime, **fields: Any) -> Person:
    """An administrator who waits for nobody, checked and not stored yet. Raises ValueNotTaken or AlreadyThere."""
    person = Person(created_at=at, is_staff=True, is_superuser=True, enrolled_at=at, **fields)
    _assign(person, password_columns(person, password, at))
    register.check(person)
    return person


@transaction.atomic
def change_person(person: Person, *, actor: Actor, at: datetime, **fields: Any) -> None:
    """Change a name, make somebody an administrator or close an account, whose sessions end with that for good."""
    if fields.get("is_active") is False:
        fields["session_round"] = person.session_round + 1
    register.change(person, actor=actor, at=at, **fields)


@transaction.atomic
def give_password(person: Person, *, password: str, actor: Actor, at: datetime) -> None:
    """A new password for somebody who has lost theirs: all sessions end, and the enrolment with them.

    Raises OnlyAdministrators, ValueNotTaken, or AnotherAdministrator for one's own, which is changed under one's login.
    """
    access.only_administrators(actor.person)
    if person == actor.person:
        raise AnotherAdministrator(name=person.full_name, done="the login themselves")
    chain = access.lock_register()
    person.refresh_from_db()
    values = password_columns(person, password, at) | access.to_be_enrolled_again(person, actor.person)
    with record_act(chain, "password_given", actor, at) as act:
        act.change(person, must_change_password=True, **values)


@transaction.atomic
def enrol(person: Person, *, checked: str, actor: Actor, at: datetime) -> None:
    """Say that one has checked whose login this is. checked: how (a pass seen, say); it is kept.

    Raises OnlyAdministrators, AlreadyThere, or AnotherAdministrator for oneself and for who gave the login. Commands
    may enrol anybody, for an installation with too few administrators left.
    """
    if not actor.is_a_command:
        access.only_administrators(actor.person)
    chain = access.lock_register()
    person.refresh_from_db()
    if not actor.is_a_command and actor.person.pk in (person.pk, person.login_given_by_id):
        raise AnotherAdministrator(name=actor.person.full_name, done="given this login, or it being their own")
    if person.enrolled_at:
        raise AlreadyThere(what="enrolment of", key=person.username)
    by = None if actor.is_a_command else actor.person
    with record_act(chain, "person_enrolled", actor, at, checked=checked) as act:
        act.change(person, enrolled_by=by, enrolled_at=at)


@transaction.atomic
def unlock(person: Person, *, reason: str, actor: Actor, at: datetime) -> None:
    """Let a login be tried again wherever it was locked after wrong passwords.

    Raises OnlyAdministrators, or AnotherAdministrator for one's own: at a session left open, whoever guesses could
    unlock it after every few tries.
    """
    access.only_administrators(actor.person)
    if person == actor.person:
        raise AnotherAdministrator(name=person.full_name, done="the login themselves")
    with record_act(access.lock_register(), "login_unlocked", actor, at, person=person.username, reason=reason):
        tries.unlock(person)


@transaction.atomic
def change_password(proof: Proof, *, password: str, at: datetime) -> None:
    """A new password of one's own; every other session ends. Raises ValueNotTaken."""
    chain = access.lock_register()
    person = proof.actor.person
    if proof.password == password:
        raise ValueNotTaken(field="password", seen="the one that it was", allowed="another one")
    person.refresh_from_db()
    values = password_columns(person, password, at)
    with record_act(chain, "password_changed", proof.actor, at) as act:
        act.change(person, must_change_password=False, **values)


@transaction.atomic
def end_sessions(*, actor: Actor, at: datetime) -> None:
    """End every session of one's own, on whatever machine it was left open."""
    chain = access.lock_register()
    actor.person.refresh_from_db()
    with record_act(chain, "sessions_ended", actor, at) as act:
        act.change(actor.person, session_round=actor.person.session_round + 1)


def password_columns(person: Person, password: str | None, at: datetime, like: Person | None = None) -> dict[str, Any]:
    """The columns of a new password; None: of no login. Raises ValueNotTaken with what the rules ask for.

    like: somebody made up who has the same password, which is not hashed once more, for that is slow by design.
    """
    if password is None:
        return {"password": make_password(None)}
    try:
        password_validation.validate_password(password, person)
    except ValidationError as refused:
        raise ValueNotTaken(field="password", seen="too weak", allowed=" ".join(refused.messages)) from refused
    return {"password": like.password if like else make_password(password), "password_set_at": at}


def _assign(person: Person, values: dict[str, Any]) -> None:
    for name, value in values.items():
        setattr(person, name, value)
