"""Many documents at once, for whoever may see them."""

import re
from collections.abc import Callable, Iterator
from datetime import datetime

from django.db.models import QuerySet

from reels.models import Person
from reports import access
from reports.models import ArchivedPdf
from reports.pdf.bundle import Bundled, zipped

AT_ONCE = 10  # documents held at a time


def chosen(
    person: Person, at: datetime, *, site: str = "", reel: str = "", since: datetime | None = None,
    until: datetime | None = None,
) -> QuerySet[ArchivedPdf]:  # fmt: skip
    """The newest document of each inspection that the person may see, by site, reel and when it was done.

    site: a code; reel: a serial number; since and until: the count was done from then on, and before then.
    """
    rows = access.readable_documents(person, at)
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

    def bundled() -> Iterator[Bundled]:
        for done, row in enumerate(rows.iterator(chunk_size=AT_ONCE), start=1):
            inspection = row.inspection
            serial = re.sub(r"[^A-Za-z0-9._-]", "_", inspection.reel.serial)
            yield Bundled(
                name=f"{serial}/inspection-{inspection.pk}-{row.number}.pdf", digest=row.digest,
                inspection=inspection.pk, reel=inspection.reel.serial, done_at=inspection.done_at,
                content=bytes(row.content),
            )  # fmt: skip
            progress(done)

    return zipped(bundled(), at=at)
