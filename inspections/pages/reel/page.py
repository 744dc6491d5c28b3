"""What the page of one reel shows. As many queries for a long history as for a short one."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from django.urls import reverse

from inspections import access as access_of_acts
from inspections.domain.validity import ValidityAt
from inspections.domain.words import LIVE, Act, InspectionState, ReelStatus
from inspections.models import ImportedCount, Inspection, MachineCheck, ReadBack, SetupValues
from inspections.pages import words
from inspections.pages.finding_rows import finding_rows
from inspections.pages.reel.cable_length import cable_on, life_row
from inspections.pages.reel.moves import shown_move
from inspections.pages.reel.next_act import Step, Way, acts_in_count, acts_on_reel, next_of, step_of
from inspections.queries.counts import events_of, inspections_as_seen_by
from inspections.queries.currency import currency_of
from inspections.queries.findings import findings_of
from inspections.queries.life import life_on
from inspections.queries.safety_notices import notices_of
from inspections.queries.status import with_status
from inspections.queries.validity import validities_of
from reels import access
from reels.models import Installation, Move, Person, Reel
from reels.pages.formats import NOTHING, Badge, count_words, length, uncertain_length
from reels.queries import cable_serial_of, hold_on, length_counted, machine_hold_about

LATEST = 5  # counts that are shown without asking


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """A step of putting setup values into a machine: done, by whom and when, or still to do."""

    what: str
    by: str = ""
    at: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckRow:
    """Something that was read from or tried on the machine, and how it came out."""

    what: str
    badge: Badge
    said: str
    by: str
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Values:
    row: SetupValues
    badge: Badge
    count: str
    length: str
    stages: list[Stage]
    checks: list[CheckRow]


@dataclass(frozen=True, slots=True, kw_only=True)
class CountRow:
    """An inspection, or a count from older records, which has no inspection of its own."""

    done_at: datetime
    recorded_at: datetime
    badge: Badge
    count: str
    length: str
    inspection: int | None = None
    source: str = ""


def reel_page(serial: str, person: Person, at: datetime) -> dict[str, Any]:
    """Everything about a reel. Raises NotFound when the person may not see it."""
    reel: Any = access.one(with_status(access.reels_to_look_at(person, at)), "reel", serial=serial)
    installations = reel.installations.select_related("machine", "installed_by", "removed_by").order_by("-installed_at")
    installed = list(installations)
    values = [shown_values(row, installed, reel, person.length_unit) for row in _setup_values(reel)]
    held = access_of_acts.acts_held(person, reel, at)
    inspected = inspections_as_seen_by(person, reel)
    counts = _counts(reel, inspected, person.length_unit, at)
    findings = list(findings_of(reel))
    reel.is_stopped = any(each.is_open_stop for each in findings)
    hold = hold_on(reel)
    reel.is_held = hold is not None
    moves = [shown_move(row, at) for row in _moves(reel)]
    move = next((each for each in moves if each["row"].ended_at is None), None)
    may_receive = move and Act.MAINTAIN in access_of_acts.acts_held(
        person, Reel(type=reel.type, site=move["row"].to_site), at
    )
    in_force = next((each for each in values if each.row.withdrawn_at is None), None)
    seen = finding_rows(findings, person, held)
    live = next((each for each in inspected if each.state in LIVE), None)
    of_count = acts_in_count(live, person, held, is_stopped=reel.is_stopped)
    ways = [*of_count, *acts_on_reel(reel, held)]
    following = _next(reel, in_force, installed, person, held)
    first = _receipt(reel) if may_receive else next_of(reel, ways, of_count, seen, following)
    return {
        "reel": reel,
        "badge": words.STATUS[ReelStatus(reel.status)],
        "hold": hold,
        "move": move,
        "moves": moves,
        "machine_hold": machine_hold_about(reel, reel.machine_serial),
        "currency": currency_of(reel, reel.counted_at, at) if reel.counted_at else None,
        "events": _events(reel, person.length_unit),
        "cable_serial": cable_serial_of(reel),
        "notices": list(notices_of(reel)),
        "cable": cable_on(reel, at, person.length_unit),
        "lives": [life_row(each, at) for each in life_on(reel, at)],
        "values": in_force,
        "withdrawn": [each for each in values if each.row.withdrawn_at],
        "installations": installed,
        "findings": [each for each in seen if each.row.closed_at is None],
        "closed_findings": [each for each in seen if each.row.closed_at],
        "cable_events": _cable_events(reel, person.length_unit),
        "counts": counts,
        "latest": counts[:LATEST],
        "next": first,
        "acts": [each for each in ways if first is None or each.address != first.address],
        "may_maintain": Act.MAINTAIN in held,
        "may_end_holds": bool(held.intersection(access_of_acts.MAY_END_HOLDS)),
    }


def _receipt(reel: Reel) -> Way:
    return Way(words="Receive the reel", address=reverse("reel-receipt", args=[reel.serial]))


def _next(
    reel: Reel, values: Values | None, installed: list[Installation], person: Person, held: frozenset[Act]
) -> Step | None:
    """What comes next for the values in force, if it is this person's. No query."""
    if values is None:
        return None
    row = values.row
    is_installed = any(each.machine_id == row.machine_id and each.removed_at is None for each in installed)
    step = step_of(row, is_installed=is_installed)
    return step if step and step.is_for(person, held, row) else None


# Setup values -------------------------------------------------------------------------------------------------------


