"""Many documents at once, for whoever may see them."""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet
from django.db.models.functions import Length

from reports.models import ArchivedPdf
from reports.pdf.bundle import BundleMember, zipped, zipped_size

AT_ONCE = 10  # documents held at a time
NAMES_AT_ONCE = 1000


def chosen(
    rows: QuerySet[ArchivedPdf], *, site: str = "", reel: str = "", since: datetime | None = None,
    until: datetime | None = None,
) -> QuerySet[ArchivedPdf]:  # fmt: skip
    """Those of the documents that are of a site, a reel, and of counts done in a time.

    site: a code; reel: a serial number; since and until: the count was done from then on, and before then.
    """
    if site:
        rows = rows.filter(inspection__reel__site__code=site)
    if reel:
        rows = rows.filter(inspection__reel__serial=reel)
    if since:
        rows = rows.filter(inspection__done_at__gte=since)
    if until:
        rows = rows.filter(inspection__done_at__lt=until)
    return rows


def exported(
    rows: QuerySet[ArchivedPdf], *, at: datetime, progress: Callable[[int], None] = lambda done: None
) -> Iterator[bytes]:
    """The documents as a ZIP file, piece by piece. progress: called with the number of documents done."""

    def bundled() -> Iterator[BundleMember]:
        for done, row in enumerate(rows.iterator(chunk_size=AT_ONCE), start=1):
            content = bytes(row.content)
            yield _bundled(row, len(content), content)
            progress(done)

    return zipped(bundled(), at=at)


@dataclass(frozen=True, slots=True)
class ExportSize:
    """How many documents an export has, and how many bytes; None where that can't be told before."""

    documents: int
    size: int | None


def extent_of(rows: QuerySet[ArchivedPdf], *, at: datetime) -> ExportSize:
    """How large `exported` will be, so that whoever waits sees how far it is. One query; no document is read."""
    number = 0

    def empty() -> Iterator[BundleMember]:
        nonlocal number
        for row in rows.defer("content").annotate(size=Length("content")).iterator(chunk_size=NAMES_AT_ONCE):
            number += 1
            yield _bundled(row, row.size, b"")

    size = zipped_size(empty(), at=at)
    return ExportSize(number, size)


def _bundled(row: ArchivedPdf, size: int, content: bytes) -> BundleMember:
    inspection = row.inspection
    serial = re.sub(r"[^A-Za-z0-9._-]", "_", inspection.reel.serial)
    return BundleMember(
        name=f"{serial}/inspection-{inspection.pk}-{row.number}.pdf", digest=row.digest, inspection=inspection.pk,
        reel=inspection.reel.serial, done_at=inspection.done_at, size=size, content=content,
    )  # fmt: skip
