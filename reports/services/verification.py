"""All records checked from their stored bytes: every chain, row, commitment, signature and PDF. Nothing is written.

It shares only forms with the writers: reels/domain/ledger.py, inspections/domain/record.py, keying.commitment and
reels.models.columns. Held at a time: the rows that one chain tells, and eight bytes for every row there is.

It finds what was changed, added or removed without a history that says so. Who can write a whole history anew is only
found out by a copy of its head that is kept elsewhere.
"""

import json
from array import array
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import zip_longest
from typing import Any

from django.apps import apps
from django.db import connection, models, transaction

from inspections.domain import keying
from inspections.domain.record import signature_fault
from inspections.domain.words import Point
from inspections.models import InspectionRecord, Keying, Photo, SignOff
from reels import append_only
from reels.domain import checkpoint, ledger, merkle
from reels.domain.ledger import Break
from reels.models import Alarm, Chain, CheckpointMade, FeedPlace, HistoryEntry, Submission, columns
from reels.services.feed import FEED
from reports.models import ArchivedPdf

# Kept, and told by no history: the histories themselves, their order, checkpoints, answers that scripts got, alarms.
UNTOLD = (Chain, HistoryEntry, FeedPlace, CheckpointMade, Submission, Alarm)
AT_ONCE = 400  # rows of one query; SQLite takes no more than a thousand values in one


@dataclass(slots=True)
class VerificationResult:
    """How much was checked, and the first break if there is one."""

    chains: int = 0
    entries: int = 0
    rows: int = 0
    signatures: int = 0
    broken: Break | None = None


class _Found(Exception):
    """Carries the first break out to where the checking began."""

    def __init__(self, where: str, why: str) -> None:
        super().__init__(where, why)
        self.found = Break(where=where, why=why)


@dataclass(slots=True)
class _Told:
    """What was told: by the chain that is being checked, and the ids by all of them."""

    rows: ledger.Rows = field(default_factory=dict)
    ids: defaultdict[str, "array[int]"] = field(default_factory=lambda: defaultdict(lambda: array("q")))


def check_records(progress: Callable[[int, int], None] = lambda done, of: None) -> VerificationResult:
    """Check everything, until the first break. progress: called with the number of chains done, and of all."""
    checked, told = VerificationResult(), _Told()
    try:
        with _one_moment():
            of = Chain.objects.count()
            for chain in Chain.objects.order_by("id").iterator(AT_ONCE):
                _check_chain(chain, told, checked)
                checked.chains += 1
                progress(checked.chains, of)
            _check_nothing_untold(told, checked)
            _check_checkpoints()
    except _Found as first:
        checked.broken = first.found
    return checked


@contextmanager
def _one_moment() -> Iterator[None]:
    """All that is read within is of one moment, and nobody who writes has to wait for it."""
    if connection.in_atomic_block:
        yield
    elif connection.vendor == "postgresql":
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            yield
    else:
        with connection.cursor() as cursor:
            cursor.execute("BEGIN DEFERRED")  # transaction.atomic() would begin as a writer
            try:
                yield
            finally:
                cursor.execute("ROLLBACK")


# Chains -------------------------------------------------------------------------------------------------------------


def _check_chain(chain: Chain, told: _Told, checked: VerificationResult) -> None:
    told.rows = {}
    entries = _entries(chain, told, checked)
    if broken := ledger.first_break(chain.name, entries, length=chain.length, head=chain.head):
        raise _Found(broken.where, broken.why)
    if chain.length == 0 and chain.name != FEED:  # the feed's is a lock and nothing more
        raise _Found(chain.name, "it has no entries; every history begins with one")
    by_table: dict[str, list[int]] = defaultdict(list)
    for table, row_id in told.rows:
        by_table[table].append(row_id)
    for table, ids in by_table.items():
        told.ids[table].extend(ids)
        _check_rows(chain, table, ids, told.rows, checked)


