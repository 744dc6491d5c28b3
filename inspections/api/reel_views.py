"""Reels: where each stands, and what maintenance control records of them."""

from dataclasses import fields, replace
from typing import Any

from inspections.api import details
from inspections.api import reel_serializers as shapes
from inspections.domain.words import ReelStatus
from inspections.queries.counts import cable_events_of, events_of
from inspections.queries.search import with_word
from inspections.queries.status import status_rows_at, status_rows_in_transit
from inspections.queries.status_at import reel_then
from inspections.services import machine_checks, maintenance
from reels import access as reel_access
from reels.api.endpoints import Call, Endpoint, create, read, tag_of
from reels.api.forms import PageQuery
from reels.api.paging import Page
from reels.api.serializers import MachineOut, ReasonIn
from reels.domain.words import Scope
from reels.models import CableEvent, Machine, Reel, ReelEvent
from reels.queries import matching
from reels.services.events import ReelEventFacts
from reels.services.reels import CableEventFacts, ReelNumbers


class ReelEndpoint(Endpoint):
    """A path under one reel."""

    def tag_under_lock(self, call: Call, **path: Any) -> str:
        return tag_of(reel_access.reel_for_update(path["serial"], call.actor.person, call.at))

    def shown(self, call: Call, serial: str) -> Reel:
        """The reel as it stands now, with all that is in force for it."""
        return details.reel_for(serial, call.actor.person, call.at)


class ReelListEndpoint(Endpoint):
    @read("reels_list", shapes.ReelOut, query=shapes.ReelsQuery, is_page=True)
    def get(self, call: Call) -> Page:
        """The reels at one's sites, with where each stands. Those in transit are in no stock: ask for that status."""
        query, person = call.query, call.actor.person
        if query.get("status") == ReelStatus.IN_TRANSIT:
            rows = status_rows_in_transit(reel_access.moves_of_sites(person, call.at), query.get("site"))
        else:
            rows = status_rows_at(reel_access.at_readable_sites(person, call.at))
            rows = matching(rows, query, site="site__code", status="status")
        rows = matching(rows, query, type="type__code")
        rows = with_word(rows, call.query.get("q", "")).rows
        page = call.page(rows.select_related("reel__type", "reel__site", "machine"), "serial", "id")
        return replace(page, results=[details.as_reel(row, call.at) for row in page.results])

    @create("reels_receive", shapes.ReelDetailOut, shapes.ReelIn, tag=tag_of)
    def post(self, call: Call) -> Reel:
        """A reel that is new to the records; its history begins here."""
        payload = call.payload
        numbers = ReelNumbers(**{each.name: payload[each.name] or "" for each in fields(ReelNumbers)})
        maintenance.receive_reel(
            serial=payload["serial"], type_code=payload["type"], site_code=payload["site"],
            received_on=payload["received_on"], cable_length_m=payload["cable_length_m"], numbers=numbers,
            actor=call.actor, at=call.at,
        )  # fmt: skip
        return details.reel_for(payload["serial"], call.actor.person, call.at)


class ReelDetailEndpoint(ReelEndpoint):
    @read("reels_show", shapes.ReelDetailOut, tag=tag_of)
    def get(self, call: Call, serial: str) -> Reel:
        """One reel: where it stands, what is in force for it, and its length by the log."""
        return self.shown(call, serial)


class ReelThenEndpoint(Endpoint):
    @read("reels_as_of", shapes.ReelThenOut, query=shapes.AsOfQuery)
    def get(self, call: Call, serial: str) -> dict[str, Any]:
        """Where one reel stood at a moment: by what had happened, and by what had been recorded, by then."""
        moment = call.query["as_of"]
        reel = reel_access.reel_for_read(serial, call.actor.person, call.at)
        both = reel_then(reel, moment, call.at)
        return {"reel": reel.serial, "as_of": moment, **{by.value: stood for by, stood in both.items()}}


class CableEventListEndpoint(ReelEndpoint):
    @read("cable_events_list", shapes.CableEventOut, query=PageQuery, is_page=True)
    def get(self, call: Call, serial: str) -> Page:
        """Cuts, replacements and counter-entries of a reel, by when they happened."""
        reel = reel_access.reel_for_read(serial, call.actor.person, call.at)
        return call.page(cable_events_of(reel), "happened_at", "id")

    @create("cable_events_log", shapes.CableEventOut, shapes.CableEventIn, scope=Scope.CABLE_EVENTS,
            tag=tag_of)  # fmt: skip
    def post(self, call: Call, serial: str) -> CableEvent:
        """Log that cable was cut or replaced. Setup values in force are withdrawn at once."""
        facts = CableEventFacts(**call.payload)
        return maintenance.log_cable_event(serial=serial, facts=facts, actor=call.actor, at=call.at)


