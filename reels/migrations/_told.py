"""Rows from before a history told of them, told by it: once, in the migration, in the form that acts have."""

from collections.abc import Sequence
from typing import Any

from django.utils import timezone

from reels.domain import ledger

AT_ONCE = 500  # rows of an entry
ACTOR = {"id": None, "username": None, "name": "Wrapledger", "via": "migration"}


def tell(apps: Any, chain_name: str, act: str, rows: Sequence[tuple[str, int, dict[str, Any]]]) -> None:
    """rows: of each its table, its id, and its columns as they are told. The chain begins if it is not there."""
    models = {name: apps.get_model("reels", name) for name in ("Chain", "HistoryEntry", "FeedPlace")}
    for start in range(0, len(rows), AT_ONCE):
        changes = tuple(
            ledger.Change(table=table, id=row_id, before=None, after=columns)
            for table, row_id, columns in rows[start : start + AT_ONCE]
        )
        _append(models, chain_name, act, changes)


def _append(models: dict[str, Any], chain_name: str, act: str, changes: tuple[ledger.Change, ...]) -> None:
    chain, _ = models["Chain"].objects.get_or_create(name=chain_name)
    at, prev = timezone.now(), chain.head
    content = ledger.encode_v1(
        ledger.Entry(
            chain=chain_name, seq=chain.length + 1, prev=prev, at=at, act=act, actor=ACTOR, facts={}, changes=changes
        )
    )
    chain.length, chain.head = chain.length + 1, ledger.digest(content)
    chain.save(update_fields=["length", "head"])
    entry = models["HistoryEntry"].objects.create(
        chain=chain, seq=chain.length, at=at, act=act, actor=None, prev=prev, digest=chain.head, content=content
    )
    models["FeedPlace"].objects.create(entry=entry)
