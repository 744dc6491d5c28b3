"""GET /api/v1/reports/drift, GET /api/v1/reels/{serial}/drift, and /api/v1/drift-flags."""

import csv
import json
from datetime import timedelta
from io import StringIO
from itertools import count, pairwise

import pytest
from django.test import Client

from inspections.models import LearnedRates
from reels.models import TaskRun
from reports.domain.drift_rows import COLUMNS
from reports.models import Assessment
from tests.builders import NOW, Cast
from tests.inspections.services.intake.test_records import COUNTS_HEADER, EVENTS_HEADER, bring_in
from tests.reports.fleet import COUNTS_A_REEL, REEL_COUNT, assessed_fleet, bring_in_fleet
from tests.worker import when_there, work_off

pytestmark = pytest.mark.django_db

KETTLE_POINT = ["LW-0001", "LW-0002", "LW-0003"]
_keys = count(1)


@pytest.fixture
def cast():
    cast = Cast()
    assessed_fleet()
    return cast


def way(person):
    client = Client()
    client.force_login(person)
    return client


def ask(person, path="reports/drift", status=200, **headers):
    answer = when_there(lambda: way(person).get(f"/api/v1/{path}", headers=headers))
    body = b"".join(answer.streaming_content) if answer.streaming else answer.content
    assert answer.status_code == status, body
    return body.decode() if answer.headers["Content-Type"] == "text/csv" else json.loads(body)


def send(person, path, body, status):
    answer = way(person).post(
        f"/api/v1/{path}", body, content_type="application/json", headers={"Idempotency-Key": f'"k{next(_keys)}"'}
    )
    assert answer.status_code == status, answer.content
    return answer.json()


def reels(report):
    return sorted({row["reel"] for row in report["results"]})


def test_the_report_shows_the_reels_of_ones_own_sites_the_loss_first(cast):
    report = ask(cast.colleague)
    assert (report["as_of"], report["reels_behind"]) == (None, 0)
    assert reels(report) == KETTLE_POINT
    assert len(report["results"]) == 3 * (COUNTS_A_REEL - 1)
    first = report["results"][0]
    assert list(first) == list(COLUMNS)
    assert (first["reel"], first["flagged"], first["p_unlogged_cut"] > 0.95) == ("LW-0001", "yes", True)
    assert reels(ask(cast.stranger)) == ["LW-0004", "LW-0005"]


def test_rows_are_chosen_by_site_type_and_probability(cast):
    assert ask(cast.colleague, "reports/drift?site=aldermere")["results"] == []
    assert reels(ask(cast.colleague, "reports/drift?type=w28&site=kettle-point")) == KETTLE_POINT
    assert [row["reel"] for row in ask(cast.colleague, "reports/drift?least_probability=0.5")["results"]] == ["LW-0001"]


def test_more_is_flagged_when_more_false_flags_are_borne(cast):
    def flags(query):
        return [row["flagged"] for row in ask(cast.colleague, f"reports/drift{query}")["results"]].count("yes")

    assert flags("") == flags("?false_share=0.05") == 1
    assert flags("?false_share=0.98") > 1
    assert flags("?false_share=0") == 0
    for share in ("1", "-0.1", "nan", "x"):
        assert ask(cast.colleague, f"reports/drift?false_share={share}", 400)["type"] == "/problems/invalid-input"


def test_the_report_comes_as_csv_for_a_parameter_or_an_accept_header(cast):
    by_parameter = ask(cast.colleague, "reports/drift?format=csv")
    assert by_parameter == ask(cast.colleague, Accept="text/csv")
    rows = list(csv.DictReader(StringIO(by_parameter)))
    assert (list(rows[0]), rows[0]["flagged"], len(rows)) == (list(COLUMNS), "yes", 3 * (COUNTS_A_REEL - 1))


def test_the_report_as_of_a_day_uses_what_was_recorded_by_then(cast):
    report = ask(cast.colleague, "reports/drift?as_of=2024-06-30")
    assert report["as_of"] == "2024-06-30"
    assert {row["to_at"] for row in report["results"]} == {"2024-06-15T10:00:00Z", "2024-06-29T10:00:00Z"}


@pytest.mark.parametrize(
    "query", ["colour=red", "least_probability=2", "least_probability=NaN", "as_of=yesterday", "as_of=2026-02-30"]
)
def test_a_parameter_that_cannot_be_taken_is_refused(cast, query):
    assert ask(cast.colleague, f"reports/drift?{query}", 400)["type"] == "/problems/invalid-input"


def test_a_large_fleet_as_of_a_day_is_for_the_command(cast, monkeypatch):
    monkeypatch.setattr("reports.services.assessments.ROWS_FOR_A_REQUEST", 10)
    assert "drift_report --as-of" in ask(cast.colleague, "reports/drift?as_of=2024-06-30", 409)["detail"]


