"""The pages of reel types: where each rule stands, what is drawn of it, and who confirmed it."""

from html import unescape

import pytest

from reels.services import register
from tests import builders
from tests.builders import Cast, by_administrator
from tests.inspections.pages.count.worksheet_steps import form_in, page_of
from tests.page_fixtures import logged_in
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
