"""The pages of reel types: where each rule stands, what is drawn of it, and who confirmed it."""

import json
from decimal import Decimal
from html import unescape

import pytest

from reels.models import HistoryEntry, ReelType
from reels.services import register
from tests import builders
from tests.builders import Cast, by_administrator
from tests.inspections.pages.count.worksheet_steps import form_in, page_of
from tests.page_fixtures import logged_in
from tests.page_forms import Forms
from tests.reports.pages.forms_of_reference import NEW_TYPE_TYPED
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]


def shown(person, address):
    html = unescape(logged_in(person).get(address).content.decode())
    assert faults_of(html) == []
    return html


def test_everybody_sees_each_rule_with_its_paragraph_and_both_drawings():
    builders.make_type()
    colleague = Cast.as_needed().colleague
    html = shown(colleague, "/types/w28")
    assert "Rules confirmed" in html
    assert "by Bea Second" in html
    assert html.count("LWS 12-3, revision C, para. 4.2") == 6
    assert "the first half lies aft, the second forward" in html
    assert ('id="section-title"' in html, 'id="circle-title"' in html) == (True, True)
    assert "/types/w28/sources" not in html
    assert "confirmed" in shown(colleague, "/types")


def test_only_who_may_confirm_is_led_to_it_and_a_changed_rule_is_not_confirmed_unseen():
    row = builders.source_rules(builders.make_type(is_confirmed=False))
    address = "/types/w28/confirmation"
    assert address not in shown(builders.administrator(), "/types/w28")
    second = logged_in(builders.second_administrator())
    assert address in shown(builders.second_administrator(), "/types/w28")
    form = form_in(page_of(second, address))
    register.change(row, odd_face_mark="one notch", **by_administrator())
    assert second.post(address, form).status_code == 422
    row.refresh_from_db()
    assert row.rules_confirmed_at is None
    assert second.post(address, form_in(page_of(second, address))).status_code == 302
    row.refresh_from_db()
    assert row.rules_confirmed_by == builders.second_administrator()


def whole_form(client, address):
    return Forms(client.get(address).content.decode()).of_act({})


def typed_type(client, **changes):
    return {**whole_form(client, "/types/add"), **NEW_TYPE_TYPED, **changes}


def test_a_type_is_added_with_what_follows_from_what_was_typed():
    ada = logged_in(builders.administrator())
    answer = ada.post("/types/add", typed_type(ada, winding_sense="counter_clockwise", cable_days_hard="900"))
    assert answer.status_code == 302, answer.context["form"].errors
    row = ReelType.objects.get(code="w40")
    assert (row.arc_from_deg, row.arc_to_deg, row.winding_sense) == (180, 360, "counter_clockwise")
    assert (row.cable_diameter_mm, row.layer_rise_mm, row.diameter_u_mm) == (Decimal("8.5"), None, 0)
    assert (row.cable_days_hard, row.cable_days_soft, row.crossover_begins_layer) == (900, None, True)
    assert row.rules_confirmed_at is None


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"layer_rise_mm": "17"}, "layer_rise_mm was 17"),  # of the diameter, not of the radius
        ({"arc_from_deg": "10"}, "The arc has two ends"),
        ({"arc_from_deg": "10", "arc_to_deg": "200"}, "arc_publication"),
        ({"core_diameter_mm": ""}, "Diameter of the core, mm"),
        ({"unusual": "accept"}, "Unusual"),
    ],
)
def test_a_type_that_cannot_be_says_why_and_keeps_what_was_typed(changes, said):
    ada = logged_in(builders.administrator())
    answer = ada.post("/types/add", typed_type(ada, **changes))
    html = unescape(answer.content.decode())
    assert answer.status_code == 422
    assert faults_of(html) == []
    assert said in html
    assert 'value="w40"' in html
    assert not ReelType.objects.filter(code="w40").exists()


def test_a_type_is_changed_by_what_was_altered_alone():
    row = builders.make_type()
    ada = logged_in(builders.administrator())
    form = whole_form(ada, "/types/w28/change")
    ada.post("/types/w28/change", form)
    row.refresh_from_db()
    assert row.rules_confirmed_at
    answer = ada.post("/types/w28/change", {**whole_form(ada, "/types/w28/change"), "lead_wraps": "2",
                                             "reason": "LWS 12-3, revision D"})  # fmt: skip
    assert answer.status_code == 302, answer.context["form"].errors
    row.refresh_from_db()
    assert row.lead_wraps == 2
    assert not ReelType.objects.filter(code="w28", rules_confirmed_at__isnull=False).exists()
    entry = HistoryEntry.objects.filter(chain__name="register").latest("seq")
    said = json.loads(bytes(entry.content))
    assert (entry.act, said["facts"]["reason"]) == ("reel_type_changed", "LWS 12-3, revision D")
    assert said["changes"][0]["after"]["lead_wraps"] == 2


def test_the_drum_is_drawn_of_what_is_being_typed():
    ada = logged_in(builders.administrator())
    typed = {"core_diameter_mm": "180", "cable_diameter_mm": "8", "wraps_odd_layer": "28", "wraps_even_layer": "27"}
    assert "is drawn here once" in ada.get("/types/drum", typed).content.decode()
    html = ada.get("/types/drum", {**typed, "max_layers": "12", "pitch_mm": "0"}).content.decode()
    # 28 and 27 wraps in turn, six times each; a wrap of layer 1 is pi times 0.188 m
    assert "12 layers, 330 wraps" in html
    assert "One wrap is 0.59 m on layer 1" in html
    assert "weighs" not in html
    assert "A wrap weighs 0.118 kg on layer 1" in ada.get(
        "/types/drum", {**typed, "max_layers": "12", "pitch_mm": "0", "kg_per_m": "0.2"}
    ).content.decode()  # fmt: skip
    assert (
        "layer_rise_mm was 17"
        in ada.get("/types/drum", {**typed, "max_layers": "12", "layer_rise_mm": "17"}).content.decode()
    )