class CableEventReversalEndpoint(ReelEndpoint):
    @create("cable_events_reverse", shapes.CableEventOut, shapes.ReversalIn, tag=tag_of)
    def post(self, call: Call, serial: str, event_id: int) -> CableEvent:
        """Take back a wrong or doubled entry by a counter-entry; both stay."""
        return maintenance.reverse_cable_event(
            serial=serial, event_id=event_id, actor=call.actor, at=call.at, **call.payload
        )


class ReelEventListEndpoint(ReelEndpoint):
    @read("reel_events_list", shapes.ReelEventOut, query=PageQuery, is_page=True)
    def get(self, call: Call, serial: str) -> Page:
        """What happened to a reel beside cuts and other cables, by when it happened."""
        reel = reel_access.reel_for_read(serial, call.actor.person, call.at)
        return call.page(events_of(reel), "happened_at", "id")

    @create("reel_events_log", shapes.ReelEventOut, shapes.ReelEventIn, scope=Scope.CABLE_EVENTS, tag=tag_of)
    def post(self, call: Call, serial: str) -> ReelEvent:
        """Record that the reel was re-spooled or used, or met with an incident.

        Setup values in force are withdrawn at once where it ends the count that they came from.
        """
        facts = ReelEventFacts(**call.payload)
        return maintenance.log_reel_event(serial=serial, facts=facts, actor=call.actor, at=call.at)


class ReelEventReversalEndpoint(ReelEndpoint):
    @create("reel_events_reverse", shapes.ReelEventOut, shapes.ReversalIn, tag=tag_of)
    def post(self, call: Call, serial: str, event_id: int) -> ReelEvent:
        """Take back a wrong or doubled event by a counter-entry; both stay. What it withdrew is not put back."""
        return maintenance.reverse_reel_event(
            serial=serial, event_id=event_id, actor=call.actor, at=call.at, **call.payload
        )


class InstallationEndpoint(ReelEndpoint):
    @create("reels_install", shapes.ReelDetailOut, shapes.InstallationIn, status=200, tag=tag_of)
    def post(self, call: Call, serial: str) -> Reel:
        """Record that the reel was put into a machine. Values issued for another one are withdrawn, which is asked."""
        maintenance.install(serial=serial, machine_serial=call.payload["machine"], answers=call.payload["answers"],
                            happened_at=call.payload["happened_at"], actor=call.actor, at=call.at)  # fmt: skip
        return self.shown(call, serial)


class RemovalEndpoint(ReelEndpoint):
    @create("reels_remove", shapes.ReelDetailOut, shapes.RemovalIn, status=200, tag=tag_of)
    def post(self, call: Call, serial: str) -> Reel:
        """Record that the reel was taken off its machine; its setup values end."""
        shown = machine_checks.shown_in(call.payload)
        maintenance.remove(serial=serial, shown=shown, actor=call.actor, at=call.at, **call.payload)
        return self.shown(call, serial)


class HoldEndpoint(ReelEndpoint):
    @create("reels_hold", shapes.ReelDetailOut, shapes.HoldIn, status=200, tag=tag_of)
    def post(self, call: Call, serial: str) -> Reel:
        """Hold the reel; its setup values end."""
        maintenance.place_hold(serial=serial, actor=call.actor, at=call.at, **call.payload)
        return self.shown(call, serial)


class HoldEndEndpoint(ReelEndpoint):
    @create("reels_end_hold", shapes.ReelDetailOut, shapes.HoldIn, status=200, needs_match=True, tag=tag_of)
    def post(self, call: Call, serial: str) -> Reel:
        """Let a held reel go."""
        maintenance.end_hold(serial=serial, actor=call.actor, at=call.at, **call.payload)
        return self.shown(call, serial)


class MachineHoldEndEndpoint(Endpoint):
    @create("machines_end_hold", MachineOut, ReasonIn, status=200)
    def post(self, call: Call, serial: str) -> Machine:
        """Let a held machine go, that a failed check held."""
        maintenance.end_machine_hold(machine_serial=serial, actor=call.actor, at=call.at, **call.payload)
        return reel_access.machine_for_read(serial, call.actor.person, call.at)


class RetirementEndpoint(ReelEndpoint):
    @create("reels_retire", shapes.ReelDetailOut, ReasonIn, status=200, needs_match=True, tag=tag_of)
    def post(self, call: Call, serial: str) -> Reel:
        """Take the reel out of service for good; its records stay."""
        maintenance.retire(serial=serial, actor=call.actor, at=call.at, **call.payload)
        return self.shown(call, serial)
