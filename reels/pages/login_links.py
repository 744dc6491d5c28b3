"""Links that are good once: a login of one's own, with a password that nobody else ever knew.

The secret comes in the query, which no log of ours holds, and goes straight into the session: the page that is shown
has an address without it, so nothing that is followed from there tells it.
"""

from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters

from reels.domain.act_fields import NewPasswordFields, PersonFields, fields_of
from reels.domain.words import LinkPurpose
from reels.errors import LinkNotGood, Refused, TooManyTries, ValueNotTaken
from reels.models import LoginLink
from reels.pages.act_fields import asks, field_of
from reels.pages.acts import TOO_MANY, UNPROCESSABLE, ActForm, beside
from reels.pages.answers import form_page
from reels.services import login_links
from reels.services.browsers import origin_of

GONE = 410
IN_QUERY, IN_SESSION = "good-once", "login_link"
NEW = {"widget": forms.PasswordInput(attrs={"autocomplete": "new-password"})}
NAME = {"widget": forms.TextInput(attrs={"autocomplete": "username", "autocapitalize": "none", "spellcheck": "false"})}


@asks(NewPasswordFields, new_password=NEW)
class OwnPasswordByLinkForm(ActForm):
    again = field_of(fields_of(NewPasswordFields)["new_password"], label="The same password again", help_text="", **NEW)

    def clean_again(self) -> str:
        if self.cleaned_data["again"] != self.cleaned_data.get("new_password"):
            raise forms.ValidationError("The two passwords differ; type them again.")
        return str(self.cleaned_data["again"])


@asks(PersonFields, username=NAME)
class AdministratorForm(OwnPasswordByLinkForm):
    """Who they are, before the password."""


TITLES = {
    LinkPurpose.FIRST: "Begin with Wrapledger: the first administrator",
    LinkPurpose.SECOND: "Join as the second administrator",
    LinkPurpose.PASSWORD: "Choose your password",
}


def link_address(request: HttpRequest, secret: str) -> str:
    """The whole address of a link, to be handed over."""
    return request.build_absolute_uri(f"{reverse('login-link')}?{IN_QUERY}={secret}")


@login_not_required
@sensitive_post_parameters()
@form_page
def login_link(request: HttpRequest) -> HttpResponse:
    """Make a login of one's own, or give it a password; and be logged in."""
    at = timezone.now()
    try:
        if IN_QUERY in request.GET:
            login_links.opened(request.GET[IN_QUERY], origin=origin_of(request), at=at)
            request.session[IN_SESSION] = request.GET[IN_QUERY]
            return redirect("login-link")
        link = login_links.good(request.session.get(IN_SESSION, ""), at)
    except (LinkNotGood, TooManyTries) as refused:
        return _not_good(request, refused)
    return _used(request, link) if request.method == "POST" else _shown(request, link, _form_for(link)())


def _not_good(request: HttpRequest, refused: Refused) -> HttpResponse:
    if not isinstance(refused, TooManyTries):
        return render(request, "reels/link_not_good.html", {"why": refused}, status=GONE)
    answer = render(request, "reels/link_not_good.html", {"why": refused}, status=TOO_MANY)
    answer.headers["Retry-After"] = str(refused.facts["retry_after_s"])
    return answer


def _form_for(link: LoginLink) -> type[ActForm]:
    return OwnPasswordByLinkForm if link.purpose == LinkPurpose.PASSWORD else AdministratorForm


def _shown(request: HttpRequest, link: LoginLink, form: ActForm, status: int = 200) -> HttpResponse:
    about = {"form": form, "link": link, "title": TITLES[LinkPurpose(link.purpose)]}
    return render(request, "reels/login_link.html", about, status=status)


def _used(request: HttpRequest, link: LoginLink) -> HttpResponse:
    form = _form_for(link)(request.POST)
    if not form.is_valid():
        return _shown(request, link, form, UNPROCESSABLE)
    typed: dict[str, Any] = {name: form.cleaned_data[name] for name in form.cleaned_data if name != "again"}
    secret, password, second, at = request.session[IN_SESSION], typed.pop("new_password"), "", timezone.now()
    try:
        if link.purpose == LinkPurpose.PASSWORD:
            person = login_links.set_password(secret, password=password, at=at)
        else:
            person, second = login_links.make_administrator(secret, password=password, at=at, **typed)
    except LinkNotGood as refused:
        return _not_good(request, refused)
    except Refused as refused:
        _put_beside(form, refused)
        return _shown(request, link, form, UNPROCESSABLE)
    del request.session[IN_SESSION]
    login(request, person)
    if second:
        return render(request, "reels/second_link.html", {"address": link_address(request, second)})
    messages.success(request, "Your login is your own: nobody else has ever known this password.")
    return redirect("/")


def _put_beside(form: ActForm, refused: Refused) -> None:
    """Say what was refused beside the field that it is about."""
    name = refused.facts.get("field", "") if isinstance(refused, ValueNotTaken) else ""
    name = "new_password" if name == "password" else name
    form.add_error(name if name in form.fields else None, beside(refused) if name in form.fields else str(refused))
