import pytest

from reels.domain.drawing import Disc, Look, Trace, Words
from reels.domain.reel_figures import DrawnCount, DrumSection, crossover_circle, reel_section
from reels.domain.words import Side

DRUM = DrumSection(
    anchor_side=Side.LEFT, wraps_odd_layer=28, wraps_even_layer=27, max_layers=20, arc_from_deg=0, arc_to_deg=180
)  # fmt: skip
READ = DrawnCount(layers=12, wraps=12, taken_off=2, scales=("13", "12"))


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
    drum = DrumSection(
        anchor_side=anchor, wraps_odd_layer=odd, wraps_even_layer=even, max_layers=9, arc_from_deg=0, arc_to_deg=180
    )
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
    drum = DrumSection(
        anchor_side=anchor, wraps_odd_layer=28, wraps_even_layer=27, max_layers=20, arc_from_deg=0, arc_to_deg=180
    )
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
        "12 full layers and 12 wraps on the part layer above them, of which the 2 with a cross are taken off. "
        "Anchor side left; flange scales: left 13, right 12."
    )


def test_a_scale_that_was_left_out_is_said_to_be():
    assert section(read=DrawnCount(layers=12, wraps=1, open_side="left")).description.endswith("Open side left.")
    assert "left not read, right 12" in section(read=DrawnCount(layers=12, wraps=1, scales=("", "12"))).description


def test_a_figure_keeps_within_its_bounds_on_the_fullest_drum():
    drum = DrumSection(
        anchor_side=Side.LEFT, wraps_odd_layer=90, wraps_even_layer=90, max_layers=40, arc_from_deg=0, arc_to_deg=180
    )
    picture = section(drum, DrawnCount(layers=39, wraps=89))
    assert picture.height <= 170
    assert all(0 <= shape.x <= picture.width for shape in picture.shapes if isinstance(shape, Disc | Words))


@pytest.mark.parametrize(
    ("degrees", "right", "up"), [(45, True, True), (135, False, True), (225, False, False), (315, True, False)]
)
def test_angles_go_counter_clockwise_from_the_scale_line(degrees, right, up):
    picture = crossover_circle(DRUM, "left", degrees=degrees)
    [spot] = discs(picture, Look.PART_WRAP)
    [rim] = discs(picture, Look.OUTLINE)
    assert (spot.x > rim.x, spot.y > rim.y) == (right, up)


def test_a_half_is_named_and_a_blank_circle_names_none():
    said = [shape.text for shape in crossover_circle(DRUM, "", half="second").shapes if isinstance(shape, Words)]
    assert "second" in said
    blank = [shape.text for shape in crossover_circle(DRUM, "right").shapes if isinstance(shape, Words)]
    assert blank == ["0°", "first half", "second half", "seen from the right"]


@pytest.mark.parametrize(
    ("open_side", "words"),
    [("", ["anchor side"]), ("right", ["anchor side", "open side"]), ("left", ["anchor and open side"]),
     ("none", ["anchor side"])],
)  # fmt: skip
def test_the_open_side_is_named_at_its_flange(open_side, words):
    picture = section(read=DrawnCount(layers=12, wraps=3, open_side=open_side))
    found = [each.text for each in picture.shapes if isinstance(each, Words) and each.text.endswith("side")]
    assert found == words
