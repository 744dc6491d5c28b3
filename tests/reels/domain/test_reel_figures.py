"""The two views of a reel, read off again shape by shape."""

import math
from dataclasses import replace
from itertools import combinations, product

import pytest
from reportlab.pdfbase.pdfmetrics import stringWidth

from reels.domain.drawing import Disc, Look, Picture, Trace, Words
from reels.domain.reel_figures import DrawnCount, DrumSection, drum_of, reel_section, reference_view
from reels.domain.words import LinePlace, Side, WindingSense
from reports.pdf.fonts import BOLD, PLAIN, register  # a real font, and a wider one than the pages'

DRUM = DrumSection(
    anchor_side=Side.LEFT, wraps_odd_layer=28, wraps_even_layer=27, max_layers=20, arc_from_deg=0, arc_to_deg=180,
    scale_line_at=LinePlace.TOP, reference_side=Side.LEFT, winding_sense=WindingSense.CLOCKWISE,
)  # fmt: skip
READ = DrawnCount(layers=12, wraps=12, taken_off=2, scales=("13", "12"))


@pytest.mark.parametrize("side", list(Side))
def test_a_type_that_does_not_say_where_its_line_sits_is_drawn_from_its_own_side_with_the_first_half_aft(side):
    kept = {"anchor_side": "left", "wraps_odd_layer": 28, "wraps_even_layer": 27, "max_layers": 20, "arc_from_deg": 0,
            "arc_to_deg": 180}  # fmt: skip
    drum = drum_of(kept, side)
    assert (drum.reference_side, drum.half_words, drum.winding_sense) == (side, ("aft", "forward"), "clockwise")
    assert f"seen from the {side} side" in reference_view(drum).description
    assert drum_of({**kept, "arc_from_deg": 180, "arc_to_deg": 360}, side).winding_sense == "counter_clockwise"
    said = {**kept, "scale_line_at": "forward", "reference_side": "right", "winding_sense": "counter_clockwise"}
    assert drum_of(said, side).half_words == ("above", "below")


def discs(picture, *looks):
    return [shape for shape in picture.shapes if isinstance(shape, Disc) and shape.look in looks]


def section(drum=DRUM, read=READ):
    return reel_section(drum, read, width=340, height=170)


def test_every_wrap_is_drawn_once():
    # 6 odd layers of 28 and 6 even ones of 27, as the worked example's drum holds them
    assert len(discs(section(), Look.WRAP)) == 6 * 28 + 6 * 27
    assert len(discs(section(), Look.PART_WRAP)) == 10
    assert len(discs(section(), Look.TAKEN_OFF)) == 2


@pytest.mark.parametrize(("odd", "even"), [(28, 27), (27, 28), (40, 40), (2, 3)])
@pytest.mark.parametrize("anchor", list(Side))
@pytest.mark.parametrize(("layers", "wraps"), [(0, 1), (1, 1), (5, 2), (6, 1), (3, 0)])
def test_wraps_lie_between_the_flanges_and_do_not_overlap(odd, even, anchor, layers, wraps):
    drum = replace(DRUM, anchor_side=anchor, wraps_odd_layer=odd, wraps_even_layer=even, max_layers=9)
    picture = section(drum, DrawnCount(layers=layers, wraps=wraps))
    found = discs(picture, Look.WRAP, Look.PART_WRAP)
    left, right = (shape.x for shape in picture.shapes if getattr(shape, "look", None) is Look.FLANGE)
    assert all(left <= disc.x - disc.radius and disc.x + disc.radius <= right for disc in found)
    assert all(0 < disc.y < picture.height for disc in found)
    nearest = min(
        ((a.x - b.x) ** 2 + (a.y - b.y) ** 2 for i, a in enumerate(found) for b in found[:i]), default=float("inf")
    )
    assert nearest >= (2 * found[0].radius) ** 2


@pytest.mark.parametrize("anchor", list(Side))
@pytest.mark.parametrize(("layers", "side"), [(12, "anchor"), (11, "other")])
def test_the_part_layer_lies_against_the_flange_where_it_began(anchor, layers, side):
    # Rule 2: with an even number of full layers the part layer runs away from the anchor, so it lies against it.
    drum = replace(DRUM, anchor_side=anchor, wraps_odd_layer=28, wraps_even_layer=27, max_layers=20)
    picture = section(drum, DrawnCount(layers=layers, wraps=3))
    middle = picture.width / 2
    flange = anchor if side == "anchor" else anchor.other
    assert all((disc.x < middle) == (flange is Side.LEFT) for disc in discs(picture, Look.PART_WRAP))


