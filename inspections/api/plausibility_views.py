"""A count that waits for its signatures, held against its reel's history; and why a surprising one stands."""

from typing import Any

from drf_spectacular.utils import extend_schema_serializer
from rest_framework import serializers

from inspections import access
from inspections.domain import drift
from inspections.domain.drift import Slip
from inspections.models import AcceptedOutlier
from inspections.queries.histories import plausibility_of
from inspections.services import outliers
from reels.api.endpoints import Call, Endpoint, create, read
from reels.api.fields import Moment, Text, Word, YesNo
from reels.api.forms import Out
from reels.api.serializers import PersonOut, ReasonIn


class PlausibilityOut(Out):
    """Everything but the first is null until both people have keyed everything and the count is worked out."""

    is_weighed = YesNo()
    told = Text(allow_null=True, help_text="In words; what explains the count best comes first.")
    is_surprising = YesNo(allow_null=True)
    waits_for_a_reason = YesNo(allow_null=True, help_text="Whether it can't be signed before somebody gives one.")
    chance = serializers.FloatField(allow_null=True, help_text="Of a count as odd, without a slip or an unlogged cut.")
    p_unlogged_cut = serializers.FloatField(allow_null=True)
    cut_m = serializers.FloatField(
        allow_null=True, help_text="How long a cut would be that explains the count; null: none would."
    )
    p_slip = serializers.FloatField(allow_null=True)
    likeliest_slip = Word(Slip, allow_null=True)


@extend_schema_serializer(component_name="SurpriseOut")  # the name that the published document has
class AcceptedOutlierOut(Out):
    told = Text()
    reason = Text()
    accepted_by = PersonOut()
    accepted_at = Moment()


class PlausibilityEndpoint(Endpoint):
    @read("inspections_plausibility", PlausibilityOut)
    def get(self, call: Call, inspection_id: int) -> dict[str, Any]:
        """How a count that waits for its signatures fits its reel's history."""
        inspection = access.inspection_for_read(inspection_id, call.actor.person, call.at)
        plausibility = plausibility_of(inspection)
        if plausibility is None:
            return {**dict.fromkeys(map(str, PlausibilityOut().fields)), "is_weighed": False}
        return {
            "is_weighed": True,
            "told": drift.plausibility_in_words(plausibility),
            "is_surprising": plausibility.is_outlier,
            "waits_for_a_reason": outliers.open_outlier(inspection) is not None,
            "chance": plausibility.tail,
            "p_unlogged_cut": plausibility.p_unlogged_cut,
            "cut_m": plausibility.cut_m or None,
            "p_slip": plausibility.p_slip,
            "likeliest_slip": plausibility.likeliest_slip,
        }


class OutlierAcceptanceEndpoint(Endpoint):
    @create("inspections_accept_surprise", AcceptedOutlierOut, ReasonIn)
    def post(self, call: Call, inspection_id: int) -> AcceptedOutlier:
        """Say why a surprising count stands as it was read; it can then be signed."""
        return outliers.accept_outlier(inspection_id=inspection_id, actor=call.actor, at=call.at, **call.payload)
