"""One's own login: its password, its second factor, its sessions."""

from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.decorators import method_decorator
from django.views.decorators.debug import sensitive_post_parameters

from reels import access
from reels.domain.act_fields import CodeFields, OwnPasswordFields, PasswordChangeFields, fields_of
from reels.domain.words import AskedAt
from reels.errors import NotFound, Refused, ValueNotTaken
from reels.pages.act_fields import asks, field_of, form_of
from reels.pages.acts import SEE_OTHER, ActForm, ActView
from reels.pages.answers import page, reader, show
from reels.pages.figures import code_picture
from reels.services import logins, people, second_factor
from reels.services.browsers import origin_of
from reels.services.submissions import SentAnswer

NEW = {"widget": forms.PasswordInput(attrs={"autocomplete": "new-password"})}
CODE = {"widget": forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "one-time-code"})}
OwnPasswordForm = form_of(OwnPasswordFields)
CodeForm = form_of(CodeFields, code=CODE)


@asks(PasswordChangeFields, new_password=NEW)
class PasswordChangeForm(ActForm):
    again = field_of(fields_of(PasswordChangeFields)["new_password"], label="New password, again", **NEW)

    def clean_again(self) -> str:
        if self.cleaned_data["again"] != self.cleaned_data.get("new_password"):
            raise forms.ValidationError("The two new passwords differ; type them again.")
        return str(self.cleaned_data["again"])


@page
def account(request: HttpRequest) -> HttpResponse:
    """What there is to know and to do about one's own login."""
    return show(request, "reels/account.html", _about(request))


def _about(request: HttpRequest) -> dict[str, Any]:
    person = reader(request)
    return {"person": person, "factor": access.second_factor_of(person), "form": ActForm()}


@method_decorator(sensitive_post_parameters(), name="dispatch")
class OwnLoginView(ActView):
    """An act on one's own login, which ends one's other sessions."""

    def prepare(self, data: dict[str, Any]) -> None:
        if "password" in data:
            origin = origin_of(self.request)
            self.proof = logins.prove(self.actor, data["password"], asked_at=AskedAt.ACCOUNT, origin=origin, at=self.at)

    def done_at(self) -> str:
        return reverse("account")

    def respond(self, answer: SentAnswer, *, is_repeat: bool) -> HttpResponse:
        """The session that the act was sent in goes on."""
        self.person.refresh_from_db()
        update_session_auth_hash(self.request, self.person)
        return super().respond(answer, is_repeat=is_repeat)


class PasswordView(OwnLoginView):
    form_class = PasswordChangeForm
    template_name = "reels/form.html"
    title, button = "Change your password", "Change the password"
    says = "At least 10 characters; several words are easier to remember than symbols. All your other sessions end."
    message = "Your password is changed; all your other sessions have ended."

    def do(self, data: dict[str, Any]) -> None:
        people.change_password(self.proof, password=data["new_password"], at=self.at)

    def names_in(self, refused: Refused) -> tuple[str, ...]:
        """What the rules of passwords refuse is the new one."""
        return ("new_password",) if isinstance(refused, ValueNotTaken) else super().names_in(refused)


class SessionsEndView(OwnLoginView):
    http_method_names = ["post"]
    status_done = SEE_OTHER
    template_name = "reels/account.html"
    message = "All your other sessions have ended."

    def context(self) -> dict[str, Any]:
        return _about(self.request)

    def do(self, data: dict[str, Any]) -> None:
        people.end_sessions(actor=self.actor, at=self.at)


class SecondFactorView(OwnLoginView):
    """Set up a device that shows one-time codes, or take it out of force. Secret and codes are shown, and not kept."""

    template_name = "reels/second_factor.html"
    acts = ("begin", "confirm", "end")

    def form(self, data: QueryDict | None = None, files: Any = None) -> ActForm:
        if self.which == "confirm":
            self.template_name = "reels/second_factor_device.html"
            return CodeForm(data)
        return OwnPasswordForm(data)

    def context(self) -> dict[str, Any]:
        return {"factor": access.second_factor_of(self.person)}

    def do(self, data: dict[str, Any]) -> None:
        match self.which:
            case "begin":
                second_factor.begin(actor=self.actor, at=self.at)
            case "confirm":
                self.codes = second_factor.confirm(code=data["code"], actor=self.actor, at=self.at)
            case "end":
                second_factor.end_own(actor=self.actor, at=self.at)
                self.message = "Your second factor is out of force; all your other sessions have ended."

    def respond(self, answer: SentAnswer, *, is_repeat: bool) -> HttpResponse:
        if self.which == "begin":
            return self.device()
        response = super().respond(answer, is_repeat=is_repeat)
        if self.which == "confirm" and is_repeat:
            messages.warning(
                self.request, "Your second factor is in force. Its recovery codes were shown with the first answer, "
                "and are not kept. Did you not see them, take it out of force and set it up again."
            )  # fmt: skip
        elif self.which == "confirm":
            return render(self.request, "reels/recovery_codes.html", {"codes": self.codes})
        return response

    def device(self) -> HttpResponse:
        """The secret for the device; the same one however often the form is sent, until it is in force."""
        try:
            secret = second_factor.secret_begun(self.person, self.at)
        except NotFound:
            return redirect("second-factor")
        address = second_factor.address_for_device(self.person, secret)
        about = {"form": CodeForm(), "secret": secret, "picture": code_picture(address), "seen": ""}
        return render(self.request, "reels/second_factor_device.html", about)
