"""The pages of reeling machines, and the form that registers one reel."""

from decimal import Decimal
from html import unescape

import pytest

from reels.models import HistoryEntry, Machine, Reel
from tests import builders
from tests.builders import Cast
from tests.page_fixtures import logged_in
from tests.page_forms import Forms
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]

NEW = {"serial": "LW-0040", "reel_type": "w28", "site": "kettle-point", "received_on": "2026-02-01"}


def form_of(client, address):
    return Forms(client.get(address).content.decode()).of_act({})


def test_a_machine_is_listed_with_what_it_takes_and_the_reel_in_it():
    builders.make_reel()
    cast = Cast()
    builders.make_machine("RM-8")
    html = unescape(logged_in(cast.colleague).get("/machines").content.decode())
    assert faults_of(html) == []
    assert ("RM-8" in html, "Heron" in html, "w28" in html, "/machines/add" in html) == (True, True, True, False)


def test_a_machine_names_what_it_takes_and_a_change_is_told_by_what_was_altered():
    builders.make_machine()
    ada = logged_in(builders.administrator())
    form = form_of(ada, "/machines/RM-7/change")
    assert (form["serial"], form["types"]) == (["RM-7"], ["w28"])
    assert ada.post("/machines/RM-7/change", form).status_code == 302
    before = HistoryEntry.objects.count()
    form = form_of(ada, "/machines/RM-7/change")
    assert ada.post("/machines/RM-7/change", {**form, "host": "Heron 4"}).status_code == 302
    assert (Machine.objects.get().host, HistoryEntry.objects.count()) == ("Heron 4", before + 1)
    assert HistoryEntry.objects.filter(chain__name="register").latest("seq").act == "machine_changed"


def test_a_reel_is_registered_where_one_maintains_reels_of_its_type():
    builders.make_reel()
    control = logged_in(Cast().control)
    assert "/new-reel" in control.get("/reels").content.decode()
    form = form_of(control, "/new-reel")
    answer = control.post("/new-reel", {**form, **NEW, "length_m": "412.5", "cable_serial": "lot 9"})
    assert (answer.status_code, answer.headers["Location"]) == (302, "/reels/LW-0040")
    reel = Reel.objects.get(serial="LW-0040")
    assert (reel.cable_length_m, reel.cable_serial, reel.part_number) == (Decimal("412.5"), "lot 9", "")


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"serial": "LW-0001"}, "already a reel"),
        ({"received_on": "2031-02-01"}, "allowed: from"),
        ({"site": "aldermere"}, "Site where it is"),
    ],
)
def test_a_reel_that_cannot_be_registered_says_why(changes, said):
    builders.make_reel()
    control = logged_in(Cast().control)
    answer = control.post("/new-reel", {**form_of(control, "/new-reel"), **NEW, **changes})
    assert answer.status_code == 422
    assert said in unescape(answer.content.decode()), answer.context["form"].errors
    assert Reel.objects.count() == 1


def test_nobody_is_led_to_register_a_reel_who_may_not():
    builders.make_reel()
    colleague = logged_in(Cast().colleague)
    assert "/new-reel" not in colleague.get("/reels").content.decode()
    assert colleague.get("/new-reel").status_code == 403