def _setup_values(reel: Reel) -> Iterable[SetupValues]:
    """Newest first. Three queries."""
    people = ("issued_by", "gauge_returned_by", "set_by", "confirmed_by", "withdrawn_by")
    rows = reel.setup_values.select_related("machine", *people)
    return rows.prefetch_related("read_backs__keyed_by", "machine_checks__done_by")


def shown_values(row: SetupValues, installed: list[Installation], reel: Reel, unit: str) -> Values:
    """Setup values of a reel with their stages and checks, lengths in a unit.

    No query for what `with_read_backs` gave.
    """
    badge = words.CONFIRMED if row.confirmed_at else words.IN_FORCE
    return Values(
        row=row,
        badge=words.WITHDRAWN if row.withdrawn_at else badge,
        count=count_words(row.layers, row.wraps),
        length=uncertain_length(length_counted(row.layers, row.wraps, reel.type), unit),
        stages=_stages(row, installed),
        checks=[*map(_read_back, row.read_backs.all()), *map(_machine_check, row.machine_checks.all())],
    )


def _stages(row: SetupValues, installed: list[Installation]) -> list[Stage]:
    here = next((each for each in installed if each.machine_id == row.machine_id and each.removed_at is None), None)
    fitted = (here.installed_by, here.installed_at) if here else (None, None)
    done = (
        ("Values issued", row.issued_by, row.issued_at),
        (f"Reel installed in {row.machine.serial}", *fitted),
        ("Wrap gauge back in its place", row.gauge_returned_by, row.gauge_returned_at),
        ("Numbers set and read back", row.set_by, row.set_at),
        ("Confirmed by a second person", row.confirmed_by, row.confirmed_at),
    )
    return [Stage(what=what, by=by.full_name, at=at) if by else Stage(what=what) for what, by, at in done]


def _read_back(row: ReadBack) -> CheckRow:
    return CheckRow(
        what=f"Read-back by the {row.role}",
        badge=words.MATCHES if row.matches else words.DIFFERS,
        said=count_words(row.layers, row.wraps),
        by=row.keyed_by.full_name,
        at=row.keyed_at,
    )


def _machine_check(row: MachineCheck) -> CheckRow:
    return CheckRow(
        what=row.get_kind_display().capitalize(),
        badge=words.PASSED if row.passed else words.FAILED,
        said="; ".join(filter(None, (_shown(row), row.remark))) or NOTHING,
        by=row.done_by.full_name,
        at=row.done_at,
    )


def _shown(row: MachineCheck) -> str:
    """What the machine showed of its cable, if it was read."""
    out = f" with {row.length_out_m.normalize():f} m out" if row.length_out_m else ""
    expected = f"; expected {row.expected_length_m:.1f} m" if row.expected_length_m is not None else ""
    if row.length_m is not None:
        return f"{row.length_m.normalize():f} m on the drum{out}{expected}"
    return f"{count_words(row.layers, row.wraps)}{out}{expected}" if row.layers is not None else ""


# Cable and counts ---------------------------------------------------------------------------------------------------


def _cable_events(reel: Reel, unit: str) -> list[dict[str, Any]]:
    rows = list(reel.cable_events.select_related("recorded_by").order_by("-happened_at", "-id"))
    taken_back = {row.reverses_id for row in rows}
    return [
        {
            "row": row,
            "removed": length(row.length_removed_m, unit),
            "fitted": length(row.length_fitted_m, unit),
            "taken_back": row.pk in taken_back,
        }
        for row in rows
    ]


def _events(reel: Reel, unit: str) -> list[dict[str, Any]]:
    """Newest first. One query."""
    rows = events_of(reel).reverse()
    return [
        {"row": row, "out": length(row.length_out_m, unit), "taken_back": hasattr(row, "reversed_by"),
         "effect": NOTHING if row.reverses_id else "ended" if row.ends_count else "holds"}
        for row in rows
    ]  # fmt: skip


def _moves(reel: Reel) -> QuerySet[Move]:
    """Newest first. One query."""
    ends = ("from_site", "to_site", "received_site", "sent_by", "ended_by")
    return reel.moves.select_related(*ends).order_by("-sent_at", "-id")


def _counts(reel: Reel, inspected: list[Inspection], unit: str, at: datetime) -> list[CountRow]:
    """Newest first. Seven queries."""

    def measured(row: Inspection | ImportedCount) -> str:
        return uncertain_length(length_counted(row.layers, row.wraps, reel.type), unit)

    valid = validities_of(inspected, at)
    rows = [*(_inspected(row, measured(row), valid.get(row.pk)) for row in inspected),
            *(_imported(row, measured(row)) for row in reel.imported_counts.all())]  # fmt: skip
    return sorted(rows, key=lambda row: row.done_at, reverse=True)


def _inspected(row: Inspection, length: str, valid: ValidityAt | None) -> CountRow:
    return CountRow(
        done_at=row.done_at,
        recorded_at=row.recorded_at,
        badge=words.VALIDITY[valid.word] if valid else words.STATE[InspectionState(row.state)],
        count=count_words(row.layers, row.wraps),
        length=length,
        inspection=row.pk,
        source="from paper" if row.from_paper else "",
    )


def _imported(row: ImportedCount, length: str) -> CountRow:
    by = " and ".join(filter(None, (row.counted_by, row.verified_by)))
    return CountRow(
        done_at=row.counted_at,
        recorded_at=row.recorded_at,
        badge=Badge(word="From older records", icon="plate", tone="quiet"),
        count=count_words(row.layers, row.wraps),
        length=length,
        source=", ".join(filter(None, (by, row.document))),
    )
