"""The reeling machines: where each is, what it takes, what is in it; added and changed by administrators."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone

from reels import access
from reels.domain.act_fields import ReelingMachineFields
from reels.models import Machine, columns
from reels.pages.act_fields import form_of, reel_types_offered
from reels.pages.acts import ActView, ChangeView
from reels.pages.answers import page, reader, show
from reels.services import register

MachineForm = form_of(ReelingMachineFields)


@page
def machines(request: HttpRequest) -> HttpResponse:
    """Every machine that the reader may see, with its gauges, its reel, and a hold on it."""
    person, at = reader(request), timezone.now()
    rows = list(access.machines_to_look_at(person, at))
    # An administrator sees the machines of sites at which they may see no reel.
    sites = set(access.readable_sites(person, at).values_list("pk", flat=True))
    return show(request, "inspections/machines.html", {"machines": rows, "sites": sites, "section": "gauges"})


class MachineWriteView(ActView):
    """An administrator's act that adds a machine or changes it."""

    template_name = "reels/form.html"
    form_class = MachineForm

    def find(self, **path: Any) -> None:
        access.only_administrators(self.person)

    def form_options(self) -> dict[str, Any]:
        sites = access.sites().values_list("code", "name")
        return {"offered": {"site": ("choose", sites), "types": ("", reel_types_offered())}}

    def done_at(self) -> str:
        return reverse("machines")

    def context(self) -> dict[str, Any]:
        return {"section": "gauges"}


class MachineAddView(MachineWriteView):
    title, button = "Add a reeling machine", "Add it"
    says = "Reels of the types that it takes can be issued for it and installed in it from then on, and no others."

    def do(self, data: dict[str, Any]) -> None:
        site = access.site(data.pop("site"))
        machine = register.add_machine(site=site, actor=self.actor, at=self.at, **data)
        self.message = f"Added: machine {machine.serial}. Register the wrap gauge that belongs to it."


class MachineChangeView(ChangeView, MachineWriteView):
    button = "Change it"
    says = "What it was stays in the register's history."
    subject: Machine

    def find(self, serial: str) -> None:  # type: ignore[override]  # the address names the machine
        super().find()
        self.subject = access.machine(serial)

    @property
    def title(self) -> str:
        return f"Change machine {self.subject.serial}"

    def form_options(self) -> dict[str, Any]:
        row = self.subject
        typed = {"serial": row.serial, "host": row.host, "site": row.site.code, "types": row.types}
        return {**super().form_options(), "initial": typed}

    def looked_at(self) -> Any:
        return columns(access.machine(self.subject.serial))

    def values(self, data: dict[str, Any]) -> dict[str, Any]:
        return {**data, "site": access.site(data["site"])}

    @property
    def named(self) -> str:
        return f"machine {self.subject.serial}"
