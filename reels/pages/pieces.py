"""Small pieces that a long list shows again and again, each rendered once."""

from collections.abc import Iterable
from datetime import date
from functools import lru_cache

from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from reels.pages.formats import Badge


@lru_cache(maxsize=200)
def badge_html(badge: Badge) -> SafeString:
    return render_to_string("reels/badge.html", {"badge": badge})


def badges_html(badges: Iterable[Badge]) -> SafeString:
    return format_html_join(" ", "{}", ((badge_html(badge),) for badge in badges))


@lru_cache(maxsize=5000)
def day_html(day: date) -> SafeString:
    return format_html('<time datetime="{}">{}</time>', day.isoformat(), date_format(day, "j M Y"))


@lru_cache(maxsize=20_000)
def address_of(page: str, key: str | int) -> str:
    return reverse(page, args=[key])
