"""A practice reel on paper, to be counted with a pencil, and its answers. Every page says that it is no record."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from inspections.domain.practice import PracticeReel, PracticeSheet, StandSheet, mark
from inspections.domain.practice.figures import MARK, bench_figures, practice_mark
from inspections.domain.practice.words import FIELD_NAMES, RULE_NAMES, stand_in_words, traps_in_words, value_in_words
from reels.domain.reel_figures import drum_of
from reports.pdf import style
from reports.pdf.pdfa import write_sheet
from reports.pdf.sheets.worksheet import reading_table, working_table
from reports.pdf.story import Story


def practice_sheet(reel: PracticeReel, parameters: Mapping[str, Any], reference_side: str, *, at: datetime) -> bytes:
    """The reel as it is seen, and room for the reading and the working. parameters: as an inspection keeps them."""
    story, drum = Story(), drum_of(parameters, reference_side)
    pictures = bench_figures(reel, drum)
    _head(story, reel, parameters, "Practice sheet")
    story.facts([
        ("Anchor side", reel.parameters.anchor_side.value), ("Maximum layers", f"{reel.parameters.max_layers}"),
        ("Wraps, odd layer", f"{reel.parameters.wraps_odd_layer}"),
        ("Wraps, even layer", f"{reel.parameters.wraps_even_layer}"),
        ("Unusual counts", "accepted" if reel.parameters.unusual == "accept" else "referred"),
        ("Last setup values", f"{reel.last.layers} layers, {reel.last.wraps} wraps"),
    ])  # fmt: skip
    story.heading("On the stand, before the reading", 2)
    story.figure(pictures["plates"])
    story.facts(stand_in_words(reel.stand))
    story.facts(
        [("Name", ""), ("Date", ""), ("Serial of the reel", ""), ("Serial of the wrap gauge", ""), ("Not sound", "")],
        blank=True,
    )
    story.next_page()
    _mark(story)
    story.heading("The reel: both flanges, the crossover, and along the scale line", 2)
    story.figure(pictures["flanges"], pictures["crossover"])
    story.figure(pictures["line"])
    story.heading("The wrap gauge laid on: which face?", 2)
    for face in ("gauge_odd", "gauge_even"):
        story.figure(pictures[face])
    story.next_page()
    _mark(story)
    reading_table(story, reel.parameters, drum, has_serial=False)
    working_table(story, drum, parameters["lead_wraps"])
    story.paragraph("☐ Set the machine to these numbers.    ☐ Refer the reel to an authorised person.")
    return _finished(story, reel, "Practice sheet", at=at)


def practice_answers(
    reel: PracticeReel, parameters: Mapping[str, Any], reference_side: str, *, at: datetime
) -> bytes:  # fmt: skip
    """What a careful person enters, the working, and what made the reel hard."""
    story, answer, drum = Story(), reel.answer, drum_of(parameters, reference_side)
    _head(story, reel, parameters, "Practice answers")
    right = PracticeSheet(
        reading=reel.reading,
        layers=answer.layers,
        wraps=answer.wraps,
        refers=reel.has_to_refer,
        stand=StandSheet(serial=reel.stand.plate, gauge_serial=reel.stand.gauge, unsound=reel.stand.unsound),
    )
    story.heading("Correct answers", 2)
    story.table(
        ("Field", "Correct", "Rule"),
        [(FIELD_NAMES[each.field], value_in_words(each.field, each.right, drum), RULE_NAMES[each.rule])
         for each in mark(reel, right).marks],
        (1.2, 1.6, 1.2),
    )  # fmt: skip
    for problem in answer.problems:
        story.paragraph(problem.detail, style.BANNER)
    if answer.steps:
        story.heading("Calculation", 2)
        story.calculation([(step.label, step.before, step.change, step.after, step.why) for step in answer.steps])
    story.heading("What made it difficult", 2)
    for words in traps_in_words(reel) or ["Nothing: it is a plain reel."]:
        story.paragraph(f"• {words}")
    return _finished(story, reel, "Practice answers", at=at)


def _head(story: Story, reel: PracticeReel, parameters: Mapping[str, Any], title: str) -> None:
    _mark(story)
    story.heading(f"{title}: a reel of type {parameters['type']}", 1)
    story.paragraph(
        f"Seed {reel.seed}, difficulty {reel.difficulty}. The reel is made up; nothing here may be entered into a "
        "record. Not to scale.",
        style.NOTE,
    )


def _mark(story: Story) -> None:
    story.figure(practice_mark(style.WIDTH))
    story.gap(8)


def _finished(story: Story, reel: PracticeReel, title: str, *, at: datetime) -> bytes:
    footer = (f"{MARK}. Seed {reel.seed}, difficulty {reel.difficulty}.",)
    return write_sheet(story, f"{title} – {MARK}", footer, at=at, subject=MARK)
