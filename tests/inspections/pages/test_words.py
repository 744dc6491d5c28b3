from dataclasses import replace

import pytest

from inspections.domain.words import InspectionState, Point
from inspections.pages.words import LABELS, STATE, keyed_words
from tests.reels.domain.test_reel_figures import DRUM


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
        (Point.CROSSOVER, {"half": "first"}, "first half: the forward side of the drum"),
        (Point.CROSSOVER, {"half": "unclear"}, "on the scale line, or can't be told"),
        (Point.CROSSOVER, {"deg": "75.5"}, "75.5°"),
    ],
)
def test_what_was_keyed_is_said_as_a_person_would(point, value, words):
    assert keyed_words(point, value, DRUM) == words


def test_a_face_is_said_with_the_mark_of_its_type():
    marked = replace(DRUM, face_marks=("one notch", ""))
    keyed = [keyed_words(Point.GAUGE, {"face": face, "wraps": 7}, marked) for face in ("odd", "even")]
    assert keyed == ["7 on the odd (one notch) face", "7 on the even face"]


def test_every_point_and_every_state_has_its_words():
    assert set(LABELS) == set(Point)
    assert set(STATE) == set(InspectionState)
