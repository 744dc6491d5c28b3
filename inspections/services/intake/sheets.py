"""A spreadsheet's file: kept while it is looked at, checked as it is understood, and stored; by all that bring it in.

A check stores nothing. It tells how many rows would be stored, are there already and are wrong, and what is wrong by
reason; a large file's is made by the worker, at a task of its own.
"""

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from inspections.domain.intake.files import FileProblem
from inspections.domain.intake.understanding import (
    Understanding,
    as_ours,
    completed,
    questions,
    refused_rows,
    serials_in,
    spellings_of,
    text_of,
    understand,
)
from inspections.errors import ImportRefused
from inspections.services.intake import mappings
from inspections.services.intake.records import ImportSummary, import_records
from inspections.services.intake.task import AT_ONCE, have_imported, opened
from reels import access
from reels.domain import ledger
from reels.domain.words import counted
from reels.errors import ValueNotTaken
from reels.models import Person, TaskRun, Upload
from reels.services import tasks, uploads
from reels.services.history import Actor
from reels.services.tasks import HeldTask, leased

MOST_REFUSED = 100_000  # rows that can be given back to be mended: more than a sheet of 10 MB has
MOST_REASONS = 100
PROBLEMS = "problems"
ASKED = {
    "file": "what the file holds", "columns": "which heading each needed column has",
    "day_order": "whether the day or the month comes first",
    "time_zone": "by which clocks the times were written down", "decimal_mark": "which mark the decimals have",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetCheck:
    """What would come of a file. stored, already, wrong: rows. reasons: column, what is allowed, how many.

    total: of all that is wrong, of which `problems` are told.
    """

    file: str
    stored: int
    already: int
    wrong: int = 0
    total: int = 0
    reasons: tuple[tuple[str, str, int], ...] = ()
    other_reasons: int = 0
    new_sites: tuple[str, ...] = ()
    problems: tuple[FileProblem, ...] = ()

    def in_words(self) -> list[str]:
        """For people."""
        rows = f"{self.file}: {counted(self.stored, 'row')} would be stored, {self.already} there already"
        sites = [f"New sites: {', '.join(self.new_sites)}."] if self.new_sites else []
        return [f"{rows}, {self.wrong} refused." if self.wrong else f"{rows}.", *sites]


# While it is looked at ----------------------------------------------------------------------------------------------


def begin(content: bytes, name: str, *, person: Person, at: datetime) -> Upload:
    """Keep a file to be looked at, understood as it tells itself. Raises NotRead or OnlyAdministrators."""
    access.only_administrators(person)
    understood = understand(text_of(content), name)
    return uploads.keep(person, name, content, {"understood": asdict(understood), "mapping": None}, at)


def of(pk: UUID, person: Person) -> Upload:
    """A file that is looked at. Raises OnlyAdministrators, or NotFound for another's, and once its time is over."""
    access.only_administrators(person)
    return uploads.of(pk, person)


def text_in(upload: Upload) -> str:
    """Its text."""
    return text_of(uploads.content_of(upload))


def understanding_of(upload: Upload) -> Understanding:
    """How it is understood, as it was said last."""
    return Understanding(**upload.about["understood"])


def mapping_of(upload: Upload) -> int | None:
    """The number of the mapping by which it was read first, or that was kept of it."""
    number: int | None = upload.about["mapping"]
    return number


def say(upload: Upload, understood: Understanding, at: datetime, mapping: int | None = None) -> None:
    """Have it understood so from now on. mapping: see `mapping_of`; unless said, as before."""
    used = mapping or mapping_of(upload)
    uploads.say(upload, {"understood": asdict(understood), "mapping": used}, at)


# By a mapping's name --------------------------------------------------------------------------------------------------


def by_mapping(content: bytes, name: str) -> tuple[str, Understanding]:
    """A file's text, and how it is read by the mapping of that name. Raises NotRead, NotFound or ValueNotTaken."""
    text, mapping = text_of(content), mappings.named(name)
    understood = completed(text, mappings.understanding_of(mapping))
    if lacking := mappings.missing(text, understood):
        why = f"it has no column {', '.join(lacking)}"
    else:
        why = "; ".join(f"not said is {ASKED[each]}" for each in questions(text, understood))
    if why:
        raise ValueNotTaken(field="mapping", seen=mapping.name, allowed=f"one by which the file can be read; {why}")
    return text, understood


def ours_by_mapping(content: bytes, name: str, person: Person) -> dict[str, bytes]:
    """A file as one of ours, by its name there. Raises OnlyAdministrators, and as `by_mapping`."""
    access.only_administrators(person)
    return ours_of(*by_mapping(content, name))


# Checked ------------------------------------------------------------------------------------------------------------


def respelt(text: str, understood: Understanding) -> dict[str, str]:
    """The serials on record that the file spells otherwise, by its spelling."""
    if understood.as_spelt:
        return {}
    seen = serials_in(text, understood) - set(understood.spellings)
    return spellings_of(seen, list(access.serials_of_reels()))


def ours_of(text: str, understood: Understanding) -> dict[str, bytes]:
    """The file as one of ours, by its name there."""
    return {understood.file: as_ours(text, understood, respelt(text, understood)).encode()}


def check(text: str, understood: Understanding, *, actor: Actor, at: datetime,
          progress: Callable[[str], None] = lambda _: None) -> SheetCheck:  # fmt: skip
    """What would come of a file about which nothing is left to ask. Stores nothing. Raises OnlyAdministrators."""
    files = opened(ours_of(text, understood))
    try:
        summary = import_records(files=files, actor=actor, at=at, is_dry_run=True, progress=progress,
                                 most_problems=MOST_REFUSED)  # fmt: skip
    except ImportRefused as refused:
        return _refused(understood.file, refused.facts)
    return _taken(understood.file, summary)


def _taken(file: str, summary: ImportSummary) -> SheetCheck:
    return SheetCheck(file=file, stored=summary.stored.get(file, 0), already=summary.already.get(file, 0),
                      new_sites=summary.new_sites)  # fmt: skip


def _refused(file: str, facts: Mapping[str, Any]) -> SheetCheck:
    by_number = list(facts["reasons"].items())
    reasons = tuple((column or "the row", allowed, n) for (_, column, allowed), n in by_number[:MOST_REASONS])
    return SheetCheck(
        file=file, stored=facts["right"], already=facts["already"], wrong=facts["wrong"], total=facts["total"],
        reasons=reasons, other_reasons=len(by_number) - len(reasons), problems=facts["problems"],
    )  # fmt: skip


def is_large(upload: Upload) -> bool:
    """Whether the worker checks it."""
    return len(uploads.content_of(upload)) > AT_ONCE


def _key(upload: Upload) -> str:
    digest = ledger.digest(ledger.canonical(upload.about["understood"]))
    return f"sheet {upload.pk} {digest[:32]}"


def newest_check(upload: Upload) -> TaskRun | None:
    """The worker's check of it, as it is understood now."""
    return tasks.newest(_key(upload))


def have_checked(upload: Upload) -> TaskRun | None:
    """Have the worker check a large file, once nothing is left to ask. Raises QueueFull."""
    if not is_large(upload) or questions(text_in(upload), understanding_of(upload)):
        return None
    return newest_check(upload) or tasks.put(
        check_upload, str(upload.pk), key=_key(upload), title=f"Check of {upload.name}"[:200], by=upload.person
    )


@leased
def check_upload(context: HeldTask, pk: str) -> dict[str, Any]:  # put in so
    """Stores nothing of it: begun again, it is checked again."""
    upload = access.one(Upload.objects.select_related("person"), "file", pk=pk)
    context.progress("Reading the file.")
    actor = Actor(upload.person)
    made = check(text_in(upload), understanding_of(upload), actor=actor, at=timezone.now(), progress=context.say)
    rows = [[each.line, each.column, each.seen, each.allowed] for each in made.problems]
    with transaction.atomic():
        context.require().files.filter(name=PROBLEMS).delete()
        tasks.put_file(context.pk, PROBLEMS, json.dumps(rows).encode())
    summary = asdict(replace(made, problems=()))
    return {"check": summary, "in_words": made.in_words()}


def made_of(run: TaskRun) -> SheetCheck:
    """The check that a task made."""
    shown = {**(run.result.return_value or {})["check"]}
    kept = b"".join(tasks.pieces_of(run.pk, PROBLEMS))
    problems = (
        FileProblem(file=shown["file"], line=line, column=column, seen=seen, allowed=allowed)
        for line, column, seen, allowed in json.loads(kept or b"[]")
    )
    reasons = tuple((column, allowed, number) for column, allowed, number in shown.pop("reasons"))
    shown |= {"new_sites": tuple(shown["new_sites"]), "problems": tuple(problems)}
    return SheetCheck(**shown, reasons=reasons)


def refused_file(text: str, understood: Understanding, made: SheetCheck) -> bytes:
    """The refused rows as they came, each with why, as a spreadsheet opens them."""
    return refused_rows(text, understood, made.problems).encode("utf-8-sig")


# Stored -------------------------------------------------------------------------------------------------------------


def have_stored(upload: Upload, *, actor: Actor) -> TaskRun:
    """Have the worker store all of it or nothing. Raises as `have_imported`."""
    return have_imported(ours_of(text_in(upload), understanding_of(upload)), actor=actor, is_dry_run=False)
