"""A count is worked by a publication that is in force; one from paper may name another, and says why."""

from datetime import timedelta

import pytest

from inspections.errors import PublicationNotInForce
from inspections.models import Inspection
from inspections.queries.record import record_of
from reels.services import register
from reels.services.history import Actor
from tests import builders
from tests.builders import NOW, Cast, make_publication, open_count

pytestmark = pytest.mark.django_db
LONG_AGO = NOW - timedelta(days=30)


@pytest.fixture
def cast():
    builders.make_reel()
    return Cast.as_needed()


def refused(cast, why, **changes):
    with pytest.raises(PublicationNotInForce, match=why) as caught:
        open_count(cast, **changes)
    assert not Inspection.objects.exists()
    return str(caught.value)


def test_what_is_unknown_is_refused_with_what_is_in_force(cast):
    said = refused(cast, "is not in the register", publication="somebody remembers 1987", publication_revision="none")
    assert "In force for reels of type w28: LWS 12-3, revision C." in said


def test_what_is_superseded_is_refused_from_the_moment_on(cast):
    make_publication(revision="D", valid_from=NOW)
    assert "superseded by revision D" in refused(cast, "revision C, is out of force since 2026-03-02")
    assert open_count(cast, publication_revision="D").publication_revision == "D"


def test_what_is_ended_leaves_nothing_in_force(cast):
    register.end_publication(make_publication(), reason="recalled", actor=Actor(builders.administrator()), at=NOW)
    assert "w28: none." in refused(cast, "recalled")


def test_what_is_for_other_types_is_refused(cast):
    make_publication(code="LWS 9", revision="A", types=[builders.make_type("w40")])
    refused(cast, "is not for reels of type w28", publication="LWS 9", publication_revision="A")


def test_what_is_not_in_force_yet_is_refused(cast):
    make_publication(code="LWS 9", revision="A", valid_from=NOW + timedelta(days=1))
    refused(cast, "is in force from 2026-03-03 on", publication="LWS 9", publication_revision="A")


@pytest.mark.parametrize("named", [{"publication_revision": "B"}, {"publication": "LWS 1987"}])
def test_a_count_from_paper_names_another_one_with_a_reason(cast, named):
    refused(cast, "Say why this count names another one", done_at=LONG_AGO, **named)
    refused(cast, "Say why", done_at=LONG_AGO, publication_reason="  ", **named)
    opened = open_count(cast, done_at=LONG_AGO, publication_reason="in force on that day", **named)
    assert record_of(opened)["preparation"]["publication_reason"] == "in force on that day"


def test_a_reason_helps_no_count_that_is_done_now(cast):
    refused(cast, "Name one that is", publication_revision="B", publication_reason="it was to hand")


def test_a_count_from_paper_under_a_revision_that_came_later_needs_a_reason(cast):
    make_publication(revision="D", valid_from=NOW - timedelta(days=1))
    refused(cast, "was not at the time of this count", done_at=LONG_AGO, publication_revision="D")


def test_a_count_from_paper_under_what_is_in_force_needs_none(cast):
    assert open_count(cast, done_at=LONG_AGO).publication_reason == ""
