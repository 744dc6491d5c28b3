"""What a form says of what it cannot take: what was entered, and what is allowed."""

import pytest
from django import forms
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils.datastructures import MultiValueDict

from reels.pages.plain import PlainForm


class SplicingSheet(PlainForm):
    cable = forms.CharField(max_length=8, min_length=2)
    place_m = forms.DecimalField(min_value=1, max_value=420, decimal_places=3, max_digits=7)
    turns = forms.IntegerField(min_value=1, max_value=9)
    weight_kg = forms.FloatField()
    day = forms.DateField()
    at = forms.DateTimeField()
    kind = forms.ChoiceField(choices=[("long", "a long splice"), ("short", "a short one")])
    is_whipped = forms.BooleanField()
    picture = forms.FileField()
    by = forms.CharField(error_messages={"required": "Say who spliced it."})


@pytest.mark.parametrize(
    ("name", "typed", "sentence"),
    [
        ("cable", "", "Nothing is entered; this is needed."),
        ("cable", "C-123456789", "You entered 11 characters; at most 8 are allowed."),
        ("cable", "C", "You entered 1 characters; at least 2 are needed."),
        ("place_m", "500", "You entered 500; at most 420 is allowed."),
        ("place_m", "0.5", "You entered 0.5; at least 1 is needed."),
        ("place_m", "far", "You entered “far”; a number is needed, such as 12.5."),
        ("place_m", "1.2345", "You entered 1.2345; at most 3 digits are allowed after the decimal point."),
        ("place_m", "12345", "You entered 12345; at most 420 is allowed."),
        ("turns", "1.5", "You entered “1.5”; a whole number is needed."),
        ("turns", "x" * 60, f"You entered “{'x' * 40}…”; a whole number is needed."),
        ("weight_kg", "heavy", "You entered “heavy”; a number is needed, such as 12.5."),
        ("day", "soon", "You entered “soon”; a day is needed, such as 2026-03-02."),
        ("at", "soon", "You entered “soon”; a day and a time are needed, such as 2026-03-02 08:30."),
        ("kind", "", "Nothing is chosen; choose one."),
        ("kind", "loose", "“loose” cannot be chosen here; choose one that is listed."),
        ("is_whipped", "", "This is not ticked; it has to be."),
        ("picture", "", "No file is chosen; one is needed."),
        ("by", "", "Say who spliced it."),
    ],
)
def test_a_form_says_what_was_entered_and_what_is_allowed(name, typed, sentence):
    form = SplicingSheet({name: typed})
    assert sentence in form.errors[name]


def test_what_a_page_finds_itself_is_said_as_it_says_it():
    form = SplicingSheet({"turns": "3"})
    form.add_error("turns", "The wire takes 4.")
    form.add_error(None, "The splice is too short.")
    assert form.errors["turns"] == ["The wire takes 4."]
    assert form.non_field_errors() == ["The splice is too short."]


def test_a_file_is_told_by_what_is_wrong_with_it():
    class PictureSheet(PlainForm):
        picture = forms.FileField(max_length=5)

    def sent(name, content):
        return PictureSheet({}, MultiValueDict({"picture": [SimpleUploadedFile(name, content)]}))

    empty = sent("a.png", b"")
    assert empty.errors["picture"] == ["The file is empty; choose another one."]
    long_name = sent("a_picture.png", b"x")
    assert "13" in long_name.errors["picture"][0]


def test_markup_that_was_typed_is_shown_as_text():
    assert "&lt;b&gt;" in str(SplicingSheet({"turns": "<b>"}).errors["turns"])
