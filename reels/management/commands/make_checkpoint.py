"""`manage.py make_checkpoint`: a checkpoint over all that is recorded, kept, and written out as a small text file."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from reels.errors import Refused
from reels.services import checkpoints


class Command(BaseCommand):
    help = (
        "Makes a checkpoint over everything recorded so far. Run it each night and send the file away: whoever keeps "
        "it can tell later whether anything before it was changed. When nothing was recorded since the last one, that "
        "one is given again."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--out", type=Path, metavar="FOLDER", help="where the text file goes; else it is printed")

    def handle(self, *args: Any, out: Path | None, **options: Any) -> None:
        try:
            made = checkpoints.make(timezone.now())
        except Refused as refused:
            raise CommandError(str(refused)) from refused
        if out is None:
            self.stdout.write(made.text, ending="")
            return
        path = out / f"checkpoint-{made.entries:012}.txt"
        try:
            path.write_text(made.text, encoding="utf-8", newline="\n")
        except OSError as wrong:
            raise CommandError(str(wrong)) from wrong
        self.stdout.write(f"{path}: {made.entries} entries")
