"""The part of an import that is about reels: each one, its counts and cable events, in one entry of its history."""

from collections import defaultdict
from dataclasses import fields
from typing import Any

from django.db.models import QuerySet

from inspections.domain.intake import files, rules
from inspections.models import ImportedCount
from inspections.services.intake.between import Between, new_between, rows_between
from inspections.services.intake.run import ACT, ImportRun, row_of
from inspections.services.life import hold_if_over
from inspections.services.setup import withdraw_values
from reels import access
from reels.models import CableEvent, Chain, HistoryEntry, Reel
from reels.services.history import record_act
from reels.services.reels import ReelNumbers

MOST_ROWS_AN_ENTRY = 2000
NUMBERS = tuple(each.name for each in fields(ReelNumbers))  # columns that a file need not have
REPLACED = CableEvent.Kind.REPLACED

Values = dict[str, Any]  # a row's, by column, as the file has them


def store_reels(run: ImportRun, serials: list[str]) -> int:
    """Some reels and all that the files say of them; how many rows that was. What is on record takes three queries."""
    if run.is_writing:
        known = Reel.objects.filter(serial__in=serials).values_list("serial", flat=True)
        access.lock(*(access.reel_chain(serial) for serial in known))
    rows_about = Reel.objects.filter(serial__in=serials).select_related("type", "site", "chain")
    reels = {reel.serial: reel for reel in rows_about}
    counts = _recorded(ImportedCount.objects.filter(reel__in=reels.values()), files.COUNTS)
    events = _recorded(CableEvent.objects.filter(reel__in=reels.values(), reverses=None), files.CABLE_EVENTS)
    done = 0
    for serial in serials:
        rows = [row_of(staged) for staged in run.staging.rows_of(serial)]
        _store_reel(run, serial, reels.get(serial), rows, counts[serial], events[serial])
        done += len(rows)
    return done


def _cable_event_key(values: Values) -> tuple[Any, ...]:
    """All that a row has to have: two cuts may be of one day and length. What it need not have is compared after."""
    return tuple(values[column.name] for column in files.CABLE_EVENTS.columns if column.is_required)


def _recorded(rows: QuerySet[Any], form: files.FileForm) -> dict[str, list[Values]]:
    names = [column.name for column in form.columns[1:]]
    by_serial: dict[str, list[Values]] = defaultdict(list)
    for serial, *values in rows.values_list("reel__serial", *names):
        none_for_empty = (None if value == "" else value for value in values)
        by_serial[serial].append({"reel": serial, **dict(zip(names, none_for_empty, strict=True))})
    return by_serial


def _store_reel(
    run: ImportRun,
    serial: str,
    reel: Reel | None,
    rows: list[files.FileRow],
    counts: list[Values],
    events: list[Values],
) -> None:
    about = {
        form: [row for row in rows if row.file == form.file] for form in (files.REELS, files.COUNTS, files.CABLE_EVENTS)
    }
    stated = _reel(run, serial, reel, about[files.REELS])
    if stated is None:
        if not run.is_reported(files.REELS.file, serial):
            allowed = "a reel of the records or of reels.csv"
            run.report(files.problem(row.file, row.line, "reel", row.values["reel"], allowed) for row in rows)
        return
    sorted_counts = rules.sort_out(about[files.COUNTS], counts, lambda values: values["counted_at"])
    sorted_events = rules.sort_out(about[files.CABLE_EVENTS], events, _cable_event_key)
    new_counts = run.take_new(files.COUNTS.file, sorted_counts)
    new_events = run.take_new(files.CABLE_EVENTS.file, sorted_events)
    replaced = (each for each in (*events, *(row.values for row in new_events)) if each["kind"] == REPLACED)
    facts = rules.ReelFacts(
        serial=serial, type=run.facts[stated["type"]], received_on=stated["received_on"],
        cable_length_m=stated["cable_length_m"], replaced_at=tuple(each["happened_at"] for each in replaced),
    )  # fmt: skip
    between = new_between(run, reel, rows, facts, stated["type"], reel.site.code if reel else stated["site"])
    for row in new_counts:
        run.report(rules.count_problems(row, facts, run.at))
    for row in new_events:
        run.report(rules.event_problems(row, facts, run.at))
    if reel and reel.retired_at:
        allowed = f"a reel in service; {serial} was retired on {reel.retired_at:%Y-%m-%d}"
        run.report(
            files.problem(row.file, row.line, "reel", serial, allowed)
            for row in (*new_counts, *new_events, *between.rows)
        )
    if run.is_writing and (new_counts or new_events or between.rows or not reel):
        _write(run, reel or _new_reel(run, stated), new_counts, new_events, between)


