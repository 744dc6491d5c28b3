"""Older records brought in from CSV files: all or nothing, told in the histories, and never twice.

Each file is read once, line by line; rows wait in a temporary file and are written reel by reel, with one history entry
a reel (further ones when it has thousands of rows). What is on record with the same key and the same values is left
alone; with other values it is refused.

An imported count carries no time at which it was recorded: the paper was there on the day, so the count's own time is
taken. A cable event without one is taken as recorded when it happened. The key of a count is its reel and time; a cable
event has none but all its columns, because two entries that differ anywhere may both have been made.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import IO

from django.db import IntegrityError, transaction

from inspections.domain.intake import files as csv_files
from inspections.errors import ImportRefused
from inspections.services.intake.reels import store_reels
from inspections.services.intake.register import store_register
from inspections.services.intake.run import MOST_PROBLEMS, ImportRun
from inspections.services.intake.staging import Staged, Staging
from reels import access
from reels.errors import Busy, ValueNotTaken
from reels.models import Person
from reels.services import people
from reels.services.history import Actor

Open = Callable[[], IO[bytes]]

VIA = "command import_records"
FILES = tuple(form.file for form in csv_files.FORMS)
REELS_AT_ONCE = 50
ROWS_BETWEEN_REPORTS = 10_000

_KEY = {
    csv_files.REEL_TYPES.file: "code",
    csv_files.REELS.file: "serial",
    csv_files.COUNTS.file: "reel",
    csv_files.CABLE_EVENTS.file: "reel",
    csv_files.EVENTS.file: "reel",
    csv_files.INSTALLATIONS.file: "reel",
    csv_files.MOVES.file: "reel",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportSummary:
    """What was brought in, or would be: rows by file, rows that were there already, and codes of sites made for it."""

    is_dry_run: bool
    stored: dict[str, int]
    already: dict[str, int]
    new_sites: tuple[str, ...]


def import_records(
    *, files: Mapping[str, Open], actor: Actor, at: datetime, is_dry_run: bool = False,
    progress: Callable[[str], None] = lambda _: None, keep: Callable[[ImportSummary], None] = lambda _: None,
    most_problems: int = MOST_PROBLEMS,
) -> ImportSummary:  # fmt: skip
    """Bring in the files, by name (see FILES), each with a function that opens it for reading bytes.

    is_dry_run: check everything and store nothing. progress: called with a sentence now and then; keep: with what comes
    of it, in the transaction that stores. What either of them raises leaves nothing stored. most_problems: so many are
    told of; all are counted.
    Raises OnlyAdministrators, Busy, or ImportRefused with every row that can't be taken.
    """
    access.only_administrators(actor.person)
    with Staging() as staging:
        run = ImportRun(actor=actor, at=at, is_dry_run=is_dry_run, progress=progress, staging=staging,
                        most_problems=most_problems)  # fmt: skip
        for form in csv_files.FORMS:
            if form.file in files:
                _stage(run, form, files[form.file])
        staging.sort()
        try:
            with transaction.atomic():
                _store(run)
                summary = _summary(run)
                keep(summary)
        except IntegrityError as refused:  # somebody else made the same reel, site or type meanwhile
            raise Busy() from refused
    return summary


def _summary(run: ImportRun) -> ImportSummary:
    named = [file for file in FILES if run.stored[file] or run.already[file]]
    return ImportSummary(
        is_dry_run=run.is_dry_run, stored={file: run.stored[file] for file in named},
        already={file: run.already[file] for file in named},
        new_sites=tuple(site.code for site in run.new_sites),
    )  # fmt: skip


def importer(username: str | None, at: datetime) -> Person:
    """The administrator in whose name a command brings records in: the one named, or the first that there is.

    An installation without any person gets one by the import itself, `import`, who never logs in; not saved yet here.
    Raises ValueNotTaken.
    """
    if username is None and not Person.objects.exists():
        return Person(username="import", full_name="Older records", staff_number="import", is_staff=True,
                      enrolled_at=at)  # fmt: skip
    able = Person.objects.filter(is_staff=True, is_active=True).order_by("id")
    person = (able.filter(username=username) if username else able).first()
    if person is None:
        raise ValueNotTaken(field="--as", seen=username, allowed="the user name of an active administrator")
    return person


def _store(run: ImportRun) -> None:
    if run.is_writing and run.actor.person.pk is None:
        run.actor = _first_actor(run)
    store_register(run)
    done = 0
    for serials in run.staging.reels(REELS_AT_ONCE):
        before, done = done, done + store_reels(run, serials)
        if done // ROWS_BETWEEN_REPORTS > before // ROWS_BETWEEN_REPORTS:
            run.progress(f"{done:,} of {run.rows:,} rows {'stored' if run.is_writing else 'checked'}")
    if run.total:
        in_order = sorted(run.problems, key=lambda each: (FILES.index(each.file), each.line or 0))
        raise ImportRefused(problems=tuple(in_order), total=run.total, reasons=dict(run.reasons.most_common()),
                            wrong=len(run.wrong_rows), right=run.right, already=run.already.total())  # fmt: skip


def _first_actor(run: ImportRun) -> Actor:
    nobody = run.actor.person
    person = people.add_administrator(
        password=None, at=run.at, via=run.actor.via, username=nobody.username, full_name=nobody.full_name,
        staff_number=nobody.staff_number,
    )  # fmt: skip
    return Actor(person, via=run.actor.via)


class _NotUtf8(Exception):
    def __init__(self, problem: csv_files.FileProblem) -> None:
        super().__init__(problem)
        self.problem = problem


def _stage(run: ImportRun, form: csv_files.FileForm, open_file: Open) -> None:
    with open_file() as raw:
        try:
            run.staging.put(_clean_rows(run, form, raw))
        except _NotUtf8 as refused:
            run.unread_files.add(form.file)
            run.unreadable += (refused.problem.line or 0) > 1
            run.report([refused.problem])


def _clean_rows(run: ImportRun, form: csv_files.FileForm, raw: IO[bytes]) -> Iterator[tuple[str, Staged]]:
    """The rows whose cells can be read, with the reel that each is about; the others are told of."""
    for number, parsed in enumerate(csv_files.cells_of(form, _lines(form.file, raw)), start=1):
        if number % ROWS_BETWEEN_REPORTS == 0:
            run.progress(f"{form.file}: {number:,} rows read")
        if isinstance(parsed, csv_files.FileProblem):
            run.unread_files.add(form.file)
            run.unreadable += (parsed.line or 0) > 1
            run.report([parsed])
            continue
        line, cells = parsed
        row, key = csv_files.read_row(form, line, cells), cells[_KEY[form.file]]
        if not isinstance(row, csv_files.FileRow):
            run.broken_rows.add((form.file, key))
            run.unreadable += 1
            run.report(row)
            continue
        run.rows += 1
        if form is csv_files.REELS:
            run.site_lines.setdefault(cells["site"], line)
        yield "" if form is csv_files.REEL_TYPES else key, (form.file, line, cells)


def _lines(file: str, raw: IO[bytes]) -> Iterator[str]:
    for line, content in enumerate(raw, start=1):
        try:
            yield content.decode("utf-8-sig" if line == 1 else "utf-8")
        except UnicodeDecodeError as refused:
            seen = f"byte {refused.start + 1} of the line is 0x{content[refused.start]:02x}, which is not UTF-8"
            problem = csv_files.FileProblem(file=file, line=line, column=None, seen=seen, allowed="text in UTF-8")
            raise _NotUtf8(problem) from refused
