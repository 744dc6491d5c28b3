"""What a POST answers is what a GET would give: it is made of what the act has just written, not read again."""

from tests import builders
from tests.api_fixtures import PREPARATION, both
from tests.builders import PASSWORD, Cast


def acts(ways, cast: Cast):
    """Every act on an inspection that answers with the inspection: who, what, and whether it rests on a view."""
    yield ways.technician, "keyings", {"point": "serial", "role": "technician", "serial": "LW-0001"}, False
    yield ways.technician, "help", {"remark": "A strand."}, False
    yield ways.releaser, "release", {"decision": "read_again", "reason": "Looked at it."}, True
    yield ways.technician, "readings", both(cast, {"hand_wraps": 11}), False
    yield ways.technician, "readings", both(cast), False
    yield ways.verifier, "fresh-reading", {"reason": "To be sure."}, False
    yield ways.technician, "readings", both(cast), False
    yield ways.technician, "sign-offs", {"meaning": "counted", "password": PASSWORD}, True
    yield ways.verifier, "sign-offs", {"meaning": "verified", "password": PASSWORD}, True
    yield ways.verifier, "void", {"reason": "The wrong reel."}, True
    yield ways.releaser, "void/confirmation", {}, True


def test_an_act_answers_with_what_is_shown_afterwards(ways, cast):
    opened = ways.technician.post("reels/LW-0001/inspections", PREPARATION)
    path = f"inspections/{opened.json()['id']}"
    assert opened.json() == ways.technician.get(path).json()
    for way, name, body, rests_on_a_view in acts(ways, cast):
        match = way.tag(path) if rests_on_a_view else None
        answer = way.post(f"{path}/{name}", body, match=match)
        assert answer.status_code in (200, 201), (name, answer.json())
        shown = way.get(path)
        assert (answer.json(), answer.headers["ETag"]) == (shown.json(), shown.headers["ETag"]), name


def test_a_cancelled_count_is_answered_as_it_is_shown(ways, cast):
    path = f"inspections/{builders.open_count(cast).pk}"
    answer, shown = ways.technician.post(f"{path}/cancellation", {"reason": "No time."}), ways.technician.get(path)
    assert (answer.json(), answer.headers["ETag"]) == (shown.json(), shown.headers["ETag"])
