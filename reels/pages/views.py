"""Logging in and out."""

from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from reels import access
from reels.domain.words import LengthUnit
from reels.errors import TooManyTries
from reels.models import Person
from reels.pages.answers import reader
from reels.pages.plain import PlainForm
from reels.services import logins, register
from reels.services.browsers import Origin, origin_of
from reels.services.history import Actor


class LoginForm(PlainForm, AuthenticationForm):
    code = forms.CharField(required=False, max_length=40)
    error_messages = {
        "invalid_login": "This user name, password and code do not go together, or the login is no longer in use.",
    }
    locked: TooManyTries | None = None

    def clean(self) -> dict[str, Any]:
        cleaned = self.cleaned_data
        if {"username", "password"} <= cleaned.keys() and not self.errors:
            self.user_cache = self._found(cleaned, origin_of(self.request) if self.request else Origin())
        return cleaned

    def _found(self, cleaned: dict[str, Any], origin: Origin) -> Person:
        try:
            person = logins.log_in(username=cleaned["username"], password=cleaned["password"],
                                   code=cleaned.get("code", ""), origin=origin, at=timezone.now())  # fmt: skip
        except TooManyTries as refused:
            self.locked = refused
            raise forms.ValidationError(str(refused)) from refused
        if person is None:
            raise self.get_invalid_login_error()
        return person


class Login(LoginView):
    template_name = "reels/login.html"
    authentication_form = LoginForm
    redirect_authenticated_user = True

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        """nobody_yet: in a new service, that says how one begins."""
        return super().get_context_data(nobody_yet=access.first_administrator() is None, **context)

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        person = form.get_user()
        alarms = logins.alarms_since_last_login(person) if isinstance(person, Person) else 0
        answer = super().form_valid(form)
        if alarms:
            message = f"Since you last logged in, logins were locked after wrong passwords: {alarms}. See People."
            messages.warning(self.request, message)
        return answer

    def form_invalid(self, form: AuthenticationForm) -> HttpResponse:
        answer = self.render_to_response(self.get_context_data(form=form), status=422)
        if isinstance(form, LoginForm) and form.locked:
            answer.status_code, answer.headers["Retry-After"] = 429, str(form.locked.facts["retry_after_s"])
        return answer


class Logout(LogoutView):
    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        answer = super().post(request, *args, **kwargs)
        messages.success(request, "You are logged out.")
        return answer


@require_POST
def length_unit(request: HttpRequest) -> HttpResponse:
    """Lengths in the other unit from now on, and back to where one was."""
    unit = LengthUnit.FEET if request.POST.get("unit") == LengthUnit.FEET else LengthUnit.METRES
    register.prefer_length_unit(unit=unit, actor=Actor(reader(request)), at=timezone.now())
    back = request.POST.get("next", "")
    is_ours = url_has_allowed_host_and_scheme(back, {request.get_host()}, require_https=request.is_secure())
    return redirect(back if is_ours else "/")
