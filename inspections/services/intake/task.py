"""An import by the worker: as whole as any other, and told at its task."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime
from functools import partial
from io import BytesIO
from typing import Any

from django.utils import timezone

from inspections.errors import TooManyImports
from inspections.services.intake.records import FILES, ImportSummary, Open, import_records
from reels import access
from reels.domain.words import counted
from reels.models import Person, TaskFile, TaskRun
from reels.services import tasks
from reels.services.history import Actor
from reels.services.tasks import HeldTask, leased

AT_ONCE = 100_000  # bytes; so many take a request a second or two
MOST_WAITING = 10
SUMMARY = "summary"
KEY = "import "


def is_small(files: Mapping[str, bytes]) -> bool:
    """Whether a request may bring the files in while somebody waits."""
    return sum(map(len, files.values())) <= AT_ONCE


def import_here(files: Mapping[str, bytes], *, actor: Actor, at: datetime, is_dry_run: bool) -> ImportSummary:
    """Bring small files in here and now. Raises as `import_records`."""
    return import_records(files=opened(files), actor=actor, at=at, is_dry_run=is_dry_run)


def have_imported(files: Mapping[str, bytes], *, actor: Actor, is_dry_run: bool) -> TaskRun:
    """Have the worker bring the files in; the same ones that wait already are not put in again.

    Raises OnlyAdministrators, TooManyImports and QueueFull.
    """
    access.only_administrators(actor.person)
    digest = hashlib.sha256(repr((is_dry_run, sorted(files.items()))).encode()).hexdigest()
    waiting = TaskRun.objects.filter(key__startswith=KEY, is_live=True).exclude(key=KEY + digest)
    if waiting.count() >= MOST_WAITING:
        raise TooManyImports(most=MOST_WAITING)
    title = "Check of older records" if is_dry_run else "Import of older records"
    return tasks.put(
        bring_in, actor.person.pk, actor.via, is_dry_run, key=KEY + digest, title=title, by=actor.person, files=files
    )


@leased
def bring_in(context: HeldTask, person: int, via: str, is_dry_run: bool) -> dict[str, Any]:  # put in so
    """All or nothing: stopped or killed, it begins from the beginning; once stored, it is only told."""
    if kept := b"".join(tasks.pieces_of(context.pk, SUMMARY)):
        return dict(json.loads(kept))

    def keep(summary: ImportSummary) -> None:
        context.require()
        tasks.put_file(context.pk, SUMMARY, json.dumps(_told(summary)).encode())

    by_name = TaskFile.objects.filter(run=context.pk, name__in=FILES).values_list("name", flat=True).distinct()
    files = {name: b"".join(tasks.pieces_of(context.pk, name)) for name in by_name.order_by("name")}
    actor = Actor(Person.objects.get(pk=person), via=via)
    context.progress("Reading the files.")
    summary = import_records(files=opened(files), actor=actor, at=timezone.now(), is_dry_run=is_dry_run,
                             progress=context.say, keep=keep)  # fmt: skip
    return _told(summary)


def opened(files: Mapping[str, bytes]) -> dict[str, Open]:
    """Files as `import_records` takes them."""
    return {name: partial(BytesIO, content) for name, content in files.items()}


def _told(summary: ImportSummary) -> dict[str, Any]:
    return {**asdict(summary), "in_words": in_words(summary)}


def in_words(summary: ImportSummary) -> list[str]:
    """What came of an import, for people."""
    verb = "would be stored" if summary.is_dry_run else "stored"
    rows = [f"{file}: {counted(number, 'row')} {verb}, {summary.already.get(file, 0)} there already."
            for file, number in summary.stored.items()]  # fmt: skip
    sites = [f"New sites: {', '.join(summary.new_sites)}."] if summary.new_sites else []
    return [*rows, *sites] or ["Nothing new."]
