"""The log: one JSON object a line, and no secret in it."""

import json
import logging
from typing import Any

import pytest
from django.db import connection
from django.test import Client

from deploy.watching import log, request_id
from reels.domain.words import Scope
from tests import builders
from tests.api_fixtures import make_token


class LinesHandler(logging.Handler):
    """Keeps what is logged, as it would be written."""

    def __init__(self) -> None:
        super().__init__()
        self.lines: list[dict[str, Any]] = []
        self.setFormatter(log.JsonLines())

    def emit(self, record: logging.LogRecord) -> None:
        self.lines.append(json.loads(self.format(record)))


@pytest.fixture
def kept():
    handler, logger = LinesHandler(), logging.getLogger("wrapledger")
    before = logger.level
    logger.addHandler(handler)
    logger.setLevel(logging.INFO)
    yield handler.lines
    logger.removeHandler(handler)
    logger.setLevel(before)


def test_a_request_is_one_line_with_its_route_status_and_person(db, kept):
    builders.make_reel("LW-0001")
    client = Client()
    client.force_login(builders.make_person("tess"))
    client.get("/api/v1/reels/LW-0001?x=secret", headers={"X-Request-ID": "the-very-one"})
    [line] = kept
    assert line.pop("at").endswith("+00:00")
    assert line.pop("duration_ms") > 0
    assert line == {
        "level": "info", "logger": "wrapledger.requests", "message": "request", "request_id": "the-very-one",
        "method": "GET", "path": "/api/v1/reels/LW-0001", "route": "api/v1/reels/<serial:serial>", "status": 400,
        "person": "tess",
    }  # fmt: skip


def test_a_scripts_person_is_named_and_nobody_is_nobody(db, kept):
    token = make_token(builders.make_person("tess"), Scope.READ)
    Client().get("/api/v1/sites", headers={"Authorization": f"Bearer {token}"})
    Client().get("/api/v1/sites")
    assert [line["person"] for line in kept if line["logger"] == "wrapledger.requests"] == ["tess", ""]
    assert token not in json.dumps(kept)


def test_those_who_look_every_few_seconds_leave_no_line(db, kept):
    for path in ("/healthz", "/readyz", "/metrics"):
        Client().get(path)
    assert kept == []


def test_the_log_asks_the_database_nothing(db, count_queries):
    assert count_queries(lambda: Client().get("/healthz")) == 0


def test_a_slow_query_is_told_without_its_values(db, kept, settings):
    builders.make_site()
    settings.SLOW_QUERY_MS = 1e-6
    request_id.begin("the-very-one")
    with connection.cursor() as cursor:
        cursor.execute("SELECT %s", ["a secret"])
    request_id.end()
    [line] = kept
    assert (line["message"], line["sql"], line["request_id"]) == ("slow query", "SELECT %s", "the-very-one")
    assert "a secret" not in json.dumps(kept)


@pytest.mark.parametrize("limit_ms", [0, 60_000])
def test_a_query_that_is_quick_enough_is_not_told(db, kept, settings, limit_ms):
    settings.SLOW_QUERY_MS = limit_ms
    builders.make_site()
    assert kept == []


def test_a_traceback_stays_within_its_line():
    try:
        raise ValueError("odd")
    except ValueError as wrong:
        record = logging.LogRecord(
            "x", logging.ERROR, __file__, 1, "it failed", (), (type(wrong), wrong, wrong.__traceback__)
        )
    text = log.JsonLines().format(record)
    assert text.count("\n") == 0
    assert "ValueError: odd" in json.loads(text)["traceback"]
