"""Tokens for scripts: one's own, made on one's own account; everybody's, for administrators. A secret is shown once."""

from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.views.decorators.debug import sensitive_post_parameters

from reels import access
from reels.domain.act_fields import ReasonFields, TokenFields
from reels.domain.words import AskedAt, Scope
from reels.models import ApiToken
from reels.pages.act_fields import LINE, form_of
from reels.pages.acts import ActForm, ActView
from reels.pages.answers import page, reader, show
from reels.services import logins, tokens
from reels.services.browsers import origin_of
from reels.services.submissions import SentAnswer

TokenForm = form_of(TokenFields)


@page
def all_tokens(request: HttpRequest) -> HttpResponse:
    """One's own tokens; every one, for administrators. Those in force first."""
    at = timezone.now()
    rows = [
        {"token": each, "is_in_force": each.revoked_at is None and each.expires_at > at,
         "scopes": [Scope(scope).spoken for scope in each.scopes]}
        for each in access.tokens_to_look_at(reader(request))
    ]  # fmt: skip
    rows.sort(key=lambda row: not row["is_in_force"])
    return show(request, "reels/tokens.html", {"rows": rows, "section": "account"})


@method_decorator(sensitive_post_parameters(), name="dispatch")
class TokenIssueView(ActView):
    """A token for oneself; by an administrator, for anybody with a login."""

    form_class = TokenForm
    template_name = "reels/form.html"
    title, button = "Make a token for a script", "Make it"
    says = (
        "A script that sends it acts with its owner's rights, as far as its scopes go, and never signs, issues or "
        "confirms. The secret is shown once."
    )
    secret = ""

    def form(self, data: Any = None, files: Any = None) -> ActForm:
        form = super().form(data, files)
        if not self.person.is_staff:
            del form.fields["person"]
        return form

    def form_options(self) -> dict[str, Any]:
        own = [(self.person.username, self.person.full_name)]
        if not self.person.is_staff:
            return {}
        others = access.people(self.person).filter(is_active=True).exclude(pk=self.person.pk)
        offered = [*own, *others.values_list("username", "full_name")]
        return {"offered": {"person": ("", offered)}}

    def require_allowed(self) -> None:
        access.require_settled(self.person)

    def prepare(self, data: dict[str, Any]) -> None:
        self.require_allowed()
        logins.prove(self.actor, data.pop("password"), asked_at=AskedAt.ACCOUNT, origin=origin_of(self.request),
                     at=self.at)  # fmt: skip

    def do(self, data: dict[str, Any]) -> None:
        username = data.get("person") or self.person.username
        own = username == self.person.username
        person = self.person if own else access.person_for_administrator(username, self.person)
        self.token, self.secret = tokens.issue(
            person=person, name=data["name"], scopes=[Scope(scope) for scope in data["scopes"]],
            expires_at=self.at + timedelta(days=int(data["days"])), actor=self.actor, at=self.at,
        )  # fmt: skip

    def respond(self, answer: SentAnswer, *, is_repeat: bool) -> HttpResponse:
        if self.secret:
            return render(self.request, "reels/token_secret.html", {"token": self.token, "secret": self.secret})
        messages.warning(
            self.request, "This token was made before, and its secret was shown with the first answer. Did you not see "
            "it, end the token and make another."
        )  # fmt: skip
        return super().respond(answer, is_repeat=is_repeat)

    def done_at(self) -> str:
        return reverse("tokens")


class TokenRevocationView(ActView):
    """End a token before its time."""

    form_class = form_of(ReasonFields, reason=LINE)
    template_name = "reels/form.html"
    button = "End it now"
    says = "A script that still sends it is refused from now on. The token stays on record."
    subject: ApiToken

    def find(self, token_id: int) -> None:  # type: ignore[override]  # the address names the token
        self.subject = access.token_to_revoke(token_id, self.person)

    @property
    def title(self) -> str:
        return f"End the token {self.subject.name}"

    def do(self, data: dict[str, Any]) -> None:
        tokens.revoke(token_id=self.subject.pk, reason=data["reason"], actor=self.actor, at=self.at)
        self.message = f"Ended: token {self.subject.name}."

    def done_at(self) -> str:
        return reverse("tokens")
