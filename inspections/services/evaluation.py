"""How an inspection takes what was keyed: who takes part, what is told, and what comes of a reading."""

from collections.abc import Iterable, Iterator, Set
from contextlib import contextmanager
from dataclasses import asdict
from datetime import datetime
from typing import Any

from inspections import access
from inspections.domain import counting, findings, keying
from inspections.domain.counting import Working
from inspections.domain.reading import Outcome, Problem
from inspections.domain.words import Act, InspectionState, Point, Role
from inspections.errors import OtherRole
from inspections.models import Finding, Inspection, Participant, Reading, Referral, ThirdReading
from inspections.queries.counts import open_referral
from inspections.queries.keyings import keyings_of, last_reading, may_be_read, shown_of
from inspections.queries.parameters import changed_rules, parameters_json, parameters_of
from inspections.queries.third_readings import shown_third_readings as shown_third
from inspections.queries.third_readings import third_readings_of
from reels.models import Person
from reels.services.history import Actor, ActRecorder, record_act

# Who reads the same thing wrongly three times will do it a fourth time: then somebody else looks.
MOST_REREADS = 3
ACT_OF = {Role.TECHNICIAN: Act.COUNT, Role.VERIFIER: Act.VERIFY}


@contextmanager
def on_inspection(
    inspection: Inspection, act_name: str, actor: Actor, at: datetime, **facts: Any
) -> Iterator[ActRecorder]:
    """An act on an inspection, whose entry tells the values that are no longer blind after it."""
    was_open = may_be_read(inspection)
    with record_act(inspection.reel.chain, act_name, actor, at, inspection=inspection.pk, **facts) as act:
        yield act
        rows = keyings_of(inspection)
        # Only what this act opens: an entry tells each value once, in the act after which nobody can be led by it.
        before, is_open = [row for row in rows if not act.has_added(row)], may_be_read(inspection)
        third = list(third_readings_of(inspection))
        shown_before = {*shown_of(before, is_open=was_open), *shown_third(third, before, is_open=was_open)}
        shown_now = [*shown_of(rows, is_open=is_open), *shown_third(third, rows, is_open=is_open)]
        act.facts["revealed"] = [
            {
                "third_reading" if isinstance(row, ThirdReading) else "keying": row.pk,
                "value": row.value,
                "salt": row.salt,
            }
            for row in shown_now
            if row not in shown_before
        ]
        if was_open and not may_be_read(inspection):
            tell_details(act, inspection.findings.all())


def tell_details(act: ActRecorder, rows: Iterable[Finding]) -> None:
    """Have the entry tell where findings lie and what they look like, once nobody can be led by it."""
    details = [{"finding": row.pk, "details": findings.details_of(row), "salt": row.salt} for row in rows]
    if details:
        act.facts["findings"] = details


def join(act: ActRecorder, inspection: Inspection, person: Person, role: Role) -> Participant:
    """The person's part in the inspection, new or as it was. Raises OtherRole or NotAuthorised."""
    access.authorisation_for(person, ACT_OF[role], inspection.reel, act.at)
    known = Participant.objects.filter(inspection=inspection, person=person).first()
    if known is None and ThirdReading.objects.filter(reading__inspection=inspection, read_by=person).exists():
        raise OtherRole(name=person.full_name, inspection=inspection.pk, role="third reader")
    if known is None:
        return act.add(Participant(inspection=inspection, person=person, role=role, joined_at=act.at))
    if known.role != role:
        raise OtherRole(name=person.full_name, inspection=inspection.pk, role=known.role)
    return known


def evaluate(act: ActRecorder, inspection: Inspection, reading: Reading, keyings: list[keying.KeyedValue], *,
            just_keyed: Set[Point] | None) -> None:  # fmt: skip
    """Compare what both have keyed, and work the reading out as far as it goes, or say why it must be read again.

    just_keyed: the points of this attempt; None when a whole reading was recorded at once, so that a difference asks
    for a new one.
    """
    serials = keying.latest_attempts(keyings).get(Point.SERIAL, {})
    if keying.is_revealed(Point.SERIAL, serials) and not _is_identified(act, inspection, serials):
        return
    parameters = parameters_of(inspection)
    agreed = keying.agreed_values(keyings)
    differing = keying.differing_points(keyings)
    if differing:
        act.facts["differs"] = [point.value for point in differing]
    if just_keyed and not just_keyed.isdisjoint(differing):  # one that was there before is not counted again
        _count_difference(act, inspection, reading, differing)
    elif differing and just_keyed is None:
        _finish(act, inspection, reading, _working_of_a_difference(differing))
    elif len(agreed) == len(Point):
        _finish(act, inspection, reading, counting.work_out(parameters, keying.reading_of(agreed)))
    elif problems := counting.problems_so_far(parameters, keying.reading_of(agreed), keying.scales_left_out(agreed)):
        outcome = Outcome.REFERRED if any(p.outcome is Outcome.REFERRED for p in problems) else Outcome.REREAD
        _finish(act, inspection, reading, Working(outcome=outcome, problems=tuple(problems)))


