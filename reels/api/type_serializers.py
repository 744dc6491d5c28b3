"""Forms and answers of reel types."""

from rest_framework import serializers
from rest_framework.fields import empty

from reels.api.fields import CODE, Exact, Json, Maybe, Moment, Named, Number, Text, Whole, Word, YesNo
from reels.api.forms import Form, Out
from reels.domain.words import CountEffect, Graduation, LinePlace, Side, UnusualRule, WindingSense


def _mark(what: str) -> Maybe:
    return Maybe(required=False, default=empty, max_length=40, help_text=f"What {what} like, in words of the type's.")


def _soft() -> Whole:
    return Whole(required=False, allow_null=True, min_value=1, help_text="Warned from so many on; null: no limit.")


def _hard() -> Whole:
    return Whole(required=False, allow_null=True, min_value=1, help_text="At so many the reel is held; null: no limit.")


LAPSES = "A count lapses after so many; null: never by these."


class ReelTypePatch(Form):
    """What may be put right of a reel type; a count under way keeps the parameters it was opened with."""

    core_diameter_mm = Exact(required=False)
    cable_diameter_mm = Exact(required=False)
    layer_rise_mm = Exact(required=False, allow_null=True, help_text="null: nested layers.")
    layer_rise_u_mm = Exact(
        required=False,
        allow_null=True,
        help_text="Its standard uncertainty. null: none for a measured rise; else anything up to stacked, evenly.",
    )
    pitch_mm = Exact(required=False, allow_null=True, help_text="null: the cable's diameter.")
    diameter_u_mm = Exact(required=False, help_text="Standard uncertainty of the diameters.")
    max_layers = Whole(required=False, min_value=1)
    lead_wraps = Whole(required=False)
    arc_from_deg = Whole(required=False, max_value=360)
    arc_to_deg = Whole(required=False, max_value=360)
    arc_publication = Maybe(
        required=False, default=empty, max_length=120,
        help_text="Says the arc where it is not the half turn of the winding sense; people then key degrees.",
    )  # fmt: skip
    crossover_begins_layer = YesNo(
        required=False,
        help_text="The crossover that is seen is where its layer begins. false: every count is referred.",
    )
    reference_side = Word(Side, required=False)
    scale_line_at = Word(LinePlace, required=False)
    winding_sense = Word(WindingSense, required=False, help_text="The arc follows from it, and it from the arc.")
    unusual = Word(UnusualRule, required=False)
    unusual_publication = Maybe(required=False, default=empty, max_length=120)
    least_length_m = Exact(required=False, allow_null=True)
    cable_uses_soft = _soft()
    cable_uses_hard = _hard()
    cable_hours_soft = _soft()
    cable_hours_hard = _hard()
    cable_days_soft = _soft()
    cable_days_hard = _hard()
    reel_uses_soft = _soft()
    reel_uses_hard = _hard()
    reel_hours_soft = _soft()
    reel_hours_hard = _hard()
    reel_days_soft = _soft()
    reel_days_hard = _hard()
    count_days = Whole(required=False, allow_null=True, min_value=1, help_text=LAPSES)
    count_uses = Whole(required=False, allow_null=True, min_value=1, help_text=LAPSES)
    after_use = Word(CountEffect, required=False, help_text="What a use on the machine does to a count.")
    after_incident = Word(CountEffect, required=False, help_text="What an incident does to a count.")
    reading_limit_wraps = Exact(
        max_digits=5, decimal_places=2, min_value=0, required=False,
        help_text="How many wraps what a machine shows may be from what is expected.",
    )  # fmt: skip
    odd_face_mark = _mark("a gauge's odd face looks")
    even_face_mark = _mark("a gauge's even face looks")
    odd_scale_mark = _mark("a scale of odd numbers looks")
    even_scale_mark = _mark("a scale of even numbers looks")
    reason = Maybe(required=False, default=empty, help_text="Why it is changed; kept in the register's history.")


class ReelTypeIn(ReelTypePatch):
    reason = None  # type: ignore[assignment]  # of a change alone
    code = Named(CODE)
    core_diameter_mm = Exact()
    cable_diameter_mm = Exact()
    wraps_odd_layer = Whole(min_value=2)
    wraps_even_layer = Whole(min_value=2)
    max_layers = Whole(min_value=1)
    anchor_side = Word(Side)
    graduation = Word(Graduation, required=False)


class ReelTypeOut(Out):
    code = Text()
    core_diameter_mm = Exact()
    cable_diameter_mm = Exact()
    wraps_odd_layer = Whole()
    wraps_even_layer = Whole()
    max_layers = Whole()
    layer_rise_mm = Exact(allow_null=True)
    layer_rise_u_mm = Exact(allow_null=True)
    pitch_mm = Exact(allow_null=True)
    diameter_u_mm = Exact()
    anchor_side = Word(Side)
    reference_side = Word(Side)
    scale_line_at = Word(LinePlace)
    winding_sense = Word(WindingSense)
    graduation = Word(Graduation)
    lead_wraps = Whole()
    arc_from_deg = Whole()
    arc_to_deg = Whole()
    arc_publication = Maybe()
    crossover_begins_layer = YesNo()
    unusual = Word(UnusualRule)
    unusual_publication = Maybe()
    least_length_m = Exact(allow_null=True)
    cable_uses_soft = Whole(allow_null=True)
    cable_uses_hard = Whole(allow_null=True)
    cable_hours_soft = Whole(allow_null=True)
    cable_hours_hard = Whole(allow_null=True)
    cable_days_soft = Whole(allow_null=True)
    cable_days_hard = Whole(allow_null=True)
    reel_uses_soft = Whole(allow_null=True)
    reel_uses_hard = Whole(allow_null=True)
    reel_hours_soft = Whole(allow_null=True)
    reel_hours_hard = Whole(allow_null=True)
    reel_days_soft = Whole(allow_null=True)
    reel_days_hard = Whole(allow_null=True)
    count_days = Whole(allow_null=True, help_text=LAPSES)
    count_uses = Whole(allow_null=True, help_text=LAPSES)
    after_use = Word(CountEffect)
    after_incident = Word(CountEffect)
    reading_limit_wraps = Exact(max_digits=5, decimal_places=2)
    odd_face_mark = Maybe()
    even_face_mark = Maybe()
    odd_scale_mark = Maybe()
    even_scale_mark = Maybe()
    rule_sources = Json(
        help_text="By rule (lead, arc, reference_side, scale_line, winding_sense, unusual): publication, revision, "
        "paragraph, and the id of who named it."
    )
    rules_written_by = serializers.ListField(
        child=Number(), help_text="Ids of those who wrote or sourced a rule since they were confirmed last."
    )
    rules_confirmed_by = Text(source="rules_confirmed_by.username", default=None, allow_null=True)
    rules_confirmed_at = Moment(
        allow_null=True, help_text="null: no count of it is signed, and no setup values are issued."
    )
