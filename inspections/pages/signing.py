"""After entry, before signing: the two compared, the count worked out and weighed, and the signatures."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from inspections import access
from inspections.domain import drift
from inspections.domain.words import InspectionState, Meaning
from inspections.models import Inspection
from inspections.pages.forms import CutForm, PasswordForm, ReasonForm, cut_before
from inspections.pages.inspection_page import inspection_page
from inspections.queries.histories import plausibility_of
from inspections.services import counting, maintenance, outliers, signing
from reels.domain.words import LengthUnit
from reels.errors import Refused
from reels.models import Person
from reels.pages.acts import NOT_TAKEN, at_site, carry_out, new_token
from reels.pages.answers import form_page, reader, show
from reels.pages.formats import length
from reels.services.history import Actor
from reels.services.reels import CableEventFacts

WHICH = "act"  # a hidden field: which of the page's forms was sent
FORMS: dict[str, type[forms.Form]] = {
    "cut": CutForm, "read_again": ReasonForm, "accept": ReasonForm, "sign": PasswordForm
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """How the count fits the reel's history. open: it cannot be signed as it stands."""

    said: str
    is_surprising: bool
    is_open: bool
    cut: str


@form_page
def result(request: HttpRequest, inspection_id: int) -> HttpResponse:
    """What both have keyed, worked out; what the history says of it; and the two signatures."""
    person, at = reader(request), timezone.now()
    inspection = access.inspection_for_read(inspection_id, person, at)
    if inspection.state != InspectionState.AWAITING_SIGN_OFF:
        return redirect("inspection", inspection_id)
    sent = request.POST.get(WHICH, "")
    with at_site(inspection.reel.site):
        made = {which: _form(which, request, inspection, sent) for which in FORMS}
        if sent in made and made[sent].is_valid() and (done := _do(request, sent, made[sent], inspection)):
            return done
    about = {
        **made, "page": inspection_page(inspection_id, person, at), "inspection": inspection, "reel": inspection.reel,
        "weighed": _weighed(inspection, person), "meaning": _meaning(inspection, person), "token": new_token(),
        "refused": made.get(sent),
    }  # fmt: skip
    answer = show(request, "inspections/count/result.html", about, inspection.reel.site)
    answer.status_code = NOT_TAKEN if sent else 200
    return answer


def _form(which: str, request: HttpRequest, inspection: Inspection, sent: str) -> forms.Form:
    initial = cut_before(inspection.done_at) if which == "cut" else None
    return FORMS[which](request.POST if sent == which else None, initial=initial, auto_id=f"{which}_%s")


def _weighed(inspection: Inspection, person: Person) -> Weighed | None:
    found = plausibility_of(inspection)
    if found is None:
        return None
    return Weighed(
        said=drift.plausibility_in_words(found, LengthUnit(person.length_unit)),
        is_surprising=found.is_outlier,
        is_open=outliers.open_outlier(inspection) is not None,
        cut=length(found.cut_m, person.length_unit, 1) if found.cut_m else "",
    )


def _meaning(inspection: Inspection, person: Person) -> Meaning | None:
    """What this person's signature would say, if it is their turn."""
    part = inspection.participants.filter(person=person).values_list("role", flat=True).first()
    signed = set(inspection.sign_offs.values_list("meaning", flat=True))
    turn = Meaning.VERIFIED if Meaning.COUNTED in signed else Meaning.COUNTED
    return turn if part == signing.ROLE_OF[turn] else None


def _do(request: HttpRequest, which: str, form: forms.Form, inspection: Inspection) -> HttpResponse | None:
    given = form.cleaned_data
    if which == "sign":
        return _sign(request, form, inspection)
    return carry_out(request, form, lambda actor: ACTS[which](inspection, given, actor, timezone.now()))


def _sign(request: HttpRequest, form: forms.Form, inspection: Inspection) -> HttpResponse | None:
    """The password is checked, slowly by design, before any transaction begins."""
    try:
        signer = signing.prove(
            Actor(reader(request)), form.cleaned_data["password"], at=timezone.now(),
            address=request.META.get("REMOTE_ADDR"),
        )  # fmt: skip
    except Refused as refused:
        form.add_error("password", str(refused))
        return None

    def act(actor: Actor) -> str:
        meaning = Meaning(request.POST["meaning"]) if request.POST.get("meaning") in set(Meaning) else Meaning.COUNTED
        signing.sign_as(signer, inspection_id=inspection.pk, meaning=meaning, at=timezone.now())
        return reverse("result", args=[inspection.pk])

    return carry_out(request, form, act)


def _log_cut(inspection: Inspection, given: dict[str, Any], actor: Actor, at: datetime) -> str:
    facts = CableEventFacts(kind="cut", **given)
    maintenance.log_cable_event(serial=inspection.reel.serial, facts=facts, actor=actor, at=at)
    return reverse("result", args=[inspection.pk])


def _read_again(inspection: Inspection, given: dict[str, Any], actor: Actor, at: datetime) -> str:
    counting.read_again(inspection_id=inspection.pk, actor=actor, at=at, **given)
    return reverse("inspection", args=[inspection.pk])


def _accept(inspection: Inspection, given: dict[str, Any], actor: Actor, at: datetime) -> str:
    outliers.accept_outlier(inspection_id=inspection.pk, actor=actor, at=at, **given)
    return reverse("result", args=[inspection.pk])


ACTS: dict[str, Callable[[Inspection, dict[str, Any], Actor, datetime], str]] = {
    "cut": _log_cut, "read_again": _read_again, "accept": _accept,
}  # fmt: skip