def _is_identified(act: ActRecorder, inspection: Inspection, serials: dict[Role, Any]) -> bool:
    """Whether both read the serial of this reel off its data plate; else the count ends, and all of it is kept."""
    if why := keying.another_reel(inspection.reel.serial, serials):
        act.facts["ended"] = "another_reel"
        cancel(act, inspection, why)
        return False
    if inspection.identified_at is None:
        act.change(inspection, identified_at=act.at)
    return True


def _count_difference(act: ActRecorder, inspection: Inspection, reading: Reading, differing: list[Point]) -> None:
    """The two differ at a hold point that is being keyed: both key it again, unless it was read too often by now."""
    act.change(inspection, rereads=inspection.rereads + 1)
    if inspection.rereads >= MOST_REREADS:
        working = _working_of_a_difference(differing)
        act.change(reading, outcome=Outcome.REFERRED, ended_at=act.at, working=as_json(working))
        refer(act, inspection, f"Read {MOST_REREADS} times. {_details(working.problems)}", None)


def _working_of_a_difference(differing: list[Point]) -> Working:
    fields = tuple(field for point in differing for field in keying.FIELDS[point])
    names = " and ".join(spoken(point) for point in differing)
    detail = f"The two of you read {names} differently. Both read and key it again, each for themselves."
    problem = Problem(code="people_differ", outcome=Outcome.REREAD, detail=detail, fields=fields)
    return Working(outcome=Outcome.REREAD, problems=(problem,))


def _finish(act: ActRecorder, inspection: Inspection, reading: Reading, working: Working) -> None:
    act.change(reading, outcome=working.outcome, ended_at=act.at, working=as_json(working))
    if working.outcome is Outcome.ACCEPTED:
        act.change(inspection, state=InspectionState.AWAITING_SIGN_OFF, layers=working.layers,
                     wraps=working.wraps, parity=working.parity)  # fmt: skip
    elif working.outcome is Outcome.REFERRED:
        refer(act, inspection, _details(working.problems), _proposed(working))
    else:
        act.change(inspection, rereads=inspection.rereads + 1)
        if inspection.rereads >= MOST_REREADS:
            refer(act, inspection, f"Read {MOST_REREADS} times. {_details(working.problems)}", None)
        else:
            begin_reading(act, inspection)


def refer(act: ActRecorder, inspection: Inspection, why: str, proposed: dict[str, Any] | None) -> None:
    """Put the count before an authorised person. why: what is to be decided; proposed: the unusual count, if any."""
    by = act.actor.person
    act.add(Referral(inspection=inspection, referred_at=act.at, referred_by=by, why=why, proposed=proposed))
    act.change(inspection, state=InspectionState.REFERRED)


def cancel(act: ActRecorder, inspection: Inspection, reason: str) -> None:
    """End the count without a result; a referral that waits ends with it."""
    end: dict[str, Any] = {"ended_at": act.at, "ended_by": act.actor.person, "end_reason": reason}
    if referral := open_referral(inspection):
        act.change(referral, released_at=act.at, released_by=act.actor.person, decision="cancelled", reason=reason)
    act.change(inspection, state=InspectionState.CANCELLED, **end)


def begin_reading(act: ActRecorder, inspection: Inspection) -> None:
    """Begin the next reading, by the type's rules as they are now; one that was broken off ends as read again."""
    last = last_reading(inspection)
    if last.ended_at is None:
        act.change(last, outcome=Outcome.REREAD, ended_at=act.at)
    if changed_rules(inspection):
        act.change(inspection, parameters=parameters_json(inspection.reel.type))
    act.add(Reading(inspection=inspection, number=last.number + 1))


def _proposed(working: Working) -> dict[str, Any] | None:
    count = working.proposed
    return {"layers": count.layers, "wraps": count.wraps, "parity": count.parity.value} if count else None


def _details(problems: tuple[Problem, ...]) -> str:
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


def spoken(point: Point) -> str:
    """A point in words."""
    return {
        Point.SERIAL: "the serial", Point.OPEN_SIDE: "the open side", Point.SCALE_LEFT: "the left scale",
        Point.SCALE_RIGHT: "the right scale",
        Point.UNWIND: "the unwind direction", Point.HAND_COUNT: "the hand count", Point.GAUGE: "the wrap gauge",
        Point.CROSSOVER: "the crossover",
    }[point]  # fmt: skip
