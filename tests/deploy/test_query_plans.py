"""How PostgreSQL finds what the busiest requests ask for among many: by an index, never by reading a large table."""

import json
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inspections.models import Inspection
from reels.domain.words import Scope
from tests import builders
from tests.api_fixtures import PREPARATION, both, make_token
from tests.benchmarks.large_fleet import LARGE, fill
from tests.page_fixtures import logged_in

pytestmark = pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite keeps no such statistics")
REELS, COUNTS_EACH = 2000, 8


class Asker:
    """A script's requests, and the plans of all that they asked the database."""

    def __init__(self) -> None:
        self.cast = builders.Cast()
        self.browser = logged_in(self.cast.control)
        self.elsewhere = logged_in(self.cast.stranger)
        self.token = make_token(self.cast.technician, *Scope)
        builders.make_machine("RM-7")
        builders.make_reel("LW-0001")
        builders.make_reel("LW-0003", site=builders.make_site("aldermere", "Aldermere"))
        self.signed = builders.signed_count(self.cast, "LW-0001")
        builders.gauge_for(builders.make_reel("LW-0002"))
        fill(REELS, COUNTS_EACH)

    def ask(self, method: str, path: str, body: Any = None) -> list[str]:
        """The SELECTs of one request."""
        headers = {"Authorization": f"Bearer {self.token}", "Idempotency-Key": f'"{method}-{path}"'}
        address = f"/api/v1/{path}"
        return self.selects(lambda: Client().generic(method, address, body or b"", "application/json", headers=headers))

    def look(self, path: str) -> list[str]:
        """The SELECTs of one page."""
        return self.selects(lambda: self.browser.get(path))

    def selects(self, ask: Callable[[], Any]) -> list[str]:
        with CaptureQueriesContext(connection) as seen:
            answer = ask()
        assert answer.status_code < 300, answer.content
        return [query["sql"] for query in seen.captured_queries if query["sql"].startswith("SELECT")]

    def look_elsewhere(self, path: str) -> list[str]:
        """The SELECTs of one page, for somebody who sees one reel of all."""
        return self.selects(lambda: self.elsewhere.get(path))

    def place(self, path: str) -> str:
        """The path of the page after this one."""
        answer = Client().get(f"/api/v1/{path}", headers={"Authorization": f"Bearer {self.token}"}).json()
        return str(answer["next"]).removeprefix("/api/v1/")


@pytest.fixture
def asker(db):
    return Asker()


def read_whole(sql: str) -> list[str]:
    """The large tables that the plan of a query reads from one end to the other."""
    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN (FORMAT JSON) {sql}")
        [plan] = cursor.fetchone()[0]
    return sorted(scanned(plan["Plan"]))


def scanned(node: dict[str, Any]) -> list[str]:
    own = [node["Relation Name"]] if node["Node Type"] == "Seq Scan" and node["Relation Name"] in LARGE else []
    return own + [name for child in node.get("Plans", []) for name in scanned(child)]


def test_no_busy_request_reads_a_large_table_from_end_to_end(asker):

    reading = json.dumps(both(asker.cast, gauge="WG-0002", serial="LW-0002")).encode()
    opening = json.dumps({**PREPARATION, "technician": "tess"}).encode()
    asked = {
        "a reel": asker.ask("GET", "reels/LW-0001"),
        "a reel's history": asker.ask("GET", "reels/LW-0001/history"),
        "a reel's cable events": asker.ask("GET", "reels/LW-0001/cable-events"),
        "the first reels": asker.ask("GET", "reels"),
        "reels of a status": asker.ask("GET", "reels?status=held"),
        "reels of a site": asker.ask("GET", "reels?site=kettle-point"),
        "the list of reels": asker.look("/reels"),
        "the list of reels of a status": asker.look("/reels?status=held"),
        "the board": asker.look("/board"),
        "the board of a status": asker.look("/board?status=held"),
        "what is flagged on the board": asker.look("/board?look=flagged"),
        "the findings": asker.look("/findings"),
        "the sign-offs": asker.look("/audit"),
        "a month of a small site": asker.look_elsewhere("/monthly?since=2026-02-01&until=2026-02-28"),
        "reels after a place": asker.ask("GET", asker.place("reels?page_size=200")),
        "an inspection": asker.ask("GET", f"inspections/{asker.signed.pk}"),
        "the newest inspections": asker.ask("GET", "inspections"),
        "the feed from the beginning": asker.ask("GET", "changes?after=0"),
        "the feed at its end": asker.ask("GET", f"changes?after={REELS * COUNTS_EACH}"),
        "setup values": asker.ask("GET", "setup-values"),
        "opening a count": asker.ask("POST", "reels/LW-0002/inspections", opening),
        "posting readings": [],
    }
    opened = Inspection.objects.get(reel__serial="LW-0002")
    asked["posting readings"] = asker.ask("POST", f"inspections/{opened.pk}/readings", reading)
    found = {(name, table): sql for name, queries in asked.items() for sql in queries for table in read_whole(sql)}
    assert min(len(queries) for queries in asked.values()) >= 2
    assert {name: sql for (name, _), sql in found.items()} == {}


def test_the_check_sees_a_table_that_is_read_whole(db):
    assert read_whole("SELECT * FROM reels_historyentry WHERE act = 'x'") == ["reels_historyentry"]


@pytest.mark.parametrize("word", ["nowhere", "w-0", "heron 3", "4", "lw"])
def test_any_word_can_be_looked_for_in_the_index_of_trigrams(asker, word):
    """In a fleet as small as this one reading all rows is as fast, so that is ruled out here."""
    searches = [sql for sql in asker.ask("GET", f"reels?q={word}") if "LIKE" in sql and "LIMIT 1001" in sql]
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL enable_seqscan = off")
        cursor.execute("SET LOCAL enable_indexscan = off")
        cursor.execute(f"EXPLAIN {searches[0]}")
        assert "standing_by_names" in "".join(row[0] for row in cursor.fetchall())
