"""The order of all entries, and the checkpoints over it that are kept here."""

from collections.abc import Iterator, Set

from django.db import models

from reels.domain import checkpoint, ledger, merkle
from reels.models import CheckpointMade, FeedPlace, HistoryEntry
from reels.services.checkpoint_key import known_keys
from reports.services.verification.stored_values import CHUNK, BreakFound


def check_checkpoints() -> None:
    """Every entry has one place; every checkpoint that is kept here holds, and is over the first of them."""
    places = FeedPlace.objects.filter(number__isnull=False).order_by("number")
    if (unplaced := HistoryEntry.objects.filter(place__isnull=True).first()) is not None:
        raise BreakFound(f"{unplaced.chain} entry {unplaced.seq}", "it has no place in the order of all entries")
    by_size = {row.entries: row for row in CheckpointMade.objects.order_by("entries")}
    known = known_keys() if by_size else frozenset()
    for row in by_size.values():
        if why := _text_fault(row, known):
            raise BreakFound(str(row), why)
    leaves = (checkpoint.leaf_of(digest) for digest in _digests_in_order(places))
    roots = {size: root.hex() for size, root in merkle.roots_at(by_size, leaves)}
    for row in by_size.values():
        if roots.get(row.entries) != row.root:
            raise BreakFound(str(row), "the entries that it covers are no longer what they were, or in another order")


def _digests_in_order(places: "models.QuerySet[FeedPlace]") -> Iterator[str]:
    rows = places.values_list("number", "entry__digest").iterator(CHUNK)
    for expected, (number, digest) in enumerate(rows, start=1):
        if number != expected:
            raise BreakFound("the order of all entries", f"place {expected} is missing; the next one is {number}")
        yield digest


def _text_fault(row: CheckpointMade, known: Set[str]) -> str | None:
    """What is wrong with a checkpoint's text. known: the service's public keys, in force and retired."""
    lines = checkpoint.lines_of(row.text)
    key = lines.get("key", "")
    if key not in known:  # a key that the text itself names proves nothing
        return f"it is signed with the key {key[:12]}…, which is none of this service's (CHECKPOINT_KEY_FILE)"
    if why := checkpoint.text_fault(row.text, key=key):
        return why
    columns_say = (str(row.entries), row.root, ledger.plain(row.made_at))
    if columns_say != (lines["entries"], lines["root"], lines["made"]):
        return "its text says otherwise than its row"
    return None
