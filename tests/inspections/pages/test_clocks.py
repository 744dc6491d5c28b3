"""Times on pages are by the clocks of the site where the thing happened, with their zone."""

import re
from html import unescape

import pytest

from reels.models import Site
from tests import builders
from tests.builders import Cast, later
from tests.page_fixtures import logged_in

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("on_the_day")]


def text_of(answer):
    return " ".join(unescape(re.sub(r"<[^>]+>", "", answer.content.decode())).split())


def test_each_row_of_a_list_over_sites_shows_the_clocks_of_its_own():
    cast = Cast.as_needed()
    builders.make_reel()
    builders.sent(cast)  # from Kettle Point to Aldermere, on 2 March 2026 at 9:00 UTC
    builders.received(cast, at=later(hours=2))
    Site.objects.update(time_zone="Europe/Berlin")
    Site.objects.filter(code="kettle-point").update(time_zone="Asia/Tokyo")
    text = text_of(logged_in(cast.control).get("/moves"))
    assert "2 Mar 2026, 18:00 JST" in text  # sent there
    assert "2 Mar 2026, 12:00 CET" in text  # received here


def test_a_list_shows_a_site_whose_clocks_were_put_forward_by_summer_time():
    cast = Cast.as_needed()
    builders.make_reel()
    builders.record_finding(cast.technician)
    Site.objects.update(time_zone="America/St_Johns")  # half an hour off, and from 8 March 2026 on by summer time
    assert "2 Mar 2026, 05:30 NST" in text_of(logged_in(cast.technician).get("/findings"))
