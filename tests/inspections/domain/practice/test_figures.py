"""The bench views, read off again shape by shape: they show what the reel is, and say none of it."""

import math
from dataclasses import asdict, replace

from hypothesis import given
from hypothesis import strategies as st

from inspections.domain.practice.draws import Difficulty
from inspections.domain.practice.figures import MARK, bench_figures, practice_mark
from inspections.domain.practice.reels import Trap, practice_reel
from reels.domain.drawing import Disc, Look, Trace, Words
from reels.domain.reel_figures import drum_of
from reels.domain.words import Parity, Side
from tests.inspections.domain.counted_reels import BY_SIDE, TYPE
from tests.inspections.domain.practice.test_reels import ANY_TYPE, DIFFICULTIES, SEEDS

TYPES = st.tuples(
    ANY_TYPE, st.sampled_from(["top", "bottom", "forward", "aft"]), st.sampled_from(Side),
    st.sampled_from(["clockwise", "counter_clockwise"]),
)  # fmt: skip


def drum(parameters=TYPE, place="bottom", side=Side.LEFT, sense="clockwise"):
    return drum_of({**asdict(parameters), "scale_line_at": place, "winding_sense": sense}, side)


def figures(parameters, difficulty, seed, *installed):
    reel = practice_reel(parameters, difficulty, seed)
    return reel, bench_figures(reel, drum(parameters, *installed))


def first(difficulty, where, parameters=TYPE):
    return next(
        found for found in (figures(parameters, difficulty, seed) for seed in range(500)) if where(found[0])
    )  # fmt: skip


def at_left(picture):
    """The flange that is named further left."""
    named = sorted((each.x, each.text) for each in picture.shapes if isinstance(each, Words) and " flange" in each.text)
    return Side(named[0][1].split()[0])


def discs(picture, look):
    return [shape for shape in picture.shapes if isinstance(shape, Disc) and shape.look is look]


def numbers(picture):
    """Each number that is written, with where it stands."""
    words = [shape for shape in picture.shapes if isinstance(shape, Words)]
    return [(int(each.text), each.x, each.y) for each in words if each.text.isdecimal()]


def read_scale(picture, side):
    """The number beside the top of the cable at a flange, or None: as a person reads it."""
    middle, is_left = picture.width / 2, side is at_left(picture)
    here = [disc for disc in discs(picture, Look.WRAP) if (disc.x < middle) is is_left]
    foot = min(disc.y - disc.radius for disc in discs(picture, Look.WRAP))
    top = max((disc.y + disc.radius for disc in here), default=foot)
    near = [n for n, x, y in numbers(picture) if (x < middle) is is_left and abs(y + 3 - top) < 2]
    return near[0] if near else None


@given(TYPES, DIFFICULTIES, SEEDS)
def test_the_wraps_to_count_are_drawn_one_by_one_from_where_the_layer_began(installed, difficulty, seed):
    reel, shown = figures(installed[0], difficulty, seed, *installed[1:])
    wraps = discs(shown["line"], Look.PART_WRAP)
    assert len(wraps) == reel.reading.hand_wraps
    began_left = installed[0].far_side(reel.drum.layer) is not at_left(shown["line"])
    outermost = max(wraps, key=lambda disc: disc.x if began_left else -disc.x)
    assert outermost == wraps[-1]


@given(TYPES, DIFFICULTIES, SEEDS)
def test_each_scale_reads_what_a_careful_person_keys(installed, difficulty, seed):
    reel, shown = figures(installed[0], difficulty, seed, *installed[1:])
    read = (read_scale(shown["flanges"], Side.LEFT), read_scale(shown["flanges"], Side.RIGHT))
    if min(reel.levels.values()) > 0:  # with no cable at a flange there is no top to look for
        assert read == (reel.reading.scale_left, reel.reading.scale_right)


@given(TYPES, DIFFICULTIES, SEEDS)
def test_the_graduation_over_the_outermost_wrap_is_the_number_on_each_face(installed, difficulty, seed):
    reel, shown = figures(installed[0], difficulty, seed, *installed[1:])
    for face in Parity:
        picture = shown[f"gauge_{face}"]
        outermost = discs(picture, Look.PART_WRAP)[-1]
        marks = sorted(
            {round(shape.points[0][0], 6) for shape in picture.shapes
             if isinstance(shape, Trace) and shape.look is Look.MARK}
        )  # fmt: skip
        assert len(marks) == reel.capacity
        [one] = [x for n, x, _ in numbers(picture) if n == 1]
        place = min(range(len(marks)), key=lambda i: abs(marks[i] - outermost.x))
        from_one = place + 1 if abs(one - marks[0]) < abs(one - marks[-1]) else len(marks) - place
        assert from_one == reel.gauge[face]


