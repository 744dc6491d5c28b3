"""How the check goes through all there is: chain by chain, then what is of no chain, until the first break."""

from array import array
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import zip_longest

from django.db import connection, transaction

from inspections.models import FindingNumber, FlaggedReel, ReelNumber, ReelStatusRow, SignOff
from reels import append_only
from reels.domain import ledger
from reels.domain.ledger import Break
from reels.models import Chain, HistoryEntry
from reels.services.feed import FEED
from reports.models import AssessedInterval, Assessment, FleetAssessment
from reports.services.verification.checkpoints import check_checkpoints
from reports.services.verification.entries import entry_fault
from reports.services.verification.framework import framework_faults
from reports.services.verification.rows import UNRECORDED, check_rows, recorded_models
from reports.services.verification.stored_values import CHUNK, BreakFound, check_stored, readable
from reports.services.verification.worked_out import worked_out_faults

# Of what no history tells, that which people are shown, and which queries sort and filter.
ACTED_ON = (
    *UNRECORDED, ReelStatusRow, ReelNumber, FindingNumber, FlaggedReel, Assessment, AssessedInterval,
    FleetAssessment,
)  # fmt: skip
_SIGNATURES = SignOff._meta.db_table


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
    when it was checked, by its id. documents: the id of the kept document that was checked last. turn: see
    `worked_out_faults`.
    """

    result: VerificationResult = field(default_factory=VerificationResult)
    rows: ledger.Rows = field(default_factory=dict)
    known: frozenset[tuple[str, int]] = frozenset()
    ids: defaultdict[str, "array[int]"] = field(default_factory=lambda: defaultdict(lambda: array("q")))
    lengths: dict[int, int] = field(default_factory=dict)
    documents: int = 0
    turn: int | None = 0


def check_records(
    progress: Callable[[int, int], None] = lambda done, total: None, *, turn: int | None = 0
) -> VerificationResult:
    """Check everything, until the first break; nothing is written.

    progress: called with chains done, and all. turn: see `worked_out_faults`.
    """
    check = CheckUnderWay(turn=turn)
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
        check_rows(chain, table, ids, check.rows)
    new = [table for table, row_id in check.rows if (table, row_id) not in check.known]
    result.rows += len(new)
    result.signatures += new.count(_SIGNATURES)
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
        if why := entry_fault(row, entry, check.rows):
            raise BreakFound(f"{chain.name} entry {row.seq}", why)
        if row.seq == before:
            check.known = frozenset(check.rows)
        check.result.entries += row.seq > before


def _check_what_is_of_no_chain(check: CheckUnderWay) -> None:
    _check_nothing_unrecorded(check, check.result)
    with readable("the order of all entries"):
        check_checkpoints()
    for model in ACTED_ON:
        with readable(str(model._meta.verbose_name_plural)):
            check_stored(model)
    with readable("what is worked out from records"):
        for where, why in worked_out_faults(check.turn):
            raise BreakFound(where, why)
    with readable("what the framework keeps"):
        for where, why in framework_faults():
            raise BreakFound(where, why)


def _check_nothing_unrecorded(replayed: CheckUnderWay, result: VerificationResult) -> None:
    """Every row there is was recorded, once; every entry belongs to a chain."""
    if (stored := HistoryEntry.objects.count()) != result.entries:
        raise BreakFound("histories", f"{stored} entries are stored, and {result.entries} of them belong to a chain")
    for table, model in recorded_models().items():
        stored_ids = model._base_manager.order_by("pk").values_list("pk", flat=True).iterator(CHUNK)
        # Both are in ascending order, so the first pair that differs names the row that only one of them has.
        for row_id, recorded_id in zip_longest(stored_ids, sorted(replayed.ids[table])):
            if row_id != recorded_id:
                is_unrecorded = recorded_id is None or (row_id is not None and row_id < recorded_id)
                why = "no history tells of it" if is_unrecorded else "two histories tell of it"
                raise BreakFound(f"{model._meta.verbose_name} {row_id if is_unrecorded else recorded_id}", why)
