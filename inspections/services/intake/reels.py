"""The part of an import that is about reels: each one, its counts and cable events, in one entry of its history."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import Any

from django.db.models import QuerySet

from inspections.domain.intake import (
    CABLE_EVENTS,
    COUNTS,
    REEL_TYPES,
    REELS,
    FileForm,
    FileProblem,
    FileRow,
    ReelFacts,
    count_problems,
    event_problems,
    problem,
    reel_problems,
    sort_out,
)
from inspections.models import ImportedCount
from inspections.services.intake.run import ACT, ImportRun, typed
from inspections.services.setup import withdraw_values
from reels import access
from reels.models import CableEvent, Chain, HistoryEntry, Reel
from reels.services.history import record_act

MOST_ROWS_AN_ENTRY = 2000

Said = dict[str, Any]  # a row on record, as a file would say it


def store_reels(run: ImportRun, serials: list[str]) -> int:
    """Some reels and all that the files say of them; how many rows that was. What is on record takes three queries."""
    if run.is_writing:
        known = Reel.objects.filter(serial__in=serials).values_list("serial", flat=True)
        access.lock(*(access.reel_chain(serial) for serial in known))
    rows_about = Reel.objects.filter(serial__in=serials).select_related("type", "site", "chain")
    reels = {reel.serial: reel for reel in rows_about}
    counts = _recorded(ImportedCount.objects.filter(reel__in=reels.values()), COUNTS)
    events = _recorded(CableEvent.objects.filter(reel__in=reels.values(), reverses=None), CABLE_EVENTS)
    done = 0
    for serial in serials:
        rows = [typed(staged) for staged in run.staging.rows_of(serial)]
        _store_reel(run, serial, reels.get(serial), rows, counts[serial], events[serial])
        done += len(rows)
    return done


def _recorded(rows: QuerySet[Any], form: FileForm) -> dict[str, list[Said]]:
    names = [column.name for column in form.columns[1:]]
    found: dict[str, list[Said]] = defaultdict(list)
    for serial, *values in rows.values_list("reel__serial", *names):
        told_empty = (None if value == "" else value for value in values)
        found[serial].append({"reel": serial, **dict(zip(names, told_empty, strict=True))})
    return found


def _store_reel(
    run: ImportRun, serial: str, reel: Reel | None, rows: list[FileRow], counts: list[Said], events: list[Said]
) -> None:
    about = {form: [row for row in rows if row.file == form.file] for form in (REELS, COUNTS, CABLE_EVENTS)}
    said = _reel(run, serial, reel, about[REELS])
    if said is None:
        if not run.is_told(REELS.file, serial):
            run.tell(_unknown_reel(row) for row in rows)
        return
    found_counts = sort_out(about[COUNTS], counts, lambda values: values["counted_at"])
    found_events = sort_out(about[CABLE_EVENTS], events, lambda values: tuple(values.items()))
    new_counts = run.new_of(COUNTS.file, found_counts)
    new_events = run.new_of(CABLE_EVENTS.file, found_events)
    facts = _facts(run, said, [*events, *(row.values for row in new_events)])
    for row in new_counts:
        run.tell(count_problems(row, facts, run.at))
    for row in new_events:
        run.tell(event_problems(row, facts, run.at))
    if reel and reel.retired_at:
        run.tell(_retired(row, reel) for row in (*new_counts, *new_events))
    if run.is_writing and (new_counts or new_events or not reel):
        _write(run, reel or _new_reel(run, said), new_counts, new_events)


def _reel(run: ImportRun, serial: str, reel: Reel | None, rows: list[FileRow]) -> Said | None:
    """What is said of the reel, on record or in the file; None when nobody says anything that can be taken."""
    for row in rows:
        row.values["site"] = run.sites[row.values["site"]].code if row.values["site"] in run.sites else None
    recorded = _as_said(reel, rows) if reel else None
    new = run.new_of(REELS.file, sort_out(rows, [recorded] if recorded else [], lambda values: values["serial"]))
    for row in new:
        unknown = [] if row.values["type"] in run.facts else list(_unknown_type(run, row))
        if run.tell([*unknown, *reel_problems(row, run.at)]) or row.values["type"] not in run.facts:
            run.broken.add((REELS.file, serial))
            return None
    return recorded or (new[0].values if new else None)


def _as_said(reel: Reel, rows: list[FileRow]) -> Said:
    """The reel on record. Where it is now says nothing of where it was once it has been moved."""
    said: Said = {name: getattr(reel, name) for name in ("serial", "received_on", "cable_length_m")}
    said |= {"type": reel.type.code, "site": reel.site.code}
    is_elsewhere = any(row.values["site"] != said["site"] for row in rows)
    if is_elsewhere and HistoryEntry.objects.filter(chain=reel.chain, act="moved").exists():
        del said["site"]
    return said


def _facts(run: ImportRun, said: Said, events: Sequence[Said]) -> ReelFacts:
    return ReelFacts(
        serial=said["serial"], type=run.facts[said["type"]], received_on=said["received_on"],
        cable_length_m=said["cable_length_m"],
        replaced_at=tuple(each["happened_at"] for each in events if each["kind"] == CableEvent.Kind.REPLACED),
    )  # fmt: skip


def _unknown_type(run: ImportRun, row: FileRow) -> Iterator[FileProblem]:
    if not run.is_told(REEL_TYPES.file, row.values["type"]):
        yield problem(row.file, row.line, "type", row.values["type"], "a reel type of the records or of reel_types.csv")


def _unknown_reel(row: FileRow) -> FileProblem:
    return problem(row.file, row.line, "reel", row.values["reel"], "a reel of the records or of reels.csv")


def _retired(row: FileRow, reel: Reel) -> FileProblem:
    allowed = f"a reel in service; {reel.serial} was retired on {reel.retired_at:%Y-%m-%d}"
    return problem(row.file, row.line, "reel", reel.serial, allowed)


# Writing --------------------------------------------------------------------------------------------------------------


def _new_reel(run: ImportRun, said: Said) -> Reel:
    sites = {site.code: site for site in run.sites.values()}
    return Reel(
        serial=said["serial"], type=run.types[said["type"]], site=sites[said["site"]],
        chain=Chain.objects.create(name=access.reel_chain(said["serial"])), received_on=said["received_on"],
        cable_length_m=said["cable_length_m"],
    )  # fmt: skip


def _write(run: ImportRun, reel: Reel, new_counts: list[FileRow], new_events: list[FileRow]) -> None:
    new_counts.sort(key=lambda row: row.values["counted_at"])
    new_events.sort(key=lambda row: row.values["happened_at"])
    first, rest = new_counts[:MOST_ROWS_AN_ENTRY], new_counts[MOST_ROWS_AN_ENTRY:]
    with record_act(reel.chain, ACT, run.actor, run.at) as act:
        if reel.pk is None:
            act.add(reel)
        elif new_events:
            withdraw_values(act, reel, "cuts or replacements of its cable were brought in from older records")
        act.add_all([_event(run, reel, row.values) for row in new_events])
        act.add_all([_count(reel, row.values) for row in first])
    for start in range(0, len(rest), MOST_ROWS_AN_ENTRY):
        with record_act(reel.chain, ACT, run.actor, run.at) as act:
            act.add_all([_count(reel, row.values) for row in rest[start : start + MOST_ROWS_AN_ENTRY]])


def _count(reel: Reel, said: Said) -> ImportedCount:
    return ImportedCount(
        reel=reel, counted_at=said["counted_at"], recorded_at=said["counted_at"], layers=said["layers"],
        wraps=said["wraps"], counted_by=said["counted_by"] or "", verified_by=said["verified_by"] or "",
        document=said["document"] or "",
    )  # fmt: skip


def _event(run: ImportRun, reel: Reel, said: Said) -> CableEvent:
    return CableEvent(
        reel=reel, kind=said["kind"], length_removed_m=said["length_removed_m"], happened_at=said["happened_at"],
        recorded_at=said["recorded_at"], recorded_by=run.actor.person, document=said["document"] or "",
    )  # fmt: skip
