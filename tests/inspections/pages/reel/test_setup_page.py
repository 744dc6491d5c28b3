import re

import pytest

from inspections.domain.words import Act
from inspections.models import ReadBack, SetupValues
from tests import builders
from tests.builders import Cast
from tests.page_fixtures import logged_in
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]


@pytest.fixture
def cast():
    cast = Cast.as_needed()
    builders.make_reel()
    builders.make_machine()
    builders.signed_count(cast)
    return cast


def html_of(person, address):
    answer = logged_in(person).get(address)
    assert answer.status_code == 200
    assert faults_of(answer.content.decode()) == []
    return answer.content.decode()


def send(person, address, **typed):
    [seen] = re.findall(r'name="seen" value="(\d+)"', html_of(person, address))
    return logged_in(person).post(address, {"seen": seen, **typed})


def test_values_are_issued_installed_set_read_back_and_confirmed_in_the_browser(cast):
    issued = send(cast.control, "/reels/LW-0001/setup-values", machine="RM-7")
    card = issued.url
    assert card == f"/setup-values/{SetupValues.objects.get().pk}"
    assert "Next: Install the reel in RM-7" in html_of(cast.setter, card)
    assert send(cast.setter, "/reels/LW-0001/installation?machine=RM-7", machine="RM-7").status_code == 302
    assert "Next: Return the wrap gauge" in html_of(cast.setter, card)
    assert send(cast.setter, f"{card}/gauge", is_back="on").url == card
    assert send(cast.setter, f"{card}/read-back", layers="12", wraps="10").url == card
    assert "Next: Confirm what the machine shows" in html_of(cast.confirmer, card)
    assert "This is done by a second person." in html_of(cast.setter, card)
    assert send(cast.confirmer, f"{card}/confirmation", layers="12", wraps="10").url == card
    assert send(cast.setter, f"{card}/check", kind="functional", passed="yes", remark="out and in").url == card
    html = html_of(cast.colleague, card)
    assert "In force, confirmed" in html
    assert "functional check" in html.lower()
    assert "Next:" not in html


def test_a_machine_that_has_values_of_another_reel_says_so_where_one_is_chosen(cast):
    builders.make_reel("LW-0002")
    builders.signed_count(cast, "LW-0002")
    builders.issued(cast)
    taken = ">RM-7 in Heron 3 (values of LW-0001 are in force)</option>"
    assert taken in html_of(cast.control, "/reels/LW-0002/setup-values")
    assert ">RM-7 in Heron 3</option>" in html_of(cast.control, "/reels/LW-0001/installation")


def test_the_numbers_their_count_and_its_day_are_seen_before_they_are_in_force(cast):
    html = html_of(cast.control, "/reels/LW-0001/setup-values")
    assert re.search(r"<dd>12</dd>.*<dd>10</dd>.*<dd>even</dd>.*12 layers, 10 wraps, even, counted.*2 Mar", html, re.S)
    builders.make_reel("LW-0002")
    assert "There is no signed count" in html_of(cast.control, "/reels/LW-0002/setup-values")


@pytest.mark.parametrize(("act", "ending"), [
    ("removal", "this withdraws them"), ("hold", "this withdraws them"), ("cut", "this withdraws them"),
    ("replacement", "this withdraws them"), ("move", "this withdraws them"), ("retirement", "this withdraws them"),
    ("finding", "a stop withdraws them"),
])  # fmt: skip
def test_what_an_act_withdraws_is_said_before_it_is_done(cast, act, ending):
    page = f"/reels/LW-0001/{act}"
    assert "in force;" not in html_of(cast.control, page)
    values = builders.issued(cast)
    assert f"RM-7: 12 layers, 10 wraps in force; {ending}." in html_of(cast.control, page)
    void = f"/inspections/{values.inspection_id}/void"
    assert "if they came from this count, the void withdraws them." in html_of(cast.verifier, void)


def test_another_machine_than_issued_for_is_recorded_once_that_is_ticked(cast):
    values = builders.issued(cast)
    builders.make_machine("RM-8")
    page = "/reels/LW-0001/installation"
    assert "answers" not in html_of(cast.control, page)
    asked = send(cast.control, page, machine="RM-8")
    html = asked.content.decode()
    assert asked.status_code == 422
    assert faults_of(html) == []
    assert "12 layers, 10 wraps are in force for reel LW-0001 in machine RM-7, not in RM-8." in html
    assert "It is in this machine; withdraw the values" in html
    assert send(cast.control, page, machine="RM-8", answers="rain").status_code == 422
    assert send(cast.control, page, machine="RM-8", answers="issued_for_another").status_code == 302
    values.refresh_from_db()
    assert values.withdrawn_why == "the reel was installed in machine RM-8 instead"


