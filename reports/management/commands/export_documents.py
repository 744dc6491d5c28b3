"""`manage.py export_documents FILE`: the kept documents as a ZIP file with a manifest, saying how far it is."""

import sys
from argparse import ArgumentParser
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from reels.domain.words import counted
from reports.access import newest_documents
from reports.services.exporting import export_size, filter_documents, stream_export

EVERY = 100  # documents between two lines of progress


def _day(text: str) -> datetime:
    return datetime.strptime(text, "%Y-%m-%d").replace(tzinfo=UTC)


class Command(BaseCommand):
    help = (
        "Writes the newest document of each inspection into a ZIP file, with a manifest of "
        "digests, ten documents in memory at a time. FILE must not be there yet."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, metavar="FILE")
        parser.add_argument("--site", default="", help="the code of a site")
        parser.add_argument("--reel", default="", help="a serial number")
        parser.add_argument("--since", type=_day, help="counts done from this day on (UTC), YYYY-MM-DD")
        parser.add_argument("--until", type=_day, help="counts done before this day (UTC)")

    def handle(self, *, file: Path, **options: Any) -> None:
        at = timezone.now()
        filters = {name: options[name] for name in ("site", "reel", "since", "until")}
        rows = filter_documents(newest_documents(), **filters)
        extent = export_size(rows, at=at)

        def progress(done: int) -> None:
            if done % EVERY == 0 or done == extent.documents:
                sys.stderr.write(f"{done} of {counted(extent.documents, 'document')}\n")

        try:
            with file.open("xb") as out:
                for piece in stream_export(rows, at=at, progress=progress):
                    out.write(piece)
        except OSError as wrong:
            raise CommandError(f"{file}: {wrong.strerror}") from wrong
        self.stdout.write(f"{file}: {counted(extent.documents, 'document')}, {file.stat().st_size} bytes")
