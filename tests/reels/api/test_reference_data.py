"""Sites, reel types, machines and people: read by all who may, changed by administrators in person."""

from typing import Any

import pytest

from reels.domain import ledger
from reels.domain.words import Scope
from reels.models import HistoryEntry
from reels.services import register
from tests import builders
from tests.api_client import places, said

SITE = {"code": "stane-field", "name": "Stane Field", "time_zone": "Europe/London"}
MACHINE = {"serial": "RM-8", "host": "Heron 4", "site": "kettle-point", "types": ["w28"]}
TYPE = {
    "code": "w40", "core_diameter_mm": "300", "cable_diameter_mm": "9.5", "wraps_odd_layer": 40, "wraps_even_layer": 39,
    "max_layers": 18, "anchor_side": "right",
}  # fmt: skip
PERSON = {"username": "jo.b", "full_name": "Jo Brand", "staff_number": "S-777", "password": "a-long-enough-word"}
WRITES = (("sites", SITE), ("machines", MACHINE), ("reel-types", TYPE), ("people", PERSON))


@pytest.mark.parametrize(("path", "body"), WRITES)
def test_an_administrator_adds_and_nobody_else(ways, cast, token_way, path, body):
    said(ways.nobody.post(path, body), 401, "not_logged_in")
    said(ways.control.post(path, body), 403, "only_administrators")
    said(token_way(cast.control, *Scope).post(path, body), 403, "only_in_person")
    answer = ways.administrator.post(path, body)
    assert answer.status_code == 201
    shown = {name: value for name, value in answer.json().items() if name in body}
    assert shown == {**{k: v for k, v in body.items() if k != "password"},
                     **{k: f"{float(body[k]):.3f}" for k in body if k.endswith("_mm")}}  # fmt: skip
    said(ways.administrator.post(path, body), 409, "already_there")


@pytest.mark.parametrize(("path", "body"), WRITES)
def test_a_malformed_body_is_refused(ways, path, body):
    first = next(iter(body))
    answer = ways.administrator.post(path, {**body, first: 7, "colour": "red"})
    said(answer, 400, "invalid_input")
    assert places(answer) == [f"/{first}", "/colour"]


def test_a_machine_names_types_that_there_are(ways):
    answer = ways.administrator.post("machines", {**MACHINE, "types": ["w28", "w99"]})
    said(answer, 400, "value_not_taken")
    assert answer.json()["detail"] == "types was w99; allowed: of w28."
    unsaid = {name: value for name, value in MACHINE.items() if name != "types"}
    assert ways.administrator.post("machines", unsaid).json()["types"] == []


@pytest.mark.parametrize(
    ("path", "change", "field"),
    [
        ("sites/kettle-point", {"name": "Kettle Head"}, "name"),
        ("machines/RM-7", {"host": "Heron 9"}, "host"),
        ("reel-types/w28", {"lead_wraps": 2}, "lead_wraps"),
        ("people/tess", {"full_name": "Tess Hollin-Ray"}, "full_name"),
    ],
)
def test_a_change_needs_a_fresh_view_and_is_told(ways, cast, token_way, path, change, field):
    everywhere: dict[str, Any] = {"site": None, "valid_from": builders.NOW}
    register.post_person(person=builders.administrator(), **everywhere, **builders.by_administrator())
    seen = ways.administrator.tag(path)
    said(ways.administrator.patch(path, change), 428, "match_missing")
    said(ways.control.patch(path, change, seen), 403, "only_administrators")
    said(token_way(cast.control, *Scope).patch(path, change, seen), 403, "only_in_person")
    answer = ways.administrator.patch(path, change, seen)
    assert (answer.status_code, answer.json()[field]) == (200, change[field])
    assert answer.headers["ETag"] == ways.administrator.tag(path) != seen
    said(ways.administrator.patch(path, change, seen), 412, "stale")
    assert places(ways.administrator.patch(path, {"colour": "red"}, answer.headers["ETag"])) == ["/colour"]
    assert HistoryEntry.objects.filter(chain__name="register").latest("seq").act.endswith("_changed")


