"""A reel goes from one site to another: sent by the one, received by the other, or called back by whoever sent it."""

from datetime import datetime, timedelta

from django.db import transaction

from inspections import access
from inspections.domain.act_fields import ReceiptFields
from inspections.domain.words import Act
from inspections.errors import NotAuthorised, OutOfOrder
from inspections.services.lateness import moment_of, require_at_hand, require_free_since
from inspections.services.maintenance import on_reel
from inspections.services.opening import require_no_live_count
from inspections.services.setup import hold_reel, withdraw_values
from reels import access as reel_access
from reels import queries as reel_queries
from reels.errors import NotFound, ReceivedElsewhere, ReelNotInTransit, ValueNotTaken
from reels.models import Move, Person, Reel, Site
from reels.services.history import Actor, record_act
from reels.services.reels import require_in_service, require_off_machine


@transaction.atomic
def send(*, serial: str, site_code: str, actor: Actor, at: datetime, document: str = "",
         happened_at: datetime | None = None) -> Move:  # fmt: skip
    """Send a reel to another site, then or now; it is in neither's stock until it is received. Its setup values end.

    Raises ReelInTransit, ReelInstalled, CountAlreadyOpen, ValueNotTaken for its own site, or OutOfOrder.
    """
    with on_reel(serial, "sent", actor, at, Act.MAINTAIN, site=site_code) as (act, reel):
        when = moment_of(reel, happened_at, at)
        to_site = reel_access.site(site_code)
        if to_site == reel.site:
            raise ValueNotTaken(field="site", seen=site_code, allowed="another site")
        require_in_service(reel)
        require_off_machine(reel)
        require_at_hand(reel, at)
        require_no_live_count(reel)
        if when < at:
            require_free_since(reel, None, when)
        withdraw_values(act, reel, f"the reel was sent to {to_site}")
        return act.add(
            Move(reel=reel, from_site=reel.site, to_site=to_site, sent_at=when, sent_by=actor.person, recorded_at=at,
                 document=document, late_at=when + timedelta(days=to_site.transit_days))
        )  # fmt: skip


@transaction.atomic
def receive(*, serial: str, facts: ReceiptFields, actor: Actor, at: datetime) -> Move:
    """Record that a reel came, and how it was found; one that is not sound is held.

    Raises ReelNotInTransit, ReceivedElsewhere unless that is among the answers, OutOfOrder for a time before it was
    sent, ValueNotTaken, or NotAuthorised: it takes an authorisation to maintain at the site where it came to.
    """
    reel, move, site = to_be_received(serial, facts.site, actor.person, at)
    if site != move.to_site:
        ReceivedElsewhere(serial=serial, to_site=move.to_site, site=site).unless_answered(facts.answers)
    if not (facts.sound or facts.words.strip()):
        raise ValueNotTaken(field="words", seen="nothing", allowed="what is not sound about it")
    with record_act(reel.chain, "received", actor, at, site=site.code) as act:
        when = _end_of(move, facts.happened_at, at)
        act.change(move, ended_at=when, ended_by=actor.person, end_recorded_at=at, received_site=site,
                   found_sound=facts.sound, end_words=facts.words)  # fmt: skip
        act.change(reel, site=site)
        if not (facts.sound or reel_queries.hold_on(reel)):
            hold_reel(act, reel, f"received from {move.from_site}, not sound: {facts.words}", since=when)
    return move


@transaction.atomic
def call_back(*, serial: str, reason: str, actor: Actor, at: datetime, happened_at: datetime | None = None) -> Move:
    """Take back a sending: the reel is in the stock of the site that sent it. Raises ReelNotInTransit or OutOfOrder."""
    with on_reel(serial, "called_back", actor, at, Act.MAINTAIN) as (act, reel):
        move = _move_of(reel)
        return act.change(move, ended_at=_end_of(move, happened_at, at), ended_by=actor.person, end_recorded_at=at,
                          end_words=reason)  # fmt: skip


def to_be_received(serial: str, site_code: str | None, person: Person, at: datetime) -> tuple[Reel, Move, Site]:
    """The reel with its chain locked, the move that it is on and where it came to. Raises as `receive` does.

    A reel that came to a third site is found there by whoever maintains its type: it is before their eyes.
    """
    reel_access.lock_of_reel(serial=serial)
    site = reel_access.one(reel_access.readable_sites(person, at), "site", code=site_code) if site_code else None
    astray = reel_access.reels_in_transit().filter(serial=serial).first() if site else None
    reel = astray or reel_access.reel_for_read(serial, person, at)
    move = _move_of(reel)
    site = site or move.to_site
    try:
        access.authorisation_for(person, Act.MAINTAIN, Reel(type=reel.type, site=site), at)
    except NotAuthorised:
        if not reel_access.reels_to_look_at(person, at).filter(pk=reel.pk).exists():
            raise NotFound(what="reel", key=serial) from None
        raise
    return reel, move, site


def _move_of(reel: Reel) -> Move:
    move = reel_queries.move_of(reel)
    if move is None:
        raise ReelNotInTransit(serial=reel.serial, site=reel.site)
    return move


def _end_of(move: Move, happened_at: datetime | None, at: datetime) -> datetime:
    when = moment_of(move.reel, happened_at, at)
    if when < move.sent_at:
        zone = move.from_site.zone
        why = f"the reel was sent at {move.sent_at.astimezone(zone):%Y-%m-%d %H:%M %Z}"
        raise OutOfOrder(seen=f"{when.astimezone(zone):%Y-%m-%d %H:%M %Z}", why=why)
    return when
