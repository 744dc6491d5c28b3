"""A spreadsheet's file is read as its owner means it: what it tells is told, what it leaves open is asked."""

import csv
from dataclasses import replace
from datetime import UTC, date, datetime
from io import StringIO

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.domain.intake import files
from inspections.domain.intake.understanding import (
    NotRead,
    as_ours,
    questions,
    refused_rows,
    serial_key,
    spellings_of,
    text_of,
    understand,
)

SHEET = (
    "Reel no;Date;Layers;Wraps;Technician;Inspector;Colour\r\n"
    "lw 1;31.12.2025 09:30;12;10;Tess Hollin;Mona Ash;red\r\n"
    "\r\n"
    "LW-2;03.01.2026 10:15;11;4;;;\r\n"
)
CUTS = "reel;date;kind;length (m)\nLW-1;31/12/2025 09:30;Cut;{}\n"


def rows_of(ours, form):
    parsed = list(files.cells_of(form, ours.splitlines(keepends=True)))
    assert not any(isinstance(each, files.FileProblem) for each in parsed), parsed
    return [files.read_row(form, *each) for each in parsed if isinstance(each, tuple)]


def test_a_sheet_with_other_names_and_one_column_more_becomes_a_file_of_ours_line_for_line():
    understood = replace(understand(SHEET), time_zone="Europe/Berlin")
    assert (understood.file, understood.separator, understood.day_order) == ("counts.csv", ";", "dmy")
    assert questions(SHEET, understood) == []
    first, second = rows_of(as_ours(SHEET, understood, {"lw 1": "LW-0001"}), files.COUNTS)
    assert (first.line, first.values["reel"], first.values["counted_by"]) == (2, "LW-0001", "Tess Hollin")
    assert first.values["counted_at"] == datetime(2025, 12, 31, 8, 30, tzinfo=UTC)  # Berlin is an hour ahead in winter
    assert (second.line, second.values["document"]) == (4, None)


@given(
    day=st.dates(date(2000, 1, 1), date(2030, 1, 1)),
    order=st.sampled_from(["dmy", "mdy"]),
    mark=st.sampled_from("./-"),
)
def test_a_date_is_read_in_its_own_order_or_asked_about(day, order, mark):
    parts = (day.day, day.month) if order == "dmy" else (day.month, day.day)
    text = (
        f"serial;type;site;received on;cable length\nLW-1;w28;base;{parts[0]:02}{mark}{parts[1]:02}{mark}{day.year};\n"
    )
    understood = understand(text)
    if day.day > 12:
        assert understood.day_order == order
    else:  # it could be either, which nobody guesses
        assert (understood.day_order, questions(text, understood)) == ("", ["day_order"])
    (row,) = rows_of(as_ours(text, replace(understood, day_order=order)), files.REELS)
    assert row.values["received_on"] == day


def test_dates_that_contradict_each_other_are_asked_about():
    text = "serial;type;site;received on;cable length\na;w;s;13/01/2026;\nb;w;s;01/13/2026;\n"
    assert questions(text, understand(text)) == ["day_order"]


@given(
    st.decimals(min_value="0.001", max_value="99999", places=3, allow_nan=False), st.sampled_from(",."), st.booleans()
)
def test_a_length_is_read_by_its_decimal_mark_with_or_without_groups(value, mark, is_grouped):
    english = f"{value:,.3f}" if is_grouped else f"{value:.3f}"
    cell = english if mark == "." else english.translate(str.maketrans(",.", ".,"))
    text = CUTS.format(cell)
    understood = understand(text)
    assert understood.decimal_mark in ("", mark)
    (row,) = rows_of(as_ours(text, replace(understood, decimal_mark=mark, time_zone="UTC")), files.CABLE_EVENTS)
    assert row.values["length_removed_m"] == value


