"""Help asked for, a referred count released, a count ended, a signed one taken back."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from inspections import access
from inspections.domain.words import LIVE, Act, Decision, InspectionState
from inspections.errors import NotAuthorised
from inspections.models import Inspection, Void
from inspections.pages.forms import ConfirmForm, HelpForm, ReasonForm, ReleaseForm
from inspections.pages.inspection_page import inspection_page
from inspections.queries.counts import open_referral, void_of
from inspections.services import counting, signing
from reels.models import Person
from reels.pages.acts import NOT_TAKEN, carry_out, new_token
from reels.pages.answers import form_page, reader, show
from reels.services.history import Actor

Doing = Callable[[Actor, dict[str, Any]], None]


@form_page
def ask_for_help(request: HttpRequest, inspection_id: int) -> HttpResponse:
    """Put the count before an authorised person."""
    inspection = _inspection(request, inspection_id)
    if inspection.state not in (InspectionState.OPEN, InspectionState.AWAITING_SIGN_OFF):
        return redirect("inspection", inspection_id)

    def act(actor: Actor, given: dict[str, Any]) -> None:
        counting.ask_for_help(inspection_id=inspection_id, actor=actor, at=timezone.now(), **given)

    form = HelpForm(request.POST or None)
    return _answer(request, inspection, form, act, "inspections/count/help.html", {}, then="referral")


@form_page
def referral(request: HttpRequest, inspection_id: int) -> HttpResponse:
    """What is referred, by whom, why and what is proposed; and its release."""
    inspection = _inspection(request, inspection_id)
    found = open_referral(inspection)
    if inspection.state != InspectionState.REFERRED or found is None:
        return redirect("inspection", inspection_id)

    def act(actor: Actor, given: dict[str, Any]) -> None:
        decision = Decision(given["decision"])
        counting.release(inspection_id=inspection_id, decision=decision, reason=given["reason"], actor=actor,
                         at=timezone.now())  # fmt: skip

    person, at = reader(request), timezone.now()
    form = ReleaseForm(request.POST or None, has_proposed=found.proposed is not None)
    shown = {
        "page": inspection_page(inspection_id, person, at), "why_not": _may_not_release(inspection, person)
    }  # fmt: skip
    return _answer(request, inspection, form, act, "inspections/count/referral.html", shown)


@form_page
def cancel(request: HttpRequest, inspection_id: int) -> HttpResponse:
    """End a count without a result."""
    inspection = _inspection(request, inspection_id)
    if inspection.state not in LIVE:
        return redirect("inspection", inspection_id)

    def act(actor: Actor, given: dict[str, Any]) -> None:
        counting.cancel(inspection_id=inspection_id, actor=actor, at=timezone.now(), **given)

    return _answer(request, inspection, ReasonForm(request.POST or None), act, "inspections/count/cancel.html", {})


@form_page
def void(request: HttpRequest, inspection_id: int) -> HttpResponse:
    """Ask that a signed count be taken back, or, as another person, confirm it."""
    inspection = _inspection(request, inspection_id)
    if inspection.state != InspectionState.SIGNED:
        return redirect("inspection", inspection_id)
    asked: Void | None = void_of(inspection)

    def act(actor: Actor, given: dict[str, Any]) -> None:
        at = timezone.now()
        if asked:
            signing.confirm_void(inspection_id=inspection_id, actor=actor, at=at)
        else:
            signing.request_void(inspection_id=inspection_id, actor=actor, at=at, **given)

    kind = ConfirmForm if asked else ReasonForm
    form = kind(request.POST if request.method == "POST" else None)
    return _answer(request, inspection, form, act, "inspections/count/void.html", {"asked": asked})


# Smaller steps ------------------------------------------------------------------------------------------------------


def _inspection(request: HttpRequest, inspection_id: int) -> Inspection:
    return access.inspection_for_read(inspection_id, reader(request), timezone.now())


def _answer(request: HttpRequest, inspection: Inspection, form: forms.Form, act: Doing, template: str,
            shown: dict[str, Any], then: str = "inspection") -> HttpResponse:  # fmt: skip
    def do(actor: Actor) -> str:
        act(actor, form.cleaned_data)
        return reverse(then, args=[inspection.pk])

    if request.method == "POST" and form.is_valid() and (done := carry_out(request, form, do)):
        return done
    about = {"form": form, "inspection": inspection, "reel": inspection.reel, "token": new_token(), **shown}
    answer = show(request, template, about, inspection.reel.site)
    answer.status_code = NOT_TAKEN if form.errors else 200
    return answer


def _may_not_release(inspection: Inspection, person: Person) -> str:
    """Why this person has no form here, or nothing."""
    if inspection.participants.filter(person=person).exists():
        return "You took part in this count, so another person releases it."
    try:
        access.authorisation_for(person, Act.RELEASE, inspection.reel, timezone.now())
    except NotAuthorised as refused:
        return str(refused)
    return ""
