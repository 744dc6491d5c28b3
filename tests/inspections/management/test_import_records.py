from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from inspections.models import ImportedCount
from reels.models import Person
from tests import builders

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
    assert out.startswith("Would be stored (dry run): 1 row of reel_types.csv")
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
