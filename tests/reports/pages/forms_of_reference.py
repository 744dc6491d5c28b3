"""The acts on reference data that have a form and are not on publications or gauges."""

from inspections.domain.practice import ReadinessRule
from inspections.domain.words import Act
from inspections.services import authorisations
from reels.domain.words import Scope
from reels.services import register
from tests import builders
from tests.api_fixtures import make_token
from tests.builders import Cast
from tests.reports.pages.forms_of_acts import OTHER, WHY, Opened, administrators_act, case
from tests.reports.pages.forms_of_practice import CASES

__all__ = ["CASES", "NEW_TYPE_TYPED"]

NEW_TYPE_TYPED = {
    "code": "w40", "core_diameter_mm": "180", "cable_diameter_mm": "8.5", "wraps_odd_layer": "40",
    "wraps_even_layer": "39", "max_layers": "12", "anchor_side": "right",
}  # fmt: skip


def _type_to_change() -> str:
    return f"/types/{builders.make_type().code}/change"


administrators_act("type-add", lambda: "/types/add", NEW_TYPE_TYPED, {"code": "w41"})
administrators_act("type-change", _type_to_change, {"odd_face_mark": "one notch"}, {"odd_face_mark": "two notches"})

MACHINE = {"serial": "RM-40", "host": "Heron 9", "site": "kettle-point", "types": "w28"}
administrators_act("machine-add", lambda: "/machines/add", MACHINE, {"serial": "RM-41"})
administrators_act("machine-change", lambda: "/machines/RM-7/change", {"host": "Heron 9"}, {"host": "Heron 8"})

SITE = {"code": "stane", "name": "Stane Field", "time_zone": "UTC", "transit_days": "7"}
SITE_CHANGED = {"name": "Kettle Point", "time_zone": "UTC", "transit_days": "9"}
administrators_act("site-add", lambda: "/sites/add", SITE, {"code": "other"})
administrators_act("site-change", lambda: "/sites/kettle-point/change", SITE_CHANGED, {"transit_days": "8"})
PERSON = {"full_name": "Noel Other", "staff_number": "N-77", "is_active": "on"}
administrators_act("person-change", lambda: "/people/noel/change", PERSON, {"staff_number": "N-78"})
administrators_act("posting-add", lambda: "/people/noel/posting", {"site": "*"}, {"site": "kettle-point"})


KIND = {"reel_type": "w28", "part": "drum", "code": "crack", "words": "crack", "least_severity": "stop"}
KIND_CHANGED = {"words": "a kink", "least_severity": "watch", "is_offered": "on"}
RULE = {"site": "kettle-point", "act": "verify", "in_a_row": "5", "within_days": "60", "least": "tricky"}
RULE_CHANGED = {"in_a_row": "4", "within_days": "60", "least": "usual"}


def _rule_to_change() -> str:
    rule = authorisations.ask_readiness(
        site=builders.make_site(), act=Act.CONFIRM, rule=ReadinessRule(), **builders.by_administrator()
    )
    return f"/practice/rules/{rule.pk}/change"


administrators_act("finding-kind-add", lambda: "/findings/kinds/add", KIND, {"code": "rust"})
administrators_act(
    "finding-kind-change", lambda: f"/findings/kinds/{builders.make_finding_kind().pk}/change", KIND_CHANGED,
    {"words": "kinked"},
)  # fmt: skip
administrators_act("readiness-rule-add", lambda: "/practice/rules/add", RULE, {"in_a_row": "6"})
administrators_act("readiness-rule-change", _rule_to_change, RULE_CHANGED, {"in_a_row": "3"})


@case("set-up-put-away")
def _list_put_away(cast: Cast) -> Opened:
    return Opened(person=builders.administrator(), address="/set-up/put-away")


@case("set-up-take-back")
def _list_taken_back(cast: Cast) -> Opened:
    register.put_set_up_list_away(is_away=True, **builders.by_administrator())
    return Opened(person=builders.administrator(), address="/set-up/take-back")


@case("posting-end")
def _posting_ended(cast: Cast) -> Opened:
    address = f"/postings/{cast.colleague.postings.get().pk}/end"
    return Opened(person=builders.administrator(), address=address)


administrators_act("authorisations", lambda: "/authorisations", {"granted": "noel count"}, {"granted": "noel set"})


@case("authorisation-end")
def _authorisation_ended(cast: Cast) -> Opened:
    address = f"/authorisations/{cast.technician.authorisations.earliest('pk').pk}/end"
    return Opened(person=builders.administrator(), address=address, typed=WHY, altered=OTHER)


@case("reel-register")
def _registered(cast: Cast) -> Opened:
    typed = {"serial": "LW-0040", "reel_type": "w28", "site": "kettle-point", "received_on": "2026-02-01"}
    return Opened(person=cast.control, address="/new-reel", typed=typed, altered={"serial": "LW-0041"})


@case("token-revocation")
def _token_ended(cast: Cast) -> Opened:
    make_token(cast.colleague, Scope.READ)
    token = cast.colleague.tokens.get()
    return Opened(person=cast.colleague, address=f"/tokens/{token.pk}/revocation", typed=WHY, altered=OTHER)
