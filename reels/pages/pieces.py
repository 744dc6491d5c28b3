"""Small pieces that a long list shows again and again, each rendered once."""

from collections.abc import Iterable
from datetime import date, datetime
from functools import lru_cache

from django import template
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from reels.domain.text import turns_what_is_beside_it
from reels.models import Site
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


@register.simple_tag(takes_context=True)
def moment_html(context: template.Context) -> SafeString:
    """`at` by the clocks of `clocks`, a site, or else of the page; pages show times by it (reels/time.html)."""
    if not context["at"]:
        return SafeString()
    at = timezone.localtime(context["at"], clocks.zone if (clocks := context.get("clocks")) else None)
    shown = (at.isoformat(), date_format(at, "j M Y, H:i"), date_format(at, "T"))
    return format_html('<time datetime="{}">{} <span class="zone">{}</span></time>', *shown)


@register.filter
def day(at: datetime, site: Site | None = None) -> SafeString:
    """The day of a moment by the clocks of a site, or of the page: what is shown of it without its time."""
    return day_html(timezone.localtime(at, site.zone if site else None).date())


@register.filter
def isolated(text: object) -> object:
    """A name or a text that somebody typed, within a sentence: what is read from the right turns nothing beside it."""
    return format_html("<bdi>{}</bdi>", text) if turns_what_is_beside_it(str(text)) else text
