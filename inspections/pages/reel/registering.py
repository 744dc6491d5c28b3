"""A reel that is new to the records, registered by whoever maintains reels of its type at its site."""

from typing import Any

from django.urls import reverse

from inspections.access import authorisations_in_force
from inspections.domain.act_fields import NewReelFields
from inspections.domain.words import Act
from inspections.errors import NotAuthorised
from inspections.pages.reel.acts import LengthsForm
from inspections.services import maintenance
from reels import access
from reels.pages.act_fields import form_of
from reels.pages.acts import ActView
from reels.services.reels import ReelNumbers

NewReelForm = form_of(NewReelFields, base=LengthsForm)
NUMBERS = ("part_number", "cable_part_number", "cable_serial")


class ReelRegisterView(ActView):
    """One reel, with its first day in the records."""

    template_name = "reels/form.html"
    form_class = NewReelForm
    title, button = "Register a reel", "Register it"
    says = (
        "Its history begins here. Key what stands on its data plate and in its papers. It is counted before it is "
        "used. Many at once come from a file."
    )
    serial = ""

    def find(self, **path: Any) -> None:
        """Raises NotAuthorised for whoever maintains no reels anywhere."""
        own = authorisations_in_force(self.person, self.at).filter(act=Act.MAINTAIN)
        self.authorised = list(own.select_related("reel_type", "site"))
        if not self.authorised:
            access.require_settled(self.person)
            raise NotAuthorised(
                name=self.person.full_name, act=Act.MAINTAIN.verb, reel_type="any type", site="any site",
                on=self.at.date(),
            )  # fmt: skip

    def form_options(self) -> dict[str, Any]:
        types = {each.reel_type.code if each.reel_type else "" for each in self.authorised}
        sites = {each.site.code if each.site else "" for each in self.authorised}
        codes = [each.code for each in access.reel_types() if "" in types or each.code in types]
        at = access.readable_sites(self.person, self.at).values_list("code", "name")
        offered = {
            "reel_type": ("choose", [(code, code) for code in codes]),
            "site": ("choose", [(code, name) for code, name in at if "" in sites or code in sites]),
        }
        return {"unit": self.person.length_unit, "offered": offered}

    def done_at(self) -> str:
        return reverse("reel", args=[self.serial]) if self.serial else reverse("reels")

    def context(self) -> dict[str, Any]:
        return {"section": "reels"}

    def do(self, data: dict[str, Any]) -> None:
        numbers = ReelNumbers(**{name: data[name] for name in NUMBERS})
        reel = maintenance.receive_reel(
            serial=data["serial"], type_code=data["reel_type"], site_code=data["site"],
            received_on=data["received_on"], cable_length_m=data["length_m"], numbers=numbers, actor=self.actor,
            at=self.at,
        )  # fmt: skip
        self.serial = reel.serial
        self.message = f"Registered: reel {reel.serial}. It has to be counted before it is used."
