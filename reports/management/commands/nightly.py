"""`manage.py nightly`: puts what is done each night into the worker's queue, and ends."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from inspections.services import life, safety_notices
from reels.errors import QueueFull
from reports.services import assessments, verification_runs


class Command(BaseCommand):
    help = "Has the worker check the records, assess the drift of the fleet, and look for reels that are to be held."

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            for run in (
                verification_runs.put_nights_check(),
                assessments.have_assessed(),
                life.put_look(),
                safety_notices.have_looked_for(),
            ):
                self.stdout.write(f"{run.title}: {run.state}")
        except QueueFull as full:
            raise CommandError(str(full)) from full
