"""One's own login: its password, its second factor, its sessions."""

from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from reels import access
from reels.domain.words import AskedAt
from reels.errors import Refused, TooManyTries
from reels.pages.acts import NOT_TAKEN, SEE_OTHER
from reels.pages.answers import form_page, page, reader, show
from reels.pages.figures import code_picture
from reels.services import logins, people, second_factor
from reels.services.history import Actor

TOO_MANY = 429


def _password(label: str, kind: str) -> forms.CharField:
    widget = forms.PasswordInput(attrs={"autocomplete": kind})
    says = {"required": "Type the password."}
    return forms.CharField(label=label, max_length=200, widget=widget, strip=False, error_messages=says)


class OwnPasswordForm(forms.Form):
    password = _password("Your password, again", "current-password")


class PasswordChangeForm(forms.Form):
    password = _password("Your password now", "current-password")
    new_password = _password("New password", "new-password")
    again = _password("New password, once more", "new-password")

    def clean_again(self) -> str:
        if self.cleaned_data["again"] != self.cleaned_data.get("new_password"):
            raise forms.ValidationError("The new password was typed in two ways; type it again.")
        return str(self.cleaned_data["again"])


class CodeForm(forms.Form):
    code = forms.CharField(
        label="Code that the device shows", max_length=40, error_messages={"required": "Type the code."},
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "one-time-code"}),
    )  # fmt: skip


@page
def account(request: HttpRequest) -> HttpResponse:
    """What there is to know and to do about one's own login."""
    person = reader(request)
    return show(request, "reels/account.html", {"person": person, "factor": access.second_factor_of(person)})


@sensitive_post_parameters()
@form_page
def change_password(request: HttpRequest) -> HttpResponse:
    """A new password of one's own."""
    form = PasswordChangeForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            proof = _prove(request, form.cleaned_data["password"])
            people.change_password(proof, password=form.cleaned_data["new_password"], at=timezone.now())
        except Refused as refused:
            return _change_form(request, _told(form, refused), refused)
        update_session_auth_hash(request, reader(request))
        messages.success(request, "Your password is changed; all your other sessions have ended.")
        return redirect("account")
    return _change_form(request, form, None)


@sensitive_post_parameters()
@form_page
def second_factor_page(request: HttpRequest) -> HttpResponse:
    """Set up a device that shows one-time codes, or take it out of force."""
    act = ACTS.get(request.POST.get("act", ""))
    if request.method == "POST" and act is not None:
        return act(request)
    return _factor_page(request, OwnPasswordForm())


@require_POST
def end_sessions(request: HttpRequest) -> HttpResponse:
    """End every other session of one's own."""
    person = reader(request)
    people.end_sessions(actor=Actor(person), at=timezone.now())
    update_session_auth_hash(request, person)
    messages.success(request, "All your other sessions have ended.")
    return HttpResponseRedirect(reverse("account"), status=SEE_OTHER)


# Smaller steps ------------------------------------------------------------------------------------------------------


def _begin(request: HttpRequest) -> HttpResponse:
    form = OwnPasswordForm(request.POST)
    if not form.is_valid():
        return _factor_page(request, form)
    try:
        _prove(request, form.cleaned_data["password"])
        secret = second_factor.begin(actor=Actor(reader(request)), at=timezone.now())
    except Refused as refused:
        return _factor_page(request, _told(form, refused), refused)
    address = second_factor.address_for_device(reader(request), secret)
    about = {"form": CodeForm(), "secret": secret, "picture": code_picture(address)}
    return render(request, "reels/second_factor_device.html", about)


def _confirm(request: HttpRequest) -> HttpResponse:
    form = CodeForm(request.POST)
    if form.is_valid():
        try:
            codes = second_factor.confirm(
                code=form.cleaned_data["code"], actor=Actor(reader(request)), at=timezone.now()
            )
        except Refused as refused:
            _told(form, refused)
        else:
            update_session_auth_hash(request, reader(request))
            return render(request, "reels/recovery_codes.html", {"codes": codes})
    return render(request, "reels/second_factor_device.html", {"form": form}, status=NOT_TAKEN)


def _end(request: HttpRequest) -> HttpResponse:
    form = OwnPasswordForm(request.POST)
    if not form.is_valid():
        return _factor_page(request, form)
    try:
        _prove(request, form.cleaned_data["password"])
        second_factor.end_own(actor=Actor(reader(request)), at=timezone.now())
    except Refused as refused:
        return _factor_page(request, _told(form, refused), refused)
    update_session_auth_hash(request, reader(request))
    messages.success(request, "Your second factor is out of force; all your other sessions have ended.")
    return redirect("account")


ACTS = {"begin": _begin, "confirm": _confirm, "end": _end}


def _prove(request: HttpRequest, password: str) -> logins.Proof:
    address = request.META.get("REMOTE_ADDR")
    return logins.prove(Actor(reader(request)), password, asked_at=AskedAt.ACCOUNT, address=address, at=timezone.now())


def _told(form: forms.Form, refused: Refused) -> forms.Form:
    named = (*refused.fields, str(refused.facts.get("field", "")))
    place = next((name for name in named if name in form.fields), None)
    form.add_error("new_password" if place == "password" and "field" in refused.facts else place, str(refused))
    return form


def _change_form(request: HttpRequest, form: forms.Form, refused: Refused | None) -> HttpResponse:
    about: dict[str, Any] = {
        "form": form, "title": "Change your password", "button": "Change it", "back": "account",
        "says": "At least 10 characters; several words are easier to keep than signs. All your other sessions end.",
    }  # fmt: skip
    return _with_status(render(request, "reels/form.html", about), form, refused)


def _factor_page(request: HttpRequest, form: forms.Form, refused: Refused | None = None) -> HttpResponse:
    about = {"form": form, "factor": access.second_factor_of(reader(request))}
    return _with_status(render(request, "reels/second_factor.html", about), form, refused)


def _with_status(answer: HttpResponse, form: forms.Form, refused: Refused | None) -> HttpResponse:
    answer.status_code = NOT_TAKEN if form.errors else 200
    if isinstance(refused, TooManyTries):
        answer.status_code, answer.headers["Retry-After"] = TOO_MANY, str(refused.facts["retry_after_s"])
    return answer
