"""How much cable a reel holds, by log and last count, how near the least that is; and how much of its life is spent."""

from dataclasses import dataclass, replace
from datetime import datetime
from statistics import median
from typing import Any

import numpy as np

from inspections.queries.counts import newest_count
from reels.domain.life import LifeLimit, Spent, life_name
from reels.domain.winding import UncertainLength, cuts_left
from reels.domain.words import counted
from reels.models import CableEvent, Reel
from reels.pages.formats import Badge, length, uncertain_length
from reels.queries import cable_length_at, length_counted, standing_cable_events

NEAR = 3  # cuts left, or fewer
WORTH_SAYING = 20
BELOW = Badge(word="Below the least usable length", icon="crossed", tone="stop")
NEARLY = Badge(word="Near the least usable length", icon="referred", tone="doing")


LIMIT_REACHED = {
    LifeLimit.SOFT: Badge(word="Near the end of its life", icon="referred", tone="doing"),
    LifeLimit.HARD: Badge(word="At the end of its life", icon="crossed", tone="stop"),
}


def life_row(life: Spent, at: datetime) -> dict[str, Any]:
    """A limited life as the reel's page shows it."""
    reached = life.reached(at)
    return {
        "name": life_name(life.part, life.measure),
        "said": life.in_words,
        "badge": reached and LIMIT_REACHED[reached],
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class CableOnReel:
    """Lengths in words; by_count and left are empty where there is nothing to be said."""

    by_log: str
    by_count: str
    least: str
    left: str
    badge: Badge | None


def cable_on(reel: Reel, at: datetime, unit: str) -> CableOnReel:
    """The cable of a reel at a moment, lengths in a unit. Five queries."""
    events = list(standing_cable_events(reel).filter(happened_at__lte=at))
    by_log = cable_length_at(reel, at)
    by_count = _by_count(reel, events)
    known = float(by_count.value_m) if by_count else None if by_log is None else float(by_log)
    left, badge = _left(reel, known, [float(each.length_removed_m or 0) for each in events if _is_cut(each)])
    return CableOnReel(
        by_log=length(by_log, unit),
        by_count=uncertain_length(by_count, unit) if by_count else "",
        least=length(reel.type.least_length_m, unit),
        left=left,
        badge=badge,
    )


def _is_cut(event: CableEvent) -> bool:
    return event.kind == CableEvent.Kind.CUT


def _by_count(reel: Reel, events: list[CableEvent]) -> UncertainLength | None:
    """What the last count of this cable stands for, less what was cut since."""
    count = newest_count(reel)
    if count is None or any(not _is_cut(each) and each.happened_at >= count.at for each in events):
        return None
    by_count = length_counted(count.layers, count.wraps, reel.type)
    cut_since = sum(float(each.length_removed_m or 0) for each in events if each.happened_at >= count.at)
    return replace(by_count, value_m=np.maximum(by_count.value_m - cut_since, 0.0)) if by_count else None


def _left(reel: Reel, known: float | None, cuts: list[float]) -> tuple[str, Badge | None]:
    """About how many cuts like this reel's others are left, and whether that is few."""
    least = reel.type.least_length_m
    if least is None or known is None:
        return "", None
    if known < float(least):
        return "", BELOW
    if not cuts:
        return "", None
    number = cuts_left(known, float(least), median(cuts))
    if number > WORTH_SAYING:
        return "", None
    return f"about {counted(number, 'cut')} of the usual length", NEARLY if number <= NEAR else None
