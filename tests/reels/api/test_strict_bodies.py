"""Bodies and paths that nobody should send: each is refused in words, and none crashes the service."""

import pytest
from django.test import Client

from tests.api_client import check, said

HOLD = "reels/LW-0001/hold"


@pytest.mark.parametrize(
    ("body", "code"),
    [
        (b"{", "malformed_body"), (b"\xff\xfe", "malformed_body"),
        (b'{"reason": "a", "reason": "b"}', "malformed_body"),
        (b'{"reason": NaN}', "malformed_body"), (b'{"reason": Infinity}', "malformed_body"),
        (b"[" * 100_000, "malformed_body"), (b"9" * 5000, "malformed_body"), (b"null", "invalid_input"),
        (b"[]", "invalid_input"), (b'"reason"', "invalid_input"), (b"7", "invalid_input"),
        (b'{"reason": 1e999}', "invalid_input"), (b'{"reason": "\\ud800"}', "invalid_input"),
        (b'{"reason": "\\u0000"}', "invalid_input"), (b'{"reason": {}}', "invalid_input"),
        ('{"reason": "a"}'.encode("utf-16"), "malformed_body"),
    ],
)  # fmt: skip
def test_a_body_that_is_not_plain_json_is_refused(ways, body, code):
    headers = {"Idempotency-Key": '"strict"'}
    said(ways.control.send("POST", HOLD, body, headers), 400, code)


def test_a_body_without_end_is_refused(ways):
    said(ways.control.post(HOLD, {"reason": "x" * 1_000_001}), 413, "body_too_large")


def test_another_media_type_is_refused(ways):
    response = ways.control.http.post("/api/v1/" + HOLD, {"reason": "A kink."})
    check("POST", f"/api/v1/{HOLD}", response)
    assert (response.status_code, response.json()["type"]) == (415, "/problems/unsupported-media-type")


def test_a_body_of_unknown_length_is_refused(ways):
    response = ways.control.http.post(
        "/api/v1/" + HOLD, b"", content_type="application/json", headers={"Transfer-Encoding": "chunked"},
        CONTENT_LENGTH="",
    )  # fmt: skip
    check("POST", f"/api/v1/{HOLD}", response)
    assert (response.status_code, response.json()["type"]) == (411, "/problems/length-missing")


def test_answers_are_json_whatever_is_asked_for(ways):
    said(ways.control.get("reels", Accept="text/html"), 406, "not_acceptable")


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "TRACE", "PATCH"])
def test_a_method_that_a_path_does_not_have_is_refused(ways, method):
    answer = ways.control.send(method, "reels")
    said(answer, 405, "method_not_allowed")
    assert answer.headers["Allow"] == "GET, POST, HEAD"


def test_head_is_a_get_without_a_body(ways):
    response = ways.control.http.head("/api/v1/reels/LW-0001")
    assert (response.status_code, response.content) == (200, b"")
    assert response.headers["ETag"] == ways.control.tag("reels/LW-0001")


@pytest.mark.parametrize("path", ["reels/", "reels/LW-0001/", "nothing", "inspections/0", "inspections/x",
                                  "inspections/99999999999999999999", "setup-values/-1", ""])  # fmt: skip
def test_a_path_that_is_not_there_is_told(ways, path):
    answer = ways.control.get(path)
    assert (answer.status_code, answer.json()["type"]) == (404, "/problems/not-found")


def test_a_host_that_is_not_ours_is_told():
    response = Client().get("/api/v1/reels", headers={"host": "elsewhere.example"})
    assert (response.status_code, response.headers["Content-Type"]) == (400, "application/problem+json")
