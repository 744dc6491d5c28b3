"""How files that come again are read: kept by name from the page of a file, listed, renamed and deleted."""

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from inspections.models import SheetMapping
from inspections.pages.sheets import KINDS, SheetActView
from inspections.services.intake import mappings, sheets
from reels.domain.text import set_apart
from reels.models import columns
from reels.pages.act_fields import READ_ON_A_LINE
from reels.pages.acts import ActForm, ComparedView
from reels.pages.answers import page, reader, show


class MappingNameForm(ActForm):
    name = forms.CharField(label="Name", max_length=80, validators=[READ_ON_A_LINE])


@page
def all_mappings(request: HttpRequest) -> HttpResponse:
    """Every mapping that is not deleted."""
    rows = [
        {"mapping": each, "holds": KINDS[each.understood["file"]], "columns": each.understood["columns"].items()}
        for each in mappings.mappings(reader(request))
    ]  # fmt: skip
    return show(request, "inspections/mappings.html", {"rows": rows, "section": "people"})


class MappingKeepView(SheetActView):
    """Keep by a name how a file is read."""

    form_class = MappingNameForm
    title, button = "Keep how it is read", "Keep it"
    says = "A file with the same headings is offered to be read so; the command and scripts name it."

    def form_options(self) -> dict[str, Any]:
        used = sheets.mapping_of(self.subject)
        return {"initial": {"name": mappings.of(used, self.person).name}} if used else {}

    def do(self, data: dict[str, Any]) -> None:
        kept = mappings.keep(name=data["name"], understood=sheets.understanding_of(self.subject),
                             used=sheets.mapping_of(self.subject), actor=self.actor, at=self.at)  # fmt: skip
        sheets.say(self.subject, mappings.understanding_of(kept), self.at, mapping=kept.pk)
        self.message = f"Kept for the next time: {set_apart(kept.name)}."

    def done_at(self) -> str:
        return reverse("sheet-look", args=[self.subject.pk])


class MappingView(ComparedView):
    """An act on one mapping."""

    template_name = "reels/form.html"
    subject: SheetMapping

    def find(self, mapping_id: int) -> None:  # type: ignore[override]  # the address names the mapping
        self.subject = mappings.of(mapping_id, self.person)

    def elsewhere(self) -> str:
        return self.done_at() if self.subject.ended_at else ""

    def looked_at(self) -> Any:
        return columns(mappings.of(self.subject.pk, self.person))

    def done_at(self) -> str:
        return reverse("mappings")

    def context(self) -> dict[str, Any]:
        return {"section": "people"}


class MappingRenameView(MappingView):
    form_class = MappingNameForm
    button = "Rename it"
    says = "Commands and scripts that name it by its old name are refused from now on."

    @property
    def title(self) -> str:
        return f"Rename the mapping {set_apart(self.subject.name)}"

    def form_options(self) -> dict[str, Any]:
        return {"initial": {"name": self.subject.name}}

    def do(self, data: dict[str, Any]) -> None:
        mappings.rename(self.subject, name=data["name"], actor=self.actor, at=self.at)
        self.message = f"Renamed: {set_apart(data['name'])}."


class MappingEndView(MappingView):
    button = "Delete it"
    says = "No file is read by it any more. What was brought in by it stays, and the register still tells how it read."

    @property
    def title(self) -> str:
        return f"Delete the mapping {set_apart(self.subject.name)}"

    def do(self, data: dict[str, Any]) -> None:
        mappings.end(self.subject, actor=self.actor, at=self.at)
        self.message = f"Deleted: {set_apart(self.subject.name)}."
