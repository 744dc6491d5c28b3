from datetime import timedelta

import pytest

from reels.domain.drawing import Bar, Disc, Look, Trace, Words
from reports.domain.drift_figure import (
    HEIGHT,
    NARROW,
    SMALL_EDGE,
    SMALL_HEIGHT,
    SMALL_WIDTH,
    WIDTH,
    CountPoint,
    Course,
    course_figure,
    small_figure,
)
from reports.domain.drift_rows import DriftRow
from tests.builders import NOW

KEY_COUNTS = 2  # the two counts drawn to explain what they look like


def point(day, counted=400.0, p_slip=0.0):
    return CountPoint(at=NOW + timedelta(days=day), counted=counted, inferred=counted, p_slip=p_slip)


def drawn(*counts, **more):
    return course_figure(Course(unit="m", counts=counts, **more), "It fell.").shapes


def discs(shapes, look):
    return [each for each in shapes if isinstance(each, Disc) and each.look is look]


def test_every_count_is_drawn_and_probable_slips_are_hollow_and_crossed():
    shapes = drawn(point(0), point(10, 410.0, p_slip=0.5), point(20, 390.0))
    assert len(discs(shapes, Look.PART_WRAP)) + len(discs(shapes, Look.TAKEN_OFF)) == 3 + KEY_COUNTS
    assert len(discs(shapes, Look.TAKEN_OFF)) == 2


def test_more_cable_is_higher_and_later_is_further_right():
    first, second = discs(drawn(point(0, 400.0), point(10, 420.0)), Look.PART_WRAP)[:2]
    assert (second.y > first.y, second.x > first.x) == (True, True)


def test_the_inferred_course_breaks_where_the_cable_was_replaced():
    def lines(shapes):
        return [each for each in shapes if isinstance(each, Trace) and each.look is Look.PART_WRAP]

    counts = [point(day) for day in (0, 10, 20, 30)]
    assert len(lines(drawn(*counts))) == 1 + 1  # and one in the key
    assert len(lines(drawn(*counts, replaced=(NOW + timedelta(days=15),)))) == 2 + 1


def test_a_flag_is_a_bracket_with_words_and_everything_stays_on_the_paper():
    ends = (NOW + timedelta(days=0), NOW + timedelta(days=10))
    shapes = drawn(point(0), point(10, 380.0), flagged=(ends,), cuts=(NOW - timedelta(days=5),))
    assert sum(isinstance(each, Words) and each.text == "loss flagged" for each in shapes) == 2
    corners = [corner for each in shapes if isinstance(each, Trace) for corner in each.points]
    assert all(0 <= x <= WIDTH and 0 <= y <= HEIGHT for x, y in corners)


def test_counts_that_never_move_have_a_scale_all_the_same():
    marks = [each.text for each in drawn(point(0), point(10)) if isinstance(each, Words) and each.text.endswith(" m")]
    assert len(marks) >= 2


def test_a_misread_scale_stands_at_the_edge_with_its_value_and_stretches_nothing():
    def point_of(day, counted):
        return CountPoint(at=NOW + timedelta(days=day), counted=counted, inferred=400.0, p_slip=0.9, u=1.0,
                          address=f"#count-{day}", label="Count")  # fmt: skip

    steady = [point_of(day, 400.0 + day % 2) for day in range(9)]
    for width in (WIDTH, NARROW):
        for counted in (437.5, 362.5):
            figure = course_figure(Course(unit="m", counts=(*steady, point_of(9, counted))), "It fell.", width)
            marks = [each.text for each in figure.shapes if isinstance(each, Words) and each.text.endswith(" m")]
            assert f"{counted} m" in marks
            numbers = [float(each.removesuffix(" m")) for each in marks if each != f"{counted} m"]
            assert (min(numbers) >= 395.0, max(numbers) <= 405.0) == (True, True)
            circles = [each for each in figure.shapes if isinstance(each, Disc) and each.address]
            assert [each.address for each in circles] == [f"#count-{day}" for day in range(10)]
            assert all(0 < each.x < width and 0 < each.y < HEIGHT for each in circles)


def test_the_band_holds_one_standard_uncertainty_to_both_sides_of_the_course():
    counts = tuple(CountPoint(at=NOW + timedelta(days=day), counted=400.0, inferred=400.0, p_slip=0.0, u=1.0)
                   for day in (0, 10))  # fmt: skip
    shapes = drawn(*counts)
    band = next(each for each in shapes if isinstance(each, Trace) and each.look is Look.BAND)
    line = next(each for each in shapes if isinstance(each, Trace) and each.look is Look.PART_WRAP)
    above, below = band.points[:2], band.points[:1:-1]
    assert [(a[1] + b[1]) / 2 for a, b in zip(above, below, strict=True)] == pytest.approx([y for _, y in line.points])
    assert above[0][1] > line.points[0][1]


# The small figure of an interval ------------------------------------------------------------------------------------


def moved(day, change, to_day=None):
    """An interval of ten days."""
    begin, end = NOW + timedelta(days=day), NOW + timedelta(days=to_day or day + 10)
    return DriftRow(
        reel="LW-0001", from_at=begin, to_at=end, observed_change_m=change, logged_cut_m=1.0, p_unlogged_cut=0.9,
        p_when_counted=0.5, cut_m=5.0, cut_low_m=4.0, cut_high_m=6.0, explanation="", explanation_ft="",
    )  # fmt: skip


def small(rows, place, *, with_loss=True):
    return small_figure(rows, place, ("Title", "Words"), with_loss=with_loss).shapes


def course_of(shapes):
    [line] = [each for each in shapes if isinstance(each, Trace) and each.look is Look.PART_WRAP]
    return line.points


def test_a_small_figure_goes_through_every_count_and_shades_the_time_of_its_interval():
    shapes = small([moved(0, 0.0), moved(10, -6.0), moved(20, 1.0)], 1)
    points = course_of(shapes)
    assert len(points) == 4
    assert points[0][1] == points[1][1] > points[3][1] > points[2][1]
    [time] = [each for each in shapes if isinstance(each, Bar)]
    assert (time.x, time.x + time.width) == pytest.approx((points[1][0], points[2][0]))
    assert [(each.x, each.y) for each in discs(shapes, Look.PART_WRAP)] == [points[1], points[2]]


def test_the_loss_is_an_upright_line_over_what_was_left_and_none_where_it_says_nothing():
    rows = [moved(0, -6.0)]
    upright = [each.points for each in small(rows, 0) if isinstance(each, Trace) and each.look is Look.ARC][-1]
    unit = (course_of(small(rows, 0))[0][1] - course_of(small(rows, 0))[1][1]) / 6.0
    top = course_of(small(rows, 0))[0][1]
    assert [(top - y) / unit for _, y in upright] == pytest.approx([5.0, 7.0])  # a logged metre, and four or six more
    assert not [each for each in small(rows, 0, with_loss=False) if isinstance(each, Trace) and each.look is Look.ARC]


def test_another_cable_and_what_is_long_ago_are_left_out_and_a_misread_scale_stands_at_the_edge():
    rows = [moved(-500, 0.0, -250), moved(0, 0.0), moved(10, -6.0), moved(20, 300.0), moved(31, 0.0)]
    points = course_of(small(rows, 2))
    assert len(points) == 4
    assert max(y for _, y in points) == SMALL_HEIGHT - SMALL_EDGE
    assert all(SMALL_EDGE <= x <= SMALL_WIDTH - SMALL_EDGE for x, _ in points)
    assert points[1][1] - points[2][1] > (SMALL_HEIGHT - 2 * SMALL_EDGE) / 3  # what is meant is still seen
