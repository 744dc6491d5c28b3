"""Counts: prepared, keyed hold point by hold point, referred and released, signed twice, taken back."""

from typing import Any

from inspections import access
from inspections.api import count_serializers as shapes
from inspections.api import details
from inspections.domain.words import Decision, Meaning, Point
from inspections.models import Inspection
from inspections.queries.counts import sign_offs_of
from inspections.services import counting, opening, signing, third_readings
from inspections.services.counting import OnePersonsValues
from inspections.services.gauges import GaugeFacts
from inspections.services.opening import Preparation
from reels import access as reel_access
from reels.api.endpoints import Call, Endpoint, create, read, tag_of
from reels.api.forms import PageQuery
from reels.api.paging import Page
from reels.api.serializers import ReasonIn
from reels.domain.words import Scope
from reels.queries import matching


class InspectionEndpoint(Endpoint):
    """A path under one inspection."""

    def tag_under_lock(self, call: Call, **path: Any) -> str:
        return tag_of(access.inspection_for_update(path["inspection_id"], call.actor.person, call.at))

    def shown(self, call: Call, inspection: Inspection) -> Inspection:
        """The inspection, which the caller got for themselves, with all that they may see of it now."""
        return details.with_details(inspection, call.actor.person, call.at)


class InspectionOpeningEndpoint(InspectionEndpoint):
    @create("inspections_open", shapes.InspectionDetailOut, shapes.PreparationIn, scope=Scope.READINGS, tag=tag_of)
    def post(self, call: Call, serial: str) -> Inspection:
        """Begin a count. In a session one is its technician oneself; a script names the technician."""
        named = call.payload.pop("technician")
        preparation = Preparation(**call.payload)
        technician = reel_access.person_named(named) if named else None
        opened = opening.open_inspection(
            serial=serial, preparation=preparation, technician=technician, actor=call.actor, at=call.at
        )
        return self.shown(call, opened)


class InspectionListEndpoint(Endpoint):
    @read("inspections_list", shapes.InspectionOut, query=shapes.InspectionsQuery, is_page=True)
    def get(self, call: Call) -> Page:
        """The inspections of the reels at one's sites, the latest first."""
        inspections = access.readable_inspections(call.actor.person, call.at)
        return call.page(matching(inspections, call.query, reel="reel__serial", state="state"), "-done_at", "-id")


class InspectionDetailEndpoint(InspectionEndpoint):
    @read("inspections_show", shapes.InspectionDetailOut, tag=tag_of)
    def get(self, call: Call, inspection_id: int) -> Inspection:
        """One inspection. Keyed values are null while they are blind to whoever asks."""
        return self.shown(call, access.inspection_for_read(inspection_id, call.actor.person, call.at))


class KeyingEndpoint(InspectionEndpoint):
    @create("keyings_key", shapes.InspectionDetailOut, shapes.KeyingIn, tag=tag_of)
    def post(self, call: Call, inspection_id: int) -> Inspection:
        """Key what one sees at one point. When both people have, it is said whether they agree."""
        keyed = counting.key(inspection_id=inspection_id, actor=call.actor, at=call.at, **call.payload)
        return self.shown(call, keyed)


class ThirdReadingEndpoint(InspectionEndpoint):
    @create("third_readings_ask", shapes.InspectionDetailOut, shapes.ThirdReadingIn, tag=tag_of)
    def post(self, call: Call, inspection_id: int) -> Inspection:
        """One of the two asks a third person to read a point at which they differ. It is closed meanwhile."""
        asked = third_readings.ask_third_reading(
            inspection_id=inspection_id, point=Point(call.payload["point"]), actor=call.actor, at=call.at
        )
        return self.shown(call, asked.reading.inspection)


class ThirdReadingEndEndpoint(InspectionEndpoint):
    @create("third_readings_take_back", shapes.InspectionDetailOut, status=200, tag=tag_of)
    def post(self, call: Call, inspection_id: int, third_id: int) -> Inspection:
        """Take one's own request for a third reading back; the point is open again."""
        back = third_readings.take_back_third_reading(
            inspection_id=inspection_id, third_id=third_id, actor=call.actor, at=call.at
        )
        return self.shown(call, back.reading.inspection)


class ThirdReadingKeyingEndpoint(InspectionEndpoint):
    @create("third_readings_key", shapes.InspectionDetailOut, shapes.ThirdKeyingIn, tag=tag_of)
    def post(self, call: Call, inspection_id: int, third_id: int) -> Inspection:
        """Key what one reads as the third person, blind. It is told whose value it agrees with, and decides nothing."""
        read = third_readings.key_third_reading(
            inspection_id=inspection_id, third_id=third_id, fields=call.payload, actor=call.actor, at=call.at
        )
        return self.shown(call, read.reading.inspection)


