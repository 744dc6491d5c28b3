"""The drift report of a fleet in CSV files, without Django or a database: for whoever studies the inference.

    python -m reports.fleet FOLDER [--false-share SHARE] [--rates] [--self-check]

FOLDER holds reel_types.csv, reels.csv, counts.csv and, if any, cable_events.csv, as `import_records` takes them. What
is printed is what `manage.py drift_report` prints once they are brought in, byte for byte. What can't be of a drum, a
reel, a count or a cut is refused as there; the rules of reading, which no count needs any more, aren't looked at.
"""

import argparse
import sys
from collections import defaultdict
from collections.abc import Callable, Collection, Hashable, Iterable, Iterator, Sequence
from datetime import UTC, datetime, time
from pathlib import Path
from typing import Any

from inspections.domain import drift
from inspections.domain.drift import CountSeen, CutLogged, DriftParameters, ReelHistory
from inspections.domain.intake import files, rules
from inspections.domain.intake.files import FileForm, FileProblem, FileRow
from reels.domain.winding import Drum, drum_from
from reels.errors import ValueNotTaken
from reports.domain.drift_rows import CHECK_SEED, COLUMNS, FALSE_SHARE, DriftRow, as_written, flag_from, rows_of
from reports.domain.written import csv_lines

Values = dict[str, Any]
Key = Callable[[Values], Hashable]
MOST_PRINTED = 100  # problems


class FolderRefused(Exception):
    """The files can't be taken: problems, every one of them."""

    def __init__(self, problems: Sequence[FileProblem]) -> None:
        more = len(problems) - MOST_PRINTED
        super().__init__("\n".join([*map(str, problems[:MOST_PRINTED]), *([f"… and {more} more"] if more > 0 else [])]))


class _Folder:
    """The files of a folder, read row by row; problems are gathered."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.problems: list[FileProblem] = []
        self.refused: set[tuple[FileForm, str]] = set()  # what is named in a row that can't be taken itself

    def rows(self, form: FileForm, key: Key) -> list[FileRow]:
        """The rows of one file, those that say an earlier one again left out."""
        sorted_rows = rules.sort_out(self._read(form), [], key)
        self.problems += sorted_rows.problems
        return sorted_rows.new

    def _read(self, form: FileForm) -> Iterator[FileRow]:
        try:
            with (self.folder / form.file).open(encoding="utf-8-sig", newline="") as lines:
                for cells in files.cells_of(form, lines):
                    if isinstance(cells, FileProblem):
                        self.problems.append(cells)
                    elif isinstance(row := files.read_row(form, *cells), FileRow):
                        yield row
                    else:
                        self.problems += row
                        self.refused.add((form, cells[1][form.columns[0].name]))
        except OSError as refused:
            if form is not files.CABLE_EVENTS or not isinstance(refused, FileNotFoundError):
                self._refuse(form, f"it can't be read ({refused.strerror})", "a file as import_records takes it")
        except UnicodeDecodeError as refused:
            self._refuse(form, f"a byte 0x{refused.object[refused.start]:02x} was seen", "text in UTF-8")

    def _refuse(self, form: FileForm, seen: str, allowed: str) -> None:
        self.problems.append(FileProblem(file=form.file, line=None, column=None, seen=seen, allowed=allowed))

    def named(self, rows: Iterable[FileRow], column: str, known: Collection[str], form: FileForm) -> Iterator[FileRow]:
        """Those of the rows whose cell names something known from another file."""
        for row in rows:
            seen = row.values[column]
            if seen in known:
                yield row
            elif (form, seen) not in self.refused:
                allowed = f"a {form.columns[0].name} of {form.file}"
                self.problems.append(files.problem(row.file, row.line, column, seen, allowed))


def read_fleet(folder: Path, at: datetime) -> list[ReelHistory]:
    """The histories that the files of a folder tell, in order of serial. at: the present; nothing may be later.

    Raises FolderRefused.
    """
    source = _Folder(folder)
    types = dict(_types(source))
    reels = source.rows(files.REELS, lambda values: values["serial"])
    stated = {row.values["serial"]: row for row in source.named(reels, "type", types, files.REEL_TYPES)}
    serials = {row.values["serial"] for row in reels}
    about: dict[str, list[FileRow]] = defaultdict(list)
    keys: tuple[tuple[FileForm, Key], ...] = (
        (files.COUNTS, lambda values: (values["reel"], values["counted_at"])),
        (files.CABLE_EVENTS, lambda values: tuple(values[c.name] for c in files.CABLE_EVENTS.columns if c.is_required)),
    )
    for form, key in keys:
        for row in source.named(source.rows(form, key), "reel", serials, files.REELS):
            about[row.values["reel"]].append(row)
    histories = [_history(source, stated[s], types[stated[s].values["type"]], about[s], at) for s in sorted(stated)]
    if source.problems:
        raise FolderRefused(source.problems)
    return histories


def _types(source: _Folder) -> Iterator[tuple[str, tuple[Drum, int]]]:
    """Of each type, by its code, the drum and the lead wraps."""
    for row in source.rows(files.REEL_TYPES, lambda values: values["code"]):
        try:
            yield row.values["code"], (drum_from(row.values), row.values["lead_wraps"])
        except ValueNotTaken as refused:
            facts = refused.facts
            source.problems.append(files.problem(row.file, row.line, facts["field"], facts["seen"], facts["allowed"]))
            source.refused.add((files.REEL_TYPES, row.values["code"]))


def _history(
    source: _Folder, reel: FileRow, reel_type: tuple[Drum, int], rows: list[FileRow], at: datetime
) -> ReelHistory:
    values, (drum, lead_wraps) = reel.values, reel_type
    counts = [row for row in rows if row.file == files.COUNTS.file]
    events = [row for row in rows if row.file == files.CABLE_EVENTS.file]
    replaced = tuple(row.values["happened_at"] for row in events if row.values["kind"] == "replaced")
    facts = rules.ReelFacts(
        serial=values["serial"], type=rules.TypeFacts(drum=drum), received_on=values["received_on"],
        cable_length_m=values["cable_length_m"], replaced_at=replaced,
    )  # fmt: skip
    problems = [*rules.reel_problems(reel, at)]
    problems += [each for row in counts for each in rules.count_problems(row, facts, at)]
    problems += [each for row in events for each in rules.event_problems(row, facts, at)]
    source.problems += problems
    return ReelHistory(
        reel=values["serial"], drum=drum, lead_wraps=lead_wraps,
        counts=tuple(_count(row.values, values["site"]) for row in counts),
        cuts=() if problems else tuple(_cut(row.values) for row in events if row.values["kind"] == "cut"),
        replaced_at=replaced, received_at=datetime.combine(values["received_on"], time.min, tzinfo=UTC),
        received_m=None if values["cable_length_m"] is None else float(values["cable_length_m"]),
    )  # fmt: skip


def _count(values: Values, site: str) -> CountSeen:
    revision = f"{values.get('publication') or ''} {values.get('revision') or ''}".strip() or None
    return CountSeen(
        at=values["counted_at"], layers=values["layers"], wraps=values["wraps"], revision=revision,
        counted_by=values["counted_by"] or None, verified_by=values["verified_by"] or None,
        site=site,
    )  # fmt: skip


def _cut(values: Values) -> CutLogged:
    """One that doesn't say when it was recorded is taken as recorded when it was made."""
    at = values["happened_at"]
    return CutLogged(at=at, length_m=float(values["length_removed_m"]), recorded_at=values["recorded_at"] or at)


