"""A count, from the preparation to a result that can be signed."""

import secrets
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from inspections import access, queries
from inspections.domain import counting, keying
from inspections.domain.counting import Working
from inspections.domain.reading import Outcome, Problem
from inspections.domain.words import LIVE, Act, Decision, InspectionState, Point, Role
from inspections.errors import (
    AlreadyKeyed,
    CountAlreadyOpen,
    NothingProposed,
    NotPrepared,
    NotReferred,
    NotYourPoint,
    OtherRole,
    PointNotOpen,
    ReelOnMachine,
    WrongState,
)  # fmt: skip
from inspections.models import Inspection, Keying, Participant, Reading, Referral
from reels import access as reel_access
from reels.errors import OutOfTime
from reels.models import Machine, Person, Reel
from reels.services.history import Actor, Transcript, told
from reels.services.reels import require_in_service

MOST_REREADS = 3
ACT_OF = {Role.TECHNICIAN: Act.COUNT, Role.VERIFIER: Act.VERIFY}


@dataclass(frozen=True, slots=True, kw_only=True)
class Preparation:
    """What must be so before the first reading, as the technician confirms it.

    The three confirmations must be true. done_at: None for a count that is done now; earlier for one from paper.
    """

    work_order: str
    publication: str
    publication_revision: str
    cable_condition: str
    winding_quality: str
    cautions_confirmed: bool
    turned_as_installed: bool
    marks_found: bool
    evenly_wound: bool
    respooled: bool = False
    wrap_gauge: str = ""
    machine: Machine | None = None
    done_at: datetime | None = None


@transaction.atomic
def open_inspection(*, serial: str, preparation: Preparation, actor: Actor, at: datetime) -> Inspection:
    """Begin a count; the actor takes part as its technician.

    Raises NotPrepared, ReelOnMachine, CountAlreadyOpen, ReelRetired, OutOfTime or NotAuthorised.
    """
    reel = reel_access.reel_for_update(serial, actor.person, at)
    access.authorisation_for(actor.person, Act.COUNT, reel, at)
    require_in_service(reel)
    _check_prepared(preparation)
    done_at = preparation.done_at or at
    _check_countable(reel, done_at, at)
    with told(reel.chain, "count_opened", actor, at) as entry:
        inspection = entry.add(_inspection(reel, preparation, actor, at))
        _join(entry, inspection, actor.person, Role.TECHNICIAN)
        entry.add(Reading(inspection=inspection, number=1))
    return inspection


@transaction.atomic
def key(*, inspection_id: int, point: Point, role: Role, given: Mapping[str, Any], actor: Actor,
        at: datetime) -> Inspection:  # fmt: skip
    """Key what one sees at one point. When both people have, it is compared, and the reading settled as far as it goes.

    given: the reading fields of that point. Raises ImpossibleReading, WrongState, NotYourPoint, PointNotOpen,
    AlreadyKeyed, OtherRole or NotAuthorised.
    """
    inspection = _for_update(inspection_id, actor, at, InspectionState.OPEN)
    value = keying.value_at(point, given)
    if role not in keying.roles_at(point):
        raise NotYourPoint(point=spoken(point))
    reading = queries.open_reading(inspection)
    with _act(inspection, "keyed", actor, at, point=point.value, role=role.value) as entry:
        participant = _join(entry, inspection, actor.person, role)
        keyings = queries.keyed_in(reading)
        attempt = _next_attempt(keyings, point, role)
        row = entry.add(_keying_row(entry, reading, participant, point, attempt, value))
        _settle(entry, inspection, reading, [*keyings, queries.keyed(row)], is_whole=False)
    return inspection


@dataclass(frozen=True, slots=True, kw_only=True)
class OnePersonsValues:
    """Who read, and the reading fields that they keyed."""

    person: Person
    values: Mapping[str, Any]


@transaction.atomic
def record_reading(*, inspection_id: int, technician: OnePersonsValues, verifier: OnePersonsValues, actor: Actor,
                   at: datetime) -> Inspection:  # fmt: skip
    """A whole reading at once, both people's values, from a file or a script. The named people alone can sign it.

    Raises as `key` does, with NotAuthorised for the person named.
    """
    inspection = _for_update(inspection_id, actor, at, InspectionState.OPEN)
    reading = queries.open_reading(inspection)
    if queries.keyed_in(reading):
        raise WrongState(inspection=inspection.pk, state="being keyed point by point", allowed="not keyed yet")
    values = [
        (point, role, keying.value_at(point, one.values))
        for role, one in ((Role.TECHNICIAN, technician), (Role.VERIFIER, verifier))
        for point in Point
        if role in keying.roles_at(point)
    ]
    with _act(inspection, "reading_recorded", actor, at) as entry:
        who = {
            Role.TECHNICIAN: _join(entry, inspection, technician.person, Role.TECHNICIAN),
            Role.VERIFIER: _join(entry, inspection, verifier.person, Role.VERIFIER),
        }
        rows = entry.add_all([_keying_row(entry, reading, who[role], point, 1, value) for point, role, value in values])
        _settle(entry, inspection, reading, [queries.keyed(row) for row in rows], is_whole=True)
    return inspection


