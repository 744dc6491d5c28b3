"""Wrap gauges over the API: the register, which are out, and the gauge of a count."""

import pytest

from reels.domain.words import Scope
from tests import builders
from tests.api_client import places, said
from tests.api_fixtures import PREPARATION, both

GAUGE = {"serial": "WG-9", "machine": "RM-7", "types": ["w28"], "calibrated_on": "2026-01-05", "due": "2027-01-05"}
TAKEN = {"wrap_gauge": "WG-0001", "end_marks_match": True}


@pytest.fixture
def opened(ways):
    return f"inspections/{ways.technician.post('reels/LW-0001/inspections', PREPARATION).json()['id']}"


def test_an_administrator_registers_a_gauge_which_everybody_at_the_site_sees(ways):
    shown = ways.administrator.post("wrap-gauges", GAUGE).json()
    assert shown == {"serial": "WG-9", "machine": "RM-7", "types": ["w28"], "calibration_due": "2027-01-05",
                     "out": None}  # fmt: skip
    assert ways.colleague.get("wrap-gauges/WG-9").json() == shown
    said(ways.stranger.get("wrap-gauges/WG-9"), 404, "not_found")
    said(ways.control.post("wrap-gauges", GAUGE), 403, "only_administrators")
    said(ways.administrator.post("wrap-gauges", GAUGE), 409, "already_there")


@pytest.mark.parametrize(
    ("change", "status", "code"),
    [
        ({"types": []}, 400, "invalid_input"), ({"types": ["w28", "w28"]}, 400, "invalid_input"),
        ({"types": ["none"]}, 404, "not_found"), ({"machine": "none"}, 404, "not_found"),
        ({"due": "2026-01-04"}, 400, "value_not_taken"), ({"due": "soon"}, 400, "invalid_input"),
        ({"serial": "a/b"}, 400, "invalid_input"),
    ],
)  # fmt: skip
def test_a_value_that_cannot_be_is_refused(ways, change, status, code):
    said(ways.administrator.post("wrap-gauges", {**GAUGE, **change}), status, code)


def test_a_calibration_and_a_move_are_shown(ways):
    ways.administrator.post("wrap-gauges", GAUGE)
    again = {"calibrated_on": "2026-02-01", "due": "2027-02-01"}
    assert ways.administrator.post("wrap-gauges/WG-9/calibration", again).json()["calibration_due"] == "2027-02-01"
    builders.make_machine("RM-8")
    moved = ways.administrator.post("wrap-gauges/WG-9/machine", {"machine": "RM-8"})
    assert (moved.status_code, moved.json()["machine"]) == (200, "RM-8")


def test_a_count_says_when_the_gauge_is_next_and_when_it_is_to_go_back(ways, opened, cast):
    hold_points = {"serial": "LW-0001", "open_side": "right", "scale_left": 13, "scale_right": 12}
    for point, value in {**hold_points, "unwind": "right_to_left"}.items():
        ways.technician.post(f"{opened}/keyings", {"point": point, "role": "technician", point: value})
        if point in hold_points:
            ways.verifier.post(f"{opened}/keyings", {"point": point, "role": "verifier", point: value})
    shown = ways.verifier.get(opened).json()
    assert shown["next"] == [{"act": "take_gauge", "point": None, "role": "technician", "meaning": None}]
    assert shown["preparation"]["wrap_gauge"] is None
    hand = {"point": "hand_count", "hand_wraps": 12}
    said(ways.technician.post(f"{opened}/keyings", {**hand, "role": "technician"}), 409, "gauge_not_taken")
    taken = ways.technician.post(f"{opened}/gauge", TAKEN)
    assert (taken.status_code, taken.json()["preparation"]["machine"]) == (201, "RM-7")
    [use] = [each["out"] for each in ways.colleague.get("wrap-gauges?out=yes").json()["results"]]
    assert (use["taken_by"]["username"], f"inspections/{use['inspection']}") == ("tess", opened)
    assert [each["act"] for each in taken.json()["next"]] == ["key", "key"]
    ended = ways.technician.post(f"{opened}/cancellation", {"reason": "rain"}).json()
    assert [each["act"] for each in ended["next"]] == ["return_gauge"]
    back = ways.setter.post(f"{opened}/gauge-return", {"wrap_gauge": "WG-0001"})
    assert (back.status_code, back.json()["next"]) == (200, [])
    assert ways.colleague.get("wrap-gauges?out=yes").json()["results"] == []
    assert "WG-0001" in [each["serial"] for each in ways.colleague.get("wrap-gauges?out=no").json()["results"]]


def test_what_is_wrong_with_a_gauge_is_said_at_its_field(ways, opened):
    unknown = ways.technician.post(f"{opened}/gauge", {**TAKEN, "wrap_gauge": "WG-1987"})
    said(unknown, 409, "gauge_not_usable")
    not_matched = ways.technician.post(f"{opened}/gauge", {**TAKEN, "end_marks_match": False})
    said(not_matched, 400, "end_marks_differ")
    assert places(not_matched) == ["/end_marks_match"]
    ways.technician.post(f"{opened}/gauge", TAKEN)
    said(ways.technician.post(f"{opened}/gauge", TAKEN), 409, "gauge_is_out")
    said(ways.setter.post(f"{opened}/gauge-return", {"wrap_gauge": "WG-8"}), 409, "other_gauge")


def test_a_script_names_the_gauge_of_a_whole_reading(ways, opened, cast, token_way):
    script = token_way(cast.technician, Scope.READ, Scope.READINGS)
    said(script.post(f"{opened}/readings", {**both(cast), "gauge": None}), 409, "gauge_not_taken")
    said(script.post(f"{opened}/readings", both(cast, gauge="WG-1987")), 409, "gauge_not_usable")
    read = script.post(f"{opened}/readings", both(cast)).json()
    assert (read["state"], read["preparation"]["wrap_gauge"]) == ("awaiting_sign_off", "WG-0001")
    assert [each["act"] for each in read["next"]] == ["sign"]
    said(script.post(f"{opened}/gauge", TAKEN), 403, "only_in_person")
