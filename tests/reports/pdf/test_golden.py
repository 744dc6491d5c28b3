"""What people receive, held word for word, and byte for byte.

After a change that is meant: raise FORM in reports/pdf/sheets/inspection.py if the bytes of the inspection's record
changed, run with UPDATE_GOLDEN=1, look at every page as a picture, and read the difference like code.
"""

import io
import os
from datetime import UTC, datetime, timedelta
from pathlib import Path
from unicodedata import normalize

import pikepdf
import pytest

from inspections.queries.parameters import rule_parameters
from reels.domain import ledger
from reports.domain.agreement import Comparison, agreement_of
from reports.domain.drift_figure import CountPoint, Course, course_figure
from reports.pdf import style
from reports.pdf.facts import DriftLine, HistoryLine, SetupCard
from reports.pdf.sheets import drift as drift_sheets
from reports.pdf.sheets import history as history_sheet
from reports.pdf.sheets import setup, worksheet
from reports.pdf.sheets.agreement import agreement_sheet
from reports.pdf.sheets.drift import CourseSheet
from reports.pdf.sheets.inspection import FORM, inspection_pdf
from tests.builders import NOW
from tests.reports.domain.agreement.test_report import fleet
from tests.reports.pdf.heard import heard
from tests.reports.pdf.sample_facts import FINDING, MONA, PARAMETERS, SETUP, TESS, VIC, facts, keyed, moment, record
from tests.reports.programs import run

GOLDEN = Path(__file__).parent / "golden"
MADE_WITH = {"form": FORM, "reportlab": "5.1.0", "pikepdf": "10.18.0", "uharfbuzz": "0.57.0", "python-bidi": "0.6.12"}


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
    p = "over 99\u00a0%" if n == 0 else "12\u00a0%" if n < 4 else "under 1\u00a0%"
    return DriftLine(
        reel=f"LW-{n:04}", from_at=datetime(2026, 1, 4, tzinfo=UTC), to_at=datetime(2026, 1, 18, tzinfo=UTC),
        p=p, p_then="96 %", change="−9.8 m", logged="none", is_flagged=not n,
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


NAMES = {
    "Latin": "Żaneta Čermák-Ηλίας", "Chinese": "王小明", "Japanese": "高橋さくら", "Arabic": "محمد الأمين",
    "Korean": "김민수", "Hebrew": "דָּוִד בן־עמי", "Devanagari": "प्रिया शर्मा", "Cyrillic": "Вера Щукина", "Thai": "สมชาย",
}  # fmt: skip


def every_script():
    """Signers, findings and reasons in every script that the fonts have, and one (Thai) that they have not."""
    people = [
        {"role": "technician", "joined_at": moment(0), **TESS, "name": f"{NAMES['Arabic']} / {NAMES['Chinese']}"},
        {"role": "verifier", "joined_at": moment(1), **VIC, "name": f"{NAMES['Hebrew']} / {NAMES['Devanagari']}"},
    ]
    said = "; ".join(f"{script} {name} (S-12)" for script, name in NAMES.items())
    mixed = "السلك (cable) 12.5 m مقطوع، 3 أسلاك. " * 3 + "電纜外層磨損，已重新捲繞。" * 12
    return facts({"setup_values": []}, participants=people, findings=[{**FINDING, "words": f"{said}\n{mixed}"}])


VOID = {"requested_by": VIC, "requested_at": moment(0, 3), "reason": "wrong reel on the stand", "confirmed_by": None,
        "confirmed_at": None}  # fmt: skip
LONG_REASON = "wrong reel on the stand; " * 40
VOIDED = {**VOID, "reason": LONG_REASON, "confirmed_by": TESS, "confirmed_at": moment(0, 3)}
REFERRAL = {
    "referred_at": moment(5), "referred_by": TESS, "proposed": None, "released_at": moment(8), "released_by": MONA,
    "decision": "count_again", "why": "Help was asked for.", "reason": "Read again with a lamp.",
}  # fmt: skip
SUPERSEDED = {"superseded": {"at": moment(0, 3), "by": 9}}
PLAIN = {"findings": [], "rereads": 0, "readings": [
    {**record()["readings"][1], "number": 1, "third_readings": [], "surprise_accepted": None},
]}  # fmt: skip
INSTALLED = {"scale_line_at": "forward", "reference_side": "left", "winding_sense": "counter_clockwise"}
RULES = rule_parameters(PARAMETERS)
DOCUMENTS = {
    "inspection": lambda: inspection_pdf(facts({"made_with": MADE_WITH})),
    "inspection-long": lambda: inspection_pdf(long_record()),
    "inspection-void-asked": lambda: inspection_pdf(facts({"void": VOID, "setup_values": []})),
    "inspection-plain": lambda: inspection_pdf(facts({"setup_values": []}, **PLAIN)),
    "inspection-every-script": lambda: inspection_pdf(every_script()),
    "inspection-voided": lambda: inspection_pdf(facts({"void": VOIDED, "state": "voided"})),
    "inspection-superseded": lambda: inspection_pdf(facts(SUPERSEDED, referrals=[REFERRAL], from_paper=True)),
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
    assert "Вера 日本" in text
    box = run("pdftotext", "-bbox", path, "-")
    right = [float(each.split('"')[0]) for each in box.split('xMax="')[1:]]
    assert max(right) <= 595.3 - 47


def test_every_script_is_shown_and_what_no_font_has_is_named(tmp_path):
    path = tmp_path / "scripts.pdf"
    path.write_bytes(DOCUMENTS["inspection-every-script"]())
    told = " ".join(text for _, text in heard(path.read_bytes()))
    for script in ("Latin", "Chinese", "Japanese", "Arabic", "Hebrew", "Devanagari", "Cyrillic"):
        assert normalize("NFC", NAMES[script]) in told, script
    assert "Thai [U+0E2A U+0E21 U+0E0A U+0E32 U+0E22]" in told
    assert {"NotoSansArabic-Bold", "NotoSansHebrew-Bold", "NotoSansDevanagari-Bold", "DroidSansFallback"} <= {
        line.split()[0].partition("+")[2] for line in run("pdffonts", path).splitlines()[2:]
    }


def pages_of(content, folder):
    path = folder / "document.pdf"
    path.write_bytes(content)
    return run("pdftotext", "-layout", path, "-").split("\f")[:-1]


def test_every_page_names_the_document_the_digest_and_the_page(tmp_path):
    content = facts({"made_with": MADE_WITH})
    pages = pages_of(inspection_pdf(content), tmp_path)
    assert len(pages) == 4
    for number, page in enumerate(pages, start=1):
        assert f"Page {number} of 4" in " ".join(page.split())
        assert content.record_digest in page
        assert "Document 2 of inspection 7, replaces 1" in page
        assert "STANDS, AS OF 2026-03-03" in page


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("inspection-voided", "VOIDED 2026-03-03 10:00 CET: wrong reel on the stand"),
        ("inspection-superseded", "SUPERSEDED 2026-03-03 10:00 CET: inspection 9 is a newer signed count of the reel"),
        ("inspection-void-asked", "VOID ASKED FOR 2026-03-03 10:00 CET, not confirmed: wrong reel on the stand"),
        ("setup-card-withdrawn", "WITHDRAWN 2026-03-04 10:00 CET: cut on 2026-03-04. Do not set these values."),
    ],
)
def test_what_does_not_stand_says_so_on_every_page_with_date_and_reason(name, said, tmp_path):
    pages = pages_of(DOCUMENTS[name](), tmp_path)
    assert [said in " ".join(page.split()) for page in pages] == [True] * len(pages)
    assert "Layers" in pages[0]


