"""Runs of the check of all records: the last one, and those that the worker makes, which go on where they left off."""

import json
import time
import zlib
from array import array
from collections.abc import Iterator
from dataclasses import asdict, replace
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from reels import access
from reels.domain.ledger import Break
from reels.domain.words import counted
from reels.models import Chain, HistoryEntry, TaskRun
from reels.services import tasks
from reels.services.history import Actor, by_itself, record_act
from reels.services.tasks import HeldTask, TaskStopped, leased
from reports.models import ArchivedPdf, ChainSeen, VerificationRun
from reports.services.checking import first_fault, next_documents
from reports.services.verification import (
    AT_ONCE,
    CheckUnderWay,
    Night,
    VerificationResult,
    check_more,
    end_check,
    guard_break,
)

CHECKS = "checks"  # the chain
KEPT_EVERY_S = 60.0  # a worker that is killed is found out after as long


@transaction.atomic
def keep_run(result: VerificationResult, broken: Break | None, *, at: datetime) -> VerificationRun:
    """Keep how a check came out, for people to see; it is no evidence by itself."""
    run = VerificationRun(
        at=at, chains=result.chains, replayed=result.replayed, nights=result.nights, entries=result.entries,
        signatures=result.signatures, first_break=str(broken) if broken else "",
    )  # fmt: skip
    with record_act(access.lock_or_begin(CHECKS), "records_checked", by_itself("check of records"), at) as act:
        return act.add(run)


def runs() -> QuerySet[VerificationRun]:
    """Every run of the check."""
    return VerificationRun.objects.all()


def last_run() -> VerificationRun | None:
    """The newest run of the check. One query."""
    return VerificationRun.objects.order_by("at", "id").last()


def entries_since(run: VerificationRun) -> int:
    """How many entries were written since it, besides the one that tells of it. One query."""
    return HistoryEntry.objects.count() - run.entries - 1


# By the worker --------------------------------------------------------------------------------------------------------


def have_checked(*, actor: Actor) -> TaskRun:
    """Have the worker check all records. Raises OnlyAdministrators and QueueFull."""
    access.only_administrators(actor.person)
    return tasks.put(check_everything, key="check of all records", title="Check of all records")


def put_nights_check() -> TaskRun:
    """Have the worker check what a night does: what has changed, and a share of the rest. Raises QueueFull."""
    return tasks.put(check_everything, True, key="check of the night", title="Check of records")


@leased
def check_everything(context: HeldTask, is_nights: bool = False) -> dict[str, Any]:
    """As `verify_records`, in steps; how it came out is kept as a run. is_nights: of a large fleet, a part."""
    check = _read(context.left()) or _begun(Night.of(timezone.now().toordinal()), is_nights)
    kept_at = time.monotonic()
    try:
        for words, done, of in _steps(check):
            if time.monotonic() > kept_at + KEPT_EVERY_S:
                context.leave(_written(check))
                kept_at = time.monotonic()
            context.progress(words, done, of)
    except TaskStopped:
        context.leave(_written(check))
        raise
    result = check.result
    with transaction.atomic():
        context.require()
        keep_run(result, result.broken, at=timezone.now())
    amounts = {name: getattr(result, name) for name in ("chains", "replayed", "entries", "signatures")}
    return {
        **amounts,
        "whole": result.broken is None,
        "first_break": str(result.broken or ""),
        "in_words": _words(result),
    }


def _steps(check: CheckUnderWay) -> Iterator[tuple[str, int, int]]:
    """The check, a step at a time: how far it is in words, how many are done, and of how many."""
    while check_more(check, AT_ONCE):
        done, of = check.result.chains, Chain.objects.count()
        yield f"{done} of {of} chains checked", done, of
    if check.result.broken is None:
        yield "Looking for what no history tells of", 0, 0
        end_check(check)
        check.result.broken = check.result.broken or guard_break()
    documents, done = ArchivedPdf.objects.count(), 0
    while check.result.broken is None and (rows := next_documents(check.documents, check.replayed)):
        check.result.broken = first_fault(rows)
        check.documents, done = rows[-1].pk, done + len(rows)
        yield f"{done} of {documents} documents checked", done, documents


def how_much(run: VerificationResult | VerificationRun) -> str:
    """How much was checked, in words."""
    histories = counted(run.chains, "history", "histories")
    if run.replayed < run.chains:
        histories += f" ({run.replayed} of them replayed)"
    return f"{histories}, {counted(run.entries, 'entry', 'entries')} and {counted(run.signatures, 'signature')}"


def _words(result: VerificationResult) -> list[str]:
    """How it came out, for people."""
    if result.broken is None:
        return [f"{how_much(result)}: whole."]
    return [f"The first break, after {how_much(result)}: {result.broken}"]


# Where it left off ----------------------------------------------------------------------------------------------------


def _begun(night: Night, is_nights: bool) -> CheckUnderWay:
    """Where all are replayed each night, nobody asks for marks."""
    marks: list[ChainSeen] | None = [] if night.nights > 1 else None
    return CheckUnderWay(night=night if is_nights else replace(night, nights=1), marks=marks)


def _written(check: CheckUnderWay) -> bytes:
    """The amounts and what the arrays are as JSON in a line, then the arrays."""
    arrays = {"": array("q", check.lengths), " ": array("q", check.lengths.values()), "  ": array("q", check.replayed),
              **check.ids}  # fmt: skip
    night = check.night or Night(0, 1)
    lengths = [(name, len(each)) for name, each in arrays.items()]
    head = {"result": asdict(check.result), "documents": check.documents, "day": night.day,
            "keeps_marks": check.marks is not None, "arrays": lengths}  # fmt: skip
    return zlib.compress(json.dumps(head).encode() + b"\n" + b"".join(each.tobytes() for each in arrays.values()), 1)


def _read(content: bytes | None) -> CheckUnderWay | None:
    if content is None:
        return None
    written, _, rest = zlib.decompress(content).partition(b"\n")
    head = json.loads(written)
    arrays, begins = {}, 0
    for name, length in head["arrays"]:
        ends = begins + length * array("q").itemsize
        arrays[name] = array("q", rest[begins:ends])
        begins = ends
    result = VerificationResult(**{**head["result"], "broken": None})
    check = CheckUnderWay(result=result, documents=head["documents"], night=Night(head["day"], result.nights),
                          marks=[] if head["keeps_marks"] else None)  # fmt: skip
    check.lengths = dict(zip(arrays.pop(""), arrays.pop(" "), strict=True))
    check.replayed = set(arrays.pop("  "))
    check.ids.update(arrays)
    return check
