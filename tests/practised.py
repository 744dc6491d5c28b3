"""Practice reels that somebody has entered, through the services, right or with slips."""

from datetime import datetime
from typing import Any

from inspections.domain.practice import Difficulty
from inspections.domain.words import Point
from inspections.models import Exercise
from inspections.queries.practice import reel_of
from inspections.services import practice
from reels.models import Person
from reels.services.history import Actor
from reports.management.commands.load_demo import careful
from tests.builders import NOW, make_type


def drawn(person: Person, *, difficulty: Difficulty = Difficulty.USUAL, seed: int | None = None, at: datetime = NOW,
          **changes: Any) -> Exercise:  # fmt: skip
    """A reel that is under way."""
    kind = changes.pop("reel_type", None) or make_type()
    return practice.begin_exercise(reel_type=kind, difficulty=difficulty, seed=seed, actor=Actor(person), at=at)


def right_at(exercise: Exercise, step: int) -> dict[Point, dict[str, Any]]:
    """What a careful person enters at a step of the reading."""
    values = careful(exercise)
    return {point: values[point] for point in practice.points_at(step)}


def stand_of(exercise: Exercise) -> dict[str, Any]:
    """What a careful person enters of the stand."""
    stand = reel_of(exercise).stand
    return {"serial": stand.plate, "gauge_serial": stand.gauge, "unsound": stand.unsound}


def enter_right(exercise: Exercise, step: int) -> Exercise:
    """A step as a careful person enters it."""
    if step == practice.STAND_STEP:
        return practice.enter_stand(exercise_id=exercise.pk, **stand_of(exercise), actor=Actor(exercise.person), at=NOW)
    return practice.enter_step(
        exercise_id=exercise.pk, step=step, by_point=right_at(exercise, step), actor=Actor(exercise.person), at=NOW
    )


def entered(exercise: Exercise, *, at: datetime = NOW, off: int = 0) -> Exercise:
    """All of it entered, right but for a hand count that is `off` by so many wraps; and ended."""
    by: dict[str, Any] = {"exercise_id": exercise.pk, "actor": Actor(exercise.person), "at": at}
    practice.enter_stand(**stand_of(exercise), **by)
    for step in range(practice.STAND_STEP + 1, practice.RESULT_STEP):
        given = right_at(exercise, step)
        if Point.HAND_COUNT in given:
            given[Point.HAND_COUNT]["hand_wraps"] += off
        practice.enter_step(step=step, by_point=given, **by)
    reel = reel_of(exercise)
    return practice.enter_result(refers=reel.has_to_refer, layers=reel.answer.layers, wraps=reel.answer.wraps, **by)


def practised(person: Person, *, at: datetime = NOW, off: int = 0, counts: bool = True, **options: Any) -> Exercise:
    """One reel from beginning to end. counts: whether the service chose the seed."""
    exercise = drawn(person, at=at, seed=None if counts else 7, **options)
    return entered(exercise, at=at, off=off)
