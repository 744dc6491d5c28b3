"""Sites: their names and clocks, kept by administrators."""

from typing import Any
from zoneinfo import available_timezones

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from reels import access
from reels.domain.act_fields import SiteFields
from reels.models import Site, columns
from reels.pages.act_fields import form_of
from reels.pages.acts import ActView, ChangeView
from reels.pages.answers import page, reader, show
from reels.services import register

SITE = ("name", "time_zone", "transit_days")
SiteForm = form_of(SiteFields)
SiteChangeForm = form_of(SiteFields, *SITE)


@page
def sites(request: HttpRequest) -> HttpResponse:
    """Every site, for administrators."""
    access.only_administrators(reader(request))
    return show(request, "reels/sites.html", {"sites": list(access.sites()), "section": "people"})


class SiteWriteView(ActView):
    """An administrator's act that adds a site or changes it."""

    template_name = "reels/form.html"

    def find(self, **path: Any) -> None:
        access.only_administrators(self.person)

    def form_options(self) -> dict[str, Any]:
        zones = [(name, name) for name in sorted(available_timezones())]
        return {"offered": {"time_zone": ("choose", zones)}, "initial": {"transit_days": 7}}

    def done_at(self) -> str:
        return reverse("sites")

    def context(self) -> dict[str, Any]:
        return {"section": "people"}


class SiteAddView(SiteWriteView):
    form_class = SiteForm
    title, button = "Add a site", "Add it"
    says = "Reels, machines and people are at a site; its clocks are those of its pages and documents."

    def do(self, data: dict[str, Any]) -> None:
        site = register.add_site(actor=self.actor, at=self.at, **data)
        self.message = f"Added: site {site.name}."


class SiteChangeView(ChangeView, SiteWriteView):
    form_class = SiteChangeForm
    button = "Change it"
    says = "What it was stays in the register's history. The code stays as it is."
    subject: Site

    def find(self, code: str) -> None:  # type: ignore[override]  # the address names the site
        super().find()
        self.subject = access.site(code)

    @property
    def title(self) -> str:
        return f"Change site {self.subject.code}"

    def form_options(self) -> dict[str, Any]:
        return {**super().form_options(), "initial": {name: getattr(self.subject, name) for name in SITE}}

    def looked_at(self) -> Any:
        return columns(access.site(self.subject.code))

    @property
    def named(self) -> str:
        return f"site {self.subject.code}"
