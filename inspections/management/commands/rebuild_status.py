"""`manage.py rebuild_status`: where each reel stands, worked out from its records again."""

from typing import Any

from django.core.management.base import BaseCommand

from inspections.services.status_rows import rebuild_status_rows
from reels.domain.words import counted


class Command(BaseCommand):
    help = "Works out every reel's status row from its records and stores those that were not kept so."

    def handle(self, *args: Any, **options: Any) -> None:
        reels = stored = 0
        for more, moved in rebuild_status_rows():
            reels, stored = reels + more, stored + moved
            self.stderr.write(f"{counted(reels, 'reel')} done")
        self.stdout.write(f"{counted(reels, 'reel')}, {counted(stored, 'status row')} stored anew.")
