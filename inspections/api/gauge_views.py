"""Wrap gauges: the register, which are out, and the gauge of a count."""

from dataclasses import replace

from rest_framework import serializers

from inspections.api.count_serializers import InspectionDetailOut
from inspections.api.count_views import InspectionEndpoint
from inspections.domain.act_fields import GaugeReturnFields, GaugeTakingFields
from inspections.models import Inspection
from inspections.queries.gauges import GaugeStanding, out_or_not, standing_of, with_uses
from inspections.services import gauges
from reels import access
from reels.api.act_fields import body_of, takes
from reels.api.endpoints import Call, Endpoint, create, read, tag_of
from reels.api.fields import SERIAL, Day, Moment, Named, Number, Text, Word
from reels.api.forms import Form, Out, PageQuery
from reels.api.paging import Page
from reels.api.serializers import PersonOut
from reels.domain.act_fields import CalibrationFields, GaugeFields, GaugeMachineFields
from reels.queries import matching
from reels.services import register


class GaugeUseOut(Out):
    inspection = Number(source="inspection_id")
    taken_at = Moment()
    taken_by = PersonOut()


class WrapGaugeOut(Out):
    serial = Text(source="gauge.serial")
    machine = Text(source="gauge.machine.serial")
    types = serializers.ListField(child=Text(), source="fits", help_text="Codes of the reel types that it fits.")
    calibration_due = Day(allow_null=True, help_text="The last day of its calibration; null: none has begun yet.")
    out = GaugeUseOut(source="use", allow_null=True, help_text="null: it is in its machine.")


class WrapGaugesQuery(PageQuery):
    machine = serializers.CharField(required=False, max_length=40)
    out = Word(("yes", "no"), required=False)


@takes(GaugeFields)
class WrapGaugeIn(Form):
    serial = Named(SERIAL, max_length=40, help_text="As it stands on the gauge.")


CalibrationIn = body_of(CalibrationFields, "CalibrationIn")
GaugeMachineIn = body_of(GaugeMachineFields, "GaugeMachineIn")
GaugeTakingIn = body_of(GaugeTakingFields, "GaugeTakingIn")
GaugeReturnIn = body_of(GaugeReturnFields, "GaugeReturnIn")


def _one(serial: str, call: Call) -> GaugeStanding:
    gauges_seen = with_uses(access.readable_gauges(call.actor.person, call.at))
    return standing_of(access.one(gauges_seen, "wrap gauge", serial=serial), call.at)


class WrapGaugeListEndpoint(Endpoint):
    @read("wrap_gauges_list", WrapGaugeOut, query=WrapGaugesQuery, is_page=True)
    def get(self, call: Call) -> Page:
        """The wrap gauges at one's sites, and which are out, since when and with whom."""
        rows = matching(access.readable_gauges(call.actor.person, call.at), call.query, machine="machine__serial")
        if where := call.query.get("out"):
            rows = out_or_not(rows, is_out=where == "yes")
        shown = call.page(with_uses(rows), "serial", "id")
        return replace(shown, results=[standing_of(each, call.at) for each in shown.results])

    @create("wrap_gauges_register", WrapGaugeOut, WrapGaugeIn)
    def post(self, call: Call) -> GaugeStanding:
        """A wrap gauge that is new to the records, for administrators."""
        access.only_administrators(call.actor.person)
        types = [access.reel_type(code) for code in call.payload.pop("types")]
        machine = access.machine(call.payload.pop("machine"))
        gauge = register.register_gauge(types=types, machine=machine, actor=call.actor, at=call.at, **call.payload)
        return _one(gauge.serial, call)


class WrapGaugeDetailEndpoint(Endpoint):
    @read("wrap_gauges_show", WrapGaugeOut)
    def get(self, call: Call, serial: str) -> GaugeStanding:
        """One wrap gauge, and where it is."""
        return _one(serial, call)


class CalibrationEndpoint(Endpoint):
    @create("wrap_gauges_calibrate", WrapGaugeOut, CalibrationIn)
    def post(self, call: Call, serial: str) -> GaugeStanding:
        """A new calibration, for administrators. The earlier ones stay, for counts that were done then."""
        access.only_administrators(call.actor.person)
        gauge = access.gauge_for_read(serial, call.actor.person, call.at)
        register.calibrate_gauge(gauge, actor=call.actor, at=call.at, **call.payload)
        return _one(serial, call)


class GaugeMachineEndpoint(Endpoint):
    @create("wrap_gauges_move", WrapGaugeOut, GaugeMachineIn, status=200)
    def post(self, call: Call, serial: str) -> GaugeStanding:
        """Have a gauge belong to another machine, for administrators."""
        access.only_administrators(call.actor.person)
        gauge = access.gauge_for_read(serial, call.actor.person, call.at)
        machine = access.machine(call.payload["machine"])
        register.move_gauge(gauge, machine=machine, actor=call.actor, at=call.at)
        return _one(serial, call)


# Of a count ---------------------------------------------------------------------------------------------------------


class GaugeTakingEndpoint(InspectionEndpoint):
    @create("inspections_take_gauge", InspectionDetailOut, GaugeTakingIn, tag=tag_of)
    def post(self, call: Call, inspection_id: int) -> Inspection:
        """Key the serial of the wrap gauge, its end marks matched. From then on it is out."""
        facts = GaugeTakingFields(**call.payload)
        taken = gauges.take_gauge(inspection_id=inspection_id, facts=facts, actor=call.actor, at=call.at)
        return self.shown(call, taken)


class GaugeBackEndpoint(InspectionEndpoint):
    @create("inspections_return_gauge", InspectionDetailOut, GaugeReturnIn, status=200, tag=tag_of)
    def post(self, call: Call, inspection_id: int) -> Inspection:
        """Key the serial of the wrap gauge at its machine, where it is back in its place."""
        facts = GaugeReturnFields(**call.payload)
        use = gauges.return_gauge(inspection_id=inspection_id, facts=facts, actor=call.actor, at=call.at)
        return self.shown(call, use.inspection)