def _entries(chain: Chain, told: _Told, checked: VerificationResult) -> Iterator[ledger.Stored]:
    """The stored entries of a chain. What an entry says is taken in once the entry itself was found whole."""
    for row in HistoryEntry.objects.filter(chain=chain).order_by("seq").iterator(AT_ONCE):
        content = bytes(row.content)
        yield ledger.Stored(chain=chain.name, seq=row.seq, prev=row.prev, digest=row.digest, content=content)
        said = ledger.read(content)
        assert said is not None, "the chain's check has read it"
        if why := _beside(row, said) or ledger.follow(told.rows, said) or _revealed(told.rows, said):
            raise _Found(f"{chain.name} entry {row.seq}", why)
        checked.entries += 1


def _beside(row: HistoryEntry, said: Mapping[str, Any]) -> str | None:
    """What the columns beside an entry say that its bytes do not."""
    columns_say = {"at": ledger.plain(row.at), "act": row.act, "actor": row.actor_id}
    bytes_say = {"at": said["at"], "act": said["act"], "actor": said["actor"].get("id")}
    for name, value in bytes_say.items():
        if columns_say[name] != value:
            return f"its bytes say {name} {value!r}, the column beside them says {columns_say[name]!r}"
    return None


def _revealed(rows: ledger.Rows, said: Mapping[str, Any]) -> str | None:
    """What was revealed that is not what was committed to while it was blind."""
    for fact in said["facts"].get("revealed", ()):
        row = rows.get((Keying._meta.db_table, fact["keying"]))
        if row is None:
            return f"it reveals keying {fact['keying']}, which was never told"
        if keying.commitment(Point(row["point"]), fact["value"], fact["salt"]) != row["commitment"]:
            return f"it reveals {fact['value']!r} for keying {fact['keying']}, which is not what was keyed"
    return None


# Rows ---------------------------------------------------------------------------------------------------------------


def _check_rows(chain: Chain, table: str, ids: list[int], told: ledger.Rows, checked: VerificationResult) -> None:
    model = _kept_models().get(table)
    if model is None:
        raise _Found(chain.name, f"it tells of a table {table!r}, and there is none that is kept")
    for start in range(0, len(ids), AT_ONCE):
        wanted = ids[start : start + AT_ONCE]
        found = _rows(model).in_bulk(wanted)
        for row_id in wanted:
            where = f"{chain.name}, {model._meta.verbose_name} {row_id}"
            if row_id not in found:
                raise _Found(where, "the history tells of it, and it is gone")
            if why := _differs(found[row_id], told[table, row_id]) or _hidden_fault(found[row_id], checked):
                raise _Found(where, why)
            checked.rows += 1


def _kept_models() -> dict[str, type[models.Model]]:
    """The kept tables whose rows histories tell of."""
    kept = append_only.tables()
    found = {model._meta.db_table: model for model in apps.get_models() if model._meta.db_table in kept}
    return {table: model for table, model in found.items() if model not in UNTOLD}


def _rows(model: type[models.Model]) -> "models.QuerySet[Any]":
    rows = model._base_manager.all()
    return rows.select_related("inspection__record") if model is SignOff else rows


def _differs(row: models.Model, told: Mapping[str, Any]) -> str | None:
    """The first column that is not as it was told; one that came with a later migration holds its default."""
    for name, value in columns(row).items():
        field: Any = row._meta.get_field(name)
        expected = told[name] if name in told else ledger.plain(field.get_default())
        if value != expected:
            return f"its {name} is {value!r}; the history says {expected!r}"
    return None


def _hidden_fault(row: models.Model, checked: VerificationResult) -> str | None:
    """What is wrong with the columns that a history knows only by their digest."""
    match row:
        case Keying():
            is_kept = keying.commitment(Point(row.point), row.value, row.salt) == row.commitment
            return None if is_kept else f"its value {row.value!r} is not the one that was committed to"
        case InspectionRecord():
            return _content_fault(row) or _record_fault(row)
        case ArchivedPdf() | Photo():
            return _content_fault(row)
        case SignOff():
            checked.signatures += 1
            return _signature_fault(row)
    return None


