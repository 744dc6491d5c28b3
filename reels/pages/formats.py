"""How figures and states are written on pages: ready, with their unit, and never by colour alone."""

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from reels.domain.words import Parity
from reels.models import Site

NOTHING = "—"


@dataclass(frozen=True, slots=True, kw_only=True)
class Badge:
    """A state: its word, its shape in reels/static/reels/icons.svg, its tone, and a sentence about it."""

    word: str
    icon: str
    tone: str
    means: str = ""


def metres(length_m: Decimal | None) -> str:
    """A length as people read it: 420 m, 12.5 m."""
    if length_m is None:
        return NOTHING
    return f"{length_m.normalize():f} m"


def counted(number: int, thing: str) -> str:
    """1 layer, 12 layers."""
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def count_words(layers: int | None, wraps: int | None) -> str:
    """A count in words, with the parity of its number of layers: 12 layers, 10 wraps, even."""
    if layers is None or wraps is None:
        return NOTHING
    return f"{counted(layers, 'layer')}, {counted(wraps, 'wrap')}, {Parity.of(layers)}"


def day_at(site: Site, at: datetime | None) -> date | None:
    """The day that it was at the site."""
    return at.astimezone(ZoneInfo(site.time_zone)).date() if at else None
