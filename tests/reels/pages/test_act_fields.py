"""One declaration makes the form of a page and the body of the API."""

from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal

import pytest
from rest_framework.exceptions import ValidationError

from reels.api.act_fields import takes
from reels.api.forms import Form
from reels.domain.act_fields import FieldKind, act_field, fields_of
from reels.pages.act_fields import asks
from reels.pages.acts import ActForm


@dataclass(frozen=True, slots=True, kw_only=True)
class SplicingFields:
    """One of each kind; what is not declared is no field."""

    cable: str = act_field(FieldKind.SERIAL, label="Cable", missing="Name the cable.")
    at_site: str = act_field(FieldKind.CODE, label="Site")
    by: str = act_field(FieldKind.USERNAME, label="Who spliced it", help="Who did it.")
    place_m: Decimal = act_field(FieldKind.LENGTH, label="Place", hint="From the outer end.")
    turns: int = act_field(FieldKind.WHOLE, label="Turns")
    kind: str = act_field(FieldKind.WORD, label="Kind", words=[("long", "a long splice"), ("short", "a short one")])
    done_at: datetime | None = act_field(FieldKind.MOMENT, label="When", default=None)
    is_whipped: bool = act_field(FieldKind.YES_NO, label="Its ends are whipped", default=False)
    document: str = act_field(FieldKind.TEXT, label="Document", most=12, default="")
    remark: str = act_field(FieldKind.REMARK, label="Remark", default="")
    password: str = act_field(FieldKind.SECRET, label="Your password")
    inner: int = 0


@asks(SplicingFields, turns={"label": "Turns of wire"}, cable={"choices": [("C-1", "C-1")]},
      at_site={"choices": [("aldermere", "Aldermere")]}, by={"choices": [("tess", "Tess")]})  # fmt: skip
class SplicingForm(ActForm):
    pass


@takes(SplicingFields)
class SplicingIn(Form):
    pass


@asks(SplicingFields, "document", "turns")
class ShortSplicingForm(ActForm):
    pass


BODY = {"cable": "C-1", "at_site": "aldermere", "by": "tess", "place_m": "2.5", "turns": 3, "kind": "long",
        "done_at": "2026-03-02T08:30:00Z", "is_whipped": True, "document": "WO-7", "password": " secret "}  # fmt: skip
TYPED = {**BODY, "turns": "3", "done_at": "2026-03-02T08:30", "is_whipped": "on"}
VALUES = {**BODY, "place_m": Decimal("2.5"), "done_at": datetime(2026, 3, 2, 8, 30, tzinfo=UTC), "remark": ""}


def test_form_and_body_take_the_same_values_under_the_same_names():
    form = SplicingForm(TYPED)
    assert form.is_valid(), form.errors
    assert form.cleaned_data == dict(SplicingIn.shared().run_validation(BODY)) == VALUES
    assert list(form.fields) == list(SplicingIn.shared().fields) == list(fields_of(SplicingFields))


def test_what_is_declared_without_a_default_may_not_be_left_out():
    form = SplicingForm({})
    needed = {"cable", "at_site", "by", "place_m", "turns", "kind", "password"}
    assert set(form.errors) == needed
    assert form.errors["cable"] == ["Name the cable."]
    with pytest.raises(ValidationError) as refused:
        SplicingIn.shared().run_validation({})
    assert isinstance(refused.value.detail, dict)
    assert set(refused.value.detail) == needed


def test_what_is_too_long_or_no_word_of_the_list_is_refused_by_both():
    wrong = {"document": "a longer number", "kind": "middling"}
    form = SplicingForm({**TYPED, **wrong})
    assert set(form.errors) == set(wrong)
    with pytest.raises(ValidationError) as refused:
        SplicingIn.shared().run_validation({**BODY, **wrong})
    assert isinstance(refused.value.detail, dict)
    assert set(refused.value.detail) == set(wrong)


def test_a_page_says_what_is_declared_unless_it_says_otherwise_itself():
    fields = SplicingForm().fields
    assert (fields["turns"].label, fields["place_m"].label, fields["place_m"].help_text) == (
        "Turns of wire", "Place", "From the outer end.",
    )  # fmt: skip
    assert SplicingIn.shared().fields["by"].help_text == "Who did it."
    assert list(ShortSplicingForm().fields) == ["document", "turns"]
