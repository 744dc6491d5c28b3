"""PDF/A, tags and attachments, as outside programs see them; each check is shown to be able to fail."""

import hashlib
import io
import subprocess
import sys
from datetime import datetime
from itertools import pairwise

import pikepdf
import pikepdf.pdfa
import pytest
from reportlab.pdfgen.canvas import Canvas

from reports.pdf.pdfa import write_pdfa
from reports.pdf.sheets.inspection import inspection_pdf, render_inspection
from tests.builders import NOW
from tests.reports.pdf.sample_facts import facts
from tests.reports.pdf.test_golden import history
from tests.reports.programs import preflight, run


@pytest.fixture(scope="module")
def content():
    return inspection_pdf(facts())


@pytest.fixture
def path(content, tmp_path):
    path = tmp_path / "document.pdf"
    path.write_bytes(content)
    return path


def verdict(pdf):
    return str(pikepdf.pdfa.check(pdf, "3b").verdict)


# PDF/A --------------------------------------------------------------------------------------------------------------


def test_the_validator_of_pikepdf_passes_it(content):
    with pikepdf.open(io.BytesIO(content)) as pdf:
        assert verdict(pdf).endswith("pass")


def no_intent(pdf):
    del pdf.Root.OutputIntents


def no_metadata(pdf):
    del pdf.Root.Metadata


def script(pdf):
    pdf.Root.OpenAction = pikepdf.Dictionary(S=pikepdf.Name.JavaScript, JS=pikepdf.String("app.alert(1)"))


def no_relation(pdf):
    del pdf.Root.AF


def no_font(pdf):
    for font in pdf.pages[0].Resources.Font.values():
        del font.FontDescriptor["/FontFile2"]


@pytest.mark.parametrize("spoil", [no_intent, no_metadata, script, no_relation, no_font])
def test_the_validator_of_pikepdf_does_not_pass_what_is_spoilt(content, spoil):
    with pikepdf.open(io.BytesIO(content)) as pdf:
        spoil(pdf)
        assert not verdict(pdf).endswith("pass")


def test_a_second_validator_finds_the_same_pages_valid_as_part_1b(tmp_path):
    twin = tmp_path / "twin.pdf"
    twin.write_bytes(inspection_pdf(facts(), "1b"))
    assert "is a valid PDF/A-1b file" in preflight(twin)


def test_the_second_validator_refuses_pages_that_were_not_made_archival(tmp_path):
    raw = tmp_path / "raw.pdf"
    raw.write_bytes(render_inspection(facts()).content)
    assert "is a valid PDF/A-1b file" not in preflight(raw)


# Structure ----------------------------------------------------------------------------------------------------------


def test_qpdf_finds_no_error(path):
    assert "No syntax or stream encoding errors found" in run("qpdf", "--check", path)


def test_qpdf_finds_the_error_in_a_cut_file(path, content):
    path.write_bytes(content[:-2000])
    assert "No syntax or stream encoding errors" not in run("qpdf", "--check", path, allowed=(2, 3))


def fonts(path):
    return [line.split()[-5:-2] for line in run("pdffonts", path).splitlines()[2:]]


def test_all_fonts_are_embedded_and_carry_their_characters(path):
    assert fonts(path) == [["yes", "yes", "yes"], ["yes", "yes", "yes"]]


def test_a_font_that_is_not_embedded_would_show(tmp_path):
    plain = tmp_path / "plain.pdf"
    canvas = Canvas(str(plain))
    canvas.setFont("Helvetica", 9)
    canvas.drawString(9, 9, "x")
    canvas.save()
    assert ["no", "no", "no"] in fonts(plain)


def test_title_and_language_are_there_and_the_title_is_shown(path):
    with pikepdf.open(path) as pdf:
        assert (str(pdf.Root.Lang), bool(pdf.Root.ViewerPreferences.DisplayDocTitle)) == ("en-GB", True)
        assert str(pdf.docinfo["/Title"]) == "Inspection 7 of reel LW-0001"


def test_the_only_time_in_it_is_that_of_its_drawing_up(path):
    printed = run("pdfinfo", "-isodates", path)
    assert [line.split()[-1] for line in printed.splitlines() if "Date" in line] == ["2026-03-03T09:00:00Z"] * 2