def _content_fault(row: InspectionRecord | ArchivedPdf | Photo) -> str | None:
    digest = ledger.digest(bytes(row.content))
    return None if digest == row.digest else f"its bytes have the digest {digest[:12]}, but {row.digest[:12]} is told"


def _record_fault(record: InspectionRecord) -> str | None:
    said, row = json.loads(bytes(record.content)), record.inspection
    signed = (said["inspection"], *(said["result"][name] for name in ("layers", "wraps", "parity")))
    if signed != (row.pk, row.layers, row.wraps, row.parity):
        return (
            f"signed was layers {signed[1]}, wraps {signed[2]}, {signed[3]}, of inspection {signed[0]}; "
            f"inspection {row.pk} has layers {row.layers}, wraps {row.wraps}, {row.parity}"
        )
    return None


def _signature_fault(signature: SignOff) -> str | None:
    record: InspectionRecord | None = getattr(signature.inspection, "record", None)
    if record is None:
        return "the record that was signed is gone"
    beside = {
        "record": signature.record_digest,
        "inspection": signature.inspection_id,
        "meaning": signature.meaning,
        "person": signature.person_id,
        "name": signature.full_name,
        "at": ledger.plain(signature.signed_at),
    }
    content, statement = bytes(record.content), bytes(signature.statement)
    return signature_fault(content, statement, digest=signature.digest, columns=beside)


def _check_nothing_untold(told: _Told, checked: VerificationResult) -> None:
    """Every row there is was told, once; every entry belongs to a chain."""
    if (there := HistoryEntry.objects.count()) != checked.entries:
        raise _Found("histories", f"{there} entries are stored, and {checked.entries} of them belong to a chain")
    for table, model in _kept_models().items():
        stored = model._base_manager.order_by("pk").values_list("pk", flat=True).iterator(AT_ONCE)
        for row_id, told_id in zip_longest(stored, sorted(told.ids[table])):
            if row_id != told_id:
                is_untold = told_id is None or (row_id is not None and row_id < told_id)
                why = "no history tells of it" if is_untold else "two histories tell of it"
                raise _Found(f"{model._meta.verbose_name} {row_id if is_untold else told_id}", why)


# Checkpoints --------------------------------------------------------------------------------------------------------


def _check_checkpoints() -> None:
    """Every entry has one place; every checkpoint that is kept here holds, and is over the first of them."""
    places = FeedPlace.objects.filter(number__isnull=False).order_by("number")
    if (waiting := HistoryEntry.objects.filter(place__isnull=True).first()) is not None:
        raise _Found(f"{waiting.chain} entry {waiting.seq}", "it has no place in the order of all entries")
    made = {row.entries: row for row in CheckpointMade.objects.order_by("entries")}
    for row in made.values():
        if why := _text_fault(row):
            raise _Found(str(row), why)
    leaves = (checkpoint.leaf_of(digest) for digest in _digests_in_order(places))
    roots = {size: root.hex() for size, root in merkle.roots_at(made, leaves)}
    for row in made.values():
        if roots.get(row.entries) != row.root:
            raise _Found(str(row), "the entries that it covers are no longer what they were, or in another order")


def _digests_in_order(places: "models.QuerySet[FeedPlace]") -> Iterator[str]:
    rows = places.values_list("number", "entry__digest").iterator(AT_ONCE)
    for expected, (number, digest) in enumerate(rows, start=1):
        if number != expected:
            raise _Found("the order of all entries", f"place {expected} is missing; the next one is {number}")
        yield digest


def _text_fault(row: CheckpointMade) -> str | None:
    """What is wrong with a checkpoint's text. Whether its key is the service's is for those who know that key."""
    said = checkpoint.lines_of(row.text)
    if why := checkpoint.text_fault(row.text, key=said.get("key", "")):
        return why
    beside = (str(row.entries), row.root, ledger.plain(row.made_at))
    return None if beside == (said["entries"], said["root"], said["made"]) else "its text says otherwise than its row"
