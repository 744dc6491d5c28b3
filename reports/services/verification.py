"""All records checked from their stored bytes: every chain, row, commitment, signature and PDF.

The model: each chain's entries are replayed in order, which gives what every kept row must be now; then the rows are
read and compared; last, no row and no entry may be there that no chain has. The worker does that in steps, each in a
snapshot of its own; at the end it checks again what has grown meanwhile. Only formats are shared with the writers
(reels/domain/ledger.py, inspections/domain/record.py, keying.commitment, reels.models.columns), so that a fault of
theirs does not hide itself. In memory: the rows of one chain, and eight bytes for every row there is.

It finds what was changed, added or removed without a history that says so. Whoever can rewrite a whole history is only
found out by a checkpoint that is kept elsewhere.
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

from inspections.domain import findings, keying
from inspections.domain.record import signature_fault
from inspections.domain.words import Point
from inspections.models import (
    Finding,
    FindingNumber,
    FindingPhoto,
    FlaggedReel,
    InspectionRecord,
    Keying,
    LearnedRates,
    NoticedReel,
    Photo,
    ReelNumber,
    ReelStatusRow,
    SignOff,
    ThirdReading,
)
from inspections.queries.findings import stop_fault
from inspections.queries.safety_notices import notice_fault
from inspections.services.status_rows import status_faults
from reels import append_only
from reels.domain import checkpoint, ledger, merkle
from reels.domain.ledger import Break
from reels.domain.type_rules import without_source
from reels.models import (
    Alarm,
    Chain,
    CheckpointMade,
    FeedPlace,
    HistoryEntry,
    ReelType,
    Submission,
    columns,
)
from reels.services.feed import FEED
from reports.models import ArchivedPdf
from reports.services.stored_values import BreakFound, check_stored, readable, require_written_as_usual

# Kept, and in no history: the histories themselves, their order, checkpoints, answers that scripts got, alarms.
UNRECORDED = (Chain, HistoryEntry, FeedPlace, CheckpointMade, Submission, Alarm)
# Of what no history tells, that which people are shown, and which queries sort and filter.
ACTED_ON = (*UNRECORDED, ReelStatusRow, ReelNumber, FindingNumber, FlaggedReel, LearnedRates)
READ_TOGETHER: dict[Any, tuple[str, ...]] = {SignOff: ("inspection__record",), NoticedReel: ("hold", "notice")}
CHUNK = 400  # rows of one query; SQLite takes no more than a thousand values in one


@dataclass(slots=True)
class VerificationResult:
    """How much was checked, and the first break if there is one."""

    chains: int = 0
    entries: int = 0
    rows: int = 0
    signatures: int = 0
    broken: Break | None = None


@dataclass(slots=True)
class CheckUnderWay:
    """What the entries say that rows are, of the chain that is being checked; and what is known of those before it.

    known: its rows when it was checked before. ids: of all rows, by table. lengths: how many entries each chain had
    when it was checked, by its id. documents: the id of the kept document that was checked last.
    """

    result: VerificationResult = field(default_factory=VerificationResult)
    rows: ledger.Rows = field(default_factory=dict)
    known: frozenset[tuple[str, int]] = frozenset()
    ids: defaultdict[str, "array[int]"] = field(default_factory=lambda: defaultdict(lambda: array("q")))
    lengths: dict[int, int] = field(default_factory=dict)
    documents: int = 0


def check_records(progress: Callable[[int, int], None] = lambda done, total: None) -> VerificationResult:
    """Check everything, until the first break; nothing is written. progress: called with chains done, and all."""
    check = CheckUnderWay()
    with _first_break_kept(check.result), _one_snapshot():
        total = Chain.objects.count()
        for chain in Chain.objects.order_by("id").iterator(CHUNK):
            _check_chain(chain, check)
            progress(check.result.chains, total)
        _check_what_is_of_no_chain(check)
    return check.result


def check_more(check: CheckUnderWay, at_once: int) -> bool:
    """Check so many chains more, in a snapshot of their own; whether there were any, and they are whole."""
    with _first_break_kept(check.result), _one_snapshot():
        chains = Chain.objects.filter(pk__gt=max(check.lengths, default=0)).order_by("pk")[:at_once]
        for chain in list(chains):
            _check_chain(chain, check)
    return bool(chains) and check.result.broken is None


def end_check(check: CheckUnderWay) -> None:
    """In one snapshot: each chain again that has grown since it was checked, and what is of no chain."""
    with _first_break_kept(check.result), _one_snapshot():
        for chain in Chain.objects.order_by("id").iterator(CHUNK):
            if check.lengths.get(chain.pk) != chain.length:
                _check_chain(chain, check)
        _check_what_is_of_no_chain(check)


def guard_break() -> Break | None:
    """The first trigger, view or rule of the database that is not as this service installs it."""
    return next((Break(where="the guards of the database", why=why) for why in append_only.faults(connection)), None)


@contextmanager
def _first_break_kept(result: VerificationResult) -> Iterator[None]:
    try:
        yield
    except BreakFound as first:
        result.broken = first.broken


@contextmanager
def _one_snapshot() -> Iterator[None]:
    """All that is read within is of one snapshot of the database, and nobody who writes has to wait for it."""
    if connection.in_atomic_block:
        yield
    elif connection.vendor == "postgresql":
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            yield
    else:
        with connection.cursor() as cursor:
            cursor.execute("BEGIN DEFERRED")  # transaction.atomic() begins IMMEDIATE here, and would keep writers out
            try:
                yield
            finally:
                cursor.execute("ROLLBACK")


# Chains -------------------------------------------------------------------------------------------------------------


def _check_chain(chain: Chain, check: CheckUnderWay) -> None:
    """Check a chain; one that was checked before and has grown, again, of which only what is new is counted."""
    with readable(chain.name):
        _check_readable(chain, check)


def _check_readable(chain: Chain, check: CheckUnderWay) -> None:
    result = check.result
    entries = _replay(chain, check)
    if broken := ledger.first_break(chain.name, entries, length=chain.length, head=chain.head):
        raise BreakFound(broken.where, broken.why)
    if chain.length == 0 and chain.name != FEED:  # the feed's is a lock and nothing more
        raise BreakFound(chain.name, "it has no entries; every history begins with one")
    by_table: dict[str, list[int]] = defaultdict(list)
    for table, row_id in check.rows:
        by_table[table].append(row_id)
    for table, ids in by_table.items():
        check.ids[table].extend(row_id for row_id in ids if (table, row_id) not in check.known)
        _check_rows(chain, table, ids, check.rows, result)
    counted_before = [table for table, _ in check.known]
    result.rows -= len(counted_before)
    result.signatures -= counted_before.count(SignOff._meta.db_table)
    result.chains += chain.pk not in check.lengths
    check.lengths[chain.pk] = chain.length


def _replay(chain: Chain, check: CheckUnderWay) -> Iterator[ledger.Stored]:
    """The stored entries of a chain, each applied to the rows once the caller has found the entry itself whole."""
    check.rows, check.known, before = {}, frozenset(), check.lengths.get(chain.pk, 0)
    for row in HistoryEntry.objects.filter(chain=chain).order_by("seq").iterator(CHUNK):
        content = bytes(row.content)
        yield ledger.Stored(chain=chain.name, seq=row.seq, prev=row.prev, digest=row.digest, content=content)
        entry = ledger.read(content)
        assert entry is not None, "the chain's check has read it"
        rows = check.rows
        if why := _columns_fault(row, entry) or ledger.follow(rows, entry) or _revealed_fault(rows, entry):
            raise BreakFound(f"{chain.name} entry {row.seq}", why)
        if row.seq == before:
            check.known = frozenset(rows)
        check.result.entries += row.seq > before


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


# Rows ---------------------------------------------------------------------------------------------------------------


def _check_rows(chain: Chain, table: str, ids: list[int], replayed: ledger.Rows, result: VerificationResult) -> None:
    model = _recorded_models().get(table)
    if model is None:
        raise BreakFound(chain.name, f"it tells of a table {table!r}, and there is none that is kept")
    rows = model._base_manager.all()
    if together := READ_TOGETHER.get(model):
        rows = rows.select_related(*together)
    for start in range(0, len(ids), CHUNK):
        stored = rows.in_bulk(ids[start : start + CHUNK])
        require_written_as_usual(list(stored.values()))
        for row_id in ids[start : start + CHUNK]:
            where = f"{chain.name}, {model._meta.verbose_name} {row_id}"
            if row_id not in stored:
                raise BreakFound(where, "the history tells of it, and it is gone")
            row = stored[row_id]
            if why := _row_fault(row, replayed[table, row_id]) or _hidden_fault(row, result) or _rules_fault(row):
                raise BreakFound(where, why)
            result.rows += 1


def _recorded_models() -> dict[str, type[models.Model]]:
    """The kept tables whose rows are in histories."""
    kept = append_only.tables()
    return {
        model._meta.db_table: model for model in apps.get_models()
        if model._meta.db_table in kept and model not in UNRECORDED
    }  # fmt: skip


def _row_fault(row: models.Model, recorded: Mapping[str, Any]) -> str | None:
    """The first column that is not as it was recorded; one that came with a later migration holds its default."""
    for name, value in columns(row).items():
        field: Any = row._meta.get_field(name)
        expected = recorded[name] if name in recorded else ledger.plain(field.get_default())
        if value != expected:
            return f"its {name} is {value!r}; the history says {expected!r}"
    return None


def _hidden_fault(row: models.Model, result: VerificationResult) -> str | None:
    """What is wrong with the columns that a history knows only by their digest."""
    match row:
        case ThirdReading(read_at=None):
            return None if row.value is None else f"it holds {row.value!r}, which nobody keyed"
        case Keying() | ThirdReading():
            is_kept = keying.commitment(Point(row.point), row.value, row.salt) == row.commitment
            return None if is_kept else f"its value {row.value!r} is not the one that was committed to"
        case InspectionRecord():
            return _content_fault(row) or _record_fault(row)
        case Finding():
            is_kept = findings.commitment(findings.details_of(row), row.salt) == row.commitment
            return stop_fault(row) if is_kept else "where it lies, or what it looks like, is not what was committed to"
        case NoticedReel():
            return notice_fault(row)
        case ArchivedPdf() | Photo() | FindingPhoto():
            return _content_fault(row)
        case SignOff():
            result.signatures += 1
            return _signature_fault(row)
    return None


def _rules_fault(row: models.Model) -> str | None:
    """What is wrong with the confirmation of a reel type's rules, as the history itself tells it."""
    if not isinstance(row, ReelType) or row.rules_confirmed_at is None:
        return None
    if row.rules_confirmed_by_id in row.rules_written_by:
        return f"its rules were confirmed by person {row.rules_confirmed_by_id}, who wrote some of them"
    missing = ", ".join(without_source(row.rule_sources))
    return f"its rules were confirmed, and none says where these are written: {missing}" if missing else None


