"""Folders of evidence that are intact, and folders that somebody changed: the checker misjudges none.

Two kinds of people change them: whoever hands a folder on, and has no key; and whoever runs the service and lets
through what must not be, with the service's own key on a new checkpoint. The table in deploy/handbook/records.md is
what this finds, line by line.
"""

import base64
import json
import re
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction

from reports.services.evidence import HANDBOOK, stem_of
from tests import worlds
from tests.reports.evidence_attacks import HANDED_ON, LET_THROUGH, call_it_a_part, put_countersignature_in
from tests.reports.evidence_folders import GROWTH, OLD_SERIAL, GrownFleet, HandledFolder, checked, grown_fleet
from tests.witnessing import NAME, countersigned_text, public_of

# None of them reads the database, which is there for the folders to be written once for all.
pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def fleet(django_db_setup: None, django_db_blocker: Any, tmp_path_factory: pytest.TempPathFactory) -> GrownFleet:
    with django_db_blocker.unblock(), transaction.atomic():
        grown = grown_fleet(tmp_path_factory.mktemp("evidence"))
        transaction.set_rollback(True)
    worlds.forget()
    return grown


# Intact -------------------------------------------------------------------------------------------------------------

INTACT = (
    *(f"after {grow.__name__.strip('_')}" for grow in GROWTH),
    *(f"only {serial}" for serial in (*(f"LW-000{n}" for n in (1, 2, 3, 4, 5, 6, 8, 9)), OLD_SERIAL)),
    "two reels", "whole since",
)  # fmt: skip


@pytest.mark.parametrize("name", INTACT)
def test_an_intact_folder_passes(fleet, name):
    status, says = checked(fleet.intact[name], fleet.key)
    assert (status, "BROKEN" in says) == (0, False), says
    is_whole = not name.startswith(("only", "two"))
    assert ("histories that the service had (all)" in says) == is_whole, says


def test_every_folder_that_was_written_was_looked_at(fleet):
    assert set(fleet.intact) == set(INTACT)


def test_each_count_stands_as_the_service_says(fleet):
    _, says = checked(fleet.whole, fleet.key)
    lines = dict(re.findall(r"^(.*, inspection \d+): ([\w ]+)[.;]", says, re.M))
    signed_by_one = [name for name, word in lines.items() if word == "awaiting sign off"]
    assert [name.split(",")[0] for name in signed_by_one] == ["LW-0006"]
    assert {name: word for name, word in lines.items() if name not in signed_by_one} == fleet.words
    assert set(fleet.words.values()) == {"stands", "lapsed", "superseded", "voided"}
    assert re.search(r"LW-0001, setup values \d+ from inspection \d+: stands", says)
    assert "changed, removed or put in between" in says


def test_what_is_still_blind_is_not_in_it(fleet):
    [folder] = [fleet.intact["only LW-0005"]]
    assert not list(folder.glob("photos/*"))
    history = (folder / f"histories/{stem_of('reel:LW-0005')}.jsonl").read_text()
    contents = [base64.b64decode(json.loads(line)["content"]).decode() for line in history.splitlines()]
    assert any("inspections_photo" in each for each in contents)


# Changed ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", [*HANDED_ON, *LET_THROUGH])
def test_a_changed_folder_does_not_pass(fleet, tmp_path, name):
    attack, why = {**HANDED_ON, **LET_THROUGH}[name]
    folder = HandledFolder(fleet.whole, tmp_path / "folder")
    attack(folder)
    status, says = checked(folder.path, fleet.key)
    assert status == 1, says
    assert any(why in line for line in says.splitlines() if line.startswith("BROKEN: ")), says


def test_sealed_again_and_otherwise_as_it_was_it_passes(fleet, tmp_path):
    """What is found above is not found for the new seal."""
    folder = HandledFolder(fleet.intact[INTACT[len(GROWTH) - 1]], tmp_path / "folder")
    for chain in folder.chains():
        folder.write(chain, folder.entries(chain))
    folder.seal()
    status, says = checked(folder.path, fleet.key)
    assert status == 0, says


def test_a_part_of_a_fleet_says_how_much_of_it_is_here(fleet, tmp_path):
    folder = HandledFolder(fleet.whole, tmp_path / "folder")
    call_it_a_part(folder)
    status, says = checked(folder.path, fleet.key)
    assert status == 0, says
    here, there = re.search(
        r"(\d+) of the (\d+) histories .* \(the folder shows nothing of the others\)", says
    ).groups()  # type: ignore[union-attr]
    assert int(here) == int(there) - 1


# Beside a checkpoint that was kept elsewhere ------------------------------------------------------------------------


def test_it_is_said_who_countersigned_the_earlier_checkpoint(fleet, tmp_path):
    folder = HandledFolder(fleet.whole, tmp_path / "folder")
    put_countersignature_in(folder, countersigned_text(folder.file("since.txt").read_text()))
    status, says = checked(folder.path, fleet.key)
    assert (status, f"is countersigned by {NAME}, if {public_of()} is their key" in says) == (0, True), says


def test_the_checkpoint_that_one_kept_is_compared(fleet, tmp_path):
    kept = tmp_path / "kept.txt"
    kept.write_text(fleet.checkpoints[2])
    assert checked(fleet.whole, fleet.key, str(kept))[0] == 0
    kept.write_text(fleet.checkpoints[3])
    status, says = checked(fleet.whole, fleet.key, str(kept))
    assert (status, "since.txt is not the one that you kept" in says) == (1, True), says
    status, says = checked(fleet.intact["after practised"], fleet.key, str(kept))
    assert (status, "nothing shows that yours still holds" in says) == (1, True), says
    kept.write_text(fleet.checkpoints[-1])
    assert checked(fleet.intact["after practised"], fleet.key, str(kept))[0] == 0


def test_an_old_backup_is_told_by_the_checkpoint_that_one_kept(fleet, tmp_path):
    kept = tmp_path / "kept.txt"
    kept.write_text(fleet.checkpoints[-1])
    status, says = checked(fleet.intact["after counted_again"], fleet.key, str(kept))
    assert (status, "an old backup was restored" in says) == (1, True), says


# The table in the handbook ------------------------------------------------------------------------------------------


def test_the_handbooks_table_is_what_the_checker_says():
    text = (Path(HANDBOOK) / "records.md").read_text()
    rows = re.findall(r"^\| ([^|]+?) \| “([^|]+)” \|$", text, re.M)
    assert rows == [(name, why) for name, (_, why) in {**HANDED_ON, **LET_THROUGH}.items()]