@transaction.atomic
def ask_for_help(*, inspection_id: int, remark: str, actor: Actor, at: datetime) -> Inspection:
    """Put a count before an authorised person."""
    inspection = _for_update(inspection_id, actor, at, InspectionState.OPEN, InspectionState.AWAITING_SIGN_OFF)
    access.any_authorisation_for(actor.person, (Act.COUNT, Act.VERIFY), inspection.reel, at)
    with _act(inspection, "help_asked", actor, at, remark=remark) as entry:
        _refer(entry, inspection, f"Help was asked for: {remark}", None)
    return inspection


@transaction.atomic
def release(*, inspection_id: int, decision: Decision, reason: str, actor: Actor, at: datetime) -> Inspection:
    """Release a referred count: have it read again, or accept the unusual count that is proposed.

    Raises NotReferred, NothingProposed or NotAuthorised.
    """
    access.in_person(actor)
    inspection = access.inspection_for_update(inspection_id, actor.person, at)
    access.authorisation_for(actor.person, Act.RELEASE, inspection.reel, at)
    referral = queries.open_referral(inspection)
    if inspection.state != InspectionState.REFERRED or referral is None:
        raise NotReferred(inspection=inspection.pk)
    if decision is Decision.ACCEPT_PROPOSED and referral.proposed is None:
        raise NothingProposed(inspection=inspection.pk)
    with _act(inspection, "released", actor, at, decision=decision.value, reason=reason) as entry:
        entry.change(referral, released_at=at, released_by=actor.person, decision=decision.value, reason=reason)
        if decision is Decision.ACCEPT_PROPOSED:
            entry.change(inspection, state=InspectionState.AWAITING_SIGN_OFF, **(referral.proposed or {}))
        else:
            entry.change(inspection, state=InspectionState.OPEN, rereads=0)
            _begin_reading(entry, inspection)
    return inspection


@transaction.atomic
def read_again(*, inspection_id: int, reason: str, actor: Actor, at: datetime) -> Inspection:
    """Take a fresh reading of a count that is worked out and not signed yet. What was read is kept."""
    inspection = _for_update(inspection_id, actor, at, InspectionState.AWAITING_SIGN_OFF)
    access.any_authorisation_for(actor.person, (Act.COUNT, Act.VERIFY), inspection.reel, at)
    if inspection.sign_offs.exists():
        raise WrongState(inspection=inspection.pk, state="signed by one person", allowed="not signed yet")
    with _act(inspection, "read_again", actor, at, reason=reason) as entry:
        entry.change(inspection, state=InspectionState.OPEN, layers=None, wraps=None, parity="")
        _begin_reading(entry, inspection)
    return inspection


@transaction.atomic
def cancel(*, inspection_id: int, reason: str, actor: Actor, at: datetime) -> Inspection:
    """End a count without a result. All that was entered is kept."""
    access.in_person(actor)
    inspection = _for_update(inspection_id, actor, at, *LIVE)
    access.any_authorisation_for(actor.person, (Act.COUNT, Act.RELEASE), inspection.reel, at)
    with _act(inspection, "count_cancelled", actor, at, reason=reason) as entry:
        if referral := queries.open_referral(inspection):
            entry.change(referral, released_at=at, released_by=actor.person, decision="cancelled", reason=reason)
        entry.change(inspection, state=InspectionState.CANCELLED, ended_at=at, ended_by=actor.person, end_reason=reason)
    return inspection


# How a reading is settled -------------------------------------------------------------------------------------------


@contextmanager
def _act(inspection: Inspection, act: str, actor: Actor, at: datetime, **facts: Any) -> Iterator[Transcript]:
    """An act on an inspection, whose entry tells the values that are no longer blind after it."""
    before = {row.pk for row in queries.shown_keyings(inspection)}
    with told(inspection.reel.chain, act, actor, at, inspection=inspection.pk, **facts) as entry:
        yield entry
        entry.facts["revealed"] = [
            {"keying": row.pk, "value": row.value, "salt": row.salt}
            for row in queries.shown_keyings(inspection)
            if row.pk not in before
        ]


