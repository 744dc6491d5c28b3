"""The whole job through the API, hold point by hold point, as four people do it."""

from tests.api_client import said
from tests.api_fixtures import PREPARATION
from tests.builders import PASSWORD

STEPS = (
    ("serial", {"serial": "LW-0001"}),
    ("open_side", {"open_side": "right"}),
    ("scale_left", {"scale_left": 13}),
    ("scale_right", {"scale_right": 12}),
    ("unwind", {"unwind": "right_to_left"}),
    ("hand_count", {"hand_wraps": 12}),
    ("gauge", {"gauge_face": "even", "gauge_wraps": 12}),
    ("crossover", {"crossover_half": "first"}),
)


def key_everything(ways, inspection):
    for point, fields in STEPS:
        if point == "hand_count":
            taken = {"wrap_gauge": "WG-0001", "end_marks_match": True}
            assert ways.technician.post(f"inspections/{inspection}/gauge", taken).status_code == 201
        technician = {"point": point, "role": "technician", **fields}
        answer = ways.technician.post(f"inspections/{inspection}/keyings", technician)
        if point != "unwind":
            verifier = {**technician, "role": "verifier"}
            answer = ways.verifier.post(f"inspections/{inspection}/keyings", verifier)
        assert answer.status_code == 201
    return answer


def test_from_the_first_reading_to_confirmed_setup_values(ways):
    opened = ways.technician.post("reels/LW-0001/inspections", PREPARATION)
    assert opened.status_code == 201
    inspection = opened.json()["id"]
    assert opened.json()["next"][0] == {"act": "key", "point": "serial", "role": "technician", "meaning": None}
    worked = key_everything(ways, inspection)
    assert worked.json()["state"] == "awaiting_sign_off"
    assert (worked.json()["layers"], worked.json()["wraps"], worked.json()["parity"]) == (12, 10, "even")
    assert [step["change"] for step in worked.json()["readings"][0]["working"]["steps"]] == [-1, 0, -1, -1]

    gauge = {"wrap_gauge": "WG-0001"}
    worked = ways.technician.post(f"inspections/{inspection}/gauge-return", gauge)
    counted = {"meaning": "counted", "password": PASSWORD}
    signed = ways.technician.post(f"inspections/{inspection}/sign-offs", counted, match=worked.headers["ETag"])
    assert signed.json()["next"] == [{"act": "sign", "point": None, "role": None, "meaning": "verified"}]
    verified = {"meaning": "verified", "password": PASSWORD}
    signed = ways.verifier.post(f"inspections/{inspection}/sign-offs", verified, match=signed.headers["ETag"])
    assert (signed.status_code, signed.json()["state"]) == (201, "signed")

    issued = ways.control.post("reels/LW-0001/setup-values", {"machine": "RM-7"}, match=signed.headers["ETag"])
    assert (issued.json()["layers"], issued.json()["wraps"], issued.json()["inspection"]) == (12, 10, inspection)
    values = f"setup-values/{issued.json()['id']}"
    assert ways.control.post("reels/LW-0001/installation", {"machine": "RM-7"}).json()["status"] == "installed"
    returned = ways.setter.post(f"{values}/gauge-return")
    wrong = ways.setter.post(f"{values}/read-backs", {"layers": 12, "wraps": 11}, match=returned.headers["ETag"])
    said(wrong, 409, "read_back_differs")
    numbers = {"layers": 12, "wraps": 10}
    assert ways.setter.post(f"{values}/read-backs", numbers, match=ways.setter.tag(values)).status_code == 201
    confirmed = ways.confirmer.post(f"{values}/confirmations", numbers, match=ways.confirmer.tag(values))
    assert confirmed.json()["confirmed_by"] == {"username": "cora", "full_name": "Cora Lynd"}
    assert [(each["wraps"], each["matches"]) for each in confirmed.json()["read_backs"]] == [
        (11, False), (10, True), (10, True)
    ]  # fmt: skip
    reel = ways.colleague.get("reels/LW-0001").json()
    assert (reel["status"], reel["setup_values"]["wraps"], reel["machine"]) == ("values_confirmed", 10, "RM-7")

    checked = ways.setter.post(f"{values}/checks", {"kind": "functional", "passed": True, "remark": None})
    assert checked.json()["machine_checks"][0]["passed"] is True
    acts = [entry["act"] for entry in ways.colleague.get("reels/LW-0001/history").json()["results"]]
    assert acts[0] == "reel_received"
    assert acts[-7:] == ["values_issued", "installed", "gauge_returned", "read_back", "read_back", "confirmation",
                         "machine_checked"]  # fmt: skip
