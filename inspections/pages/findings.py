"""Findings on pages: recorded on a reel or at a step of its count, lowered and closed."""

from typing import Any, ClassVar

from django import forms
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone

from inspections import access
from inspections.domain.act_fields import FindingFields, RemedyFields
from inspections.domain.findings import OTHER, ReelPart, Remedy, Severity
from inspections.domain.words import LIVE, Act
from inspections.models import Finding
from inspections.pages.count.deciding import InspectionActView
from inspections.pages.count.forms import PhotoField, ReasonForm
from inspections.pages.count.photos import as_file
from inspections.pages.finding_rows import finding_rows
from inspections.pages.reel.act_page import ReelActView
from inspections.pages.reel.acts import LengthsForm
from inspections.queries.findings import kinds_of, photo_of
from inspections.services import findings
from reels.domain.words import Side
from reels.models import Reel, ReelType
from reels.pages.act_fields import asks, form_of
from reels.pages.answers import page, reader

# Recording ----------------------------------------------------------------------------------------------------------

_LINES: dict[str, Any] = {"widget": forms.Textarea(attrs={"rows": 2})}


@asks(
    FindingFields, "kind", "severity", "words", "layer", "side", "visible_wrap", "length_from_end_m",
    severity={"widget": forms.RadioSelect}, words=_LINES,
    side={"choices": [("", "not said"), *((each.value, each.value) for each in Side)]},
)  # fmt: skip
class FindingForm(LengthsForm):
    """What is not sound. A kind belongs to a part of the reel, so that one choice names both."""

    photo = PhotoField(label="Photo, if wanted", required=False)

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        if "kind" in data:
            data["part"], _, data["kind"] = data["kind"].partition(" ")
        return {**data, "side": data.get("side") or None}


def kinds_offered(reel_type: ReelType, only: ReelPart | None) -> list[tuple[str, list[tuple[str, str]]]]:
    """What a type's reels are looked over for, part by part, each with the least that it is recorded as.

    only: of this part alone.
    """
    kinds = kinds_of(reel_type)
    return [
        (
            part.spoken,
            [
                *((f"{part} {each.code}", f"{each.words} ({each.least_severity})")
                  for each in kinds if each.part == part),
                (f"{part} {OTHER}", f"something else about the {part.spoken} (stop)"),
            ],
        )
        for part in ([only] if only else ReelPart)
    ]  # fmt: skip


class FindingView(ReelActView):
    """Record a finding. It rests on the reel's other findings alone, so that none comes twice."""

    title, button = "Record a finding", "Record the finding"
    needs = findings.MAY_RECORD
    form_class = FindingForm
    template_name = "inspections/finding.html"
    withdraws = "a stop withdraws them"

    def form_options(self) -> dict[str, Any]:
        offered: Any = {"kind": ("choose", kinds_offered(self.reel.type, self.part))}
        return {"offered": offered, "unit": self.person.length_unit}

    @property
    def part(self) -> ReelPart | None:
        """The part that was found not sound, where that led here."""
        asked = self.request.GET.get("part", "")
        return ReelPart(asked) if asked in set(ReelPart) else None

    def seen(self) -> str:
        return str(self.reel.findings.count())

    def do(self, data: dict[str, Any]) -> None:
        photo = data.pop("photo")
        facts = FindingFields(**data)
        recorded = findings.record_finding(
            serial=self.reel.serial, facts=facts, photo=photo, actor=self.actor, at=self.at
        )
        follows = "The reel is held." if recorded.severity == Severity.STOP else "It comes up at each next preparation."
        self.message = f"Finding {recorded.pk} is recorded: {recorded.named}. {follows}"


class CountFindingView(FindingView, InspectionActView):
    """The same, at any step of a count, without the reel's serial while that is still to be read."""

    states = tuple(LIVE)
    withdraws = ""  # the numbers of the count before are no hint to who is reading

    def done_at(self) -> str:
        """Back to the worksheet, which leads to the next part that was found not sound, or to what stopped it."""
        return reverse("worksheet-technician", args=[self.row.pk]) if self.part else super().done_at()


# Deciding -----------------------------------------------------------------------------------------------------------


class FindingActView(ReelActView):
    """An act on a finding by an authorised person."""

    needs = (Act.RELEASE,)
    template_name = "inspections/finding_act.html"
    row: Finding

    def subject(self, finding_id: int) -> tuple[Reel, Any]:  # type: ignore[override]  # the address names it
        row = access.finding_for_read(finding_id, self.person, self.at)
        return row.reel, row

    def seen(self) -> str:
        """How the finding stands, whatever is keyed in the count meanwhile."""
        return f"{self.row.severity} {self.row.closed_at or ''}"

    def lock(self) -> None:
        super().lock()
        self.row = access.finding_for_read(self.row.pk, self.person, self.at)

    def elsewhere(self) -> str:
        return self.done_at() if self.row.closed_at else ""

    def context(self) -> dict[str, Any]:
        held = access.acts_held(self.person, self.reel, self.at)
        return {**super().context(), "findings": finding_rows([self.row], self.person, held)}


class FindingLowerView(FindingActView):
    title, button = "Make a stop a watch", "Make it a watch"
    means = "The reel may be used again, and the finding comes up at each next preparation."
    form_class: ClassVar[Any] = ReasonForm

    def elsewhere(self) -> str:
        return super().elsewhere() if self.row.is_open_stop else self.done_at()

    def do(self, data: dict[str, Any]) -> None:
        findings.lower_finding(finding_id=self.row.pk, reason=data["reason"], actor=self.actor, at=self.at)
        self.message = f"Finding {self.row.pk} is a watch now."


class FindingCloseView(FindingActView):
    title, button = "Close a finding", "Close the finding"
    means = "Once it is closed by work on the cable, the reel has to be counted again: no count from before holds."
    form_class = form_of(RemedyFields, remedy={"widget": forms.RadioSelect})

    def do(self, data: dict[str, Any]) -> None:
        remedy = Remedy(data["remedy"])
        findings.close_finding(
            finding_id=self.row.pk, remedy=remedy, reason=data["reason"], actor=self.actor, at=self.at
        )
        self.message = f"Finding {self.row.pk} is closed."


@page
def finding_photo(request: HttpRequest, finding_id: int) -> HttpResponse:
    """The photo of a finding, for whoever may see where that lies."""
    person, at = reader(request), timezone.now()
    finding = access.finding_for_read(finding_id, person, at)
    return as_file(photo_of(finding, person, access.releasing(person, at)), f"finding-{finding.pk}")
