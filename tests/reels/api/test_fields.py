"""Strict fields. RFC 3339 cases and values from the RFC's own examples, as held in the project's check values."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rest_framework import serializers
from rest_framework.exceptions import ValidationError

from reels.api.fields import Day, Exact, Moment, Named, Remark, Text, Whole, Word, YesNo, moment
from reels.api.forms import Form

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


# Source: RFC 3339, section 5.8 (grammar and examples read in copies; the RFC's own text not read).
@pytest.mark.parametrize(
    ("text", "milliseconds"),
    [
        ("1985-04-12T23:20:50.52Z", 482196050520),
        ("1996-12-19T16:39:57-08:00", 851042397000),
        ("1996-12-20T00:39:57Z", 851042397000),
        ("1937-01-01T12:00:27.87+00:20", -1041337172130),
        ("1985-04-12t23:20:50.52z", 482196050520),
        ("1985-04-12T23:20:50.52-00:00", 482196050520),
    ],
)
def test_a_time_of_rfc_3339_is_read(text, milliseconds):
    assert (Moment().run_validation(text) - EPOCH) / timedelta(milliseconds=1) == milliseconds


@pytest.mark.parametrize(
    "text",
    [
        "1985-04-12T23:20:50", "1985-04-12 23:20:50Z", "1985-04-12", "1985-02-30T00:00:00Z", "1985-04-12T24:00:00Z",
        "1990-12-31T23:59:60Z", "1985-04-12T23:20Z", "1985-04-12T23:20:50+0100", "1985-04-12T23:20:50+25:00",
        "1985-04-12T23:20:50.1234567Z", "0001-01-01T00:00:00+01:00", "9999-12-31T23:59:59-01:00", "", "now",
        "19850412T232050Z", "1985-W15-5T23:20:50Z", "１985-04-12T23:20:50Z", "1985-04-12T23:20:50Z\n", 482196050, True,
    ],
)  # fmt: skip
def test_what_is_no_time_of_rfc_3339_or_of_ours_is_refused(text):
    with pytest.raises(ValidationError):
        Moment().run_validation(text)


@given(st.datetimes(timezones=st.just(UTC)))
def test_a_time_that_is_written_is_read_back(value):
    assert Moment().run_validation(moment(value)) == value


@pytest.mark.parametrize(
    ("field", "value"),
    [
        (Text(), 0), (Text(), True), (Text(), None), (Text(), []), (Text(), ""), (Text(), "  "), (Text(), "a\x00"),
        (Text(), "\ud800"), (Text(), "a\nb"), (Text(), "a\u202eb"), (Remark(), "a\u200bb"),
        (Whole(), "7"), (Whole(), 7.0), (Whole(), True), (Whole(), -1), (Whole(), 32768),
        (Whole(), 10**400), (YesNo(), 1), (YesNo(), "true"), (YesNo(), None), (Exact(), 1), (Exact(), 1.5),
        (Exact(), "1e3"), (Exact(), " 1"), (Exact(), "1."), (Exact(), ".5"), (Exact(), "NaN"), (Exact(), "Infinity"),
        (Exact(), "1_0"), (Exact(), "1.2345"), (Exact(), "9999999"), (Exact(), "١"), (Exact(), True),
        (Day(), "2026-3-2"),
        (Day(), "2026-02-30"), (Day(), 20260302), (Day(), "2026-03-02\n"), (Word(["a", "b"]), "c"), (Word(["1"]), 1),
        (Named("[a-z]+"), "a\n"), (Named("[a-z]+"), " a"), (Named("[a-z]+"), "A"), (Named("[0-9]+"), 7),
    ],
)  # fmt: skip
def test_a_value_of_another_kind_is_refused(field, value):
    with pytest.raises(ValidationError):
        field.run_validation(value)


def test_values_of_the_right_kind_are_taken_as_they_are():
    assert Text().run_validation(" a b ") == "a b"
    assert Whole().run_validation(0) == 0
    assert YesNo().run_validation(False) is False
    assert Exact().run_validation("-12.50") == Decimal("-12.50")
    assert Named("[a-z]+").run_validation("abc") == "abc"


class Inner(Form):
    n = Whole()


class Outer(Form):
    rows = Inner(many=True)


def test_an_unknown_field_is_named_wherever_it_stands_and_beside_what_else_is_wrong():
    form = Outer(data={"rows": [{"n": 1}, {"n": "1", "m": 2}], "x": None})
    assert not form.is_valid()
    assert form.errors["x"][0].code == "unknown_field"
    assert {name: errors[0].code for name, errors in form.errors["rows"][1].items()} == {
        "n": "invalid",
        "m": "unknown_field",
    }


class SplicingSheetIn(Form):
    cable = Text(max_length=8)
    place_m = Exact(max_digits=6, decimal_places=2)
    turns = Whole(min_value=1, max_value=9)
    marks = serializers.ListField(child=Text(max_length=2), max_length=1, allow_empty=False)
    page_size = serializers.IntegerField(required=False)
    share = serializers.FloatField(required=False, max_value=1)


@pytest.mark.parametrize(
    ("name", "value", "sentence"),
    [
        ("cable", None, "null was given; a value is needed."),
        ("cable", "", "This is empty; text is needed."),
        ("cable", "C-1234567", "The length of this is 9; at most 8 is allowed."),
        ("place_m", "1.234", "At most 2 digits are allowed after the decimal point; more were given."),
        ("place_m", "12345.6", "At most 4 digits are allowed before the decimal point; more were given."),
        ("turns", 12, "12 was given; at most 9 is allowed."),
        ("turns", 0, "0 was given; at least 1 is needed."),
        ("marks", "a", "A list is needed here, not str."),
        ("marks", [], "This list is empty; at least one item is needed."),
        ("marks", ["a", "b"], "The length of this is 2; at most 1 is allowed."),
        ("page_size", "many", "A whole number is needed here."),
        ("share", "most", "A number is needed here."),
        ("share", 1.5, "1.5 was given; at most 1 is allowed."),
    ],
)
def test_a_body_is_told_what_was_seen_and_what_is_allowed(name, value, sentence):
    with pytest.raises(ValidationError) as refused:
        SplicingSheetIn.shared().run_validation({name: value})
    assert [str(each) for each in refused.value.detail[name]] == [sentence]


def test_what_is_missing_is_named():
    with pytest.raises(ValidationError) as refused:
        SplicingSheetIn.shared().run_validation({})
    detail: Any = refused.value.detail
    assert {str(each) for errors in detail.values() for each in errors} == {"This is missing; a value is needed."}
