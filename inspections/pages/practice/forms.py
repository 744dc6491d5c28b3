"""The forms of practice, but for the steps of a reading: they are entered in the form of the real worksheet."""

from collections.abc import Iterable
from typing import Any

from django import forms

from inspections.domain import keying
from inspections.domain.practice import LARGEST_SEED, Difficulty
from inspections.domain.practice.words import DIFFICULTY_NAMES
from inspections.pages.count.forms import SoundForm, serial_field
from reels.pages.act_fields import KEYED
from reels.pages.acts import ActForm

SET, REFER = "set", "refer"
WAYS = ((SET, "set the machine to these numbers"), (REFER, "put it before an authorised person"))


class ExerciseForm(ActForm):
    reel_type = forms.ChoiceField(label="Reel type", error_messages={"required": "Choose a reel type."})
    difficulty = forms.ChoiceField(
        label="Difficulty", choices=[(each.value, DIFFICULTY_NAMES[each]) for each in Difficulty],
        widget=forms.RadioSelect, initial=Difficulty.USUAL.value, error_messages={"required": "Choose one."},
    )  # fmt: skip
    seed = forms.IntegerField(
        label="Seed", required=False, min_value=0, max_value=LARGEST_SEED, widget=forms.NumberInput(attrs=KEYED),
        help_text="Empty: a new reel. The seed of an earlier one repeats it, which does not count towards readiness.",
    )  # fmt: skip

    def __init__(self, *args: Any, reel_types: Iterable[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["reel_type"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [(code, code) for code in reel_types]


class StandForm(SoundForm):
    serial = serial_field("reel", "its data plate")
    gauge_serial = serial_field("wrap gauge", "the gauge itself")

    field_order = ("serial", "gauge_serial", "all_sound", "not_sound")

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["not_sound"].help_text = "At the bench, each is recorded next as a finding."


class ResultForm(ActForm):
    layers = forms.IntegerField(
        label="Layers to set", required=False, min_value=0, max_value=keying.MOST,
        widget=forms.NumberInput(attrs=KEYED), help_text="After the corrections.",
    )  # fmt: skip
    wraps = forms.IntegerField(
        label="Wraps to set", required=False, min_value=0, max_value=keying.MOST,
        widget=forms.NumberInput(attrs=KEYED), help_text="After the corrections.",
    )  # fmt: skip
    way = forms.ChoiceField(
        label="Decision", choices=WAYS, widget=forms.RadioSelect, error_messages={"required": "Choose one."}
    )

    def clean(self) -> dict[str, Any]:
        """Numbers that are to be set have to be there."""
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        for name in ("layers", "wraps"):
            if cleaned.get("way") == SET and cleaned.get(name) is None and name not in self.errors:
                self.add_error(name, "Key the number to set, or put the reel before an authorised person.")
        return cleaned
