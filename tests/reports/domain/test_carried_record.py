import json

import pytest

from inspections.domain.record import statement_bytes
from reels.domain import ledger
from reports.domain.carried_record import record_fault
from tests.reports.pdf.sample_facts import TESS, VIC, facts


def fault(**changes):
    whole = facts()
    attached = {"record": whole.record, "statements": whole.statements, "situation": whole.situation, **changes}
    return record_fault(**attached)


def statement(**changes):
    statement = {**facts().signatures[0], **changes}
    return statement_bytes({name: value for name, value in statement.items() if name not in ("v", "kind")})


def test_a_record_with_both_its_signatures_is_whole():
    assert fault() is None


def test_a_changed_record_no_longer_has_its_signatures():
    other_record = {**facts().record_data, "result": {"layers": 12, "wraps": 11, "parity": "even"}}
    assert "but this is" in fault(record=ledger.canonical(other_record))


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "not canonical JSON"),
        (b"\xff\xfe", "not canonical JSON"),
        (b"[" * 100_000, "not canonical JSON"),
        (b"{}", "of the kinds"),
        (b"[1]", "not canonical JSON"),
        (b'{"a": 1}', "not canonical JSON"),
        (b'{"kind":"inspection","kind":"inspection"}', "not canonical JSON"),
    ],
)
def test_any_bytes_get_an_answer(content, why):
    assert why in fault(record=content)
    assert why in fault(situation=content)


def test_spaces_between_the_same_words_are_noticed():
    assert fault(record=json.dumps(facts().record_data).encode()) == "What is attached is not canonical JSON."


@pytest.mark.parametrize(
    ("statements", "why"),
    [
        ((), "It is signed as nothing"),
        (facts().statements[:1], "It is signed as counted;"),
        ((facts().statements[0], facts().statements[0]), "It is signed as counted, counted"),
        ((statement(person=VIC), facts().statements[1]), "did not take part in that role"),
        ((statement(inspection=8), facts().statements[1]), "another inspection"),
        ((statement(person="tess"), facts().statements[1]), "who signed"),
        ((statement(meaning="approved"), facts().statements[1]), "did not take part in that role"),
    ],
)
def test_signatures_that_are_missing_or_of_others_are_noticed(statements, why):
    assert why in fault(statements=statements)


def test_one_person_cannot_have_signed_twice():
    both = [{"role": role, **TESS} for role in ("technician", "verifier")]
    whole = facts(participants=both)
    twice = tuple(
        statement_bytes({"inspection": 7, "record": whole.record_digest, "meaning": meaning, "person": TESS})
        for meaning in ("counted", "verified")
    )
    assert record_fault(whole.record, twice, whole.situation) == "Both signatures are those of one person."


def test_the_situation_of_another_inspection_is_noticed():
    assert fault(situation=facts({"inspection": 8}).situation) == "The situation is that of another inspection."
