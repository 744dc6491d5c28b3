"""A count that can't go on by itself: help, referral and release, a fresh reading, cancellation, voiding."""

from typing import Any

import pytest

from inspections.domain.words import Act
from reels.domain.words import Scope
from tests import builders
from tests.api_client import said
from tests.api_fixtures import both

AGAIN = {"decision": "read_again", "reason": "Turned by hand, and read once more."}
REASON = {"reason": "The gauge had slipped."}


@pytest.fixture
def opened(ways, cast):
    return f"inspections/{builders.open_count(cast).pk}"


@pytest.fixture
def worked(ways, cast, opened):
    assert ways.technician.post(f"{opened}/readings", both(cast)).status_code == 201
    return opened


@pytest.fixture
def signed(ways, cast):
    return f"inspections/{builders.signed_count(cast).pk}"


def release(way, path, body):
    return way.post(f"{path}/release", body, match=way.tag(path))


def test_asking_for_help_refers_the_count_and_a_release_opens_it(ways, opened):
    referred = ways.technician.post(f"{opened}/help", {"remark": "The scale is worn."}).json()
    assert (referred["state"], referred["next"][0]["act"]) == ("referred", "release")
    assert "The scale is worn." in referred["referrals"][0]["why"]
    released = release(ways.releaser, opened, AGAIN)
    assert (released.status_code, released.json()["state"]) == (200, "open")
    assert released.json()["referrals"][0]["released_by"]["username"] == "rhea"


def test_an_unusual_count_that_is_proposed_may_be_accepted(ways, cast):
    kind = builders.make_type("held", unusual="hold", unusual_publication="")
    builders.make_reel("LW-0002", type=kind)
    path = f"inspections/{builders.open_count(cast, 'LW-0002').pk}"
    stepped: dict[str, Any] = {
        "scale_left": 11, "scale_right": 12, "open_side": "left", "unwind": "left_to_right", "hand_wraps": 1,
        "gauge_face": "odd", "gauge_wraps": 1,
    }  # fmt: skip
    referred = ways.technician.post(f"{path}/readings", both(cast, gauge="WG-0002", serial="LW-0002", **stepped)).json()
    assert referred["referrals"][0]["proposed"] == {"layers": 10, "wraps": 27, "parity": "even"}
    accepted = release(ways.releaser, path, {"decision": "accept_proposed", "reason": "LWS 12-3 allows it."}).json()
    assert (accepted["state"], accepted["layers"], accepted["wraps"]) == ("awaiting_sign_off", 10, 27)


def test_a_release_needs_a_fresh_view_and_something_referred(ways, opened):
    said(ways.releaser.post(f"{opened}/release", AGAIN), 428, "match_missing")
    seen = ways.releaser.tag(opened)
    ways.technician.post(f"{opened}/help", {"remark": "Please look."})
    said(ways.releaser.post(f"{opened}/release", AGAIN, match=seen), 412, "stale")
    nothing = {"decision": "accept_proposed", "reason": "Why not?"}
    said(release(ways.releaser, opened, nothing), 409, "nothing_proposed")
    release(ways.releaser, opened, AGAIN)
    said(release(ways.releaser, opened, AGAIN), 409, "not_referred")


def test_a_fresh_reading_keeps_the_one_before(ways, worked):
    again = ways.technician.post(f"{worked}/fresh-reading", REASON).json()
    assert (again["state"], again["layers"], len(again["readings"])) == ("open", None, 2)
    said(ways.technician.post(f"{worked}/fresh-reading", REASON), 409, "wrong_state")


def test_a_count_is_cancelled_with_its_reason(ways, opened):
    ended = ways.technician.post(f"{opened}/cancellation", REASON).json()
    assert (ended["state"], ended["end_reason"]) == ("cancelled", REASON["reason"])
    assert [each["act"] for each in ended["next"]] == ["return_gauge"], "it left its machine, and nothing else is open"
    said(ways.technician.post(f"{opened}/cancellation", REASON), 409, "wrong_state")


def test_two_people_void_a_signed_count(ways, cast, signed):
    asked = ways.verifier.post(f"{signed}/void", REASON, match=ways.verifier.tag(signed))
    assert (asked.status_code, asked.json()["void"]["confirmed_by"]) == (200, None)
    confirm = f"{signed}/void/confirmation"
    said(ways.verifier.post(confirm, match=asked.headers["ETag"]), 409, "same_person")
    said(ways.releaser.post(confirm), 428, "match_missing")
    voided = ways.releaser.post(confirm, match=asked.headers["ETag"]).json()
    assert (voided["state"], voided["void"]["confirmed_by"]["username"]) == ("voided", "rhea")
    said(ways.releaser.post(confirm, match=ways.releaser.tag(signed)), 409, "not_voidable")


ACTS: tuple[tuple[str, dict[str, Any]], ...] = (
    ("help", {"remark": "Please look."}), ("release", AGAIN), ("fresh-reading", REASON), ("cancellation", REASON),
    ("void", REASON), ("void/confirmation", {}),
)  # fmt: skip


@pytest.mark.parametrize(("act", "body"), ACTS)
def test_who_may_not(ways, cast, token_way, worked, act, body):
    for spare in Act:
        builders.authorise(cast.technician, spare)
    path = f"{worked}/{act}"
    said(ways.nobody.post(path, body, match="*"), 401, "not_logged_in")
    said(ways.stranger.post(path, body, match="*"), 404, "not_found")
    said(ways.colleague.post(path, body, match="*"), 403, "not_authorised")
    said(token_way(cast.technician, *Scope).post(path, body, match="*"), 403, "only_in_person")
    said(ways.technician.post(f"inspections/999999/{act}", body, match="*"), 404, "not_found")
    said(ways.technician.post(path, {**body, "colour": "red"}, match="*"), 400, "invalid_input")
    said(ways.technician.get(path), 405, "method_not_allowed")
