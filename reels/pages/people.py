"""People and their logins, for administrators: who waits to be enrolled, who was locked out, who lost a device."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils import timezone

from reels import access
from reels.errors import NotAllowed
from reels.models import Person
from reels.pages.acts import NOT_TAKEN, carry_out, new_token
from reels.pages.answers import form_page, page, reader, show
from reels.services import people, second_factor
from reels.services.history import Actor

ALARMS_SHOWN = 20


class CheckedForm(forms.Form):
    checked = forms.CharField(
        label="How you checked whose login it is", max_length=2000, help_text="It is kept, and cannot be taken back.",
        error_messages={"required": "Say how you checked it."},
    )  # fmt: skip


class WhyForm(forms.Form):
    reason = forms.CharField(label="Why", max_length=2000, error_messages={"required": "Say why."})


@page
def everybody(request: HttpRequest) -> HttpResponse:
    """Everybody with a login and how it stands; and the newest alarms."""
    administrator = reader(request)
    try:
        about = {
            "section": "people", "alarms": list(access.alarms(administrator)[:ALARMS_SHOWN]),
            "people": list(access.people_with_second_factor(administrator)),
        }  # fmt: skip
    except NotAllowed as refused:
        return show(request, "403.html", {"exception": str(refused)}, status=403)
    return show(request, "reels/people.html", about)


@form_page
def enrolment(request: HttpRequest, username: str) -> HttpResponse:
    """Say that one has checked whose login this is."""

    def act(person: Person, given: dict[str, Any], actor: Actor) -> None:
        people.enrol(person, checked=given["checked"], actor=actor, at=timezone.now())

    about = {
        "button": "Enrol", "what": "Enrol {}",
        "says": "You say that you know, or have seen by a pass, who this is, and that nobody else has this login. "
        "Whoever gave the login its password cannot say so.",
    }  # fmt: skip
    return _act(request, username, CheckedForm(_posted(request)), act, about)


@form_page
def second_factor_end(request: HttpRequest, username: str) -> HttpResponse:
    """Take a lost second factor out of force."""

    def act(person: Person, given: dict[str, Any], actor: Actor) -> None:
        second_factor.end_of_another(person, reason=given["reason"], actor=actor, at=timezone.now())

    about = {
        "button": "Take it out of force", "what": "The second factor of {}",
        "says": "For a device that is lost, and the recovery codes with it. All sessions end, and another "
        "administrator enrols its owner again.",
    }  # fmt: skip
    return _act(request, username, WhyForm(_posted(request)), act, about)


def _act(request: HttpRequest, username: str, form: forms.Form, act: Callable[[Person, dict[str, Any], Actor], None],
         about: dict[str, str]) -> HttpResponse:  # fmt: skip
    try:
        person = access.person_for_administrator(username, reader(request))
    except NotAllowed as refused:
        return show(request, "403.html", {"exception": str(refused)}, status=403)

    def do(actor: Actor) -> str:
        act(person, form.cleaned_data, actor)
        return reverse("people")

    if request.method == "POST" and form.is_valid() and (done := carry_out(request, form, do)):
        messages.success(request, f"Done for {person.full_name}.")
        return done
    title = about["what"].format(person.full_name)
    shown = {**about, "form": form, "title": title, "token": new_token(), "back": "people", "section": "people"}
    return show(request, "reels/form.html", shown, status=NOT_TAKEN if form.errors else 200)


def _posted(request: HttpRequest) -> QueryDict | None:
    return request.POST if request.method == "POST" else None
