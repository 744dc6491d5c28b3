"""The page on which somebody chooses what they are told by e-mail."""

import pytest

from inspections.domain.words import Act
from reels.services import register
from reports.models import NoticeAddress, NoticeChoice
from reports.services import notices
from tests import builders
from tests.builders import Cast
from tests.page_fixtures import hidden_in, logged_in
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template")]
PAGE = "/account/notices"
GOOD = {"address": "mona@mail.example", "hold": ["every"], "flag": ["at-kettle-point"]}


@pytest.fixture
def cast():
    return Cast()


@pytest.fixture
def mona(cast):
    return logged_in(cast.control)


def html_of(answer, status=200):
    html = answer.content.decode()
    assert (answer.status_code, faults_of(html)) == (status, [])
    return html


def choose(client, **typed):
    """Open the page, and send its form."""
    hidden = hidden_in(client.get(PAGE).content.decode())
    return client.post(PAGE, {**hidden, **typed})


def chosen():
    rows = NoticeChoice.objects.values_list("person__username", "kind", "site__code").order_by("kind", "site__code")
    return list(rows)


def test_ones_login_leads_to_it_and_nothing_is_chosen_at_first(mona):
    assert f'href="{PAGE}"' in html_of(mona.get("/account"))
    html = html_of(mona.get(PAGE))
    assert "checked" not in html
    for legend in ("A reel is held", "A stop finding is recorded", "Setup values are withdrawn",
                   "A read-back is refused", "A drift flag is raised",
                   "An authorisation ends within 30 days"):  # fmt: skip
        assert f"<legend>{legend}</legend>" in html


def test_only_sites_that_one_may_see_can_be_chosen(mona, cast):
    html = html_of(mona.get(PAGE))
    assert "Kettle Point" in html
    assert "Aldermere" not in html
    answer = choose(mona, **{**GOOD, "hold": ["at-aldermere"]})
    html = html_of(answer, 422)
    assert "“at-aldermere” is none of: every site that I may see, Kettle Point." in html
    assert 'href="#id_hold"' in html
    assert chosen() == []
    assert html_of(logged_in(builders.administrator()).get(PAGE)).count('type="checkbox"') == 10  # “every site” alone


def test_a_choice_is_kept_and_shown_again(mona):
    answer = choose(mona, **GOOD)
    assert (answer.status_code, answer.headers["Location"]) == (302, PAGE)
    assert chosen() == [("mona", "flag", "kettle-point"), ("mona", "hold", None)]
    html = html_of(mona.get(PAGE))
    assert "Your choice is saved." in html
    assert (html.count("checked"), 'value="mona@mail.example"' in html) == (2, True)


def test_a_choice_is_changed_and_taken_back(mona):
    choose(mona, **GOOD)
    choose(mona, address="mona@other.example", withdrawal=["every"])
    assert chosen() == [("mona", "withdrawal", None)]
    choose(mona, address="")
    assert (chosen(), NoticeAddress.objects.get().address) == ([], "")
    assert "No mail is sent to you." in html_of(mona.get(PAGE))


@pytest.mark.parametrize(
    "address", ["mona", "mona@mail.example, vic@mail.example", "mona@mail.example\nBcc: x@y.example"]
)
def test_what_is_no_address_is_refused(mona, address):
    html = html_of(choose(mona, **{**GOOD, "address": address}), 422)
    assert "Type one address" in html
    assert not NoticeAddress.objects.exists()


def test_a_choice_without_an_address_is_refused(mona):
    html = html_of(choose(mona, **{**GOOD, "address": ""}), 422)
    assert "type the address that it is sent to" in html
    assert chosen() == []


def test_everybody_chooses_for_themselves_alone(mona, cast):
    choose(mona, **GOOD)
    vic = logged_in(cast.verifier)
    assert "mona@mail.example" not in html_of(vic.get(PAGE))
    choose(vic, address="vic@mail.example", hold=["every"])
    assert sorted(who for who, _, _ in chosen()) == ["mona", "mona", "vic"]


def test_it_says_where_no_mail_is_sent(mona, settings):
    settings.EMAIL_BACKEND, settings.EMAIL_HOST = notices.SMTP, ""
    assert "No mail is sent here" in html_of(mona.get(PAGE))
    settings.EMAIL_HOST = "mail.example"
    assert "No mail is sent here" not in html_of(mona.get(PAGE))


def test_the_page_costs_the_same_for_one_site_as_for_ten(count_queries):
    anna = builders.make_person("anna", Act.COUNT)
    client = logged_in(anna)
    one = count_queries(lambda: client.get(PAGE))
    for number in range(9):
        register.post_person(person=anna, site=builders.make_site(f"s{number}", f"Site {number}"),
                                      valid_from=builders.NOW, **builders.by_administrator())  # fmt: skip
    assert count_queries(lambda: client.get(PAGE)) == one
