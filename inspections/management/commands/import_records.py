"""`manage.py import_records FOLDER`: bring older records in from CSV files."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from inspections.errors import ImportRefused
from inspections.services.intake import FILES, VIA, ImportSummary, Open, import_records, importer
from reels.errors import Refused
from reels.services.history import Actor

MOST_PRINTED = 100


class Command(BaseCommand):
    help = (
        f"Brings in {', '.join(FILES)} from a folder; any of them may be absent. All or nothing: every row that "
        "cannot be taken is named by file, line and column. The same files twice store nothing twice."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("folder", type=Path)
        parser.add_argument("--dry-run", action="store_true", help="check everything and store nothing")
        parser.add_argument(
            "--as", dest="username", help="the administrator who does it; unless said, the first one of the records"
        )

    def handle(self, *, folder: Path, dry_run: bool, username: str | None, **options: Any) -> None:
        files = {name: _opener(folder / name) for name in FILES if (folder / name).is_file()}
        if not files:
            raise CommandError(f"{folder} holds none of {', '.join(FILES)}.")
        for other in sorted(path.name for path in folder.glob("*.csv") if path.name not in FILES):
            self.stderr.write(f"{other} is none of the files that are brought in; it is left alone.")
        at = timezone.now()
        try:
            actor = Actor(importer(username, at), via=VIA)
            summary = import_records(files=files, actor=actor, at=at, is_dry_run=dry_run, progress=self.stderr.write)
        except ImportRefused as refused:
            raise CommandError(self._told(refused)) from refused
        except Refused as refused:
            raise CommandError(str(refused)) from refused
        self.stdout.write(_summed_up(summary))

    def _told(self, refused: ImportRefused) -> str:
        shown = [str(each) for each in refused.facts["problems"][:MOST_PRINTED]]
        more = refused.facts["total"] - len(shown)
        return "\n".join([*shown, *([f"… and {more} more"] if more else []), str(refused)])


def _opener(path: Path) -> Open:
    return lambda: path.open("rb")


def _summed_up(summary: ImportSummary) -> str:
    verb = "Would be stored (dry run)" if summary.is_dry_run else "Stored"
    rows = ", ".join(f"{_rows(count)} of {file}" for file, count in summary.stored.items() if count) or "nothing new"
    again = sum(summary.already.values())
    sites = f" New sites: {', '.join(summary.new_sites)}." if summary.new_sites else ""
    return f"{verb}: {rows}. There already: {_rows(again)}.{sites}"


def _rows(count: int) -> str:
    return "1 row" if count == 1 else f"{count} rows"
