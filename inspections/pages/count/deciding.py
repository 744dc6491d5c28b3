"""Help asked for, a referred count decided on, a count ended, a signed one taken back."""

from typing import Any, ClassVar

from django.http import QueryDict
from django.urls import reverse

from inspections import access
from inspections.domain.words import LIVE, Act, Decision, InspectionState
from inspections.errors import NotAuthorised
from inspections.models import Inspection
from inspections.pages.count.forms import ConfirmForm, HelpForm, ReasonForm, ReleaseForm
from inspections.pages.count.inspection_page import inspection_page
from inspections.pages.reel.act_page import ReelActView
from inspections.queries.counts import void_of
from inspections.services import counting, signing
from reels.models import Reel
from reels.pages.acts import UNPROCESSABLE, ActForm


class InspectionActView(ReelActView):
    """An act on an inspection, the row of its subject, while that is in one of some states."""

    states: ClassVar[tuple[InspectionState, ...]]
    status_not_allowed = UNPROCESSABLE
    row: Inspection

    def subject(self, inspection_id: int) -> tuple[Reel, Any]:  # type: ignore[override]  # the address names it
        row = access.inspection_for_read(inspection_id, self.person, self.at)
        return row.reel, row

    @property
    def named(self) -> str:
        return f"count {self.row.pk}" if self.row.hides_serial else super().named

    def elsewhere(self) -> str:
        return "" if self.row.state in self.states else reverse("inspection", args=[self.row.pk])

    def context(self) -> dict[str, Any]:
        return {**super().context(), "inspection": self.row}

    def done_at(self) -> str:
        return reverse("inspection", args=[self.row.pk])


class WhileReadView(InspectionActView):
    """It rests on the state alone: the other of the two may key on while the form is filled in."""

    def seen(self) -> str:
        return self.row.state

    def lock(self) -> None:
        super().lock()
        self.row.refresh_from_db(fields=["state"])


class HelpView(WhileReadView):
    """Put the count before an authorised person."""

    states = (InspectionState.OPEN, InspectionState.AWAITING_SIGN_OFF)
    form_class = HelpForm
    template_name = "inspections/count/help.html"

    def do(self, data: dict[str, Any]) -> None:
        counting.ask_for_help(inspection_id=self.row.pk, actor=self.actor, at=self.at, **data)
        self.message = "Help is asked for. An authorised person decides on the count."

    def done_at(self) -> str:
        return reverse("referral", args=[self.row.pk])


class CancelView(WhileReadView):
    """End a count without a result."""

    states = tuple(LIVE)
    form_class = ReasonForm
    template_name = "inspections/count/cancel.html"

    def do(self, data: dict[str, Any]) -> None:
        counting.cancel(inspection_id=self.row.pk, actor=self.actor, at=self.at, **data)
        self.message = "The count is ended without a result."


class ReferralView(InspectionActView):
    """What is referred, by whom, why and what is proposed; and what is decided on it."""

    states = (InspectionState.REFERRED,)
    form_class = ReleaseForm
    template_name = "inspections/count/referral.html"

    def form_options(self) -> dict[str, Any]:
        referral = self.row.referrals.order_by("id").last()
        return {"has_proposed": referral is not None and referral.proposed is not None}

    def context(self) -> dict[str, Any]:
        page = inspection_page(self.row.pk, self.person, self.at)
        return {**super().context(), "page": page, "why_not": self.why_not()}

    def why_not(self) -> str:
        """Why this person has no form here, or nothing."""
        if self.row.participants.filter(person=self.person).exists():
            return "You took part in this count, so another person decides on it."
        try:
            access.authorisation_for(self.person, Act.RELEASE, self.reel, self.at)
        except NotAuthorised as refused:
            return str(refused)
        return ""

    def do(self, data: dict[str, Any]) -> None:
        decision = Decision(data["decision"])
        counting.release(inspection_id=self.row.pk, decision=decision, reason=data["reason"], actor=self.actor,
                         at=self.at)  # fmt: skip
        self.message = f"Decided: {decision.replace('_', ' ')}."


class VoidView(InspectionActView):
    """Ask that a signed count be taken back, or, as another person, confirm it."""

    states = (InspectionState.SIGNED,)
    template_name = "inspections/count/void.html"
    withdraws = "if they came from this count, the void withdraws them"

    def find(self, **path: Any) -> None:
        super().find(**path)
        self.asked = void_of(self.row)

    def form(self, data: QueryDict | None = None, files: Any = None) -> ActForm:
        is_reason_typed = data is not None and "reason" in data  # and kept, though somebody else has asked since
        return ReasonForm(data) if is_reason_typed or not self.asked else ConfirmForm(data)

    def context(self) -> dict[str, Any]:
        return {**super().context(), "asked": self.asked}

    def do(self, data: dict[str, Any]) -> None:
        if self.asked:
            signing.confirm_void(inspection_id=self.row.pk, actor=self.actor, at=self.at)
            self.message = "The count is void."
        else:
            signing.request_void(inspection_id=self.row.pk, actor=self.actor, at=self.at, **data)
            self.message = "The void is asked for. Another person confirms it; until then the count stands."
