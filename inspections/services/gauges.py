"""The wrap gauge of a count: taken off its machine, checked, and back in its place.

A use belongs to the count's reel and is told in its history; that a gauge is used by one count at a time is the lock on
the gauge, and a constraint.
"""

from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from inspections import access
from inspections.domain import keying
from inspections.domain.act_fields import GaugeReturnFields, GaugeTakingFields
from inspections.domain.words import Act, InspectionState, Point, Role
from inspections.errors import (
    EndMarksDiffer,
    GaugeIsOut,
    GaugeNotOut,
    GaugeNotTaken,
    GaugeNotUsable,
    OtherGauge,
    WrongState,
)
from inspections.models import GaugeUse, Inspection
from inspections.queries import gauges
from inspections.queries.findings import require_no_stop
from inspections.services import evaluation
from reels import access as reel_access
from reels import queries as reel_queries
from reels.models import Machine, Person, WrapGauge
from reels.services.history import Actor, ActRecorder


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeFacts(GaugeTakingFields):
    """What a whole reading says of its gauge. is_back: in its place in its machine again."""

    is_back: bool = False


@transaction.atomic
def take_gauge(*, inspection_id: int, facts: GaugeTakingFields, actor: Actor, at: datetime) -> Inspection:
    """The technician takes a wrap gauge for a count, and its end marks match the mounting of its machine.

    For a count from paper it says which gauge was used, and none goes out.
    Raises WrongState, GaugeNotUsable, EndMarksDiffer, GaugeIsOut, StopFindingOpen, OtherRole or
    NotAuthorised.
    """
    inspection = access.inspection_for_update(inspection_id, actor.person, at)
    if inspection.state != InspectionState.OPEN:
        raise WrongState(inspection=inspection.pk, state=inspection.state.replace("_", " "), allowed="open")
    require_no_stop(inspection.reel)
    with evaluation.on_inspection(inspection, "gauge_taken", actor, at, wrap_gauge=facts.wrap_gauge) as act:
        evaluation.join(act, inspection, actor.person, Role.TECHNICIAN)
        add_use(act, inspection, facts, by=actor.person)
    return inspection


@transaction.atomic
def return_gauge(*, inspection_id: int, facts: GaugeReturnFields, actor: Actor, at: datetime) -> GaugeUse:
    """Somebody puts the gauge back in its place in its machine, and keys its serial there.

    Raises OnlyInPerson, GaugeNotOut, OtherGauge or NotAuthorised.
    """
    access.in_person(actor)
    inspection = access.inspection_for_update(inspection_id, actor.person, at)
    acts = (Act.COUNT, Act.VERIFY, Act.SET, Act.CONFIRM, Act.MAINTAIN)
    access.any_authorisation_for(actor.person, acts, inspection.reel, at)
    use = gauges.use_out_of(inspection)
    if use is None:
        raise GaugeNotOut(inspection=inspection.pk)
    if not _is_serial_of(use.gauge, facts.wrap_gauge):
        raise OtherGauge(seen=facts.wrap_gauge, serial=use.gauge.serial, inspection=inspection.pk,
                         machine=use.gauge.machine.serial)  # fmt: skip
    with evaluation.on_inspection(inspection, "gauge_back", actor, at, machine=use.gauge.machine.serial) as act:
        return act.change(use, returned_at=at, returned_by=actor.person)


def add_use(act: ActRecorder, inspection: Inspection, facts: GaugeTakingFields, *, by: Person) -> None:
    """Within another act: a gauge is taken for the count, by its technician; what is wrong with it is refused."""
    gauge = _gauge_for_update(facts.wrap_gauge, act.actor.person, act.at)
    if not facts.end_marks_match:
        raise EndMarksDiffer(serial=gauge.serial, machine=gauge.machine.serial)
    is_back = inspection.from_paper or (isinstance(facts, GaugeFacts) and facts.is_back)
    in_hand = gauges.use_out_of(inspection)
    if in_hand and in_hand.gauge_id == gauge.pk and is_back:
        act.change(in_hand, returned_at=act.at, returned_by=act.actor.person)
        return
    if in_hand or (not inspection.from_paper and (in_hand := gauges.use_out_of_gauge(gauge))):
        raise is_out(in_hand)
    due = _require_usable(gauge, inspection, act.at)
    taken_at = inspection.done_at if inspection.from_paper else act.at
    back = {"returned_at": taken_at, "returned_by": act.actor.person} if is_back else {}
    act.add(GaugeUse(gauge=gauge, inspection=inspection, machine=gauge.machine, calibration_due=due,
                     taken_at=taken_at, taken_by=by, **back))  # fmt: skip
    act.change(inspection, wrap_gauge=gauge.serial, machine=gauge.machine)


def require_in_hand(inspection: Inspection, points: frozenset[Point]) -> None:
    """Before what is read with the gauge at hand is keyed. Raises GaugeNotTaken."""
    if not points.isdisjoint(keying.NEED_GAUGE) and not gauges.has_gauge(inspection):
        raise GaugeNotTaken(inspection=inspection.pk)


def require_home(machine: Machine) -> None:
    """Every gauge of the machine is in its place. Locks them, so that none is taken meanwhile. Raises GaugeIsOut."""
    list(WrapGauge.objects.select_for_update().filter(machine=machine).order_by("pk"))
    if use := gauges.use_out_of_machine(machine):
        raise is_out(use)


def is_out(use: GaugeUse) -> GaugeIsOut:
    """That a gauge is out, since when, with whom and for which count."""
    return GaugeIsOut(
        serial=use.gauge.serial, machine=use.gauge.machine.serial, since=f"{use.taken_at:%Y-%m-%d %H:%M} UTC",
        name=use.taken_by.full_name, inspection=use.inspection_id,
    )  # fmt: skip


def _gauge_for_update(serial: str, person: Person, at: datetime) -> WrapGauge:
    """The gauge, locked, of a machine that the person may see."""
    seen = reel_access.readable_gauges(person, at).filter(serial__iexact=serial.strip())
    known = seen.values_list("pk", flat=True).first()
    if known is None:
        raise GaugeNotUsable(serial=serial, why="is not in the register, or belongs to a machine that you may not see")
    return seen.select_for_update(of=("self",)).get(pk=known)


def _is_serial_of(gauge: WrapGauge, keyed: str) -> bool:
    return gauge.serial.casefold() == keyed.strip().casefold()


def _require_usable(gauge: WrapGauge, inspection: Inspection, at: datetime) -> date:
    """The day until which it is calibrated. Raises GaugeNotUsable for one that does not fit or is past due."""
    fits = sorted(each.code for each in gauge.types.all())
    if inspection.reel.type.code not in fits:
        raise GaugeNotUsable(
            serial=gauge.serial,
            why=f"fits reels of type {', '.join(fits)}, and not of type {inspection.reel.type.code}",
        )
    moment = inspection.done_at if inspection.from_paper else at
    day = inspection.reel.site.day_of(moment)
    calibration = reel_queries.calibration_at(gauge, day)
    if calibration is None:
        raise GaugeNotUsable(serial=gauge.serial, why=f"has no calibration on record for {day}, the day of the count")
    if calibration.due < day:
        raise GaugeNotUsable(
            serial=gauge.serial, why=f"is past due: its calibration was due on {calibration.due}, and this is {day}"
        )
    return calibration.due
