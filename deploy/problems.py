"""Error answers: everything under /api/ that goes wrong is told as RFC 9457 `application/problem+json`.

REST framework's exceptions and the service's refusals come through `answer_exception`; what goes wrong outside a view
(no such path, a crash, a bad host name) through the four handlers at the end. Pages get Django's own error pages.
"""

import sys
from collections.abc import Iterator
from http import HTTPStatus
from typing import Any

from django.db import IntegrityError, InterfaceError, InternalError, OperationalError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.template.loader import render_to_string
from django.views import defaults
from rest_framework import exceptions, views
from rest_framework.request import Request
from rest_framework.response import Response

from deploy.watching import request_id
from reels.api.conditions import HeaderRefused
from reels.api.forms import ParameterRefused
from reels.api.serializers import NotYetOut
from reels.errors import (
    AlreadyRecorded,
    Busy,
    KeyReused,
    Malformed,
    NotAllowed,
    NotFound,
    NotYet,
    Refused,
    TooManyTries,
    Unreachable,
)

MEDIA_TYPE = "application/problem+json"
MOST_SHOWN = 100  # characters of a header
# Where a page says otherwise than a program is told.
SAID_ON_PAGES: dict[type[Busy], str] = {
    Busy: "Somebody else is writing to the records. Nothing of this was stored. Try again in a moment.",
    Unreachable: "The records cannot be reached just now, so it cannot be said from here whether this was stored.",
}
RETRY_AFTER_S = 5  # longer than any lock is waited for
# Never written into a page: secrets, and the token of a form that is made anew.
NOT_SENT_AGAIN = {"csrfmiddlewaretoken", "password", "new_password", "again", "code"}

# Most particular first: the first class that fits gives the status.
STATUS_OF_REFUSAL = (
    (TooManyTries, HTTPStatus.TOO_MANY_REQUESTS),
    (Busy, HTTPStatus.SERVICE_UNAVAILABLE),
    (NotFound, HTTPStatus.NOT_FOUND),
    (NotAllowed, HTTPStatus.FORBIDDEN),
    (Malformed, HTTPStatus.BAD_REQUEST),
    (KeyReused, HTTPStatus.UNPROCESSABLE_ENTITY),
    (Refused, HTTPStatus.CONFLICT),
)

# REST framework's codes in our words.
CODES = {
    "invalid": "invalid_input",
    "parse_error": "malformed_body",
    "not_authenticated": "not_logged_in",
    "permission_denied": "not_allowed",
    "throttled": "too_many_requests",
}
# What it says without saying what was seen or what is allowed, by its own codes.
DETAILS = {
    "not_authenticated": "Nobody is logged in: begin a session, or send a token.",
    "permission_denied": "You may not do this.",
    "method_not_allowed": "{method} was sent; this path takes {methods}.",
    "not_acceptable": "{accept} was asked for; this path answers with {answers}.",
    "unsupported_media_type": "The body is {media_type}; application/json is needed.",
}
SAID_OF_ALL = {str(kind.default_detail) for kind in (exceptions.NotAuthenticated, exceptions.PermissionDenied)}
TITLES = {
    "invalid_input": "The request cannot be taken as it is",
    "malformed_body": "The body cannot be read",
    "not_logged_in": "Not logged in",
    "authentication_failed": "The login is not accepted",
    "not_allowed": "Not allowed",
    "not_found": "Not found",
    "method_not_allowed": "This path does not do that",
    "not_acceptable": "Answers are JSON",
    "unsupported_media_type": "The body must be JSON",
    "body_too_large": "The body is too large",
    "key_missing": "A key is missing",
    "length_missing": "The length is missing",
    "match_missing": "If-Match is missing",
    "match_unreadable": "If-Match cannot be read",
    "stale": "It has changed in the meantime",
    "too_many_requests": "Too many requests",
    "bad_request": "The request cannot be understood",
    "server_error": "Something went wrong here",
}


# PostgreSQL: a lock or statement took too long, a deadlock, a serialization failure; SQLite: the file is locked.
BUSY_STATES = {"55P03", "57014", "40P01", "40001"}
BUSY_SQLITE = {"SQLITE_BUSY", "SQLITE_LOCKED"}
# PostgreSQL: no connection, none left, full, shut down, or a standby; SQLite: the file cannot be opened, read or grown.
LOST_STATES = ("08", "53", "57P", "58", "25006")
LOST_SQLITE = ("SQLITE_CANTOPEN", "SQLITE_IOERR", "SQLITE_FULL", "SQLITE_READONLY")
TAKEN_STATES = {"23505"}
TAKEN_SQLITE = {"SQLITE_CONSTRAINT_UNIQUE", "SQLITE_CONSTRAINT_PRIMARYKEY"}


