"""The part of an import that is about what happened to a reel between its counts: its events and installations."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from inspections.domain.intake import files, rules
from inspections.services.intake.run import ImportRun
from reels.domain.words import CountEffect, IncidentKind, ReelEventKind
from reels.models import Installation, Machine, Reel, ReelEvent

Values = dict[str, Any]
ALWAYS = datetime.max.replace(tzinfo=UTC)  # when what is still installed is removed


@dataclass(slots=True)
class Between:
    """The new rows of one reel's events and installations."""

    events: list[files.FileRow] = field(default_factory=list)
    installations: list[files.FileRow] = field(default_factory=list)

    @property
    def rows(self) -> list[files.FileRow]:
        """All of them."""
        return [*self.events, *self.installations]


def new_between(run: ImportRun, reel: Reel | None, rows: list[files.FileRow], facts: rules.ReelFacts,
                type_code: str) -> Between:  # fmt: skip
    """What the files say anew of a reel's events and installations; what cannot be is told. No query for nothing."""
    rows_by_form = {
        form: [row for row in rows if row.file == form.file] for form in (files.EVENTS, files.INSTALLATIONS)
    }
    if not any(rows_by_form.values()):
        return Between()
    events = rules.sort_out(rows_by_form[files.EVENTS], _recorded_events(reel), lambda v: (v["happened_at"], v["kind"]))
    known = _recorded_installations(reel)
    installed = rules.sort_out(rows_by_form[files.INSTALLATIONS], known, lambda v: (v["machine"], v["installed_at"]))
    new = Between(run.take_new(files.EVENTS.file, events), run.take_new(files.INSTALLATIONS.file, installed))
    for row in new.events:
        run.report(rules.reel_event_problems(row, facts, run.at))
    for row in new.installations:
        run.report(rules.installation_problems(row, facts, run.at))
    run.report(_order_problems(new.installations, known))
    run.report(_machine_problems(run, new.installations, type_code))
    return new


def rows_between(run: ImportRun, reel: Reel, new: Between) -> list[Any]:
    """The rows to be added for a reel that is stored by now."""
    machines = Machine.objects.in_bulk([row.values["machine"] for row in new.installations], field_name="serial")
    by = run.actor.person
    return [
        *(_event(run, reel, row.values) for row in new.events),
        *(Installation(
            reel=reel, machine=machines[v["machine"]], installed_at=v["installed_at"], installed_by=by,
            recorded_at=run.at, removed_at=v["removed_at"], removed_by=by if v["removed_at"] else None,
            removal_recorded_at=run.at if v["removed_at"] else None, document=v["document"] or "",
        ) for v in (row.values for row in new.installations)),
    ]  # fmt: skip


def _event(run: ImportRun, reel: Reel, values: Values) -> ReelEvent:
    kind = ReelEventKind(values["kind"])
    effect = {ReelEventKind.USED: reel.type.after_use, ReelEventKind.INCIDENT: reel.type.after_incident}.get(kind)
    return ReelEvent(
        reel=reel, kind=kind, incident=IncidentKind.OTHER if kind is ReelEventKind.INCIDENT else "",
        uses=values.get("uses"), hours=values.get("hours"), length_out_m=values.get("length_out_m"),
        ends_count=effect != CountEffect.NOTHING, happened_at=values["happened_at"],
        recorded_at=values["recorded_at"], recorded_by=run.actor.person, document=values["document"] or "",
        words=values.get("words") or "",
    )  # fmt: skip


def _recorded_events(reel: Reel | None) -> list[Values]:
    names = [column.name for column in files.EVENTS.columns[1:]]
    rows = ReelEvent.objects.filter(reel=reel, reverses=None).values(*names) if reel else ()
    return [{name: None if value == "" else value for name, value in row.items()} for row in rows]


def _recorded_installations(reel: Reel | None) -> list[Values]:
    rows = Installation.objects.filter(reel=reel).select_related("machine") if reel else ()
    return [
        {"machine": row.machine.serial, "installed_at": row.installed_at, "removed_at": row.removed_at,
         "document": row.document or None} for row in rows
    ]  # fmt: skip


def _order_problems(new: list[files.FileRow], known: list[Values]) -> Iterable[files.FileProblem]:
    """A reel is in one machine at a time."""
    stays = [(v["installed_at"], v["removed_at"] or ALWAYS, v["machine"]) for v in known]
    for row in sorted(new, key=lambda row: row.values["installed_at"]):
        begins, ends = row.values["installed_at"], row.values["removed_at"] or ALWAYS
        for start, end, machine in stays:
            if begins < end and start < ends:
                allowed = f"when the reel was in no machine; it was in {machine} from {start.isoformat()}"
                yield files.problem(row.file, row.line, "installed_at", begins.isoformat(), allowed)
        stays.append((begins, ends, row.values["machine"]))


def _machine_problems(run: ImportRun, new: list[files.FileRow], type_code: str) -> Iterable[files.FileProblem]:
    """The machine is on record, takes the reel's type, and held no other reel then."""
    serials = [row.values["machine"] for row in new]
    machines = Machine.objects.in_bulk(serials, field_name="serial")
    others = Installation.objects.filter(machine__serial__in=serials).select_related("machine", "reel")
    stays = run.stays | {
        (row.machine.serial, row.installed_at, row.removed_at or ALWAYS, row.reel.serial) for row in others
    }
    for row in new:
        values, machine = row.values, machines.get(row.values["machine"])
        begins, ends = values["installed_at"], values["removed_at"] or ALWAYS
        if machine is None or type_code not in machine.types:
            allowed = f"a machine on record that takes reels of type {type_code}"
            yield files.problem(row.file, row.line, "machine", values["machine"], allowed)
        for serial, start, end, other in stays:
            if serial == values["machine"] and other != values["reel"] and begins < end and start < ends:
                allowed = f"when the machine held no reel; it held {other} from {start.isoformat()}"
                yield files.problem(row.file, row.line, "installed_at", begins.isoformat(), allowed)
        run.stays.add((values["machine"], begins, ends, values["reel"]))
