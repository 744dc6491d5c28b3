"""What a form says of a value that it cannot take: what was entered, and what is allowed."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

SHOWN = 40  # characters of what was typed, which may be a page long
EMPTY: tuple[tuple[type[forms.Field], str], ...] = (
    (forms.BooleanField, "This is not ticked; it has to be."),
    (forms.ChoiceField, "Nothing is chosen; choose one."),
    (forms.FileField, "No file is chosen; one is needed."),
    (forms.Field, "Nothing is entered; this is needed."),
)
KINDS: tuple[tuple[type[forms.Field], str], ...] = (
    (forms.DecimalField, "a number is needed, such as 12.5"),
    (forms.FloatField, "a number is needed, such as 12.5"),
    (forms.IntegerField, "a whole number is needed"),
    (forms.DateField, "a day is needed, such as 2026-03-02"),
    (forms.DateTimeField, "a day and a time are needed, such as 2026-03-02 08:30"),
)
SENTENCES = {
    "invalid_choice": "“%(seen)s” cannot be chosen here; choose one that is listed.",
    "empty": "The file is empty; choose another one.",
    "max_value": "You entered %(seen)s; at most %(limit_value)s is allowed.",
    "min_value": "You entered %(seen)s; at least %(limit_value)s is needed.",
    "max_length": "You entered %(show_value)s characters; at most %(limit_value)s are allowed.",
    "min_length": "You entered %(show_value)s characters; at least %(limit_value)s are needed.",
    "max_digits": "You entered %(seen)s; at most %(max)s digits are allowed.",
    "max_decimal_places": "You entered %(seen)s; at most %(max)s digits are allowed after the decimal point.",
    "max_whole_digits": "You entered %(seen)s; at most %(max)s digits are allowed before the decimal point.",
}


class PlainForm(forms.Form):
    """A form whose sentences stand in place of Django's; what a field says itself is left as it is."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **{"label_suffix": "", **options})

    def add_error(self, field: Any, error: Any) -> None:
        if field in self.fields and isinstance(error, ValidationError) and not hasattr(error, "error_dict"):
            error = ValidationError([self._plain(field, each) for each in error.error_list])
        super().add_error(field, error)

    def _plain(self, name: str, error: ValidationError) -> ValidationError:
        field, code = self.fields[name], str(error.code)
        sentence = _sentence(field, code)
        if not sentence or _says_itself(field, code):
            return error
        typed = str(self[name].data)
        seen = typed if len(typed) <= SHOWN else f"{typed[:SHOWN]}…"
        return ValidationError(sentence, code=code, params={**(error.params or {}), "seen": seen})


def _sentence(field: forms.Field, code: str) -> str:
    if code == "required":
        return next(words for kind, words in EMPTY if isinstance(field, kind))
    if code == "invalid":
        needed = next((words for kind, words in KINDS if isinstance(field, kind)), "")
        return f"You entered “%(seen)s”; {needed}." if needed else ""
    if code == "max_length" and isinstance(field, forms.FileField):
        return ""  # of its name, with parameters of its own
    return SENTENCES.get(code, "")


def _says_itself(field: forms.Field, code: str) -> bool:
    """Whether the field was given, or has, a sentence of its own for this."""
    own = field.error_messages.get(code)
    djangos = [vars(kind).get("default_error_messages", {}) for kind in type(field).__mro__ if _is_djangos(kind)]
    return own is not None and not any(each.get(code) is own for each in djangos)


def _is_djangos(kind: type) -> bool:
    return kind.__module__.startswith("django.")