def answer_exception(exc: Exception, context: dict[str, Any]) -> Response | None:
    """The problem document for an exception in an API view; 202 for what is not there yet; None: `server_error`."""
    request: Request = context["request"]
    if isinstance(exc, NotYet):
        headers = {"Retry-After": str(RETRY_AFTER_S), "Location": exc.at or request.get_full_path()}
        return Response(NotYetOut(exc.run).data, status=HTTPStatus.ACCEPTED, headers=headers)
    refused = _as_refusal(exc)
    if isinstance(refused, Refused):
        return _answer_refusal(refused, request)
    response = views.exception_handler(exc, context)
    if response is None:
        return None
    if isinstance(exc, exceptions.ValidationError):
        place = "parameter" if isinstance(exc, ParameterRefused) else "pointer"
        errors = [_error(place, pointer, message) for pointer, message in _leaves(exc.detail, "")]
        response.data = _problem("invalid_input", response.status_code, request.path, _how_many(errors), errors)
    else:
        detail = response.data["detail"]
        code = CODES.get(detail.code, detail.code)
        errors = [_error("header", exc.header, detail)] if isinstance(exc, HeaderRefused) else []
        response.data = _problem(code, response.status_code, request.path, _in_our_words(detail, context), errors)
    response.content_type = MEDIA_TYPE
    return response


def _in_our_words(detail: exceptions.ErrorDetail, context: dict[str, Any]) -> str:
    """The detail, unless it is REST framework's own for every case."""
    sentence = DETAILS.get(str(detail.code))
    if not sentence or (detail.code in ("not_authenticated", "permission_denied") and str(detail) not in SAID_OF_ALL):
        return str(detail)
    request, view = context["request"], context["view"]
    return sentence.format(
        method=request.method, methods=", ".join(view.allowed_methods),
        accept=request.headers.get("Accept", "")[:MOST_SHOWN], media_type=request.content_type or "of no type",
        answers=", ".join(renderer.media_type for renderer in view.get_renderers()),
    )  # fmt: skip


def _as_refusal(exc: BaseException | None) -> BaseException | None:
    """What the database refused because somebody else was at it, or because it is away, in the service's words."""
    cause = getattr(exc, "__cause__", None)
    state, sqlite = getattr(cause, "sqlstate", None), getattr(cause, "sqlite_errorname", "")
    if isinstance(exc, OperationalError) and (state in BUSY_STATES or sqlite.split("_SNAPSHOT")[0] in BUSY_SQLITE):
        return Busy()
    if isinstance(exc, OperationalError | InterfaceError | InternalError) and _is_lost(state, sqlite):
        return Unreachable()
    if isinstance(exc, IntegrityError) and (state in TAKEN_STATES or sqlite in TAKEN_SQLITE):
        return AlreadyRecorded()
    return exc


def _is_lost(state: str | None, sqlite: str) -> bool:
    if sqlite:
        return sqlite.startswith(LOST_SQLITE)
    return state is None or state.startswith(LOST_STATES)  # psycopg tells no state when there is no connection


def _answer_refusal(exc: Refused, request: Request) -> Response:
    status = next(status for kind, status in STATUS_OF_REFUSAL if isinstance(exc, kind))
    fields = exc.fields or ((exc.facts["field"],) if isinstance(exc, Malformed) and "field" in exc.facts else ())
    errors = [{"pointer": f"/{_escaped(name)}", "code": exc.code, "detail": str(exc)} for name in fields]
    wait_s = RETRY_AFTER_S if isinstance(exc, Busy) else exc.facts.get("retry_after_s")
    headers = {"Retry-After": str(wait_s)} if wait_s else None
    data = _problem(exc.code, status, request.path, str(exc), errors, title=exc.title)
    return Response(data, status=status, headers=headers, content_type=MEDIA_TYPE)


def _problem(
    code: str, status: int, instance: str, detail: str, errors: list[dict[str, str]] | None = None, *, title: str = ""
) -> dict[str, Any]:
    return {
        "type": f"/problems/{code.replace('_', '-')}",
        "title": title or TITLES.get(code) or code.replace("_", " ").capitalize(),
        "status": int(status),
        "detail": detail,
        "instance": instance,
        "request_id": request_id.current(),
        "errors": errors or [],
    }


