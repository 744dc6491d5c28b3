"""The demo fleet's files: made again they are the same, and what was hidden in them is told truly."""

import csv
import json
import subprocess
import sys
from collections import Counter

import pytest
from django.conf import settings

from deploy.demo_fleet import make

FLEET = settings.HOME / "deploy" / "demo_fleet"


def rows(name):
    with (FLEET / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def hidden(what):
    truth = json.loads((FLEET / "truth.json").read_text(encoding="utf-8"))
    return [row for row in truth["hidden"] if row["what"].startswith(what)]


def test_the_maker_makes_the_committed_bytes_again(tmp_path):
    subprocess.run([sys.executable, "-m", "deploy.demo_fleet.make", tmp_path], cwd=settings.HOME, check=True)
    made = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    assert sorted(made) == ["cable_events.csv", "counts.csv", "month.json", "reel_types.csv", "reels.csv", "truth.json"]
    assert [name for name, content in made.items() if (FLEET / name).read_bytes() != content] == []


def test_forty_reels_of_three_types_at_three_bases_are_counted_for_two_years():
    reels, counts = rows("reels.csv"), rows("counts.csv")
    assert len(reels) == 40
    assert len({reel["type"] for reel in reels}) == len({reel["site"] for reel in reels}) == 3
    assert min(Counter(count["reel"] for count in counts).values()) >= 30
    assert (counts[0]["counted_at"][:4], max(count["counted_at"] for count in counts)[:7]) == ("2024", "2026-10")


def test_an_unlogged_cut_is_in_no_log_and_is_long_enough_to_be_seen():
    logged = {(event["reel"], event["happened_at"]) for event in rows("cable_events.csv")}
    unlogged = hidden("unlogged cut")
    assert len(unlogged) == make.N_UNLOGGED
    assert [cut for cut in unlogged if (cut["reel"], cut["at"]) in logged] == []
    assert min(cut["length_m"] for cut in unlogged) > 2


def test_every_slip_that_is_told_is_a_count_that_is_there():
    counted = {(count["reel"], count["counted_at"]) for count in rows("counts.csv")}
    slips = hidden("count slip")
    assert len(slips) > 20
    assert {(slip["reel"], slip["at"]) for slip in slips} <= counted


def test_a_cut_logged_late_was_recorded_after_the_next_count():
    recorded = {(event["reel"], event["happened_at"]): event["recorded_at"] for event in rows("cable_events.csv")}
    counts = rows("counts.csv")
    for cut in hidden("log slip: late"):
        following = min(c["counted_at"] for c in counts if c["reel"] == cut["reel"] and c["counted_at"] > cut["at"])
        assert recorded[cut["reel"], cut["at"]] > following


@pytest.mark.parametrize(("reel", "count"), make.WALK_COUNTS.items())
def test_the_reels_of_the_walk_were_last_counted_as_the_walk_counts_them(reel, count):
    last = [row for row in rows("counts.csv") if row["reel"] == reel][-1]
    assert (int(last["layers"]), int(last["wraps"])) == count


def test_everybody_and_everything_says_that_it_is_made_up():
    organisation, walk = (json.loads((FLEET / name).read_text()) for name in ("organisation.json", "walk.json"))
    assert "made up" in organisation["about"]
    assert "Made up" in walk["about"]
    everybody = [*organisation["people"], organisation["administrator"]]
    assert set(walk["people"].values()) <= {person["username"] for person in everybody}
    assert len(organisation["machines"]) == 12
