"""Practice in the demo: a trainee on the way, and a site that asks for it. The reels are drawn anew each time."""

from datetime import datetime, timedelta
from typing import Any

from inspections.domain.practice import Difficulty, ReadinessRule
from inspections.domain.reading import KeyedReading, Outcome
from inspections.domain.words import Act, Point
from inspections.models import Exercise
from inspections.queries.practice import reel_of
from inspections.services import authorisations, practice
from reels import access
from reels.services.history import Actor


def add_practice(organisation: dict[str, Any], actor: Actor, at: datetime) -> None:
    """The readiness rule, and each reel that somebody has practised on, so many days before `at`."""
    asked = organisation["readiness"]
    rule = ReadinessRule(
        in_a_row=asked["in_a_row"], within_days=asked["within_days"], least=Difficulty(asked["least"])
    )  # fmt: skip
    authorisations.ask_readiness(
        site=access.site(asked["site"]), act=Act(asked["act"]), rule=rule, actor=actor, at=at
    )  # fmt: skip
    for row in organisation["practice"]:
        _practised(row, at - timedelta(days=row["days_ago"]))


def _practised(row: dict[str, Any], at: datetime) -> None:
    """All of a reel entered as a careful person does, but for a hand count that is off by so many wraps."""
    actor = Actor(access.person_named(row["person"]))
    exercise = practice.begin_exercise(
        reel_type=access.reel_type(row["reel_type"]), difficulty=Difficulty(row["difficulty"]), seed=None,
        actor=actor, at=at,
    )  # fmt: skip
    by: dict[str, Any] = {"exercise_id": exercise.pk, "actor": actor, "at": at}
    values = careful(exercise)
    values[Point.HAND_COUNT]["hand_wraps"] = max(0, values[Point.HAND_COUNT]["hand_wraps"] + row["off"])
    for step in range(1, practice.RESULT_STEP):
        practice.enter_step(step=step, given={point: values[point] for point in practice.points_at(step)}, **by)
    answer = reel_of(exercise).answer
    practice.enter_result(
        refers=answer.outcome is Outcome.REFERRED, layers=answer.layers, wraps=answer.wraps, **by
    )  # fmt: skip


def careful(exercise: Exercise) -> dict[Point, dict[str, Any]]:
    """What a careful person enters at each point, where the half of a crossover decides."""
    reading: KeyedReading = reel_of(exercise).reading
    half = reading.crossover_half
    return {
        Point.SCALE_LEFT: {"scale_left": reading.scale_left},
        Point.SCALE_RIGHT: {"scale_right": reading.scale_right},
        Point.OPEN_SIDE: {"open_side": reading.open_side},
        Point.UNWIND: {"unwind": reading.unwind},
        Point.HAND_COUNT: {"hand_wraps": reading.hand_wraps},
        Point.GAUGE: {"gauge_face": reading.gauge_face, "gauge_wraps": reading.gauge_wraps},
        Point.CROSSOVER: {"crossover_half": half} if half else {"crossover_deg": 0},
    }
