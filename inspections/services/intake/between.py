"""The part of an import about what happened to a reel between its counts: its events, installations and moves."""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any

from inspections.domain.intake import files, rules
from inspections.services.intake.run import ImportRun
from reels.domain.words import CountEffect, IncidentKind, ReelEventKind
from reels.models import Installation, Machine, Move, Reel, ReelEvent, Site

Values = dict[str, Any]
ALWAYS = datetime.max.replace(tzinfo=UTC)  # when what is still installed is removed


@dataclass(slots=True)
class Between:
    """The new rows of one reel's events, installations and moves."""

    events: list[files.FileRow] = field(default_factory=list)
    installations: list[files.FileRow] = field(default_factory=list)
    moves: list[files.FileRow] = field(default_factory=list)

    @property
    def rows(self) -> list[files.FileRow]:
        """All of them."""
        return [*self.events, *self.installations, *self.moves]


def new_between(run: ImportRun, reel: Reel | None, rows: list[files.FileRow], facts: rules.ReelFacts,
                type_code: str, site: str | None) -> Between:  # fmt: skip
    """What the files say anew of a reel between its counts; what cannot be is told. No query for nothing.

    site: the code of where the reel is; None: that is told to be wrong already.
    """
    forms = (files.EVENTS, files.INSTALLATIONS, files.MOVES)
    rows_by_form = {form: [row for row in rows if row.file == form.file] for form in forms}
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
    if rows_by_form[files.MOVES]:
        new.moves = _new_moves(run, reel, rows_by_form[files.MOVES], facts, site)
        run.report(_stay_problems(new.moves, [*known, *(row.values for row in new.installations)]))
    return new


def _new_moves(run: ImportRun, reel: Reel | None, rows: list[files.FileRow], facts: rules.ReelFacts,
               site: str | None) -> list[files.FileRow]:  # fmt: skip
    """The sites are on record or named by the files; one move follows another, and the last one led to where it is."""
    sites = {name: each for each in Site.objects.all() for name in (each.name, each.code)} | run.sites
    named = []
    for row in rows:
        columns = [name for name in ("from_site", "to_site") if row.values[name] not in sites]
        allowed = "a site on record, by its code or name"
        if not run.report(files.problem(row.file, row.line, name, row.values[name], allowed) for name in columns):
            codes = {name: sites[row.values[name]].code for name in ("from_site", "to_site")}
            named.append(replace(row, values={**row.values, **codes}))
    known = _recorded_moves(reel)
    new = run.take_new(files.MOVES.file, rules.sort_out(named, known, lambda v: v["sent_at"]))
    for row in new:
        run.report(rules.move_problems(row, facts, run.at))
    run.report(_way_problems(new, known, site))
    return new


def _recorded_moves(reel: Reel | None) -> list[Values]:
    moves = Move.objects.filter(reel=reel).select_related("from_site", "received_site") if reel else ()
    return [
        {"from_site": row.from_site.code, "to_site": (row.received_site or row.from_site).code,
         "sent_at": row.sent_at, "received_at": row.ended_at, "found_sound": row.found_sound,
         "document": row.document or None, "words": row.end_words or None} for row in moves
    ]  # fmt: skip


def _way_problems(new: list[files.FileRow], known: list[Values], site: str | None) -> Iterable[files.FileProblem]:
    """From where the move before led, after that had ended; and the last one to where the reel is."""
    ways: list[tuple[Values, files.FileRow | None]] = [*((v, None) for v in known), *((row.values, row) for row in new)]
    ways.sort(key=lambda way: way[0]["sent_at"])
    for (before, earlier), (after, row) in pairwise(ways):
        origin = row or earlier
        if origin is None:
            continue
        if after["sent_at"] < (before["received_at"] or ALWAYS):
            allowed = "once the move before had ended"
            yield files.problem(origin.file, origin.line, "sent_at", origin.values["sent_at"].isoformat(), allowed)
        if after["from_site"] != before["to_site"]:
            allowed = f"{before['to_site']}, where it was when it was sent at {after['sent_at'].isoformat()}"
            yield files.problem(origin.file, origin.line, "from_site", after["from_site"], allowed)
    last, row = ways[-1] if ways else ({}, None)
    if row and site and last["to_site"] != site:
        yield files.problem(row.file, row.line, "to_site", last["to_site"], f"{site}, where the reel is")


def _stay_problems(new: list[files.FileRow], installed: list[Values]) -> Iterable[files.FileProblem]:
    """A reel on its way is in no machine."""
    for row in new:
        for stay in installed:
            begins, ends = stay["installed_at"], stay["removed_at"] or ALWAYS
            if begins < row.values["received_at"] and row.values["sent_at"] < ends:
                allowed = f"when the reel was in no machine; it was in {stay['machine']} from {begins.isoformat()}"
                yield files.problem(row.file, row.line, "sent_at", row.values["sent_at"].isoformat(), allowed)


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
        *_moves(run, reel, new.moves),
    ]  # fmt: skip


def _moves(run: ImportRun, reel: Reel, new: list[files.FileRow]) -> Iterable[Move]:
    """As they were sent and received; how late one would have been goes by the usual days of today."""
    sites, by = {each.code: each for each in Site.objects.all()}, run.actor.person
    for v in (row.values for row in new):
        to_site = sites[v["to_site"]]
        late_at = v["sent_at"] + timedelta(days=to_site.transit_days)
        yield Move(
            reel=reel, from_site=sites[v["from_site"]], to_site=to_site, sent_at=v["sent_at"], sent_by=by,
            recorded_at=run.at, document=v["document"] or "", late_at=late_at,
            ended_at=v["received_at"], ended_by=by, end_recorded_at=run.at, received_site=to_site,
            found_sound=v["found_sound"], end_words=v.get("words") or "",
        )  # fmt: skip


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
