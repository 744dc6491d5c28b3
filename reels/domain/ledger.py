"""How an entry of a reel's history becomes bytes, and how a chain of them is checked.

    content_n = JCS(entry_n)           canonical JSON, RFC 8785: one and only one form of bytes for a value
    digest_n  = SHA-256(content_n)     64 hexadecimal digits
    prev_n    = digest_{n−1}           in entry_n itself; 64 zeros in the first

So whoever knows the newest digest, the head, knows that nothing before it was changed, removed or put in between. That
nothing was cut off at the end, the chain's own length and head tell, and the checkpoints that outsiders keep.

An entry is a JSON object: v (1), chain (its name), seq (from 1), prev, at, act, actor, facts, and changes: the rows
that the act wrote, each {table, id, before, after}. `before` is null for a new row; for a changed row both hold the
changed columns only. Numbers are whole, or decimal strings: no float is exactly what somebody keyed. Times are UTC.

The bytes are defined here once, with a version. Stored bytes are kept and never made again from today's code, so that a
checker needs nothing but them and the three lines above.
"""

import base64
import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import rfc8785

FIRST_PREV = "0" * 64  # as long as a digest, which no content is known to have


class NotExact(TypeError):
    """A value that has no exact form in a record (a float, say)."""


def plain(value: Any) -> Any:
    """The value as exact JSON: decimals as strings, times in UTC with microseconds, bytes as hex; floats refused.

    Raises NotExact.
    """
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    return _plain_leaf(value)


def _plain_leaf(value: Any) -> Any:
    match value:
        case None | bool() | int():
            return value
        case str():
            return str(value)  # of a StrEnum, its value
        case Decimal():
            return format(value, "f")
        case datetime() if value.tzinfo is not None:
            return value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
        case date() if not isinstance(value, datetime):
            return value.isoformat()
        case bytes() | memoryview():
            return bytes(value).hex()
    raise NotExact(f"no exact form for {value!r} of type {type(value).__name__}")


def canonical(value: Any) -> bytes:
    """Canonical JSON bytes of a value. Source: RFC 8785."""
    return rfc8785.dumps(value)


def exported(content: bytes) -> str:
    """The line of an entry in the file of a history, as deploy/handbook/check_records.py reads it."""
    return json.dumps({"content": base64.b64encode(content).decode()}) + "\n"


def digest(content: bytes) -> str:
    """SHA-256 of the bytes, as 64 hexadecimal digits. Source: FIPS 180-4."""
    return hashlib.sha256(content).hexdigest()


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One row that an act wrote: its table, its id, and its columns before and after."""

    table: str
    id: int
    before: dict[str, Any] | None
    after: dict[str, Any]

    def as_json(self) -> dict[str, Any]:
        """The change as it stands in an entry."""
        return {"table": self.table, "id": self.id, "before": plain(self.before), "after": plain(self.after)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One act, as it goes into a chain."""

    chain: str
    seq: int
    prev: str
    at: datetime
    act: str
    actor: Mapping[str, Any]
    facts: Mapping[str, Any]
    changes: tuple[Change, ...]


def encode_v1(entry: Entry) -> bytes:
    """The bytes of an entry, form 1. Raises NotExact for a value that has no exact form."""
    return canonical(
        {
            "v": 1,
            "chain": entry.chain,
            "seq": entry.seq,
            "prev": entry.prev,
            "at": plain(entry.at),
            "act": entry.act,
            "actor": plain(entry.actor),
            "facts": plain(entry.facts),
            "changes": [change.as_json() for change in entry.changes],
        }
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Stored:
    """An entry as it lies in the store: its own bytes and the columns kept beside them."""

    chain: str
    seq: int
    prev: str
    digest: str
    content: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Break:
    """The first place at which a chain is not what it says it is."""

    where: str
    why: str

    def __str__(self) -> str:
        return f"{self.where}: {self.why}"


def first_break(chain: str, entries: Iterable[Stored], *, length: int, head: str) -> Break | None:
    """The first break in a chain, or None when it is whole.

    entries: in order of seq. length and head: what the chain says of itself.
    """
    prev, seen = FIRST_PREV, 0
    for entry in entries:
        seen += 1
        where = f"{chain} entry {entry.seq}"
        if why := _fault(entry, chain=chain, seq=seen, prev=prev):
            return Break(where=where, why=why)
        prev = entry.digest
    if (seen, prev) != (length, head):
        return Break(
            where=chain, why=f"it says it has {length} entries ending in {head[:12]}; found {seen} in {prev[:12]}"
        )
    return None


def _fault(entry: Stored, *, chain: str, seq: int, prev: str) -> str | None:
    # The bytes first: the columns beside them are copies of what the bytes say.
    if digest(entry.content) != entry.digest:
        return f"its bytes have the digest {digest(entry.content)[:12]}, but {entry.digest[:12]} is recorded"
    if entry.seq != seq:
        return f"entry {seq} is missing; the next one says {entry.seq}"
    if entry.prev != prev:
        return f"it follows {entry.prev[:12]}, but the entry before it is {prev[:12]}"
    fields = read(entry.content)
    if fields is None:
        return "its bytes are not an entry"
    if (fields["chain"], fields["seq"], fields["prev"]) != (chain, seq, prev):
        return f"its bytes speak of {fields['chain']} entry {fields['seq']}"
    return None


def read(content: bytes) -> dict[str, Any] | None:
    """What stored bytes say, or None when they are not an entry of a known form."""
    try:
        fields = json.loads(content)
    except ValueError:
        return None
    return fields if _is_entry(fields) else None


_FORM_1 = {
    "v": int, "chain": str, "seq": int, "prev": str, "at": str, "act": str, "actor": dict, "facts": dict,
    "changes": list,
}  # fmt: skip


def _is_entry(fields: Any) -> bool:
    # type() and not isinstance(): True is an int to Python, and no number in JSON
    if not isinstance(fields, dict) or {name: type(value) for name, value in fields.items()} != _FORM_1:
        return False
    return fields["v"] == 1 and all(_is_change(change) for change in fields["changes"])


def _is_change(change: Any) -> bool:
    if not isinstance(change, dict) or set(change) != {"table", "id", "before", "after"}:
        return False
    if type(change["table"]) is not str or type(change["id"]) is not int:
        return False
    return isinstance(change["after"], dict) and isinstance(change["before"], dict | None)


Rows = dict[tuple[str, int], dict[str, Any]]  # {(table, id): columns}, as told so far


def follow(rows: Rows, fields: Mapping[str, Any]) -> str | None:
    """Take the changes of an entry (as `read` gave it) into the rows told so far.

    Returns what does not follow from those rows, or None.
    """
    for change in fields["changes"]:
        key, before = (change["table"], change["id"]), change["before"]
        known = rows.setdefault(key, {}) if before is None else rows.get(key)
        if known is None:
            return f"it changes {key[0]} row {key[1]}, which was never told"
        if before is None and known:
            return f"it adds {key[0]} row {key[1]}, which was told before"
        for name, value in (before or {}).items():
            if known.get(name, value) != value:
                return f"it says {key[0]} row {key[1]} had {name} {value!r}; told was {known[name]!r}"
        known.update(change["after"])
    return None
