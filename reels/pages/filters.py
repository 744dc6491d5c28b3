"""Filters of pages: they stand in the address, and what makes no sense there is left out."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.http import QueryDict


class Filter(forms.Form):
    """The base of a page's filters.

    data: the address's parameters; offered: the choices of each field whose choices depend on who looks, the first of
    them, with the value "", for all.
    """

    ids = "filter-%s"

    def __init__(self, data: QueryDict, **offered: Sequence[tuple[str, str]]) -> None:
        super().__init__(data, auto_id=self.ids, label_suffix="")
        for name, choices in offered.items():
            field: Any = self.fields[name]
            field.choices = choices
        self.is_valid()

    @property
    def chosen(self) -> dict[str, Any]:
        """The filters that are set and make sense."""
        return {name: value for name, value in self.cleaned_data.items() if value}
