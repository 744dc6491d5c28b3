"""What is typed at a step of the worksheet and not keyed yet."""

import pytest
from django.test import Client

from inspections.domain.words import Act
from inspections.models import Draft
from tests import builders
from tests.inspections.pages.count.test_worksheet import BLIND, both_key, scales_keyed, worksheet
from tests.inspections.pages.count.worksheet_steps import SCALES, SEEN, form_in, page_of, send
from tests.page_fixtures import logged_in

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]


@pytest.mark.usefixtures("at_scales")
def test_a_draft_is_there_again_and_nobody_else_is_shown_it(cast, inspection):
    client = logged_in(cast.technician)
    hidden = form_in(page_of(client, worksheet(inspection)))
    assert client.post(f"/inspections/{inspection.pk}/draft", {**hidden, "scale_left": "771"}).status_code == 204
    again = page_of(logged_in(cast.technician), worksheet(inspection))
    assert 'value="771"' in again
    assert "aria-invalid" not in again  # nothing was sent, so nothing is wrong yet
    second = builders.make_person("theo", Act.COUNT)
    assert 'value="771"' not in page_of(logged_in(second), worksheet(inspection))
    send(client, worksheet(inspection), **SEEN[SCALES])
    assert not Draft._base_manager.exists()


@pytest.mark.usefixtures("at_scales")
def test_a_draft_that_comes_after_its_step_was_keyed_fills_in_nothing_that_is_keyed_again(cast, inspection):
    client = logged_in(cast.technician)
    typed = {**form_in(page_of(client, worksheet(inspection))), "scale_left": "13"}
    both_key(cast, inspection, SCALES, scale_left="14")
    assert client.post(f"/inspections/{inspection.pk}/draft", typed).status_code == 204
    html = page_of(client, worksheet(inspection))
    assert "read the left scale differently" in html
    assert 'value="13"' not in html


@pytest.mark.usefixtures("at_scales")
def test_what_is_sent_after_the_login_ran_out_is_there_after_logging_in_again(cast, inspection):
    client = logged_in(cast.technician)
    form = {**form_in(page_of(client, worksheet(inspection))), **SEEN[SCALES], "scale_left": "771"}
    late = Client()
    answer = late.post(worksheet(inspection), form)
    assert answer.headers["Location"] == f"/login?next={worksheet(inspection)}"
    late.post("/login", {"username": "tess", "password": builders.PASSWORD})
    html = page_of(late, worksheet(inspection))
    assert 'value="771"' in html
    assert not scales_keyed()


@pytest.mark.usefixtures("at_scales")
def test_what_was_sent_with_one_login_is_never_given_to_another(cast, inspection):
    client = logged_in(cast.technician)
    form = {**form_in(page_of(client, worksheet(inspection))), "scale_left": "771"}
    second = builders.make_person("theo", Act.COUNT)
    late = Client()
    late.post(worksheet(inspection), form)
    late.post("/login", {"username": second.username, "password": builders.PASSWORD})
    assert BLIND.findall(page_of(late, worksheet(inspection))) == []
    assert not Draft._base_manager.exists()
