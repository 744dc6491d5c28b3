"""`manage.py archive_inspections`: draw up and keep the documents that are missing."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from inspections.services.intake import importer
from reels.domain.words import counted
from reels.errors import Refused
from reels.services.history import Actor
from reports.services.archive import archive_all


class Command(BaseCommand):
    help = "Draws up, seals and keeps documents of signed inspections that are missing or show an earlier situation."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--as", dest="username", help="the administrator who does it; unless said, the first one of the records"
        )

    def handle(self, *, username: str | None, **options: Any) -> None:
        number = 0
        try:
            at = timezone.now()
            actor = Actor(importer(username, at), via="command archive_inspections")
            for reel, rows in archive_all(actor=actor, at=at):
                number += len(rows)
                if rows:
                    self.stdout.write(f"{reel.serial}: {len(rows)} kept")
        except Refused as refused:
            raise CommandError(str(refused)) from refused
        more = f"{counted(number, 'document')} kept; nothing else was missing."
        self.stdout.write(more if number else "Nothing was missing.")
