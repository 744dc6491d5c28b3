"""Whatever goes wrong under /api/ is told as problem+json (RFC 9457), with JSON pointers (RFC 6901)."""

from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, SuspiciousOperation
from django.db import IntegrityError, InterfaceError, InternalError, OperationalError
from django.http import Http404
from django.test import Client, RequestFactory
from django.urls import include, path
from rest_framework import exceptions, serializers
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.throttling import BaseThrottle
from rest_framework.views import APIView

from deploy.problems import answer_exception
from reels.errors import Busy, CutTooLong, NotFound, OnlyAdministrators, ReelNotHeld

MEDIA_TYPE = "application/problem+json"


class NumberedRowIn(serializers.Serializer[Any]):
    wraps = serializers.IntegerField(min_value=1)


class FormIn(serializers.Serializer[Any]):
    serial = serializers.CharField()
    rows = NumberedRowIn(many=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs["serial"] == "whole":
            raise serializers.ValidationError("The whole is wrong.", code="whole_wrong")
        return attrs


class RowsForm(APIView):
    permission_classes = (AllowAny,)

    def post(self, request: Request) -> Response:
        FormIn(data=request.data).is_valid(raise_exception=True)
        return Response({})


class Raise(APIView):
    permission_classes = (AllowAny,)
    raised: Exception = Exception()

    def get(self, request: Request) -> Response:
        raise self.raised


class Closed(APIView):
    """Says nothing of permissions, so the default holds."""

    def get(self, request: Request) -> Response:
        return Response({})


class Never(BaseThrottle):
    def allow_request(self, request: Request, view: APIView) -> bool:
        return False

    def wait(self) -> float:
        return 7.0


class Throttled(RowsForm):
    throttle_classes = (Never,)


def raising(exc: Exception) -> Any:
    return Raise.as_view(raised=exc)


class PostgresqlError(Exception):
    """What the driver raises, as far as it is looked at."""

    def __init__(self, sqlstate: str) -> None:
        self.sqlstate = sqlstate


class SqliteError(Exception):
    def __init__(self, name: str) -> None:
        self.sqlite_errorname = name


def caused_by(driver: Exception, exc: Exception) -> Exception:
    exc.__cause__ = driver
    return exc


RAISED = {
    "lock timeout": caused_by(PostgresqlError("55P03"), OperationalError("canceling statement due to lock timeout")),
    "deadlock": caused_by(PostgresqlError("40P01"), OperationalError("deadlock detected")),
    "sqlite busy": caused_by(SqliteError("SQLITE_BUSY"), OperationalError("database is locked")),
    "no connection": caused_by(Exception("connection refused"), OperationalError("connection refused")),
    "shut down": caused_by(PostgresqlError("57P01"), OperationalError("terminating connection")),
    "connection gone": caused_by(Exception("closed"), InterfaceError("the connection is closed")),
    "no file": caused_by(SqliteError("SQLITE_CANTOPEN"), OperationalError("unable to open database file")),
    "disk full": caused_by(SqliteError("SQLITE_FULL"), OperationalError("database or disk is full")),
    "a standby": caused_by(PostgresqlError("25006"), InternalError("cannot execute INSERT in a read-only transaction")),
    "server full": caused_by(PostgresqlError("53100"), OperationalError("could not extend file")),
    "wrong query": caused_by(PostgresqlError("42P01"), OperationalError("no such relation")),
    "no table": caused_by(SqliteError("SQLITE_ERROR"), OperationalError("no such table: x")),
    "twice": caused_by(PostgresqlError("23505"), IntegrityError("duplicate key value")),
    "sqlite twice": caused_by(SqliteError("SQLITE_CONSTRAINT_UNIQUE"), IntegrityError("UNIQUE constraint failed")),
    "broken rule": caused_by(PostgresqlError("23514"), IntegrityError("violates check constraint")),
    "cut": CutTooLong(seen_m=9, serial="R1", most_m=8),
    "state": ReelNotHeld(serial="R1"),
    "admin": OnlyAdministrators(username="ann"),
    "missing": NotFound(what="reel", key="R1"),
    "busy": Busy(),
    "http404": Http404("No such reel."),
    "denied": PermissionDenied(),
    "suspicious": SuspiciousOperation("odd"),
    "crash": ZeroDivisionError("a secret"),
    "unavailable": exceptions.APIException("Not today."),
}

urlpatterns = [
    path("api/form", RowsForm.as_view()),
    path("api/closed", Closed.as_view()),
    path("api/throttled", Throttled.as_view()),
    *(path(f"api/raise/{name}", raising(exc)) for name, exc in RAISED.items()),
    path("", include("deploy.urls")),  # where pages lead to
]

handler400 = "deploy.problems.bad_request"
handler403 = "deploy.problems.permission_denied"
handler404 = "deploy.problems.page_not_found"
handler500 = "deploy.problems.server_error"


@pytest.fixture
def client(settings: Any) -> Client:
    settings.ROOT_URLCONF = __name__
    return Client(raise_request_exception=False)


def problem(response: Any) -> dict[str, Any]:
    assert response.headers["Content-Type"] == MEDIA_TYPE
    body: dict[str, Any] = response.json()
    assert list(body) == ["type", "title", "status", "detail", "instance", "request_id", "errors"]
    assert body["request_id"] == response.headers["X-Request-ID"]
    assert body["status"] == response.status_code
    return body


def post(client: Client, body: Any) -> Any:
    return client.post("/api/form", body, content_type="application/json")


def test_every_wrong_value_is_pointed_at(client):
    body = problem(post(client, {"rows": [{"wraps": 1}, {"wraps": 0}, {}]}))
    assert body == {
        "request_id": body["request_id"],
        "type": "/problems/invalid-input",
        "title": "The request cannot be taken as it is",
        "status": 400,
        "detail": "3 values are wrong.",
        "instance": "/api/form",
        "errors": [
            {"pointer": "/serial", "code": "required", "detail": "This field is required."},
            {
                "pointer": "/rows/1/wraps",
                "code": "min_value",
                "detail": "Ensure this value is greater than or equal to 1.",
            },
            {"pointer": "/rows/2/wraps", "code": "required", "detail": "This field is required."},
        ],
    }


def test_an_error_of_the_whole_points_at_the_whole(client):
    [error] = problem(post(client, {"serial": "whole", "rows": []}))["errors"]
    assert error == {"pointer": "", "code": "whole_wrong", "detail": "The whole is wrong."}


def test_pointers_escape_what_rfc_6901_escapes():
    answer = answer_exception(exceptions.ValidationError({"a/b~c": ["Odd."]}), {"request": RequestFactory().get("/")})
    assert answer is not None
    assert answer.data["errors"] == [{"pointer": "/a~1b~0c", "code": "invalid", "detail": "Odd."}]


@pytest.mark.parametrize(
    ("name", "status", "kind", "detail"),
    [
        ("cut", 400, "cut-too-long", "A cut of 9 m was given; reel R1 can have at most 8 m of cable."),
        ("state", 409, "reel-not-held", "Reel R1 is not held."),
        (
            "admin",
            403,
            "only-administrators",
            "Only an administrator may change reference data and people; ann is not one.",
        ),
        ("missing", 404, "not-found", "There is no reel 'R1' that you may see."),
        ("http404", 404, "not-found", "No such reel."),
        ("denied", 403, "not-allowed", "You may not do this."),
        ("suspicious", 400, "bad-request", "The request cannot be understood."),
        ("unavailable", 500, "error", "Not today."),
    ],
)
def test_an_exception_is_told_with_its_status(client, name, status, kind, detail):
    body = problem(client.get(f"/api/raise/{name}"))
    assert (body["status"], body["type"], body["detail"]) == (status, f"/problems/{kind}", detail)
    assert body["instance"] == f"/api/raise/{name}"


@pytest.mark.parametrize(
    ("name", "status", "kind"),
    [
        ("lock timeout", 503, "busy"),
        ("deadlock", 503, "busy"),
        ("sqlite busy", 503, "busy"),
        *(
            (name, 503, "unreachable")
            for name in (
                "no connection",
                "shut down",
                "connection gone",
                "no file",
                "disk full",
                "a standby",
                "server full",
            )
        ),
        ("wrong query", 500, "server-error"),
        ("no table", 500, "server-error"),
        ("twice", 409, "already-recorded"),
        ("sqlite twice", 409, "already-recorded"),
        ("broken rule", 500, "server-error"),
    ],
)
def test_what_the_database_refuses_because_of_somebody_else_may_be_tried_again(client, name, status, kind):
    response = client.get(f"/api/raise/{name}")
    assert (problem(response)["status"], response.json()["type"]) == (status, f"/problems/{kind}")
    assert ("Retry-After" in response.headers) == (status == 503)


def test_a_refusal_points_at_the_fields_it_is_about(client):
    body = problem(client.get("/api/raise/cut"))
    assert body["title"] == CutTooLong.title
    assert body["errors"] == [{"pointer": "/length_removed_m", "code": "cut_too_long", "detail": body["detail"]}]


def test_busy_says_when_to_come_back(client):
    response = client.get("/api/raise/busy")
    assert (problem(response)["status"], response.headers["Retry-After"]) == (503, "5")


def test_a_crash_is_told_without_its_reason(client):
    body = problem(client.get("/api/raise/crash"))
    assert (body["status"], body["type"]) == (500, "/problems/server-error")
    assert "secret" not in str(body)


def test_a_path_that_is_not_there_is_told(client):
    body = problem(client.get("/api/nothing"))
    assert (body["status"], body["detail"]) == (404, "There is nothing at /api/nothing.")


def test_outside_the_api_pages_stay_pages(client):
    response = client.get("/nothing")
    assert (response.status_code, response.headers["Content-Type"]) == (404, "text/html; charset=utf-8")


@pytest.mark.parametrize(
    ("request_", "status", "kind"),
    [
        ({"method": "DELETE"}, 405, "method-not-allowed"),
        ({"method": "POST", "data": "{", "content_type": "application/json"}, 400, "malformed-body"),
        ({"method": "POST", "data": "x=1", "content_type": "text/plain"}, 415, "unsupported-media-type"),
        ({"method": "POST", "data": "x=1", "content_type": ""}, 415, "unsupported-media-type"),
    ],
)
def test_a_request_of_the_wrong_form_is_told(client, request_, status, kind):
    request_ = dict(request_)
    body = problem(client.generic(request_.pop("method"), "/api/form", **request_))
    assert (body["status"], body["type"]) == (status, f"/problems/{kind}")


def test_a_client_that_takes_no_json_is_told_in_json(client):
    assert problem(client.get("/api/form", headers={"accept": "text/html"}))["status"] == 406


def test_a_host_that_is_not_ours_is_told(client):
    assert problem(client.get("/api/form", headers={"host": "elsewhere.example"}))["type"] == "/problems/bad-request"


def test_nobody_gets_in_where_nothing_is_said_of_permissions(client):
    body = problem(client.get("/api/closed"))
    assert (body["status"], body["type"]) == (401, "/problems/not-logged-in")


def test_too_many_requests_say_when_to_come_back(client):
    response = client.post("/api/throttled")
    assert (problem(response)["status"], response.headers["Retry-After"]) == (429, "7")


@pytest.mark.parametrize(
    ("sent", "detail"),
    [
        ({"method": "DELETE"}, "DELETE was sent; this path takes POST"),
        (
            {"method": "POST", "data": "x=1", "content_type": "text/plain"},
            "The body is text/plain; application/json",
        ),
        ({"method": "POST", "data": "x=1", "content_type": ""}, "The body is of no type; application/json is needed."),
        (
            {"method": "GET", "headers": {"accept": "text/html"}},
            "text/html was asked for; this path answers with application/json",
        ),
    ],
)
def test_what_was_sent_and_what_is_taken_is_said(client, sent, detail):
    assert problem(client.generic(path="/api/form", **sent))["detail"].startswith(detail)


def test_whoever_is_not_logged_in_is_told_how_to_be(client):
    assert problem(client.get("/api/closed"))["detail"] == "Nobody is logged in: begin a session, or send a token."
