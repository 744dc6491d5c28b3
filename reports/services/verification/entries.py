"""A chain's entries replayed: what the bytes of each say, beside its columns and what was told before it."""

from collections.abc import Mapping
from typing import Any

from inspections.domain import findings, keying
from inspections.domain.words import Point
from inspections.models import Finding, Keying, ThirdReading
from reels.domain import ledger
from reels.models import HistoryEntry


def entry_fault(row: HistoryEntry, entry: Mapping[str, Any], rows: ledger.Rows) -> str | None:
    """What is wrong with an entry, whose changes are taken into the rows that its chain has told so far."""
    return _columns_fault(row, entry) or ledger.follow(rows, entry) or _revealed_fault(rows, entry)


def _columns_fault(row: HistoryEntry, entry: Mapping[str, Any]) -> str | None:
    """What the columns beside an entry's bytes say that the bytes do not: lists are filtered by the columns."""
    columns_say = {"at": ledger.plain(row.at), "act": row.act, "actor": row.actor_id}
    bytes_say = {"at": entry["at"], "act": entry["act"], "actor": entry["actor"].get("id")}
    for name, value in bytes_say.items():
        if columns_say[name] != value:
            return f"its bytes say {name} {value!r}, the column beside them says {columns_say[name]!r}"
    return None


def _revealed_fault(rows: ledger.Rows, entry: Mapping[str, Any]) -> str | None:
    """What was revealed that is not what was committed to while it was blind."""
    for fact in entry["facts"].get("findings", ()):
        row = rows.get((Finding._meta.db_table, fact["finding"]))
        if row is None or findings.commitment(fact["details"], fact["salt"]) != row["commitment"]:
            return f"it tells of finding {fact['finding']} what was not recorded of it"
    for fact in entry["facts"].get("revealed", ()):
        model = Keying if "keying" in fact else ThirdReading
        name = str(model._meta.verbose_name)
        number = fact[name.replace(" ", "_")]
        row = rows.get((model._meta.db_table, number))
        if row is None:
            return f"it reveals {name} {number}, which was never told"
        if keying.commitment(Point(row["point"]), fact["value"], fact["salt"]) != row["commitment"]:
            return f"it reveals {fact['value']!r} for {name} {number}, which is not what was keyed"
    return None
