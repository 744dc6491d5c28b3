"""Who asks: a person in a session, or a script with a token.

REST framework imports this module while it makes its own views, so it imports none of them.
"""

from collections.abc import Sequence
from typing import Any

from django.utils import timezone
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from reels import access
from reels.errors import OnlyInPerson, ScopeMissing
from reels.models import ApiToken, Person
from reels.services import tokens
from reels.services.history import Actor

# What somebody may do whose password is not their own yet, or who lacks a second factor that everybody needs.
WAY_OUT = {
    "session_show", "session_end", "session_password", "session_second_factor_begin", "session_second_factor_confirm",
}  # fmt: skip


class BearerAuthentication(BaseAuthentication):
    """`Authorization: Bearer SECRET`. Expired, revoked and unknown tokens are told apart by nobody."""

    def authenticate(self, request: Request) -> tuple[Person, ApiToken] | None:
        parts = get_authorization_header(request).split()
        if not parts or parts[0].lower() != b"bearer":
            return None
        token = tokens.holder(parts[1].decode("latin-1"), timezone.now()) if len(parts) == 2 else None
        if token is None:
            raise AuthenticationFailed("The token is not known, has expired or was revoked.")
        return token.person, token

    def authenticate_header(self, request: Request) -> str:
        return 'Bearer realm="Wrapledger"'


class MayUse(BasePermission):
    """Whoever is logged in, and a token only for what its scopes name. Rules about people are the services'."""

    def has_permission(self, request: Request, view: Any) -> bool:
        if not request.user.is_authenticated:
            return False
        operation = getattr(view, "operation", None)
        if operation is None:
            return True  # the view answers 405
        if isinstance(request.auth, ApiToken):
            self._check_scope(request.auth, operation.scopes)
        elif operation.id not in WAY_OUT:
            access.require_own_login(request.user)
        return True

    def _check_scope(self, token: ApiToken, needed: Sequence[str]) -> None:
        if not needed:
            raise OnlyInPerson()
        if not set(needed) & set(token.scopes):
            raise ScopeMissing(needed=" or ".join(needed), token=token.name, scopes=", ".join(token.scopes) or "none")


def actor_of(request: Request) -> Actor:
    """Who acts, and through which interface."""
    person: Any = request.user
    token = request.auth
    return Actor(person, via=f"token {token.name}" if isinstance(token, ApiToken) else "session")
