"""Where a password comes from, and the browsers that a login was used in before.

A browser that somebody logged in with keeps a signed cookie: a number of its own, and keyed digests of the user names
that were used in it. It lets nobody in. It only says whose wrong passwords are counted apart from those of strangers.
"""

import secrets
from dataclasses import dataclass

from django.conf import settings
from django.core import signing
from django.http import HttpRequest
from django.utils.crypto import constant_time_compare, salted_hmac

REMEMBERED_S = 180 * 24 * 60 * 60  # seconds since somebody last logged in with it
MOST_NAMES = 50  # of one browser, such as the one at a bench; a cookie holds no more than 4 KB
COUNTED_AS = "counted_as"  # of a session: a number that stays when its key changes
SALT = "reels.browsers"


@dataclass(frozen=True, slots=True)
class Origin:
    """From where a password is given. session: of whoever is logged in already. known: digests of user names."""

    address: str | None = None
    session: str = ""
    browser: str = ""
    known: tuple[str, ...] = ()

    def is_known_to(self, username: str) -> bool:
        """Whether the login was used in this browser before."""
        return any(constant_time_compare(_digest(username), each) for each in self.known)


def origin_of(request: HttpRequest) -> Origin:
    """From where a request's password is given; of scripts and strangers only the address is known."""
    browser, known = _read(request)
    session = str(request.session.get(COUNTED_AS, "older")) if request.user.is_authenticated else ""
    return Origin(request.META.get("REMOTE_ADDR"), session, browser, known)


def remembering(request: HttpRequest, username: str) -> str:
    """The cookie of the request's browser, now that this user name was used in it."""
    browser, known = _read(request)
    digest = _digest(username)
    names = [digest, *(each for each in known if each != digest)][:MOST_NAMES]
    return signing.dumps([browser or secrets.token_urlsafe(16), *names], salt=SALT)


def _read(request: HttpRequest) -> tuple[str, tuple[str, ...]]:
    """The number of a browser and the names in its cookie; nothing of one that has none of ours, or an old one."""
    cookie = request.COOKIES.get(settings.BROWSER_COOKIE_NAME, "")
    try:
        browser, *known = signing.loads(cookie, salt=SALT, max_age=REMEMBERED_S)
    except signing.BadSignature:
        return "", ()
    return browser, tuple(known)


def _digest(username: str) -> str:
    return salted_hmac(SALT, username, algorithm="sha256").hexdigest()[:24]
