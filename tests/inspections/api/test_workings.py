"""POST /api/v1/workings: one reading worked out, nothing stored."""

import pytest

from reels.domain.words import Scope
from reels.models import HistoryEntry, Submission
from tests.api_client import places, said
from tests.builders import GOOD

TYPE = {
    "anchor_side": "left", "wraps_odd_layer": 28, "wraps_even_layer": 27, "max_layers": 40, "lead_wraps": 1,
    "arc_from_deg": 0, "arc_to_deg": 180, "unusual": "accept",
}  # fmt: skip


def body(**changes):
    return {"reel_type": TYPE, "reading": {**GOOD, **changes}}


def without(*names, **changes):
    return {"reel_type": TYPE, "reading": {k: v for k, v in {**GOOD, **changes}.items() if k not in names}}


def test_the_worked_example_of_the_design(ways):
    answer = ways.colleague.post("workings", body(), key=None)
    assert answer.status_code == 200
    steps = answer.json().pop("steps")
    assert [step["label"] for step in steps] == [
        "Full layers", "Part-layer wraps", "Crossover correction", "Lead allowance",
    ]  # fmt: skip
    assert {**answer.json(), "steps": []} == {
        "outcome": "accepted", "layers": 12, "wraps": 10, "parity": "even", "unusual": None, "proposed": None,
        "steps": [], "problems": [],
    }  # fmt: skip


def test_a_stored_type_is_named_by_its_code(ways):
    answer = ways.colleague.post("workings", {"reel_type": "w28", "reading": GOOD}, key=None)
    assert (answer.json()["layers"], answer.json()["wraps"]) == (12, 10)


def test_a_type_that_is_not_there_is_not_found(ways):
    said(ways.colleague.post("workings", {"reel_type": "w99", "reading": GOOD}, key=None), 404, "not_found")


def test_degrees_may_stand_for_the_half(ways):
    answer = ways.colleague.post("workings", without("crossover_half", crossover_deg=180), key=None)
    assert (answer.json()["layers"], answer.json()["wraps"]) == (12, 11)


def test_an_unusual_count_is_referred_with_its_numbers_proposed(ways):
    held = {"reel_type": {**TYPE, "unusual": "hold"},
            "reading": {**GOOD, "scale_left": 11, "scale_right": 12, "open_side": "left", "unwind": "left_to_right",
                        "hand_wraps": 1, "gauge_face": "odd", "gauge_wraps": 1}}  # fmt: skip
    answer = ways.colleague.post("workings", held, key=None).json()
    assert (answer["outcome"], answer["unusual"]) == ("referred", "stepped_down")
    assert answer["proposed"] == {"layers": 10, "wraps": 27, "parity": "even"}
    assert (answer["layers"], answer["wraps"], answer["parity"]) == (None, None, None)


def test_nothing_is_stored(ways):
    entries = HistoryEntry.objects.count()
    ways.colleague.post("workings", body())
    assert (HistoryEntry.objects.count(), Submission.objects.count()) == (entries, 0)


@pytest.mark.parametrize(
    ("given", "pointers"),
    [
        ({}, ["/reel_type", "/reading"]),
        ([], [""]),
        (body(hand_wraps="12"), ["/reading/hand_wraps"]),
        (body(hand_wraps=12.0), ["/reading/hand_wraps"]),
        (body(hand_wraps=True), ["/reading/hand_wraps"]),
        (body(hand_wraps=-1), ["/reading/hand_wraps"]),
        (body(open_side="up"), ["/reading/open_side"]),
        (body(open_side=0), ["/reading/open_side"]),
        (body(colour="red"), ["/reading/colour"]),
        (body(crossover_deg=75), ["/reading/crossover_half"]),
        (without("crossover_half"), ["/reading/crossover_half"]),
        (without("crossover_half", crossover_deg="75"), ["/reading/crossover_deg"]),
        (without("crossover_half", crossover_deg=361), ["/reading/crossover_deg"]),
        (body(scale_left=None, scale_right=None), ["/reading/scale_left"]),
        ({"reel_type": {**TYPE, "arc_from_deg": 200}, "reading": GOOD}, ["/reel_type/arc_to_deg"]),
        ({"reel_type": {**TYPE, "wraps_odd_layer": 1}, "reading": GOOD}, ["/reel_type/wraps_odd_layer"]),
        ({"reel_type": {**TYPE, "width": 3}, "reading": GOOD}, ["/reel_type/width"]),
        ({"reel_type": 28, "reading": GOOD}, ["/reel_type"]),
        ({"reel_type": TYPE, "reading": GOOD, "x": 1}, ["/x"]),
    ],
)
def test_a_malformed_body_is_refused_with_pointers(ways, given, pointers):
    answer = ways.colleague.post("workings", given, key=None)
    said(answer, 400, "invalid_input")
    assert places(answer) == pointers


def test_a_script_that_may_read_may_ask_and_nobody_may_not(ways, cast, token_way):
    assert token_way(cast.colleague, Scope.READ).post("workings", body(), key=None).status_code == 200
    said(token_way(cast.colleague, Scope.READINGS).post("workings", body(), key=None), 403, "scope_missing")
    said(ways.nobody.post("workings", body(), key=None), 401, "not_logged_in")
    said(ways.colleague.get("workings"), 405, "method_not_allowed")
