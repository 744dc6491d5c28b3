"""What maintenance control records of a reel: installed, removed, held, moved, retired."""

from typing import Any

import pytest

from reels.domain.words import Scope
from reels.models import Installation
from tests import builders
from tests.api_client import places, said
from tests.api_fixtures import PREPARATION

REEL = "reels/LW-0001"
WHY = {"reason": "To be counted."}
ACTS: tuple[tuple[str, dict[str, Any]], ...] = (
    ("installation", {"machine": "RM-7"}), ("removal", WHY), ("hold", {"reason": "A kink."}),
    ("hold/end", {"reason": "Straightened."}), ("move", {"site": "aldermere"}), ("retirement", {"reason": "Worn."}),
)  # fmt: skip


def test_a_reel_is_installed_and_removed(ways):
    assert ways.control.post(f"{REEL}/installation", {"machine": "RM-7"}).json()["machine"] == "RM-7"
    said(ways.control.post(f"{REEL}/installation", {"machine": "RM-7"}), 409, "reel_installed")
    assert ways.control.post(f"{REEL}/removal", WHY).json()["machine"] is None
    said(ways.control.post(f"{REEL}/removal", WHY), 409, "reel_not_installed")
    said(ways.control.post(f"{REEL}/installation", {"machine": "RM-9"}), 404, "not_found")


def test_another_machine_than_issued_for_is_asked_about_once(ways, cast):
    builders.signed_count(cast)
    builders.issued(cast)
    builders.make_machine("RM-8")
    body = {"machine": "RM-8"}
    said(ways.control.post(f"{REEL}/installation", body), 409, "issued_for_another")
    answered = ways.control.post(f"{REEL}/installation", {**body, "answers": ["issued_for_another"]})
    assert (answered.json()["machine"], answered.json()["setup_values"]) == ("RM-8", None)
    assert places(ways.control.post(f"{REEL}/installation", {**body, "answers": "yes"})) == ["/answers"]


def test_when_it_happened_may_be_said_and_both_times_are_shown(ways):
    early = "2026-03-02T01:00:00Z"
    shown = ways.control.post(f"{REEL}/installation", {"machine": "RM-7", "happened_at": early}).json()["installation"]
    assert shown["installed_at"] == early < shown["recorded_at"]
    before = {**WHY, "happened_at": "2026-03-02T00:30:00Z"}
    said(ways.control.post(f"{REEL}/removal", before), 409, "out_of_order")
    ways.control.post(f"{REEL}/removal", {**WHY, "happened_at": "2026-03-02T02:00:00Z"})
    hold = ways.control.post(f"{REEL}/hold", {**WHY, "happened_at": "2026-03-02T03:00:00Z"}).json()["hold"]
    assert hold["placed_at"] == "2026-03-02T03:00:00Z" < hold["recorded_at"]


def test_why_a_reel_was_removed_and_whether_cable_went_out_is_kept(ways):
    ways.control.post(f"{REEL}/installation", {"machine": "RM-7"})
    assert places(ways.control.post(f"{REEL}/removal", {})) == ["/reason"]
    ways.control.post(f"{REEL}/removal", {**WHY, "cable_went_out": False})
    assert list(Installation.objects.values_list("removal_reason", "cable_went_out")) == [("To be counted.", False)]


def test_a_reel_is_held_and_let_go(ways):
    held = ways.control.post(f"{REEL}/hold", {"reason": "A kink."})
    assert (held.json()["status"], held.json()["hold"]["reason"]) == ("held", "A kink.")
    freed = ways.control.post(f"{REEL}/hold/end", {"reason": "Straightened."}, match=held.headers["ETag"])
    assert (freed.status_code, freed.json()["status"]) == (200, "awaiting_count")


def test_letting_go_needs_a_fresh_view(ways):
    held = ways.control.post(f"{REEL}/hold", {"reason": "A kink."})
    said(ways.control.post(f"{REEL}/hold/end", {"reason": "Fine."}), 428, "match_missing")
    ways.control.post(f"{REEL}/cable-events",
                      {"kind": "cut", "happened_at": "2026-03-02T09:00:00Z", "length_removed_m": "2"})  # fmt: skip
    stale = ways.control.post(f"{REEL}/hold/end", {"reason": "Fine."}, match=held.headers["ETag"])
    said(stale, 412, "stale")
    assert places(stale) == ["If-Match"]
    assert ways.colleague.get(REEL).json()["status"] == "held"


