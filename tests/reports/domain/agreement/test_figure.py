from itertools import pairwise

import pytest

from reels.domain.drawing import Bar, Disc, Look, Trace, Words
from reports.domain.agreement.estimates import differences
from reports.domain.agreement.figure import HEIGHT, WIDTH, difference_figure

PAIRS = [(12, 12)] * 8 + [(12, 11), (5, 6), (20, 19), (9, 9)]


def drawn(pairs=PAIRS):
    first, second = zip(*pairs, strict=True)
    return difference_figure(pairs, differences(first, second), "They differ.").shapes


def discs(shapes):
    return [each for each in shapes if isinstance(each, Disc) and each.y > 30]  # those of the key lie below


def labels(shapes):
    return [each for each in shapes if isinstance(each, Words) and each.text.startswith(("upper", "bias", "lower"))]


def test_there_is_a_disc_for_each_place_and_it_grows_with_its_pairs():
    result = discs(drawn())
    assert len(result) == 5
    assert max(result, key=lambda each: each.radius).radius > 2 * min(each.radius for each in result)


def test_a_higher_first_reading_lies_higher_and_more_wraps_further_right():
    low, high = discs(drawn([(5, 6), (20, 19)]))
    assert (low.x < high.x, low.y < high.y) == (True, True)


def test_bias_and_limits_are_lines_with_their_intervals_as_bands():
    shapes = drawn()
    bands = [each for each in shapes if isinstance(each, Bar) and each.width > 100]
    lines = [each.points[0][1] for each in shapes if isinstance(each, Trace) and each.look is Look.SCALE_LINE]
    assert len(bands) == len(lines) == 3
    assert all(band.y <= y <= band.y + band.height for band, y in zip(bands, lines, strict=True))


@pytest.mark.parametrize("pairs", [PAIRS, [(12, 12), (12, 12)], [(3, 27), (27, 3), (10, 10)], [(500, 0), (0, 499)]])
def test_all_stays_on_the_paper_and_no_label_lies_on_another(pairs):
    shapes = drawn(pairs)
    corners = [corner for each in shapes if isinstance(each, Trace) for corner in each.points]
    corners += [(each.x, each.y) for each in shapes if isinstance(each, Disc | Words)]
    assert all(0 <= x <= WIDTH and 0 <= y <= HEIGHT for x, y in corners)
    heights = [each.y for each in labels(shapes)]
    assert all(upper - lower >= 13 - 1e-9 for upper, lower in pairwise(heights))
