from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from django.template.loader import render_to_string
from django.utils import timezone

from reels.models import Site
from reels.pages.formats import count_words, day_at, day_words, metres, moment_at
from reels.pages.pieces import day


@pytest.mark.parametrize(
    ("length_m", "words"),
    [(Decimal("420.000"), "420 m"), (Decimal("12.500"), "12.5 m"), (Decimal("0.001"), "0.001 m"), (None, "—")],
)
def test_lengths_are_in_metres_without_needless_places(length_m, words):
    assert metres(length_m) == words


@pytest.mark.parametrize(
    ("layers", "wraps", "words"),
    [(12, 10, "12 layers, 10 wraps, even"), (1, 1, "1 layer, 1 wrap, odd"), (0, 0, "0 layers, 0 wraps, even"),
     (None, None, "—")],
)  # fmt: skip
def test_a_count_says_odd_or_even_in_words(layers, wraps, words):
    assert count_words(layers, wraps) == words


def test_a_day_is_that_of_the_clocks_at_the_site():
    late = datetime(2026, 3, 2, 23, 30, tzinfo=UTC)
    assert day_at(Site(time_zone="Asia/Tokyo"), late) == date(2026, 3, 3)
    assert day_at(Site(time_zone="UTC"), late) == date(2026, 3, 2)
    assert day_at(Site(time_zone="UTC"), None) is None


def test_a_stop_after_a_time_stands_right_after_it():
    assert render_to_string("reels/time.html", {"at": datetime(2026, 3, 2, tzinfo=UTC)}).endswith("</time>")


def test_a_moment_without_its_time_is_shown_as_the_day_at_the_site_or_of_the_page():
    late = datetime(2026, 3, 2, 23, 30, tzinfo=UTC)
    assert day(late, Site(time_zone="Asia/Tokyo")) == '<time datetime="2026-03-03">3 Mar 2026</time>'
    with timezone.override("Asia/Tokyo"):
        assert day(late) == '<time datetime="2026-03-03">3 Mar 2026</time>'
    assert day_words(late, Site(time_zone="UTC")) == "2 Mar 2026"


@pytest.mark.parametrize(
    ("zone", "words"),
    [("Asia/Tokyo", "3 Mar 2026, 08:30 JST"), ("America/Sao_Paulo", "2 Mar 2026, 20:30 -03"),
     ("UTC", "2 Mar 2026, 23:30 UTC")],
)  # fmt: skip
def test_a_moment_is_by_the_clocks_of_the_site_with_their_zone(zone, words):
    assert moment_at(Site(time_zone=zone), datetime(2026, 3, 2, 23, 30, tzinfo=UTC)) == words
