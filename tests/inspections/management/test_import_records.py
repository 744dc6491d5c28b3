from dataclasses import replace
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from inspections.domain.intake.understanding import understand
from inspections.models import ImportedCount
from inspections.services.intake import mappings
from reels.models import Person
from reels.services.history import Actor
from tests import builders
from tests.builders import NOW

pytestmark = pytest.mark.django_db

TYPES = (
    "code,core_diameter_mm,cable_diameter_mm,wraps_odd_layer,wraps_even_layer,max_layers,layer_rise_mm,anchor_side,"
    "lead_wraps\nw28,300,10,28,27,20,,left,1\n"
)
REELS = "serial,type,site,received_on,cable_length_m\nLW-0001,w28,kettle-point,2024-03-01,420\n"
HEADER = "reel,counted_at,layers,wraps,counted_by,verified_by,document\n"
COUNTS = HEADER + "LW-0001,2025-03-01T10:00:00Z,12,9,,,\n"


@pytest.fixture
def folder(tmp_path):
    for name, content in (("reel_types.csv", TYPES), ("reels.csv", REELS), ("counts.csv", COUNTS)):
        (tmp_path / name).write_text(content, encoding="utf-8")
    return tmp_path


def run(folder, *options):
    out, err = StringIO(), StringIO()
    call_command("import_records", str(folder), *options, stdout=out, stderr=err)
    return out.getvalue(), err.getvalue()


def test_a_folder_is_brought_into_an_empty_database(folder):
    out, _ = run(folder)
    assert out == (
        "Stored: 1 row of reel_types.csv, 1 row of reels.csv, 1 row of counts.csv. There already: 0 rows. "
        "New sites: kettle-point.\n"
    )


def test_a_dry_run_leaves_even_an_empty_database_empty(folder):
    out, _ = run(folder, "--dry-run")
    assert out.startswith("Would be stored: 1 row of reel_types.csv")
    assert (ImportedCount.objects.count(), Person.objects.count()) == (0, 0)


def test_bad_rows_are_printed_up_to_a_hundred_and_the_rest_is_counted(folder):
    (folder / "counts.csv").write_text(HEADER + "LW-0001,today,12,9,,,\n" * 130, encoding="utf-8")
    with pytest.raises(CommandError) as caught:
        run(folder)
    told = str(caught.value).splitlines()
    assert told[0].startswith(
        "counts.csv, line 2, column counted_at: 'today' was seen; allowed: a time with its offset"
    )
    assert (len(told), told[100]) == (102, "… and 30 more")
    assert told[101] == "Problems in the files: 130. Nothing was stored."
    assert Person.objects.count() == 0


def test_the_administrator_who_does_it_may_be_named(folder):
    builders.administrator()
    builders.make_person("noel")
    for name in ("noel", "nobody"):
        with pytest.raises(CommandError, match="the user name of an active administrator"):
            run(folder, "--as", name)
    run(folder, "--as", "ada")
    assert ImportedCount.objects.count() == 1


def test_a_folder_with_none_of_the_files_and_a_file_that_is_none_of_them_are_told(folder, tmp_path):
    (folder / "count.csv").write_text("", encoding="utf-8")
    assert run(folder)[1] == "count.csv is none of the files that are brought in; it is left alone.\n"
    with pytest.raises(CommandError, match="holds none of"):
        run(tmp_path / "elsewhere")


SHEET = "Reel no;Date;Layers;Wraps;Colour\nlw 1;13.02.2026 09:30;12;10;red\nLW-9;14.02.2026 09:30;12;10;\n"


@pytest.fixture
def sheet(tmp_path):
    builders.make_reel()
    understood = replace(understand(SHEET), time_zone="Europe/Berlin")
    mappings.keep(name="Counts", understood=understood, used=None, actor=Actor(builders.administrator()), at=NOW)
    file = tmp_path / "of the base.csv"
    file.write_bytes(SHEET.encode("utf-8-sig"))
    return file


def test_a_check_says_by_reason_what_is_wrong_gives_the_rows_back_and_ends_with_one(sheet, tmp_path, capsys):
    out = StringIO()
    with pytest.raises(SystemExit) as ended:
        call_command("import_records", str(sheet), "--mapping", "Counts", "--check", "--refused", str(tmp_path / "bad"),
                     stdout=out)  # fmt: skip
    assert ended.value.code == 1
    told = out.getvalue().splitlines()
    assert told[0] == ("Would be stored: 1 row. There already: 0 rows. Refused: 1 row, so that nothing is stored.")
    assert told[1] == "1 times in counts.csv, column reel; allowed: a reel of the records or of reels.csv"
    lines = (tmp_path / "bad" / "refused of the base.csv").read_text("utf-8-sig").splitlines()
    assert len(lines) == 2
    assert lines[1].startswith("LW-9;14.02.2026 09:30;12;10;;")
    assert ImportedCount.objects.count() == 0


def test_a_sheet_is_checked_and_stored_by_the_name_of_its_mapping(sheet):
    sheet.write_text(SHEET.rpartition("LW-9")[0], encoding="utf-8")
    assert run(sheet, "--mapping", "Counts", "--check")[0].startswith("Would be stored: 1 row of counts.csv.")
    assert ImportedCount.objects.count() == 0
    assert run(sheet, "--mapping", "Counts")[0].startswith("Stored: 1 row of counts.csv.")
    assert ImportedCount.objects.get().counted_at.isoformat() == "2026-02-13T08:30:00+00:00"
    assert run(sheet, "--mapping", "Counts")[0] == "Stored: nothing new. There already: 1 row.\n"


@pytest.mark.parametrize(
    ("text", "mapping", "says"),
    [(SHEET.replace("Wraps", "Turns"), "Counts", "it has no column Wraps"),
     (SHEET, "Count", "There is no mapping 'Count'"),
     (SHEET.replace("13.02", "03.02").replace("14.02", "04.02"), "Open", "whether the day or the month"),
     (SHEET, None, "is a file: name the --mapping")],
)  # fmt: skip
def test_what_keeps_a_sheet_from_being_read_is_said(sheet, text, mapping, says):
    open_one = replace(understand(SHEET), time_zone="UTC", day_order="")
    mappings.keep(name="Open", understood=open_one, used=None, actor=Actor(builders.administrator()), at=NOW)
    sheet.write_text(text, encoding="utf-8")
    with pytest.raises(CommandError, match=says):
        run(sheet, *(("--mapping", mapping) if mapping else ()))