class ReadingEndpoint(InspectionEndpoint):
    @create("readings_record", shapes.InspectionDetailOut, shapes.BothReadingsIn, scope=Scope.READINGS, tag=tag_of)
    def post(self, call: Call, inspection_id: int) -> Inspection:
        """A whole reading, both people's values, from a file or a script. Only the people named can sign it."""
        used = call.payload["gauge"]
        recorded = counting.record_reading(
            inspection_id=inspection_id, technician=self._values(call.payload["technician"]),
            verifier=self._values(call.payload["verifier"]), gauge=GaugeFacts(**used) if used else None,
            actor=call.actor, at=call.at,
        )  # fmt: skip
        return self.shown(call, recorded)

    def _values(self, values: dict[str, Any]) -> OnePersonsValues:
        return OnePersonsValues(person=reel_access.person_named(values.pop("person")), values=values)


class HelpEndpoint(InspectionEndpoint):
    @create("inspections_ask_help", shapes.InspectionDetailOut, shapes.HelpIn, status=200, tag=tag_of)
    def post(self, call: Call, inspection_id: int) -> Inspection:
        """Put the count before an authorised person."""
        referred = counting.ask_for_help(inspection_id=inspection_id, actor=call.actor, at=call.at, **call.payload)
        return self.shown(call, referred)


class ReleaseEndpoint(InspectionEndpoint):
    @create("inspections_release", shapes.InspectionDetailOut, shapes.ReleaseIn, status=200, needs_match=True,
            tag=tag_of)  # fmt: skip
    def post(self, call: Call, inspection_id: int) -> Inspection:
        """Release a referred count: have it read again, or accept the unusual count that is proposed."""
        released = counting.release(
            inspection_id=inspection_id, decision=Decision(call.payload["decision"]), reason=call.payload["reason"],
            actor=call.actor, at=call.at,
        )  # fmt: skip
        return self.shown(call, released)


class FreshReadingEndpoint(InspectionEndpoint):
    @create("inspections_read_again", shapes.InspectionDetailOut, ReasonIn, status=200, tag=tag_of)
    def post(self, call: Call, inspection_id: int) -> Inspection:
        """Take a fresh reading of a count that is worked out and not signed yet. What was read is kept."""
        opened = counting.read_again(inspection_id=inspection_id, actor=call.actor, at=call.at, **call.payload)
        return self.shown(call, opened)


class CancellationEndpoint(InspectionEndpoint):
    @create("inspections_cancel", shapes.InspectionDetailOut, ReasonIn, status=200, tag=tag_of)
    def post(self, call: Call, inspection_id: int) -> Inspection:
        """End a count without a result. All that was entered is kept."""
        cancelled = counting.cancel(inspection_id=inspection_id, actor=call.actor, at=call.at, **call.payload)
        return self.shown(call, cancelled)


class SignOffEndpoint(InspectionEndpoint):
    @read("sign_offs_list", shapes.SignOffOut, query=PageQuery, is_page=True)
    def get(self, call: Call, inspection_id: int) -> Page:
        """The signatures of an inspection, in the order in which they were given."""
        inspection = access.inspection_for_read(inspection_id, call.actor.person, call.at)
        return call.page(sign_offs_of(inspection), "signed_at", "id")

    @create("sign_offs_sign", shapes.InspectionDetailOut, shapes.SignOffIn, needs_match=True, tag=tag_of)
    def post(self, call: Call, inspection_id: int) -> Inspection:
        """Sign with one's own password. The second signature makes it the reel's count."""
        signature = signing.sign_as(
            call.payload["signer"], inspection_id=inspection_id, meaning=Meaning(call.payload["meaning"]), at=call.at
        )
        return self.shown(call, signature.inspection)

    def prepare(self, call: Call, **path: Any) -> None:
        """The password is checked, slowly by design, before any transaction begins."""
        call.payload["signer"] = signing.prove(call.actor, call.payload.pop("password"), at=call.at, origin=call.origin)


class VoidEndpoint(InspectionEndpoint):
    @create("inspections_ask_void", shapes.InspectionDetailOut, ReasonIn, status=200, needs_match=True, tag=tag_of)
    def post(self, call: Call, inspection_id: int) -> Inspection:
        """Ask that a signed inspection be taken back; another person confirms."""
        void = signing.request_void(inspection_id=inspection_id, actor=call.actor, at=call.at, **call.payload)
        return self.shown(call, void.inspection)


class VoidConfirmationEndpoint(InspectionEndpoint):
    @create("inspections_confirm_void", shapes.InspectionDetailOut, status=200, needs_match=True, tag=tag_of)
    def post(self, call: Call, inspection_id: int) -> Inspection:
        """Confirm that a signed inspection is taken back; what was issued from it is withdrawn."""
        void = signing.confirm_void(inspection_id=inspection_id, actor=call.actor, at=call.at)
        return self.shown(call, void.inspection)
