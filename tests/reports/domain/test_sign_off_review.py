from datetime import timedelta

import pytest

from reports.domain.sign_off_review import REVIEW_REASONS, ReviewReason, is_fast, is_near_end, usual_pairs
from tests.builders import NOW


def test_every_look_has_words():
    assert set(REVIEW_REASONS) == set(ReviewReason)


@pytest.mark.parametrize(
    ("together", "usual"),
    [
        ({}, []),
        ({(1, 2): 4}, []),
        ({(1, 2): 5}, [(1, 2)]),
        ({(1, 2): 8, (1, 3): 2}, [(1, 2)]),
        ({(1, 2): 8, (1, 3): 3}, []),
        ({(1, 2): 8, (4, 2): 3}, []),
        ({(1, 2): 5, (2, 1): 5}, [(1, 2), (2, 1)]),
    ],
)
def test_a_pair_is_usual_from_five_counts_on_that_are_four_fifths_of_either_ones(together, usual):
    assert sorted(usual_pairs(together)) == usual


def test_two_signatures_are_fast_up_to_half_a_minute_apart_whichever_came_first():
    for seconds, fast in ((30, True), (-30, True), (31, False)):
        assert is_fast(NOW, NOW + timedelta(seconds=seconds)) is fast
    assert not is_fast(NOW, None)


def test_a_signature_is_near_an_end_up_to_a_fortnight_before_it():
    assert is_near_end(NOW, NOW + timedelta(days=14))
    assert not is_near_end(NOW, NOW + timedelta(days=15))
    assert not is_near_end(NOW, None)
