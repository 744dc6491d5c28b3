"""The fields of an act's form, made from its declaration."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any, TypeVar

from django import forms

from reels import access
from reels.domain.act_fields import PASSWORD_MOST, REMARK_MOST, ActField, FieldKind, fields_of
from reels.domain.text import character_not_taken
from reels.pages.acts import ActForm, AnswersField

AnyForm = TypeVar("AnyForm", bound=forms.Form)
KEYED = {"inputmode": "numeric", "autocomplete": "off"}  # the browser offers nothing that was typed before
# Of what is read off a plate: nothing fills it in.
READ_OFF = {"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
# Where nothing is preset, since not to know is an answer too.
YES_NO_OR_NOT_KNOWN: dict[str, Any] = {
    "made": forms.TypedChoiceField, "choices": [("", "not known"), ("yes", "yes"), ("no", "no")], "empty_value": None,
    "coerce": lambda word: word == "yes",
}  # fmt: skip
LINE = {"widget": forms.TextInput()}  # where a page asks for a few words, and the API takes more


def asks(declaration: type, *names: str, **changes: dict[str, Any]) -> Callable[[type[AnyForm]], type[AnyForm]]:
    """Give a form the fields of a declaration, before its own: all, or those that are named.

    changes: by field, what this page says or does otherwise, as the field's own options.
    """

    def add(form: type[AnyForm]) -> type[AnyForm]:
        declared: Any = fields_of(declaration)
        made = {name: field_of(declared[name], **changes.get(name, {})) for name in names or declared}
        form.base_fields = form.declared_fields = {**made, **form.declared_fields}
        return form

    return add


def form_of(declaration: type, *names: str, base: type[ActForm] = ActForm, **changes: dict[str, Any]) -> type[ActForm]:
    """The form that has the fields of a declaration and no others, as `asks` gives them."""
    return asks(declaration, *names, **changes)(type(declaration.__name__, (base,), {}))


def _readable(has_lines: bool) -> Callable[[str], None]:
    def check(text: str) -> None:
        if seen := character_not_taken(text, has_lines=has_lines):
            raise forms.ValidationError(f"This text can't hold {seen}. Take it out.")

    return check


READ_ON_A_LINE, READ_IN_LINES = _readable(False), _readable(True)


def reel_types_offered() -> list[tuple[str, str]]:
    """The codes of reel types, as what a form offers."""
    return [(each.code, each.code) for each in access.reel_types()]


def field_of(field: ActField, **changes: Any) -> forms.Field:
    options: dict[str, Any] = {"label": field.label, "help_text": field.hint, "required": field.is_required}
    if field.missing:
        options["error_messages"] = {"required": field.missing}
    made, more = MAKERS[field.kind]
    if field.kind in (FieldKind.TEXT, FieldKind.REMARK):
        options["max_length"] = field.most or REMARK_MOST
        options["validators"] = [READ_IN_LINES if field.kind is FieldKind.REMARK else READ_ON_A_LINE]
    if field.words:
        options["choices"] = field.words
    options |= {**more, **changes}
    maker: type[forms.Field] = options.pop("made", made)
    return maker(**options)


_MOMENT = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
_LENGTH = forms.NumberInput(attrs={"inputmode": "decimal", "step": "any"})
_DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
_SECRET = forms.PasswordInput(attrs={"autocomplete": "current-password"})
# Of something that is there already, the page says which there are.
_CHOICE: tuple[type[forms.Field], dict[str, Any]] = (forms.ChoiceField, {})
MAKERS: dict[FieldKind, tuple[type[forms.Field], dict[str, Any]]] = {
    FieldKind.TEXT: (forms.CharField, {}),
    FieldKind.REMARK: (forms.CharField, {"widget": forms.Textarea(attrs={"rows": 3})}),
    FieldKind.SECRET: (forms.CharField, {"max_length": PASSWORD_MOST, "strip": False, "widget": _SECRET}),
    FieldKind.MOMENT: (forms.DateTimeField, {"widget": _MOMENT}),
    FieldKind.LENGTH: (
        forms.DecimalField,
        {"min_value": Decimal("0.01"), "max_value": Decimal(99999), "decimal_places": 3, "widget": _LENGTH},
    ),
    FieldKind.WHOLE: (forms.IntegerField, {"min_value": 0, "max_value": 9999, "widget": forms.NumberInput(KEYED)}),
    FieldKind.YES_NO: (forms.BooleanField, {}), FieldKind.DAY: (forms.DateField, {"widget": _DAY}),
    FieldKind.CODES: (forms.MultipleChoiceField, {"widget": forms.CheckboxSelectMultiple}),
    FieldKind.ANSWERS: (AnswersField, {}),
    FieldKind.WORD: _CHOICE, FieldKind.SERIAL: _CHOICE, FieldKind.CODE: _CHOICE, FieldKind.USERNAME: _CHOICE,
}  # fmt: skip