def lines_through(content):
    """How many lines of page 1 are as thick as what strikes a figure of the result through."""
    with pikepdf.open(io.BytesIO(content)) as pdf:
        width, found = 0.0, 0
        for instruction in pikepdf.parse_content_stream(pdf.pages[0]):
            width = float(instruction.operands[0]) if str(instruction.operator) == "w" else width
            found += str(instruction.operator) == "S" and abs(width - style.STRUCK.size / 14) < 0.01
        return found


def test_numbers_that_are_not_valid_are_struck_through_and_no_others():
    assert lines_through(DOCUMENTS["inspection-plain"]()) == lines_through(DOCUMENTS["setup-card"]()) == 0
    for name in ("inspection-voided", "inspection-superseded", "setup-card-withdrawn"):
        assert lines_through(DOCUMENTS[name]()) == 3, name


def test_a_long_reason_is_short_on_page_1_and_in_full_in_the_annex(tmp_path):
    first, *others = pages_of(DOCUMENTS["inspection-voided"](), tmp_path)
    assert "Signed by" in first
    assert "Stop and ask when a reading does not fit." in first
    assert " ".join("".join(others).split()).count("wrong reel on the stand") >= 40


def test_a_plain_inspection_is_one_page_and_an_annex_of_two(tmp_path):
    first, *annex = pages_of(DOCUMENTS["inspection-plain"](), tmp_path)
    assert len(annex) <= 2
    for said in (
        "Larkspur Water Survey · Kettle Point",
        "318.4 m ± 0.8 m",
        "Tess Hollin",
        "Vic Amberley",
        "seen from the left",
    ):
        assert said in first
