"""What a witness finds who only has the service's checkpoints, the proofs between them, and their own last signature.

Whoever owns the database, the service and its key changes what was recorded, and goes on as if nothing had been. The
witness and whoever compares two witnesses run check_records.py, and look at nothing else.
"""

import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction

from reels.domain import checkpoint, countersignature
from reels.models import Reel
from reels.services import checkpoints
from reels.services.checkpoint_key import checkpoint_key
from reels.services.history import Actor
from reels.services.witnesses import add_witness, take_countersignature
from tests import builders, stories
from tests.builders import Cast, administrator, later
from tests.reports.attacks import (
    AttackedRecords,
    cut_off_what_the_checkpoint_covers,
    forget_checkpoints,
    never_record_it,
    restore_an_old_backup,
    write_a_history_anew,
)
from tests.reports.tampering import drop_guards
from tests.reports.test_tamper_study import CHECKER

pytestmark = pytest.mark.django_db


def public() -> str:
    return checkpoint.public_hex(checkpoint_key())


class WitnessAtWork:
    """Somebody with a folder of their own, who gets files and gives files."""

    def __init__(self, folder: Path, name: str) -> None:
        self.own = folder / name
        self.key = CHECKER.run_witness_key(str(self.own), name)[-64:]

    def sign(self, text: str, hashes: list[str] | None = None) -> str:
        """What the checker says; a proof is given where there are hashes."""
        (self.own / "new.txt").write_text(text, encoding="utf-8")
        (self.own / "proof.json").write_text(json.dumps({"hashes": hashes}))
        proof = [] if hashes is None else [str(self.own / "proof.json")]
        says: str = CHECKER.run_witness(str(self.own), str(self.own / "new.txt"), public(), *proof)
        return says

    def signed(self, entries: int) -> str:
        return (self.own / f"countersignature-{entries}.txt").read_text(encoding="utf-8")

    def refuses(self, text: str, hashes: list[str]) -> str:
        with pytest.raises(CHECKER.Broken) as refused:
            self.sign(text, hashes)
        kept = self.own / f"refused-{hashlib.sha256(text.encode()).hexdigest()[:12]}"
        assert (kept / "earlier.txt").read_text() == (self.own / "last.txt").read_text()
        assert (kept / "later.txt").read_text() == text
        assert "REFUSED, NOTHING WAS COUNTERSIGNED" in str(refused.value)
        return str(refused.value)


@pytest.fixture
def records():
    cast = Cast()
    stories.one_of_each(cast)
    drop_guards()
    return AttackedRecords(
        yesterday=checkpoints.make(later(days=6)).text, reel=Reel.objects.get(), unsigned=0, guards=[]
    )


def proof_of(first: int, second: int) -> list[str]:
    return checkpoints.consistency(min(first, second), second).hashes


def entries_of(text: str) -> int:
    return int(checkpoint.lines_of(text)["entries"])


def test_a_witness_countersigns_each_checkpoint_that_goes_on_from_the_last_and_the_service_takes_it(records, tmp_path):
    heron = WitnessAtWork(tmp_path, "Heron Lake Authority")
    first = records.yesterday
    assert "as the first: nothing earlier was there to compare with" in heron.sign(first)
    assert "countersigned already" in heron.sign(first)
    builders.make_reel("LW-0002")
    second = checkpoints.make(later(days=7)).text
    with pytest.raises(ValueError, match=r"PROOF\.json is missing"):
        heron.sign(second)
    says = heron.sign(second, proof_of(entries_of(first), entries_of(second)))
    assert f"goes on from the one over {entries_of(first)} entries that you signed last" in says
    by: dict[str, Any] = {"actor": Actor(administrator()), "at": later(days=8)}
    for text, after in ((first, None), (second, entries_of(first))):
        found = countersignature.countersigned(heron.signed(entries_of(text)))
        assert found is not None
        assert (found.entries, found.after, found.key) == (entries_of(text), after, heron.key)
    teal = WitnessAtWork(tmp_path, "Teal Water Board")
    teal.sign(second)
    add_witness(name="Teal Water Board", key=teal.key, **by)
    take_countersignature(entries_of(second), text=teal.signed(entries_of(second)), **by)


ATTACKS: dict[str, tuple[Callable[[AttackedRecords], None], str]] = {
    "nothing": (never_record_it, ""),
    "a whole history written anew": (write_a_history_anew, "do not begin with the earlier ones"),
    "the end of a history cut off": (cut_off_what_the_checkpoint_covers, "an old backup was restored"),
    "an old backup restored": (restore_an_old_backup, "an old backup was restored"),
}


@pytest.mark.parametrize("name", ATTACKS)
def test_a_witness_refuses_what_does_not_go_on_from_what_they_signed(records, tmp_path, name):
    attack, why = ATTACKS[name]
    heron = WitnessAtWork(tmp_path, "Heron Lake Authority")
    heron.sign(records.yesterday)
    attack(records)
    forget_checkpoints()
    if "anew" in name or name == "nothing":
        builders.make_reel("LW-0009")  # and it goes on
    today = checkpoints.make(later(days=7)).text
    hashes = proof_of(entries_of(records.yesterday), entries_of(today))
    if why:
        assert why in heron.refuses(today, hashes)
    else:
        assert "goes on from" in heron.sign(today, hashes)


def test_a_forked_history_shown_to_two_is_found_by_comparing_and_by_whoever_saw_the_other(records, tmp_path):
    heron, teal = (WitnessAtWork(tmp_path, name) for name in ("Heron Lake Authority", "Teal Water Board"))
    for each in (heron, teal):
        each.sign(records.yesterday)
    shown = {}
    for each, serial in ((heron, "LW-0008"), (teal, "LW-0009")):
        with transaction.atomic():
            builders.make_reel(serial)
            shown[each] = checkpoints.make(later(days=7)).text
            each.sign(shown[each], proof_of(entries_of(records.yesterday), entries_of(shown[each])))
            transaction.set_rollback(True)
    ones, others = shown.values()
    assert entries_of(ones) == entries_of(others)
    told = [CHECKER.checkpoint(text, public()) for text in (ones, others)]
    with pytest.raises(CHECKER.Broken, match="do not begin with the earlier ones"):
        CHECKER.check_consistency(*told, {"hashes": []})
    assert "do not begin with the earlier ones" in heron.refuses(others, [])
    with transaction.atomic():  # and once more has been recorded on the other side
        builders.make_reel("LW-0009")
        builders.make_reel("LW-0010")
        later_one = checkpoints.make(later(days=8)).text
        hashes = proof_of(entries_of(ones), entries_of(later_one))
        transaction.set_rollback(True)
    assert "do not begin with the earlier ones" in heron.refuses(later_one, hashes)