def titles(bookmarks):
    return {each.title: titles(each.children) for each in bookmarks}


def test_bookmarks_lead_to_every_heading(content):
    with pikepdf.open(io.BytesIO(content)) as pdf, pdf.open_outline() as outline:
        [parts] = titles(outline.root).values()
    assert {title: list(within) for title, within in parts.items()} == {
        "Result": [],
        "Annex: how it was counted": [
            "Preparation, and the rules of the type", "Findings, as they stood at the first signature",
            "Life of cable and reel, when counted", "People and authorisations", "Reading 1: reread",
            "Reading 2: accepted",
        ],
        "Setup values, as they stood on 2026-03-03 10:00:00 CET (09:00:00 UTC)": [
            "12 layers, 10 wraps (even) for machine RM-7",
        ],
    }  # fmt: skip


# Tags ---------------------------------------------------------------------------------------------------------------


def elements(node):
    for kid in node.get("/K", []):
        if isinstance(kid, pikepdf.Dictionary) and "/S" in kid:
            yield kid
            yield from elements(kid)


def tags(content):
    with pikepdf.open(io.BytesIO(content)) as pdf:
        nodes = list(elements(pdf.Root.StructTreeRoot))
        return [(str(each.S), str(each.get("/Alt", "")), str(each.get("/A", {}).get("/Scope"))) for each in nodes]


def test_figures_have_an_alternative_text(content):
    alternatives = [alt for tag, alt, _ in tags(content) if tag == "/Figure"]
    assert len(alternatives) == 2
    assert "12 full layers and 12 wraps on the part layer above them" in alternatives[0]
    assert "The crossover is in the first half." in alternatives[1]


def test_every_header_cell_says_of_what(content):
    scopes = {scope for tag, _, scope in tags(content) if tag == "/TH"}
    assert scopes == {"/Row", "/Column"}


def test_headings_go_down_one_level_at_a_time(content):
    levels = [int(tag[2]) for tag, _, _ in tags(content) if tag in ("/H1", "/H2", "/H3")]
    assert levels[0] == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


def marked(page):
    """The operators of a page that paint, each as the number of marks that it stands within."""
    depth = 0
    for instruction in pikepdf.parse_content_stream(page):
        name = str(instruction.operator)
        depth += (name in ("BDC", "BMC")) - (name == "EMC")
        if name in ("Tj", "TJ", "S", "f", "B", "Do", "f*", "b"):
            yield depth


def test_all_that_is_painted_is_content_or_artefact_and_never_both(content):
    with pikepdf.open(io.BytesIO(content)) as pdf:
        for page in pdf.pages:
            assert set(marked(page)) == {1}


def test_a_repeated_header_row_is_read_once(tmp_path):
    path = tmp_path / "long.pdf"
    path.write_bytes(history())
    assert run("pdftotext", path, "-").count("SHA-256 begins") == 3  # 49 entries take three pages
    assert run("pdfinfo", "-struct-text", path).count("SHA-256 begins") == 1


# Attachments and bytes ----------------------------------------------------------------------------------------------


def test_what_is_attached_is_what_it_was_made_from(path, tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    run("pdfdetach", "-saveall", "-o", out, path)
    assert {each.name: each.read_bytes() for each in out.iterdir()} == facts().attachments


def test_the_same_facts_give_the_same_bytes_in_any_process(content):
    code = (
        "import hashlib, sys; from tests.reports.pdf.sample_facts import facts;"
        "from reports.pdf.sheets.inspection import inspection_pdf;"
        "sys.stdout.write(hashlib.sha256(inspection_pdf(facts())).hexdigest())"
    )
    for seed, zone in (("1", "Asia/Tokyo"), ("2", "America/St_Johns")):
        env = {"PYTHONHASHSEED": seed, "TZ": zone, "PATH": "/usr/bin:/bin"}
        done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, check=True)
        assert done.stdout == hashlib.sha256(content).hexdigest()


def test_another_time_gives_other_bytes(content):
    later = write_pdfa(render_inspection(facts()), at=NOW, attachments=facts().attachments)
    assert datetime.fromisoformat(facts().situation_data["at"]) != NOW
    assert later != content