def test_lists_show_what_one_may_see(ways):
    assert [row["code"] for row in ways.colleague.get("sites").json()["results"]] == ["kettle-point"]
    assert [row["serial"] for row in ways.colleague.get("machines?site=kettle-point").json()["results"]] == ["RM-7"]
    assert ways.stranger.get("machines").json()["results"] == []
    assert [row["code"] for row in ways.stranger.get("reel-types").json()["results"]] == ["w28"]
    said(ways.stranger.get("machines/RM-7"), 404, "not_found")
    said(ways.stranger.get("sites/kettle-point"), 404, "not_found")
    said(ways.colleague.get("reel-types/w99"), 404, "not_found")
    said(ways.colleague.get("people"), 403, "only_administrators")
    said(ways.colleague.get("people/tess"), 403, "only_administrators")


def test_a_reel_type_tells_all_its_parameters(ways):
    shown = ways.colleague.get("reel-types/w28").json()
    assert (shown["core_diameter_mm"], shown["layer_rise_mm"], shown["odd_face_mark"]) == ("300.000", None, None)
    assert (shown["arc_from_deg"], shown["arc_to_deg"], shown["unusual"]) == (0, 180, "accept")


def test_no_reel_type_is_taken_whose_drum_cannot_be(ways):
    answer = ways.administrator.post("reel-types", {**TYPE, "layer_rise_mm": "95"})
    said(answer, 400, "impossible_drum")
    assert "layer_rise_mm was 95.0; allowed: 4.75 to 11.875." in answer.json()["detail"]
    seen = ways.administrator.tag("reel-types/w28")
    said(ways.administrator.patch("reel-types/w28", {"core_diameter_mm": "2"}, seen), 400, "impossible_drum")
    assert ways.colleague.get("reel-types/w28").json()["core_diameter_mm"] == "300.000"
    said(ways.colleague.get("reel-types/w40"), 404, "not_found")


def test_the_reason_of_a_change_is_told_in_the_history(ways):
    change = {"layer_rise_mm": "9.1", "layer_rise_u_mm": "0.05", "reason": "Fitted to 12 reels."}
    answer = ways.administrator.patch("reel-types/w28", change, ways.administrator.tag("reel-types/w28"))
    assert (answer.json()["layer_rise_mm"], answer.json()["layer_rise_u_mm"]) == ("9.100", "0.050")
    told = ledger.read(bytes(HistoryEntry.objects.filter(chain__name="register").latest("seq").content))
    assert told is not None
    assert told["facts"] == {"reason": "Fitted to 12 reels."}
    assert places(ways.administrator.post("reel-types", {**TYPE, "reason": "new"})) == ["/reason"]


def test_a_person_is_posted_to_a_site(ways):
    ways.administrator.post("people", PERSON)
    posting = {"site": "kettle-point", "valid_from": "2026-01-01T00:00:00Z"}
    answer = ways.administrator.post("people/jo.b/postings", posting)
    assert (answer.status_code, answer.json()["site"]) == (201, "kettle-point")
    assert len(ways.administrator.get("people/jo.b").json()["postings"]) == 1
    said(ways.control.post("people/jo.b/postings", posting), 403, "only_administrators")
    said(ways.administrator.post("people/zoe/postings", posting), 404, "not_found")


def test_a_weak_password_is_refused(ways):
    answer = ways.administrator.post("people", {**PERSON, "password": "1234"})
    assert (answer.status_code, places(answer)) == (400, ["/password"])


def test_lists_cost_the_same_for_one_as_for_many(ways, count_queries):
    ways.colleague.get("machines")
    one = [count_queries(lambda path=path: ways.colleague.get(path)) for path in ("machines", "sites", "reel-types")]
    for number in range(20, 30):
        builders.make_machine(f"RM-{number}")
        builders.make_type(f"t{number}")
    many = [count_queries(lambda path=path: ways.colleague.get(path)) for path in ("machines", "sites", "reel-types")]
    assert one == many == [5, 4, 3]  # session, person, rows, postings for machines and sites, holds of machines
    assert count_queries(lambda: ways.administrator.get("people")) == 5  # session, person, people, postings, sites