def ranked(histories: Sequence[ReelHistory], theta: DriftParameters) -> list[DriftRow]:
    """Every pair of neighbouring counts, the most probable first; of equals, as the records rank them, the later."""
    rows = [row for assessed in drift.assess_fleet(histories, theta) for row in rows_of(assessed)]
    rows.reverse()
    return sorted(rows, key=lambda row: row.p_unlogged_cut, reverse=True)


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the report; 1 where the files are refused."""
    parser = argparse.ArgumentParser(prog="python -m reports.fleet", description=__doc__.partition("\n")[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--false-share", type=float, default=FALSE_SHARE, help="expected share of false flags")
    parser.add_argument("--self-check", action="store_true", help="instead, tell what it finds on fleets drawn like it")
    parser.add_argument("--rates", action="store_true", help="also tell, on standard error, the rates of the fleet")
    chosen = parser.parse_args(arguments)
    if not 0.0 <= chosen.false_share < 1.0:
        parser.error(f"--false-share: {chosen.false_share} was given; allowed: a number from 0 to below 1")
    try:
        histories = read_fleet(chosen.folder, datetime.now(UTC))
    except FolderRefused as refused:
        sys.stderr.write(f"{refused}\n")
        return 1
    theta = drift.learn(histories)
    if chosen.rates:
        sys.stderr.write("\n".join(drift.in_words(theta)) + "\n")
    if chosen.self_check:
        checked = drift.self_check(histories, theta, false_share=chosen.false_share, seed=CHECK_SEED)
        sys.stdout.write(f"{drift.check_in_words(checked)}\n")
        return 0
    rows = ranked(histories, theta)
    flag_at = flag_from((row.p_unlogged_cut for row in rows), chosen.false_share)
    sys.stdout.writelines(csv_lines(COLUMNS, (as_written(row, flag_at).values() for row in rows)))
    return 0


if __name__ == "__main__":
    sys.exit(main())
