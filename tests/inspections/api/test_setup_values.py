"""Setup values: issued, gauge returned, read back, confirmed, checked, withdrawn."""

from typing import Any

import pytest

from inspections.models import ReadBack, SetupValues
from reels.domain.words import Scope
from tests import builders
from tests.api_client import said

REEL = "reels/LW-0001"
NUMBERS = {"layers": 12, "wraps": 10}


@pytest.fixture
def counted(ways, cast):
    return builders.signed_count(cast)


@pytest.fixture
def values(ways, cast, counted):
    return f"setup-values/{builders.issued(cast).pk}"


@pytest.fixture
def installed(ways, values):
    ways.control.post(f"{REEL}/installation", {"machine": "RM-7"})
    ways.setter.post(f"{values}/gauge-return")
    return values


def fresh(way, values, act, body=None):
    return way.post(f"{values}/{act}", body, match=way.tag(values))


def test_values_are_issued_from_the_latest_signed_count(ways, counted):
    answer = ways.control.post(f"{REEL}/setup-values", {"machine": "RM-7"}, match=ways.control.tag(REEL))
    assert (answer.status_code, answer.json()["layers"], answer.json()["parity"]) == (201, 12, "even")
    [listed] = ways.colleague.get("setup-values?in_force=yes&reel=LW-0001").json()["results"]
    assert listed["id"] == answer.json()["id"]
    assert ways.colleague.get("setup-values?in_force=no").json()["results"] == []
    assert ways.stranger.get("setup-values").json()["results"] == []


def test_values_are_not_issued_on_a_stale_view(ways, cast, counted):
    issue = f"{REEL}/setup-values"
    seen = ways.control.tag(REEL)
    said(ways.control.post(issue, {"machine": "RM-7"}), 428, "match_missing")
    builders.log_cut(cast)
    said(ways.control.post(issue, {"machine": "RM-7"}, match=seen), 412, "stale")
    said(ways.control.post(issue, {"machine": "RM-7"}, match=ways.control.tag(REEL)), 409, "count_lapsed")
    assert SetupValues.objects.count() == 0


def test_a_read_back_that_differs_is_refused_and_kept_and_said_again(ways, installed):
    tag = ways.setter.tag(installed)
    wrong = {"layers": 12, "wraps": 9}
    first = ways.setter.post(f"{installed}/read-backs", wrong, key='"first"', match=tag)
    said(first, 409, "read_back_differs")
    assert "wraps 9; that is not what was issued" in first.json()["detail"]
    assert "10" not in first.json()["detail"]
    assert [error["pointer"] for error in first.json()["errors"]] == ["/layers", "/wraps"]
    again = ways.setter.post(f"{installed}/read-backs", wrong, key='"first"', match=tag)
    assert (again.status_code, again.content) == (409, first.content)
    assert [row.matches for row in ReadBack.objects.all()] == [False]


def test_the_setter_and_another_person_read_back(ways, installed):
    said(fresh(ways.confirmer, installed, "confirmations", NUMBERS), 409, "step_missing")
    assert fresh(ways.setter, installed, "read-backs", NUMBERS).status_code == 201
    assert fresh(ways.confirmer, installed, "confirmations", NUMBERS).status_code == 201
    said(fresh(ways.confirmer, installed, "confirmations", NUMBERS), 409, "step_missing")


def test_the_gauge_comes_back_first(ways, values):
    said(ways.setter.post(f"{values}/gauge-return"), 409, "step_missing")
    ways.control.post(f"{REEL}/installation", {"machine": "RM-7"})
    said(fresh(ways.setter, values, "read-backs", NUMBERS), 409, "step_missing")


def test_values_are_withdrawn_with_the_reason(ways, values):
    answer = fresh(ways.control, values, "withdrawal", {"reason": "Issued for the wrong machine."})
    assert (answer.status_code, answer.json()["withdrawn_why"]) == (200, "Issued for the wrong machine.")
    said(fresh(ways.control, values, "withdrawal", {"reason": "Again."}), 409, "not_in_force")


def test_read_backs_confirmations_and_withdrawals_need_a_fresh_view(ways, cast, installed):
    seen = ways.setter.tag(installed)
    ways.setter.post(f"{installed}/gauge-return")
    for way, act, body in (
        (ways.setter, "read-backs", NUMBERS), (ways.confirmer, "confirmations", NUMBERS),
        (ways.control, "withdrawal", {"reason": "Wrong."}),
    ):  # fmt: skip
        said(way.post(f"{installed}/{act}", body), 428, "match_missing")
        said(way.post(f"{installed}/{act}", body, match=seen), 412, "stale")


ACTS: tuple[tuple[str, dict[str, Any]], ...] = (
    ("gauge-return", {}), ("read-backs", NUMBERS), ("confirmations", NUMBERS),
    ("checks", {"kind": "first_use", "passed": True, "layers": 12, "wraps": 10}), ("withdrawal", {"reason": "Wrong."}),
)  # fmt: skip


@pytest.mark.parametrize(("act", "body"), ACTS)
def test_who_may_not(ways, cast, token_way, values, act, body):
    path = f"{values}/{act}"
    said(ways.nobody.post(path, body, match="*"), 401, "not_logged_in")
    said(ways.stranger.post(path, body, match="*"), 404, "not_found")
    said(ways.colleague.post(path, body, match="*"), 403, "not_authorised")
    said(token_way(cast.setter, *Scope).post(path, body, match="*"), 403, "only_in_person")
    said(ways.setter.post(f"setup-values/999999/{act}", body, match="*"), 404, "not_found")
    said(ways.setter.post(path, {**body, "colour": "red"}, match="*"), 400, "invalid_input")
    said(ways.setter.get(path), 405, "method_not_allowed")


def test_who_may_not_issue(ways, cast, token_way, counted):
    issue, body = f"{REEL}/setup-values", {"machine": "RM-7"}
    said(ways.nobody.post(issue, body, match="*"), 401, "not_logged_in")
    said(ways.stranger.post(issue, body, match="*"), 404, "not_found")
    said(ways.colleague.post(issue, body, match="*"), 403, "not_authorised")
    said(token_way(cast.control, *Scope).post(issue, body, match="*"), 403, "only_in_person")
    said(ways.control.post(issue, {"machine": "RM-9"}, match="*"), 404, "not_found")


@pytest.mark.parametrize("body", [{"layers": "12", "wraps": 10}, {"layers": 12}, {"layers": 12, "wraps": 10.0}, None])
def test_a_malformed_read_back_is_refused(ways, installed, body):
    said(fresh(ways.setter, installed, "read-backs", body), 400, "invalid_input")
    assert ReadBack.objects.count() == 0


def test_a_list_costs_the_same_for_one_as_for_many(ways, cast, values, count_queries):
    ways.colleague.get("setup-values")
    one = count_queries(lambda: ways.colleague.get("setup-values"))
    for number in range(2, 7):
        builders.make_reel(f"LW-{number:04}")
        builders.signed_count(cast, f"LW-{number:04}")
        builders.issued(cast, f"LW-{number:04}", f"RM-{number + 10}")
    assert one == count_queries(lambda: ways.colleague.get("setup-values")) == 4  # session, person, postings, values
