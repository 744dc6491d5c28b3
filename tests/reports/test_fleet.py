import subprocess
import sys
from functools import partial
from io import StringIO

import pytest
from django.core.management import call_command

from inspections.domain import drift
from reports import fleet
from reports.models import KeptSelfCheck
from reports.services.self_check import figures_of
from tests.inspections.services.intake.test_records import EVENTS_HEADER, TYPES
from tests.reports.fleet import bring_in_fleet, fleet_files

EVENTS = """LW-0002,2024-08-02T10:00:00Z,cut,4.5,2024-09-20T10:00:00Z,
LW-0003,2024-08-02T10:00:00Z,cut,2.5,,
LW-0004,2024-09-02T10:00:00Z,replaced,,,
LW-0004,2024-09-02T10:00:00Z,replaced,,,
"""


def write(folder, files):
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")
    return str(folder)


@pytest.mark.django_db
def test_files_give_the_same_bytes_as_the_records_they_are_brought_into(tmp_path, capsys):
    bring_in_fleet(EVENTS)
    report, err = StringIO(), StringIO()
    call_command("drift_report", stdout=report, stderr=err)
    assert fleet.main([write(tmp_path, fleet_files(EVENTS))]) == 0
    assert capsys.readouterr().out == report.getvalue() != ""


def test_a_folder_without_cable_events_will_do_and_rates_are_told_when_asked_for(tmp_path, capsys):
    files = fleet_files()
    del files["cable_events.csv"]
    assert fleet.main([write(tmp_path, files), "--rates"]) == 0
    printed = capsys.readouterr()
    assert ("LW-0001,2024-09-07" in printed.out.splitlines()[1], "a year." in printed.err) == (True, True)


@pytest.mark.django_db
def test_a_folder_checks_itself_as_its_records_do_and_that_is_kept(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(drift, "self_check", partial(drift.self_check, draws=1))
    bring_in_fleet(EVENTS)
    told = StringIO()
    call_command("drift_report", "--self-check", stdout=told, stderr=StringIO())
    assert fleet.main([write(tmp_path, fleet_files(EVENTS)), "--self-check"]) == 0
    assert capsys.readouterr().out == told.getvalue()
    assert told.getvalue().startswith("On fleets like yours ")
    [kept] = KeptSelfCheck.objects.all()
    assert f"{drift.check_in_words(figures_of(kept))}\n" == told.getvalue()


def test_neither_django_nor_a_database_is_loaded():
    told = "import sys, reports.fleet; print([name for name in sys.modules if name.partition('.')[0] == 'django'])"
    done = subprocess.run([sys.executable, "-c", told], check=True, capture_output=True, text=True)
    assert done.stdout == "[]\n"


def test_everything_that_cannot_be_taken_is_named_by_file_line_and_column(tmp_path, capsys):
    files = fleet_files()
    w28 = TYPES.splitlines()[1]
    unreadable, impossible = w28.replace("w28", "w0").replace(",20,", ",0,"), w28.replace("w28,300", "w1,999999")
    files["reel_types.csv"] += f"{unreadable}\n{impossible}\n"
    files["reels.csv"] += "".join(f"LW-001{n},w{n},kettle-point,2024-03-01,420\n" for n in (9, 0, 1))
    files["counts.csv"] += "LW-0019,2024-06-01T10:00:00Z,12,12,,,\nLW-0001,2024-12-24T10:00:00Z,12,99,,,\n"
    files["cable_events.csv"] = EVENTS_HEADER + "LW-0008,2024-08-02T10:00:00Z,cut,4.5,,\nLW-0001,today,cut,,,\n"
    assert fleet.main([write(tmp_path, files)]) == 1
    told = [line.partition(";")[0] for line in capsys.readouterr().err.splitlines()]
    assert sorted(told) == [
        "cable_events.csv, line 2, column reel: 'LW-0008' was seen",
        "cable_events.csv, line 3, column happened_at: 'today' was seen",
        "counts.csv, line 63, column wraps: '99' was seen",
        "reel_types.csv, line 3, column max_layers: '0' was seen",
        "reel_types.csv, line 4, column core_diameter_mm: '999999.0' was seen",
        "reels.csv, line 7, column type: 'w9' was seen",
    ]


@pytest.mark.parametrize("broken", ["counts.csv", "reels.csv"])
def test_a_file_that_is_missing_or_not_utf_8_is_told(tmp_path, capsys, broken):
    write(tmp_path, fleet_files())
    (tmp_path / broken).write_bytes(b"reel\xff")
    assert fleet.main([str(tmp_path)]) == 1
    assert f"{broken}: a byte 0xff was seen; allowed: text in UTF-8" in capsys.readouterr().err
    (tmp_path / broken).unlink()
    assert fleet.main([str(tmp_path)]) == 1
    assert f"{broken}: it can't be read (No such file or directory)" in capsys.readouterr().err


@pytest.mark.parametrize("share", ["1", "-0.1", "nan"])
def test_a_share_of_false_flags_is_a_number_from_0_to_below_1(tmp_path, capsys, share):
    with pytest.raises(SystemExit):
        fleet.main([str(tmp_path), f"--false-share={share}"])
    assert "allowed: a number from 0 to below 1" in capsys.readouterr().err