def _reel(run: ImportRun, serial: str, reel: Reel | None, rows: list[files.FileRow]) -> Values | None:
    """What is said of the reel, on record or in the file; None when nobody says anything that can be taken."""
    for row in rows:
        row.values["site"] = run.sites[row.values["site"]].code if row.values["site"] in run.sites else None
    recorded = _recorded_reel(reel, rows) if reel else None
    new = run.take_new(
        files.REELS.file, rules.sort_out(rows, [recorded] if recorded else [], lambda values: values["serial"])
    )
    for row in new:
        reel_type = row.values["type"]
        if reel_type not in run.facts and not run.is_reported(files.REEL_TYPES.file, reel_type):
            allowed = "a reel type of the records or of reel_types.csv"
            run.report([files.problem(row.file, row.line, "type", reel_type, allowed)])
        if run.report(rules.reel_problems(row, run.at)) or reel_type not in run.facts:
            run.broken_rows.add((files.REELS.file, serial))
            return None
    return recorded or (new[0].values if new else None)


def _recorded_reel(reel: Reel, rows: list[files.FileRow]) -> Values:
    """The reel on record. Where it is now says nothing of where it was once it has been moved."""
    stated: Values = {name: getattr(reel, name) for name in ("serial", "received_on", "cable_length_m")}
    stated |= {"type": reel.type.code, "site": reel.site.code}
    stated |= {name: getattr(reel, name) or None for name in NUMBERS}
    is_elsewhere = any(row.values["site"] != stated["site"] for row in rows)
    if is_elsewhere and HistoryEntry.objects.filter(chain=reel.chain, act__in=("moved", "received")).exists():
        del stated["site"]
    return stated


def _new_reel(run: ImportRun, stated: Values) -> Reel:
    sites = {site.code: site for site in run.sites.values()}
    return Reel(
        serial=stated["serial"], type=run.types[stated["type"]], site=sites[stated["site"]],
        chain=Chain.objects.create(name=access.reel_chain(stated["serial"])), received_on=stated["received_on"],
        cable_length_m=stated["cable_length_m"], **{name: stated.get(name) or "" for name in NUMBERS},
    )  # fmt: skip


def _write(run: ImportRun, reel: Reel, new_counts: list[files.FileRow], new_events: list[files.FileRow],
           between: Between) -> None:  # fmt: skip
    new_counts.sort(key=lambda row: row.values["counted_at"])
    new_events.sort(key=lambda row: row.values["happened_at"])
    first, rest = new_counts[:MOST_ROWS_AN_ENTRY], new_counts[MOST_ROWS_AN_ENTRY:]
    with record_act(reel.chain, ACT, run.actor, run.at) as act:
        if reel.pk is None:
            act.add(reel)
        elif new_events:
            withdraw_values(act, reel, "cuts or replacements of its cable were brought in from older records")
        elif between.rows:
            withdraw_values(act, reel, "what happened to it was brought in from older records")
        act.add_all([_event(run, reel, row.values) for row in new_events])
        act.add_all([_count(reel, row.values) for row in first])
        for each in rows_between(run, reel, between):
            act.add(each)
        hold_if_over(act, reel)
    for start in range(0, len(rest), MOST_ROWS_AN_ENTRY):
        with record_act(reel.chain, ACT, run.actor, run.at) as act:
            act.add_all([_count(reel, row.values) for row in rest[start : start + MOST_ROWS_AN_ENTRY]])


def _count(reel: Reel, values: Values) -> ImportedCount:
    return ImportedCount(
        reel=reel, counted_at=values["counted_at"], recorded_at=values["counted_at"], layers=values["layers"],
        wraps=values["wraps"], counted_by=values["counted_by"] or "", verified_by=values["verified_by"] or "",
        document=values["document"] or "", publication=values.get("publication") or "",
        revision=values.get("revision") or "",
    )  # fmt: skip


def _event(run: ImportRun, reel: Reel, values: Values) -> CableEvent:
    return CableEvent(
        reel=reel, kind=values["kind"], length_removed_m=values["length_removed_m"], happened_at=values["happened_at"],
        recorded_at=values["recorded_at"], recorded_by=run.actor.person, document=values["document"] or "",
        cable_serial=values.get("cable_serial") or "",
    )  # fmt: skip
