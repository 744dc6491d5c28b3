"""What becomes of a flag: somebody is to look into it, does, and it is closed with an ending, which is evidence."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.db import transaction

from inspections import access
from inspections.domain.drift import Ending
from inspections.domain.words import Act
from inspections.errors import FlagAlreadyOpen, FlagClosed
from inspections.models import DriftFlag
from reels import access as reel_access
from reels.models import Person
from reels.services.history import Actor, record_act


@dataclass(frozen=True, slots=True, kw_only=True)
class FlaggedInterval:
    """The interval between two neighbouring counts, and what the report says of it."""

    from_at: datetime
    to_at: datetime
    p_unlogged_cut: float
    explanation: str


@transaction.atomic
def assign_flag(*, serial: str, interval: FlaggedInterval, to: Person, actor: Actor, at: datetime) -> DriftFlag:
    """Have somebody look into an interval. Raises FlagAlreadyOpen or NotAuthorised."""
    reel = reel_access.reel_for_update(serial, actor.person, at)
    access.authorisation_for(actor.person, Act.MAINTAIN, reel, at)
    reel_access.reel_for_read(serial, to, at)  # who can't see the reel can't look into it
    ends = {"from_at": interval.from_at, "to_at": interval.to_at}
    known = DriftFlag.objects.filter(reel=reel, closed_at__isnull=True, **ends).select_related("assigned_to").first()
    if known:
        raise FlagAlreadyOpen(flag=known.pk, name=known.assigned_to.full_name)
    with record_act(reel.chain, "flag_assigned", actor, at) as act:
        return act.add(
            DriftFlag(
                reel=reel, p_unlogged_cut=Decimal(f"{interval.p_unlogged_cut:.4f}"), raised_at=at, assigned_to=to,
                explanation=interval.explanation, raised_by=actor.person, **ends,
            )
        )  # fmt: skip


@transaction.atomic
def reassign_flag(*, flag_id: int, to: Person, actor: Actor, at: datetime) -> DriftFlag:
    """Have somebody else look into it. Raises FlagClosed or NotAuthorised."""
    flag = _for_update(flag_id, actor, at)
    access.authorisation_for(actor.person, Act.MAINTAIN, flag.reel, at)
    reel_access.reel_for_read(flag.reel.serial, to, at)
    with record_act(flag.reel.chain, "flag_assigned", actor, at, flag=flag.pk) as act:
        return act.change(flag, assigned_to=to)


@transaction.atomic
def look_into_flag(*, flag_id: int, finding: str, actor: Actor, at: datetime) -> DriftFlag:
    """Write down what was found; by the person it is assigned to, or whoever maintains the reel. Raises FlagClosed."""
    flag = _for_update(flag_id, actor, at)
    access.require_looks_into(flag, actor.person, at)
    with record_act(flag.reel.chain, "flag_looked_into", actor, at, flag=flag.pk) as act:
        return act.change(flag, finding=finding, looked_into_at=at, looked_into_by=actor.person)


@transaction.atomic
def close_flag(*, flag_id: int, ending: Ending, reason: str, actor: Actor, at: datetime) -> DriftFlag:
    """Say how it ended, and why: evidence from then on. By whom it may be looked into.

    Raises OnlyInPerson, FlagClosed or NotAuthorised.
    """
    access.in_person(actor)
    flag = _for_update(flag_id, actor, at)
    access.require_looks_into(flag, actor.person, at)
    with record_act(flag.reel.chain, "flag_closed", actor, at, flag=flag.pk, ending=ending.value) as act:
        return act.change(flag, ending=ending.value, end_reason=reason, closed_at=at, closed_by=actor.person)


def _for_update(flag_id: int, actor: Actor, at: datetime) -> DriftFlag:
    flag = access.flag_for_update(flag_id, actor.person, at)
    if flag.closed_at:
        raise FlagClosed(flag=flag.pk, ending=flag.get_ending_display(), on=flag.reel.site.day_of(flag.closed_at))
    return flag