def test_a_reel_that_was_sent_is_in_no_stock_until_it_is_received(ways):
    sent = ways.control.post(f"{REEL}/move", {"site": "aldermere", "document": "SN-4"}).json()
    assert (sent["state"], sent["to_site"], sent["document"], sent["ended_at"]) == (
        "under_way", "aldermere", "SN-4", None,
    )  # fmt: skip
    for way in (ways.control, ways.stranger):
        assert way.get(REEL).json()["status"] == "in_transit"
        assert (way.get("reels").json()["results"], len(way.get("reels?status=in_transit").json()["results"])) == (
            [],
            1,
        )
        assert [each["id"] for each in way.get("moves?state=under_way").json()["results"]] == [sent["id"]]
    said(ways.technician.post(f"{REEL}/inspections", PREPARATION), 409, "reel_in_transit")
    said(ways.control.post(f"{REEL}/move/receipt", {"sound": True}), 403, "not_authorised")
    received = ways.stranger.post(f"{REEL}/move/receipt", {"sound": True}).json()
    assert (received["state"], received["received_site"], received["found_sound"]) == ("received", "aldermere", True)
    said(ways.control.get(REEL), 404, "not_found")
    assert ways.stranger.get(REEL).json()["site"] == "aldermere"
    assert len(ways.control.get("moves").json()["results"]) == 1
    said(ways.stranger.post(f"{REEL}/move/receipt", {"sound": True}), 409, "reel_not_in_transit")


def test_a_sending_is_called_back_by_the_sender_with_a_reason(ways):
    ways.control.post(f"{REEL}/move", {"site": "aldermere"})
    said(ways.stranger.post(f"{REEL}/move/call-back", WHY), 403, "not_authorised")
    assert places(ways.control.post(f"{REEL}/move/call-back", {})) == ["/reason"]
    back = ways.control.post(f"{REEL}/move/call-back", WHY).json()
    assert (back["state"], back["words"], back["received_site"]) == ("called_back", WHY["reason"], None)
    assert ways.control.get(REEL).json()["status"] == "awaiting_count"


def test_a_site_says_after_how_many_days_a_reel_that_was_sent_there_is_late(ways):
    assert places(ways.administrator.patch("sites/aldermere", {"transit_days": 0}, match="*")) == ["/transit_days"]
    ways.administrator.patch("sites/aldermere", {"transit_days": 3}, match="*")
    sent = ways.control.post(f"{REEL}/move", {"site": "aldermere", "happened_at": "2026-03-02T01:00:00Z"}).json()
    assert sent["late_at"] == "2026-03-05T01:00:00Z"


def test_a_reel_is_retired_for_good(ways):
    answer = ways.control.post(f"{REEL}/retirement", {"reason": "Worn."}, match=ways.control.tag(REEL))
    assert (answer.json()["status"], answer.json()["retired_reason"]) == ("retired", "Worn.")
    said(ways.control.post(f"{REEL}/hold", {"reason": "Late."}), 409, "reel_retired")


@pytest.mark.parametrize(("act", "body"), ACTS)
def test_who_may_not(ways, cast, token_way, act, body):
    builders.make_site("aldermere", "Aldermere")
    path = f"{REEL}/{act}"
    said(ways.nobody.post(path, body, match="*"), 401, "not_logged_in")
    said(ways.colleague.post(path, body, match="*"), 403, "not_authorised")
    said(ways.stranger.post(path, body, match="*"), 404, "not_found")
    said(token_way(cast.control, *Scope).post(path, body, match="*"), 403, "only_in_person")
    said(ways.control.get(path), 405, "method_not_allowed")
    said(ways.control.post(f"reels/LW-9999/{act}", body, match="*"), 404, "not_found")


@pytest.mark.parametrize(("act", "body"), ACTS)
def test_an_unknown_field_and_an_empty_reason_are_refused_by_name(ways, act, body):
    answer = ways.control.post(f"{REEL}/{act}", {**body, "colour": "red"}, match="*")
    assert places(answer) == ["/colour"]
    for name in body:
        assert places(ways.control.post(f"{REEL}/{act}", {name: ""}, match="*")) == [f"/{name}"]