def _content_fault(row: InspectionRecord | ArchivedPdf | Photo | FindingPhoto) -> str | None:
    digest = ledger.digest(bytes(row.content))
    return None if digest == row.digest else f"its bytes have the digest {digest[:12]}, but {row.digest[:12]} is told"


def _record_fault(record: InspectionRecord) -> str | None:
    data, row = json.loads(bytes(record.content)), record.inspection
    signed = (data["inspection"], *(data["result"][name] for name in ("layers", "wraps", "parity")))
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
    expected = {
        "record": signature.record_digest,
        "inspection": signature.inspection_id,
        "meaning": signature.meaning,
        "person": signature.person_id,
        "name": signature.full_name,
        "at": ledger.plain(signature.signed_at),
    }
    content, statement = bytes(record.content), bytes(signature.statement)
    return signature_fault(content, statement, digest=signature.digest, columns=expected)


def _check_what_is_of_no_chain(check: CheckUnderWay) -> None:
    _check_nothing_unrecorded(check, check.result)
    _check_checkpoints()
    for model in ACTED_ON:
        with readable(str(model._meta.verbose_name_plural)):
            check_stored(model, CHUNK)
    for where, why in status_faults():
        raise BreakFound(where, f"{why}; manage.py rebuild_status works it out again")


def _check_nothing_unrecorded(replayed: CheckUnderWay, result: VerificationResult) -> None:
    """Every row there is was recorded, once; every entry belongs to a chain."""
    if (stored := HistoryEntry.objects.count()) != result.entries:
        raise BreakFound("histories", f"{stored} entries are stored, and {result.entries} of them belong to a chain")
    for table, model in _recorded_models().items():
        stored_ids = model._base_manager.order_by("pk").values_list("pk", flat=True).iterator(CHUNK)
        # Both are in ascending order, so the first pair that differs names the row that only one of them has.
        for row_id, recorded_id in zip_longest(stored_ids, sorted(replayed.ids[table])):
            if row_id != recorded_id:
                is_unrecorded = recorded_id is None or (row_id is not None and row_id < recorded_id)
                why = "no history tells of it" if is_unrecorded else "two histories tell of it"
                raise BreakFound(f"{model._meta.verbose_name} {row_id if is_unrecorded else recorded_id}", why)


# Checkpoints --------------------------------------------------------------------------------------------------------


def _check_checkpoints() -> None:
    """Every entry has one place; every checkpoint that is kept here holds, and is over the first of them."""
    places = FeedPlace.objects.filter(number__isnull=False).order_by("number")
    if (unplaced := HistoryEntry.objects.filter(place__isnull=True).first()) is not None:
        raise BreakFound(f"{unplaced.chain} entry {unplaced.seq}", "it has no place in the order of all entries")
    by_size = {row.entries: row for row in CheckpointMade.objects.order_by("entries")}
    for row in by_size.values():
        if why := _text_fault(row):
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


def _text_fault(row: CheckpointMade) -> str | None:
    """What is wrong with a checkpoint's text. Whether its key is the service's is for those who know that key."""
    lines = checkpoint.lines_of(row.text)
    if why := checkpoint.text_fault(row.text, key=lines.get("key", "")):
        return why
    columns_say = (str(row.entries), row.root, ledger.plain(row.made_at))
    if columns_say != (lines["entries"], lines["root"], lines["made"]):
        return "its text says otherwise than its row"
    return None
