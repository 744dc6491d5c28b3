"""How figures and states are written on pages: ready, with their unit, and never by colour alone."""

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.utils import timezone
from django.utils.formats import date_format

from reels.domain.winding import UncertainLength
from reels.domain.words import LengthUnit, Parity, counted
from reels.models import Site

NOTHING = "—"
MILLIMETRE_M = Decimal("0.001")


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


def length(length_m: Decimal | float | None, unit: str = LengthUnit.METRES, places: int = 2) -> str:
    """A length in the unit that somebody prefers: 420 m; 1377.95 ft. places: of its decimals, where it is worked out.

    A length that was typed in metres is shown as it was typed.
    """
    if length_m is None or (unit == LengthUnit.METRES and isinstance(length_m, Decimal)):
        return metres(length_m)
    worked_out = (Decimal(length_m) / LengthUnit(unit).metres).quantize(Decimal(1).scaleb(-places))
    return f"{worked_out.normalize():f} {unit}"


def uncertain_length(length: UncertainLength | None, unit: str = LengthUnit.METRES) -> str:
    """A length that a count stands for, plus or minus its standard uncertainty: 412.3 m ± 0.6 m."""
    if length is None:
        return NOTHING
    metres = float(LengthUnit(unit).metres)
    value, u = float(length.value_m) / metres, float(length.combined_u_m) / metres
    return f"{value:.1f} {unit} ± {max(u, 0.1):.1f} {unit}"


def metres_of(typed: Decimal, unit: str) -> Decimal:
    """Metres, to the millimetre that is kept, of a length typed in a unit."""
    return (typed * LengthUnit(unit).metres).quantize(MILLIMETRE_M)


def count_words(layers: int | None, wraps: int | None) -> str:
    """A count in words, with the parity of its number of layers: 12 layers, 10 wraps, even."""
    if layers is None or wraps is None:
        return NOTHING
    return f"{counted(layers, 'layer')}, {counted(wraps, 'wrap')}, {Parity.of(layers)}"


def moment_at(site: Site | None, at: datetime) -> str:
    """A moment by the clocks of the site, or, without one, of the page, with their zone: 2 Mar 2026, 09:30 CET."""
    return date_format(timezone.localtime(at, site.zone if site else None), "j M Y, H:i T")


def day_words(at: datetime, site: Site | None = None) -> str:
    """The day of a moment, by the same clocks: 2 Mar 2026."""
    return date_format(timezone.localtime(at, site.zone if site else None), "j M Y")


def day_at(site: Site, at: datetime | None) -> date | None:
    """The day that it was at the site."""
    return site.day_of(at) if at else None
