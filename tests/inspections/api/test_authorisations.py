"""Authorisations: granted by an administrator to somebody else, and ended."""

from inspections.domain.words import Act
from inspections.models import Authorisation
from reels.domain.words import Scope
from tests.api_client import places, said

GRANT = {"person": "noel", "act": "count", "reel_type": "w28", "site": None, "valid_from": "2026-01-01T00:00:00Z"}


def test_an_administrator_grants_and_ends(ways):
    granted = ways.administrator.post("authorisations", GRANT)
    assert granted.status_code == 201
    assert (granted.json()["act"], granted.json()["reel_type"], granted.json()["site"]) == ("count", "w28", None)
    assert granted.json()["granted_by"]["username"] == "ada"
    end = f"authorisations/{granted.json()['id']}/end"
    ended = ways.administrator.post(end, {"reason": "Left the shop."})
    assert (ended.status_code, ended.json()["end_reason"]) == (200, "Left the shop.")


def test_one_sees_ones_own_and_an_administrator_everybodys(ways):
    assert {row["person"]["username"] for row in ways.technician.get("authorisations").json()["results"]} == {"tess"}
    rows = ways.administrator.get("authorisations?person=vic").json()["results"]
    assert [row["act"] for row in rows] == ["verify"]
    assert (
        len(ways.administrator.get("authorisations?page_size=200").json()["results"]) == Authorisation.objects.count()
    )


def test_nobody_authorises_themselves(ways):
    said(ways.administrator.post("authorisations", {**GRANT, "person": "ada"}), 409, "same_person")


def test_a_malformed_body_is_refused(ways):
    wrong = {**GRANT, "act": "fly", "valid_from": "2026-01-01T00:00:00", "why": "so"}
    answer = ways.administrator.post("authorisations", wrong)
    said(answer, 400, "invalid_input")
    assert places(answer) == ["/act", "/valid_from", "/why"]
    backwards = {**GRANT, "valid_until": "2025-01-01T00:00:00Z"}
    assert places(ways.administrator.post("authorisations", backwards)) == ["/valid_until"]


def test_who_may_not(ways, cast, token_way):
    said(ways.nobody.post("authorisations", GRANT), 401, "not_logged_in")
    said(ways.nobody.get("authorisations"), 401, "not_logged_in")
    said(ways.control.post("authorisations", GRANT), 403, "only_administrators")
    said(token_way(cast.control, *Scope).post("authorisations", GRANT), 403, "only_in_person")
    own = Authorisation.objects.get(person=cast.technician, act=Act.COUNT).pk
    said(ways.technician.post(f"authorisations/{own}/end", {"reason": "Mine."}), 403, "only_administrators")
    said(ways.administrator.post("authorisations/999999/end", {"reason": "Gone."}), 404, "not_found")
