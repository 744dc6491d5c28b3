"""Tokens for scripts: made by their owner or an administrator, used until they expire or are revoked, and kept."""

import hashlib
import hmac
import secrets
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Q

from reels import access
from reels.domain.words import Scope
from reels.errors import AlreadyEnded, OnlyInPerson, OutOfTime
from reels.models import ApiToken, Person
from reels.services.history import Actor, record_act

SECRET_BYTES = 32  # 256 bits: nothing to guess, so one quick digest is enough
LONGEST = timedelta(days=366)  # a year, leap years too
USE_IS_TOLD_EVERY = timedelta(minutes=1)  # a script asks many times a second, and each would write
MARK = "wl"


@transaction.atomic
def issue(*, person: Person, name: str, scopes: list[Scope], expires_at: datetime, actor: Actor,
          at: datetime) -> tuple[ApiToken, str]:  # fmt: skip
    """A new token and its secret, which is shown this once and never again.

    Raises OnlyAdministrators for another's, PasswordNotOwn or NotEnrolled for whose login is not settled, OnlyInPerson,
    or OutOfTime for an end that has passed or is more than a year away.
    """
    _require_own(person, actor)
    if actor.is_a_script:
        raise OnlyInPerson()
    if not at < expires_at <= at + LONGEST:
        raise OutOfTime(field="expires_at", seen=expires_at.isoformat(), earliest=at.isoformat(),
                        latest=(at + LONGEST).isoformat())  # fmt: skip
    prefix = secrets.token_hex(4)
    secret = f"{MARK}_{prefix}_{secrets.token_urlsafe(SECRET_BYTES)}"
    token = ApiToken(person=person, name=name, prefix=prefix, digest=_digest(secret), scopes=sorted(set(scopes)),
                     issued_by=actor.person, issued_at=at, expires_at=expires_at)  # fmt: skip
    with record_act(access.lock_register(), "token_issued", actor, at) as act:
        return act.add(token), secret


@transaction.atomic
def revoke(*, token_id: int, reason: str, actor: Actor, at: datetime) -> ApiToken:
    """End a token before its time; it stays on record. Raises OnlyAdministrators, NotFound or AlreadyEnded."""
    chain = access.lock_register()
    token = access.one(ApiToken.objects.select_related("person"), "token", pk=token_id)
    _require_own(token.person, actor)
    if token.revoked_at:
        raise AlreadyEnded(what=f"token {token.name}", on=token.revoked_at.date())
    with record_act(chain, "token_revoked", actor, at, reason=reason) as act:
        return act.change(token, revoked_at=at, revoked_by=actor.person, revoke_reason=reason)


def _require_own(person: Person, actor: Actor) -> None:
    """Whoever makes or ends a token of another's is an administrator. Raises OnlyAdministrators or for the login."""
    if person.pk == actor.person.pk:
        access.require_settled(actor.person)
    else:
        access.only_administrators(actor.person)


def holder(secret: str, at: datetime) -> ApiToken | None:
    """The token with this secret, if it is good at that moment; its use is kept, to the minute."""
    parts = secret.split("_", 2)
    if len(parts) != 3 or parts[0] != MARK:
        return None
    token = ApiToken.objects.select_related("person").filter(prefix=parts[1]).first()
    # An unknown prefix costs the same comparison as a known one.
    matches = hmac.compare_digest(token.digest if token else "", _digest(secret))
    if token is None or not matches or token.revoked_at or token.expires_at <= at or not token.person.is_active:
        return None
    if token.last_used_at is None or token.last_used_at <= at - USE_IS_TOLD_EVERY:
        used_before = Q(last_used_at__isnull=True) | Q(last_used_at__lte=at - USE_IS_TOLD_EVERY)
        ApiToken.objects.filter(used_before, pk=token.pk).update(last_used_at=at)
    return token


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
