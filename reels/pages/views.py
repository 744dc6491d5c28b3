"""Logging in and out."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from reels.domain.words import LengthUnit
from reels.pages.answers import reader
from reels.services import register
from reels.services.history import Actor


class LoginForm(AuthenticationForm):
    error_messages = {
        "invalid_login": "This user name and password do not go together, or the login is no longer in use.",
        "inactive": "This login is no longer in use.",
    }


class Login(LoginView):
    template_name = "reels/login.html"
    authentication_form = LoginForm
    redirect_authenticated_user = True

    def form_invalid(self, form: AuthenticationForm) -> HttpResponse:
        return self.render_to_response(self.get_context_data(form=form), status=422)


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
