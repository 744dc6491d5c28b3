"""`manage.py nightly`: puts what is done each night into the worker's queue, and ends."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from inspections.services import life
from reels.errors import QueueFull
from reports.services import assessments, verification_runs


class Command(BaseCommand):
    help = "Has the worker check all records, assess the drift of the fleet, and look for lives that are over."

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            for run in (verification_runs.put_check(), assessments.have_assessed(), life.put_look()):
                self.stdout.write(f"{run.title}: {run.state}")
        except QueueFull as full:
            raise CommandError(str(full)) from full