def test_what_is_taken_off_is_the_end_of_the_part_layer_and_has_a_cross():
    picture = section()
    kept, taken = discs(picture, Look.PART_WRAP), discs(picture, Look.TAKEN_OFF)
    assert max(disc.x for disc in kept) < min(disc.x for disc in taken)
    crosses = [
        shape for shape in picture.shapes if isinstance(shape, Trace) and not shape.closed and len(shape.points) == 2
    ]
    assert sum(shape.look is Look.MARK for shape in crosses) >= 2 * len(taken)


def test_the_section_says_the_same_in_words():
    assert section().description == (
        "Facing the scale line on top, from aft: the left flange is at the left, the right one at the right. "
        "12 full layers and 12 wraps on the part layer above them, of which the 2 with a cross are taken off. "
        "Anchor side left; flange scales: left 13, right 12."
    )


def test_a_scale_that_was_left_out_is_said_to_be():
    assert section(read=DrawnCount(layers=12, wraps=1, open_side="left")).description.endswith("Open side left.")
    assert "left not read, right 12" in section(read=DrawnCount(layers=12, wraps=1, scales=("", "12"))).description


def test_a_figure_keeps_within_its_bounds_on_the_fullest_drum():
    drum = replace(DRUM, anchor_side=Side.LEFT, wraps_odd_layer=90, wraps_even_layer=90, max_layers=40)
    picture = section(drum, DrawnCount(layers=39, wraps=89))
    assert picture.height <= 170
    assert all(0 <= shape.x <= picture.width for shape in picture.shapes if isinstance(shape, Disc | Words))


@pytest.mark.parametrize(
    ("open_side", "words"),
    [("", ["anchor side"]), ("right", ["anchor side", "open side"]), ("left", ["anchor side", "open side"]),
     ("none", ["anchor side"])],
)  # fmt: skip
def test_the_open_side_is_named_at_its_flange(open_side, words):
    picture = section(read=DrawnCount(layers=12, wraps=3, open_side=open_side))
    named = [each.text for each in picture.shapes if isinstance(each, Words) and each.text.endswith("side")]
    assert named == words


# Where things lie, worked out apart from the code: vectors of what carries the machine ------------------------------

FORWARD, LEFTWARD, UPWARD = (1, 0, 0), (0, 1, 0), (0, 0, 1)
PLACES = {"top": UPWARD, "bottom": (0, 0, -1), "forward": FORWARD, "aft": (-1, 0, 0)}
LIES = {"forward": FORWARD, "aft": (-1, 0, 0), "above": UPWARD, "below": (0, 0, -1)}
SIDES = {Side.LEFT: LEFTWARD, Side.RIGHT: (0, -1, 0)}
# The table that the halves must follow: scale line, seen from the left, seen from the right.
FIRST_HALF = {
    "top": ("forward", "aft"), "bottom": ("aft", "forward"), "forward": ("below", "above"), "aft": ("above", "below"),
}  # fmt: skip
INSTALLED = [(place, side) for place in LinePlace for side in Side]


def cross(a, b):
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


def dot(a, b):
    return sum(x * y for x, y in zip(a, b, strict=True))


def on_paper(direction, reference_side):
    """A direction of what carries the machine as whoever looks at its reference side sees it: to the right, and up."""
    looking = tuple(-each for each in SIDES[reference_side])
    return dot(direction, cross(looking, UPWARD)), dot(direction, UPWARD)


def view(place=LinePlace.TOP, side=Side.LEFT, **marked):
    picture = reference_view(replace(DRUM, scale_line_at=place, reference_side=side), **marked)
    return picture, next(disc for disc in discs(picture, Look.OUTLINE))


def words_of(picture):
    return [shape for shape in picture.shapes if isinstance(shape, Words)]


def way_of(rim, x, y):
    """The nearest of right, up, left and down in which a point lies from the circle's middle."""
    turn = round(math.degrees(math.atan2(y - rim.y, x - rim.x)) / 90) * 90
    return round(math.cos(math.radians(turn))), round(math.sin(math.radians(turn)))


@pytest.mark.parametrize(("place", "side"), INSTALLED)
def test_the_halves_have_the_words_of_the_table_and_lie_where_these_say(place, side):
    picture, rim = view(place, side)
    first = FIRST_HALF[place][tuple(Side).index(side)]
    second = {"forward": "aft", "aft": "forward", "above": "below", "below": "above"}[first]
    for name, lies in (("first half:", first), ("second half:", second)):
        [label] = [each for each in words_of(picture) if each.text.startswith(name)]
        assert way_of(rim, label.x, label.y) == on_paper(LIES[lies], side)
        beside = [each.text for each in words_of(picture) if each.x == label.x and abs(each.y - label.y) <= 10]
        assert lies in " ".join(beside).split()