def test_a_read_back_that_differs_is_kept_and_does_not_say_what_was_issued(cast):
    values = builders.issued(cast)
    send(cast.control, "/reels/LW-0001/installation", machine="RM-7")
    card = f"/setup-values/{values.pk}"
    send(cast.setter, f"{card}/gauge", is_back="on")
    page = html_of(cast.setter, f"{card}/read-back").split("<main")[1].split("</main>")[0]
    assert not re.search(r"\b10\b", re.sub(r'<input type="hidden"[^>]*>', "", page))
    answer = send(cast.setter, f"{card}/read-back", layers="12", wraps="11")
    html = answer.content.decode()
    assert answer.status_code == 422
    assert "You keyed layers 12, wraps 11; that is not what was issued. It is kept." in html
    assert 'value="11"' in html
    assert not re.search(r"\b10 wraps", html)
    assert [(each.wraps, each.matches) for each in ReadBack.objects.all()] == [(11, False)]


def test_who_confirms_sees_no_number_there_and_no_way_to_one(cast):
    values = builders.issued(cast)
    send(cast.control, "/reels/LW-0001/installation", machine="RM-7")
    card = f"/setup-values/{values.pk}"
    send(cast.setter, f"{card}/gauge", is_back="on")
    send(cast.setter, f"{card}/read-back", layers="12", wraps="10")
    for html in (
        html_of(cast.confirmer, f"{card}/confirmation"),
        send(cast.confirmer, f"{card}/confirmation", layers="13", wraps="9").content.decode(),
    ):
        assert not re.search(r'href="/(reels/LW|setup-values|inspections)', html)
        page = re.sub(r'<input type="hidden"[^>]*>', "", html.split("<main")[1].split("</main>")[0])
        assert not re.search(r"\b(12|10)\b", page)
        assert faults_of(html) == []
    assert ReadBack.objects.count() == 2


def test_the_setter_cannot_confirm_and_the_gauge_comes_first(cast):
    builders.authorise(cast.setter, Act.CONFIRM, site=builders.make_site())
    values = builders.issued(cast)
    send(cast.control, "/reels/LW-0001/installation", machine="RM-7")
    card = f"/setup-values/{values.pk}"
    early = send(cast.setter, f"{card}/read-back", layers="12", wraps="10")
    assert (early.status_code, "put the wrap gauge back" in early.content.decode()) == (422, True)
    send(cast.setter, f"{card}/gauge", is_back="on")
    send(cast.setter, f"{card}/read-back", layers="12", wraps="10")
    own = send(cast.setter, f"{card}/confirmation", layers="12", wraps="10")
    assert (own.status_code, "this needs another person" in own.content.decode()) == (422, True)


def test_withdrawn_values_never_look_like_values_in_force(cast):
    values = builders.issued(cast)
    card = f"/setup-values/{values.pk}"
    before = html_of(cast.control, card)
    assert 'class="numbers"' in before
    assert send(cast.control, f"{card}/withdrawal", reason="wrong machine").url == card
    html = html_of(cast.control, card)
    assert "<title>Withdrawn: Setup values" in html
    assert "Do not set these values" in html
    assert "wrong machine" in html
    assert "<del>12 layers, 10 wraps, even</del>" in html
    assert 'class="numbers"' not in html
    assert "withdrawal" not in html


def test_issuing_says_why_it_cannot_be_done(cast):
    builders.log_cut(cast, at=builders.later(hours=1))
    answer = send(cast.control, "/reels/LW-0001/setup-values", machine="RM-7")
    assert answer.status_code == 422
    assert "Count the reel again." in answer.content.decode()
    assert '<option value="RM-7" selected>' in answer.content.decode()


@pytest.mark.parametrize("act", ["", "/gauge", "/read-back", "/confirmation", "/check", "/withdrawal"])
def test_a_stranger_finds_nothing_nobody_logs_in_and_a_colleague_only_looks(cast, client, act):
    address = f"/setup-values/{builders.issued(cast).pk}{act}"
    assert logged_in(cast.colleague).get(address).status_code == (403 if act else 200)
    assert logged_in(cast.stranger).get(address).status_code == 404
    assert client.get(address).url == f"/login?next={address}"
