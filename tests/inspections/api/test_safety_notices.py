"""Safety notices over the API: asked, issued, told with their reels, and lifted; and who may not."""

import pytest

from reels.domain.words import Scope
from tests import builders
from tests.api_client import places, said
from tests.worker import work_off

NOTICES, HERE = "safety-notices", {"reel_type": "w28", "site": "kettle-point"}
NOTICE = {"reference": "SN-7", "reason": "A batch of brakes slips.", **HERE, "answers": ["holds_reels"]}
LIFT = {"reason": "all brakes are changed"}


@pytest.fixture
def notice(ways, cast):
    """The address of one that holds LW-0001; LW-0002 was held before."""
    builders.make_reel("LW-0002")
    ways.control.post("reels/LW-0002/hold", {"reason": "rust"})
    answer = ways.control.post(NOTICES, NOTICE)
    assert answer.status_code == 201
    work_off()
    return f"{NOTICES}/{answer.json()['id']}"


def reels(way, notice, query=""):
    return [(each["reel"], each["state"]) for each in way.get(f"{notice}/reels{query}").json()["results"]]


def test_how_many_it_holds_is_a_question_and_the_same_body_with_its_code_is_the_answer(ways):
    unanswered = {name: value for name, value in NOTICE.items() if name != "answers"}
    asked = said(ways.control.post(NOTICES, unanswered), 409, "holds_reels")
    assert "Of these there are 1 reel: LW-0001." in asked["detail"]
    assert ways.control.get(NOTICES).json()["results"] == []
    assert ways.control.post(NOTICES, NOTICE).status_code == 201


def test_it_is_told_whole_to_everybody_who_is_logged_in(ways, notice):
    told = ways.stranger.get(notice).json()
    names = (*HERE, "reference", "reason", "cable_lot", "publication", "reels", "held")
    assert {name: told[name] for name in names} == {
        **HERE, "reference": "SN-7", "reason": "A batch of brakes slips.", "cable_lot": None, "publication": None,
        "reels": 2, "held": 1,
    }  # fmt: skip
    assert (told["issued_by"]["username"], told["lifted_at"], told["lift_reason"]) == ("mona", None, None)
    assert ways.stranger.get(NOTICES).json()["results"] == [told]
    for standing, found in (("yes", [told]), ("no", [])):
        assert ways.colleague.get(f"{NOTICES}?standing={standing}").json()["results"] == found
    assert places(ways.colleague.get(f"{NOTICES}?standing=perhaps")) == ["standing"]


def test_its_reels_are_told_with_what_became_of_each_and_only_to_those_who_may_see_them(ways, notice):
    assert reels(ways.colleague, notice) == [("LW-0001", "held"), ("LW-0002", "held_before")]
    assert reels(ways.stranger, notice) == []
    ways.control.post("reels/LW-0001/hold/end", {"reason": "its brake is changed"}, match="*")
    assert reels(ways.colleague, notice, "?state=released") == [("LW-0001", "released")]
    [free] = ways.colleague.get(f"{notice}/reels?state=released").json()["results"]
    assert (free["released_by"]["username"], free["release_reason"]) == ("mona", "its brake is changed")
    assert places(ways.colleague.get(f"{notice}/reels?state=gone")) == ["state"]


def test_lifted_it_says_by_whom_and_why_and_its_reels_are_let_go(ways, notice):
    lifted = ways.control.post(f"{notice}/lift", LIFT)
    assert lifted.status_code == 200
    told = lifted.json()
    assert (told["lifted_by"]["username"], told["lift_reason"]) == ("mona", LIFT["reason"])
    work_off()
    assert reels(ways.control, notice) == [("LW-0001", "released"), ("LW-0002", "not_held")]
    assert ways.control.get("reels/LW-0001").json()["status"] == "awaiting_count"
    said(ways.control.post(f"{notice}/lift", LIFT), 409, "already_ended")


def test_who_may(ways, cast, notice, token_way):
    of_another = {**NOTICE, "reference": "SN-8"}
    for path, body in ((NOTICES, of_another), (f"{notice}/lift", LIFT)):
        said(ways.nobody.post(path, body), 401, "not_logged_in")
        said(ways.colleague.post(path, body), 403, "not_authorised")
        said(token_way(cast.control, Scope.READ).post(path, body), 403, "only_in_person")
    said(ways.stranger.post(NOTICES, of_another), 404, "not_found")  # nobody is told of another's sites
    said(ways.stranger.post(f"{notice}/lift", LIFT), 403, "not_authorised")
    said(ways.control.post(NOTICES, {**of_another, "site": None}), 403, "not_authorised")
    assert ways.control.get(notice).json()["lifted_at"] is None


@pytest.mark.parametrize(("change", "status", "code"), [
    ({"reel_type": None, "site": None}, 400, "value_not_taken"),
    ({"publication_revision": "C"}, 400, "value_not_taken"),
    ({"reel_type": "w99"}, 404, "not_found"),
    ({"site": "nowhere"}, 404, "not_found"),
    ({"reference": "SN-7"}, 409, "already_there"),
])  # fmt: skip
def test_what_it_may_not_name(ways, notice, change, status, code):
    said(ways.control.post(NOTICES, {**NOTICE, "reference": "SN-8", **change}), status, code)


@pytest.mark.parametrize(("change", "place"), [
    ({"reference": ""}, "/reference"), ({"reference": "x" * 61}, "/reference"), ({"reason": " "}, "/reason"),
    ({"colour": "red"}, "/colour"), ({"site": 7}, "/site"), ({"answers": "holds_reels"}, "/answers"),
])  # fmt: skip
def test_a_malformed_body_is_refused_by_name(ways, change, place):
    assert places(ways.control.post(NOTICES, {**NOTICE, **change})) == [place]


def test_one_that_is_not_there_is_not_found(ways):
    for way in (ways.control.get(f"{NOTICES}/9"), ways.control.get(f"{NOTICES}/9/reels"),
                ways.control.post(f"{NOTICES}/9/lift", LIFT)):  # fmt: skip
        said(way, 404, "not_found")
    assert places(ways.control.post(f"{NOTICES}/9/lift", {})) == ["/reason"]


def test_the_same_request_twice_is_one_notice(ways):
    first = ways.control.post(NOTICES, NOTICE, key='"once"')
    assert ways.control.post(NOTICES, NOTICE, key='"once"').json() == first.json()
    assert len(ways.control.get(NOTICES).json()["results"]) == 1


def test_a_reel_that_comes_later_is_among_them(ways, notice):
    builders.make_reel("LW-0003")
    assert reels(ways.control, notice)[-1] == ("LW-0003", "held")
