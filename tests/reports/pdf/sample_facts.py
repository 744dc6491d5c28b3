"""A record made by hand, the same in every run: no database, no clock, no salt. Everything in it is invented."""

from typing import Any

from inspections.domain.record import record_bytes, statement_bytes
from reels.domain import ledger
from reports.pdf.facts import InspectionFacts

TESS = {"id": 2, "username": "tess", "name": "Tess Hollin", "staff_number": "S-0001"}
VIC = {"id": 3, "username": "vic", "name": "Vic Amberley", "staff_number": "S-0002"}
MONA = {"id": 4, "username": "mona", "name": "Mona Castell", "staff_number": "S-0003"}
PARAMETERS: dict[str, Any] = {
    "type": "w28", "anchor_side": "left", "wraps_odd_layer": 28, "wraps_even_layer": 27, "max_layers": 20,
    "lead_wraps": 1, "arc_from_deg": 0, "arc_to_deg": 180, "unusual": "accept", "unusual_publication": "LWS 12-3",
    "graduation": "every", "scale_line_at": "bottom", "reference_side": "left", "winding_sense": "clockwise",
    "arc_publication": "",
}  # fmt: skip
SEEN: dict[str, Any] = {
    "open_side": "right", "scale_left": 13, "scale_right": 12, "unwind": "right_to_left", "hand_count": 12,
    "gauge": {"face": "even", "wraps": 12}, "crossover": {"half": "first"},
}  # fmt: skip
STEPS = [
    {"label": "Full layers", "before": 13, "change": -1, "after": 12,
     "why": "Layer 13 on top is the part layer and is not counted."},
    {"label": "Part-layer wraps", "before": 12, "change": 0, "after": 12,
     "why": "The hand count and the gauge's even face agree."},
    {"label": "Crossover correction", "before": 12, "change": -1, "after": 11,
     "why": "The crossover is in the first half, in the arc from 0° to 180°: "
            "the last turn is not counted as a whole one."},
    {"label": "Lead allowance", "before": 11, "change": -1, "after": 10,
     "why": "The lead of this type, between drum and stowed body, is 1 wrap."},
]  # fmt: skip
PROBLEM = {
    "code": "open_side_disagrees", "fields": ["open_side"],
    "detail": "The lower scale reading is 12, even, so the open side should be the right; left was keyed.",
}  # fmt: skip


def moment(minute: int, day: int = 2) -> str:
    return f"2026-03-{day:02}T{9 + minute // 60:02}:{minute % 60:02}:00.000000Z"


def keyed(minute: int, attempts: int = 1, **changed: Any) -> list[dict[str, Any]]:
    """What both keyed at each point; the unwind direction is the technician's alone."""
    rows = []
    for i, (point, value) in enumerate({**SEEN, **changed}.items()):
        for attempt in range(1, attempts + 1):
            for person, role in ((TESS, "technician"), (VIC, "verifier")):
                if role == "verifier" and point == "unwind":
                    continue
                rows.append({
                    "point": point, "role": role, "attempt": attempt, "value": value, "salt": "00" * 16,
                    "commitment": "00" * 32, "keyed_at": moment(minute + i + attempt), "person": person["id"],
                    "keyed_by": person["id"],
                    **({"photo": "cd" * 32} if (minute, point, role) == (2, "gauge", "technician") else {}),
                })  # fmt: skip
    return rows


SURPRISE = {
    "told": "The count is 6.2 wraps fewer than the history predicts, as rare as 1 in 3000.",
    "reason": "Read again by both, with the same outcome; the log of the last outing is asked for.",
    "accepted_by": TESS, "accepted_at": moment(29),
}  # fmt: skip


FINDING: dict[str, Any] = {
    "finding": 3, "part": "cable", "kind": "broken-strand", "kind_words": "broken strand", "severity": "watch",
    "salt": "00" * 16, "layer": 12, "side": "left", "visible_wrap": 4, "length_from_end_m": "2.500",
    "words": "One strand of the armour is broken and lies flat.", "recorded_at": moment(1), "recorded_by": TESS,
    "lowered_at": moment(3), "lowered_by": MONA, "lower_reason": "Within the limits of the publication.",
    "closed_at": None, "closed_by": None, "remedy": "", "close_reason": "", "photo": "ab" * 32,
}  # fmt: skip


def third_reading(**changes: Any) -> dict[str, Any]:
    return {
        "point": "hand_count", "attempt": 1, "asked_at": moment(22), "asked_by": TESS, "taken_back_at": None,
        "read_at": moment(23), "read_by": MONA, "value": 12, "salt": "00" * 16, "commitment": "00" * 32,
        "agrees_with": "verifier", **changes,
    }  # fmt: skip


