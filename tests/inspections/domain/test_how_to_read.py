"""The pictures of an example, read off again: each shows how its point is read, on the type's own drum."""

import math
from dataclasses import replace

from hypothesis import given

from inspections.domain.how_to_read import how_to_read
from inspections.domain.words import Point
from reels.domain.drawing import Bar, Look, Trace, Words
from reels.domain.words import Graduation, Parity
from tests.inspections.domain.counted_reels import TYPE
from tests.inspections.domain.practice.test_figures import TYPES, at_left, discs, drum, numbers
from tests.reels.domain.test_reel_figures import assert_readable

SCALES = (Point.SCALE_LEFT, Point.SCALE_RIGHT)


def pictures(installed, *points):
    return how_to_read(points, installed[0], drum(*installed))


def circled(picture):
    """The numbers that have a ring around them."""
    rings = discs(picture, Look.OUTLINE)
    return [n for n, x, y in numbers(picture) if any(abs(x - ring.x) < 9 and abs(y + 3 - ring.y) < 2 for ring in rings)]


def said(picture):
    return " ".join(each.text for each in picture.shapes if isinstance(each, Words))


def test_a_step_shows_the_pictures_of_its_own_points():
    drawn = {point: [each.title for each in pictures((TYPE,), point)] for point in Point}
    assert [len(drawn[point]) for point in (*SCALES, Point.HAND_COUNT, Point.GAUGE, Point.CROSSOVER)] == [1, 1, 1, 2, 1]
    assert [len(drawn[point]) for point in (Point.OPEN_SIDE, Point.UNWIND)] == [1, 1]


def pointed(picture):
    """Where the one arrow begins and where its tip is."""
    [line] = [each for each in picture.shapes if isinstance(each, Trace) and each.look is Look.OUTLINE]
    [head] = [each for each in picture.shapes if isinstance(each, Trace) and each.closed]
    return line.points[0][0], head.points[0][0]


@given(TYPES)
def test_the_open_side_is_pointed_at_from_the_last_wrap(installed):
    [picture] = pictures(installed, Point.OPEN_SIDE)
    start, tip = pointed(picture)
    wraps = [disc.x for disc in discs(picture, Look.PART_WRAP)]  # from where the layer began
    assert start == wraps[-1]
    assert abs(tip - wraps[0]) > abs(wraps[-1] - wraps[0])
    side = at_left(picture) if tip < picture.width / 2 else at_left(picture).other
    assert f"has not reached the {side} flange" in said(picture)


@given(TYPES)
def test_unwinding_goes_from_the_last_wrap_to_the_first(installed):
    [picture] = pictures(installed, Point.UNWIND)
    wraps = [disc.x for disc in discs(picture, Look.PART_WRAP)]
    assert pointed(picture) == (wraps[-1], wraps[0])
    side = at_left(picture)
    ways = {True: (side, side.other), False: (side.other, side)}
    start, end = ways[wraps[-1] < wraps[0]] if len(wraps) > 1 else ("", "")
    assert f"from the {start} to the {end}" in said(picture) or len(wraps) == 1


def test_a_face_of_the_gauge_has_the_mark_of_its_type_beside_its_word():
    marked = replace(drum(), face_marks=("one notch", ""))
    shown = [said(each) for each in how_to_read([Point.GAUGE], TYPE, marked)]
    assert ["odd face: one notch" in each for each in shown] == [False, True]
    assert "even face:" not in " ".join(shown)


@given(TYPES)
def test_the_scales_are_read_at_the_top_of_the_cable(installed):
    [picture] = pictures(installed, *SCALES)
    middle = picture.width / 2
    levels = []
    for is_left in (True, False):
        beside = [(n, y) for n, x, y in numbers(picture) if (x < middle) is is_left]
        tops = [disc.y + disc.radius for disc in discs(picture, Look.WRAP) if (disc.x < middle) is is_left]
        levels.append(next((n for n, y in beside if abs(y + 3 - max(tops, default=0)) < 2), 0))
    assert sorted(circled(picture)) == sorted(levels)
    full = min(levels)
    assert f"{full} full layer" in said(picture)
    assert "lower reading counts" in said(picture)


@given(TYPES)
def test_the_wraps_are_numbered_from_where_the_part_layer_began(installed):
    [picture] = pictures(installed, Point.HAND_COUNT)
    counted = sorted((n, x) for n, x, _ in numbers(picture))
    wraps = [disc.x for disc in discs(picture, Look.PART_WRAP)]  # from where the layer began
    xs = [x for _, x in counted]
    assert counted[0] == (1, wraps[0])
    assert all(wraps[n - 1] == x for n, x in counted)
    [word] = [each for each in ("left", "right") if f"counted from the {each}" in said(picture)]
    assert xs == sorted(xs, reverse=at_left(picture) != word)


@given(TYPES)
def test_the_gauge_is_read_over_the_outermost_wrap_on_the_face_of_the_full_layers(installed):
    for picture in pictures(installed, Point.GAUGE):
        [face] = [each for each in Parity if f": the {each} face" in said(picture)]
        full = next(int(word) for word in said(picture).split("Example: ")[1].split() if word.isdecimal())
        assert Parity.of(full) is face
        assert f"{face} face" in {each.text for each in picture.shapes if isinstance(each, Words)}
        wraps = discs(picture, Look.PART_WRAP)
        [ring] = discs(picture, Look.OUTLINE)
        assert math.isclose(ring.x, wraps[-1].x)
        assert f"Read at the outermost wrap: {len(wraps)}." in said(picture)


@given(TYPES)
def test_the_turns_step_across_as_the_cable_of_the_type_runs(installed):
    """Where the layer began the first wrap lies at its flange; along the cable every crossover leads away from it."""
    [picture] = pictures(installed, Point.CROSSOVER)
    [flange] = [each for each in picture.shapes if isinstance(each, Bar)]
    turns = [each for each in picture.shapes if isinstance(each, Trace) and each.look is Look.WRAP]
    [arrow] = [each for each in picture.shapes if isinstance(each, Trace) and each.look is Look.OUTLINE]
    (_, line), (_, crossing) = arrow.points
    assert (crossing > line) is drum(*installed).counter_clockwise_is_up
    for turn in turns[1:]:
        ends = sorted(turn.points, key=lambda point: abs(point[1] - line))
        at_line, beyond = (sum(x for x, _ in some) for some in (ends[:2], ends[-2:]))
        steps_away = abs(beyond / 2 - flange.x) > abs(at_line / 2 - flange.x)
        assert steps_away is (installed[3] == "counter_clockwise")


@given(TYPES)
def test_every_picture_says_that_it_is_an_example_and_can_be_read(installed):
    for picture in pictures(installed, *Point):
        assert picture.description.startswith("An example, not this reel. ")
        assert_readable(picture)


def test_a_scale_graduated_by_side_has_numbers_of_one_parity():
    [picture] = pictures((replace(TYPE, graduation=Graduation.BY_SIDE),), *SCALES)
    middle = picture.width / 2
    assert [{n % 2 for n, x, _ in numbers(picture) if (x < middle) is left} for left in (True, False)] == [{1}, {0}]
