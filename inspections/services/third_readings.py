"""A third reading of a point at which two differ: asked for, taken back, read.

The point stays closed meanwhile. What was read decides nothing: both read again if they wish.
"""

import secrets
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from inspections import access
from inspections.domain import keying, third_reading
from inspections.domain.words import Act, InspectionState, Point
from inspections.errors import (
    NotAThirdPerson,
    NoThirdReading,
    NotOneOfTheTwo,
    NotYourRequest,
    ThirdReadingAwaited,
    ThirdReadingOver,
    WrongState,
)
from inspections.models import Inspection, Reading, ThirdReading
from inspections.queries.findings import require_no_stop
from inspections.queries.keyings import keyed_in, open_reading
from inspections.queries.third_readings import awaited_in, takes_part, third_reading_of
from inspections.services import evaluation
from reels.services.history import Actor

ACTS = (Act.COUNT, Act.VERIFY)


@transaction.atomic
def ask_third_reading(*, inspection_id: int, point: Point, actor: Actor, at: datetime) -> ThirdReading:
    """One of the two asks that a third person read a point at which they differ. It is closed from now on.

    Raises OnlyInPerson, WrongState, NotAuthorised, NotOneOfTheTwo, NoThirdReading or ThirdReadingAwaited.
    """
    inspection = _open_for_update(inspection_id, actor, at)
    access.any_authorisation_for(actor.person, ACTS, inspection.reel, at)
    if not takes_part(inspection, actor.person):
        raise NotOneOfTheTwo(name=actor.person.full_name, inspection=inspection.pk)
    require_no_stop(inspection.reel)
    reading = open_reading(inspection)
    require_none_awaited(reading, [point])
    keyings = keyed_in(reading)
    attempt = max((each.attempt for each in keyings if each.point is point), default=0)
    if why := _why_none(inspection, point, keyings):
        raise NoThirdReading(why=why)
    if ThirdReading.objects.filter(reading=reading, point=point, attempt=attempt, read_at__isnull=False).exists():
        raise NoThirdReading(why=f"A third person has read {evaluation.spoken(point)} already. Both of you look again.")
    with evaluation.on_inspection(inspection, "third_reading_asked", actor, at, points=[point]) as act:
        return act.add(ThirdReading(reading=reading, point=point, attempt=attempt, asked_by=actor.person, asked_at=at))


@transaction.atomic
def take_back_third_reading(*, inspection_id: int, third_id: int, actor: Actor, at: datetime) -> ThirdReading:
    """Whoever asked no longer asks; the point is open again.

    Raises OnlyInPerson, WrongState, NotYourRequest or ThirdReadingOver.
    """
    inspection = _open_for_update(inspection_id, actor, at)
    row = _awaited(inspection, third_id)
    if row.asked_by != actor.person:
        raise NotYourRequest(name=row.asked_by.full_name)
    with evaluation.on_inspection(inspection, "third_reading_taken_back", actor, at, points=[row.point]) as act:
        return act.change(row, taken_back_at=at)


@transaction.atomic
def key_third_reading(*, inspection_id: int, third_id: int, fields: Mapping[str, Any], actor: Actor,
                      at: datetime) -> ThirdReading:  # fmt: skip
    """A third person, authorised to count or to verify this reel, keys what they read; whose value it is, is told.

    fields: the reading field of the point (`third_reading.FIELD`); a scale may be None.
    Raises OnlyInPerson, WrongState, ImpossibleReading, NotAThirdPerson, ThirdReadingOver or NotAuthorised.
    """
    inspection = _open_for_update(inspection_id, actor, at)
    access.any_authorisation_for(actor.person, ACTS, inspection.reel, at)
    if takes_part(inspection, actor.person):
        raise NotAThirdPerson(name=actor.person.full_name, inspection=inspection.pk)
    require_no_stop(inspection.reel)
    row = _awaited(inspection, third_id)
    point = Point(row.point)
    number, salt = third_reading.number_at(point, fields), secrets.token_hex(16)
    agrees_with = third_reading.whose(point, number, keying.latest_attempts(keyed_in(row.reading))[point])
    with evaluation.on_inspection(
        inspection, "third_reading", actor, at, points=[point], agrees_with=agrees_with.value
    ) as act:
        return act.change(
            row, read_by=actor.person, read_at=at, value=number, salt=salt, agrees_with=agrees_with.value,
            commitment=keying.commitment(point, number, salt),
        )  # fmt: skip


def require_none_awaited(reading: Reading, points: Iterable[Point]) -> None:
    """Before these points are keyed. Raises ThirdReadingAwaited for the first that is closed."""
    awaited = awaited_in(reading)
    for point in points:
        if point in awaited:
            raise ThirdReadingAwaited(point=evaluation.spoken(point), name=awaited[point].asked_by.full_name)


def _open_for_update(inspection_id: int, actor: Actor, at: datetime) -> Inspection:
    access.in_person(actor)
    inspection = access.inspection_for_update(inspection_id, actor.person, at)
    if inspection.state != InspectionState.OPEN:
        raise WrongState(inspection=inspection.pk, state=inspection.state.replace("_", " "), allowed="open")
    return inspection


def _why_none(inspection: Inspection, point: Point, keyings: list[keying.KeyedValue]) -> str:
    """Why no third reading of the point can be asked for, or nothing."""
    if inspection.from_paper:
        return "This count is from paper; nobody can read the reel as it was then."
    if point not in third_reading.ASKED_AT:
        few = f"At {evaluation.spoken(point)} only a few answers are possible, so a third reading would tell the value"
        return f"{few} or nothing. Both look again, or ask for help."
    if point not in third_reading.may_be_asked(keyings):
        return f"The two of you do not differ at {evaluation.spoken(point)}: there is nothing to compare."
    return ""


def _awaited(inspection: Inspection, third_id: int) -> ThirdReading:
    row = third_reading_of(inspection, third_id)
    if row.is_awaited and row.reading.ended_at is None:
        return row
    why = "it was made" if row.read_at else "the request was taken back" if row.taken_back_at else "the reading ended"
    raise ThirdReadingOver(point=evaluation.spoken(Point(row.point)), why=why)
