"""`manage.py verify_records`: every record checked from its stored bytes; exit status 0 whole, 1 broken."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from reports.services.checking import archive_break
from reports.services.verification import Night, check_records, guard_break
from reports.services.verification_runs import keep_run


class Command(BaseCommand):
    help = (
        "Checks every history, row and signature from stored bytes, and what is worked out from them. Exits 0 when "
        "whole, 1 naming the first break."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--all", action="store_true",
            help="replay every history; else, in a large fleet, those that changed since they were, and a share that "
            "changes daily",
        )  # fmt: skip

    def handle(self, *args: Any, **options: Any) -> None:
        night = None if options["all"] else Night.of(timezone.now().toordinal())
        result = check_records(self.show_progress, night=night)
        replayed = f" ({result.replayed} replayed)" if result.replayed < result.chains else ""
        how_much = f"{result.chains} chains{replayed}, {result.entries} entries, {result.signatures} signatures"
        broken = result.broken or archive_break() or guard_break()
        keep_run(result, broken, at=timezone.now())
        if broken is None:
            self.stdout.write(f"{how_much}: whole")
            return
        self.stdout.write(f"The first break, after {how_much}:\n{broken}")
        raise SystemExit(1)

    def show_progress(self, done: int, total: int) -> None:
        percent, before = 100 * done // total, 100 * (done - 1) // total
        if percent != before:
            self.stderr.write(f"{done} of {total} chains checked ({percent} %)")
