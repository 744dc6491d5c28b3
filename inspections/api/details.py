"""One reel, inspection or pair of setup values, with all that hangs on it, as its reader may see it."""

from collections.abc import Iterable, Iterator
from dataclasses import asdict
from datetime import datetime
from itertools import groupby
from typing import Any

from inspections import access
from inspections.domain import keying
from inspections.domain.third_reading import FIELD
from inspections.domain.words import LIVE, InspectionState, Meaning, Point, Role
from inspections.models import Inspection, Reading, ReelStatusRow, SetupValues, ThirdReading
from inspections.queries.counts import live_inspection, sign_offs_of, void_of
from inspections.queries.currency import currency_in, currency_of
from inspections.queries.findings import findings_in_count, is_stopped, parts_without_finding, seen_by
from inspections.queries.gauges import is_asked_for, needs_gauge, use_out_of
from inspections.queries.keyings import SeenKeying, as_keyed, keyings_for, may_be_read
from inspections.queries.life import life_on
from inspections.queries.setup_values import values_in_force, with_read_backs
from inspections.queries.status import with_status
from inspections.queries.third_readings import shown_third_readings, third_readings_of
from inspections.queries.validity import validity_of, validity_of_setup
from reels import access as reel_access
from reels import queries as reel_queries
from reels.models import Person, Reel


def reel_for(serial: str, viewer: Person, at: datetime) -> Reel:
    """The reel with its status, its installation, hold, values in force, live count and length by the log."""
    reels = with_status(reel_access.reels_to_look_at(viewer, at))
    reel = reel_access.one(reels, "reel", serial=serial)
    _give(
        reel,
        installation=reel_queries.installation_of(reel),
        hold=reel_queries.hold_on(reel),
        in_force=values_in_force(reel),
        live=live_inspection(reel),
        currency=currency_of(reel, counted_at, at) if (counted_at := getattr(reel, "counted_at", None)) else None,
        cable_serial_now=reel_queries.cable_serial_of(reel),
        length_by_log_m=reel_queries.cable_length_at(reel, at),
        life=[{**asdict(each), "reached": each.reached(at)} for each in life_on(reel, at)],
    )
    return reel


def as_reel(row: ReelStatusRow, at: datetime) -> Reel:
    """The reel of a status row, with what that row says of it, compared with the clock."""
    machine = row.machine.serial if row.machine else None
    _give(row.reel, status=row.status, machine_serial=machine, counted_at=row.signed_count_at, layers=row.layers,
          wraps=row.wraps, currency=currency_in(row, row.reel.site, row.reel.type.count_days, at))  # fmt: skip
    return row.reel


def setup_values_for(setup_id: int, viewer: Person, at: datetime) -> SetupValues:
    """The setup values with every read-back and check."""
    rows = with_read_backs(access.readable_setup_values(viewer, at, "reel"))
    values = reel_access.one(rows, "setup values", pk=setup_id)
    _give(values, validity=validity_of_setup(values, at))
    return values


def with_details(inspection: Inspection, viewer: Person, at: datetime) -> Inspection:
    """The inspection, which the viewer may see, with its participants, readings, signatures and what is open next."""
    participants = list(inspection.participants.select_related("person").order_by("id"))
    people = {each.pk: each.person for each in participants}
    readings = list(inspection.readings.all())
    keyings = keyings_for(inspection, viewer)
    third = list(third_readings_of(inspection))
    rows = [seen.row for seen in keyings]
    shown_third = shown_third_readings(third, rows, is_open=may_be_read(inspection))
    signatures = list(sign_offs_of(inspection).order_by("signed_at", "id"))
    _give(
        inspection,
        shown_participants=participants,
        shown_readings=[
            {**_reading(each, keyings, people), "third_readings": [
                _third(row, row in shown_third) for row in third if row.reading_id == each.pk
            ]} for each in readings
        ],
        shown_referrals=list(inspection.referrals.select_related("referred_by", "released_by")),
        shown_sign_offs=signatures,
        shown_void=void_of(inspection),
        shown_validity=validity_of(inspection, at),
        shown_findings=seen_by(findings_in_count(inspection), viewer, access.releasing(viewer, at)),
        shown_next=list(_next(inspection, readings[-1], keyings, third, {each.meaning for each in signatures})),
    )  # fmt: skip
    return inspection


