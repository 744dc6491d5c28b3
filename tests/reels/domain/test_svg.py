import re
from pathlib import Path
from xml.etree import ElementTree

from reels.domain.drawing import Look, Picture, Words
from reels.domain.reel_figures import DrawnCount, DrumSection, reel_section
from reels.domain.svg import svg
from reels.domain.words import LinePlace, Side, WindingSense

DRUM = DrumSection(
    anchor_side=Side.LEFT, wraps_odd_layer=28, wraps_even_layer=27, max_layers=20, arc_from_deg=0, arc_to_deg=180,
    scale_line_at=LinePlace.TOP, reference_side=Side.LEFT, winding_sense=WindingSense.CLOCKWISE,
)  # fmt: skip
PICTURE = reel_section(DRUM, DrawnCount(layers=12, wraps=12, taken_off=2, scales=("13", "12")), width=340, height=170)
NAMESPACE = "{http://www.w3.org/2000/svg}"


def parsed(picture=PICTURE, name="reel"):
    return ElementTree.fromstring(svg(picture, name))  # noqa: S314  # our own


def test_every_wrap_is_a_circle():
    assert len(parsed().findall(f"{NAMESPACE}circle")) == 6 * 28 + 6 * 27 + 12


def test_title_and_description_are_found_by_the_element_that_they_are_about():
    root = parsed(name="second")
    ids = {each.get("id"): each.text for each in root if each.get("id")}
    assert [ids[name] for name in root.get("aria-labelledby", "").split()] == [PICTURE.title, PICTURE.description]
    assert root.get("role") == "img"


def test_nothing_in_it_needs_an_inline_style_or_a_colour_of_its_own():
    assert not re.search(r"style=|<style|fill=|stroke=|#[0-9a-f]{3}", svg(PICTURE, "reel"))


def test_the_lower_left_corner_becomes_the_upper_left_one():
    picture = Picture(width=10, height=100, title="", description="", shapes=(Words(1, 30, "x"),))
    [text] = parsed(picture).findall(f"{NAMESPACE}text")
    assert (text.get("x"), text.get("y")) == ("1", "70")


def test_text_is_escaped():
    picture = Picture(width=1, height=1, title="<&>", description="", shapes=(Words(0, 0, "<b>&"),))
    assert parsed(picture).findtext(f"{NAMESPACE}text") == "<b>&"


def test_the_stylesheet_says_how_every_shape_looks():
    css = Path("reels/static/reels/figures.css").read_text()
    assert [look for look in Look if f".look-{look}" not in css] == []
