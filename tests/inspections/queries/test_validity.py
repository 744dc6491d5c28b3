"""Whether counts and setup values stand, after what really happens to them; told alike by query, API and export."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inspections.domain.validity import Validity, ValidityAt
from inspections.models import Inspection
from inspections.queries.validity import validities_of, validity_of, validity_of_setup
from inspections.services import signing
from reels.models import ReelType
from reels.services.history import Actor
from tests import builders
from tests.builders import later

pytestmark = pytest.mark.django_db


def word(inspection, at) -> str:
    inspection = Inspection.objects.get(pk=inspection.pk)
    found = validity_of(inspection, at)
    assert found is None or found.as_of == at
    return found.word if found else ""


def told(inspection, at) -> ValidityAt:
    found = validity_of(Inspection.objects.get(pk=inspection.pk), at)
    assert found is not None
    return found


def voided(cast, inspection, at):
    signing.request_void(inspection_id=inspection.pk, reason="misread", actor=Actor(cast.verifier), at=at)
    signing.confirm_void(inspection_id=inspection.pk, actor=Actor(cast.releaser), at=at)


def test_a_count_stands_from_the_second_signature_until_it_is_superseded_and_again_once_that_is_voided():
    cast = builders.Cast()
    builders.make_reel()
    open_one = builders.read(cast, builders.open_count(cast))
    assert word(open_one, later()) == ""
    first = builders.sign_both(cast, open_one)
    assert word(first, later(days=1)) == "stands"
    second = builders.signed_count(cast, at=later(days=2))
    assert (word(first, later(days=3)), word(second, later(days=3))) == ("superseded", "stands")
    found = told(first, later(days=3))
    assert (found.by, found.since) == (second.pk, second.ended_at)
    assert word(first, later(days=1)) == "stands"
    third = builders.signed_count(cast, at=later(days=4))
    assert told(first, later(days=5)).by == second.pk
    voided(cast, third, later(days=6))
    voided(cast, second, later(days=7))
    assert [word(each, later(days=8)) for each in (first, second, third)] == ["stands", "voided", "voided"]
    assert told(second, later(days=8)).why == "misread"


def test_a_count_that_was_done_earlier_and_entered_later_supersedes_nothing():
    cast = builders.Cast()
    builders.make_reel()
    newer = builders.signed_count(cast, at=later(days=5))
    older = builders.signed_count(cast, at=later(days=2))
    assert (word(newer, later(days=9)), word(older, later(days=9))) == ("stands", "superseded")


def test_a_count_lapses_by_an_entry_and_by_days():
    cast = builders.Cast()
    builders.make_reel()
    counted = builders.signed_count(cast)
    ReelType.objects.update(count_days=30)
    assert (word(counted, later(days=29)), word(counted, later(days=30))) == ("stands", "lapsed")
    builders.log_cut(cast, at=later(days=3))
    lapsed = told(counted, later(days=40))
    assert (lapsed.word, lapsed.since) == (Validity.LAPSED, later(days=3))
    assert "cut" in lapsed.why


def test_setup_values_are_withdrawn_by_a_cut():
    cast = builders.Cast()
    builders.make_reel()
    builders.signed_count(cast)
    values = builders.issued(cast, at=later(days=1))
    assert validity_of_setup(values, later(days=2)).word is Validity.STANDS
    builders.log_cut(cast, at=later(days=3))
    values.refresh_from_db()
    found = validity_of_setup(values, later(days=4))
    assert (found.word, found.since, found.why) == (Validity.WITHDRAWN, later(days=3), values.withdrawn_why)


def test_it_costs_no_more_for_many():
    cast = builders.Cast()
    builders.make_reel()
    for n in range(3):
        builders.signed_count(cast, at=later(days=n))
    counts = list(Inspection.objects.select_related("reel__type", "reel__site").order_by("pk"))
    for some in (counts[:1], counts):
        with CaptureQueriesContext(connection) as queries:
            assert len(validities_of(some, later(days=9))) == len(some)
        assert len(queries) == 6