def _settle(entry: Transcript, inspection: Inspection, reading: Reading, keyings: list[keying.Keyed], *,
            is_whole: bool) -> None:  # fmt: skip
    """Compare what both have keyed, and work the reading out as far as it goes, or say why it must be read again.

    is_whole: everything was keyed at once, so that a difference asks for a whole new reading.
    """
    parameters = queries.parameters_of(inspection)
    agreed = keying.agreed_values(keyings)
    differing = keying.differing_points(keyings)
    if differing:
        entry.facts["differs"] = [point.value for point in differing]
    if differing and not is_whole:
        _count_difference(entry, inspection, reading, differing)
    elif differing:
        _finish(entry, inspection, reading, _working_of_a_difference(differing))
    elif len(agreed) == len(Point):
        _finish(entry, inspection, reading, counting.work_out(parameters, keying.reading_of(agreed)))
    elif problems := counting.problems_so_far(parameters, keying.reading_of(agreed), keying.scales_left_out(agreed)):
        outcome = Outcome.REFERRED if any(p.outcome is Outcome.REFERRED for p in problems) else Outcome.REREAD
        _finish(entry, inspection, reading, Working(outcome=outcome, problems=tuple(problems)))


def _count_difference(entry: Transcript, inspection: Inspection, reading: Reading, differing: list[Point]) -> None:
    """The two differ at a hold point that is being keyed: both key it again, unless it was read too often by now."""
    entry.change(inspection, rereads=inspection.rereads + 1)
    if inspection.rereads >= MOST_REREADS:
        working = _working_of_a_difference(differing)
        entry.change(reading, outcome=Outcome.REFERRED, ended_at=entry.at, working=as_json(working))
        _refer(entry, inspection, f"Read {MOST_REREADS} times. {_said(working.problems)}", None)


def _working_of_a_difference(differing: list[Point]) -> Working:
    fields = tuple(field for point in differing for field in keying.FIELDS[point])
    names = " and ".join(spoken(point) for point in differing)
    detail = f"The two of you read {names} differently. Both read and key it again, each for themselves."
    problem = Problem(code="people_differ", outcome=Outcome.REREAD, detail=detail, fields=fields)
    return Working(outcome=Outcome.REREAD, problems=(problem,))


def _finish(entry: Transcript, inspection: Inspection, reading: Reading, working: Working) -> None:
    entry.change(reading, outcome=working.outcome, ended_at=entry.at, working=as_json(working))
    if working.outcome is Outcome.ACCEPTED:
        entry.change(inspection, state=InspectionState.AWAITING_SIGN_OFF, layers=working.layers,
                     wraps=working.wraps, parity=working.parity)  # fmt: skip
    elif working.outcome is Outcome.REFERRED:
        _refer(entry, inspection, _said(working.problems), _proposed(working))
    else:
        entry.change(inspection, rereads=inspection.rereads + 1)
        if inspection.rereads >= MOST_REREADS:
            _refer(entry, inspection, f"Read {MOST_REREADS} times. {_said(working.problems)}", None)
        else:
            _begin_reading(entry, inspection)


def _refer(entry: Transcript, inspection: Inspection, why: str, proposed: dict[str, Any] | None) -> None:
    by = entry.actor.person
    entry.add(Referral(inspection=inspection, referred_at=entry.at, referred_by=by, why=why, proposed=proposed))
    entry.change(inspection, state=InspectionState.REFERRED)


def _begin_reading(entry: Transcript, inspection: Inspection) -> None:
    last = queries.last_reading(inspection)
    if last.ended_at is None:
        entry.change(last, outcome=Outcome.REREAD, ended_at=entry.at)
    entry.add(Reading(inspection=inspection, number=last.number + 1))


def _proposed(working: Working) -> dict[str, Any] | None:
    count = working.proposed
    return {"layers": count.layers, "wraps": count.wraps, "parity": count.parity.value} if count else None


def _said(problems: tuple[Problem, ...]) -> str:
    return " ".join(problem.detail for problem in problems)


def as_json(working: Working) -> dict[str, Any]:
    """A working as it is kept and served: the answer of `POST /api/v1/workings`."""
    return {
        "outcome": working.outcome.value,
        "layers": working.layers,
        "wraps": working.wraps,
        "parity": working.parity.value if working.parity else None,
        "unusual": working.unusual.value if working.unusual else None,
        "proposed": _proposed(working),
        "steps": [asdict(step) for step in working.steps],
        "problems": [{"code": p.code, "detail": p.detail, "fields": list(p.fields)} for p in working.problems],
    }


# Smaller steps ------------------------------------------------------------------------------------------------------


