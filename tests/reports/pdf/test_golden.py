"""What people receive, held word for word, and byte for byte.

After a change that is meant: raise FORM in reports/pdf/sheets/inspection.py if the bytes of the inspection's record
changed, run with UPDATE_GOLDEN=1, look at every page as a picture, and read the difference like code.
"""

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from inspections.queries.parameters import rule_parameters
from reels.domain import ledger
from reports.domain.agreement import Comparison, agreement_of
from reports.domain.drift_figure import CountPoint, Course, course_figure
from reports.pdf.facts import DriftLine, HistoryLine, SetupCard
from reports.pdf.sheets import drift as drift_sheets
from reports.pdf.sheets import history as history_sheet
from reports.pdf.sheets import setup, worksheet
from reports.pdf.sheets.agreement import agreement_sheet
from reports.pdf.sheets.drift import CourseSheet
from reports.pdf.sheets.inspection import FORM, inspection_pdf
from tests.builders import NOW
from tests.reports.domain.agreement.test_report import fleet
from tests.reports.pdf.sample_facts import FINDING, PARAMETERS, SETUP, TESS, VIC, facts, keyed, moment, record
from tests.reports.programs import run

GOLDEN = Path(__file__).parent / "golden"
MADE_WITH = {"form": FORM, "reportlab": "5.1.0", "pikepdf": "10.18.0"}


def long_record():
    """Many attempts, a long remark and names in scripts that the fonts have, and have not."""
    remark = "Wound unevenly near the right flange; re-spooled. " * 60
    people = [
        {"role": "technician", "joined_at": moment(0), **TESS, "name": "Żaneta Čermák-Ηλίας"},
        {"role": "verifier", "joined_at": moment(1), **VIC, "name": "Вера 日本 בר"},
    ]
    last = {**record()["readings"][1], "keyed": keyed(20, attempts=15)}
    preparation = {**record()["preparation"], "respooled": True}
    findings = [{**FINDING, "words": remark}]
    return facts(
        {"setup_values": []}, participants=people, readings=[last], preparation=preparation, findings=findings,
        parameters={**PARAMETERS, "crossover_begins_layer": False},
    )  # fmt: skip


TOLD = (
    "Hand count: keyed by the technician",
    "Cable cut\n12.5 m removed.\nThe outer end was frayed over the last two metres, and birdcaged behind that.",
    "Setup values issued for machine RM-7\n12 layers, 10 wraps, even.",
)


def history():
    lines = [
        HistoryLine(seq=n, at=datetime.fromisoformat(moment(n)), act=TOLD[n % 3], by="Tess Hollin", digest=f"{n:064x}")
        for n in range(1, 50)
    ]
    return history_sheet.reel_history("LW-0001", [("Reel type", "w28"), ("Site", "Kettle Point")], lines, at=NOW,
                                      clocks="Europe/Berlin")  # fmt: skip


def card(**changes):
    one = SetupCard(
        reel="LW-0001", inspection=7, record_digest="ab" * 32, host="Heron 3", values={**SETUP, **changes},
        length={"value_m": "318.4", "standard_u_m": "0.8"}, count_stands="stands, current until 2026-06-30 09:00 UTC",
        clocks="Europe/Berlin",
    )  # fmt: skip
    return setup.setup_card(one, at=NOW)


def drift():
    """More than a page of intervals, one of them flagged."""
    lines = [line(n) for n in range(24)]
    said = "Intervals: all. Reels of every site and every type."
    return drift_sheets.fleet_drift(lines, filters=said, left_out="7", as_of="2026-02-28", at=NOW)


def line(n):
    explanation = (
        "From 2026-01-04 to 2026-01-18 the counts make the cable 9.8 m shorter and no cut is logged; 5 of 5 counts "
        "before it hold to the longer cable and 4 of 4 counts after it to the shorter; about 10.6 m are missing (9.4 "
        "to 11.6 m)."
    )
    return DriftLine(
        reel=f"LW-{n:04}", from_at=datetime(2026, 1, 4, tzinfo=UTC), to_at=datetime(2026, 1, 18, tzinfo=UTC),
        p="under 1 %" if n else "over 99 %", p_then="96 %", change="−9.8 m", logged="none", is_flagged=not n,
        explanation=explanation,
    )  # fmt: skip


