"""Who was refused what, in the log: every answer that says no."""

import logging
from collections.abc import Callable
from http import HTTPStatus

from django.http import HttpRequest, HttpResponse

from reels.models import Person

log = logging.getLogger("wrapledger.security")
SAYS_NO = {HTTPStatus.UNAUTHORIZED, HTTPStatus.FORBIDDEN, HTTPStatus.TOO_MANY_REQUESTS}


class LogRefusals:
    """One line for each; a path holds no secret, and control characters cannot be in it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        answer = self.get_response(request)
        if answer.status_code in SAYS_NO:
            who = request.user.username if isinstance(request.user, Person) else "nobody"
            address = request.META.get("REMOTE_ADDR")
            log.info("%s %s %r by %s from %s", answer.status_code, request.method, request.path, who, address)
        return answer
