"""Histories known again: what was found whole, and is as it was, is not replayed every night.

Once a reel's history is found whole, a mark of it is kept: an HMAC (RFC 2104, with SHA-256 and a key from SECRET_KEY)
over its name, length and head, and over each of its entries and rows as the database holds them. In a night it is
worked out again from what is stored then. Where it differs the history is replayed, so an UPDATE without an entry is
found in the night after it. A mark that is gone or edited, and another SECRET_KEY, cost a replay and are no break.

Whoever has that key as well can make the mark anew. So of the others a share is replayed too, a different one each
night, and a mark of `nights` nights ago counts for nothing: within so many nights every history is replayed.
"""

import hmac
import json
import zlib
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache

from django.apps import apps
from django.db import models
from django.utils.crypto import salted_hmac

from reels.access import reel_chain
from reels.models import Chain
from reports.models import ChainSeen
from reports.services.verification.stored_values import stored_digests

Ids = Mapping[str, list[int]]  # of rows, by table

NIGHTS = 30  # within which every history of a large fleet is replayed
AT_LEAST = 200  # histories of a night; a fleet that has no more of them is replayed each night
_OF_REELS = reel_chain("")


@dataclass(frozen=True, slots=True)
class Night:
    """Which histories are replayed in a run. day: its ordinal. nights: within how many each is replayed."""

    day: int
    nights: int

    @classmethod
    def of(cls, day: int) -> "Night":
        """The one of this day, in the fleet as it is. One query."""
        return cls(day, max(1, min(NIGHTS, -(-Chain.objects.count() // AT_LEAST))))

    def is_due(self, mark: ChainSeen) -> bool:
        """Whether a history is replayed whatever its mark says."""
        is_its_night = mark.chain_id % self.nights == self.day % self.nights
        return is_its_night or mark.day <= self.day - self.nights


def known_again(chains: Iterable[Chain], night: Night) -> dict[int, Ids]:
    """Of these histories those that are not replayed: the ids of their rows and entries, by the chain's id."""
    asked = {chain.pk: chain for chain in chains if is_of_a_reel(chain)}
    marks = [mark for mark in ChainSeen.objects.filter(chain__in=asked) if not night.is_due(mark)]
    with_ids = [(mark, ids) for mark in marks if (ids := _ids_of(mark)) is not None]
    everything: dict[str, list[int]] = defaultdict(list)
    for _, ids in with_ids:
        for table, some in ids.items():
            everything[table] += some
    digests = _digests(everything)
    return {
        mark.chain_id: ids for mark, ids in with_ids
        if hmac.compare_digest(mark.mac.encode(), _mac(asked[mark.chain_id], mark.day, ids, digests).encode())
    }  # fmt: skip


def is_of_a_reel(chain: Chain) -> bool:
    """Whether it may be known again. What belongs to no single reel is replayed every night, and gets no mark."""
    return chain.name.startswith(_OF_REELS)


def mark_of(chain: Chain, day: int, ids: Ids) -> ChainSeen:
    """The mark of a history that was found whole on that day, in the snapshot in which it was. Not yet saved."""
    content = zlib.compress(json.dumps(ids, separators=(",", ":")).encode())
    return ChainSeen(chain=chain, day=day, ids=content, mac=_mac(chain, day, ids, _digests(ids)))


def keep_marks(marks: list[ChainSeen]) -> None:
    """Save them, in place of what was known of their chains."""
    ChainSeen.objects.bulk_create(
        marks, update_conflicts=True, unique_fields=["chain"], update_fields=["day", "ids", "mac"]
    )


def _ids_of(mark: ChainSeen) -> Ids | None:
    """None where somebody else has written it."""
    try:
        ids: Ids = json.loads(zlib.decompress(bytes(mark.ids)))
        are_ids = all(isinstance(each, int) for table in ids for each in ids[table])
        return ids if are_ids and ids.keys() <= _models().keys() else None
    except (AttributeError, LookupError, TypeError, ValueError, zlib.error):
        return None


def _digests(ids: Ids) -> dict[tuple[str, int], bytes]:
    return {
        (table, row_id): digest
        for table, some in ids.items()
        for row_id, digest in stored_digests(_models()[table], some)
    }


@cache
def _models() -> dict[str, type[models.Model]]:
    return {model._meta.db_table: model for model in apps.get_models()}


def _mac(chain: Chain, day: int, ids: Ids, digests: Mapping[tuple[str, int], bytes]) -> str:
    head = json.dumps([chain.name, chain.length, chain.head, day, ids]).encode()
    rows = (digests.get((table, row_id), b"gone") for table, some in ids.items() for row_id in some)
    return str(salted_hmac("reports.ChainSeen", b"\0".join((head, *rows)), algorithm="sha256").hexdigest())
