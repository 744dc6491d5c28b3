from datetime import timedelta

from reels.domain.drawing import Disc, Look, Trace, Words
from reports.domain.drift_figure import HEIGHT, WIDTH, CountPoint, Course, course_figure
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
