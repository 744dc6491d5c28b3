"""Logging in and out."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpRequest, HttpResponse


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
