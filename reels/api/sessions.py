"""Sessions: logging in and out, and what people do about their own login."""

from typing import Any

from django.contrib.auth import login, logout, update_session_auth_hash
from django.middleware.csrf import get_token
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.permissions import BasePermission
from rest_framework.request import Request
from rest_framework.views import APIView

from reels.api import serializers as shapes
from reels.api.authentication import MayUse
from reels.api.endpoints import Call, Endpoint, action, read
from reels.domain.words import AskedAt
from reels.services import logins, people, second_factor


class LogsIn(BasePermission):
    """Anybody may log in; all else is for who has."""

    def has_permission(self, request: Request, view: APIView) -> bool:
        return request.method == "POST" or MayUse().has_permission(request, view)


class SessionEndpoint(Endpoint):
    permission_classes = (LogsIn,)

    @action("session_begin", shapes.SessionOut, shapes.SessionIn)
    def post(self, call: Call) -> dict[str, Any]:
        """Log in. The cookie that is set, and X-CSRFToken with the token given here, go with every later request."""
        person = logins.log_in(**{"code": "", **call.payload}, origin=call.origin, at=call.at)
        if person is None:
            raise AuthenticationFailed("The user name, the password or the code is not right.")
        login(call.request._request, person)
        return {"person": person, "csrf_token": get_token(call.request._request)}

    @read("session_show", shapes.SessionOut, scope=None)
    def get(self, call: Call) -> dict[str, Any]:
        """Who is logged in."""
        return {"person": call.actor.person, "csrf_token": get_token(call.request._request)}

    @action("session_end", None, status=204)
    def delete(self, call: Call) -> None:
        """Log out."""
        logout(call.request._request)


class SessionPasswordEndpoint(Endpoint):
    @action("session_password", None, shapes.PasswordChangeIn, status=204)
    def post(self, call: Call) -> None:
        """Change one's own password. Every other session ends."""
        proof = _prove(call)
        people.change_password(proof, password=call.payload["new_password"], at=call.at)
        _keep_session(call)


class OtherSessionsEndpoint(Endpoint):
    @action("session_end_others", None, status=204)
    def delete(self, call: Call) -> None:
        """End every other session of one's own."""
        people.end_sessions(actor=call.actor, at=call.at)
        _keep_session(call)


class SessionSecondFactorEndpoint(Endpoint):
    @action("session_second_factor_begin", shapes.SecondFactorOut, shapes.OwnPasswordIn, status=201)
    def post(self, call: Call) -> dict[str, str]:
        """Begin to set up a second factor: one-time codes of a device (TOTP). It is in force once a code was given."""
        _prove(call)
        secret = second_factor.begin(actor=call.actor, at=call.at)
        return {"secret": secret, "address": second_factor.address_for_device(call.actor.person, secret)}


class SessionSecondFactorConfirmationEndpoint(Endpoint):
    @action("session_second_factor_confirm", shapes.RecoveryCodesOut, shapes.CodeIn)
    def post(self, call: Call) -> dict[str, list[str]]:
        """Put the second factor in force by a code that the device shows. Every other session ends."""
        codes = second_factor.confirm(code=call.payload["code"], actor=call.actor, at=call.at)
        _keep_session(call)
        return {"recovery_codes": codes}


class SessionSecondFactorEndEndpoint(Endpoint):
    @action("session_second_factor_end", None, shapes.OwnPasswordIn, status=204)
    def post(self, call: Call) -> None:
        """Take one's own second factor out of force, to set up another one. Every other session ends."""
        _prove(call)
        second_factor.end_own(actor=call.actor, at=call.at)
        _keep_session(call)


def _prove(call: Call) -> logins.Proof:
    password = call.payload["password"]
    return logins.prove(call.actor, password, asked_at=AskedAt.ACCOUNT, origin=call.origin, at=call.at)


def _keep_session(call: Call) -> None:
    """The session in which it was done goes on, under another key."""
    update_session_auth_hash(call.request._request, call.actor.person)
