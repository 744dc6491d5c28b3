"""The trade's small words: where the halves lie, and what follows from a winding sense."""

import pytest

from reels.domain.words import LinePlace, Side, WindingSense, where_halves_lie

# Counter-clockwise from the scale line, the first half turn: scale line, seen from the left, seen from the right.
# Common practice, no published source; tests/reels/domain/test_reel_figures.py finds the same by vectors.
FIRST_HALF = [
    ("top", "forward", "aft"),
    ("bottom", "aft", "forward"),
    ("forward", "below", "above"),
    ("aft", "above", "below"),
]


@pytest.mark.parametrize(("place", "from_left", "from_right"), FIRST_HALF)
def test_the_first_half_lies_as_the_table_says_and_the_second_across(place, from_left, from_right):
    assert where_halves_lie(LinePlace(place), Side.LEFT) == (from_left, from_right)
    assert where_halves_lie(LinePlace(place), Side.RIGHT) == (from_right, from_left)


@pytest.mark.parametrize(
    ("stated", "completed"),
    [
        ({"winding_sense": "clockwise"}, {"arc_from_deg": 0, "arc_to_deg": 180}),
        ({"winding_sense": "counter_clockwise"}, {"arc_from_deg": 180, "arc_to_deg": 360}),
        ({"arc_from_deg": 180, "arc_to_deg": 360}, {"winding_sense": WindingSense.COUNTER_CLOCKWISE}),
        ({"arc_from_deg": 0, "arc_to_deg": 180}, {"winding_sense": WindingSense.CLOCKWISE}),
        ({"arc_from_deg": 10, "arc_to_deg": 200}, {}),
        ({"winding_sense": "counter_clockwise", "arc_to_deg": 300}, {}),
        ({"winding_sense": "widdershins"}, {}),
        ({"winding_sense": None, "arc_from_deg": None}, {}),
        ({}, {}),
    ],
)
def test_winding_sense_and_arc_follow_from_each_other(stated, completed):
    assert WindingSense.completing(stated) == completed
