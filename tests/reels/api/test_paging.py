"""Pages in a total order, whatever comes in between: the law, over random lists with equal keys."""

from django.test import RequestFactory
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from reels.api.paging import page
from reels.models import Chain
from tests import builders


class PagesOfAnyListTest(TestCase):
    """Chains stand for any rows: `length` repeats, `id` does not."""

    @given(
        before=st.lists(st.integers(0, 3), max_size=12),
        between=st.lists(st.integers(0, 3), max_size=6),
        size=st.integers(1, 5),
        is_down=st.booleans(),
    )
    def test_rows_that_were_there_come_exactly_once_and_in_order(self, before, between, size, is_down):
        order = ("-length", "-id") if is_down else ("length", "id")
        there = [Chain.objects.create(name=f"a{i}", length=length).pk for i, length in enumerate(before)]
        request = RequestFactory().get("/list")
        seen, cursor = [], None
        for turn in range(len(before) + len(between) + 2):
            one = page(Chain.objects.all(), order, {"cursor": cursor, "page_size": size}, request)
            seen += [row.pk for row in one.results]
            if one.next is None:
                break
            cursor = RequestFactory().get(one.next).GET["cursor"]
            if turn < len(between):
                Chain.objects.create(name=f"b{turn}", length=between[turn])
        expected = [row.pk for row in Chain.objects.filter(pk__in=there).order_by(*order)]
        assert [pk for pk in seen if pk in there] == expected
        assert len(seen) == len(set(seen))


def test_the_filters_stay_in_the_next_page(ways):
    builders.make_reel("LW-0002")
    following = ways.colleague.get("reels?page_size=1&q=LW").json()["next"]
    assert "q=LW" in following
    assert "page_size=1" in following
    assert [row["serial"] for row in ways.colleague.get(following).json()["results"]] == ["LW-0002"]
