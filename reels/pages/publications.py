"""The publications that counts are worked by: every revision, one added, one taken out of force."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone

from reels import access
from reels.domain.act_fields import PublicationFields, ReasonFields
from reels.models import Publication
from reels.pages.act_fields import LINE, form_of, reel_types_offered
from reels.pages.acts import ActView
from reels.pages.answers import page, show
from reels.services import register


@page
def publications(request: HttpRequest) -> HttpResponse:
    """Every revision of every publication, the newest first, and which are in force."""
    rows = list(access.publications().order_by("code", "-valid_from", "-id"))
    return show(request, "reels/publications.html", {"publications": rows, "now": timezone.now(),
                                                     "section": "documents"})  # fmt: skip


class PublicationActView(ActView):
    """An act of an administrator's on the publications."""

    template_name = "reels/form.html"

    def find(self, **path: Any) -> None:
        access.only_administrators(self.person)

    def done_at(self) -> str:
        return reverse("publications")

    def context(self) -> dict[str, Any]:
        return {"section": "documents"}


class PublicationAddView(PublicationActView):
    """A publication, or a revision that supersedes the one before."""

    form_class = form_of(PublicationFields)
    title, button = "Add a publication", "Add it"
    says = (
        "A new revision supersedes the one before from the moment that it is in force: counts name it from then on, "
        "and those that were counted by an earlier one keep it."
    )

    def form_options(self) -> dict[str, Any]:
        return {"offered": {"types": ("", reel_types_offered())}}

    def do(self, data: dict[str, Any]) -> None:
        types = [access.reel_type(code) for code in data.pop("types")]
        added = register.add_publication(types=types, actor=self.actor, at=self.at, **data)
        self.message = f"Added: {added}."


class PublicationEndView(PublicationActView):
    """Take one out of force that no revision follows."""

    form_class = form_of(ReasonFields, reason=LINE)
    button = "Take it out of force"
    says = "No count can name it from now on. Counts that were worked by it keep it."
    subject: Publication

    def find(self, publication_id: int) -> None:  # type: ignore[override]  # the address names the publication
        super().find()
        self.subject = access.publication(publication_id)

    @property
    def title(self) -> str:
        return f"Take {self.subject} out of force"

    def do(self, data: dict[str, Any]) -> None:
        register.end_publication(self.subject, reason=data["reason"], actor=self.actor, at=self.at)
        self.message = f"Out of force: {self.subject}."
