"""How many requests are taken from one person or address (scripts by theirs), how large, and for how long.

How many wrong passwords are taken is counted in `reels/services/tries.py`.

REST framework's throttles count, in the process's own memory; what they are told here is by whom.
"""

import logging
import math
import signal
import threading
from collections.abc import Callable
from http import HTTPStatus
from typing import Any

from django.conf import settings
from django.db import connections
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from rest_framework.throttling import SimpleRateThrottle

from deploy.problems import TITLES, answer_outside, is_api, not_now
from reels.errors import TookTooLong

MOST_BYTES = 21_000_000  # a document to be checked, with what a form puts around it
MOST_BYTES_OF = {"/api/v1/imports": 51_000_000, "/imports": 51_000_000}
OF_PERIODS = {"/monthly", "/monthly.csv", "/documents/monthly.pdf", "/api/v1/reports/monthly"}  # each may be a task
OF_ANYBODY = "/stands/"  # what is told without a login of a document that somebody holds
Answer = Callable[[HttpRequest], HttpResponse]
log = logging.getLogger("wrapledger.requests")


class TimeIsUp(KeyboardInterrupt):
    """Goes past whatever handles an Exception. The driver of PostgreSQL cancels its query for a KeyboardInterrupt."""


class LimitTime:
    """Give a request up that takes longer than REQUEST_SECONDS, and say so.

    gunicorn ends a process that takes longer than its own limit, and whoever asked gets no answer at all. An alarm
    reaches only a main thread, which is where gunicorn's processes answer; other servers are left alone.
    """

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if not _is_in_main_thread_of_gunicorn(request):
            return self.get_response(request)
        signal.signal(signal.SIGALRM, _end)
        signal.setitimer(signal.ITIMER_REAL, settings.REQUEST_SECONDS)
        try:
            return self.get_response(request)
        except TimeIsUp:
            log.warning("A request took longer than %s seconds: %s %s", settings.REQUEST_SECONDS, request.method,
                        request.path)  # fmt: skip
            connections.close_all()  # a query that was left off may still be at work in it
            return not_now(request, TookTooLong(seconds=f"{settings.REQUEST_SECONDS:g}"))
        finally:
            signal.setitimer(signal.ITIMER_REAL, 0)


def _is_in_main_thread_of_gunicorn(request: HttpRequest) -> bool:
    by_gunicorn = request.META.get("SERVER_SOFTWARE", "").startswith("gunicorn")
    return by_gunicorn and threading.current_thread() is threading.main_thread()


def _end(number: int, frame: Any) -> None:
    raise TimeIsUp


class FindAddress:
    """Put the client's own address in place of that of the web server in front, as PROXIES says.

    Only the last entries of X-Forwarded-For were written by those servers; what stands before them anybody can send.
    """

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        forwarded = [each.strip() for each in request.META.get("HTTP_X_FORWARDED_FOR", "").split(",") if each.strip()]
        if settings.PROXIES and forwarded:
            request.META["REMOTE_ADDR"] = forwarded[-min(settings.PROXIES, len(forwarded))]
        return self.get_response(request)


class Rate(SimpleRateThrottle):
    """One limit. scope: its name in RATES."""

    def __init__(self, scope: str) -> None:
        self.scope = scope
        super().__init__()

    def get_rate(self) -> str | None:
        return settings.RATES[str(self.scope)] or None

    def get_cache_key(self, request: Any, view: Any) -> str:
        return f"rate-{self.scope}-{_who(request)}"


class LimitBodies:
    """Answer 413 to a body that is larger than anything here takes, before a byte of it is read or put on the disk.

    A body without a length is not read at all. What single paths take is less, and theirs to say.
    """

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        most = MOST_BYTES_OF.get(request.path, MOST_BYTES)
        length = request.META.get("CONTENT_LENGTH") or "0"
        if length.isdecimal() and int(length) > most:
            detail = f"A body may have {most} bytes at most here."
            return _refused(request, HTTPStatus.REQUEST_ENTITY_TOO_LARGE, "body_too_large", detail)
        return self.get_response(request)


class LimitRates:
    """Answer 429 to whoever asks more often than the limits allow."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        rate = Rate(_scope(request))
        if rate.allow_request(request, None):  # type: ignore[arg-type]  # it looks at nothing but our own key
            return self.get_response(request)
        wait_s = math.ceil(rate.wait() or 1)
        detail = f"More requests came than are taken. Wait {wait_s} seconds."
        answer = _refused(request, HTTPStatus.TOO_MANY_REQUESTS, "too_many_requests", detail)
        answer.headers["Retry-After"] = str(wait_s)
        return answer


def _scope(request: HttpRequest) -> str:
    if request.path.startswith(OF_ANYBODY):
        return "stands"
    return "as_of" if request.GET.get("as_of") or request.path in OF_PERIODS else "request"


def _who(request: HttpRequest) -> str:
    if request.user.is_authenticated:
        return f"person-{request.user.pk}"
    return f"address-{request.META.get('REMOTE_ADDR', '')}"


def _refused(request: HttpRequest, status: HTTPStatus, code: str, detail: str) -> HttpResponse:
    if is_api(request):
        return answer_outside(request, code, status, detail)
    return render(request, "limit.html", {"title": TITLES[code], "detail": detail}, status=status)
