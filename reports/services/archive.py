"""Keeping documents: drawn up and sealed once when an inspection is signed, and once after each change that shows.

It is done right after the act itself was committed, in a transaction and a history entry of its own (see
reports/apps.py): sealing takes a tenth of a second, for which the reel should not be locked, and a document that can't
be made must not undo a signature. What was missed, `manage.py archive_inspections` catches up with, and after much
that was brought in at once a worker. A document that is kept is never made again.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import datetime

from django.db import transaction
from django.db.models import Exists, OuterRef
from django.utils import timezone

from inspections.domain.words import InspectionState
from inspections.models import Inspection
from reels import access as reel_access
from reels.domain import ledger
from reels.errors import Busy
from reels.models import HistoryEntry, Person, Reel, TaskRun
from reels.services import tasks
from reels.services.history import Actor, record_act
from reels.services.tasks import HeldTask, leased
from reports.models import ArchivedPdf
from reports.pdf.facts import InspectionFacts
from reports.queries.documents import documented_of, facts_of, with_what_followed
from reports.services.seal import seal_key

ACT = "archived"
VIA = "service archive"
MAX_TRIES = 3
_left_to_worker: ContextVar[bool] = ContextVar("left_to_worker", default=False)


def archive_reel(reel: Reel, *, actor: Actor, at: datetime) -> list[ArchivedPdf]:
    """Draw up, seal and keep what is not kept yet of a reel's inspections, or not as they stand now.

    Safe to call again: what is kept as it stands gives nothing. Raises SealMissing, or Busy when it keeps changing.
    """
    for _ in range(MAX_TRIES):
        facts = stale_facts(reel, at)
        if not facts:
            return []
        rows = [_draw_up(each, at) for each in facts]  # before the lock, which would be held for all that time
        if kept := _keep(reel, rows, actor, at):
            return kept
    raise Busy(chains=[reel_access.reel_chain(reel.serial)])


def stale_facts(reel: Reel, at: datetime) -> list[InspectionFacts]:
    """The inspections of a reel whose document is missing or shows another situation. Thirteen queries."""
    from reports.pdf.sheets.inspection import library_versions

    newest = {  # the later number overwrites the earlier
        row.inspection_id: (row.number, row.situation_digest)
        for row in ArchivedPdf.objects.filter(inspection__reel=reel).order_by("number").defer("content")
    }
    stale = []
    for inspection, followed in with_what_followed(list(documented_of(reel))):
        number, digest = newest.get(inspection.pk, (0, ""))
        facts = facts_of(inspection, followed, number=number + 1, at=at, made_with=library_versions())
        if facts.situation_digest != digest:
            stale.append(facts)
    return stale


def archive_all(*, actor: Actor, at: datetime) -> Iterator[tuple[Reel, list[ArchivedPdf]]]:
    """`archive_reel` for every reel with a signed inspection, one after the other: the reel, and what was kept."""
    signed = Inspection.objects.filter(reel=OuterRef("pk"), state__in=(InspectionState.SIGNED, InspectionState.VOIDED))
    for reel in Reel.objects.filter(Exists(signed)).order_by("serial").iterator(chunk_size=200):
        yield reel, archive_reel(reel, actor=actor, at=at)


def _draw_up(facts: InspectionFacts, at: datetime) -> ArchivedPdf:
    from reports.pdf.seal import seal_document
    from reports.pdf.sheets.inspection import inspection_pdf

    unsealed = inspection_pdf(facts)
    content = seal_document(unsealed, seal_key(), at=at)
    return ArchivedPdf(
        number=facts.situation_data["document"], inspection_id=facts.record_data["inspection"], drawn_up_at=at,
        record_digest=facts.record_digest, situation_digest=facts.situation_digest, unsealed_length=len(unsealed),
        unsealed_digest=ledger.digest(unsealed), digest=ledger.digest(content), content=content,
    )  # fmt: skip


@transaction.atomic
def _keep(reel: Reel, rows: Sequence[ArchivedPdf], actor: Actor, at: datetime) -> list[ArchivedPdf]:
    """Keep those that still show how things stand, now that the reel is locked."""
    [chain] = reel_access.lock(reel_access.reel_chain(reel.serial))
    current = {  # by its number too, which stands on its pages
        each.record_data["inspection"]: (each.situation_data["document"], each.situation_digest)
        for each in stale_facts(reel, at)
    }
    still_true = [row for row in rows if current.get(row.inspection_id) == (row.number, row.situation_digest)]
    if not still_true:
        return []
    with record_act(chain, ACT, actor, at, inspections=[row.inspection_id for row in still_true]) as act:
        return act.add_all(still_true)


def archive_after(entry: HistoryEntry) -> list[ArchivedPdf]:
    """Keep the documents of the reel that an act was about, as of that act, in the name of who acted."""
    if _left_to_worker.get():
        return []
    reel = Reel.objects.filter(chain=entry.chain_id).first()
    if reel is None or entry.actor is None:
        return []
    return archive_reel(reel, actor=Actor(entry.actor, via=VIA), at=entry.at)


@contextmanager
def left_to_worker() -> Iterator[None]:
    """What is committed within it draws no documents: for many acts at once. `have_archived` asks for them after it."""
    token = _left_to_worker.set(True)
    try:
        yield
    finally:
        _left_to_worker.reset(token)


def have_archived(by: Person) -> TaskRun:
    """Have the worker draw the documents that are missing, in the name of somebody who may see every reel."""
    return tasks.put(archive_missing, by.pk, key="documents", title="Documents that are missing")


@leased
def archive_missing(context: HeldTask, person: int) -> None:
    """What is kept stays so; begun again, it goes on with what is missing."""
    actor = Actor(Person.objects.get(pk=person), via=VIA)
    for done, (reel, _) in enumerate(archive_all(actor=actor, at=timezone.now()), start=1):
        context.progress(f"Documents up to {reel.serial}", done)
