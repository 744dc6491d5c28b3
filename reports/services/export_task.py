"""Many documents put together by the worker, into a file that whoever asked fetches from their task."""

import hashlib
import json
from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from reels import access as reel_access
from reels.domain.words import counted
from reels.errors import NotFound
from reels.models import Person, TaskFile, TaskRun
from reels.services import tasks
from reels.services.history import Actor
from reels.services.tasks import HeldTask, leased
from reports import access
from reports.errors import ExportTooLarge
from reports.models import ArchivedPdf
from reports.services.exporting import CHUNK, export_size, filter_documents, stream_documents

MOST_AT_ONCE = 500  # documents that are sent while somebody waits
MOST_BYTES = 2**30
ZIP, CHOSEN, KEY = "inspections.zip", "chosen", "export "


def have_exported(chosen: Mapping[str, Any], *, actor: Actor, at: datetime) -> TaskRun:
    """Have the worker put the documents together that `filter_documents` finds for this person.

    Raises ExportTooLarge and QueueFull.
    """
    rows = filter_documents(access.readable_documents(actor.person, at), **chosen)
    extent = export_size(rows, at=at)
    if extent.size is None or extent.size > MOST_BYTES:
        raise ExportTooLarge(documents=extent.documents, most=MOST_BYTES // 2**20)
    ids = json.dumps(list(rows.values_list("pk", flat=True))).encode()
    key = f"{KEY}{actor.person.pk} {hashlib.sha256(ids).hexdigest()}"
    title = f"Export of {counted(extent.documents, 'document')}"
    return tasks.put(put_together, actor.person.pk, at.isoformat(), key=key, title=title, by=actor.person,
                     files={CHOSEN: ids})  # fmt: skip


@leased
def put_together(context: HeldTask, person: int, at: str) -> dict[str, Any]:
    """The same documents and time give the same bytes: begun again, only the pieces that are missing are kept."""
    ids = json.loads(b"".join(tasks.pieces_of(context.pk, CHOSEN)))
    rows = _rows(ids, Person.objects.get(pk=person))
    of, done = len(ids), 0

    def progress(number: int) -> None:
        nonlocal done
        done = number

    size = 0
    for size in keep(context, stream_documents(rows, at=datetime.fromisoformat(at), progress=progress)):  # noqa: B007
        context.progress(f"{done} of {counted(of, 'document')} put together", done, of)
    return {"documents": of, "bytes": size, "in_words": [f"{counted(of, 'document')}, {size:,} bytes."],
            "address": f"/documents/exports/{context.pk}.zip"}  # fmt: skip


def keep(context: HeldTask, stream: Iterator[bytes]) -> Iterator[int]:
    """Keep a file in pieces as it is made: how long it is after each.

    Begun again it is made from its first byte, for a piece may begin anywhere; those that are there stay.
    """
    size, kept = 0, TaskFile.objects.filter(run=context.pk, name=ZIP).count()
    for number, piece in enumerate(_pieces(stream)):
        size += len(piece)
        if number >= kept:
            with transaction.atomic():
                context.require()
                tasks.put_file(context.pk, ZIP, piece)
        yield size


def fetch(pk: Any, person: Person, *, key: str = KEY) -> tuple[Iterator[bytes], int]:
    """The file that was put together for this person, and its length. Raises NotFound for anybody else's, and later."""
    run = reel_access.task(pk, person)
    value: Any = run.result.return_value
    is_theirs = run.key.startswith(key) and run.asked_by_id == person.pk
    if not (is_theirs and value and run.files.filter(name=ZIP).exists()):
        raise NotFound(what="export", key=pk)
    return tasks.pieces_of(run.pk, ZIP), value["bytes"]


def _rows(ids: list[int], person: Person) -> Iterator[ArchivedPdf]:
    """Those that were chosen, in their order, a few at a time. Raises NotFound for what the person may see no more."""
    for start in range(0, len(ids), CHUNK):
        some = ids[start : start + CHUNK]
        by_id = access.seen_documents(person, timezone.now()).in_bulk(some)
        for pk in some:
            if pk not in by_id:
                raise NotFound(what="document", key=pk)
            yield by_id[pk]


def _pieces(stream: Iterator[bytes]) -> Iterator[bytes]:
    """The same bytes in pieces that are kept one a row; the last is shorter."""
    held = bytearray()
    for part in stream:
        held += part
        while len(held) >= tasks.PIECE:
            yield bytes(held[: tasks.PIECE])
            del held[: tasks.PIECE]
    if held:
        yield bytes(held)
