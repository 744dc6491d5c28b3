"""Runs of the check of all records: the last one, and those that the worker makes, which go on where they left off."""

import json
import time
import zlib
from array import array
from collections.abc import Iterator
from dataclasses import asdict
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
from reels.services.history import Actor
from reels.services.tasks import HeldTask, TaskStopped, leased
from reports.models import ArchivedPdf, VerificationRun
from reports.services.checking import first_fault, next_documents
from reports.services.verification import CheckUnderWay, VerificationResult, check_more, end_check, guard_break

AT_ONCE = 50  # chains in a step
KEPT_EVERY_S = 60.0  # a worker that is killed is found out after as long


def keep_run(result: VerificationResult, broken: Break | None, *, at: datetime) -> VerificationRun:
    """Keep how a check came out, for people to see; it is no evidence by itself."""
    return VerificationRun.objects.create(
        at=at, chains=result.chains, entries=result.entries, signatures=result.signatures,
        first_break=str(broken) if broken else "",
    )  # fmt: skip


def runs() -> QuerySet[VerificationRun]:
    """Every run of the check."""
    return VerificationRun.objects.all()


def last_run() -> VerificationRun | None:
    """The newest run of the check. One query."""
    return VerificationRun.objects.order_by("at", "id").last()


def entries_since(run: VerificationRun) -> int:
    """How many entries were written since it. One query."""
    return HistoryEntry.objects.count() - run.entries


# By the worker --------------------------------------------------------------------------------------------------------


def have_checked(*, actor: Actor) -> TaskRun:
    """Have the worker check all records. Raises OnlyAdministrators and QueueFull."""
    access.only_administrators(actor.person)
    return put_check()


def put_check() -> TaskRun:
    """The same by whoever runs the service. Raises QueueFull."""
    return tasks.put(check_everything, key="check of all records", title="Check of all records")


@leased
def check_everything(context: HeldTask) -> dict[str, Any]:
    """As `verify_records`, in steps; how it came out is kept as a run."""
    check = _read(context.left())
    check.turn = timezone.now().toordinal()
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
    amounts = {name: getattr(result, name) for name in ("chains", "entries", "signatures")}
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
    while check.result.broken is None and (rows := next_documents(check.documents)):
        check.result.broken = first_fault(rows)
        check.documents, done = rows[-1].pk, done + len(rows)
        yield f"{done} of {documents} documents checked", done, documents


def _words(result: VerificationResult) -> list[str]:
    """How it came out, for people."""
    amounts = [counted(result.chains, "history", "histories"), counted(result.entries, "entry", "entries"),
               counted(result.signatures, "signature")]  # fmt: skip
    if result.broken is None:
        return [f"{', '.join(amounts)}: whole."]
    return [f"The first break, after {', '.join(amounts)}: {result.broken}"]


# Where it left off ----------------------------------------------------------------------------------------------------


def _written(check: CheckUnderWay) -> bytes:
    """The amounts and what the arrays are as JSON in a line, then the arrays."""
    arrays = {"": array("q", check.lengths), " ": array("q", check.lengths.values()), **check.ids}
    head = {"result": asdict(check.result), "documents": check.documents,
            "arrays": [(name, len(each)) for name, each in arrays.items()]}  # fmt: skip
    return zlib.compress(json.dumps(head).encode() + b"\n" + b"".join(each.tobytes() for each in arrays.values()), 1)


def _read(content: bytes | None) -> CheckUnderWay:
    if content is None:
        return CheckUnderWay()
    written, _, rest = zlib.decompress(content).partition(b"\n")
    head = json.loads(written)
    arrays, begins = {}, 0
    for name, length in head["arrays"]:
        ends = begins + length * array("q").itemsize
        arrays[name] = array("q", rest[begins:ends])
        begins = ends
    check = CheckUnderWay(result=VerificationResult(**{**head["result"], "broken": None}), documents=head["documents"])
    check.lengths = dict(zip(arrays.pop(""), arrays.pop(" "), strict=True))
    check.ids.update(arrays)
    return check
