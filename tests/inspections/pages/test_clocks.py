"""Times on pages are by the clocks of the site where the thing happened, with their zone."""

import re
from datetime import date, timedelta
from html import unescape

import pytest
from django.utils.formats import date_format

from inspections.access import authorisation_for
from inspections.domain.words import Act
from inspections.errors import NotAuthorised
from reels.models import Reel, Site
from tests import builders
from tests.builders import Cast, later
from tests.page_fixtures import logged_in
from tests.reports.fleet import assessed_fleet

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("on_the_day")]
DAY = re.compile(r'<time datetime="(\d{4}-\d\d-\d\d)">')


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


def test_a_day_in_a_list_over_sites_and_in_a_refusal_is_that_of_its_own_site():
    cast = Cast.as_needed()
    assessed_fleet("LW-0002,2024-07-10T09:00:00Z,cut,1.5,,\n")
    at_utc = set(DAY.findall(logged_in(cast.control).get("/drift?show=all").content.decode()))
    Site.objects.filter(code="kettle-point").update(time_zone="Pacific/Kiritimati")  # 14 hours ahead
    there = set(DAY.findall(logged_in(cast.control).get("/drift?show=all").content.decode()))
    assert there == {(date.fromisoformat(day) + timedelta(days=1)).isoformat() for day in at_utc}
    told = re.findall(r"Between (\d+ \w+ \d{4}) and", text_of(logged_in(cast.control).get("/reels/LW-0001/drift")))
    assert told
    assert set(told) <= {date_format(date.fromisoformat(each), "j M Y") for each in there}
    with pytest.raises(NotAuthorised, match="on 2026-03-03"):
        authorisation_for(cast.colleague, Act.COUNT, Reel.objects.get(serial="LW-0001"), later(hours=2))


def test_a_list_shows_a_site_whose_clocks_were_put_forward_by_summer_time():
    cast = Cast.as_needed()
    builders.make_reel()
    builders.record_finding(cast.technician)
    Site.objects.update(time_zone="America/St_Johns")  # half an hour off, and from 8 March 2026 on by summer time
    assert "2 Mar 2026, 05:30 NST" in text_of(logged_in(cast.technician).get("/findings"))
