"""POST /api/v1/imports."""

from inspections.models import ImportedCount
from tests.api_client import places, said
from tests.inspections.services.intake.test_records import COUNTS, COUNTS_HEADER, REELS, TYPES

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
