"""Evidence put together by the worker, into a ZIP file that whoever asked fetches from their task."""

import hashlib
import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any

from django.utils import timezone

from reels import access as reel_access
from reels.domain.words import counted
from reels.errors import NotFound
from reels.models import Person, Reel, TaskRun
from reels.services import checkpoints, tasks
from reels.services.history import Actor
from reels.services.tasks import HeldTask, leased
from reports import access
from reports.errors import EvidenceTooLarge
from reports.services import export_task
from reports.services.evidence import EvidenceAsked, ask, evidence_files
from reports.services.exporting import stream_folder

MOST_BYTES = 2**30
FOLDER, KEY = "evidence", "evidence "


def have_evidence(*, reels: Sequence[str], since: int | None, actor: Actor, at: datetime) -> TaskRun:
    """Have the worker put the evidence together of some reels, or of all that this person may see, by a checkpoint.

    reels: serials; none: all. since: an earlier checkpoint, by how many entries it covers.
    Raises NotAnAuditor, NotFound, QueueFull or what a checkpoint may raise.
    """
    access.require_auditor(actor.person, at)
    serials: list[str] | None = [reel_access.reel_for_read(each, actor.person, at).serial for each in reels]
    if not reels:
        seen = reel_access.readable_reels(actor.person, at).order_by("pk").values_list("serial", flat=True)
        serials = None if access.reads_every_site(actor.person, at) else list(seen)
    text = checkpoints.one_made(since).text if since else ""
    asked = ask(checkpoints.make(at), serials, since=text)
    chosen = json.dumps(asdict(asked)).encode()
    what = "all reels" if serials is None else counted(len(serials), "reel")
    return tasks.put(
        put_evidence_together, actor.person.pk, at.isoformat(), by=actor.person, files={export_task.CHOSEN: chosen},
        key=f"{KEY}{actor.person.pk} {hashlib.sha256(chosen).hexdigest()}", title=f"Evidence of {what}",
    )  # fmt: skip


@leased
def put_evidence_together(context: HeldTask, person: int, at: str) -> dict[str, Any]:
    """The same checkpoint gives the same bytes: begun again, only the pieces that are missing are kept."""
    asked = EvidenceAsked(**json.loads(b"".join(tasks.pieces_of(context.pk, export_task.CHOSEN))))
    _require_still(asked, Person.objects.get(pk=person))
    done = size = 0

    def progress(number: int) -> None:
        nonlocal done
        done = number

    stream = stream_folder(evidence_files(asked), folder=FOLDER, at=datetime.fromisoformat(at), progress=progress)
    for size in export_task.keep(context, stream):
        if size > MOST_BYTES:
            raise EvidenceTooLarge(most=MOST_BYTES // 2**20)
        context.progress(f"{counted(done, 'file')} put together, {size:,} bytes")
    says = f"{counted(done, 'file')}, {size:,} bytes, as of the checkpoint over {asked.entries} entries."
    return {"files": done, "bytes": size, "entries": asked.entries, "in_words": [says],
            "address": f"/evidence/{context.pk}.zip"}  # fmt: skip


def fetch(pk: Any, person: Person, at: datetime) -> tuple[Iterator[bytes], int]:
    """The file that was put together for this person, and its length. Raises NotAnAuditor, NotFound."""
    access.require_auditor(person, at)
    return export_task.fetch(pk, person, key=KEY)


def _require_still(asked: EvidenceAsked, person: Person) -> None:
    """That the person may see all of it now, too. Raises NotAnAuditor, NotFound."""
    at = timezone.now()
    access.require_auditor(person, at)
    if access.reads_every_site(person, at):
        return
    seen = set(reel_access.readable_reels(person, at).values_list("chain", flat=True))
    gone = Reel.objects.filter(chain__in=set(asked.chains) - seen).order_by("pk").first()
    if gone is not None or asked.is_whole:
        raise NotFound(what="reel", key=gone.serial if gone else "of every site")
