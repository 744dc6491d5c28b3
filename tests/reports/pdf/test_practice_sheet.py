"""The printed practice reel and its answers: what they say, and that every page says it is practice."""

import io
from typing import Any

import pikepdf
import pytest

from inspections.domain.practice import Difficulty, Trap, practice_reel
from inspections.domain.practice.figures import MARK
from inspections.queries.parameters import rule_parameters
from reels.domain import ledger
from reports.pdf.sheets.practice import practice_answers, practice_sheet
from tests.builders import NOW
from tests.reports.programs import run

GIVEN: dict[str, Any] = {
    "anchor_side": "left", "wraps_odd_layer": 28, "wraps_even_layer": 27, "max_layers": 16, "lead_wraps": 1,
    "arc_from_deg": 0, "arc_to_deg": 180, "unusual": "hold", "graduation": "every",
}  # fmt: skip
PAGE = "\f"
PARTS = {"sheet": practice_sheet, "answers": practice_answers}


def reel(seed=7, difficulty=Difficulty.TREACHEROUS, **changes):
    return practice_reel(rule_parameters({**GIVEN, **changes}), difficulty, seed)


def drawn_up(part, one, **changes):
    return PARTS[part](one, {**GIVEN, **changes, "type": "w28"}, "left", at=NOW)


def text_of(content, folder):
    path = folder / "practice.pdf"
    path.write_bytes(content)
    return run("pdftotext", "-layout", path, "-")


@pytest.mark.parametrize("part", PARTS)
def test_every_page_is_marked_in_its_head_its_band_and_its_foot(part, tmp_path):
    *pages, last = text_of(drawn_up(part, reel()), tmp_path).split(PAGE)
    assert last == ""
    assert [page.count(MARK) >= 3 for page in pages] == [True] * len(pages)


def test_the_sheet_has_the_stand_the_reel_and_room_to_write_on_a_page_each_whatever_the_reel(tmp_path):
    shapes: list[dict[str, Any]] = [
        {},
        {"wraps_odd_layer": 45, "wraps_even_layer": 45, "graduation": "by_side"},
        {"arc_to_deg": 120},
    ]
    uneven = [next(each for seed in range(200) if Trap.UNEVEN in (each := reel(seed, **more)).traps) for more in shapes]
    highest = max(
        (reel(seed, Difficulty.TRICKY) for seed in range(60)),
        key=lambda r: max(r.levels.values()) - min(r.levels.values()),
    )
    for one in (*uneven, highest):
        pages = text_of(drawn_up("sheet", one), tmp_path).split(PAGE)[:-1]
        assert len(pages) == 3, one.drum
        assert one.stand.plate in pages[0]
        assert "even face" in pages[1]
        assert "Calculation" in pages[2]


def test_the_sheet_tells_no_answer_and_the_answers_tell_all(tmp_path):
    one = reel(difficulty=Difficulty.PLAIN)
    answers = text_of(drawn_up("answers", one), tmp_path)
    for words in ("Wraps counted by hand", f"{one.reading.hand_wraps}", f"{one.answer.layers}", "Lead allowance",
                  "Nothing: it is a plain reel."):  # fmt: skip
        assert words in answers
    sheet = text_of(drawn_up("sheet", one), tmp_path)
    assert "Nothing: it is a plain reel." not in sheet
    assert "Correct answers" not in sheet
    assert f"Seed {one.seed}, difficulty plain." in sheet


def test_a_reel_to_be_referred_is_answered_with_why_and_its_traps(tmp_path):
    one = next(each for seed in range(200) if Trap.ON_LIMIT in (each := reel(seed)).traps)
    answers = " ".join(text_of(drawn_up("answers", one), tmp_path).split())
    assert "put it before an authorised person" in answers
    assert "The crossover is right on a limit, where nobody can tell." in answers


@pytest.mark.parametrize("part", PARTS)
def test_the_same_seed_gives_the_same_bytes(part):
    assert ledger.digest(drawn_up(part, reel())) == ledger.digest(drawn_up(part, reel()))


@pytest.mark.parametrize("part", PARTS)
def test_a_reader_that_speaks_gets_a_title_a_language_and_each_drawing_in_words(part):
    with pikepdf.open(io.BytesIO(drawn_up(part, reel()))) as document:
        assert MARK in str(document.docinfo["/Title"])
        assert str(document.Root["/Lang"]) == "en-GB"
        described = [
            str(each["/Alt"]) for each in document.objects if isinstance(each, pikepdf.Dictionary) and "/Alt" in each
        ]
    assert described.count(f"{MARK}.") == (3 if part == "sheet" else 1)
    assert len(described) == (9 if part == "sheet" else 1)
