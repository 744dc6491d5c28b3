"""`manage.py import_records PATH`: bring older records in from CSV files, ours in a folder or a spreadsheet's."""

from argparse import ArgumentParser
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from inspections.domain.intake.understanding import NotRead, Understanding, refused_rows, text_of
from inspections.errors import ImportRefused
from inspections.services.intake import FILES, VIA, ImportSummary, Open, import_records, importer, sheets, task
from reels.domain.words import counted
from reels.errors import Refused
from reels.services.history import Actor

MOST_PRINTED = 100
FIRST_PRINTED = 10
_Came = tuple[Path, Understanding]  # a file as it came, and how it is read


class Command(BaseCommand):
    help = (
        f"Brings in {', '.join(FILES)} from a folder; any of them may be absent. With --mapping, a spreadsheet's file, "
        "read as it was once said on its page. All or nothing: every row that cannot be taken is named by file, line "
        "and column. The same files twice store nothing twice."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("path", type=Path, metavar="PATH", help="a folder with our files, or a spreadsheet's file")
        parser.add_argument("--mapping", metavar="NAME", help="how the spreadsheet's file is read")
        parser.add_argument(
            "--check", "--dry-run", action="store_true", dest="is_check",
            help="store nothing; say what would be stored, what is there already and, by reason, what is wrong. "
            "Ends with 0 where nothing is wrong, else with 1",
        )  # fmt: skip
        parser.add_argument("--refused", type=Path, metavar="FOLDER", help="write the refused rows there, to be mended")
        parser.add_argument(
            "--as", dest="username", help="the administrator who does it; unless said, the first one of the records"
        )

    def handle(self, *, path: Path, mapping: str | None, is_check: bool, refused: Path | None, username: str | None,
               **options: Any) -> None:  # fmt: skip
        at = timezone.now()
        came: dict[str, _Came] = {}
        try:
            actor = Actor(importer(username, at), via=VIA)
            files = _sheet(path, mapping, came) if mapping else self._of_folder(path, came)
            summary = import_records(files=files, actor=actor, at=at, is_dry_run=is_check,
                                     progress=self.stderr.write, most_problems=sheets.MOST_REFUSED)  # fmt: skip
        except ImportRefused as problems:
            if refused:
                self._write_refused(problems, came, refused)
            if is_check:
                self.stdout.write(_by_reason(problems))
                raise SystemExit(1) from problems
            raise CommandError(_told(problems)) from problems
        except (Refused, NotRead) as problem:
            raise CommandError(str(problem)) from problem
        self.stdout.write(_summed_up(summary))

    def _of_folder(self, folder: Path, came: dict[str, _Came]) -> dict[str, Open]:
        """Our files in a folder, as `import_records` takes them."""
        if folder.is_file():
            raise CommandError(f"{folder} is a file: name the --mapping by which it is read, or a folder of ours.")
        named = [name for name in FILES if (folder / name).is_file()]
        if not named:
            raise CommandError(f"{folder} holds none of {', '.join(FILES)}.")
        for other in sorted(path.name for path in folder.glob("*.csv") if path.name not in FILES):
            self.stderr.write(f"{other} is none of the files that are brought in; it is left alone.")
        came |= {name: (folder / name, Understanding(file=name, separator=",")) for name in named}
        return {name: _opener(folder / name) for name in named}

    def _write_refused(self, problems: ImportRefused, came: Mapping[str, _Came], folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        for file in sorted({each.file for each in problems.facts["problems"]}):
            path, understood = came[file]
            try:
                rows = refused_rows(text_of(path.read_bytes()), understood, problems.facts["problems"])
            except NotRead as problem:
                self.stderr.write(f"{path.name}: no rows to be given back. {problem}")
                continue
            to = folder / f"refused {path.name}"
            to.write_bytes(rows.encode("utf-8-sig"))
            self.stderr.write(f"{to} holds the refused rows, each with why.")


def _sheet(path: Path, mapping: str, came: dict[str, _Came]) -> dict[str, Open]:
    """A spreadsheet's file as one of ours. Raises NotRead, NotFound or ValueNotTaken."""
    try:
        content = path.read_bytes()
    except OSError as problem:
        raise CommandError(f"{path} cannot be read as a file: {problem.strerror}.") from problem
    text, understood = sheets.by_mapping(content, mapping)
    came[understood.file] = (path, understood)
    return task.opened(sheets.ours_of(text, understood))


def _opener(path: Path) -> Open:
    return lambda: path.open("rb")


def _told(refused: ImportRefused) -> str:
    shown = [str(each) for each in refused.facts["problems"][:MOST_PRINTED]]
    more = refused.facts["total"] - len(shown)
    return "\n".join([*shown, *([f"… and {more} more"] if more else []), str(refused)])


def _by_reason(refused: ImportRefused) -> str:
    facts = refused.facts
    lines = [f"Would be stored: {_rows(facts['right'])}. There already: {_rows(facts['already'])}. "
             f"Refused: {_rows(facts['wrong'])}, so that nothing is stored."]  # fmt: skip
    reasons = list(facts["reasons"].items())
    for (file, column, allowed), number in reasons[:MOST_PRINTED]:
        lines.append(f"{number} times in {file}, {f'column {column}' if column else 'the row'}; allowed: {allowed}")
    if (more := len(reasons) - MOST_PRINTED) > 0:
        lines.append(f"… and {more} more reasons")
    return "\n".join([*lines, "The first of them:", *map(str, facts["problems"][:FIRST_PRINTED])])


def _summed_up(summary: ImportSummary) -> str:
    verb = "Would be stored" if summary.is_dry_run else "Stored"
    rows = ", ".join(f"{_rows(count)} of {file}" for file, count in summary.stored.items() if count) or "nothing new"
    again = sum(summary.already.values())
    sites = f" New sites: {', '.join(summary.new_sites)}." if summary.new_sites else ""
    return f"{verb}: {rows}. There already: {_rows(again)}.{sites}"


def _rows(count: int) -> str:
    return counted(count, "row")
