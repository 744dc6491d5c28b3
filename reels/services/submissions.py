"""Requests that store something, by their sender's key: sent again, they get the first answer and store nothing.

The answer is kept in the transaction of the act itself, so there is never one without the other: a process that is
killed between the work and the answer leaves either both or neither.
"""

import hashlib
import json
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db import connection
from django.utils.crypto import salted_hmac

from reels.errors import KeyReused, StillRunning
from reels.models import Submission
from reels.services.history import Actor


@dataclass(frozen=True, slots=True, kw_only=True)
class SentAnswer:
    """An answer as it went out. headers: those that belong to it (ETag, Location)."""

    status: int
    media_type: str
    body: bytes
    headers: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """Who sends what under which key; fingerprint: see `fingerprint`."""

    actor: Actor
    key: str
    fingerprint: str


def fingerprint(method: str, path: str, body: Any) -> str:
    """What stands for a request: a keyed digest, since a body may hold a password."""
    canonical = json.dumps([method, path, body], sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    # JSON may hold half a surrogate pair, which is no UTF-8; it is to count as another body, and not to crash.
    return salted_hmac("reels.submission", canonical.encode("utf-8", "surrogatepass"), algorithm="sha256").hexdigest()


def answered(request: Request) -> SentAnswer | None:
    """The answer that this request got before, if it did. Raises KeyReused for another body under the same key."""
    of_sender = Submission.objects.filter(person=request.actor.person, via=request.actor.via)
    known = of_sender.filter(key=request.key).first()
    if known is None:
        return None
    if known.fingerprint != request.fingerprint:
        raise KeyReused(key=request.key, at=known.at.isoformat())
    return SentAnswer(status=known.status, media_type=known.media_type, headers=known.headers, body=bytes(known.body))


def begin(request: Request, *, waits: bool = False) -> SentAnswer | None:
    """Take the key for the length of the transaction, or give the answer that the request got before.

    Raises StillRunning while the same key is at work (PostgreSQL; on SQLite the second one waits for the first), unless
    it waits for that answer, as a person's browser does; KeyReused for another body under the same key.
    """
    assert connection.in_atomic_block, "a key is held as long as its transaction"
    # A device's is not waited for: it may have given up, and each try would hold one more connection. On SQLite a
    # transaction that writes has the database to itself, so the second one has waited already.
    if connection.vendor == "postgresql" and not _take(request, "" if waits else "try_"):
        raise StillRunning(key=request.key)
    return answered(request)


def keep(request: Request, answer: SentAnswer, at: datetime) -> None:
    """Keep the answer, in the transaction of what it tells."""
    Submission.objects.create(
        person=request.actor.person, via=request.actor.via, key=request.key, fingerprint=request.fingerprint,
        status=answer.status, media_type=answer.media_type, headers=answer.headers, body=answer.body, at=at,
    )  # fmt: skip


def _take(request: Request, how: str) -> bool:
    """PostgreSQL's advisory lock that stands for the sender's key; it ends with the transaction. how: "try_" or ""."""
    name = f"{request.actor.person.pk}\n{request.actor.via}\n{request.key}"
    # PostgreSQL's locks are named by 64-bit numbers. Two keys that share one are only told to come again.
    number = int.from_bytes(hashlib.sha256(name.encode()).digest()[:8], "big", signed=True)
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT pg_{how}advisory_xact_lock(%s)", [number])
        return cursor.fetchone()[0] is not False  # the one that waits answers nothing
