"""What goes in and what comes out: strict forms for bodies and queries, plain shapes for answers.

Forms check the form of a request and nothing else; rules are the domain's. A field or parameter that is not known is
refused by name, for it is a slip of the client's that would otherwise be lost without a word.
"""

from collections.abc import Mapping
from functools import cache
from typing import Any, Self

from django.http import QueryDict
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.settings import api_settings

from reels.api.fields import Text, kind_of, speak_plainly


class CachedSerializer(serializers.Serializer[Any]):
    """What goes in or out. It is made once and used for every request: making one copies all its fields."""

    def get_fields(self) -> dict[str, Any]:
        fields: dict[str, Any] = super().get_fields()
        for field in fields.values():
            speak_plainly(field)
        return fields

    @classmethod
    @cache
    def shared(cls, *, is_partial: bool = False) -> Self:
        """The one of its kind. It keeps nothing of what it reads and writes."""
        return cls(partial=is_partial)


class Form(CachedSerializer):
    """A body, or an object within one."""

    default_error_messages = {"invalid": "An object is needed here, not {seen}."}

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        if not isinstance(data, Mapping):
            message = [ErrorDetail(f"An object is needed here, not {kind_of(data)}.", "invalid")]
            raise ValidationError({api_settings.NON_FIELD_ERRORS_KEY: message})
        wrong = self._unknown(data)
        try:
            value: dict[str, Any] = super().to_internal_value(data)
        except ValidationError as refused:
            detail: Any = refused.detail
            raise ValidationError({**detail, **wrong}) from refused
        if wrong:
            raise ValidationError(wrong)
        return value

    def _unknown(self, data: Mapping[Any, Any]) -> dict[str, list[ErrorDetail]]:
        known = ", ".join(self.fields) or "none"
        return {
            str(name): [ErrorDetail(f"There is no field {name!s} here; known: {known}.", "unknown_field")]
            for name in data
            if name not in self.fields
        }


class Nothing(Form):
    """A body that says nothing: {}."""


class Query(CachedSerializer):
    """The parameters of a path's query."""

    @classmethod
    def of(cls, parameters: QueryDict) -> dict[str, Any]:
        """The parameters, checked. Raises ParameterRefused naming each that is wrong, unknown or given twice."""
        form = cls.shared()
        wrong = {name: [ErrorDetail(f"{name} is given {len(values)} times.", "repeated")]
                 for name, values in parameters.lists() if len(values) > 1}  # fmt: skip
        known = ", ".join(form.fields) or "none"
        wrong |= {name: [ErrorDetail(f"There is no parameter {name} here; known: {known}.", "unknown_parameter")]
                  for name in parameters if name not in form.fields}  # fmt: skip
        try:
            taken = dict(form.run_validation({name: parameters.get(name) for name in parameters}))
        except ValidationError as refused:
            raise ParameterRefused({**refused.detail, **wrong}) from refused  # type: ignore[dict-item]  # by field
        if wrong:
            raise ParameterRefused(wrong)
        return taken


class ParameterRefused(ValidationError):
    """Parameters of the query that can't be taken."""


class PageQuery(Query):
    """Which page: where it begins, and how long it is."""

    cursor = serializers.CharField(required=False, max_length=400, help_text="As `next` of the page before has it.")
    page_size = serializers.IntegerField(required=False, min_value=1, max_value=200, default=50)


class Out(CachedSerializer):
    """An answer, or an object within one. Every field is always there; what is missing is null."""


@cache
def page_of(row: type[Out]) -> type[Out]:
    """The shape of one page of such rows."""
    fields = {
        "results": row(many=True),
        "next": Text(allow_null=True, help_text="The path of the next page; null on the last one."),
    }
    return type(f"{row.__name__.removesuffix('Out')}PageOut", (Out,), fields)
