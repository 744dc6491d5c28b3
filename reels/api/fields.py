"""Fields of the API that take a value in its one form, or refuse it.

REST framework's own take 0 or true for a string, "1" for a number and "yes" for true, and a time without an offset
for a local one. A script that sends the wrong kind is told so.
"""

import math
import re
from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from django.core.validators import (
    BaseValidator,
    MaxLengthValidator,
    MaxValueValidator,
    MinLengthValidator,
    MinValueValidator,
)
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.fields import empty

from reels.domain import words
from reels.domain.text import character_not_taken

SERIAL = words.SERIAL
CODE = r"[-a-zA-Z0-9_]{1,30}"
USERNAME = words.USERNAME
MOST_WHOLE = 32767  # what a small whole number's column holds

_RFC_3339 = re.compile(r"(\d{4}-\d\d-\d\d)[Tt](\d\d:\d\d:\d\d)(\.\d+)?([Zz]|[+-]\d\d:\d\d)", re.ASCII)
_DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_EXACT = re.compile(r"-?\d+(\.\d+)?", re.ASCII)


# What REST framework says without saying what was seen, or what is allowed. A field's own sentence stays.
SENTENCES = {
    "required": "This is missing; a value is needed.",
    "null": "null was given; a value is needed.",
    "blank": "This is empty; text is needed.",
    "empty": "This list is empty; at least one item is needed.",
    "not_a_list": "A list is needed here, not {input_type}.",
    "max_digits": "At most {max_digits} digits are allowed; more were given.",
    "max_decimal_places": "At most {max_decimal_places} digits are allowed after the decimal point; more were given.",
    "max_whole_digits": "At most {max_whole_digits} digits are allowed before the decimal point; more were given.",
}
NUMBERS: Mapping[type[Any], str] = {
    serializers.IntegerField: "A whole number is needed here.",
    serializers.FloatField: "A number is needed here.",
}
LIMITS: Mapping[type[BaseValidator], str] = {
    MaxValueValidator: "%(show_value)s was given; at most %(limit_value)s is allowed.",
    MinValueValidator: "%(show_value)s was given; at least %(limit_value)s is needed.",
    MaxLengthValidator: "The length of this is %(show_value)s; at most %(limit_value)s is allowed.",
    MinLengthValidator: "The length of this is %(show_value)s; at least %(limit_value)s is needed.",
}


def speak_plainly(field: Any) -> None:
    """Give a field our sentences for what is wrong in place of REST framework's; those of a list's items too."""
    kinds = [kind for kind in type(field).__mro__ if "default_error_messages" in vars(kind)]
    for code, sentence in {**SENTENCES, "invalid": NUMBERS.get(type(field), "")}.items():
        owner = next((kind for kind in kinds if code in vars(kind)["default_error_messages"]), None)
        if sentence and owner and owner.__module__.startswith("rest_framework."):
            field.error_messages[code] = sentence
    for validator in field.validators:
        if type(validator) in LIMITS:
            validator.message = LIMITS[type(validator)]
    if hasattr(field, "child"):
        speak_plainly(field.child)


class Text(serializers.CharField):
    """A string; no number or truth value is taken for one."""

    default_error_messages = {
        "invalid": "A string is needed here, not {seen}.",
        "unseen_character": "This text can't hold {seen}. Take it out.",
    }
    has_lines: bool | None = False  # None: it is not read by people

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            self.fail("invalid", seen=kind_of(data))
        text = str(super().to_internal_value(data))
        if self.has_lines is not None and (seen := character_not_taken(text, has_lines=self.has_lines)):
            self.fail("unseen_character", seen=seen)
        return text


class Remark(Text):
    """Free text of several lines; it may not be empty."""

    has_lines = True

    def __init__(self, **options: Any) -> None:
        super().__init__(**{"max_length": 2000, **options})


class Secret(Text):
    """A password, taken as it is, blanks and all."""

    has_lines = None

    def __init__(self, **options: Any) -> None:
        super().__init__(**{"max_length": 200, "trim_whitespace": False, "write_only": True, **options})


class Named(Text):
    """A code, serial number or user name, as it may also stand in a path."""

    default_error_messages = {"not_a_name": "{seen} can't be a name here: {pattern} is needed."}

    def __init__(self, pattern: str, **options: Any) -> None:
        super().__init__(trim_whitespace=False, **options)
        self.pattern = pattern

    def to_internal_value(self, data: Any) -> str:
        text = super().to_internal_value(data)
        if not re.fullmatch(self.pattern, text):
            self.fail("not_a_name", seen=shown(text), pattern=self.pattern)
        return text


class Codes(serializers.ListField):
    """The codes of some things that are there already; where it may be left out, none are meant."""

    default_error_messages = {"repeated": "{seen} is named twice."}

    def __init__(self, *, required: bool, **options: Any) -> None:
        more: dict[str, Any] = {"required": True} if required else {"default": list}
        super().__init__(child=Named(CODE), max_length=100, **more, **options)

    def to_internal_value(self, data: Any) -> list[str]:
        codes: list[str] = super().to_internal_value(data)
        for place, code in enumerate(codes):
            if code in codes[:place]:
                self.fail("repeated", seen=code)
        return codes


class Whole(serializers.IntegerField):
    """A whole number; neither a string nor 1.0 nor true is taken for one."""

    default_error_messages = {"invalid": "A whole number is needed here, not {seen}."}

    def __init__(self, **options: Any) -> None:
        super().__init__(**{"min_value": 0, "max_value": MOST_WHOLE, **options})

    def to_internal_value(self, data: Any) -> int:
        if type(data) is not int:
            self.fail("invalid", seen=kind_of(data))
        return data


