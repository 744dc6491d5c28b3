"""The command that writes a folder of evidence; what is in it, and what its check finds: tests/reports/evidence."""

from pathlib import Path

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from reels.services import checkpoints
from tests import builders
from tests.builders import Cast, later
from tests.witnessing import countersign, witness

pytestmark = pytest.mark.django_db


def files_in(folder: Path) -> set[str]:
    return {each.relative_to(folder).as_posix() for each in folder.rglob("*") if each.is_file()}


def test_only_the_reels_that_were_asked_for_and_the_register_are_in_it(tmp_path, capsys):
    builders.make_reel("LW-0002")
    first = checkpoints.make(later(days=1))
    builders.make_reel("LW-0003")
    call_command("export_evidence", str(tmp_path / "all"), "--since", str(first.entries))
    call_command("export_evidence", str(tmp_path / "one"), "--reel", "LW-0003")
    assert f"files, as of the checkpoint over {first.entries + 1} entries" in capsys.readouterr().out
    more = files_in(tmp_path / "all") - files_in(tmp_path / "one")
    assert {each.split("-")[0] for each in more} == {
        "since.txt", "consistency.json", "histories/reel_LW", "ends/reel_LW"
    }  # fmt: skip
    assert (tmp_path / "all" / "since.txt").read_text() == first.text


def test_an_earlier_checkpoint_is_named_by_its_file_too(tmp_path):
    builders.make_reel()
    first = checkpoints.make(later(days=1))
    (tmp_path / "kept.txt").write_text(first.text)
    call_command("export_evidence", str(tmp_path / "out"), "--since", str(tmp_path / "kept.txt"))
    assert (tmp_path / "out" / "since.txt").read_text() == first.text


def test_what_witnesses_signed_of_it_and_of_the_earlier_one_is_in_it(tmp_path):
    builders.make_reel()
    first = checkpoints.make(later(days=1))
    witness()
    signed = countersign(first.entries)
    call_command("export_evidence", str(tmp_path / "out"), "--since", str(first.entries))
    assert (tmp_path / "out" / "countersignatures" / f"{first.entries}-1.txt").read_text() == signed.text


def test_what_cannot_be_written_is_said(tmp_path):
    Cast.as_needed().technician  # noqa: B018  # made by asking for it
    builders.make_reel()
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "a.txt").write_text("")
    (tmp_path / "odd.txt").write_text("no checkpoint")
    for arguments, why in (
        (["full"], "is not empty"),
        (["a", "--reel", "LW-9"], "reel in the checkpoint"),
        (["b", "--since", "77777"], "checkpoint"),
        (["c", "--since", str(tmp_path / "odd.txt")], "beginning of"),
        (["d", "--since", str(tmp_path / "nowhere.txt")], "No such file"),
    ):
        with pytest.raises(CommandError, match=why):
            call_command("export_evidence", str(tmp_path / arguments[0]), *arguments[1:])
