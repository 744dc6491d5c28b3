import json
import zipfile

import pytest
from django.core.management import CommandError, call_command

from reels.domain import ledger
from tests.builders import Cast
from tests.reports.documented import documents, signed

pytestmark = pytest.mark.django_db


@pytest.fixture
def inspections():
    cast = Cast.as_needed()
    return [signed(cast, serial) for serial in ("LW-0001", "LW-0002")]


def test_every_document_is_written_with_a_manifest_and_how_far_it_is_is_said(inspections, tmp_path, capsys):
    path = tmp_path / "out.zip"
    call_command("export_documents", str(path))
    with zipfile.ZipFile(path) as bundle:
        assert bundle.testzip() is None
        files = json.loads(bundle.read("manifest.json"))["files"]
        assert [each["digest"] for each in files] == [documents(each)[0].digest for each in inspections]
        assert all(ledger.digest(bundle.read(each["name"])) == each["digest"] for each in files)
    printed = capsys.readouterr()
    assert printed.err == "2 of 2 documents\n"
    assert printed.out == f"{path}: 2 documents, {path.stat().st_size} bytes\n"


def test_what_is_asked_for_is_written(inspections, tmp_path):
    path = tmp_path / "out.zip"
    call_command("export_documents", str(path), "--reel", "LW-0002", "--since", "2026-03-02", "--until", "2026-03-03")
    with zipfile.ZipFile(path) as bundle:
        assert [name.split("/")[0] for name in bundle.namelist()] == ["LW-0002", "manifest.json"]


def test_a_file_that_is_there_is_not_written_over(inspections, tmp_path):
    path = tmp_path / "out.zip"
    path.write_text("kept")
    with pytest.raises(CommandError, match="File exists"):
        call_command("export_documents", str(path))
    assert path.read_text() == "kept"
