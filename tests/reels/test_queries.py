"""What is read page by page where nobody sees pages."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from reels.models import HistoryEntry
from reels.queries import in_pages
from tests import builders
from tests.builders import NOW

pytestmark = pytest.mark.django_db
ORDER = ("-at", "-id")


@pytest.fixture
def rows():
    """Entries of which many are of the same moment."""
    cast = builders.Cast.as_needed()
    builders.make_reel()
    for _ in range(5):
        builders.log_event(cast, "used", at=NOW)
    return HistoryEntry.objects.all()


@pytest.mark.parametrize("spare", [-1, 0, 1])
def test_every_row_comes_once_in_its_order_also_where_a_page_ends_with_the_rows(rows, spare):
    expected = list(rows.order_by(*ORDER))
    size = len(expected) // 2 + spare
    assert size >= 2
    assert list(in_pages(rows, ORDER, size)) == expected


def test_no_more_rows_are_read_than_are_taken_and_those_of_their_page(rows):
    with CaptureQueriesContext(connection) as seen:
        some = in_pages(rows, ORDER, 3)
        next(some)
    [query] = seen.captured_queries
    assert query["sql"].endswith("LIMIT 3")


def test_what_is_added_meanwhile_moves_nothing(rows):
    expected = list(rows.order_by(*ORDER))
    coming = in_pages(rows, ORDER, 2)
    first = [next(coming), next(coming)]
    builders.make_reel("LW-0009")
    assert [row for row in (*first, *coming) if row in expected] == expected


def test_of_no_rows_there_is_one_look(rows):
    with CaptureQueriesContext(connection) as seen:
        assert list(in_pages(rows.filter(seq=10**6), ORDER, 3)) == []
    assert len(seen) == 1
