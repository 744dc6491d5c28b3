"""The first keying of each person at each point of each count, for whoever asks how well two readings agree."""

from collections import defaultdict

from django.db.models import F, QuerySet

from inspections.domain.keying import HOLD_POINTS, FirstKeying, FirstReading
from inspections.domain.words import InspectionState, Point, Role
from inspections.models import Inspection, Keying


def first_readings(inspections: QuerySet[Inspection], most: int) -> list[FirstReading]:
    """The newest of these counts, so many at most, the newest first. Two queries.

    Left out, since the two readings may not have been independent: counts entered later from paper, and values that
    somebody else keyed for the person. Left out, too: counts that may still be read. Their values are blind as long as
    the two differ, so that only agreement would be seen.
    """
    shown = (
        inspections.filter(from_paper=False)
        .exclude(state__in=(InspectionState.OPEN, InspectionState.REFERRED))
        .order_by("-done_at", "-pk")[:most]
    )
    keyings = _first_keyings(shown)
    columns = ("pk", "done_at", "reel__serial", "reel__type__code", "reel__site__code", "wrap_gauge")
    names = ("inspection", "done_at", "reel", "reel_type", "site", "gauge")
    return [
        FirstReading(**dict(zip(names, row, strict=True)), keyings=keyings.get(row[0], {}))
        for row in shown.values_list(*columns)
    ]


def _first_keyings(shown: QuerySet[Inspection]) -> dict[int, dict[tuple[Point, Role], FirstKeying]]:
    """By inspection."""
    rows = Keying.objects.filter(
        reading__inspection__in=shown.values("pk"), reading__number=1, attempt=1, point__in=HOLD_POINTS,
        keyed_by=F("participant__person"),
    )  # fmt: skip
    keyings: dict[int, dict[tuple[Point, Role], FirstKeying]] = defaultdict(dict)
    columns = ("reading__inspection", "point", "role", "value", "keyed_by", "keyed_by__full_name")
    for inspection, point, role, value, person, name in rows.order_by("pk").values_list(*columns):
        keyings[inspection][Point(point), Role(role)] = FirstKeying(value=value, person=person, name=name)
    return keyings


def gauges(inspections: QuerySet[Inspection]) -> list[str]:
    """The wrap gauges that these counts name, in order. One query."""
    named = inspections.exclude(wrap_gauge="").order_by("wrap_gauge")
    return list(named.values_list("wrap_gauge", flat=True).distinct())