@pytest.mark.parametrize(("place", "side"), INSTALLED)
def test_the_scale_line_is_drawn_where_it_sits(place, side):
    picture, rim = view(place, side)
    [line] = [each for each in picture.shapes
              if isinstance(each, Trace) and each.look is Look.SCALE_LINE and not each.dashed]  # fmt: skip
    (_, _), (x, y) = line.points
    assert way_of(rim, x, y) == on_paper(PLACES[place], side)
    assert math.hypot(x - rim.x, y - rim.y) > rim.radius


@pytest.mark.parametrize("side", list(Side))
def test_arrows_say_which_way_is_up_and_which_way_is_forward(side):
    picture, _ = view(side=side)
    heads = [each for each in picture.shapes if isinstance(each, Trace) and each.closed]
    tips = {tuple(round(each.points[0][i] - (each.points[1][i] + each.points[2][i]) / 2) for i in (0, 1))
            for each in heads[1:]}  # the first is the way round  # fmt: skip
    ahead = on_paper(FORWARD, side)
    assert tips == {(0, 6), (6 * ahead[0], 0)}
    assert ahead == ((1, 0) if side is Side.RIGHT else (-1, 0))  # from the right, forward is to the right
    assert {"up", "forward"} <= {each.text for each in words_of(picture)}


@pytest.mark.parametrize(("place", "side"), INSTALLED)
def test_the_arrow_goes_counter_clockwise_from_the_scale_line(place, side):
    picture, rim = view(place, side)
    head = next(each for each in picture.shapes if isinstance(each, Trace) and each.closed)
    arrow = next(each for each in picture.shapes if isinstance(each, Trace) and each.look is Look.OUTLINE)
    line = math.atan2(*reversed(on_paper(PLACES[place], side)))
    turns = [math.degrees(math.atan2(y - rim.y, x - rim.x) - line) % 360 for x, y in (*arrow.points, head.points[0])]
    assert turns == sorted(turns)
    assert 0 < turns[0] < turns[-1] < 90


@pytest.mark.parametrize(("place", "side"), INSTALLED)
@pytest.mark.parametrize("degrees", [1, 75, 180, 359])
def test_a_crossover_in_degrees_lies_counter_clockwise_from_the_line(place, side, degrees):
    picture, rim = view(place, side, degrees=degrees)
    [spot] = discs(picture, Look.PART_WRAP)
    line = math.atan2(*reversed(on_paper(PLACES[place], side)))
    assert math.degrees(math.atan2(spot.y - rim.y, spot.x - rim.x) - line) % 360 == pytest.approx(degrees)


