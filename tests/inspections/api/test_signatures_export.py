"""A signed record with its signatures, as they are checked without the service."""

import base64
import hashlib

from tests import builders
from tests.api_client import said
from tests.builders import later


def test_the_stored_bytes_of_the_record_and_of_each_statement_go_out(ways):
    inspection = builders.signed_count(ways.cast)
    found = ways.colleague.get(f"inspections/{inspection.pk}/signatures/export").json()
    assert base64.b64decode(found["record"]) == bytes(inspection.record.content)
    statements = [base64.b64decode(each["statement"]) for each in found["signatures"]]
    assert statements == [bytes(each.statement) for each in inspection.sign_offs.order_by("signed_at", "id")]
    assert [each["digest"] for each in found["signatures"]] == [hashlib.sha256(s).hexdigest() for s in statements]


def test_there_is_none_before_it_is_signed_and_none_for_a_stranger(ways):
    inspection = builders.read(ways.cast, builders.open_count(ways.cast))
    said(ways.colleague.get(f"inspections/{inspection.pk}/signatures/export"), 404, "not_found")
    builders.sign_both(ways.cast, inspection)
    said(ways.stranger.get(f"inspections/{inspection.pk}/signatures/export"), 404, "not_found")
    said(ways.nobody.get(f"inspections/{inspection.pk}/signatures/export"), 401, "not_logged_in")


def test_whether_a_record_stands_is_told_with_it_and_with_its_signatures(ways):
    first = builders.signed_count(ways.cast)
    second = builders.signed_count(ways.cast, at=later(days=1))
    for path, more in ((f"inspections/{first.pk}", set()), (f"inspections/{first.pk}/signatures/export", {"as_of"})):
        told = ways.colleague.get(path).json()["validity"]
        assert (told["word"], told["by"]) == ("superseded", second.pk)
        assert told.keys() == {"word", "since", "why", "by"} | more
    values = builders.issued(ways.cast, at=later(days=2))
    told = ways.colleague.get(f"setup-values/{values.pk}").json()["validity"]
    assert (told["word"], told["since"], told["why"], told["by"]) == ("stands", None, None, None)
    unsigned = builders.read(ways.cast, builders.open_count(ways.cast, at=later(days=3)))
    assert ways.colleague.get(f"inspections/{unsigned.pk}").json()["validity"] is None
