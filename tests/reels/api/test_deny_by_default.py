"""Every path of the API, found by walking the URL patterns: nothing is open that does not say so."""

import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.urls import URLPattern, URLResolver, get_resolver

from reels.api.authentication import MayUse
from reels.api.endpoints import Endpoint
from reels.api.sessions import LogsIn, SessionEndpoint
from reels.domain.words import Scope
from tests.api_client import ApiClient, said

METHODS = ("get", "post", "put", "patch", "delete", "options")
# What a token may do besides reading; everything else that stores is done in person.
BY_TOKEN = {
    "inspections_open", "inspections_record_finding", "reels_record_finding", "readings_record", "cable_events_log",
    "reel_events_log", "imports_make", "mappings_keep", "mappings_end",
}  # fmt: skip
SAMPLES = {"uuid": "0b5f7a52-2f0c-4c0e-9b6a-7d2f3c1e8a90", "serial": "LW-0001", "code": "w28", "username": "tess"}


def walk(resolver: URLResolver, prefix: str = "") -> Iterator[tuple[str, URLPattern]]:
    for each in resolver.url_patterns:
        path = prefix + str(each.pattern)
        if isinstance(each, URLResolver):
            yield from walk(each, path)
        else:
            yield path, each


def api() -> list[tuple[str, Any]]:
    found: list[tuple[str, Any]] = [(path, each.callback) for path, each in walk(get_resolver())]
    ours = [(path, callback.cls) for path, callback in found if path.startswith("api/v1/")]
    return [(re.sub(r"<(\w+):\w+>", lambda m: SAMPLES.get(m[1], "1"), path), view) for path, view in ours]


def operations(view):
    return {method: getattr(getattr(view, method, None), "operation", None) for method in METHODS}


def test_the_walk_finds_the_api():
    assert len(api()) > 40


def test_every_path_is_a_door_behind_the_one_permission():
    assert [path for path, view in api() if not issubclass(view, Endpoint)] == []
    others = {path: view.permission_classes for path, view in api() if list(view.permission_classes) != [MayUse]}
    assert others == {"api/v1/session": (LogsIn,)}


def test_only_readings_findings_older_records_and_what_happened_to_reels_are_stored_by_tokens():
    stored = {
        operation.id: operation.scope
        for _, view in api() for operation in operations(view).values() if operation and operation.is_stored
    }  # fmt: skip
    assert {name for name, scope in stored.items() if scope is not None} == BY_TOKEN
    assert {stored[name] for name in BY_TOKEN} == {Scope.READINGS, Scope.CABLE_EVENTS, Scope.IMPORT}


@pytest.mark.parametrize("method", METHODS)
def test_nobody_gets_nothing_from_any_path(db, method):
    nobody = ApiClient()
    for path, view in api():
        if (view, method) == (SessionEndpoint, "post"):
            continue
        answer = nobody.send(method.upper(), f"/{path}", {} if method != "get" else None, {"Idempotency-Key": '"k"'})
        said(answer, 401, "not_logged_in")
        assert answer.headers["WWW-Authenticate"].startswith("Bearer")
