"""Practice: a reel drawn from a seed, its steps entered one after the other, and marked at the end.

No count, authorisation or reel refers to it. That an exercise ended, and the digest of how, a chain of its own tells.
"""

import secrets
from collections.abc import Collection, Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from inspections import access
from inspections.domain import keying
from inspections.domain.findings import ReelPart
from inspections.domain.practice import Difficulty, practice_reel, result_of
from inspections.domain.words import Point
from inspections.errors import PracticeStepPassed, PracticeStillOpen
from inspections.models import Exercise, ExerciseResult
from inspections.queries import practice as exercises
from inspections.queries.parameters import parameters_json, parameters_of_type
from reels.access import lock_or_begin
from reels.errors import ValueNotTaken
from reels.models import Person, ReelType
from reels.services.history import Actor, record_act

PRACTICE = "practice"  # the chain
DRAWN_SEEDS = 1_000_000  # short enough to be typed from paper
STAND_STEP = 1  # what is there before a reading
RESULT_STEP = STAND_STEP + len(keying.READING_STEPS) + 1  # what the trainee makes of the reading


@transaction.atomic
def begin_exercise(*, reel_type: ReelType, difficulty: Difficulty, seed: int | None, actor: Actor,
                   at: datetime) -> Exercise:  # fmt: skip
    """Draw a practice reel for the actor.

    seed: a chosen one, to repeat a reel, which then does not count towards readiness; None: a new one, which does.
    Raises PracticeStillOpen, or ValueNotTaken for a seed out of range.
    """
    Person.objects.select_for_update(no_key=True).get(pk=actor.person.pk)  # two begun at once come one after the other
    if under_way := exercises.open_exercise(actor.person):
        raise PracticeStillOpen(reel_type=under_way.reel_type.code, exercise=under_way.pk)
    drawn = secrets.randbelow(DRAWN_SEEDS) if seed is None else seed
    practice_reel(parameters_of_type(reel_type), difficulty, drawn)
    return Exercise.objects.create(
        person=actor.person, reel_type=reel_type, parameters=parameters_json(reel_type),
        reference_side=reel_type.reference_side, difficulty=difficulty, seed=drawn, counts=seed is None, begun_at=at,
    )  # fmt: skip


def points_at(step: int) -> tuple[Point, ...]:
    """The points of the reading that are entered at a step, in their order; none at the first and the last."""
    if not STAND_STEP < step < RESULT_STEP:
        return ()
    return tuple(point for point in Point if point in keying.READING_STEPS[step - STAND_STEP - 1])


@transaction.atomic
def enter_stand(*, exercise_id: int, serial: str, gauge_serial: str, unsound: Collection[ReelPart], actor: Actor,
                at: datetime) -> Exercise:  # fmt: skip
    """Enter what is on the stand, the first step: both serials as read off, and the parts found not sound.

    Raises as `enter_step`.
    """
    exercise = _at_step(exercise_id, STAND_STEP, actor)
    serials = {
        name: keying.value_at(Point.SERIAL, {"serial": value})
        for name, value in (("serial", serial), ("gauge_serial", gauge_serial))
    }
    return _entered(exercise, {**serials, "unsound": sorted(unsound)})


@transaction.atomic
def enter_step(*, exercise_id: int, step: int, by_point: Mapping[Point, Mapping[str, Any]], actor: Actor,
               at: datetime) -> Exercise:  # fmt: skip
    """Enter the points of a step of the reading. by_point: the fields of each, as keying takes them.

    Raises NotFound for another person's exercise, PracticeStepPassed or ImpossibleReading.
    """
    exercise = _at_step(exercise_id, step, actor)
    if not by_point or set(by_point) != set(points_at(step)):
        raise ValueNotTaken(field="step", seen=", ".join(by_point), allowed=", ".join(points_at(step)))
    entered: dict[str, Any] = {}
    for point, values in by_point.items():
        entered |= keying.fields_at(point, keying.value_at(point, values))
    return _entered(exercise, entered)


@transaction.atomic
def enter_result(*, exercise_id: int, refers: bool, layers: int | None, wraps: int | None, actor: Actor,
                 at: datetime) -> Exercise:  # fmt: skip
    """Enter what the trainee makes of the reading, the last step; it is marked then. Raises as `enter_step`."""
    exercise = _at_step(exercise_id, RESULT_STEP, actor)
    return _ended(exercise, {"refers": refers, "layers": layers, "wraps": wraps}, actor, at)


@transaction.atomic
def stop_exercise(*, exercise_id: int, step: int, actor: Actor, at: datetime) -> Exercise:
    """Ask for help at a step, as at the bench: put it before an authorised person. It ends, and is marked so."""
    return _ended(_at_step(exercise_id, step, actor), {"refers": True}, actor, at)


def _at_step(exercise_id: int, step: int, actor: Actor) -> Exercise:
    exercise = access.exercise_for_update(exercise_id, actor.person)
    if exercise.ended_at or exercise.step != step:
        raise PracticeStepPassed(seen=step, next="the answers" if exercise.ended_at else f"step {exercise.step}")
    return exercise


def _entered(exercise: Exercise, entered: Mapping[str, Any]) -> Exercise:
    exercise.entered, exercise.step = {**exercise.entered, **entered}, exercise.step + 1
    exercise.save(update_fields=["entered", "step"])
    return exercise


def _ended(exercise: Exercise, last: Mapping[str, Any], actor: Actor, at: datetime) -> Exercise:
    exercise.entered = {**exercise.entered, **last}
    result = result_of(exercises.marking_of(exercise), difficulty=Difficulty(exercise.difficulty), at=at)
    exercise.ended_at = at
    exercise.tried = sorted(result.tried)
    exercise.misses = [list(miss) for miss in result.misses]
    exercise.save(update_fields=["entered", "ended_at", "tried", "misses"])
    with record_act(lock_or_begin(PRACTICE), "practice_ended", actor, at, exercise=exercise.pk) as act:
        act.add(ExerciseResult(exercise=exercise, digest=exercises.digest_of(exercise)))
    return exercise