def spoken(point: Point) -> str:
    """A point in words."""
    return {
        Point.SCALE_LEFT: "the left scale", Point.SCALE_RIGHT: "the right scale", Point.OPEN_SIDE: "the open side",
        Point.UNWIND: "the unwind direction", Point.HAND_COUNT: "the hand count", Point.GAUGE: "the wrap gauge",
        Point.CROSSOVER: "the crossover",
    }[point]  # fmt: skip


def _for_update(inspection_id: int, actor: Actor, at: datetime, *states: InspectionState) -> Inspection:
    inspection = access.inspection_for_update(inspection_id, actor.person, at)
    if inspection.state not in states:
        allowed = " or ".join(sorted(state.value.replace("_", " ") for state in states))
        raise WrongState(inspection=inspection.pk, state=inspection.state.replace("_", " "), allowed=allowed)
    return inspection


def _join(entry: Transcript, inspection: Inspection, person: Person, role: Role) -> Participant:
    """The person's part in the inspection, new or as it was. Raises OtherRole or NotAuthorised."""
    access.authorisation_for(person, ACT_OF[role], inspection.reel, entry.at)
    known = Participant.objects.filter(inspection=inspection, person=person).first()
    if known is None:
        return entry.add(Participant(inspection=inspection, person=person, role=role, joined_at=entry.at))
    if known.role != role:
        raise OtherRole(name=person.full_name, inspection=inspection.pk, role=known.role)
    return known


def _next_attempt(keyings: list[keying.Keyed], point: Point, role: Role) -> int:
    if missing := keying.earlier_points(point) - set(keying.agreed_values(keyings)):
        earlier = " and ".join(spoken(each) for each in Point if each in missing)
        raise PointNotOpen(point=spoken(point).capitalize(), earlier=earlier)
    here = [keyed for keyed in keyings if keyed.point is point]
    if not here:
        return 1
    newest = max(keyed.attempt for keyed in here)
    if point in keying.differing_points(keyings):
        return newest + 1
    if any(keyed.role is role for keyed in here if keyed.attempt == newest):
        raise AlreadyKeyed(point=spoken(point))
    return newest


def _keying_row(entry: Transcript, reading: Reading, participant: Participant, point: Point, attempt: int,
                value: Any) -> Keying:  # fmt: skip
    salt = secrets.token_hex(16)
    return Keying(
        reading=reading, participant=participant, point=point, role=participant.role, attempt=attempt, value=value,
        salt=salt, commitment=keying.commitment(point, value, salt), keyed_at=entry.at, keyed_by=entry.actor.person,
    )  # fmt: skip


def _inspection(reel: Reel, preparation: Preparation, actor: Actor, at: datetime) -> Inspection:
    return Inspection(
        reel=reel, parameters=queries.parameters_json(reel.type), opened_by=actor.person, recorded_at=at,
        done_at=preparation.done_at or at, from_paper=preparation.done_at is not None,
        work_order=preparation.work_order, publication=preparation.publication,
        publication_revision=preparation.publication_revision, cable_condition=preparation.cable_condition,
        winding_quality=preparation.winding_quality, respooled=preparation.respooled, machine=preparation.machine,
        wrap_gauge=preparation.wrap_gauge or (preparation.machine.wrap_gauge if preparation.machine else ""),
    )  # fmt: skip


def _check_prepared(preparation: Preparation) -> None:
    wanted = {
        "confirm the cautions": preparation.cautions_confirmed,
        "turn the reel as installed": preparation.turned_as_installed,
        "find the anchor side and the forward mark": preparation.marks_found,
        "re-spool the reel, since it is wound unevenly, and then count it": preparation.evenly_wound,
        "name the work order": preparation.work_order.strip(),
        "name the publication": preparation.publication.strip(),
        "name the publication's revision": preparation.publication_revision.strip(),
        "say which wrap gauge is used": preparation.wrap_gauge.strip() or preparation.machine,
    }
    if missing := [what for what, done in wanted.items() if not done]:
        raise NotPrepared(missing="; ".join(missing))


def _check_countable(reel: Reel, done_at: datetime, at: datetime) -> None:
    if not (reel.received_on <= done_at.date() and done_at <= at):
        raise OutOfTime(field="done_at", seen=done_at.isoformat(), earliest=reel.received_on, latest=at.isoformat())
    if installed := queries.installation_at(reel, done_at):
        raise ReelOnMachine(serial=reel.serial, machine=installed.machine.serial, at=done_at.isoformat())
    live = reel.inspections.filter(state__in=LIVE).first()
    if live:
        raise CountAlreadyOpen(inspection=live.pk, serial=reel.serial, state=live.state.replace("_", " "))
