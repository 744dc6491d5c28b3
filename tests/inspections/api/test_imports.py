"""POST /api/v1/imports."""

from dataclasses import replace

import pytest
from django.utils import timezone

from inspections.domain.intake.understanding import understand
from inspections.models import ImportedCount
from inspections.services.intake import mappings, task
from reels.domain.words import Scope
from reels.models import HistoryEntry
from reels.services.history import Actor
from tests import builders
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


SHEET = "Reel no;Date;Layers;Wraps\nlx 1;13.02.2026 09:30;12;10\n"


@pytest.fixture
def script(ways, token_way):
    """A token with the import scope and nothing else, of an administrator who kept a mapping."""
    assert ways.administrator.post("imports", {"files": FILES}).status_code == 200
    understood = replace(understand(SHEET), time_zone="Europe/Berlin")
    mappings.keep(name="Counts", understood=understood, used=None, actor=Actor(builders.administrator()),
                  at=timezone.now())  # fmt: skip
    return token_way(builders.administrator(), Scope.IMPORT)


def test_a_token_with_the_import_scope_alone_brings_a_sheet_in_by_its_mappings_name(script):
    sent = {"sheet": SHEET, "mapping": "Counts"}
    assert script.post("imports", {**sent, "dry_run": True}).json()["stored"] == {"counts.csv": 1}
    assert ImportedCount.objects.count() == 3
    assert script.post("imports", sent).json()["stored"] == {"counts.csv": 1}
    count = ImportedCount.objects.latest("pk")
    assert (count.reel.serial, count.counted_at.isoformat()) == ("LX-0001", "2026-02-13T08:30:00+00:00")
    said(script.get("reels"), 403, "scope_missing")


def test_a_script_asks_how_far_the_task_of_its_import_is(script, monkeypatch):
    monkeypatch.setattr(task, "AT_ONCE", 10)
    answer = script.post("imports", {"sheet": SHEET, "mapping": "Counts"})
    assert answer.status_code == 202
    work_off()
    place = answer.headers["Location"].removeprefix("/api/v1/")
    assert script.get(place).json()["result"]["stored"] == {"counts.csv": 1}


def test_a_token_without_the_scope_or_of_somebody_else_is_refused(script, token_way, cast):
    sent = {"sheet": SHEET, "mapping": "Counts"}
    others = token_way(builders.administrator(), Scope.READ, Scope.READINGS, Scope.CABLE_EVENTS)
    said(others.post("imports", sent), 403, "scope_missing")
    said(token_way(cast.control, Scope.IMPORT).post("imports", sent), 403, "only_administrators")


@pytest.mark.parametrize(
    ("body", "status", "code"),
    [({"sheet": SHEET}, 400, "invalid_input"), ({"mapping": "Counts"}, 400, "invalid_input"),
     ({"sheet": SHEET, "mapping": "Counts", "files": {}}, 400, "invalid_input"), ({}, 400, "invalid_input"),
     ({"sheet": SHEET, "mapping": "Count"}, 404, "not_found"),
     ({"sheet": SHEET.replace("Wraps", "Turns"), "mapping": "Counts"}, 400, "value_not_taken"),
     ({"sheet": SHEET.replace("lx 1", "LX-9"), "mapping": "Counts"}, 400, "invalid_input")],
)  # fmt: skip
def test_what_cannot_be_brought_in_is_named(script, body, status, code):
    said(script.post("imports", body), status, code)
    assert ImportedCount.objects.count() == 3


MAPPING = {"name": "The base's", "file": "counts.csv", "separator": ";", "time_zone": "Europe/Berlin",
           "columns": {"reel": "Reel no", "counted_at": "Date", "layers": "Layers", "wraps": "Wraps"},
           "spellings": [{"seen": "lx 1", "meant": "LX-0001"}]}  # fmt: skip


def kept(person):
    return [(row["name"], row["id"]) for row in person.get("import-mappings").json()["results"]]


def test_a_script_keeps_a_mapping_replaces_it_by_its_name_reads_a_sheet_by_it_and_deletes_it(script):
    first = script.post("import-mappings", MAPPING).json()
    nothing = {"decimal_mark": None, "day_order": None, "time_of_day": None, "as_spelt": False}
    assert first == {**MAPPING, **nothing, "id": first["id"]}
    second = script.post("import-mappings", {**MAPPING, "day_order": "dmy"}).json()
    assert (second["id"], second["day_order"]) == (first["id"], "dmy")
    assert kept(script)[1:] == [("The base's", first["id"])]
    assert script.post("imports", {"sheet": SHEET, "mapping": "The base's"}).json()["stored"] == {"counts.csv": 1}
    assert script.post(f"import-mappings/{first['id']}/end").status_code == 200
    assert len(kept(script)) == 1
    said(script.post(f"import-mappings/{first['id']}/end"), 409, "already_ended")
    acts = HistoryEntry.objects.filter(act__startswith="sheet_mapping").order_by("pk").values_list("act", flat=True)
    assert list(acts)[-3:] == ["sheet_mapping_added", "sheet_mapping_changed", "sheet_mapping_ended"]


def test_mappings_are_administrators_and_take_the_import_scope(script, ways, token_way):
    said(ways.control.get("import-mappings"), 403, "only_administrators")
    said(ways.control.post("import-mappings", MAPPING), 403, "only_administrators")
    readings = token_way(builders.administrator(), Scope.READINGS)
    said(readings.get("import-mappings"), 403, "scope_missing")
    said(readings.post("import-mappings", MAPPING), 403, "scope_missing")
    assert [name for name, _ in kept(ways.administrator)] == ["Counts"]
    said(script.post("import-mappings/9999/end"), 404, "not_found")


@pytest.mark.parametrize(
    ("more", "place"),
    [({"columns": {"turns": "Turns"}}, "/columns"), ({"file": "truth.csv"}, "/file"),
     ({"separator": "x"}, "/separator"), ({"time_zone": "Europe/Atlantis"}, "/time_zone"),
     ({"time_of_day": "noon"}, "/time_of_day"), ({"spellings": [{"seen": "x"}]}, "/spellings/0/meant")],
)  # fmt: skip
def test_a_mapping_by_which_nothing_can_be_read_is_refused_at_its_place(script, more, place):
    answer = script.post("import-mappings", {**MAPPING, **more})
    said(answer, 400, "invalid_input")
    assert places(answer) == [place]
