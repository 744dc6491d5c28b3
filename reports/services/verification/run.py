"""How the check goes through all there is: chain by chain, then what is of no chain, until the first break."""

from array import array
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import zip_longest

from django.db import connection, transaction

from inspections.models import Exercise, FindingNumber, FlaggedReel, ReelNumber, ReelStatusRow, SignOff
from reels import append_only
from reels.domain import ledger
from reels.domain.ledger import Break
from reels.models import Chain, HistoryEntry
from reels.services.feed import FEED
from reports.models import AssessedInterval, Assessment, ChainSeen, FleetAssessment, NoticeChoice
from reports.services.verification.checkpoints import check_checkpoints
from reports.services.verification.entries import entry_fault
from reports.services.verification.framework import framework_faults
from reports.services.verification.rows import UNRECORDED, check_rows, recorded_models
from reports.services.verification.seen import Ids, Night, is_of_a_reel, keep_marks, known_again, mark_of
from reports.services.verification.stored_values import (
    CHUNK,
    BreakFound,
    check_stored,
    readable,
    require_written_as_usual,
)
from reports.services.verification.worked_out import interval_faults, worked_out_faults

AT_ONCE = 50  # chains
# Of what no history tells, that which people are shown, and which queries sort and filter.
ACTED_ON = (
    *(model for model in UNRECORDED if model is not HistoryEntry), Exercise, NoticeChoice,
    ReelStatusRow, ReelNumber, FindingNumber, FlaggedReel, Assessment, AssessedInterval, FleetAssessment,
)  # fmt: skip
_SIGNATURES = SignOff._meta.db_table


@dataclass(slots=True)
class VerificationResult:
    """How much was checked, and the first break if there is one.

    chains: those that were replayed or known again. nights: within how many all are replayed; 1: in each.
    """

    chains: int = 0
    replayed: int = 0
    nights: int = 1
    entries: int = 0
    rows: int = 0
    signatures: int = 0
    broken: Break | None = None


@dataclass(slots=True)
class CheckUnderWay:
    """What the entries say that rows are, of the chain that is being checked; and what is known of those before it.

    known: its rows when it was checked before. ids: of all rows, by table. lengths: how many entries each chain had
    when it was checked, by its id. replayed: the ids of those that were. documents: the id of the kept document that
    was checked last. night: None: all chains are replayed. marks: of chains found whole, to be kept.
    """

    result: VerificationResult = field(default_factory=VerificationResult)
    rows: ledger.Rows = field(default_factory=dict)
    known: frozenset[tuple[str, int]] = frozenset()
    ids: defaultdict[str, "array[int]"] = field(default_factory=lambda: defaultdict(lambda: array("q")))
    lengths: dict[int, int] = field(default_factory=dict)
    replayed: set[int] = field(default_factory=set)
    documents: int = 0
    night: Night | None = None
    marks: list[ChainSeen] | None = None

    def __post_init__(self) -> None:
        self.result.nights = self.night.nights if self.night else 1


def check_records(
    progress: Callable[[int, int], None] = lambda done, total: None, *, night: Night | None = None
) -> VerificationResult:
    """Check everything, until the first break; nothing is written.

    progress: called with chains done, and all. night: of a large fleet, what is replayed in it and what has changed.
    """
    check = CheckUnderWay(night=night)
    with _first_break_kept(check.result), _one_snapshot():
        total = Chain.objects.count()
        while chains := _next_chains(check, AT_ONCE):
            _check_chains(chains, check)
            progress(check.result.chains, total)
        _check_what_is_of_no_chain(check)
    return check.result


def check_more(check: CheckUnderWay, at_once: int) -> bool:
    """Check so many chains more, in a snapshot of their own; whether there were any, and they are whole."""
    with _first_break_kept(check.result), _one_snapshot():
        chains = _next_chains(check, at_once)
        _check_chains(chains, check)
    _keep_marks(check)
    return bool(chains) and check.result.broken is None


def end_check(check: CheckUnderWay) -> None:
    """In one snapshot: each chain again that has grown since it was checked, and what is of no chain."""
    with _first_break_kept(check.result), _one_snapshot():
        for chain in Chain.objects.order_by("id").iterator(CHUNK):
            if check.lengths.get(chain.pk) != chain.length:
                _replay_chains([chain], check)
        _check_what_is_of_no_chain(check)
    _keep_marks(check)


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


