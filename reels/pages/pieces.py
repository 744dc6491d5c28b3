"""Small pieces that a long list shows again and again, each rendered once."""

from collections.abc import Iterable
from datetime import date
from functools import lru_cache

from django import template
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from reels.domain.text import turns_what_is_beside_it
from reels.pages.formats import Badge

register = template.Library()  # its filters are in every template, as settings say


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


@register.filter
def isolated(text: object) -> object:
    """A name or a text that somebody typed, within a sentence: what is read from the right turns nothing beside it."""
    return format_html("<bdi>{}</bdi>", text) if turns_what_is_beside_it(str(text)) else text
