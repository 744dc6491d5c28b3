"""`manage.py drift_report`: how probable an unlogged cut is between every two neighbouring counts of every reel."""

import json
from argparse import ArgumentParser, ArgumentTypeError
from contextlib import closing
from datetime import date, datetime
from typing import Any

from django.core.management.base import BaseCommand, OutputWrapper
from django.utils import timezone

from inspections.domain import drift
from inspections.queries import histories
from reels.models import Reel
from reports.domain.drift_rows import COLUMNS, FALSE_SHARE, as_written, end_of
from reports.domain.written import csv_lines
from reports.services import assessments
from reports.services.drift_report import DriftReport, report_as_of, report_of
from reports.services.self_check import check_itself, figures_of

_NUMBERS = frozenset(COLUMNS[3:10])


class Command(BaseCommand):
    help = (
        "Prints one row for each pair of neighbouring counts, the most probable unlogged cut first. Flags are chosen "
        f"so that at most {FALSE_SHARE:.0%} of them are expected to be false, unless another share is given."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--as-of", type=_end_of_day, metavar="DATE", help="use only what was recorded by the end of that day, UTC"
        )
        parser.add_argument("--format", choices=("csv", "json"), default="csv")
        parser.add_argument(
            "--false-share",
            type=_share,
            default=FALSE_SHARE,
            metavar="SHARE",
            help="choose flags so that at most this share of them is expected to be false (default %(default)s)",
        )
        parser.add_argument(
            "--self-check",
            action="store_true",
            help="instead, draw fleets like this one, tell how much is found on them, and keep that for the page",
        )
        parser.add_argument("--rates", action="store_true", help="also tell, on standard error, the rates of the fleet")

    def handle(self, *, as_of: datetime | None, format: str, false_share: float, rates: bool, self_check: bool,
               **options: Any) -> None:  # fmt: skip
        if self_check:
            self.check_itself()
            return
        reels = Reel.objects.all()
        if as_of:
            report = report_as_of(reels, as_of, false_share=false_share, progress=self.tell)
        else:
            learned = assessments.bring_up_to_date(at=timezone.now(), progress=self.tell)
            report = report_of(reels, false_share=false_share)
            if rates:
                self.stderr.write("\n".join(drift.in_words(histories.parameters_of(learned))))
        write = write_json if format == "json" else write_csv
        with closing(report.rows):  # type: ignore[type-var]  # a generator; its query ends with it
            write(self.stdout, report)

    def check_itself(self) -> None:
        checked = check_itself(at=timezone.now(), progress=self.tell)
        self.stdout.write(drift.check_in_words(figures_of(checked)))

    def tell(self, words: str, done: int, of: int) -> None:
        self.stderr.write(words)


def write_csv(out: OutputWrapper, report: DriftReport) -> None:
    for line in csv_lines(COLUMNS, (as_written(row, report.flag_at).values() for row in report.rows)):
        out.write(line, ending="")


def write_json(out: OutputWrapper, report: DriftReport) -> None:
    separator = "[\n"
    for row in report.rows:
        text = as_written(row, report.flag_at)
        values = {name: float(value) if name in _NUMBERS else value for name, value in text.items()}
        out.write(separator + json.dumps(values, ensure_ascii=False), ending="")
        separator = ",\n"
    out.write("[]" if separator == "[\n" else "\n]")


def _end_of_day(text: str) -> datetime:
    try:
        return end_of(date.fromisoformat(text))
    except ValueError as refused:
        raise ArgumentTypeError(f"{text!r} was given; allowed: a day as 2026-03-02") from refused


def _share(text: str) -> float:
    try:
        share = float(text)
    except ValueError:
        share = -1.0
    if not 0.0 <= share < 1.0:  # NaN is never between
        raise ArgumentTypeError(f"{text!r} was given; allowed: a number from 0 to below 1")
    return share
