"""Forms and answers of a reading that is worked out."""

from typing import Any

from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

from inspections.domain.counting import Unusual
from inspections.domain.reading import Half, OpenSide, Outcome, Unwind
from reels.api.fields import CODE, Degrees, Named, Text, Whole, Word
from reels.api.forms import Form, Out
from reels.domain.words import Graduation, Parity, Side, UnusualRule

MOST_WRAPS = 999


class ParametersIn(Form):
    """The rule parameters of a reel type."""

    anchor_side = Word(Side)
    wraps_odd_layer = Whole()
    wraps_even_layer = Whole()
    max_layers = Whole()
    lead_wraps = Whole(default=1)
    arc_from_deg = Degrees(default=0)
    arc_to_deg = Degrees(default=180)
    unusual = Word(UnusualRule, default=UnusualRule.HOLD)
    graduation = Word(Graduation, default=Graduation.EVERY)


class TypeOrCode(serializers.Field[Any, Any, Any, Any]):
    """Rule parameters, or the code of a reel type that is on record."""

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, str):
            return Named(CODE).run_validation(data)
        return ParametersIn().run_validation(data)


class TypeOrCodeSchema(OpenApiSerializerFieldExtension):  # type: ignore[no-untyped-call]  # registers itself
    target_class = TypeOrCode

    def map_serializer_field(self, auto_schema: Any, direction: Any) -> dict[str, Any]:
        parameters = auto_schema.resolve_serializer(ParametersIn, direction).ref
        return {"oneOf": [{"type": "string", "pattern": f"^{CODE}$"}, parameters]}


class ReadingIn(Form):
    """What one person read; a scale that can't be read is null, and not both are."""

    scale_left = Whole(allow_null=True, default=None, max_value=MOST_WRAPS)
    scale_right = Whole(allow_null=True, default=None, max_value=MOST_WRAPS)
    open_side = Word(OpenSide)
    unwind = Word(Unwind)
    hand_wraps = Whole(max_value=MOST_WRAPS)
    gauge_face = Word(Parity)
    gauge_wraps = Whole(max_value=MOST_WRAPS)
    crossover_half = Word(Half, required=False, help_text="This, or crossover_deg.")
    crossover_deg = Degrees(required=False, help_text="Counter-clockwise from the scale line; or crossover_half.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        wrong = {}
        if ("crossover_half" in attrs) == ("crossover_deg" in attrs):
            wrong["crossover_half"] = ErrorDetail("One of crossover_half and crossover_deg is needed.", "one_of_two")
        if attrs["scale_left"] is None and attrs["scale_right"] is None:
            wrong["scale_left"] = ErrorDetail("Only one of the two scale readings may be null.", "one_of_two")
        if wrong:
            raise ValidationError({name: [message] for name, message in wrong.items()})
        return attrs


class WorkingIn(Form):
    reel_type = TypeOrCode()
    reading = ReadingIn()


class CountOut(Out):
    layers = Whole()
    wraps = Whole()
    parity = Word(Parity)


class StepOut(Out):
    label = Text()  # type: ignore[assignment]  # the word of the answer's own
    before = Whole(min_value=None)
    change = Whole(min_value=None)
    after = Whole(min_value=None)
    why = Text()


class ProblemOfReadingOut(Out):
    code = Text()
    detail = Text()
    fields = serializers.ListField(child=Text())  # type: ignore[assignment]  # the word of the answer's own


class WorkingOut(Out):
    outcome = Word(Outcome)
    layers = Whole(allow_null=True)
    wraps = Whole(allow_null=True)
    parity = Word(Parity, allow_null=True)
    unusual = Word(Unusual, allow_null=True)
    proposed = CountOut(allow_null=True)
    steps = StepOut(many=True)
    problems = ProblemOfReadingOut(many=True)
