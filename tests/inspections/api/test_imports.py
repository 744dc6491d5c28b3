"""POST /api/v1/imports."""

from inspections.models import ImportedCount
from inspections.services.intake import task
from tests.api_client import places, said
from tests.inspections.services.intake.test_records import COUNTS, COUNTS_HEADER, REELS, TYPES
from tests.worker import work_off

FILES = {"reel_types.csv": TYPES, "reels.csv": REELS.replace("LW-", "LX-"), "counts.csv": COUNTS.replace("LW-", "LX-")}


def test_an_administrator_brings_files_in_and_the_same_ones_twice_store_nothing_twice(ways):
    first, second = (ways.administrator.post("imports", {"files": FILES}).json() for _ in range(2))
    assert (first["stored"]["counts.csv"], first["already"]["counts.csv"]) == (3, 0)
    assert (second["stored"]["counts.csv"], second["already"]["counts.csv"]) == (0, 3)


def test_a_dry_run_stores_nothing(ways):
    answer = ways.administrator.post("imports", {"files": FILES, "dry_run": True}).json()
    assert (answer["is_dry_run"], answer["stored"]["counts.csv"], ImportedCount.objects.count()) == (True, 3, 0)


def test_every_bad_row_is_named_and_nothing_is_stored(ways):
    bad = COUNTS_HEADER + "LX-0001,today,12,9,,,\nLX-0009,2025-03-01T10:00:00Z,12,9,,,\n"
    answer = ways.administrator.post("imports", {"files": {**FILES, "counts.csv": bad}})
    body = said(answer, 400, "invalid_input")
    assert places(answer) == ["/files/counts.csv", "/files/counts.csv"]
    assert body["errors"][0]["detail"].startswith("counts.csv, line 2, column counted_at: 'today' was seen")
    assert ImportedCount.objects.count() == 0


def test_nobody_but_an_administrator_may_and_other_files_are_refused(ways):
    said(ways.control.post("imports", {"files": FILES}), 403, "only_administrators")
    answer = ways.administrator.post("imports", {"files": {"truth.csv": "a"}})
    said(answer, 400, "invalid_input")
    assert places(answer) == ["/files/truth.csv"]


def test_large_files_are_the_workers_and_the_task_says_what_came_of_them(ways, monkeypatch):
    monkeypatch.setattr(task, "AT_ONCE", 10)
    answer = ways.administrator.post("imports", {"files": FILES}, key='"large"')
    assert (answer.status_code, answer.json()["state"]) == (202, "waiting")
    again = ways.administrator.post("imports", {"files": FILES}, key='"large"')
    assert (again.content, again.headers["Location"]) == (answer.content, answer.headers["Location"])
    place = answer.headers["Location"].removeprefix("/api/v1/")
    work_off()
    result = ways.administrator.get(place).json()["result"]
    assert (result["stored"]["counts.csv"], result["is_dry_run"]) == (3, False)
    bad = {**FILES, "counts.csv": COUNTS_HEADER + "LX-0001,today,12,9,,,\n"}
    place = ways.administrator.post("imports", {"files": bad}).headers["Location"].removeprefix("/api/v1/")
    work_off()
    failed = ways.administrator.get(place).json()
    assert (failed["state"], failed["result"]) == ("failed", None)
    assert failed["details"][0].startswith("counts.csv, line 2, column counted_at: 'today' was seen")
    assert said(ways.control.get(place), 404, "not_found")


def test_too_many_imports_are_refused_for_now(ways, monkeypatch):
    monkeypatch.setattr(task, "AT_ONCE", 10)
    monkeypatch.setattr(task, "MOST_WAITING", 0)
    answer = ways.administrator.post("imports", {"files": FILES})
    said(answer, 503, "too_many_imports")
    assert answer.headers["Retry-After"] == "5"
