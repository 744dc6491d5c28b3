import pytest

from inspections.domain.words import InspectionState, Point
from inspections.pages.words import LABELS, STATE, keyed_words


@pytest.mark.parametrize(
    ("point", "value", "words"),
    [
        (Point.SCALE_LEFT, 13, "13"),
        (Point.SCALE_RIGHT, None, "left out"),
        (Point.OPEN_SIDE, "none", "none: the top layer is flush"),
        (Point.OPEN_SIDE, "left", "left"),
        (Point.UNWIND, "right_to_left", "right to left"),
        (Point.HAND_COUNT, 12, "12"),
        (Point.GAUGE, {"face": "odd", "wraps": 17}, "17 on the odd face"),
        (Point.CROSSOVER, {"half": "first"}, "first half"),
        (Point.CROSSOVER, {"deg": "75.5"}, "75.5°"),
    ],
)
def test_what_was_keyed_is_said_as_a_person_would(point, value, words):
    assert keyed_words(point, value) == words


def test_every_point_and_every_state_has_its_words():
    assert set(LABELS) == set(Point)
    assert set(STATE) == set(InspectionState)