@pytest.mark.parametrize(
    ("cell", "mark", "asked"),
    [("12,5", ",", []), ("12.5", ".", []), ("1,250", "", ["decimal_mark"]), ("1.250", "", ["decimal_mark"]),
     ("1.250,5", ",", []), ("12", "", [])],
)  # fmt: skip
def test_what_a_number_leaves_open_is_asked(cell, mark, asked):
    text = CUTS.format(cell)
    understood = understand(text)
    assert (understood.decimal_mark, questions(text, understood)) == (mark, ["time_zone", *asked])
    assert questions(text, replace(understood, time_zone="UTC")) == asked


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_the_separator_is_told_by_the_headings(separator):
    out = StringIO()
    csv.writer(out, delimiter=separator).writerows(csv.reader(StringIO(SHEET), delimiter=";"))
    assert understand(out.getvalue()) == replace(understand(SHEET), separator=separator)


def test_a_line_that_names_the_separator_is_no_heading():
    understood = replace(understand("sep=;\r\n" + SHEET), time_zone="UTC")
    rows = rows_of(as_ours("sep=;\r\n" + SHEET, understood), files.COUNTS)
    assert [row.line for row in rows] == [3, 5]


@pytest.mark.parametrize(
    ("clock", "zone"), [("29.03.2026 02:30", "Europe/Berlin"), ("25.10.2026 02:30", "Europe/Berlin")]
)
def test_a_time_that_is_twice_or_never_is_left_for_its_sender_to_say(clock, zone):
    text = SHEET.replace("31.12.2025 09:30", clock)
    understood = replace(understand(text), time_zone=zone, day_order="dmy")
    (problem,) = rows_of(as_ours(text, understood), files.COUNTS)[0]
    assert (problem.column, problem.line) == ("counted_at", 2)


def test_without_a_zone_or_a_time_of_day_a_moment_is_refused_in_words():
    text = SHEET.replace(" 09:30", "")
    understood = understand(text)
    assert isinstance(rows_of(as_ours(text, understood), files.COUNTS)[0], list)
    said = replace(understood, time_zone="UTC", time_of_day="12:00")
    assert rows_of(as_ours(text, said), files.COUNTS)[0].values["counted_at"].hour == 12


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_a_byte_order_mark_is_no_part_of_the_first_heading(encoding):
    assert understand(text_of(SHEET.encode(encoding))) == understand(SHEET)


@pytest.mark.parametrize("content", [b"reel;\xe4\n", b"PK\x03\x04\x00\x00"])
def test_what_is_no_text_says_so(content):
    with pytest.raises(NotRead, match=r"UTF-8|no text"):
        text_of(content)


@pytest.mark.parametrize("spelt", ["lw1", "LW 0001", "lw_01", "Lw-1"])
def test_a_serial_is_known_in_other_spellings(spelt):
    assert spellings_of([spelt], ["LW-0001", "LW-0010"]) == {spelt: "LW-0001"}


def test_a_spelling_that_could_mean_two_reels_means_none():
    assert serial_key("LW-1") == serial_key("LW-01")
    assert spellings_of(["lw1", "LW-1", "LW-2", "?"], ["LW-1", "LW-01"]) == {}


@given(st.lists(st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=20), max_size=6))
def test_no_file_whatever_makes_it_stumble(lines):
    text = "\n".join(lines)
    understood = understand(text)
    asked = questions(text, understood)
    assert asked == ["file"] or understood.form


def test_refused_rows_come_back_as_they_were_with_why_and_without_formulas():
    text = SHEET.replace("Tess Hollin", "=1+1")
    understood = understand(text)
    problem = files.problem("counts.csv", 2, "reel", "lw 1", "a reel of the records")
    header, row = list(csv.reader(StringIO(refused_rows(text, understood, [problem])), delimiter=";"))
    assert header[-1] == "why it was refused"
    assert row[:2] == ["lw 1", "31.12.2025 09:30"]
    assert (row[4], row[-1]) == ("'=1+1", "reel: 'lw 1' was seen; allowed: a reel of the records")
