"""What two people saw of a reel before anything was read again."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from inspections.domain.words import Point, Role


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What somebody keyed first at a point, in its stored form (see keying.value_at), and who."""

    value: Any
    person: int
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstReading:
    """The first keyings of a count's first reading. done_at: in UTC; site: where the reel is kept now."""

    inspection: int
    done_at: datetime
    reel: str
    reel_type: str
    site: str
    gauge: str
    seen: Mapping[tuple[Point, Role], Seen] = field(default_factory=dict)