@given(TYPES, DIFFICULTIES, SEEDS)
def test_the_arrowhead_points_at_the_crossover(installed, difficulty, seed):
    reel, shown = figures(installed[0], difficulty, seed, *installed[1:])
    picture = shown["crossover"]
    [outline] = discs(picture, Look.OUTLINE)
    tips = [shape.points[0] for shape in picture.shapes if isinstance(shape, Trace) and shape.closed]
    [(x, y)] = [tip for tip in tips if abs(math.dist(tip, (outline.x, outline.y)) - outline.radius) < 1e-6]
    [line] = [shape for shape in picture.shapes
              if isinstance(shape, Trace) and shape.look is Look.SCALE_LINE and not shape.dashed]  # fmt: skip
    seen, of_line = (math.degrees(math.atan2(b - outline.y, a - outline.x)) for a, b in ((x, y), line.points[-1]))
    assert abs((seen - of_line - reel.drum.crossover_deg + 180) % 360 - 180) < 1e-6


@given(TYPES, DIFFICULTIES, SEEDS)
def test_no_title_or_description_tells_an_answer(installed, difficulty, seed):
    """The words are the same for every reel of a type."""
    _, shown = figures(installed[0], difficulty, seed, *installed[1:])
    other = bench_figures(practice_reel(installed[0], Difficulty.PLAIN, 1), drum(*installed))
    assert {name: (each.title, each.description) for name, each in shown.items()} == {
        name: (each.title, each.description) for name, each in other.items()
    }


def test_nothing_to_read_rests_on_colour():
    """Odd and even, left and right, aft and forward: the words are drawn."""
    _, shown = figures(TYPE, Difficulty.PLAIN, 3)
    written = {name: {s.text for s in each.shapes if isinstance(s, Words)} for name, each in shown.items()}
    assert "odd face" in written["gauge_odd"]
    assert "even face" in written["gauge_even"]
    assert {"left flange", "right flange"} <= written["flanges"]
    assert {"first half:", "second half:", "forward", "aft", "up", "scale line 0°"} <= written["crossover"]


def test_a_worn_scale_has_strokes_and_no_number():
    reel, shown = first(Difficulty.USUAL, lambda reel: Trap.WORN_SCALE in reel.traps)
    middle = shown["flanges"].width / 2
    sides = {Side.LEFT if x < middle else Side.RIGHT for _, x, _ in numbers(shown["flanges"])}
    assert sides == {reel.drum.worn_side.other}


def test_a_heap_stands_as_many_layers_higher_where_the_layer_began():
    reel, shown = first(Difficulty.TRICKY, lambda reel: Trap.UNEVEN in reel.traps and reel.drum.wraps > 4)
    picture = shown["line"]
    counted = discs(picture, Look.PART_WRAP)
    heap = [disc for disc in discs(picture, Look.WRAP) if disc.y > counted[0].y + 1]
    assert len({round(disc.y, 6) for disc in heap}) == reel.drum.heaped_by
    assert all(abs(disc.x - counted[0].x) < abs(disc.x - counted[-1].x) for disc in heap)


def test_a_scale_by_side_carries_numbers_of_one_parity():
    _, shown = first(Difficulty.PLAIN, lambda reel: reel.drum.layer > 5, BY_SIDE)
    middle = shown["flanges"].width / 2
    left = {n % 2 for n, x, _ in numbers(shown["flanges"]) if x < middle}
    right = {n % 2 for n, x, _ in numbers(shown["flanges"]) if x > middle}
    assert (left, right) == ({1}, {0})  # odd at the anchor side, which is the left one


def test_degrees_are_marked_only_where_the_half_decides_nothing():
    divided = replace(TYPE, arc_to_deg=120)
    assert numbers(figures(TYPE, Difficulty.PLAIN, 1)[1]["crossover"]) == []
    marked = {n for n, _, _ in numbers(figures(divided, Difficulty.PLAIN, 1)[1]["crossover"])}
    assert marked == set(range(30, 360, 30)) - {180}  # which is written at the opposite line anyway


def test_the_band_says_what_it_marks_in_words_and_bars():
    band = practice_mark(400)
    assert [shape.text for shape in band.shapes if isinstance(shape, Words)] == [MARK]
    assert len([shape for shape in band.shapes if isinstance(shape, Trace)]) >= 8
