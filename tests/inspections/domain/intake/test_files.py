from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from inspections.domain.intake.files import (
    CABLE_EVENTS,
    COUNTS,
    REEL_TYPES,
    REELS,
    FileProblem,
    FileRow,
    cells_of,
    day,
    moment,
    number,
    read_row,
    whole,
)

COUNT = {
    "reel": "LW-1", "counted_at": "2025-03-01T10:00:00+01:00", "layers": "12", "wraps": "3", "counted_by": "Ann",
    "verified_by": "", "document": "WO-1",
}  # fmt: skip


def told(found):
    return [str(each) for each in found if isinstance(each, FileProblem)]


def test_a_row_is_read_into_values_and_an_empty_cell_into_none():
    row = read_row(COUNTS, 2, COUNT)
    assert isinstance(row, FileRow)
    assert row.values == {
        "reel": "LW-1", "counted_at": datetime(2025, 3, 1, 9, tzinfo=UTC), "layers": 12, "wraps": 3,
        "counted_by": "Ann", "verified_by": None, "document": "WO-1",
    }  # fmt: skip


def test_every_bad_cell_of_a_row_is_named_with_what_was_seen_and_what_is_allowed():
    problems = read_row(COUNTS, 7, {**COUNT, "layers": "-1", "wraps": "x"})
    assert isinstance(problems, list)
    assert [str(each) for each in problems] == [
        "counts.csv, line 7, column layers: '-1' was seen; allowed: a whole number from 0 to 32767",
        "counts.csv, line 7, column wraps: 'x' was seen; allowed: a whole number from 0 to 32767",
    ]


NO_LENGTHS = [
    "NaN", "nan", "inf", "-Infinity", "-1", "-0.5", "0", "0.0001", "1,5", "1_0", "1e9", "", " ", "９", "1e999999999",
    "0x10",
]  # fmt: skip
NO_MOMENTS = [
    "2025-03-01", "2025-03-01T10:00:00", "2025-03-01T10:00Z", "01.03.2025 10:00:00Z", "2025-02-30T10:00:00Z",
    "2025-03-01T25:00:00Z", "2025-03-01T10:00:00+0100",
]  # fmt: skip


@pytest.mark.parametrize("cell", NO_LENGTHS)
def test_a_length_that_is_none_is_refused(cell):
    with pytest.raises(ValueError, match="more than 0"):
        number(above_zero=True)(cell)


@pytest.mark.parametrize(
    ("cell", "value"), [("12.5", "12.500"), ("+3", "3.000"), ("1e-2", "0.010"), (".5", "0.500"), ("8.66025", "8.660")]
)
def test_a_length_keeps_three_decimals(cell, value):
    assert str(number(above_zero=True)(cell)) == value


@pytest.mark.parametrize("cell", NO_MOMENTS)
def test_a_time_that_is_not_rfc_3339_or_has_no_offset_is_refused(cell):
    with pytest.raises(ValueError, match="offset from UTC"):
        moment(cell)


def test_times_of_rfc_3339_are_taken_in_all_their_forms():
    same = datetime(2025, 3, 1, 10, 0, 0, 500_000, tzinfo=UTC)
    forms = ("2025-03-01T10:00:00.5Z", "2025-03-01t10:00:00.500z", "2025-03-01 12:00:00.5+02:00")
    assert [moment(form) for form in forms] == [same] * 3


def test_a_day_and_a_whole_number_are_taken_only_as_such():
    assert day("2024-02-29") == date(2024, 2, 29)
    assert whole(2)("28") == 28
    for read, cell in ((day, "2025-02-29"), (day, "20250301"), (whole(2), "1"), (whole(0), "3.0"), (whole(0), "99999")):
        with pytest.raises(ValueError, match=r"as 2026|whole number"):
            read(cell)


def test_columns_may_come_in_any_order_and_lines_are_those_of_the_file():
    lines = ["site,serial,type,received_on,cable_length_m\n", '"Kettle\n', 'Point",LW-1,w28,2024-01-01,\n', "\n",
             "a,LW-2,w28,2024-01-01,40\n"]  # fmt: skip
    assert [found[0] for found in cells_of(REELS, lines) if isinstance(found, tuple)] == [2, 5]


def test_unknown_missing_and_doubled_columns_are_named():
    assert told(cells_of(CABLE_EVENTS, ["reel,happened_at,kind,length,recorded_at,document,reel\n"])) == [
        "cable_events.csv, line 1, column length: an unknown column; allowed: reel, happened_at, kind, "
        "length_removed_m, recorded_at, document; if wanted cable_serial",
        "cable_events.csv, line 1, column reel: the column twice; allowed: once",
        "cable_events.csv, line 1, column length_removed_m: the column is missing; allowed: reel, happened_at, kind, "
        "length_removed_m, recorded_at, document; if wanted cable_serial",
    ]


def test_the_wanted_columns_of_a_type_may_be_absent_and_are_then_not_said():
    required = [column.name for column in REEL_TYPES.columns if column.is_required]
    [found] = cells_of(REEL_TYPES, [",".join(required), "w28,300,10,28,27,20,,left,1"])
    assert isinstance(found, tuple)
    row = read_row(REEL_TYPES, *found)
    assert isinstance(row, FileRow)
    assert row.values["layer_rise_mm"] is None
    assert row.values["core_diameter_mm"] == Decimal(300)
    assert "pitch_mm" not in row.values


def test_an_empty_file_a_short_row_and_an_open_quote_are_told():
    header = ",".join(column.name for column in REELS.columns if column.is_required) + "\n"
    assert told(cells_of(REELS, [])) == ["reels.csv: the file is empty; allowed: a header row"]
    assert told(cells_of(REELS, [header, "LW-1,w28\n"])) == [
        "reels.csv, line 2: 2 cells were seen; allowed: 5, as many as the header has"
    ]
    [open_quote] = told(cells_of(REELS, [header, 'LW-1,"w28,a,2024-01-01,\n']))
    assert open_quote.startswith("reels.csv, line 2: unexpected end of data")
