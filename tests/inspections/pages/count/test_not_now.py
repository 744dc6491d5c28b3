"""Somebody else holds the records for too long: it is said, nothing is stored, and what was typed can be sent again."""

import re
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from django.db import connection

from inspections.models import Keying
from tests import builders, stories
from tests.builders import Cast
from tests.inspections.pages.count.worksheet_steps import SCALES, SEEN, form_in, page_of
from tests.page_fixtures import logged_in

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("on_the_day")]


@contextmanager
def locked_by_somebody_else() -> Iterator[None]:
    """Another connection holds what a step needs; this one waits a tenth of a second for it and no longer."""
    patience = "PRAGMA busy_timeout = 100" if connection.vendor == "sqlite" else "SET lock_timeout = '100ms'"
    hold = "BEGIN IMMEDIATE" if connection.vendor == "sqlite" else "SELECT * FROM reels_chain FOR UPDATE"
    other = connection.copy()
    with connection.cursor() as cursor:
        cursor.execute(patience)
    other.set_autocommit(connection.vendor == "sqlite")
    with other.cursor() as cursor:
        cursor.execute(hold)
    try:
        yield
    finally:
        other.close()
        connection.close()  # and its patience with it


def test_a_step_that_finds_the_records_locked_loses_nothing(client):
    builders.make_reel()
    cast = Cast.as_needed()
    inspection = stories.at_the_scales(cast)
    before = Keying._base_manager.count()
    client = logged_in(cast.technician)
    client.raise_request_exception = False
    address = f"/inspections/{inspection.pk}/worksheet"
    form = {**form_in(page_of(client, address)), **SEEN[SCALES]}
    with locked_by_somebody_else():
        answer = client.post(address, form)
    html = answer.content.decode()
    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "5")
    assert Keying._base_manager.count() == before
    kept = re.findall(r'name="(\w+)" value="([^"]*)"', html)
    assert ("scale_left", "13") in kept
    again = {name: [value for each, value in kept if each == name] for name, _ in kept}
    assert [client.post(address, again).status_code for _ in range(2)] == [302, 302]
    assert Keying._base_manager.count() == before + 3
