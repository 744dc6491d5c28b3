"""Wrong passwords: how many are taken, and where a login is locked once there were too many.

A stranger who guesses must be stopped, and must not be able to lock out whoever they guess at. So tries are counted
by where they come from. Within an open session, and in a browser that the login was used in before (it keeps a signed
cookie, which no stranger has), each has a count of its own. From everywhere else a user name is counted by network
address, and over all of them by the day; and an address over all user names by the minute.

A try is counted before its password is looked at, so that many at once get no further than one after the other. Names
that nobody has are counted and locked like the others, so that a lock tells nobody who is there.
"""

import logging
import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import IPv6Address, ip_address, ip_network

from django.conf import settings
from django.db import transaction
from django.db.models import F, Q
from django.utils.crypto import salted_hmac

from reels.domain.words import LOCKED_IN_WORDS, AskedAt, LockScope
from reels.errors import TooManyTries
from reels.models import Alarm, Person, Tries
from reels.services.browsers import Origin

log = logging.getLogger("wrapledger.security")
IN_A_ROW = {LockScope.SESSION, LockScope.BROWSER, LockScope.ADDRESS}  # a right password begins these again
WHERE = {
    LockScope.SESSION: "in this session",
    LockScope.BROWSER: "for this user name in this browser",
    LockScope.ADDRESS: "for this user name from this network address",
    LockScope.UNKNOWN_BROWSERS: "for this user name in browsers that it was not used in before",
    LockScope.ANY_NAME: "for any user name from this network address",
}
PERIODS = {"s": 1, "m": 60, "h": 3600, "d": 86400}  # seconds, by how LOGIN_RATE spells them
IPV6_SITE = 64  # bits: whoever has one address of IPv6 has all that share them


@dataclass(frozen=True, slots=True)
class Limit:
    """How many wrong passwords are taken within a scope. key: what of that scope, such as which session."""

    scope: LockScope
    key: str
    most: int
    period: timedelta

    @property
    def name(self) -> str:
        """By which it is counted."""
        return salted_hmac("reels.tries", f"{self.scope} {self.key}", algorithm="sha256").hexdigest()


@dataclass(frozen=True, slots=True)
class Try:
    """One try under way, as it was counted. reached: the limits that are used up, should it be a wrong one."""

    origin: Origin
    names: tuple[str, ...]
    reached: tuple[Limit, ...]

    def succeeded(self) -> None:
        """The password was right: the next wrong one is the first again, and this one was none."""
        rows = Tries.objects.filter(name__in=self.names)
        rows.filter(scope__in=IN_A_ROW).update(number=0, is_locked=False)
        rows.filter(~Q(scope__in=IN_A_ROW), number__gt=0).update(number=F("number") - 1, is_locked=False)

    def failed(self, person: Person | None, *, asked_at: AskedAt, at: datetime) -> None:
        """The password was wrong; where it was the last that is taken, the administrators are told."""
        for limit in self.reached:
            alarm = Alarm.objects.create(
                person=_of(person, limit), asked_at=asked_at, scope=limit.scope, number=limit.most, at=at,
                address=_address(self.origin.address),
            )  # fmt: skip
            log.warning(
                "Alarm %s: %s locked %s for %s minutes after %s wrong passwords, the last at %s from %s.", alarm.pk,
                _whose(person, limit), LOCKED_IN_WORDS[limit.scope], math.ceil(limit.period.total_seconds() / 60),
                limit.most, asked_at.value, alarm.address or "an unknown address",
            )  # fmt: skip


@transaction.atomic
def begin(username: str, origin: Origin, at: datetime) -> Try:
    """Count a try to use a login. Raises TooManyTries where it is locked."""
    # In one order, so that no two tries wait for each other.
    limits = {limit.name: limit for limit in sorted(_limits(username, origin), key=lambda limit: limit.name)}
    person = Person.objects.filter(username=username).first()
    Tries.objects.bulk_create(
        (Tries(name=name, scope=limit.scope, last_at=at, person=_of(person, limit)) for name, limit in limits.items()),
        ignore_conflicts=True,
    )
    rows = list(Tries.objects.select_for_update().filter(name__in=limits).order_by("name"))
    reached = [limits[row.name] for row in rows if _is_used_up(row, limits[row.name], at)]
    for row in rows:
        row.person = _of(person, limits[row.name])
    Tries.objects.bulk_update(rows, ["number", "last_at", "until", "is_locked", "person"])
    return Try(origin, tuple(limits), tuple(reached))


@transaction.atomic
def unlock(person: Person) -> None:
    """Forget every wrong password for a user name, wherever it was given."""
    Tries.objects.filter(person=person).delete()


def forget(at: datetime) -> None:
    """Remove what is counted no more; what old code wrote has no end."""
    Tries.objects.filter(Q(until__lte=at) | Q(until__isnull=True, last_at__lte=at - timedelta(days=1))).delete()


def _limits(username: str, origin: Origin) -> Iterator[Limit]:
    in_a_row = (settings.LOCK_AFTER_TRIES, timedelta(minutes=settings.LOCK_MINUTES))
    if origin.session:
        yield Limit(LockScope.SESSION, f"{origin.session} {username}", *in_a_row)
    elif origin.is_known_to(username):
        yield Limit(LockScope.BROWSER, f"{origin.browser} {username}", *in_a_row)
    else:
        network = _network(origin.address)
        yield Limit(LockScope.ADDRESS, f"{network} {username}", *in_a_row)
        yield Limit(LockScope.UNKNOWN_BROWSERS, username, settings.LOCK_AFTER_TRIES_A_DAY, timedelta(days=1))
        most, _, period = settings.RATES["login"].partition("/")
        if most:
            yield Limit(LockScope.ANY_NAME, network, int(most), timedelta(seconds=PERIODS[period[0]]))


def _is_used_up(row: Tries, limit: Limit, at: datetime) -> bool:
    """Count a try in a row; whether it is the last one that is taken. Raises TooManyTries."""
    if row.until is None or at >= row.until:
        row.number, row.until = 0, at + limit.period
    if row.number >= limit.most:
        left_s = math.ceil((row.until - at).total_seconds())
        raise TooManyTries(where=WHERE[limit.scope], minutes=math.ceil(left_s / 60), retry_after_s=left_s)
    row.number, row.last_at = row.number + 1, at
    row.is_locked = row.number >= limit.most
    if limit.scope in IN_A_ROW:
        row.until = at + limit.period
    return row.is_locked


def _of(person: Person | None, limit: Limit) -> Person | None:
    """Whose tries they are; those of an address are nobody's."""
    return None if limit.scope is LockScope.ANY_NAME else person


def _whose(person: Person | None, limit: Limit) -> str:
    if limit.scope is LockScope.ANY_NAME:
        return "logins"
    return f"the login of {person.username}" if person else "a user name that nobody has"


def _network(text: str | None) -> str:
    """What is one place to the network: an address, of IPv6 all those that one connection is given."""
    address = ip_address(_address(text) or "0.0.0.0")  # noqa: S104  # nothing is bound to it: no address is one place
    if not isinstance(address, IPv6Address):
        return str(address)
    return str(address.ipv4_mapped or ip_network(f"{address}/{IPV6_SITE}", strict=False))


def _address(text: str | None) -> str | None:
    try:
        return str(ip_address(text or ""))
    except ValueError:
        return None
