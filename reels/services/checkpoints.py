"""Checkpoints: made on demand and by the schedule, kept, and proved from. What they are: reels/domain/checkpoint.py."""

from dataclasses import dataclass
from datetime import datetime

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.conf import settings
from django.db import transaction
from django.db.models import QuerySet

from reels import access
from reels.domain import checkpoint, merkle
from reels.domain.checkpoint import Checkpoint
from reels.errors import CheckpointBroken, NotFound, NothingRecorded
from reels.models import CheckpointMade, FeedPlace, HistoryEntry
from reels.services import feed
from reels.services.checkpoint_key import checkpoint_key
from reels.services.history import Actor


@dataclass(frozen=True, slots=True, kw_only=True)
class Inclusion:
    """That an entry is among those of a checkpoint. index: from 0; hashes: hexadecimal."""

    index: int
    size: int
    hashes: list[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Consistency:
    """That the entries of one checkpoint are the beginning of those of another. hashes: hexadecimal."""

    first: int
    second: int
    hashes: list[str]


def make_for(actor: Actor, at: datetime) -> CheckpointMade:
    """A checkpoint that an administrator asks for; as `make`. Raises OnlyAdministrators."""
    access.only_administrators(actor.person)
    return make(at)


def make(at: datetime) -> CheckpointMade:
    """A checkpoint over all that is recorded; the last one again when nothing was recorded since.

    Raises CheckpointKeyMissing, NothingRecorded, or CheckpointBroken when the last one does not hold.
    """
    key = checkpoint_key()
    feed.number_waiting()
    if not feed.last_number():
        raise NothingRecorded()
    with transaction.atomic():
        access.lock(feed.FEED)
        digests = _digests()
        last = CheckpointMade.objects.order_by("entries").last()
        if last is not None and last.root != _root(digests[: last.entries]):
            raise CheckpointBroken(entries=last.entries, made_at=last.made_at)
        if last is not None and last.entries == len(digests):
            return last
        return _kept(digests, key, at)


def inclusion(entries: int, digest: str) -> Inclusion:
    """The proof that an entry is among those of a checkpoint. digest: the entry's, hexadecimal. Raises NotFound."""
    digests = _digests(one_made(entries).entries)
    if digest not in digests:
        raise NotFound(what=f"entry among the first {entries}", key=digest)
    index = digests.index(digest)
    proof = merkle.inclusion_proof(index, _leaves(digests))
    return Inclusion(index=index, size=len(digests), hashes=[each.hex() for each in proof])


def consistency(first: int, second: int) -> Consistency:
    """The proof that one checkpoint's entries are the beginning of another's. Raises NotFound.

    first: how many entries the earlier one covers; it need not be kept here, for a copy elsewhere is what matters.
    """
    digests = _digests(one_made(second).entries)
    if not 1 <= first <= len(digests):
        raise NotFound(what=f"beginning of {len(digests)} entries", key=first)
    proof = merkle.consistency_proof(first, _leaves(digests))
    return Consistency(first=first, second=len(digests), hashes=[each.hex() for each in proof])


def all_made() -> QuerySet[CheckpointMade]:
    """Every checkpoint that was made."""
    return CheckpointMade.objects.all()


def one_made(entries: int) -> CheckpointMade:
    """The checkpoint over so many entries. Raises NotFound."""
    return access.one(all_made(), "checkpoint", entries=entries)


def _kept(digests: list[str], key: Ed25519PrivateKey, at: datetime) -> CheckpointMade:
    unsigned = Checkpoint(
        service=" ".join(settings.SERVICE_NAME.split()),
        made_at=at,
        entries=len(digests),
        chains=HistoryEntry.objects.filter(place__number__isnull=False).values("chain").distinct().count(),
        root=_root(digests),
        key=checkpoint.public_hex(key),
    )
    text = checkpoint.signed_text(unsigned, key)
    return CheckpointMade.objects.create(entries=unsigned.entries, root=unsigned.root, made_at=at, text=text)


def _digests(size: int | None = None) -> list[str]:
    """The digests of the numbered entries in the order of their places: of all, or of the first so many. One query."""
    places = FeedPlace.objects.filter(number__isnull=False).order_by("number")
    return list(places.values_list("entry__digest", flat=True)[:size])


def _leaves(digests: list[str]) -> list[bytes]:
    return [checkpoint.leaf_of(digest) for digest in digests]


def _root(digests: list[str]) -> str:
    return merkle.root(_leaves(digests)).hex()
