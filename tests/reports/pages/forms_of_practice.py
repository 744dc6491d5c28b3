"""The forms of practice, for test_every_act.py."""

from inspections.domain.practice import Difficulty
from inspections.services import practice
from tests import builders
from tests.builders import Cast
from tests.practised import drawn, enter_right, right_at
from tests.reports.pages.forms_of_acts import Opened, case
from tests.reports.pages.forms_of_findings import CASES

__all__ = ["CASES"]


@case("practice")
def _practice(cast: Cast) -> Opened:
    builders.make_type()
    typed = {"reel_type": "w28", "difficulty": "plain", "seed": "3"}
    return Opened(person=cast.colleague, address="/practice", typed=typed, altered={"seed": "4"})


@case("practice-reel")
def _practice_step(cast: Cast) -> Opened:
    exercise = enter_right(drawn(cast.colleague, difficulty=Difficulty.PLAIN), practice.STAND_STEP)
    typed = {name: str(value) for each in right_at(exercise, exercise.step).values() for name, value in each.items()}
    address = f"/practice/reels/{exercise.pk}"
    return Opened(person=cast.colleague, address=address, typed=typed, altered={"open_side": "none"})


@case("practice-reel:stand")
def _practice_stand(cast: Cast) -> Opened:
    typed = {"serial": "PR-0417", "gauge_serial": "PG-07", "all_sound": "on"}
    address = f"/practice/reels/{drawn(cast.colleague).pk}"
    return Opened(person=cast.colleague, address=address, typed=typed, altered={"serial": "PR-0418"})


@case("practice-reel:result")
def _practice_result(cast: Cast) -> Opened:
    exercise = drawn(cast.colleague, difficulty=Difficulty.PLAIN)
    for step in range(1, practice.RESULT_STEP):
        enter_right(exercise, step)
    typed = {"way": "set", "layers": "3", "wraps": "4"}
    address = f"/practice/reels/{exercise.pk}"
    return Opened(person=cast.colleague, address=address, typed=typed, altered={"wraps": "5"})


@case("practice-reel:stop")
def _practice_stop(cast: Cast) -> Opened:
    address = f"/practice/reels/{drawn(cast.colleague).pk}"
    return Opened(person=cast.colleague, address=address, marks={"stop": "yes"})
