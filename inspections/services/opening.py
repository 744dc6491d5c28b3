"""The beginning of a count: what must be so before the first reading."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from inspections import access
from inspections.domain.findings import ReelPart
from inspections.domain.words import Act, Role
from inspections.errors import (
    CountAlreadyOpen,
    NotPrepared,
    PublicationNotInForce,
    ReelOnMachine,
    TechnicianIsYou,
    TechnicianNotNamed,
)
from inspections.models import Inspection, Participant, Reading
from inspections.queries.counts import installation_at, live_inspection
from inspections.queries.findings import require_no_stop
from inspections.queries.parameters import parameters_json
from inspections.services.lateness import require_at_hand
from reels import access as reel_access
from reels.domain.act_fields import FieldKind, act_field
from reels.errors import OutOfTime
from reels.models import Person, Publication, Reel
from reels.queries import publications_in_force
from reels.services.history import Actor, record_act
from reels.services.reels import require_in_service


def _sound(part: ReelPart) -> Any:
    return act_field(
        FieldKind.YES_NO, help=f"Of the {part.spoken}. If not, its findings are recorded before any keying."
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Preparation:
    """What must be so before the first reading, as the technician confirms it.

    The three confirmations must be true. What is not sound is a finding, recorded before anything is keyed. done_at:
    None for a count that is done now; earlier for one from paper.
    """

    work_order: str = act_field(FieldKind.TEXT, label="Work order", most=60, missing="Name the work order.")
    publication: str = act_field(
        FieldKind.TEXT, label="Publication", most=120, missing="Name the publication you work to."
    )
    publication_revision: str = act_field(
        FieldKind.TEXT, label="Revision", most=40, missing="Name the publication's revision."
    )
    publication_reason: str = act_field(
        FieldKind.REMARK, label="Why another publication than the one in force",
        help="Only for a count from paper, which may name one that is not in force.", default="",
    )  # fmt: skip
    cable_sound: bool = _sound(ReelPart.CABLE)
    winding_sound: bool = _sound(ReelPart.WINDING)
    drum_sound: bool = _sound(ReelPart.DRUM)
    end_fitting_sound: bool = _sound(ReelPart.END_FITTING)
    scales_sound: bool = _sound(ReelPart.SCALES)
    cautions_confirmed: bool = act_field(
        FieldKind.YES_NO, label="I have read the cautions and will follow them", missing="Confirm the cautions."
    )
    turned_as_installed: bool = act_field(
        FieldKind.YES_NO, label="The reel is on its stand, turned as installed", missing="Turn the reel as installed."
    )
    marks_found: bool = act_field(
        FieldKind.YES_NO, label="Anchor side and forward mark are found",
        missing="Find the anchor side and the forward mark.",
    )  # fmt: skip
    respooled: bool = act_field(FieldKind.YES_NO, label="It was re-spooled before this count", default=False)
    done_at: datetime | None = act_field(
        FieldKind.MOMENT, label="Done earlier, on paper", hint="Only for a count that is entered later.",
        help="null: now; earlier for a count from paper.", default=None,
    )  # fmt: skip


@transaction.atomic
def open_inspection(*, serial: str, preparation: Preparation, actor: Actor, at: datetime,
                    technician: Person | None = None) -> Inspection:  # fmt: skip
    """Begin a count; the actor takes part as its technician, or, when a script begins it, whom the script names.

    Raises NotPrepared, PublicationNotInForce, TechnicianNotNamed, TechnicianIsYou, ReelOnMachine, CountAlreadyOpen,
    StopFindingOpen, ReelRetired, OutOfTime or NotAuthorised.
    """
    reel = reel_access.reel_for_update(serial, actor.person, at)
    counts = _technician(technician, actor)
    access.authorisation_for(counts, Act.COUNT, reel, at)
    require_in_service(reel)
    _check_prepared(preparation)
    done_at = preparation.done_at or at
    _check_countable(reel, done_at, at)
    _check_publication(reel, preparation, done_at, at)
    with record_act(reel.chain, "count_opened", actor, at) as act:
        inspection = act.add(_inspection(reel, preparation, actor, at))
        act.add(Participant(inspection=inspection, person=counts, role=Role.TECHNICIAN, joined_at=at))
        act.add(Reading(inspection=inspection, number=1))
    return inspection


def _technician(named: Person | None, actor: Actor) -> Person:
    """Who counts: the actor at the keys, or whom a script names."""
    if named is None and actor.is_a_script:
        raise TechnicianNotNamed()
    if named is not None and named != actor.person and actor.is_at_the_keys:
        raise TechnicianIsYou(name=actor.person.full_name)
    return named or actor.person


def _inspection(reel: Reel, preparation: Preparation, actor: Actor, at: datetime) -> Inspection:
    return Inspection(
        reel=reel, parameters=parameters_json(reel.type), opened_by=actor.person, recorded_at=at,
        done_at=preparation.done_at or at, from_paper=preparation.done_at is not None,
        work_order=preparation.work_order, publication=preparation.publication,
        publication_revision=preparation.publication_revision, publication_reason=preparation.publication_reason,
        respooled=preparation.respooled,
        **{name: getattr(preparation, name) for part in ReelPart if (name := f"{part}_sound")},
    )  # fmt: skip


def _check_prepared(preparation: Preparation) -> None:
    required = {
        "confirm the cautions": preparation.cautions_confirmed,
        "turn the reel as installed": preparation.turned_as_installed,
        "find the anchor side and the forward mark": preparation.marks_found,
        "name the work order": preparation.work_order.strip(),
        "name the publication": preparation.publication.strip(),
        "name the publication's revision": preparation.publication_revision.strip(),
    }
    if missing := [what for what, done in required.items() if not done]:
        raise NotPrepared(missing="; ".join(missing))


def _check_publication(reel: Reel, preparation: Preparation, done_at: datetime, at: datetime) -> None:
    """A count is worked by what is in force; only one from paper may name another, and says why."""
    named = {"code": preparation.publication, "revision": preparation.publication_revision}
    if all(publications_in_force(reel.type, moment).filter(**named).exists() for moment in {done_at, at}):
        return
    is_late = preparation.done_at is not None
    if is_late and preparation.publication_reason.strip():
        return
    in_force = "; ".join(str(each) for each in publications_in_force(reel.type, at)) or "none"
    raise PublicationNotInForce(
        publication=f"{preparation.publication}, revision {preparation.publication_revision}",
        why=_why_not_in_force(reel, named, at), reel_type=reel.type.code, in_force=in_force,
        advice="Say why this count names another one." if is_late else "Name one that is.",
    )  # fmt: skip


def _why_not_in_force(reel: Reel, named: dict[str, str], at: datetime) -> str:
    known = Publication.objects.filter(**named).first()
    if known is None:
        return "is not in the register of publications"
    if known.valid_until and known.valid_until <= at:
        return f"is out of force since {known.valid_until:%Y-%m-%d}: {known.end_reason}"
    if not publications_in_force(reel.type, max(at, known.valid_from)).filter(pk=known.pk).exists():
        return f"is not for reels of type {reel.type.code}"
    return f"is in force from {known.valid_from:%Y-%m-%d} on, and was not at the time of this count"


def _check_countable(reel: Reel, done_at: datetime, at: datetime) -> None:
    if not (reel.received_on <= done_at.date() and done_at <= at):
        raise OutOfTime(field="done_at", seen=done_at.isoformat(), earliest=reel.received_on, latest=at.isoformat())
    if installed := installation_at(reel, done_at):
        raise ReelOnMachine(serial=reel.serial, machine=installed.machine.serial, at=done_at.isoformat())
    require_at_hand(reel, done_at)
    require_no_live_count(reel)
    require_no_stop(reel)


def require_no_live_count(reel: Reel) -> None:
    """A reel that is being counted stays where it is. Raises CountAlreadyOpen."""
    if live := live_inspection(reel):
        raise CountAlreadyOpen(inspection=live.pk, serial=reel.serial, state=live.state.replace("_", " "))
