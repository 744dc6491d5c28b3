"""A count, from the preparation to a result that can be signed."""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from inspections import access
from inspections.domain import keying
from inspections.domain.words import LIVE, Act, Decision, InspectionState, Point, Role
from inspections.errors import (
    AlreadyKeyed,
    NothingProposed,
    NotReferred,
    NotYourPoint,
    PointNotOpen,
    ReadingEnded,
    SamePerson,
    WrongState,
)  # fmt: skip
from inspections.models import Inspection, Keying, Participant, Photo, Reading
from inspections.queries.counts import open_referral
from inspections.queries.findings import require_findings, require_no_stop
from inspections.queries.keyings import as_keyed, keyed_in, open_reading
from inspections.services import evaluation, gauges, third_readings
from inspections.services.gauges import GaugeFacts
from inspections.services.photos import photo_columns
from reels.models import Person
from reels.services.history import Actor, ActRecorder


def key(*, inspection_id: int, point: Point, role: Role, fields: Mapping[str, Any], actor: Actor,
        at: datetime) -> Inspection:  # fmt: skip
    """Key what one sees at one point; as `key_points`."""
    return key_points(inspection_id=inspection_id, role=role, by_point={point: fields}, actor=actor, at=at)


@transaction.atomic
def key_points(*, inspection_id: int, role: Role, by_point: Mapping[Point, Mapping[str, Any]], actor: Actor,
               at: datetime, number: int | None = None,
               photos: Mapping[Point, bytes] | None = None) -> Inspection:  # fmt: skip
    """Key what one sees at some points, as one attempt at them.

    When both people have keyed, it is compared, and the reading settled as far as it goes: however many of the points
    the two differ at, it is read again once.
    by_point: the reading fields of each point. number: of the reading that it is keyed into; None: the one under way.
    photos: files as they came, each of a point that is keyed with it.
    Raises ImpossibleReading, PhotoNotTaken, ReadingEnded, WrongState, NotYourPoint, PointNotOpen, GaugeNotTaken,
    StopFindingOpen, FindingMissing, ThirdReadingAwaited, AlreadyKeyed, OtherRole or NotAuthorised; then nothing is
    kept.
    """
    inspection = _for_update(inspection_id, actor, at, InspectionState.OPEN)
    values = {point: keying.value_at(point, fields) for point, fields in by_point.items()}
    if others := [point for point in by_point if role not in keying.roles_at(point)]:
        raise NotYourPoint(point=evaluation.spoken(others[0]))
    require_findings(inspection)
    gauges.require_in_hand(inspection, frozenset(by_point))
    reading = _reading_under_way(inspection, number)
    third_readings.require_none_awaited(reading, by_point)
    with evaluation.on_inspection(inspection, "keyed", actor, at, points=[*by_point], role=role.value) as act:
        participant = evaluation.join(act, inspection, actor.person, role)
        keyings = keyed_in(reading)
        rows = [
            _keying_row(act, reading, participant, point, _next_attempt(keyings, point, role), value)
            for point, value in values.items()
        ]
        act.add_all(rows)
        act.add_all([_photo_row(row, taken) for row in rows if (taken := (photos or {}).get(Point(row.point)))])
        now_keyed = [*keyings, *(as_keyed(row) for row in rows)]
        evaluation.evaluate(act, inspection, reading, now_keyed, just_keyed=frozenset(by_point))
    return inspection


@dataclass(frozen=True, slots=True, kw_only=True)
class OnePersonsValues:
    """Who read, and the reading fields that they keyed."""

    person: Person
    values: Mapping[str, Any]


@transaction.atomic
def record_reading(*, inspection_id: int, technician: OnePersonsValues, verifier: OnePersonsValues, actor: Actor,
                   at: datetime, gauge: GaugeFacts | None = None) -> Inspection:  # fmt: skip
    """A whole reading at once, both people's values, from a file or a script. The named people alone can sign it.

    gauge: the wrap gauge that it was read with; None: the one that is in hand.
    Raises as `key` does, with NotAuthorised for the person named, and as `gauges.take_gauge` does.
    """
    inspection = _for_update(inspection_id, actor, at, InspectionState.OPEN)
    if actor.is_at_the_keys:  # a script was given its scope instead
        access.any_authorisation_for(actor.person, (Act.COUNT, Act.VERIFY), inspection.reel, at)
    require_findings(inspection)
    reading = open_reading(inspection)
    if reading.keyings.exists():
        raise WrongState(inspection=inspection.pk, state="being keyed point by point", allowed="not keyed yet")
    values = [
        (point, role, keying.value_at(point, one.values))
        for role, one in ((Role.TECHNICIAN, technician), (Role.VERIFIER, verifier))
        for point in Point
        if role in keying.roles_at(point)
    ]
    with evaluation.on_inspection(inspection, "reading_recorded", actor, at) as act:
        who = {
            Role.TECHNICIAN: evaluation.join(act, inspection, technician.person, Role.TECHNICIAN),
            Role.VERIFIER: evaluation.join(act, inspection, verifier.person, Role.VERIFIER),
        }
        if gauge:
            gauges.add_use(act, inspection, gauge, by=technician.person)
        else:
            gauges.require_in_hand(inspection, keying.NEED_GAUGE)
        rows = act.add_all([_keying_row(act, reading, who[role], point, 1, value) for point, role, value in values])
        evaluation.evaluate(act, inspection, reading, [as_keyed(row) for row in rows], just_keyed=None)
    return inspection