def test_before_the_first_assessment_the_worker_has_it_to_do_and_says_how_far_it_is():
    cast = Cast()
    bring_in_fleet()
    answer = way(cast.colleague).get("/api/v1/reports/drift?site=kettle-point")
    assert (answer.status_code, answer.headers["Retry-After"]) == (202, "5")
    assert answer.headers["Location"] == "/api/v1/reports/drift?site=kettle-point"
    assert answer.json() == {
        "task": str(TaskRun.objects.get().pk), "title": "Drift of the fleet",
        "state": "waiting", "progress": "", "done": 0, "of": 0, "problem": "",
    }  # fmt: skip
    assert way(cast.stranger).get("/api/v1/reports/recounts").status_code == 202
    assert (LearnedRates.objects.count(), Assessment.objects.count(), TaskRun.objects.count()) == (0, 0, 1)
    work_off()
    assert (LearnedRates.objects.count(), Assessment.objects.count()) == (1, REEL_COUNT)
    assert len(ask(cast.colleague)["results"]) == 3 * (COUNTS_A_REEL - 1)
    run = TaskRun.objects.get()
    assert (run.progress, run.done, run.of) == (f"{REEL_COUNT} of {REEL_COUNT} reels assessed", REEL_COUNT, REEL_COUNT)


def test_the_report_says_how_many_reels_it_is_behind_and_since_when_and_the_worker_catches_up(cast):
    assert (ask(cast.colleague)["reels_behind"], ask(cast.colleague)["behind_since"]) == (0, None)
    rows = "".join(f"{serial},2025-06-01T10:00:00Z,12,12,,,\n" for serial in KETTLE_POINT[:2])
    since = NOW + timedelta(days=2)
    bring_in({"counts.csv": COUNTS_HEADER + rows}, at=since)
    bring_in({"counts.csv": COUNTS_HEADER + f"{KETTLE_POINT[0]},2025-06-02T10:00:00Z,12,12,,,\n"},
             at=since + timedelta(days=1))  # fmt: skip
    before = ask(cast.colleague)
    assert (before["reels_behind"], before["behind_since"]) == (2, "2026-03-04T09:00:00Z")
    assert len(before["results"]) == 3 * (COUNTS_A_REEL - 1)
    csv_answer = way(cast.colleague).get("/api/v1/reports/drift?format=csv")
    assert csv_answer.headers["Reels-Behind"] == "2"
    assert csv_answer.headers["Behind-Since"].startswith("2026-03-04T09:00:00")
    work_off()
    after = ask(cast.colleague)
    assert (after["reels_behind"], after["behind_since"]) == (0, None)
    assert len(after["results"]) == 3 * (COUNTS_A_REEL - 1) + 3


def test_a_report_as_of_a_day_is_kept_until_more_is_recorded_of_the_time_before(cast):
    path = "/api/v1/reports/drift?as_of=2024-06-30"
    assert way(cast.colleague).get(path).json()["title"] == "Drift as of 2024-06-30"
    work_off()
    assert [way(cast.colleague).get(path).status_code for _ in range(2)] == [200, 200]
    bring_in({"counts.csv": COUNTS_HEADER + "LW-0001,2025-06-01T10:00:00Z,12,12,,,\n"})
    assert way(cast.colleague).get(path).status_code == 200
    event = "LW-0001,2024-06-20T09:00:00Z,cut,1.5,2024-06-21T09:00:00Z,\n"
    bring_in({"cable_events.csv": EVENTS_HEADER + event})
    assert way(cast.colleague).get(path).status_code == 202
    work_off()
    assert way(cast.colleague).get(path).status_code == 200


def test_before_anything_is_learned_a_reel_is_shown_by_general_rates_and_that_is_said():
    cast = Cast()
    bring_in_fleet()
    assert b"by general rates" in way(cast.colleague).get("/reels/LW-0001").content
    shown = ask(cast.colleague, "reels/LW-0001/drift")
    assert (shown["rates"]["learned_at"], shown["is_behind"], len(shown["results"])) == (None, False, COUNTS_A_REEL - 1)
    assert (LearnedRates.objects.count(), Assessment.objects.count()) == (0, 0)
    work_off()
    assert b"general rates" not in way(cast.colleague).get("/reels/LW-0001").content
    assert ask(cast.colleague, "reels/LW-0001/drift")["rates"]["learned_at"]


def test_one_reel_is_shown_in_order_of_time_with_the_rates_and_its_flags(cast):
    shown = ask(cast.colleague, "reels/LW-0001/drift")
    times = [row["from_at"] for row in shown["results"]]
    assert (len(times), times) == (COUNTS_A_REEL - 1, sorted(times))
    assert [row["flagged"] for row in shown["results"]].count("yes") == 1
    assert (shown["is_behind"], shown["flags"]) == (False, [])
    assert any("a year." in sentence for sentence in shown["rates"]["in_words"])
    assert ask(cast.stranger, "reels/LW-0001/drift", 404)["type"] == "/problems/not-found"


