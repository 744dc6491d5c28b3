"""The headers that make a request safe to repeat and refuse one that rests on a stale view.

Idempotency-Key is a structured string (RFC 8941): in double quotes. If-Match is compared strongly (RFC 9110, 13.1.1).
"""

import re

from rest_framework.exceptions import APIException
from rest_framework.request import Request

_KEY = re.compile(r'"((?:[\x20-\x21\x23-\x5b\x5d-\x7e]|\\["\\]){1,255})"')
_TAG = r'(?:W/)?"[\x21\x23-\x7e]*"'
_TAGS = re.compile(rf"\*|{_TAG}(?:\s*,\s*{_TAG})*")


class HeaderRefused(APIException):
    """A header is missing or can't be read."""

    header = ""
    status_code = 400
    default_code = "header_refused"


class KeyMissing(HeaderRefused):
    header = "Idempotency-Key"
    default_code = "key_missing"
    default_detail = (
        "A request that stores something needs a key of its sender's in the header Idempotency-Key, in double quotes, "
        'such as "8e03978e-40d5-43e8-bc93-6894a57f9324": at most 255 printable ASCII characters.'
    )


class MatchMissing(HeaderRefused):
    header = "If-Match"
    status_code = 428
    default_code = "match_missing"
    default_detail = (
        "This needs the header If-Match with the ETag of what you last saw, so that nobody acts on a stale view."
    )


class MatchUnreadable(HeaderRefused):
    header = "If-Match"
    default_code = "match_unreadable"
    default_detail = 'If-Match is a list of entity tags, each in double quotes, or "*" alone.'


class Stale(HeaderRefused):
    header = "If-Match"
    status_code = 412
    default_code = "stale"
    default_detail = "It has changed since you last saw it. Look at it again, and decide again."


def key_of(request: Request) -> str:
    """The sender's key. Raises KeyMissing, also for one without quotes."""
    quoted = _KEY.fullmatch(request.headers.get("Idempotency-Key", "").strip())
    if quoted is None:
        raise KeyMissing()
    return re.sub(r"\\(.)", r"\1", quoted[1])


def required_match(request: Request) -> str:
    """The If-Match header. Raises MatchMissing or MatchUnreadable."""
    tags = request.headers.get("If-Match", "").strip()
    if not tags:
        raise MatchMissing()
    if not _TAGS.fullmatch(tags):
        raise MatchUnreadable()
    return tags


def require_match(tags: str, tag: str) -> None:
    """Raises Stale unless the tag is among those given; a weak one never is."""
    if tags != "*" and tag not in (part.strip() for part in tags.split(",")):
        raise Stale()