def _next_chains(check: CheckUnderWay, at_once: int) -> list[Chain]:
    return list(Chain.objects.filter(pk__gt=max(check.lengths, default=0)).order_by("pk")[:at_once])


def _check_chains(chains: list[Chain], check: CheckUnderWay) -> None:
    known = known_again(chains, check.night) if check.night else {}
    for chain in chains:
        if chain.pk in known:
            _take(chain, known[chain.pk], check)
    _replay_chains([chain for chain in chains if chain.pk not in known], check)


def _replay_chains(chains: list[Chain], check: CheckUnderWay) -> None:
    """Check chains; one that was checked before and has grown, again, of which only what is new is counted."""
    for chain in chains:
        with readable(chain.name):
            _check_readable(chain, check)
    with readable("the drift of reels"):
        for where, why in interval_faults([chain.pk for chain in chains]):
            raise BreakFound(where, why)


def _take(chain: Chain, ids: Ids, check: CheckUnderWay) -> None:
    """What a chain tells that is known again."""
    _count(chain, {table: some for table, some in ids.items() if table != HistoryEntry._meta.db_table}, check)
    check.result.entries += chain.length


def _check_readable(chain: Chain, check: CheckUnderWay) -> None:
    entry_ids: list[int] = []
    entries = _replay(chain, check, entry_ids)
    if broken := ledger.first_break(chain.name, entries, length=chain.length, head=chain.head):
        raise BreakFound(broken.where, broken.why)
    if chain.length == 0 and chain.name != FEED:  # the feed's is a lock and nothing more
        raise BreakFound(chain.name, "it has no entries; every history begins with one")
    by_table: dict[str, list[int]] = defaultdict(list)
    for table, row_id in check.rows:
        by_table[table].append(row_id)
    for table, ids in by_table.items():
        check_rows(chain, table, ids, check.rows)
    new: dict[str, list[int]] = defaultdict(list)
    for table, row_id in check.rows:
        if (table, row_id) not in check.known:
            new[table].append(row_id)
    _count(chain, new, check)
    check.result.replayed += chain.pk not in check.replayed
    check.replayed.add(chain.pk)
    if check.marks is not None and check.night and is_of_a_reel(chain):
        check.marks.append(mark_of(chain, check.night.day, {HistoryEntry._meta.db_table: entry_ids, **by_table}))


def _count(chain: Chain, new: Ids, check: CheckUnderWay) -> None:
    for table, ids in new.items():
        check.ids[table].extend(ids)
        check.result.rows += len(ids)
    check.result.signatures += len(new.get(_SIGNATURES, ()))
    check.result.chains += chain.pk not in check.lengths
    check.lengths[chain.pk] = chain.length


def _keep_marks(check: CheckUnderWay) -> None:
    if check.marks:
        keep_marks(check.marks)
        check.marks.clear()


def _replay(chain: Chain, check: CheckUnderWay, ids: list[int]) -> Iterator[ledger.Stored]:
    """The stored entries of a chain, each applied to the rows once the caller has found the entry itself whole.

    ids: theirs are put into it.
    """
    check.rows, check.known, before = {}, frozenset(), check.lengths.get(chain.pk, 0)
    for row in _entries_of(chain):
        ids.append(row.pk)
        content = bytes(row.content)
        yield ledger.Stored(chain=chain.name, seq=row.seq, prev=row.prev, digest=row.digest, content=content)
        entry = ledger.read(content)
        assert entry is not None, "the chain's check has read it"
        if why := entry_fault(row, entry, check.rows):
            raise BreakFound(f"{chain.name} entry {row.seq}", why)
        if row.seq == before:
            check.known = frozenset(check.rows)
        check.result.entries += row.seq > before


def _entries_of(chain: Chain) -> Iterator[HistoryEntry]:
    rows, last = HistoryEntry.objects.filter(chain=chain).order_by("seq"), -1
    while some := list(rows.filter(seq__gt=last)[:CHUNK]):
        require_written_as_usual(some)
        yield from some
        last = some[-1].seq


def _check_what_is_of_no_chain(check: CheckUnderWay) -> None:
    _check_nothing_unrecorded(check, check.result)
    with readable("the order of all entries"):
        check_checkpoints()
    for model in ACTED_ON:
        with readable(str(model._meta.verbose_name_plural)):
            check_stored(model)
    with readable("what is worked out from records"):
        for where, why in worked_out_faults():
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
