"""Wrong passwords in a row: after some the login is locked for a while, wherever they were given.

A try is counted before its password is looked at, so that many at once get no further than one after the other. Names
that nobody has are counted and locked like the others, so that a lock tells nobody who is there.
"""

import logging
import math
from datetime import datetime, timedelta
from ipaddress import ip_address

from django.conf import settings
from django.db import transaction
from django.utils.crypto import salted_hmac

from reels.domain.words import AskedAt
from reels.errors import TooManyTries
from reels.models import Alarm, Person, Tries

log = logging.getLogger("wrapledger.security")


@transaction.atomic
def begin(username: str, at: datetime) -> int:
    """Count a try to use a login. Returns how many there are in a row now. Raises TooManyTries while it is locked."""
    Tries.objects.get_or_create(name=_name(username), defaults={"last_at": at})
    tries = Tries.objects.select_for_update().get(name=_name(username))
    free_at = tries.last_at + timedelta(minutes=settings.LOCK_MINUTES)
    if at >= free_at:
        tries.number = 0
    if tries.number >= settings.LOCK_AFTER_TRIES:
        left_s = math.ceil((free_at - at).total_seconds())
        raise TooManyTries(minutes=math.ceil(left_s / 60), retry_after_s=left_s)
    tries.number, tries.last_at = tries.number + 1, at
    tries.save(update_fields=["number", "last_at"])
    return tries.number


def succeeded(username: str) -> None:
    """The password was right: the next wrong one is the first again."""
    Tries.objects.filter(name=_name(username)).update(number=0)


def failed(person: Person | None, number: int, *, asked_at: AskedAt, address: str | None, at: datetime) -> None:
    """The password was wrong; when it was the last try that is allowed, the administrators are told."""
    if number < settings.LOCK_AFTER_TRIES:
        return
    alarm = Alarm.objects.create(person=person, asked_at=asked_at, address=_address(address), number=number, at=at)
    log.warning(
        "Alarm %s: %s was locked for %s minutes after %s wrong passwords in a row, the last at %s from %s.",
        alarm.pk, f"the login of {person.username}" if person else "a user name that nobody has", settings.LOCK_MINUTES,
        number, asked_at.value, alarm.address or "an unknown address",
    )  # fmt: skip


def _name(username: str) -> str:
    return salted_hmac("reels.tries", username, algorithm="sha256").hexdigest()


def _address(text: str | None) -> str | None:
    try:
        return str(ip_address(text or ""))
    except ValueError:
        return None