class Number(Whole):
    """The number of a record, however large."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**{"min_value": 1, "max_value": None, **options})


class Maybe(Text):
    """Free text that may be left out: null, and "" within."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**{"max_length": 2000, "allow_null": True, "default": None, **options})

    def run_validation(self, data: Any = empty) -> str:
        return super().run_validation(data) or ""

    def to_representation(self, value: Any) -> Any:
        return str(value) or None


class YesNo(serializers.BooleanField):
    """true or false."""

    default_error_messages = {"invalid": "true or false is needed here, not {seen}."}

    def to_internal_value(self, data: Any) -> bool:
        if not isinstance(data, bool):
            self.fail("invalid", seen=kind_of(data))
        return data


class Exact(serializers.DecimalField):
    """An exact number, written as a string both ways: a JSON number would be rounded by many clients."""

    default_error_messages = {"invalid": 'An exact number in a string is needed here, such as "12.5", not {seen}.'}

    def __init__(self, max_digits: int = 9, decimal_places: int = 3, **options: Any) -> None:
        super().__init__(max_digits, decimal_places, **options)

    def to_internal_value(self, data: Any) -> Decimal:
        if not isinstance(data, str) or len(data) > 40 or not _EXACT.fullmatch(data):
            self.fail("invalid", seen=kind_of(data))
        return super().to_internal_value(data)


class Metres(serializers.FloatField):
    """A length that was worked out, to the millimetre."""

    def to_representation(self, value: Any) -> Any:
        return round(float(value), 3)


class Degrees(serializers.Field[Any, Any, Any, Any]):
    """An angle, a JSON number from 0 to 360."""

    default_error_messages = {"invalid": "A number from 0 to 360 is needed here, not {seen}."}

    def to_internal_value(self, data: Any) -> int | float:
        if isinstance(data, bool) or not isinstance(data, int | float) or not math.isfinite(data):
            self.fail("invalid", seen=kind_of(data))
        if not 0 <= data <= 360:
            self.fail("invalid", seen=data)
        return data

    def to_representation(self, value: Any) -> Any:
        return value


class Word(serializers.ChoiceField):
    """One of a closed list of words."""

    default_error_messages = {"invalid_choice": "{input} is none of: {allowed}."}

    def __init__(self, words: Iterable[Any], **options: Any) -> None:
        super().__init__([str(getattr(word, "value", word)) for word in words], **options)

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str) or data not in self.choices:
            self.fail("invalid_choice", input=shown(data), allowed=", ".join(map(str, self.choices)))
        return data

    def to_representation(self, value: Any) -> Any:
        return str(value) if value else None


@extend_schema_field({"type": "object", "additionalProperties": True})
class Json(serializers.JSONField):
    """An object that the service has made itself."""


class Moment(serializers.DateTimeField):
    """A time as RFC 3339 has it, with its offset from UTC; given back in UTC."""

    default_error_messages = {
        "invalid": "A time with its offset is needed here, such as 2026-03-02T09:00:00Z, not {seen}.",
        "no_such_time": "There is no time {seen}: {why}.",
    }

    def to_internal_value(self, value: Any) -> datetime:
        parts = _RFC_3339.fullmatch(value) if isinstance(value, str) else None
        if parts is None:
            self.fail("invalid", seen=shown(value))
        day, clock, fraction, offset = parts.groups()
        if fraction and len(fraction) > 7:
            self.fail("no_such_time", seen=value, why="times are kept to the microsecond, six places at most")
        if clock.endswith(":60"):
            self.fail("no_such_time", seen=value, why="leap seconds are not kept; give second 59 or the next minute")
        return self._utc(f"{day}T{clock}{(fraction or '').ljust(7, '0') if fraction else ''}{offset.upper()}", value)

    def _utc(self, exact: str, seen: str) -> datetime:
        try:
            return datetime.fromisoformat(exact).astimezone(UTC)
        except (ValueError, OverflowError):
            self.fail("no_such_time", seen=seen, why="the calendar or the clock does not have it")

    def to_representation(self, value: Any) -> Any:
        return None if value is None else moment(value)


class Day(serializers.DateField):
    """A calendar day, YYYY-MM-DD."""

    default_error_messages = {"invalid": "A day is needed here, such as 2026-03-02, not {seen}."}

    def to_internal_value(self, value: Any) -> date:
        if not isinstance(value, str) or not _DAY.fullmatch(value):
            self.fail("invalid", seen=shown(value))
        try:
            return date.fromisoformat(value)
        except ValueError:
            self.fail("invalid", seen=shown(value))


def moment(value: datetime) -> str:
    """A time as the API writes it: UTC, to the microsecond where there is one."""
    return value.astimezone(UTC).isoformat().replace("+00:00", "Z")


def kind_of(data: Any) -> str:
    """What kind of JSON value was given, for a message."""
    if data is None or isinstance(data, bool):
        return {None: "null", True: "true", False: "false"}[data]
    kinds: Mapping[type, str] = {str: "a string", int: "a number", float: "a number", list: "a list", dict: "an object"}
    word = kinds.get(type(data), "that")
    return f"{word} ({shown(data)})" if isinstance(data, str | int | float) else word


def shown(data: Any) -> str:
    """The value for a message, cut short."""
    text = repr(data) if isinstance(data, str) else str(data)
    return text if len(text) <= 60 else f"{text[:57]}..."
