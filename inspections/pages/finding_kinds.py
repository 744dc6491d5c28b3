"""The kinds of findings that the reels of each type are looked over for; added and changed by administrators."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from inspections import access
from inspections.domain.act_fields import PARTS, SEVERITIES, FindingKindFields
from inspections.domain.findings import ReelPart, Severity
from inspections.models import FindingKind
from inspections.services import findings
from reels import access as reel_access
from reels.models import columns
from reels.pages.act_fields import form_of, reel_types_offered
from reels.pages.acts import ActView, ChangeView
from reels.pages.answers import page, show

CHANGED = ("words", "least_severity", "is_offered")
KindAddForm = form_of(FindingKindFields, "reel_type", "part", "code", "words", "least_severity")
KindChangeForm = form_of(FindingKindFields, *CHANGED)


@page
def kinds(request: HttpRequest) -> HttpResponse:
    """Every kind, by type and part; `other` is every type's and not among them."""
    rows = access.finding_kinds().order_by("reel_type__code", "id")
    shown = [{"row": each, "part": ReelPart(each.part).spoken} for each in rows]
    return show(request, "inspections/finding_kinds.html", {"kinds": shown, "section": "findings"})


class KindWriteView(ActView):
    """An administrator's act that adds a kind or changes it."""

    template_name = "reels/form.html"

    def find(self, **path: Any) -> None:
        reel_access.only_administrators(self.person)

    def done_at(self) -> str:
        return reverse("finding-kinds")

    def context(self) -> dict[str, Any]:
        return {"section": "findings"}


class KindAddView(KindWriteView):
    form_class = KindAddForm
    title, button = "Add a kind of finding", "Add it"
    says = "Who looks over a reel of the type can choose it from then on. Every type has “other” beside its own kinds."

    def form_options(self) -> dict[str, Any]:
        offered = {
            "reel_type": ("choose", reel_types_offered()), "part": ("choose", PARTS),
            "least_severity": ("choose", SEVERITIES),
        }  # fmt: skip
        return {"offered": offered}

    def do(self, data: dict[str, Any]) -> None:
        kind = findings.add_kind(
            reel_type=reel_access.reel_type(data["reel_type"]), part=ReelPart(data["part"]), code=data["code"],
            words=data["words"], least_severity=Severity(data["least_severity"]), actor=self.actor, at=self.at,
        )  # fmt: skip
        self.message = f"Added: {kind}."


class KindChangeView(ChangeView, KindWriteView):
    form_class = KindChangeForm
    button = "Change it"
    says = "Findings that are on record keep the words they were recorded with. Type, part and code stay as they are."
    subject: FindingKind

    def find(self, kind_id: int) -> None:  # type: ignore[override]  # the address names the kind
        super().find()
        self.subject = access.finding_kind(kind_id)

    @property
    def title(self) -> str:
        return f"Change “{self.subject.words}” of type {self.subject.reel_type.code}"

    def form_options(self) -> dict[str, Any]:
        return {"initial": {name: getattr(self.subject, name) for name in CHANGED}}

    def looked_at(self) -> Any:
        return columns(access.finding_kind(self.subject.pk))
