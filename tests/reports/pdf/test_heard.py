"""Everything printed can be heard: the text of the tag tree is the text of the story, for every kind of document."""

import io
from collections.abc import Iterator
from typing import Any

import pikepdf
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.pdf import document, pdfa, style
from reports.pdf.blocks import Figures, TableBlock, TextBlock
from reports.pdf.facts import PartLine, ReelLabel, ReportPart
from reports.pdf.fonts import printable
from reports.pdf.seal import FIELD_WORDS, seal_document
from reports.pdf.sheets import inspection
from reports.pdf.sheets.labels import label_sheet
from reports.pdf.sheets.monthly import monthly_sheet
from reports.pdf.text import break_lines, width_of
from tests.builders import NOW
from tests.reports.pdf import test_golden, test_practice_sheet
from tests.reports.pdf.heard import heard
from tests.reports.pdf.keys import key_of
from tests.reports.pdf.sample_facts import facts

LONG = 'A line that takes more than the width of its cell, and "quotes" & <signs> of every kind. ' * 3


def monthly():
    lines = [
        PartLine(head=f"LW-{n:04} {LONG}", cells=[("What", LONG), ("Who", "Żaneta Čermák, Вера, Ηλίας")])
        for n in range(40)
    ]
    part = ReportPart(
        key="p", title="Findings", says=LONG, columns=("Reel", "What", "Who"), shares=(1, 1, 1), lines=lines, none=""
    )
    return monthly_sheet([part], about=LONG, at=NOW)


def labels():
    return label_sheet(
        [ReelLabel(serial=f"LW-{n}", reel_type="w28", part_number="P-1", address="http://a/") for n in range(11)],
        at=NOW,
    )


DOCUMENTS = {
    **test_golden.DOCUMENTS,
    "practice-sheet": lambda: test_practice_sheet.drawn_up("sheet", test_practice_sheet.reel()),
    "practice-answers": lambda: test_practice_sheet.drawn_up("answers", test_practice_sheet.reel()),
    "monthly": monthly,
    "labels": labels,
}


def written(blocks: list[Any]) -> Iterator[tuple[str, str]]:
    """What a story says, in order, before anything is set onto a page."""
    for block in blocks:
        if isinstance(block, Figures):
            yield from ((element.tag, spoken([element.alt])) for _, element in block.pictures)
        elif isinstance(block, TextBlock):
            yield block.element.tag, spoken(block.lines)
        elif isinstance(block, TableBlock):
            cells = [cell for row in block.rows for cell in row.cells if any(cell.lines)]
            yield from ((cell.element.tag, spoken(cell.lines)) for cell in cells)


def told_by(content):
    """What is heard; of a band that is longer than its line, only that it begins as it was written."""
    return [(tag, text.removesuffix(" … (in full inside)")) for tag, text in heard(content)]


def spoken(lines):
    return " ".join("".join(lines).split())


@pytest.fixture
def stories(monkeypatch):
    told = []

    def told_and_laid_out(story, around, **options):
        band = [("P", around.band)] if around.band else []
        told.append([*band, *written(story.blocks)])
        return document.lay_out(story, around, **options)

    for module in (pdfa, inspection):
        monkeypatch.setattr(module, "lay_out", told_and_laid_out)
    return told


@pytest.mark.parametrize("name", DOCUMENTS)
def test_what_is_heard_is_what_was_written(name, stories):
    content = DOCUMENTS[name]()
    [story] = stories
    told = told_by(content)
    if told[0][1].startswith("VOIDED"):
        story[0] = ("P", story[0][1][: len(told[0][1])])
    assert told == story


def test_a_cell_that_no_element_takes_is_missed(stories, monkeypatch):
    monkeypatch.setattr(TableBlock, "draw", lambda *_: None)
    content = test_golden.reel_drift()
    [story] = stories
    assert heard(content) != story


TEXTS = st.text(st.sampled_from("ab Żи—\n\u00a0") | st.characters(max_codepoint=0x500), max_size=200)


@given(TEXTS, st.floats(20, 500), st.sampled_from([style.NOTE, style.RESULT, style.CELL_HEAD]))
def test_no_word_is_lost_or_joined_where_a_line_ends(text, width, look):
    shown = printable(text)
    lines = break_lines(shown, look, width)
    assert "".join(lines).rstrip(" ") == shown.replace("\n", " ").rstrip(" ")
    assert all(width_of(line.rstrip(" "), look) <= width or len(line.rstrip(" ")) == 1 for line in lines)


def test_the_seal_has_a_name_a_tooltip_and_a_place_in_the_order():
    content = seal_document(inspection.inspection_pdf(facts()), key_of(), at=NOW)
    assert heard(content)[-1] == ("Form", FIELD_WORDS)
    with pikepdf.open(io.BytesIO(content)) as pdf:
        [field] = pdf.Root.AcroForm.Fields
        assert (str(field.T), str(field.TU)) == ("Seal", FIELD_WORDS)
        assert {str(page.obj.Tabs) for page in pdf.pages} == {"/S"}
        numbers = dict(zip(*[iter(pdf.Root.StructTreeRoot.ParentTree.Nums)] * 2, strict=True))
        element = numbers[int(field.StructParent)]
        assert element.K.Obj.objgen == field.objgen
        assert element.objgen == element.P.K[-1].objgen