def test_one_reel_is_shown_count_by_count(cast):
    shown = ask(cast.colleague, "reels/LW-0001/drift")
    counts = shown["counts"]
    assert [(each["layers"], each["wraps"]) for each in counts[:3]] == [(12, 12), (12, 12), (12, 13)]
    assert all(each["length"]["u_m"] > 0.3 and each["p_slip"] < 0.5 for each in counts)
    for name in ("inferred_m", "course_m"):
        falls = [a[name] - b[name] for a, b in pairwise(counts)]
        assert max(falls) == falls[7] == pytest.approx(11.0, abs=1.0)  # seven wraps of 1.57 m
    assert (shown["looseness_wraps"] > 0, 0 <= shown["recount_worth_bits"] < 0.2) == (True, True)


def test_a_slip_is_named_in_words(cast):
    bring_in({"counts.csv": COUNTS_HEADER + "LW-0002,2024-12-01T10:00:00Z,10,12,,,\n"
              "LW-0002,2024-12-15T10:00:00Z,12,12,,,\n"})  # fmt: skip
    slipped = ask(cast.colleague, "reels/LW-0002/drift")["counts"][-2]
    assert (slipped["likeliest_slip"], slipped["slip_in_words"], slipped["p_slip"] > 0.9) == (
        "scale", "a flange scale misread by a layer or two", True,
    )  # fmt: skip


def test_a_reel_without_a_count_has_nothing_to_show(cast):
    bring_in({"reels.csv": "serial,type,site,received_on,cable_length_m\nLW-0009,w28,kettle-point,2024-03-01,\n"})
    shown = ask(cast.colleague, "reels/LW-0009/drift")
    assert (shown["counts"], shown["results"], shown["looseness_wraps"]) == ([], [], None)
    assert shown["recount_worth_bits"] == 0


def lost(cast):
    return ask(cast.colleague, "reports/drift?least_probability=0.5")["results"][0]


def assignment(cast, to="tess"):
    return {"reel": "LW-0001", "from_at": lost(cast)["from_at"], "to_at": lost(cast)["to_at"], "assigned_to": to}


def test_a_flag_is_assigned_looked_into_and_closed(cast):
    flag = send(cast.control, "drift-flags", assignment(cast), 201)
    assert (flag["assigned_to"]["username"], flag["ending"], flag["explanation"]) == (
        "tess", None, lost(cast)["explanation"],
    )  # fmt: skip
    path = f"drift-flags/{flag['id']}"
    assert send(cast.control, f"{path}/assignment", {"assigned_to": "vic"}, 200)["assigned_to"]["username"] == "vic"
    assert send(cast.verifier, f"{path}/finding", {"finding": "no work order"}, 200)["finding"] == "no work order"
    ending = {"ending": "confirmed_loss", "reason": "measured: 4 m short"}
    assert send(cast.control, f"{path}/ending", ending, 200)["closed_by"]["username"] == "mona"
    assert send(cast.control, f"{path}/ending", ending, 409)["type"] == "/problems/flag-closed"
    shown = ask(cast.colleague, "reels/LW-0001/drift")
    assert [each["ending"] for each in shown["flags"]] == ["confirmed_loss"]
    assert "confirmed loss" in lost(cast)["explanation"]


def test_flags_are_listed_by_state_and_assignee(cast):
    flag = send(cast.control, "drift-flags", assignment(cast), 201)
    asked = {
        query: [each["id"] for each in ask(cast.colleague, f"drift-flags?{query}")["results"]]
        for query in ("state=open", "state=closed", "assigned_to=tess", "assigned_to=vic")
    }
    mine = [flag["id"]]
    assert asked == {"state=open": mine, "state=closed": [], "assigned_to=tess": mine, "assigned_to=vic": []}
    assert ask(cast.stranger, "drift-flags")["results"] == []


def test_two_counts_that_are_no_neighbours_cannot_be_flagged_and_others_may_not_flag(cast):
    body = assignment(cast)
    assert send(cast.control, "drift-flags", {**body, "to_at": "2024-12-24T00:00:00Z"}, 404)["type"] == (
        "/problems/not-found"
    )
    send(cast.technician, "drift-flags", body, 403)
    send(cast.stranger, "drift-flags", body, 404)
    send(cast.control, "drift-flags", {**body, "assigned_to": "nobody"}, 404)


def test_nobody_reads_it_without_a_login(cast):
    assert Client().get("/api/v1/reports/drift").status_code == 401
    assert Client().get("/api/v1/reels/LW-0001/drift").status_code == 401