def reel_drift():
    begin = datetime(2026, 1, 4, tzinfo=UTC)
    times = [begin + timedelta(days=14 * n) for n in range(6)]
    lengths = (440.0, 441.6, 440.0, 430.1, 429.0, 429.9)
    points = tuple(
        CountPoint(at=at, counted=long, inferred=440.0 if n < 3 else 429.7, p_slip=0.9 * (n == 1))
        for n, (at, long) in enumerate(zip(times, lengths, strict=True))
    )
    finding = "Between 1 Feb 2026 and 15 Feb 2026 an unlogged loss is probable (over 99 %)."
    course = Course(unit="m", counts=points, cuts=(times[1],), flagged=((times[2], times[3]),))
    sheet = CourseSheet(
        reel="LW-0001", finding=finding, picture=course_figure(course, finding), lines=[line(0), line(1)],
        counts=[(at, "12 layers, 10 wraps, even", "440 m", "440 m", "") for at in times], cuts=[(times[1], "1.5 m")],
    )  # fmt: skip
    return drift_sheets.reel_drift(sheet, as_of="", at=NOW)


VOID = {"requested_by": VIC, "requested_at": moment(0, 3), "reason": "wrong reel on the stand", "confirmed_by": None,
        "confirmed_at": None}  # fmt: skip
INSTALLED = {"scale_line_at": "forward", "reference_side": "left", "winding_sense": "counter_clockwise"}
RULES = rule_parameters(PARAMETERS)
DOCUMENTS = {
    "inspection": lambda: inspection_pdf(facts({"made_with": MADE_WITH})),
    "inspection-long": lambda: inspection_pdf(long_record()),
    "inspection-void-asked": lambda: inspection_pdf(facts({"void": VOID, "setup_values": []})),
    "worksheet": lambda: worksheet.worksheet({**PARAMETERS, **INSTALLED}, RULES, "left", at=NOW),
    "setup-card": card,
    "setup-card-withdrawn": lambda: card(
        withdrawn_by=VIC, withdrawn_at=moment(0, 4), withdrawn_why="cut on 2026-03-04"
    ),
    "history": history,
    "repeatability": lambda: agreement_sheet(agreement_of(fleet(), Comparison.METHODS), [("Site", "Kettle")], at=NOW),
    "drift": drift,
    "drift-none": lambda: drift_sheets.fleet_drift((), filters="Intervals: flagged.", left_out="", as_of="", at=NOW),
    "reel-drift": reel_drift,
}


@pytest.mark.parametrize("name", DOCUMENTS)
def test_the_pages_say_what_they_said(name, tmp_path):
    path = tmp_path / "document.pdf"
    path.write_bytes(DOCUMENTS[name]())
    text = run("pdftotext", "-layout", path, "-")
    golden = GOLDEN / f"{name}.txt"
    if os.environ.get("UPDATE_GOLDEN"):
        golden.write_text(text, encoding="utf-8")
    assert text == golden.read_text(encoding="utf-8")


def test_the_bytes_of_this_form_are_what_they_were():
    golden = GOLDEN / f"inspection-form-{FORM}.sha256"
    digest = ledger.digest(DOCUMENTS["inspection"]()) + "\n"
    if os.environ.get("UPDATE_GOLDEN"):
        golden.write_text(digest)
    assert digest == golden.read_text()


def test_nothing_is_cut_off_however_much_there_is(tmp_path):
    path = tmp_path / "long.pdf"
    path.write_bytes(DOCUMENTS["inspection-long"]())
    text = " ".join(run("pdftotext", path, "-").split())
    assert text.count("Wound unevenly") == 60
    assert text.count("Flange scale, left") == 15
    assert "Żaneta Čermák-Ηλίας" in text
    assert "Вера [U+65E5 U+672C] [U+05D1 U+05E8]" in text
    assert "record.json has them as they were keyed" in text
    box = run("pdftotext", "-bbox", path, "-")
    right = [float(each.split('"')[0]) for each in box.split('xMax="')[1:]]
    assert max(right) <= 595.3 - 47


def test_every_page_names_record_digest_and_page(tmp_path):
    path = tmp_path / "document.pdf"
    content = facts({"made_with": MADE_WITH})
    path.write_bytes(inspection_pdf(content))
    pages = run("pdftotext", "-layout", path, "-").split("\f")[:-1]
    assert len(pages) == 4
    for number, page in enumerate(pages, start=1):
        assert f"Page {number} of 4" in " ".join(page.split())
        assert content.record_digest in page
        assert "Record 7" in page
