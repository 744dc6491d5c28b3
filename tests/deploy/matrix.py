"""Who may do what: one row for every method of every route of ours. A route without a row fails test_matrix.py.

Those of pages are in page_matrix.py. To add a route, add a row: what it is called, its path with the names of WORLD in
braces, the rule, and for a write who is the right person and what is sent. A rule is the answer for each of the seven
who ask, in the order of WHO:

  anonymous    nobody is logged in
  stranger     every authorisation there is, at another site
  colleague    posted at the site, authorised for nothing
  expired      posted at the site, authorised there for everything until yesterday
  right        the person whose part it is (for a read: a colleague)
  script       a token with every scope, of the right person
  administrator  posted nowhere, authorised for nothing

2 stands for any answer that did it; every other number is the very status, 303 among them (done, and sent on).
"""

from dataclasses import dataclass, field
from typing import Any

from tests.api_fixtures import FOUND, NEW_TYPE, PREPARATION, both
from tests.builders import GOOD, PASSWORD, Cast

WHO = ("anonymous", "stranger", "colleague", "expired", "right", "script", "administrator")

# API -----------------------------------------------------------------------------------------------------------------

DONE_AND_SENT_ON = 303
ANYBODY = (2, 2, 2, 2, 2, 2, 2)
LOGGED_IN = (401, 2, 2, 2, 2, 2, 2)
IN_PERSON = (401, 2, 2, 2, 2, 403, 2)
NOTHING_SET_UP = (401, 404, 404, 404, 404, 403, 404)
AT_THE_SITE = (401, 404, 2, 2, 2, 2, 404)
NO_DOCUMENT_YET = (401, 404, 409, 409, 409, 409, 404)
FROM_REELS_AT_THE_SITE = (401, 409, 2, 2, 2, 2, 409)  # too few elsewhere
AUTHORISED = (401, 404, 403, 403, 2, 403, 404)
AUTHORISED_OR_SCRIPT = (401, 404, 403, 403, 2, 2, 404)
SCRIPT_NAMES_THE_TECHNICIAN = (401, 404, 403, 403, 2, 400, 404)
TOOK_PART = (401, 404, 409, 409, 2, 403, 404)
ADMINISTRATOR = (401, 403, 403, 403, 2, 403, 2)
ADMINISTRATOR_OR_SCRIPT = (401, 403, 403, 403, 2, 2, 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class AccessRow:
    """One method of one route."""

    name: str  # the operation's id; for a page, its path as the URL configuration has it
    path: str
    rule: tuple[int, ...]
    right: str = "colleague"
    method: str = "GET"
    body: dict[str, Any] = field(default_factory=dict)


def read(name: str, path: str, rule: tuple[int, ...] = AT_THE_SITE, right: str = "colleague") -> AccessRow:
    return AccessRow(name=name, path=path, rule=rule, right=right)


def write(name: str, path: str, right: str, rule: tuple[int, ...] = AUTHORISED, /, **body: Any) -> AccessRow:
    return AccessRow(name=name, path=path, rule=rule, right=right, method="POST", body=body)


def patch(name: str, path: str, /, **body: Any) -> AccessRow:
    return AccessRow(name=name, path=path, rule=ADMINISTRATOR, right="administrator", method="PATCH", body=body)


WHY = {"reason": "it is so"}
UNTIL = "2026-12-01T00:00:00Z"
FROM = "2026-03-02T00:00:00Z"
SET = {"layers": 12, "wraps": 10}


def api_rows(cast: Cast) -> tuple[AccessRow, ...]:
    """Every operation of the API."""
    return (
        AccessRow(name="session_begin", path="session", method="POST", rule=ANYBODY, right="technician",
            body={"username": "tess", "password": PASSWORD}),
        read("session_show", "session", IN_PERSON),
        AccessRow(name="session_end", path="session", method="DELETE", rule=IN_PERSON),
        AccessRow(name="session_password", path="session/password", method="POST", rule=IN_PERSON,
            body={"password": PASSWORD, "new_password": "known-to-me-alone"}),
        AccessRow(name="session_end_others", path="session/others", method="DELETE", rule=IN_PERSON),
        AccessRow(name="session_second_factor_begin", path="session/second-factor", method="POST", rule=IN_PERSON,
            body={"password": PASSWORD}),
        AccessRow(name="session_second_factor_confirm", path="session/second-factor/confirmation", method="POST",
            rule=NOTHING_SET_UP, body={"code": "000000"}),
        AccessRow(name="session_second_factor_end", path="session/second-factor/end", method="POST",
            rule=NOTHING_SET_UP, body={"password": PASSWORD}),
        read("openapi_show", "openapi", LOGGED_IN),
        # people, tokens, reference data
        read("people_list", "people", ADMINISTRATOR, "administrator"),
        read("people_show", "people/tess", ADMINISTRATOR, "administrator"),
        write("people_add", "people", "administrator", ADMINISTRATOR, username="new", full_name="New Hand",
              staff_number="S-9", password=PASSWORD),
        patch("people_change", "people/tess", full_name="Tess H. Hollin"),
        write("postings_add", "people/tess/postings", "administrator", ADMINISTRATOR, site="aldermere",
              valid_from=FROM),
        write("people_enrol", "people/newcomer/enrolment", "administrator", ADMINISTRATOR, checked="pass seen"),
        write("people_give_password", "people/tess/password", "administrator", ADMINISTRATOR, password="given-by-ada"),
        write("people_end_second_factor", "people/newcomer/second-factor/end", "administrator", ADMINISTRATOR, **WHY),
        write("people_unlock", "people/newcomer/unlocking", "administrator", ADMINISTRATOR, **WHY),
        read("alarms_list", "alarms", ADMINISTRATOR, "administrator"),
        read("tokens_list", "tokens", ADMINISTRATOR, "administrator"),
        write("tokens_issue", "tokens", "administrator", ADMINISTRATOR, person="tess", name="spool", scopes=["read"],
              expires_at=UNTIL),
        write("tokens_revoke", "tokens/{token}/revocation", "administrator", ADMINISTRATOR, **WHY),
        read("sites_list", "sites", LOGGED_IN),
        read("sites_show", "sites/kettle-point"),
        write("sites_add", "sites", "administrator", ADMINISTRATOR, code="new", name="New"),
        patch("sites_change", "sites/kettle-point", name="Kettle Head"),
        read("reel_types_list", "reel-types", LOGGED_IN),
        read("reel_types_show", "reel-types/w28", LOGGED_IN),
        write("reel_types_add", "reel-types", "administrator", ADMINISTRATOR, **NEW_TYPE),
        read("reel_types_fit_rise", "reel-types/w28/layer-rise", FROM_REELS_AT_THE_SITE),
        write("reel_types_source_rules", "reel-types/w28/rule-sources", "administrator", ADMINISTRATOR,
              publication="LWS 12-3", revision="C", lead="para. 5"),
        write("reel_types_confirm_rules", "reel-types/w31/rules-confirmation", "administrator", ADMINISTRATOR),
        patch("reel_types_change", "reel-types/w28", odd_face_mark="one notch"),
        read("publications_list", "publications", LOGGED_IN),
        read("publications_show", "publications/{publication}", LOGGED_IN),
        write("publications_add", "publications", "administrator", ADMINISTRATOR, code="LWS 12-4", title="Counting",
              revision="A", valid_from=FROM),
        write("publications_end", "publications/{publication}/end", "administrator", ADMINISTRATOR, **WHY),
        read("machines_list", "machines", LOGGED_IN),
        read("machines_show", "machines/RM-7"),
        write("machines_add", "machines", "administrator", ADMINISTRATOR, serial="RM-99", host="Heron 9",
              site="kettle-point"),
        # without a posting there, an administrator does not find a machine
        AccessRow(name="machines_change", path="machines/RM-7", method="PATCH", right="administrator",
            rule=(401, 403, 403, 403, 404, 403, 404), body={"host": "Heron 8"}),
        write("machines_end_hold", "machines/RM-HELD/hold/end", "releaser", **WHY),
        read("wrap_gauges_list", "wrap-gauges", LOGGED_IN),
        read("wrap_gauges_show", "wrap-gauges/WG-PLAIN", (401, 404, 2, 2, 2, 2, 2)),
        write("wrap_gauges_register", "wrap-gauges", "administrator", ADMINISTRATOR, serial="WG-99", machine="RM-7",
              types=["w28"], calibrated_on="2026-01-01", due="2027-01-01"),
        write("wrap_gauges_calibrate", "wrap-gauges/WG-PLAIN/calibration", "administrator", ADMINISTRATOR,
              calibrated_on="2026-01-01", due="2027-01-01"),
        write("wrap_gauges_move", "wrap-gauges/WG-PLAIN/machine", "administrator", ADMINISTRATOR, machine="RM-8"),
        read("finding_kinds_list", "finding-kinds", LOGGED_IN),
        write("finding_kinds_add", "finding-kinds", "administrator", ADMINISTRATOR, reel_type="w28", part="drum",
              code="bent", words="bent flange", least_severity="stop"),
        read("findings_list", "findings", LOGGED_IN),
        read("findings_show", "findings/{finding}"),
        read("findings_count", "reports/findings", LOGGED_IN),
        write("reels_record_finding", "reels/PLAIN/findings", "setter", AUTHORISED_OR_SCRIPT, **FOUND),
        write("inspections_record_finding", "inspections/{opened}/findings", "verifier", AUTHORISED_OR_SCRIPT, **FOUND),
        write("findings_lower", "findings/{finding}/lowering", "releaser", **WHY),
        write("findings_close", "findings/{finding}/closing", "releaser", remedy="sound", **WHY),
        read("authorisations_list", "authorisations", LOGGED_IN),
        write("authorisations_grant", "authorisations", "administrator", ADMINISTRATOR, person="noel", act="count",
              reel_type=None, site="kettle-point", valid_from=FROM),
        write("authorisations_end", "authorisations/{authorisation}/end", "administrator", ADMINISTRATOR, **WHY),
        write("imports_make", "imports", "administrator", ADMINISTRATOR_OR_SCRIPT, files={"reels.csv": "{reels_csv}"}),
        read("mappings_list", "import-mappings", ADMINISTRATOR_OR_SCRIPT, "administrator"),
        write("mappings_keep", "import-mappings", "administrator", ADMINISTRATOR_OR_SCRIPT, name="of another base",
              file="reels.csv", separator=";", columns={"serial": "No"}),
        write("mappings_end", "import-mappings/{mapping}/end", "administrator", ADMINISTRATOR_OR_SCRIPT),
        read("tasks_list", "tasks", ADMINISTRATOR, "administrator"),
        read("tasks_show", "tasks/{task}", LOGGED_IN),
        write("tasks_stop", "tasks/{task}/stop", "administrator", ADMINISTRATOR),
        write("tasks_resume", "tasks/{stopped_task}/resumption", "administrator", ADMINISTRATOR),
        write("tasks_try_again", "tasks/{failed_task}/retry", "colleague", IN_PERSON),
        read("verifications_list", "verifications", ADMINISTRATOR, "administrator"),
        write("verifications_ask", "verifications", "administrator", ADMINISTRATOR),
        write("exports_ask", "exports", "colleague", IN_PERSON),
        read("exports_fetch", "exports/{export}", (401, 404, 404, 404, 2, 2, 404), "verifier"),
        write("evidence_ask", "evidence", "administrator", ADMINISTRATOR),
        read("evidence_fetch", "evidence/{evidence}", ADMINISTRATOR, "administrator"),
        read("register_history_export", "register/history/export", ADMINISTRATOR, "administrator"),
        # histories and checkpoints
        read("reels_history", "reels/PLAIN/history"),
        read("reels_history_export", "reels/PLAIN/history/export"),
        read("changes_list", "changes", LOGGED_IN),
        read("checkpoints_list", "checkpoints", LOGGED_IN),
        read("checkpoints_show", "checkpoints/{checkpoint}", LOGGED_IN),
        read("checkpoints_end", "checkpoints/{checkpoint}/end?chain=register", LOGGED_IN),
        read("checkpoints_inclusion", "checkpoints/{checkpoint}/inclusion?digest={digest}", LOGGED_IN),
        read("checkpoints_consistency", "checkpoints/{checkpoint}/consistency?from=1", LOGGED_IN),
        write("checkpoints_make", "checkpoints", "administrator", ADMINISTRATOR),
        read("checkpoints_witnesses", "checkpoints/{checkpoint}/witnesses", LOGGED_IN),
        write("checkpoints_countersign", "checkpoints/{checkpoint}/witnesses", "colleague", IN_PERSON,
              text="{countersignature}"),
        read("witnesses_list", "witnesses", LOGGED_IN),
        write("witnesses_add", "witnesses", "administrator", ADMINISTRATOR, name="Teal Water Board", key="ab" * 32),
        write("witnesses_end", "witnesses/{witness}/end", "administrator", ADMINISTRATOR, **WHY),
        # reels
        read("reels_list", "reels", LOGGED_IN),
        read("reels_show", "reels/PLAIN"),
        read("reels_as_of", "reels/PLAIN/as-of?as_of=2026-03-02T08:00:00Z"),
        write("reels_receive", "reels", "control", serial="NEW", type="w28",
              site="kettle-point", received_on="2026-03-01"),
        read("cable_events_list", "reels/PLAIN/cable-events"),
        write("cable_events_log", "reels/PLAIN/cable-events", "control", AUTHORISED_OR_SCRIPT, kind="cut",
              happened_at="2026-03-02T08:00:00Z", length_removed_m="2.0"),
        write("cable_events_reverse", "reels/CUT/cable-events/{event}/reversal", "control", remark="another reel"),
        read("reel_events_list", "reels/PLAIN/events"),
        write("reel_events_log", "reels/PLAIN/events", "control", AUTHORISED_OR_SCRIPT, kind="used", happened_at=FROM),
        write("reel_events_reverse", "reels/CUT/events/{reel_event}/reversal", "control", remark="another reel"),
        write("reels_install", "reels/PLAIN/installation", "control", machine="RM-8"),
        write("reels_remove", "reels/INSTALLED/removal", "control", **WHY),
        write("reels_hold", "reels/PLAIN/hold", "control", **WHY),
        write("reels_end_hold", "reels/HELD/hold/end", "control", **WHY),
        write("reels_send", "reels/PLAIN/move", "control", site="aldermere"),
        # the stranger may receive it where it was sent to
        AccessRow(name="reels_receive_sent", path="reels/SENT/move/receipt", method="POST", right="stranger",
            rule=(401, 2, 403, 403, 2, 403, 404), body={"sound": True}),
        AccessRow(name="reels_call_back", path="reels/SENT/move/call-back", method="POST", right="control",
            rule=(401, 403, 403, 403, 2, 403, 404), body=WHY),
        read("moves_list", "moves", LOGGED_IN),
        read("safety_notices_list", "safety-notices", LOGGED_IN),
        read("safety_notices_show", "safety-notices/{notice}", LOGGED_IN),
        read("safety_notices_reels", "safety-notices/{notice}/reels", LOGGED_IN),
        write("safety_notices_issue", "safety-notices", "control", (401, 404, 403, 403, 2, 403, 404), **WHY,
              reference="SN-1", site="kettle-point", answers=["holds_reels"]),
        write("safety_notices_lift", "safety-notices/{notice}/lift", "control", (401, 403, 403, 403, 2, 403, 403),
              **WHY),
        write("reels_retire", "reels/PLAIN/retirement", "control", **WHY),
        # counts
        write("workings_show", "workings", "colleague", LOGGED_IN, reel_type="w28", reading=GOOD),
        read("inspections_list", "inspections", LOGGED_IN),
        read("inspections_show", "inspections/{opened}"),
        read("inspections_plausibility", "inspections/{worked}/plausibility"),
        write("inspections_open", "reels/PLAIN/inspections", "technician", SCRIPT_NAMES_THE_TECHNICIAN, **PREPARATION),
        write("keyings_key", "inspections/{opened}/keyings", "technician", point="serial", role="technician",
              serial="OPENED"),
        write("third_readings_ask", "inspections/{differing}/third-readings", "technician", point="scale_left"),
        write("third_readings_take_back", "inspections/{asked}/third-readings/{third}/end", "technician"),
        write("third_readings_key", "inspections/{asked}/third-readings/{third}/keying", "setter", scale_left=13),
        write("inspections_take_gauge", "inspections/{without_gauge}/gauge", "technician", wrap_gauge="WG-PLAIN",
              end_marks_match=True),
        write("inspections_return_gauge", "inspections/{opened}/gauge-return", "technician", wrap_gauge="WG-OPENED"),
        write("readings_record", "inspections/{opened}/readings", "technician", AUTHORISED_OR_SCRIPT,
              **both(cast, gauge="WG-OPENED")),
        write("inspections_ask_help", "inspections/{opened}/help", "technician", remark="a strand"),
        write("inspections_release", "inspections/{referred}/release", "releaser", decision="read_again", **WHY),
        write("inspections_read_again", "inspections/{worked}/fresh-reading", "technician", **WHY),
        write("inspections_cancel", "inspections/{opened}/cancellation", "technician", **WHY),
        write("inspections_accept_surprise", "inspections/{surprising}/surprise", "verifier", **WHY),
        read("sign_offs_list", "inspections/{signed}/sign-offs"),
        read("sign_offs_export", "inspections/{signed}/signatures/export"),
        read("inspection_document_show", "inspections/{signed}/record.pdf", NO_DOCUMENT_YET),
        read("reel_label_show", "reels/PLAIN/label.pdf"),
        write("sign_offs_sign", "inspections/{worked}/sign-offs", "technician", TOOK_PART, meaning="counted",
              password=PASSWORD),
        write("inspections_ask_void", "inspections/{signed}/void", "verifier", **WHY),
        write("inspections_confirm_void", "inspections/{void_asked}/void/confirmation", "releaser"),
        # setup values
        read("setup_values_list", "setup-values", LOGGED_IN),
        read("setup_values_show", "setup-values/{issued}"),
        write("setup_values_issue", "reels/SIGNED/setup-values", "control", machine="RM-8"),
        write("setup_values_return_gauge", "setup-values/{issued}/gauge-return", "setter"),
        write("read_backs_key", "setup-values/{gauge_back}/read-backs", "setter", **SET),
        write("setup_values_confirm", "setup-values/{read_back}/confirmations", "confirmer", **SET),
        write("setup_values_check", "setup-values/{confirmed}/checks", "setter", kind="functional", passed=True),
        write("setup_values_withdraw", "setup-values/{issued}/withdrawal", "control", **WHY),
        # drift
        read("drift_report", "reports/drift", LOGGED_IN),
        read("monthly_report", "reports/monthly", LOGGED_IN),
        read("agreement_report", "reports/agreement", LOGGED_IN),
        read("recounts_list", "reports/recounts", LOGGED_IN),
        read("reels_drift", "reels/PLAIN/drift"),
        read("drift_flags_list", "drift-flags", LOGGED_IN),
        write("drift_flags_assign", "drift-flags", "control", reel="TWICE", from_at="{from_at}", to_at="{to_at}",
              assigned_to="tess"),
        write("drift_flags_reassign", "drift-flags/{flag}/assignment", "control", assigned_to="vic"),
        write("drift_flags_look_into", "drift-flags/{flag}/finding", "control", finding="no work order"),
        write("drift_flags_close", "drift-flags/{flag}/ending", "control", ending="unexplained", **WHY),
    )  # fmt: skip
