import csv
import json
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from reports.domain.drift_rows import COLUMNS
from tests.reports.fleet import COUNTS_A_REEL, REEL_COUNT, bring_in_fleet

pytestmark = pytest.mark.django_db

HEADER = (
    "reel,from_at,to_at,observed_change_m,logged_cut_m,p_unlogged_cut,p_when_counted,cut_m,cut_low_m,cut_high_m,"
    "flagged,explanation"
)


def run(*options):
    out, err = StringIO(), StringIO()
    call_command("drift_report", *options, stdout=out, stderr=err)
    return out.getvalue(), err.getvalue()


def test_the_report_is_csv_with_one_row_a_pair_of_counts():
    bring_in_fleet()
    out, err = run()
    assert out.splitlines()[0] == HEADER == ",".join(COLUMNS)
    rows = list(csv.DictReader(StringIO(out)))
    assert len(rows) == REEL_COUNT * (COUNTS_A_REEL - 1)
    assert [row["flagged"] for row in rows] == ["yes"] + ["no"] * (len(rows) - 1)
    assert err.splitlines() == ["Learning the fleet's rates.", f"{REEL_COUNT} of {REEL_COUNT} reels assessed"]


def test_the_same_report_comes_as_json_with_numbers():
    bring_in_fleet()
    rows = json.loads(run("--format", "json")[0])
    assert list(rows[0]) == list(COLUMNS)
    assert (rows[0]["reel"], rows[0]["flagged"], type(rows[0]["cut_m"])) == ("LW-0001", "yes", float)


def test_an_empty_fleet_gives_the_header_alone_or_an_empty_list():
    assert run()[0] == HEADER + "\n"
    assert run("--format", "json")[0] == "[]\n"


def test_as_of_a_day_means_until_its_end_and_anything_but_a_day_is_refused():
    bring_in_fleet()
    rows = list(csv.DictReader(StringIO(run("--as-of", "2024-06-29")[0])))
    assert max(row["to_at"] for row in rows) == "2024-06-29T10:00:00Z"
    with pytest.raises(CommandError, match="allowed: a day as 2026-03-02"):
        run("--as-of", "yesterday")


def test_the_rates_of_the_fleet_are_told_when_asked_for():
    bring_in_fleet()
    assert "a year." in run("--rates")[1]


def test_more_is_flagged_when_more_false_flags_are_borne_and_no_other_share_is_taken():
    bring_in_fleet()
    rows = list(csv.DictReader(StringIO(run("--false-share", "0.98")[0])))
    assert [row["flagged"] for row in rows].count("yes") > 1
    for share in ("1", "-0.1", "nan", "some"):
        with pytest.raises(CommandError, match=f"'{share}' was given; allowed: a number from 0 to below 1"):
            run(f"--false-share={share}")
