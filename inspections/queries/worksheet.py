"""What the worksheet asks of the record, for one person at one step."""

from dataclasses import dataclass
from typing import Any

from inspections.domain import keying, third_reading
from inspections.domain.words import InspectionState, Point, Role
from inspections.models import Draft, Inspection, Reading, ThirdReading
from inspections.queries.gauges import needs_gauge
from inspections.queries.keyings import keyed_in, keyings_for, last_reading
from inspections.queries.third_readings import takes_part, third_readings_in
from reels.models import Person


@dataclass(frozen=True, slots=True, kw_only=True)
class WorksheetState:
    """Where an inspection stands for somebody in a role.

    step: 1 to 6, the one that is open. own_points: those that the role has to key there now; waits_for: the other
    role, when nothing is left to do but wait. is_other_done: whether the other role has keyed all that
    is theirs there. keyed: how often the role has keyed in the reading. differing: the points that both keyed and must
    key again.
    seen: the reading fields that this person may see, their own included. problems: why the last reading ended.
    has_ended: somebody else ended the reading while it was looked at; it goes on elsewhere.
    needs_gauge: before anything more is keyed, the technician keys the serial of the wrap gauge.
    third_readings: those of the points that differ, of this attempt. may_ask: the points at which one can be asked for.
    """

    reading: int
    step: int
    own_points: tuple[Point, ...]
    waits_for: Role | None
    is_other_done: bool
    keyed: int
    differing: tuple[Point, ...]
    seen: dict[str, Any]
    problems: tuple[str, ...]
    has_ended: bool
    needs_gauge: bool
    third_readings: tuple[ThirdReading, ...]
    may_ask: tuple[Point, ...]

    @property
    def awaits_third(self) -> bool:
        """Whether somebody else is to read a point before the two go on there."""
        return any(each.is_awaited for each in self.third_readings)


def worksheet_state(inspection: Inspection, role: Role, viewer: Person) -> WorksheetState:
    """Where an inspection that was open a moment ago stands for somebody. Seven queries at most.

    It never holds a value that is blind to them.
    """
    reading = last_reading(inspection)
    keyed = keyed_in(reading)
    third = _third_readings(reading, keyed)
    awaited = {each.point for each in third if each.is_awaited}
    open_points = [(point, whose) for point, whose in keying.open_now(keyed) if point not in awaited]
    is_gauge_due = needs_gauge(inspection, keyed)
    own_points = () if is_gauge_due else tuple(point for point, whose in open_points if whose is role)
    others = [Role.TECHNICIAN] if is_gauge_due else [whose for _, whose in open_points if whose is not role]
    point = next((point for point, _ in keying.open_now(keyed)), Point.CROSSOVER)
    return WorksheetState(
        reading=reading.number,
        step=next(number for number, points in enumerate(keying.STEPS, 1) if point in points),
        own_points=own_points,
        waits_for=others[0] if others and not own_points else None,
        is_other_done=bool(own_points) and not others,
        keyed=sum(each.role is role for each in keyed),
        differing=tuple(keying.differing_points(keyed)),
        seen=_seen(inspection, viewer, reading),
        problems=_why_read_again(inspection, reading),
        has_ended=reading.ended_at is not None,
        needs_gauge=is_gauge_due,
        third_readings=third,
        may_ask=_may_ask(inspection, viewer, keyed, third),
    )


def _third_readings(reading: Reading, keyed: list[keying.KeyedValue]) -> tuple[ThirdReading, ...]:
    """Those of the points that differ, of the attempt at which they do, but for what was taken back."""
    differing = keying.differing_points(keyed)
    now = {(each.point, each.attempt) for each in keyed if each.point in differing}
    attempts = {point: max(attempt for at, attempt in now if at is point) for point in differing}
    rows = third_readings_in(reading) if differing else []
    return tuple(row for row in rows if not row.taken_back_at and attempts.get(Point(row.point)) == row.attempt)


def _may_ask(inspection: Inspection, viewer: Person, keyed: list[keying.KeyedValue],
             known: tuple[ThirdReading, ...]) -> tuple[Point, ...]:  # fmt: skip
    points = set(third_reading.may_be_asked(keyed)) - {Point(each.point) for each in known}
    is_offered = points and not inspection.from_paper and takes_part(inspection, viewer)
    return tuple(point for point in Point if point in points) if is_offered else ()


def draft_of(inspection: Inspection, step: str, person: Person) -> dict[str, str]:
    """What this person has typed at a step and not keyed yet. One query."""
    drafts = Draft.objects.filter(inspection=inspection, step=step, person=person).values_list("values", flat=True)
    return next(iter(drafts), {})


def _seen(inspection: Inspection, viewer: Person, reading: Reading) -> dict[str, Any]:
    rows = [each for each in keyings_for(inspection, viewer) if each.row.reading_id == reading.pk]
    return {name: value for each in rows for name, value in (each.values or {}).items()}


def _why_read_again(inspection: Inspection, reading: Reading) -> tuple[str, ...]:
    before = inspection.readings.filter(number=reading.number - 1).first()
    if before is None or before.working is None or inspection.state != InspectionState.OPEN:
        return ()
    return tuple(problem["detail"] for problem in before.working["problems"])
