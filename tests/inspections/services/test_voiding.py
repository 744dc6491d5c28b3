"""A signed count is never changed; two people can void it, and a new one is made."""

import pytest
from django.db import IntegrityError, transaction

from inspections.domain.words import InspectionState
from inspections.errors import NotAuthorised, NotVoidable, SamePerson
from inspections.models import Inspection, Void
from inspections.services import signing
from reels.errors import OnlyInPerson
from reels.services.history import Actor
from tests import builders, stories
from tests.builders import NOW, later


def ask(inspection, person, via="session"):
    return signing.request_void(inspection_id=inspection.pk, reason="wrong reel", actor=Actor(person, via=via), at=NOW)


def confirm(inspection, person, via="session"):
    return signing.confirm_void(inspection_id=inspection.pk, actor=Actor(person, via=via), at=later(hours=1))


def test_two_people_void_a_count_and_both_are_kept(cast):
    inspection = builders.signed_count(cast)
    ask(inspection, cast.verifier)
    inspection.refresh_from_db()
    assert inspection.state == InspectionState.SIGNED
    void = confirm(inspection, cast.releaser)
    inspection.refresh_from_db()
    assert (inspection.state, inspection.layers, inspection.sign_offs.count()) == (InspectionState.VOIDED, 12, 2)
    assert (void.requested_by, void.requested_at, void.reason) == (cast.verifier, NOW, "wrong reel")
    assert (void.confirmed_by, void.confirmed_at) == (cast.releaser, later(hours=1))
    assert builders.signed_count(cast, at=later(days=1)).state == InspectionState.SIGNED


def test_nobody_confirms_what_they_asked_for(cast):
    inspection = builders.signed_count(cast)
    void = ask(inspection, cast.verifier)
    with pytest.raises(SamePerson, match="Vic Amberley has already asked for it"):
        confirm(inspection, cast.verifier)
    with pytest.raises(IntegrityError), transaction.atomic():
        Void.objects.filter(pk=void.pk).update(confirmed_by=cast.verifier, confirmed_at=NOW)


@pytest.mark.parametrize("who", ["technician", "control", "colleague"])
def test_voiding_takes_two_authorised_people(cast, who):
    inspection = builders.signed_count(cast)
    with pytest.raises(NotAuthorised):
        ask(inspection, getattr(cast, who))
    ask(inspection, cast.verifier)
    with pytest.raises(NotAuthorised):
        confirm(inspection, getattr(cast, who))


def test_a_script_voids_nothing(cast):
    inspection = builders.signed_count(cast)
    with pytest.raises(OnlyInPerson):
        ask(inspection, cast.verifier, via="token bench")
    ask(inspection, cast.verifier)
    with pytest.raises(OnlyInPerson):
        confirm(inspection, cast.releaser, via="command void")


def test_only_a_signed_count_is_voided_and_only_once(cast):
    inspection = builders.read(cast, builders.open_count(cast))
    with pytest.raises(NotVoidable, match="is awaiting sign off, not signed"):
        ask(inspection, cast.verifier)
    with pytest.raises(NotVoidable, match="Nobody has asked"):
        confirm(inspection, cast.verifier)
    builders.sign_both(cast, inspection)
    stories.void(cast, inspection)
    with pytest.raises(NotVoidable, match="is voided"):
        ask(inspection, cast.verifier)
    with pytest.raises(NotVoidable, match="it is void already"):
        confirm(inspection, cast.verifier)


def test_a_void_that_is_asked_for_is_not_asked_for_twice(cast):
    inspection = builders.signed_count(cast)
    ask(inspection, cast.verifier)
    with pytest.raises(NotVoidable, match="another person may confirm"):
        ask(inspection, cast.releaser)


def test_after_a_void_the_count_before_it_stands_again(cast):
    first = builders.signed_count(cast)
    second = builders.signed_count(cast, at=later(days=1))
    stories.void(cast, second, at=later(days=2))
    assert builders.issued(cast, at=later(days=3)).inspection == first
    assert Inspection.objects.filter(state=InspectionState.SIGNED).count() == 1
