"""The layer rise of a reel type, fitted to reels of known cable length: read, judged, and taken over by a change."""

from typing import Any

from rest_framework import serializers

from inspections.queries import rise
from inspections.queries.rise import LENGTH_U_M, RiseOffer
from reels import access as reel_access
from reels.api.endpoints import Call, Endpoint, read
from reels.api.fields import Metres, Moment, Text, Whole, YesNo
from reels.api.forms import Out, Query


class RiseQuery(Query):
    length_u_m = serializers.FloatField(
        required=False,
        default=LENGTH_U_M,
        min_value=0.001,
        max_value=100,
        help_text="Standard uncertainty of each known length, metres.",
    )
    fit_core = serializers.BooleanField(required=False, default=False, help_text="Fit the core diameter too.")


class Millimetres(serializers.FloatField):
    """A dimension that was worked out, to the micrometre."""

    def to_representation(self, value: Any) -> Any:
        return round(float(value), 3)


class DimensionOut(Out):
    """Millimetres; u: standard uncertainty."""

    now_mm = Millimetres()
    now_u_mm = Millimetres()
    offered_mm = Millimetres()
    offered_u_mm = Millimetres()


class KnownReelOut(Out):
    """The first count of a cable of known length; lengths in metres."""

    reel = Text()
    counted_at = Moment()
    layers = Whole(help_text="The lead's wraps put back: the whole cable.")
    wraps = Whole()
    known_m = Metres(help_text="As delivered, less what was logged as cut.")
    length_now_m = Metres(help_text="By the dimensions in use.")
    length_offered_m = Metres(help_text="By the dimensions offered.")


class RiseOut(Out):
    reel_type = Text()
    layer_rise = DimensionOut()
    core_diameter = DimensionOut()
    reels = Whole(help_text="Cables of known length that it was fitted to.")
    length_u_m = Metres()
    chance_of_worse_fit = serializers.FloatField(help_text="When small, doubt lengths or uncertainties.")
    can_tell_rise_from_core = YesNo()
    capacity_now_m = Metres(help_text="Cable on a full drum.")
    capacity_offered_m = Metres()
    advice = serializers.ListField(child=serializers.CharField())
    known = KnownReelOut(many=True)
    left_out = serializers.ListField(child=serializers.CharField(), help_text="Reels whose first count looks slipped.")


class LayerRiseEndpoint(Endpoint):
    @read("reel_types_fit_rise", RiseOut, query=RiseQuery, refuses=(409,))  # too few reels, or they do not decide
    def get(self, call: Call, code: str) -> dict[str, Any]:
        """The layer rise that the reels of known cable length at one's sites make likely: an offer, nothing changes.

        Whoever takes it over changes the reel type (`PATCH /api/v1/reel-types/{code}`) and says why.
        """
        reels = reel_access.readable_reels(call.actor.person, call.at)
        return _shown(rise.rise_offer(reel_access.reel_type(code), reels, **call.query))


def _shown(offer: RiseOffer) -> dict[str, Any]:
    fit, drum = offer.fit, offer.drum
    return {
        "reel_type": offer.reel_type.code,
        "layer_rise": _dimension(drum.rise_mm, drum.layer_rise_u_mm, fit.layer_rise_mm, fit.layer_rise_u_mm),
        "core_diameter": _dimension(
            drum.core_diameter_mm, drum.diameter_u_mm, fit.core_diameter_mm, fit.core_diameter_u_mm
        ),
        "reels": len(offer.known),
        "chance_of_worse_fit": fit.chance_of_worse_fit,
        "can_tell_rise_from_core": fit.can_tell_rise_from_core,
        **{
            name: getattr(offer, name)
            for name in ("length_u_m", "capacity_now_m", "capacity_offered_m", "advice", "known", "left_out")
        },
    }


def _dimension(now_mm: float, now_u_mm: float, offered_mm: float, offered_u_mm: float) -> dict[str, float]:
    return {"now_mm": now_mm, "now_u_mm": now_u_mm, "offered_mm": offered_mm, "offered_u_mm": offered_u_mm}
