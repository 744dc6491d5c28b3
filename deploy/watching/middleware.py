"""Around every request: its id, one line in the log, a count for the metrics, and who was refused what."""

import logging
import time
from collections.abc import Callable
from http import HTTPStatus

from django.http import HttpRequest, HttpResponse

from deploy.watching import metrics, request_id
from reels.models import Person

requests = logging.getLogger("wrapledger.requests")
security = logging.getLogger("wrapledger.security")
PROBES = frozenset({"/healthz", "/readyz", "/metrics"})  # asked every few seconds; no news
SAYS_NO = {HTTPStatus.UNAUTHORIZED, HTTPStatus.FORBIDDEN, HTTPStatus.TOO_MANY_REQUESTS}


class Watch:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        made = request_id.begin(request.headers.get(request_id.HEADER, ""))
        started = time.perf_counter()
        try:
            response = self.get_response(request)
            took_s = time.perf_counter() - started
            response.headers[request_id.HEADER] = made
            metrics.count(request.method or "", route_of(request), response.status_code, took_s)
            if request.path not in PROBES:
                log_request(request, response, took_s)
            return response
        finally:
            request_id.end()


def route_of(request: HttpRequest) -> str:
    """The pattern that the path fits, so that there is one of it for all reels; "none" where there is none."""
    return request.resolver_match.route if request.resolver_match else "none"


def person_of(request: HttpRequest) -> str:
    """Who asked, if that came up; nobody is looked up for the log."""
    # A token's person is set as they are; a session's is behind something lazy until they are looked up.
    candidates = [vars(request).get("user"), getattr(request, "_cached_user", None)]
    return next((each.username for each in candidates if type(each) is Person), "")


def log_request(request: HttpRequest, response: HttpResponse, took_s: float) -> None:
    facts = {"method": request.method, "path": request.path, "route": route_of(request), "status": response.status_code}
    requests.info("request", extra={**facts, "duration_ms": round(took_s * 1000, 1), "person": person_of(request)})


class LogRefusals:
    """One line for every answer that says no; a path holds no secret, and control characters cannot be in it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        answer = self.get_response(request)
        if answer.status_code in SAYS_NO:
            who = request.user.username if isinstance(request.user, Person) else "nobody"
            address = request.META.get("REMOTE_ADDR")
            security.info("%s %s %r by %s from %s", answer.status_code, request.method, request.path, who, address)
        return answer
