"""`manage.py check_pdf FILE...`: whether documents are what they say."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from reports.domain.verdicts import Verdict
from reports.pdf.examination import MAX_BYTES
from reports.services.checking import check_document


class Command(BaseCommand):
    help = (
        "Says of each file whether its seal holds, whether the record that it carries matches its digest and its "
        "signatures, whether the pages are those that the record gives, and whether this service's history agrees. "
        "Exits 1 when one of these fails for one of the files."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("files", nargs="+", type=Path, metavar="FILE")

    def handle(self, *, files: list[Path], **options: Any) -> None:
        is_whole = True
        for path in files:
            self.stdout.write(f"{path}")
            try:
                with path.open("rb") as file:
                    content = file.read(MAX_BYTES + 1)
            except OSError as wrong:
                self.stdout.write(f"  cannot be read: {wrong.strerror}")
                is_whole = False
                continue
            results = check_document(content)
            self.stdout.write("".join(f"  {result}\n" for result in results), ending="")
            is_whole = is_whole and not any(result.verdict is Verdict.FAILS for result in results)
        if not is_whole:
            raise SystemExit(1)
