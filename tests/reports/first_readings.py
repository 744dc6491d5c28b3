"""First readings to compare: a few through the services, many at once. Everything in them is invented."""

import random
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from types import MappingProxyType
from typing import Any

from inspections.domain.keying import roles_at
from inspections.domain.words import InspectionState, Point, Role
from inspections.models import Inspection, Keying, Participant, Reading
from inspections.queries.parameters import parameters_json
from inspections.services import counting
from reels.models import Reel
from reels.services.history import Actor
from tests.builders import NOW, Cast, administrator, open_count

BEGIN = datetime(2025, 3, 3, 9, tzinfo=UTC)
VALUES: dict[Point, dict[str, Any]] = {
    Point.SCALE_LEFT: {"scale_left": 13}, Point.SCALE_RIGHT: {"scale_right": 12},
    Point.OPEN_SIDE: {"open_side": "right"}, Point.UNWIND: {"unwind": "right_to_left"},
    Point.HAND_COUNT: {"hand_wraps": 12}, Point.GAUGE: {"gauge_face": "even", "gauge_wraps": 12},
    Point.CROSSOVER: {"crossover_half": "first"},
}  # fmt: skip

NOTHING: Mapping[Point, dict[str, Any]] = MappingProxyType({})


def key(cast: Cast, inspection: Inspection, point: Point, role: Role, at=NOW, **given: Any) -> Inspection:
    person = cast.technician if role is Role.TECHNICIAN else cast.verifier
    return counting.key(
        inspection_id=inspection.pk, point=point, role=role, fields=given or seen_at(inspection, point),
        actor=Actor(person), at=at,
    )  # fmt: skip


def seen_at(inspection: Inspection, point: Point) -> dict[str, Any]:
    """What is there to be read at a point of this reel."""
    return {"serial": inspection.reel.serial} if point is Point.SERIAL else VALUES[point]


def keyed_count(
    cast: Cast, serial: str = "LW-0001", at=NOW, differs: Mapping[Point, dict[str, Any]] = NOTHING, **changes
):
    """A count keyed point by point, each under their own login; where the verifier sees something else, once more.

    differs: what the verifier keys first at a point. changes: the technician's values at a point, by its name.
    """
    inspection = open_count(cast, serial, at)
    for point in Point:
        keyed = changes.get(point.value, seen_at(inspection, point))
        inspection = key(cast, inspection, point, Role.TECHNICIAN, at, **keyed)
        if Role.VERIFIER not in roles_at(point):
            continue
        if point in differs:
            key(cast, inspection, point, Role.VERIFIER, at, **differs[point])
            key(cast, inspection, point, Role.TECHNICIAN, at, **VALUES[point])
        inspection = key(cast, inspection, point, Role.VERIFIER, at)
    return inspection


def bring_in_many(cast: Cast, n: int, seed: int = 7) -> None:
    """As many counts of existing reels, straight into the tables: half a month apart, four gauges, the last reads high.

    One person in eight pairs is a wrap off, and one gauge two in five.
    """
    rng = random.Random(seed)  # noqa: S311  # which invented counts differ
    reels = list(Reel.objects.order_by("serial")[:8])
    rows = [_inspection(reels[i % len(reels)], i, n) for i in range(n)]
    for inspection in Inspection.objects.bulk_create(rows):
        at = inspection.done_at
        reading = Reading.objects.create(inspection=inspection, number=1, outcome="accepted", ended_at=at)
        people = {
            role: Participant.objects.create(inspection=inspection, person=person, role=role, joined_at=BEGIN)
            for role, person in ((Role.TECHNICIAN, cast.technician), (Role.VERIFIER, cast.verifier))
        }
        wraps, half = rng.randint(3, 24), rng.choice(["first", "second"])
        Keying.objects.bulk_create(
            Keying(
                reading=reading, participant=people[role], point=point, role=role, attempt=1, value=value, salt="s",
                commitment="c", keyed_at=at, keyed_by=people[role].person,
            )
            for role in Role
            for point, value in _seen(rng, inspection.wrap_gauge, wraps, half).items()
        )  # fmt: skip


def _inspection(reel: Reel, i: int, n: int) -> Inspection:
    at = BEGIN + timedelta(days=360 * i / n)
    return Inspection(
        reel=reel, state=InspectionState.SIGNED, parameters=parameters_json(reel.type),
        opened_by=administrator(), recorded_at=at, done_at=at, work_order="WO", publication="LWS 12-3",
        publication_revision="C", wrap_gauge=f"WG-{1 + i % 4:02}",
        layers=12, wraps=10, parity="even", ended_at=at,
    )  # fmt: skip


def _seen(rng: random.Random, gauge: str, wraps: int, half: str) -> dict[Point, object]:
    hand = wraps + rng.choice([0] * 7 + [rng.choice([-1, 1])])
    on_gauge = wraps + (rng.choice([0, 0, 0, 1, 1]) if gauge == "WG-04" else rng.choice([0] * 11 + [-1]))
    return {
        Point.SCALE_LEFT: 13, Point.SCALE_RIGHT: 12, Point.HAND_COUNT: hand,
        Point.GAUGE: {"face": rng.choice(["even"] * 9 + ["odd"]), "wraps": on_gauge},
        Point.CROSSOVER: {"half": rng.choice([half] * 9 + ["first"])},
    }  # fmt: skip