def _how_many(errors: list[dict[str, str]]) -> str:
    return "1 value is wrong." if len(errors) == 1 else f"{len(errors)} values are wrong."


def _error(place: str, name: str, message: exceptions.ErrorDetail) -> dict[str, str]:
    """One thing that is wrong, at its place: a pointer into the body, a parameter or a header."""
    where = name.removeprefix("/") if place == "parameter" else name
    return {place: where, "code": message.code or "invalid", "detail": str(message)}


def _leaves(detail: Any, pointer: str) -> Iterator[tuple[str, exceptions.ErrorDetail]]:
    """Every message of a nested validation error, with the JSON pointer (RFC 6901) of the value it is about.

    Messages about an object as a whole point at the object; a list holds either messages or the items' own errors.
    """
    if isinstance(detail, dict):
        for key, inner in detail.items():
            yield from _leaves(inner, pointer if key == "non_field_errors" else f"{pointer}/{_escaped(key)}")
    elif isinstance(detail, list):
        for i, inner in enumerate(detail):
            yield from _leaves(inner, pointer if isinstance(inner, str) else f"{pointer}/{i}")
    else:
        yield pointer, detail


def _escaped(key: object) -> str:
    return str(key).replace("~", "~0").replace("/", "~1")


# Outside of views ---------------------------------------------------------------------------------------------------


def is_api(request: HttpRequest) -> bool:
    """Whether it gets a problem document, and no page."""
    return request.path.startswith("/api/")


def answer_outside(request: HttpRequest, code: str, status: HTTPStatus, detail: str) -> HttpResponse:
    """A problem document for what is refused before any view is reached."""
    problem = _problem(code, status, request.path, detail)
    return JsonResponse(problem, status=status, content_type=MEDIA_TYPE, headers={"Cache-Control": "no-store"})


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    if not is_api(request):
        return defaults.bad_request(request, exception)
    return answer_outside(request, "bad_request", HTTPStatus.BAD_REQUEST, "The request cannot be understood.")


def permission_denied(request: HttpRequest, exception: Exception) -> HttpResponse:
    if not is_api(request):
        return defaults.permission_denied(request, exception)
    return answer_outside(request, "not_allowed", HTTPStatus.FORBIDDEN, "You may not do this.")


def page_not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    if not is_api(request):
        return defaults.page_not_found(request, exception)
    return answer_outside(request, "not_found", HTTPStatus.NOT_FOUND, f"There is nothing at {request.path}.")


def server_error(request: HttpRequest) -> HttpResponse:
    """500; 503 when the database was busy or away: nothing was stored, and the same may be sent again."""
    refused = _as_refusal(sys.exc_info()[1])
    if isinstance(refused, Busy):
        return not_now(request, refused)
    if not is_api(request):
        return defaults.server_error(request)
    detail = "The request was not carried out. The people who run this service find the reason in its log."
    return answer_outside(request, "server_error", HTTPStatus.INTERNAL_SERVER_ERROR, detail)


def not_now(request: HttpRequest, refused: Busy) -> HttpResponse:
    """503: nothing is wrong with the request, and the same may be sent again."""
    if is_api(request):
        answer = answer_outside(request, refused.code, HTTPStatus.SERVICE_UNAVAILABLE, str(refused))
    else:
        answer = HttpResponse(_not_now_page(request, refused), status=HTTPStatus.SERVICE_UNAVAILABLE)
        answer.headers["Cache-Control"] = "no-store"
    answer.headers["Retry-After"] = str(RETRY_AFTER_S)
    return answer


def _not_now_page(request: HttpRequest, refused: Busy) -> str:
    """What was typed goes with the page, to be sent again. No query: the database is what is missing."""
    typed = request.POST.lists() if hasattr(request, "_post") else ()  # a body that was not read is not waited for
    values = [(name, value) for name, each in typed if name not in NOT_SENT_AGAIN for value in each]
    about = {"detail": SAID_ON_PAGES.get(type(refused), str(refused)), "address": request.get_full_path(),
             "csrf": get_token(request), "sent": values if request.method == "POST" else [],
             "has_files": bool(getattr(request, "_files", None))}  # fmt: skip
    return render_to_string("503.html", about)
