"""CSV for people: what a spreadsheet would work out is a text to it, and a number a number."""

import csv
from decimal import Decimal

import pytest

from reports.domain.written import csv_lines


@pytest.mark.parametrize(
    ("cell", "written"),
    [
        ("=1+2", "'=1+2"), ("+CMD", "'+CMD"), ("-see the log", "'-see the log"), ("@SUM(A1)", "'@SUM(A1)"),
        ("\tx", "'\tx"), ("-1.5", "-1.5"), ("+2e-05", "+2e-05"), (-3, "-3"), (Decimal("-0.25"), "-0.25"),
        ("LW-0001", "LW-0001"), ("", ""), (None, ""),
    ],
)  # fmt: skip
def test_no_text_is_taken_for_a_formula(cell, written):
    assert list(csv.reader(csv_lines(("remark",), [(cell, "x")]))) == [["remark"], [written, "x"]]
