"""After entry, before signing: the two compared, the count worked out and weighed, and the signatures."""

from dataclasses import dataclass
from typing import Any

from django.http import QueryDict
from django.urls import reverse

from inspections.domain import drift
from inspections.domain.words import InspectionState, Meaning
from inspections.models import Inspection
from inspections.pages.count.deciding import InspectionActView
from inspections.pages.count.forms import PasswordForm, ReasonForm
from inspections.pages.count.inspection_page import inspection_page
from inspections.pages.reel.acts import CutForm
from inspections.queries.findings import is_stopped
from inspections.queries.histories import plausibility_of
from inspections.services import counting, maintenance, outliers, signing
from reels.domain.words import LengthUnit
from reels.models import Person
from reels.pages.acts import ActForm
from reels.services.browsers import origin_of
from reels.services.reels import CableEventFacts

FORMS: dict[str, type[ActForm]] = {
    "cut": CutForm, "read_again": ReasonForm, "accept": ReasonForm, "sign": PasswordForm
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """How the count fits the reel's history. open: it cannot be signed as it stands."""

    said: str
    is_surprising: bool
    is_open: bool
    is_cut_likelier: bool


class ResultView(InspectionActView):
    """What both have keyed, worked out; what the history says of it; what can be done then; and the two signatures."""

    states = (InspectionState.AWAITING_SIGN_OFF,)
    template_name = "inspections/count/result.html"
    withdraws = "the second signature, or a cut, withdraws them"
    acts = tuple(FORMS)

    def elsewhere(self) -> str:
        return super().elsewhere() or (reverse("inspection", args=[self.row.pk]) if is_stopped(self.reel) else "")

    def form(self, data: QueryDict | None = None, files: Any = None) -> ActForm:
        """The form that was sent."""
        return self.form_of(self.which, data) if self.which else ActForm()

    def form_of(self, which: str, data: QueryDict | None = None) -> ActForm:
        options: dict[str, Any] = {"unit": self.person.length_unit} if which == "cut" else {}
        return FORMS[which](data, auto_id=f"{which}_%s", **options)

    def context(self) -> dict[str, Any]:
        """All forms that the page offers, and the one that was refused."""
        refused = {self.which: self.sent_form} if self.sent_form else {}
        return {
            **super().context(), **{which: self.form_of(which) for which in FORMS}, **refused,
            "page": inspection_page(self.row.pk, self.person, self.at), "weighed": _weighed(self.row, self.person),
            "meaning": _meaning(self.row, self.person), "refused": self.sent_form,
            "rules_in_the_way": signing.rules_in_the_way(self.row),
        }  # fmt: skip

    def prepare(self, data: dict[str, Any]) -> None:
        """The password is checked, slowly by design, before any transaction begins."""
        if self.which == "sign":
            origin = origin_of(self.request)
            self.signer = signing.prove(self.actor, data["password"], at=self.at, origin=origin)

    def do(self, data: dict[str, Any]) -> None:
        about: dict[str, Any] = {"inspection_id": self.row.pk, "actor": self.actor, "at": self.at}
        match self.which:
            case "cut":
                facts = CableEventFacts(kind="cut", **data)
                maintenance.log_cable_event(serial=self.reel.serial, facts=facts, actor=self.actor, at=self.at)
                self.message = "The cut is logged."
            case "read_again":
                counting.read_again(**about, **data)
                self.message = "The count is read again. All that was read before is kept."
            case "accept":
                outliers.accept_outlier(**about, **data)
                self.message = "The reason is recorded."
            case "sign":
                meaning = self.request.POST.get("meaning")
                meaning = Meaning(meaning) if meaning in set(Meaning) else Meaning.COUNTED
                signing.sign_as(self.signer, inspection_id=self.row.pk, meaning=meaning, at=self.at)
                self.message = f"Signed as “{meaning}”."

    def done_at(self) -> str:
        return reverse("inspection" if self.which == "read_again" else "result", args=[self.row.pk])


def _weighed(inspection: Inspection, person: Person) -> Weighed | None:
    plausibility = plausibility_of(inspection)
    if plausibility is None:
        return None
    return Weighed(
        said=drift.plausibility_in_words(plausibility, LengthUnit(person.length_unit)),
        is_surprising=plausibility.is_outlier,
        is_open=outliers.open_outlier(inspection) is not None,
        is_cut_likelier=plausibility.is_cut_likelier,
    )


def _meaning(inspection: Inspection, person: Person) -> Meaning | None:
    """What this person's signature would say, if it is their turn."""
    part = inspection.participants.filter(person=person).values_list("role", flat=True).first()
    signed = set(inspection.sign_offs.values_list("meaning", flat=True))
    turn = Meaning.VERIFIED if Meaning.COUNTED in signed else Meaning.COUNTED
    return turn if part == signing.ROLE_OF[turn] else None