def record(**changes: Any) -> dict[str, Any]:
    refused = {"outcome": "reread", "layers": None, "wraps": None, "parity": None, "unusual": None, "proposed": None,
               "steps": [], "problems": [PROBLEM]}  # fmt: skip
    accepted = {**refused, "outcome": "accepted", "layers": 12, "wraps": 10, "parity": "even", "steps": STEPS,
                "problems": []}  # fmt: skip
    return {
        "inspection": 7,
        "reel": {"serial": "LW-0001", "type": "w28", "site": "kettle-point"},
        "parameters": PARAMETERS,
        "machine": "RM-7",
        "wrap_gauge": "WG-7",
        "gauge_uses": [{"wrap_gauge": "WG-7", "machine": "RM-7", "calibration_due": "2026-11-30",
                        "taken_at": moment(1), "taken_by": TESS}],
        "preparation": {
            "work_order": "WO-1001", "publication": "LWS 12-3", "publication_revision": "C",
            "publication_reason": "",
            "cable_condition": "", "winding_quality": "", "cable_sound": False, "winding_sound": True,
            "drum_sound": True, "end_fitting_sound": True, "scales_sound": True, "respooled": False,
        },
        "findings": [FINDING],
        "done_at": moment(0), "recorded_at": moment(0), "from_paper": False, "opened_by": TESS,
        "participants": [{"role": "technician", "joined_at": moment(0), **TESS},
                         {"role": "verifier", "joined_at": moment(1), **VIC}],
        "readings": [
            {"number": 1, "outcome": "reread", "working": refused, "keyed": keyed(2, open_side="left"),
             "third_readings": [], "surprise_accepted": None},
            {"number": 2, "outcome": "accepted", "working": accepted, "keyed": keyed(20),
             "third_readings": [
                 third_reading(), third_reading(point="gauge", read_at=None, read_by=None, value=None, agrees_with=""),
             ],
             "surprise_accepted": SURPRISE},
        ],
        "referrals": [], "rereads": 1, "result": {"layers": 12, "wraps": 10, "parity": "even"},
        **changes,
    }  # fmt: skip


SETUP = {
    "id": 1, "machine": "RM-7", "layers": 12, "wraps": 10, "parity": "even", "issued_by": MONA, "issued_at": moment(40),
    "gauge_returned_by": TESS, "gauge_returned_at": moment(50), "set_by": TESS, "set_at": moment(52),
    "confirmed_by": VIC, "confirmed_at": moment(55), "withdrawn_by": None, "withdrawn_at": None, "withdrawn_why": "",
    "read_backs": [
        {"role": "setter", "layers": 12, "wraps": 11, "matches": False, "keyed_by": TESS, "keyed_at": moment(51)},
        {"role": "setter", "layers": 12, "wraps": 10, "matches": True, "keyed_by": TESS, "keyed_at": moment(52)},
        {"role": "confirmer", "layers": 12, "wraps": 10, "matches": True, "keyed_by": VIC, "keyed_at": moment(55)},
    ],
    "checks": [
        {"kind": "functional check", "passed": True, "remark": "", "done_by": VIC, "done_at": moment(58)},
        {"kind": "reading after first use", "passed": True, "remark": "Out to the mark and in again.", "done_by": VIC,
         "done_at": moment(90), "reading": {
             "layers": 11, "wraps": 26, "length_m": None, "length_out_m": "20.000", "expected_layers": 11,
             "expected_wraps": "25.700", "expected_length_m": "298.400", "more_turns": "0.300"}},
        {"kind": "reading at removal", "passed": False, "remark": "", "done_by": VIC, "done_at": moment(200),
         "reading": {
             "layers": None, "wraps": None, "length_m": "309.000", "length_out_m": None, "expected_layers": 12,
             "expected_wraps": "10.000", "expected_length_m": "318.400", "more_turns": "-7.900"}},
    ],
}  # fmt: skip


def facts(situation: dict[str, Any] | None = None, **changes: Any) -> InspectionFacts:
    content = record_bytes(record(**changes))
    statements = [
        statement_bytes({
            "inspection": 7, "record": ledger.digest(content), "meaning": meaning, "person": person,
            "at": moment(30 + i),
            "authorisation": {"id": 10 + i, "act": act, "reel_type": None, "site": "kettle-point",
                              "valid_from": moment(0, 1), "valid_until": None, "granted_by": 1},
        })
        for i, (person, meaning, act) in enumerate(((TESS, "counted", "count"), (VIC, "verified", "verify")))
    ]  # fmt: skip
    stood = {
        "v": 1, "kind": "situation", "at": moment(0, 3), "made_with": {"reportlab": "5.1.0"}, "inspection": 7,
        "document": 2, "issuer": "Larkspur Water Survey", "site_name": "Kettle Point",
        "address": "https://records.example.org",
        "state": "signed", "clocks": "Europe/Berlin", "reference_side": "left", "void": None,
        "length": {"value_m": "318.4", "standard_u_m": "0.8"}, "setup_values": [SETUP],
        "count": {"current_until": moment(0, 30), "ended_at": None, "why": ""},
        "life": [
            {"name": "Uses of the cable", "spent": "12 uses; warned from 90, at most 100"},
            {"name": "Age of the reel", "spent": "731 days; at most 3650"},
        ],
        **(situation or {}),
    }  # fmt: skip
    return InspectionFacts(record=content, statements=tuple(statements), situation=ledger.canonical(stood))
