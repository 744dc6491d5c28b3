"""How values of a record are said on paper."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, datetime, tzinfo
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from inspections.domain.keying import half_of
from inspections.domain.type_words import face_in_words, half_in_words
from inspections.domain.words import Point
from reels.domain.reel_figures import DrumSection
from reels.domain.words import Parity, counted

POINTS = {
    Point.SERIAL: "Serial",
    Point.OPEN_SIDE: "Open side",
    Point.SCALE_LEFT: "Flange scale, left",
    Point.SCALE_RIGHT: "Flange scale, right",
    Point.UNWIND: "Unwind direction",
    Point.HAND_COUNT: "Hand count",
    Point.GAUGE: "Wrap gauge",
    Point.CROSSOVER: "Crossover",
}


def length(value: Mapping[str, str] | None) -> str:
    """The cable that a count stands for with its standard uncertainty, as in a situation."""
    return f"{value['value_m']} m ± {value['standard_u_m']} m" if value else "not known"


def metres(value: str | None) -> str:
    """A length as records keep it; nothing where none was given."""
    return f"{Decimal(value).normalize():f} m" if value else ""


_CLOCKS: ContextVar[tzinfo] = ContextVar("clocks", default=UTC)


@contextmanager
def by_clocks(zone: str) -> Iterator[None]:
    """While a document is drawn up: its times by the clocks of this zone, an IANA name, with UTC beside them."""
    before = _CLOCKS.set(ZoneInfo(zone))
    try:
        yield
    finally:
        _CLOCKS.reset(before)


def time(text: str | None) -> str:
    """A record's time, to the second: 2026-03-02 10:00:00 CET (09:00:00 UTC)."""
    if not text:
        return "—"
    in_utc = datetime.fromisoformat(text).astimezone(UTC)
    here = in_utc.astimezone(_CLOCKS.get())
    if here.tzname() == "UTC":
        return f"{in_utc:%Y-%m-%d %H:%M:%S} UTC"
    beside = f"{in_utc:%H:%M:%S}" if here.date() == in_utc.date() else f"{in_utc:%Y-%m-%d %H:%M:%S}"
    return f"{here:%Y-%m-%d %H:%M:%S %Z} ({beside} UTC)"


def day(text: str) -> str:
    """The day of a record's time."""
    return f"{datetime.fromisoformat(text).astimezone(_CLOCKS.get()):%Y-%m-%d}"


def minute(text: str) -> str:
    """A record's time where there is little room: 2026-03-02 10:00 CET."""
    return f"{datetime.fromisoformat(text).astimezone(_CLOCKS.get()):%Y-%m-%d %H:%M %Z}"


def one_day(texts: Sequence[str]) -> str:
    """The one day and zone of several times, such as "2026-03-02, CET (UTC+01:00)"; "" where there are more."""
    moments = [datetime.fromisoformat(each).astimezone(_CLOCKS.get()) for each in texts]
    days = {f"{each:%Y-%m-%d}, {each.tzname()}" + _from_utc(each) for each in moments}
    return days.pop() if len(days) == 1 else ""


def _from_utc(moment: datetime) -> str:
    return "" if moment.tzname() == "UTC" else f" ({moment.isoformat()[-6:]} from UTC)"


def clock(text: str) -> str:
    """The time of day of a record's time, where the day and the zone are said once for many."""
    return f"{datetime.fromisoformat(text).astimezone(_CLOCKS.get()):%H:%M:%S}"


def done(at: str | None, by: Mapping[str, Any] | None) -> str:
    """When something was done and by whom, as far as it was."""
    return f"{time(at)}, {person(by)}" if at else "—"


def spaced(word: str | None) -> str:
    """A word of a closed list, such as `accept_proposed`."""
    return (word or "—").replace("_", " ")


def count_words(layers: int | None, wraps: int | None, parity: str | None = None) -> str:
    if layers is None or wraps is None:
        return "—"
    return f"{counted(layers, 'layer')}, {counted(wraps, 'wrap')}" + (f" ({parity})" if parity else "")


def signed(change: int) -> str:
    return f"{change:+d}".replace("-", "−") if change else "0"


def at_point(point: str, value: Any, drum: DrumSection) -> str:
    """What was keyed at a point. drum: of the reel's type, for what is said beside halves and faces."""
    if value is None:
        return "left out"
    if point == Point.SERIAL:
        return str(value)
    if point == Point.GAUGE:
        return f"{face_in_words(Parity(value['face']), drum)} face, {counted(value['wraps'], 'wrap')}"
    if point == Point.CROSSOVER:
        return half_in_words(half_of(value), drum) if "half" in value else f"{value['deg']}°"
    if point == Point.HAND_COUNT:
        return counted(value, "wrap")
    return spaced(str(value))


def person(who: Mapping[str, Any] | None) -> str:
    return f"{who['name']} ({who['staff_number']})" if who else "—"