def _give(row: Any, **more: Any) -> None:
    """Give a row more attributes, as a query's annotations do."""
    for name, value in more.items():
        setattr(row, name, value)


def _reading(reading: Reading, keyings: list[SeenKeying], people: dict[int, Person]) -> dict[str, Any]:
    of_it = [seen for seen in keyings if seen.row.reading_id == reading.pk]
    agreed = keying.agreed_values([as_keyed(seen.row) for seen in of_it])
    return {
        "number": reading.number,
        "outcome": reading.outcome,
        "ended_at": reading.ended_at,
        "working": reading.working,
        "points": list(_points(of_it, agreed, people)),
    }


def _points(keyings: list[SeenKeying], agreed: Iterable[Point],
            people: dict[int, Person]) -> Iterator[dict[str, Any]]:  # fmt: skip
    order = list(Point)
    by_point = sorted(keyings, key=lambda seen: order.index(Point(seen.row.point)))
    for point, seen in groupby(by_point, key=lambda seen: Point(seen.row.point)):
        yield {"point": point, "agreed": point in agreed, "keyed": [_keyed(each, people) for each in seen]}


def _keyed(seen: SeenKeying, people: dict[int, Person]) -> dict[str, Any]:
    row = seen.row
    return {
        "role": row.role,
        "attempt": row.attempt,
        "person": people[row.participant_id],
        "keyed_at": row.keyed_at,
        "values": seen.values,
        "photo": None if seen.values is None else row.photo_digest,
    }


def _third(row: ThirdReading, is_shown: bool) -> dict[str, Any]:
    columns = ("point", "attempt", "asked_by", "asked_at", "taken_back_at", "read_by", "read_at")
    return {
        **{name: getattr(row, name) for name in columns},
        "id": row.pk,
        "agrees_with": row.agrees_with or None,
        "values": {FIELD[Point(row.point)]: row.value} if is_shown else None,
    }


def _next(inspection: Inspection, last: Reading, keyings: list[SeenKeying], third: list[ThirdReading],
          signed: set[str]) -> Iterator[dict[str, Any]]:  # fmt: skip
    if inspection.state in LIVE and is_stopped(inspection.reel):
        yield _step("close_finding")
    elif inspection.state == InspectionState.OPEN:
        yield from _next_of_open(inspection, last, keyings, third)
    elif inspection.state == InspectionState.REFERRED:
        yield _step("release")
    elif inspection.state == InspectionState.AWAITING_SIGN_OFF:
        yield _step("sign", meaning=Meaning.VERIFIED if Meaning.COUNTED in signed else Meaning.COUNTED)
    if is_asked_for(inspection) and use_out_of(inspection):
        yield _step("return_gauge")


def _next_of_open(inspection: Inspection, last: Reading, keyings: list[SeenKeying],
                  third: list[ThirdReading]) -> Iterator[dict[str, Any]]:  # fmt: skip
    now = [as_keyed(seen.row) for seen in keyings if seen.row.reading_id == last.pk or seen.row.point == Point.SERIAL]
    if parts_without_finding(inspection):
        yield _step("record_finding")
    elif needs_gauge(inspection, now):
        yield _step("take_gauge", role=Role.TECHNICIAN)
    else:
        awaited = [Point(row.point) for row in third if row.reading_id == last.pk and row.is_awaited]
        yield from (_step("third_reading", point=point) for point in awaited)
        yield from (
            _step("key", point=point, role=role) for point, role in keying.open_now(now) if point not in awaited
        )


def _step(act: str, **more: Any) -> dict[str, Any]:
    return {"act": act, "point": None, "role": None, "meaning": None, **more}