@transaction.atomic
def ask_for_help(*, inspection_id: int, remark: str, actor: Actor, at: datetime) -> Inspection:
    """Put a count before an authorised person. Raises WrongState once somebody has signed it."""
    inspection = _for_update(inspection_id, actor, at, InspectionState.OPEN, InspectionState.AWAITING_SIGN_OFF)
    access.any_authorisation_for(actor.person, (Act.COUNT, Act.VERIFY), inspection.reel, at)
    _require_unsigned(inspection)
    with evaluation.on_inspection(inspection, "help_asked", actor, at, remark=remark) as act:
        evaluation.refer(act, inspection, f"Help was asked for: {remark}", None)
    return inspection


@transaction.atomic
def release(*, inspection_id: int, decision: Decision, reason: str, actor: Actor, at: datetime) -> Inspection:
    """Release a referred count: have it read again, or accept the unusual count that is proposed.

    Raises NotReferred, NothingProposed, SamePerson (who took part can't release) or NotAuthorised.
    """
    access.in_person(actor)
    inspection = access.inspection_for_update(inspection_id, actor.person, at)
    access.authorisation_for(actor.person, Act.RELEASE, inspection.reel, at)
    referral = open_referral(inspection)
    if inspection.state != InspectionState.REFERRED or referral is None:
        raise NotReferred(inspection=inspection.pk)
    if inspection.participants.filter(person=actor.person).exists():
        raise SamePerson(name=actor.person.full_name, done="taken part in this count")
    if decision is Decision.ACCEPT_PROPOSED and referral.proposed is None:
        raise NothingProposed(inspection=inspection.pk)
    with evaluation.on_inspection(inspection, "released", actor, at, decision=decision.value, reason=reason) as act:
        act.change(referral, released_at=at, released_by=actor.person, decision=decision.value, reason=reason)
        if decision is Decision.ACCEPT_PROPOSED:
            act.change(inspection, state=InspectionState.AWAITING_SIGN_OFF, **(referral.proposed or {}))
        else:
            act.change(inspection, state=InspectionState.OPEN, rereads=0, layers=None, wraps=None, parity="")
            evaluation.begin_reading(act, inspection)
    return inspection


@transaction.atomic
def read_again(*, inspection_id: int, reason: str, actor: Actor, at: datetime) -> Inspection:
    """Take a fresh reading of a count that is worked out and not signed yet. What was read is kept."""
    inspection = _for_update(inspection_id, actor, at, InspectionState.AWAITING_SIGN_OFF)
    access.any_authorisation_for(actor.person, (Act.COUNT, Act.VERIFY), inspection.reel, at)
    _require_unsigned(inspection)
    require_no_stop(inspection.reel)
    with evaluation.on_inspection(inspection, "read_again", actor, at, reason=reason) as act:
        act.change(inspection, state=InspectionState.OPEN, layers=None, wraps=None, parity="")
        evaluation.begin_reading(act, inspection)
    return inspection


@transaction.atomic
def cancel(*, inspection_id: int, reason: str, actor: Actor, at: datetime) -> Inspection:
    """End a count without a result. All that was entered is kept."""
    access.in_person(actor)
    inspection = _for_update(inspection_id, actor, at, *LIVE)
    access.any_authorisation_for(actor.person, (Act.COUNT, Act.RELEASE), inspection.reel, at)
    with evaluation.on_inspection(inspection, "count_cancelled", actor, at, reason=reason) as act:
        evaluation.cancel(act, inspection, reason)
    return inspection


# Smaller steps -------------------------------------------------------------------------------------------------------


def _reading_under_way(inspection: Inspection, number: int | None) -> Reading:
    reading = open_reading(inspection)
    if number not in (None, reading.number):
        raise ReadingEnded(number=number, now=reading.number)
    return reading


def _for_update(inspection_id: int, actor: Actor, at: datetime, *states: InspectionState) -> Inspection:
    inspection = access.inspection_for_update(inspection_id, actor.person, at)
    if inspection.state not in states:
        allowed = " or ".join(sorted(state.value.replace("_", " ") for state in states))
        raise WrongState(inspection=inspection.pk, state=inspection.state.replace("_", " "), allowed=allowed)
    return inspection


def _require_unsigned(inspection: Inspection) -> None:
    """What somebody has signed is not read again: the other signature would stand under another count."""
    if inspection.sign_offs.exists():
        raise WrongState(inspection=inspection.pk, state="signed by one person", allowed="not signed yet")


def _next_attempt(keyings: list[keying.KeyedValue], point: Point, role: Role) -> int:
    if missing := keying.earlier_points(point) - set(keying.agreed_values(keyings)):
        earlier = " and ".join(evaluation.spoken(each) for each in Point if each in missing)
        raise PointNotOpen(point=evaluation.spoken(point).capitalize(), earlier=earlier)
    here = [keyed for keyed in keyings if keyed.point is point]
    if not here:
        return 1
    newest = max(keyed.attempt for keyed in here)
    if point in keying.differing_points(keyings):
        return newest + 1
    if any(keyed.role is role for keyed in here if keyed.attempt == newest):
        raise AlreadyKeyed(point=evaluation.spoken(point))
    return newest


def _keying_row(act: ActRecorder, reading: Reading, participant: Participant, point: Point, attempt: int,
                value: Any) -> Keying:  # fmt: skip
    # Without it, anybody could try the few values that a scale can show until one has the digest in the history.
    salt = secrets.token_hex(16)
    return Keying(
        reading=reading, participant=participant, point=point, role=participant.role, attempt=attempt, value=value,
        salt=salt, commitment=keying.commitment(point, value, salt), keyed_at=act.at, keyed_by=act.actor.person,
    )  # fmt: skip


def _photo_row(row: Keying, content: bytes) -> Photo:
    return Photo(keying=row, **photo_columns(content))
