"""Sessions end when nobody works in them, and after a shift; a login that is not settled goes nowhere else first."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.sessions.backends import db
from django.contrib.sessions.backends.base import UpdateError
from django.db import InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from deploy.apps import BEGUN, LOGGED_IN, SEEN
from reels import access
from reels.errors import NotAllowed
from reels.models import Person
from reels.services import browsers

SEEN_IS_KEPT_EVERY_S = 60  # a write a minute rather than one with every request
NOBODY_DOES_IT = {"count-stamp", "reel-stamp"}  # what an open page asks for by itself
# Where somebody whose login is not settled may go. The API has its own list, by operation.
WAY_OUT = {"account", "change-password", "second-factor", "logout", "length-unit"}

Answer = Callable[[HttpRequest], HttpResponse]


class SessionStore(db.SessionStore):
    """Sessions in the database; one that is busy or away is told as such, and not as a session that is gone."""

    def save(self, must_create: bool = False) -> None:
        try:
            super().save(must_create=must_create)
        except UpdateError as failed:
            if isinstance(failed.__context__, OperationalError | InterfaceError):
                raise failed.__context__ from failed.__context__.__cause__
            raise


class EndSessions:
    """Log out whoever was idle for too long, or logged in too long ago."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view: Any, args: Any, kwargs: Any) -> None:
        if not request.user.is_authenticated:
            return
        now, session = timezone.now().timestamp(), request.session
        begun, seen = session.setdefault(BEGUN, now), session.setdefault(SEEN, now)
        idle = timedelta(minutes=settings.SESSION_IDLE_MINUTES).total_seconds()
        longest = timedelta(hours=settings.SESSION_HOURS).total_seconds()
        if now - seen >= idle or now - begun >= longest:
            logout(request)
        elif now - seen >= SEEN_IS_KEPT_EVERY_S and not _is_by_itself(request):
            session[SEEN] = now
            # At once: kept after the view, it could fail when what was asked for is done.
            session.save()
            session.modified = False


class KnowBrowsers:
    """Have a browser that somebody logs in with remember that, so that no stranger's wrong passwords lock it too."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        answer = self.get_response(request)
        if username := request.META.get(LOGGED_IN):
            answer.set_cookie(
                settings.BROWSER_COOKIE_NAME, browsers.remembering(request, username),
                max_age=browsers.REMEMBERED_S, secure=settings.SESSION_COOKIE_SECURE, httponly=True, samesite="Lax",
            )  # fmt: skip
        return answer


class SettleLogins:
    """Pages: send whoever has another's password, or lacks a second factor that all need, to where it is mended."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view: Any, args: Any, kwargs: Any) -> HttpResponse | None:
        match = request.resolver_match
        if not isinstance(request.user, Person) or request.path.startswith("/api/"):
            return None
        if match is not None and match.view_name in WAY_OUT:
            return None
        try:
            access.require_own_login(request.user)
        except NotAllowed as refused:
            messages.warning(request, str(refused))
            return redirect("account")
        return None


def _is_by_itself(request: HttpRequest) -> bool:
    """Whether a page asks for something without anybody touching it: for news, or for itself anew."""
    if request.method == "GET" and request.headers.get("Sec-Fetch-Dest") == "empty":
        return True
    return request.resolver_match is not None and request.resolver_match.view_name in NOBODY_DOES_IT
