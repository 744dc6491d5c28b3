"""Every act that has a form: what goes before it, where its form is, and what is typed into it."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from django.utils import timezone

from inspections.models import Inspection, SetupValues
from inspections.services import counting, flags, machine_checks, maintenance, setup, signing
from inspections.services.flags import FlaggedInterval
from reels.models import Person
from reels.services import checkpoints, people, register, second_factor
from reels.services.history import Actor
from reports.services import assessments
from tests import builders, stories, witnessing
from tests.builders import NOW, PASSWORD, Cast
from tests.inspections.pages.count.test_worksheet import PREPARED
from tests.inspections.pages.count.worksheet_steps import SCALES, SEEN
from tests.page_fixtures import logged_in
from tests.reels.services.test_second_factor import shown
from tests.reports.fleet import bring_in_fleet

REEL, WHY = "/reels/LW-0001", {"reason": "So it was agreed."}
WHEN = {"happened_at": "2026-03-02T08:30", "document": "WO-7", "remark": "frayed"}
NUMBERS = {"layers": "12", "wraps": "10"}
SECRET = {"password", "new_password", "again", "code"}  # never shown again


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """A form that is open in a browser.

    address: where it is sent to, and where it is unless `page` says otherwise. marks: what tells it from the page's
    other forms. altered: other values of some of its fields, if there are any. status: of the first answer.
    """

    person: Person
    address: str
    typed: dict[str, str] = field(default_factory=dict)
    marks: dict[str, str] = field(default_factory=dict)
    altered: dict[str, str] = field(default_factory=dict)
    status: int = 302
    page: str = ""


Case = Callable[[Cast], Opened]
CASES: dict[str, Case] = {}


def case(name: str) -> Callable[[Case], Case]:
    """name: of the page in the URL configuration; after a colon, which of its acts."""

    def keep(made: Case) -> Case:
        CASES[name] = made
        return made

    return keep


def _reel_act(page: str, typed: dict[str, str], before: Callable[[Cast], Any] = lambda cast: None,
              part: str = "", **options: Any) -> None:  # fmt: skip
    @case(page)
    def made(cast: Cast) -> Opened:
        before(cast)
        return Opened(
            person=cast.control, address=f"{REEL}/{part or page.removeprefix('reel-')}", typed=typed, **options
        )


def _by(person: Person) -> dict[str, Any]:
    return {"actor": Actor(person), "at": NOW}


def _installed(cast: Cast) -> None:
    maintenance.install(serial="LW-0001", machine_serial="RM-7", **_by(cast.control))


def _held(cast: Cast) -> None:
    maintenance.place_hold(serial="LW-0001", reason="rust", **_by(cast.control))


def _two_sites(cast: Cast) -> None:
    site = builders.make_site("stane", "Stane Field")
    register.post_person(person=cast.control, site=site, valid_from=NOW - timedelta(days=1), **{
        **builders.by_administrator(), "at": NOW})  # fmt: skip


OTHER = {"reason": "On second thoughts."}
_reel_act("reel-cut", {**WHEN, "length_removed_m": "12.5"}, altered={"length_removed_m": "3"})
_reel_act("reel-replacement", {**WHEN, "length_fitted_m": "400"}, altered={"length_fitted_m": "300"})
_reel_act("reel-event", {"happened_at": "2026-03-02T08:30", "kind": "used", "uses": "2"}, altered={"uses": "3"})
_reel_act("reel-issue", {"machine": "RM-7"}, builders.signed_count, "setup-values")
_reel_act("reel-installation", {"machine": "RM-7"})
_reel_act("reel-removal", {**WHY, "cable_went_out": "no"}, _installed, altered=OTHER)
_reel_act("reel-hold", WHY, altered=OTHER)
_reel_act("reel-hold-end", WHY, _held, "hold/end", altered=OTHER)
_reel_act("reel-move", {"site": "stane"}, _two_sites)
_reel_act("reel-call-back", WHY, builders.sent, altered=OTHER)
_reel_act("reel-retirement", WHY, altered=OTHER)


@case("reel-reversal")
def _reversal(cast: Cast) -> Opened:
    event = builders.log_cut(cast)
    return Opened(person=cast.control, address=f"{REEL}/cable-events/{event.pk}/reversal", typed=WHY, altered=OTHER)


@case("reel-event-reversal")
def _event_reversal(cast: Cast) -> Opened:
    event = builders.log_event(cast, "used")
    return Opened(person=cast.control, address=f"{REEL}/events/{event.pk}/reversal", typed=WHY, altered=OTHER)


# Setup values -------------------------------------------------------------------------------------------------------


def _issued(cast: Cast, step: int) -> SetupValues:
    """Values that are issued, installed, with the gauge back and read back, as far as the step."""
    builders.signed_count(cast)
    values = builders.issued(cast)
    _installed(cast)
    if step > 1:
        setup.return_gauge(setup_id=values.pk, **_by(cast.setter))
    if step > 2:
        setup.key_read_back(setup_id=values.pk, layers=12, wraps=10, **_by(cast.setter))
    if step > 3:
        setup.confirm(setup_id=values.pk, layers=12, wraps=10, **_by(cast.confirmer))
    return values


def _setup_act(name: str, part: str, step: int, who: str, typed: dict[str, str], **options: Any) -> None:
    @case(name)
    def made(cast: Cast) -> Opened:
        address = f"/setup-values/{_issued(cast, step).pk}/{part}"
        return Opened(person=getattr(cast, who), address=address, typed=typed, **options)


_setup_act("setup-gauge", "gauge", 1, "setter", {"is_back": "on"})
_setup_act("setup-read-back", "read-back", 2, "setter", NUMBERS, altered={"wraps": "9"})
_setup_act("setup-read-back:refused", "read-back", 2, "setter", {**NUMBERS, "wraps": "11"}, altered=NUMBERS, status=422)
_setup_act("setup-confirmation", "confirmation", 3, "confirmer", NUMBERS, altered={"wraps": "9"})
_setup_act("setup-confirmation:refused", "confirmation", 3, "confirmer", {**NUMBERS, "wraps": "11"}, altered=NUMBERS,
           status=422)  # fmt: skip
_setup_act("setup-check", "check", 4, "setter", {"kind": "functional", "passed": "no", "remark": "It slips."},
           altered={"passed": "yes"})  # fmt: skip
_setup_act("setup-withdrawal", "withdrawal", 1, "control", WHY, altered=OTHER)


@case("machine-hold-end")
def _machine_held(cast: Cast) -> Opened:
    failed: dict[str, Any] = {"kind": "functional", "passed": False, "remark": "It slips."}
    machine_checks.record_check(setup_id=_issued(cast, 4).pk, **failed, **_by(cast.setter))
    return Opened(person=cast.control, address="/machines/RM-7/hold/end", typed=WHY, altered=OTHER)


# Counts -------------------------------------------------------------------------------------------------------------


def _at(inspection: Inspection, part: str) -> str:
    return f"/inspections/{inspection.pk}/{part}"


@case("count-begin")
def _begin(cast: Cast) -> Opened:
    return Opened(person=cast.technician, address=f"{REEL}/count", typed=PREPARED, altered={"work_order": "WO-8"})


@case("worksheet-technician")
def _technician(cast: Cast) -> Opened:
    address = _at(stories.at_the_scales(cast), "worksheet")
    return Opened(person=cast.technician, address=address, typed=SEEN[SCALES], altered={"scale_left": "14"})


@case("worksheet-verifier")
def _verifier(cast: Cast) -> Opened:
    address = _at(stories.at_the_scales(cast), "witness")
    typed = {name: SEEN[SCALES][name] for name in ("scale_left", "scale_right")}
    return Opened(person=cast.verifier, address=address, typed=typed, altered={"scale_left": "14"})


@case("count-gauge")
def _gauge(cast: Cast) -> Opened:
    counted = builders.open_count(cast, has_gauge=False)
    builders.make_gauge()
    typed = {"wrap_gauge": "WG-RM-7", "end_marks_match": "on"}
    return Opened(person=cast.technician, address=_at(counted, "gauge"), typed=typed, altered={"wrap_gauge": "WG-0001"})


@case("gauge-return")
def _gauge_return(cast: Cast) -> Opened:
    address = _at(builders.open_count(cast), "gauge/return")
    return Opened(person=cast.setter, address=address, typed={"wrap_gauge": "WG-0001"},
                  altered={"wrap_gauge": "wg-0001"})  # fmt: skip


def _worked_out(cast: Cast) -> Inspection:
    return builders.read(cast, builders.open_count(cast))


def _outlier(cast: Cast) -> Inspection:
    for days in (90, 60, 30):
        builders.signed_count(cast, at=NOW - timedelta(days=days), scale_left=17, scale_right=16)
    return _worked_out(cast)


def _result(name: str, before: Callable[[Cast], Inspection], typed: dict[str, str], **options: Any) -> None:
    @case(f"result:{name}")
    def made(cast: Cast) -> Opened:
        marks = {"act": name.split(" ", maxsplit=1)[0]}
        return Opened(person=cast.technician, address=_at(before(cast), "result"), typed=typed, marks=marks, **options)


CUT = {"length_removed_m": "104", "happened_at": "2026-02-20T10:00", "remark": "Frayed."}
_result("cut", _outlier, CUT, altered={"remark": "Bent."})
_result("read_again", _outlier, WHY, altered=OTHER)
_result("accept", _outlier, WHY, altered=OTHER)
_result("sign", _worked_out, {"password": PASSWORD})
_result("sign refused", _worked_out, {"password": "not-the-word"}, altered={"password": "nor-this-one"}, status=422)


@case("help")
def _help(cast: Cast) -> Opened:
    typed, altered = {"remark": "The mark is worn off."}, {"remark": "The mark is off."}
    return Opened(person=cast.technician, address=_at(builders.open_count(cast), "help"), typed=typed, altered=altered)


@case("referral")
def _referral(cast: Cast) -> Opened:
    inspection = builders.open_count(cast)
    counting.ask_for_help(inspection_id=inspection.pk, remark="?", **_by(cast.technician))
    typed = {"decision": "read_again", **WHY}
    return Opened(person=cast.releaser, address=_at(inspection, "referral"), typed=typed, altered=OTHER)


@case("cancel")
def _cancel(cast: Cast) -> Opened:
    return Opened(person=cast.technician, address=_at(builders.open_count(cast), "cancel"), typed=WHY, altered=OTHER)


@case("void:asked")
def _void(cast: Cast) -> Opened:
    return Opened(person=cast.verifier, address=_at(builders.signed_count(cast), "void"), typed=WHY, altered=OTHER)


@case("void:confirmed")
def _void_confirmed(cast: Cast) -> Opened:
    signed = builders.signed_count(cast)
    signing.request_void(inspection_id=signed.pk, reason="The other reel.", **_by(cast.verifier))
    return Opened(person=cast.releaser, address=_at(signed, "void"))


# Drift --------------------------------------------------------------------------------------------------------------


@case("flag-assign")
def _assign(cast: Cast) -> Opened:
    bring_in_fleet()
    assessments.bring_up_to_date(at=NOW)
    html = logged_in(cast.control).get("/drift").content.decode()
    address = html.split('href="/reels/LW-0001/drift/flag?')[1].split('"')[0].replace("&amp;", "&")
    address = f"{REEL}/drift/flag?{address}"
    return Opened(person=cast.control, address=address, typed={"assigned_to": "mona"}, altered={"assigned_to": "vic"})


def _flag_act(name: str, part: str, typed: dict[str, str], altered: dict[str, str]) -> None:
    @case(name)
    def made(cast: Cast) -> Opened:
        interval = FlaggedInterval(
            from_at=NOW - timedelta(days=9), to_at=NOW, p_unlogged_cut=0.9, explanation="shorter"
        )
        flag = flags.assign_flag(serial="LW-0001", interval=interval, to=cast.technician, **_by(cast.control))
        return Opened(person=cast.control, address=f"/drift/flags/{flag.pk}/{part}", typed=typed, altered=altered)


_flag_act("flag-reassign", "assignment", {"assigned_to": "vic"}, {"assigned_to": "mona"})
_flag_act("flag-finding", "finding", {"finding": "No work order."}, {"finding": "A work order."})
_flag_act("flag-ending", "ending", {"ending": "unexplained", **WHY}, OTHER)


# Logins -------------------------------------------------------------------------------------------------------------

OWN = "known-to-me-alone"
CHANGE = {"password": PASSWORD, "new_password": OWN, "again": OWN}


@case("change-password")
def _password(cast: Cast) -> Opened:
    return Opened(person=cast.colleague, address="/account/password", typed=CHANGE)


@case("change-password:refused")
def _password_refused(cast: Cast) -> Opened:
    typed = {**CHANGE, "password": "not-the-word"}
    return Opened(person=cast.colleague, address="/account/password", typed=typed, altered=CHANGE, status=422)


FACTOR = "/account/second-factor"


@case("second-factor:begin")
def _factor(cast: Cast) -> Opened:
    typed = {"password": PASSWORD}
    return Opened(person=cast.colleague, address=FACTOR, typed=typed, marks={"act": "begin"}, status=200)


@case("second-factor:end")
def _factor_end(cast: Cast) -> Opened:
    _factor_in_force(cast.colleague)
    return Opened(person=cast.colleague, address=FACTOR, typed={"password": PASSWORD}, marks={"act": "end"})


@case("end-sessions")
def _sessions(cast: Cast) -> Opened:
    return Opened(person=cast.colleague, address="/account/sessions", page="/account", status=303)


def administrators_act(name: str, address: Callable[[], str], typed: dict[str, str], altered: dict[str, str]) -> None:
    @case(name)
    def made(cast: Cast) -> Opened:
        return Opened(person=builders.administrator(), address=address(), typed=typed, altered=altered)


def _of_the_gauge(part: str) -> str:
    builders.make_machine("RM-8")
    return f"/gauges/{builders.make_gauge().serial}/{part}"


@case("rule-confirmation")
def _rules_confirmed(cast: Cast) -> Opened:
    row = builders.source_rules(builders.make_type(is_confirmed=False))
    return Opened(person=builders.second_administrator(), address=f"/types/{row.code}/confirmation")


REVISION = {"code": "LWS 12-3", "title": "Counting", "revision": "D", "valid_from": "2026-03-02T09:00", "types": "w28"}
CALIBRATED = {"calibrated_on": "2026-02-01", "due": "2027-02-01"}
GAUGE = {"serial": "WG-40", "machine": "RM-8", "types": "w28", **CALIBRATED}
administrators_act("publication-add", lambda: "/publications/add", REVISION, {"title": "Reels"})
administrators_act("publication-end", lambda: f"/publications/{builders.make_publication().pk}/end", WHY, OTHER)
WITNESS = {"name": "Teal Water Board", "key": "ab" * 32}
administrators_act("witness-add", lambda: "/witnesses/add", WITNESS, {"name": "Wigeon Water Board"})
administrators_act("witness-end", lambda: f"/witnesses/{witnessing.witness().pk}/end", WHY, OTHER)


@case("checkpoint-countersign")
def _countersigned(cast: Cast) -> Opened:
    witnessing.witness()
    made = checkpoints.make(NOW)
    typed = {"text": witnessing.countersigned_text(made.text).strip()}
    altered = {"text": witnessing.countersigned_text(made.text, signed="2026-03-06T11:00:00.000000Z").strip()}
    return Opened(person=cast.colleague, address=f"/checkpoints/{made.entries}/witnesses", typed=typed, altered=altered)


RULE_SOURCES = {"publication": "LWS 12-3", "revision": "C", "lead": "para. 5", "arc": "para. 6"}
administrators_act(
    "rule-sources", lambda: f"/types/{builders.make_type().code}/sources", RULE_SOURCES, {"lead": "para. 7"}
)
administrators_act("gauge-register", lambda: _of_the_gauge("")[:8] + "register", GAUGE, {"serial": "WG-41"})
administrators_act("gauge-calibration", lambda: _of_the_gauge("calibration"), CALIBRATED, {"due": "2027-03-01"})
administrators_act("gauge-move", lambda: _of_the_gauge("machine"), {"machine": "RM-8"}, {"machine": "RM-7"})


@case("enrolment")
def _enrolment(cast: Cast) -> Opened:
    giving = Actor(builders.second_administrator())
    people.add_person(username="nell", full_name="Nell Newly", staff_number="N-1", password=OWN, actor=giving, at=NOW)
    typed, altered = {"checked": "pass 17"}, {"checked": "pass 18"}
    return Opened(person=builders.administrator(), address="/people/nell/enrolment", typed=typed, altered=altered)


@case("end-second-factor")
def _lost(cast: Cast) -> Opened:
    _factor_in_force(cast.colleague)
    address = f"/people/{cast.colleague.username}/second-factor"
    return Opened(person=builders.administrator(), address=address, typed=WHY, altered=OTHER)


@case("unlock-login")
def _locked(cast: Cast) -> Opened:
    address = f"/people/{cast.colleague.username}/unlocking"
    return Opened(person=builders.administrator(), address=address, typed=WHY, altered=OTHER)


@case("notices")
def _notices(cast: Cast) -> Opened:
    typed = {"address": "noel@mail.example", "hold": "every"}
    return Opened(person=cast.colleague, address="/account/notices", typed=typed, altered={"hold": "at-kettle-point"})


def _factor_in_force(person: Person) -> None:
    at = timezone.now()
    secret = second_factor.begin(actor=Actor(person), at=at)
    second_factor.confirm(code=shown(secret, at), actor=Actor(person), at=at)
    person.refresh_from_db()
