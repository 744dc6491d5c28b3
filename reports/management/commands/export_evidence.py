"""`manage.py export_evidence FOLDER`: everything that an outsider needs to check records without this service."""

from argparse import ArgumentParser
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from reels.errors import Refused
from reels.services import checkpoints
from reports.services.evidence import CHECKER, ask, evidence_files


class Command(BaseCommand):
    help = (
        "Makes a checkpoint and writes out, as of that, what somebody needs who wants to check the records without "
        f"this service: `python {CHECKER} all FOLDER KEY`. FOLDER must be empty, or not be there yet."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("folder", type=Path, metavar="FOLDER")
        parser.add_argument("--reel", action="append", metavar="SERIAL", help="only of this reel; may be given again")
        parser.add_argument(
            "--since", metavar="CHECKPOINT", default="",
            help="an earlier checkpoint, by how many entries it covers or by its file: shown is that since then "
            "records were only added",
        )  # fmt: skip

    def handle(self, *, folder: Path, reel: list[str] | None, since: str, **options: Any) -> None:
        try:
            folder.mkdir(parents=True, exist_ok=True)
            if any(folder.iterdir()):
                raise CommandError(f"{folder} is not empty.")
            made = checkpoints.make(timezone.now())
            files = evidence_files(ask(made, reel, since=_text_of(since)))
            number = sum(_write(folder / name, pieces) for name, pieces in files)
        except Refused as refused:
            raise CommandError(str(refused)) from refused
        except (OSError, UnicodeDecodeError) as wrong:
            raise CommandError(str(wrong)) from wrong
        self.stdout.write(f"{folder}: {number} files, as of the checkpoint over {made.entries} entries")


def _text_of(since: str) -> str:
    if not since:
        return ""
    if since.isdecimal():
        return checkpoints.one_made(int(since)).text
    return Path(since).read_text(encoding="utf-8")


def _write(path: Path, pieces: Iterator[bytes]) -> int:
    path.parent.mkdir(exist_ok=True)
    with path.open("xb") as out:
        out.writelines(pieces)
    return 1
