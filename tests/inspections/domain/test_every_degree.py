"""The counting rules against the second model of a drum (drum_model.py), at every whole degree, count and capacity."""

from fractions import Fraction
from itertools import product
from math import floor

import pytest

from inspections.domain.counting import work_out
from tests.inspections.domain.counted_reels import as_seen, parameters_of
from tests.inspections.domain.drum_model import CLOCKWISE, COUNTER_CLOCKWISE, ModelDrum

LAYER = 2
CAPACITIES = [*range(2, 5), *(pytest.param(wraps, marks=pytest.mark.long) for wraps in range(5, 31))]


def turns_by_hand(sense: str, wraps: int, deg: int) -> Fraction:
    return wraps - 1 + Fraction(deg, 360) if sense == CLOCKWISE else wraps - Fraction(deg, 360)


@pytest.mark.parametrize("sense", [CLOCKWISE, COUNTER_CLOCKWISE])
@pytest.mark.parametrize("capacity", CAPACITIES)
def test_the_rules_give_the_nearest_whole_turns_less_the_lead(capacity, sense):
    anchor = "left" if capacity % 2 else "right"
    for deg, wraps in product(range(1, 360), range(1, capacity + 1)):
        drum = ModelDrum(anchor, capacity + 1, capacity, deg, sense)
        laid = drum.wound_to_line(LAYER, wraps)
        reading = as_seen(drum, laid)
        turns = turns_by_hand(sense, wraps, deg)
        assert (reading.hand_wraps, drum.turns_on_top(laid)) == (wraps, turns)
        lead = 0 if wraps == capacity and deg % 2 else 1  # with 0 the flush layer is kept, with 1 the first steps down
        whole = floor(turns + Fraction(1, 2)) - lead
        expected = (0, capacity + 1 + whole) if whole < 0 else (2, 0) if whole == capacity else (1, whole)
        working = work_out(parameters_of(drum, lead_wraps=lead), reading)
        assert (working.layers, working.wraps) == drum.setup_values(laid, lead) == expected, (deg, wraps)
