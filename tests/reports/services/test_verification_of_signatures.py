"""A signature, its statement or its record that somebody changed past the guards is found by checking the records."""

import json
from typing import Any

import pytest

from inspections.models import Inspection, InspectionRecord, SignOff
from inspections.services.status_rows import rebuild_status_rows
from reels.domain import ledger
from reels.models import Person, Reel
from reels.services.history import Actor, record_act
from tests import builders
from tests.builders import NOW, administrator
from tests.reports.attacks import forget_checkpoints
from tests.reports.tampering import broken_by, delete, edit, exchange, kept_and_told, rewritten, story

__all__ = ["story"]

# Signatures ---------------------------------------------------------------------------------------------------------


def test_a_signature_moved_to_another_count_or_person_is_found(story):
    builders.make_reel("LW-0002")
    cast: Any = type("Known", (), {name: Person.objects.get(username=username) for name, username in (
        ("technician", "tess"), ("verifier", "vic"))})()  # fmt: skip
    second = builders.signed_count(cast, "LW-0002")
    first = Inspection.objects.exclude(pk=second.pk).get()
    counted, verified = SignOff.objects.filter(inspection=first).order_by("id")
    assert broken_by(exchange, counted, second.sign_offs.get(meaning="counted"), "statement", "digest")
    assert broken_by(exchange, counted, verified, "person_id", "full_name")
    assert broken_by(exchange, counted, verified, "statement", "digest")
    records = InspectionRecord.objects.order_by("id")
    assert broken_by(exchange, *records, "content", "digest")


@pytest.mark.parametrize("changed", [{"layers": 14}, {"wraps": 11}, {"parity": "odd"}])
def test_a_result_that_is_not_the_one_that_was_signed_is_found_even_when_a_history_tells_of_it(story, changed):
    def change_the_result() -> None:
        inspection = Inspection.objects.get()
        with record_act(inspection.reel.chain, "x", Actor(administrator()), NOW) as act:
            act.change(inspection, **changed)

    result = {"layers": 12, "wraps": 10, "parity": "even"}
    broken = broken_by(change_the_result)
    assert "signed was layers 12, wraps 10, even, of inspection" in broken
    assert "has layers {layers}, wraps {wraps}, {parity}".format(**result | changed) in broken


@pytest.mark.parametrize("name", ["inspection", "meaning", "person", "name", "at"])
def test_a_statement_made_anew_that_says_otherwise_than_its_row_is_found(story, name):
    signature = SignOff.objects.earliest("id")
    statement = json.loads(bytes(signature.statement))
    match name:
        case "person":
            statement["person"]["id"] += 1
        case "name":
            statement["person"]["name"] = "Eve Hollin"
        case "inspection":
            statement["inspection"] += 1
        case _:
            statement[name] = "otherwise"
    content = ledger.canonical(statement)
    broken = broken_by(lambda: kept_and_told(signature, statement=content, digest=ledger.digest(content)))
    assert f"its statement says {name} " in broken


def test_a_statement_that_says_the_same_in_other_bytes_is_found(story):
    signature = SignOff.objects.earliest("id")
    content = bytes(signature.statement).replace(b",", b", ", 1)
    assert json.loads(content) == json.loads(bytes(signature.statement))
    assert "its statement has the digest " in broken_by(edit, signature, "statement", content)


def test_a_signature_that_was_given_for_another_record_is_found_though_its_row_says_so_too(story):
    signature = SignOff.objects.earliest("id")
    content = ledger.canonical(json.loads(bytes(signature.statement)) | {"record": "0" * 64})
    columns = {"statement": content, "digest": ledger.digest(content), "record_digest": "0" * 64}
    assert "it was given for the record 000000000000" in broken_by(lambda: kept_and_told(signature, **columns))


def test_a_signatures_row_that_names_another_record_is_found(story):
    broken = broken_by(lambda: kept_and_told(SignOff.objects.earliest("id"), record_digest="0" * 64))
    assert "its statement says record " in broken


def test_a_signature_whose_record_is_gone_is_found_even_when_no_history_tells_of_it(story):
    def forget(entry: dict[str, Any]) -> None:
        entry["changes"] = [each for each in entry["changes"] if each["table"] != InspectionRecord._meta.db_table]

    def without_record() -> None:
        delete(InspectionRecord.objects.get())
        rewritten(Reel.objects.get().chain, forget)

    assert "the record that was signed is gone" in broken_by(without_record)


def test_a_column_that_came_later_than_its_row_holds_its_default(story):
    reel = Reel.objects.get()

    def before_the_column(entry: dict[str, Any]) -> None:
        for each in entry["changes"]:
            if each["table"] == Reel._meta.db_table:
                for columns in (each["before"] or {}, each["after"]):
                    columns.pop("retired_reason", None)

    def filled_in() -> None:
        rewritten(reel.chain, before_the_column)
        edit(reel, "retired_reason", "worn")

    assert "its retired_reason is 'worn'; the history says ''" in broken_by(filled_in)
    # A history that is written anew and fits its rows is whole: only then are the checkpoints looked at.

    def as_it_was() -> None:
        rewritten(reel.chain, before_the_column)
        forget_checkpoints()
        list(rebuild_status_rows())  # they name the history's head

    assert broken_by(as_it_was).endswith("entries: the checkpoint is gone")
