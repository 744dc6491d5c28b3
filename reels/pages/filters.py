"""Filters of pages: they stand in the address, and what makes no sense there is left out."""

from collections.abc import Iterable
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.http import QueryDict

from reels.pages.plain import PlainForm


class ChoiceFilter(forms.ChoiceField):
    """One of several, or all of them. everything: the words for all; what may be chosen may depend on who looks."""

    def __init__(self, label: str, everything: str, offered: Iterable[str | tuple[str, str]] = ()) -> None:
        super().__init__(label=label, required=False)
        self.everything = everything
        self.offer(offered)

    def offer(self, offered: Iterable[str | tuple[str, str]]) -> None:
        """What may be chosen: values with their words, or values that are their own words."""
        pairs = ((each, each) if isinstance(each, str) else each for each in offered)
        self.choices = [("", self.everything), *pairs]


class DayFilter(forms.DateField):
    def __init__(self, label: str) -> None:
        super().__init__(label=label, required=False, widget=forms.DateInput(attrs={"type": "date"}))


class MomentFilter(forms.DateTimeField):
    """A time at the clocks of the zone that is set."""

    def __init__(self, label: str) -> None:
        widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
        super().__init__(label=label, required=False, widget=widget)


class Filter(PlainForm):
    """The base of a page's filters. data: the address's parameters; offered: what may be chosen in a ChoiceFilter."""

    ids = "filter-%s"

    def __init__(self, data: QueryDict, **offered: Iterable[str | tuple[str, str]]) -> None:
        super().__init__(data, auto_id=self.ids)
        for name, choices in offered.items():
            field: Any = self.fields[name]
            field.offer(choices)
        self.is_valid()

    @property
    def chosen(self) -> dict[str, Any]:
        """The filters that are set and make sense."""
        return {name: value for name, value in self.cleaned_data.items() if value}

    @property
    def kept(self) -> dict[str, str]:
        """The same, as they stand in an address."""
        return {name: str(value) for name, value in self.chosen.items()}

    @property
    def query(self) -> str:
        return f"?{urlencode(self.kept)}"
