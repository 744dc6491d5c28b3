import pytest

from reels.services import register
from tests import builders
from tests.builders import Cast, by_administrator
from tests.inspections.pages.count.worksheet_steps import page_of
from tests.page_fixtures import logged_in

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]


def test_the_pages_say_which_rules_are_in_the_way_and_offer_no_signature():
    cast, reel = Cast.as_needed(), builders.make_reel()
    register.change(reel.type, lead_wraps=3, **by_administrator())
    count = builders.open_count(cast)
    register.change(reel.type, lead_wraps=1, **by_administrator())
    technician, result = logged_in(cast.technician), f"/inspections/{count.pk}/result"
    assert "Since this reading was begun: lead." in page_of(technician, f"/inspections/{count.pk}/worksheet")
    builders.read(cast, count)
    html = page_of(technician, result)
    assert "The rules of reel type w28 are not confirmed" in html
    assert "By your password you sign" not in html
    builders.confirm_rules(reel.type)
    html = page_of(technician, result)
    assert "Read the reel again" in html
    assert "By your password you sign" not in html