@pytest.mark.parametrize(("place", "side"), INSTALLED)
@pytest.mark.parametrize("half", ["first", "second"])
def test_a_keyed_half_is_marked_on_its_side_and_in_words(place, side, half):
    picture, rim = view(place, side, half=half)
    [mark] = [each for each in picture.shapes if isinstance(each, Trace) and each.look is Look.CROSSOVER]
    x, y = mark.points[len(mark.points) // 2]
    [label] = [each for each in words_of(picture) if each.text.startswith(f"{half} half:")]
    assert way_of(rim, x, y) == way_of(rim, label.x, label.y)
    [crossover] = [each for each in words_of(picture) if each.text == "crossover"]
    assert way_of(rim, crossover.x, crossover.y) == way_of(rim, label.x, label.y)
    assert f"The crossover is in the {half} half." in picture.description


def test_a_crossover_that_cannot_be_told_is_marked_at_the_line():
    picture, _ = view(half="unclear")
    assert "crossover?" in {each.text for each in words_of(picture)}
    assert "The crossover is on the scale line, or can't be told." in picture.description


@pytest.mark.parametrize(("place", "side"), INSTALLED)
def test_without_a_keyed_crossover_nothing_is_marked(place, side):
    picture, _ = view(place, side)
    assert discs(picture, Look.PART_WRAP) == []
    assert not [each for each in picture.shapes if isinstance(each, Trace) and each.look is Look.CROSSOVER]
    assert "crossover" not in f"{picture.description} {' '.join(each.text for each in words_of(picture))}".lower()


@pytest.mark.parametrize(("place", "side"), INSTALLED)
def test_the_view_says_the_same_in_words(place, side):
    picture, _ = view(place, side)
    names = {"top": "on top", "bottom": "at the bottom", "forward": "forward", "aft": "aft"}
    assert f"seen from the {side} side: up is up, forward is to the {side}." in picture.description
    assert f"The scale line is {names[place]}." in picture.description
    assert f"the first half lies {FIRST_HALF[place][tuple(Side).index(side)]}," in picture.description
    assert picture.title == f"The drum, seen from the {side}"


@pytest.mark.parametrize("place", list(LinePlace))
def test_whoever_faces_the_scale_line_has_the_named_flange_at_their_left(place):
    # standing aft of a line on top or at the bottom, and looking forward; else looking straight at it
    looking = tuple(-each for each in PLACES[place]) if place in ("forward", "aft") else FORWARD
    at_right = next(side for side, way in SIDES.items() if way == cross(looking, UPWARD))
    picture = section(replace(DRUM, scale_line_at=place))
    [left, right] = sorted(
        (each for each in words_of(picture) if each.text.endswith("flange")), key=lambda each: each.x
    )
    assert (left.text, right.text) == (f"{at_right.other} flange", f"{at_right} flange")
    [scale] = [each for each in words_of(picture) if each.text == "scale 13"]  # at the left flange
    assert (scale.x < picture.width / 2) is (at_right is Side.RIGHT)


@pytest.mark.parametrize(("place", "side"), INSTALLED)
def test_facing_the_line_counter_clockwise_goes_up_or_down(place, side):
    eyes = {"top": (0, 0, -1), "bottom": UPWARD, "forward": (-1, 0, 0), "aft": FORWARD}[place]  # where they look
    to_right = (0, 1, 0) if place == "forward" else (0, -1, 0)
    up_in_their_eyes = cross(to_right, eyes)
    # counter-clockwise as seen from the reference side: about the axis that points at whoever looks from there
    moves = cross(SIDES[side], PLACES[place])
    drum = replace(DRUM, scale_line_at=place, reference_side=side)
    assert drum.counter_clockwise_is_up is (dot(moves, up_in_their_eyes) > 0)


# Readable on a phone ------------------------------------------------------------------------------------------------

NARROWEST = 320.0  # pixels that a drawing has beside its frame on a screen of 390


register()


def box(words: Words, size: float) -> tuple[float, float, float, float]:
    width = stringWidth(words.text, BOLD if words.bold else PLAIN, size)
    left = words.x - {"start": 0, "middle": width / 2, "end": width}[words.anchor]
    return left, words.y - size * 0.2, left + width, words.y + size * 0.75


def assert_readable(picture: Picture) -> None:
    """No words over other words or over the edge, and none smaller than 10 pixels on a narrow screen."""
    boxes = [(each.text, box(each, picture.text_size)) for each in words_of(picture)]
    for text, (left, bottom, right, top) in boxes:
        assert left >= 0, text
        assert right <= picture.width, text
        assert 0 <= bottom < top <= picture.height, text
    for (one, a), (other, b) in combinations(boxes, 2):
        assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1], (one, other)
    assert picture.text_size * NARROWEST / picture.width >= 10


@pytest.mark.parametrize(("place", "side"), INSTALLED)
@pytest.mark.parametrize("marked", [{}, {"half": "first"}, {"half": "second"}, {"half": "unclear"}, {"degrees": 75}])
def test_the_words_from_the_reference_side_can_be_read(place, side, marked):
    assert_readable(view(place, side, **marked)[0])


@pytest.mark.parametrize("place", list(LinePlace))
@pytest.mark.parametrize("capacity", [2, 9, 28, 90])
def test_the_words_facing_the_line_can_be_read(place, capacity):
    drum = replace(DRUM, scale_line_at=place, wraps_odd_layer=capacity, wraps_even_layer=capacity)
    for open_side, (layers, wraps) in product(("", *Side, "none"), [(0, 0), (0, 1), (12, 27), (19, 12)]):
        read = DrawnCount(layers=layers, wraps=min(wraps, capacity), scales=("13", "12"), open_side=open_side)
        assert_readable(reel_section(drum, read, width=250, height=200))


def test_layers_and_the_part_layer_are_named():
    assert "part layer: 12 wraps, on 12 full layers" in {each.text for each in words_of(section())}
    full = section(read=DrawnCount(layers=3, wraps=0))
    assert "3 full layers" in {each.text for each in words_of(full)}
