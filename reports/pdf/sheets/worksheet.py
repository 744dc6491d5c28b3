"""A blank worksheet, to be filled in with a pencil beside the reel; it is no record."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from inspections.domain import type_words
from inspections.domain.how_to_read import how_to_read
from inspections.domain.reading import Half, RuleParameters
from inspections.domain.words import Point
from reels.domain.cautions import CAUTIONS
from reels.domain.reel_figures import DrawnCount, DrumSection, drum_of, reel_section, reference_view
from reels.domain.words import Parity, Side, counted
from reports.pdf import style
from reports.pdf.pdfa import write_sheet
from reports.pdf.sheets.inspection import SECTION_WIDTH
from reports.pdf.story import Story

WORKSHEET_HEAD = (
    "Reel", "Site", "Machine", "Wrap gauge", "Work order", "Publication, rev.", "Technician/verifier", "Date, time",
)  # fmt: skip

READING_STEPS = (
    "Serial, from the data plate", "Open side", "Flange scale, left", "Flange scale, right",
    "Unwind direction (technician)", "Hand count at the scale line", "Wrap gauge: face", "Wrap gauge: reading",
    "Crossover",
)  # fmt: skip


def worksheet(
    parameters: Mapping[str, Any], rules: RuleParameters, reference_side: str, *, at: datetime
) -> bytes:  # fmt: skip
    """A sheet on which one person notes a reading of a reel of this type, and calculates the setup values."""
    story, drum = Story(), drum_of(parameters, reference_side)
    code = parameters["type"]
    story.heading(f"Worksheet: count of a reel of type {code}", 1)
    story.paragraph(
        "One sheet for each person. Do not show it to the other person before both are filled in. The record is what "
        "is keyed into the service afterwards, under each person's own login.",
        style.BANNER,
    )
    story.facts([(name, "") for name in WORKSHEET_HEAD], blank=True)
    _type_pictures(story, drum)
    story.heading("Before the first step", 2)
    for line in (
        *CAUTIONS,
        "Anchor side and forward mark found.",
        "Cable, winding, drum and flanges, end fitting and scales looked at. Not sound, and where:",
        "Before wraps are counted: the serial read off the wrap gauge, its end marks matched to its machine.",
    ):
        story.paragraph(f"☐ {line}")
    reading_table(story, rules, drum)
    working_table(story, drum, parameters["lead_wraps"])
    story.heading("Name and signature", 2)
    story.facts([("Name", ""), ("Staff number", ""), ("Signature", ""), ("Date, time", "")], blank=True)
    _how_to_read(story, drum, rules)
    return write_sheet(story, f"Worksheet, reel type {code}", ("Blank worksheet; not a record.",), at=at)


def _type_pictures(story: Story, drum: DrumSection) -> None:
    story.figure(
        reel_section(drum, DrawnCount(layers=min(2, drum.max_layers), wraps=0), width=SECTION_WIDTH, height=130),
        reference_view(drum),
    )
    story.paragraph(
        f"Anchor side {drum.anchor_side}. A full odd layer holds {counted(drum.wraps_odd_layer, 'wrap')}, a full even "
        f"one {drum.wraps_even_layer}; the drum takes {counted(drum.max_layers, 'layer')}. Not to scale.",
        style.NOTE,
    )


def _how_to_read(story: Story, drum: DrumSection, rules: RuleParameters) -> None:
    story.next_page()
    story.heading("How to read it: an example, not this reel", 2)
    pictures = how_to_read(tuple(Point), rules, drum)
    for i in range(0, len(pictures), 2):
        story.figure(*pictures[i : i + 2])


def reading_table(story: Story, rules: RuleParameters, drum: DrumSection, *, has_serial: bool = True) -> None:
    """Room for what is read, in the order of the bench. has_serial: there is none for it elsewhere."""
    story.heading("Reading", 2)
    steps = [*zip(READING_STEPS, _written(rules, drum), strict=True)][0 if has_serial else 1 :]
    blank_rows = [(f"{n}", *step, "", "", "") for n, step in enumerate(steps, 1)]
    story.table(
        ("", "Hold point", "Write", "1st", "2nd", "3rd"), blank_rows, (0.25, 1.6, 1.5, 0.8, 0.8, 0.8), blank=True
    )
    first, second = (type_words.half_in_words(half, drum) for half in (Half.FIRST, Half.SECOND))
    story.paragraph(f"{first.capitalize()}; {second}. {type_words.where_to_look(rules, drum)}", style.NOTE)


def _written(rules: RuleParameters, drum: DrumSection) -> tuple[str, ...]:
    """What is written at each of the steps."""
    odd, even = (type_words.face_in_words(face, drum) for face in Parity)
    scales = (type_words.scale_in_words(side, rules, drum) for side in Side)
    left, right = (f"layers, or “left out”. {scale}".strip(". ") for scale in scales)
    crossover = "degrees" if rules.half_in_arc is None else "first or second half, or unclear"
    return (
        "in full", "left, right or none", left, right, "left to right, or right to left", "wraps", f"{odd} or {even}",
        "wraps", crossover,
    )  # fmt: skip


def working_table(story: Story, drum: DrumSection, lead_wraps: int) -> None:
    """Room to calculate the setup values, rule by rule."""
    far = drum.anchor_side.other
    story.heading("Calculation", 2)
    story.table(
        ("Step", "Rule", "Layers", "Wraps"),
        [
            ("Full layers", "the lower of the two scale readings; the part layer on top is not counted", "", "—"),
            ("Parity", f"even layers: open side {far}, gauge face even; odd layers: open side {drum.anchor_side}, "
             "gauge face odd. Anything else: read again", "—", "—"),
            ("Part-layer wraps", "hand count and gauge must be equal, else read again", "—", ""),
            ("Crossover", f"strictly between {drum.arc_from_deg:g}° and {drum.arc_to_deg:g}°: −1; else 0; on the scale "
             "line itself: refer", "—", ""),
            ("Lead", f"−{lead_wraps}", "—", ""),
            ("Setup values", "below zero, or no open side: refer", "", ""),
        ],
        (1, 3.4, 0.7, 0.7),
        blank=True,
    )  # fmt: skip
