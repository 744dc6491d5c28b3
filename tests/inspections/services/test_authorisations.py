"""Authorisations are granted by an administrator to somebody else, for a period, and ended; never removed."""

import pytest
from django.db import IntegrityError, transaction

from inspections import access
from inspections.domain.words import Act
from inspections.errors import NotAuthorised, SamePerson
from inspections.models import Authorisation
from inspections.services import authorisations
from reels.errors import OnlyAdministrators, OutOfTime
from reels.models import Reel
from reels.services import register
from reels.services.history import Actor
from tests import builders
from tests.builders import NOW, administrator, authorise, by_administrator, later


def grant(person, actor=None, **changes):
    given = {"act": Act.COUNT, "reel_type": None, "site": None, "valid_from": NOW, "valid_until": None, **changes}
    return authorisations.grant(person=person, actor=actor or Actor(administrator()), at=NOW, **given)


def may(person, act=Act.COUNT, at=NOW, serial="LW-0001"):
    try:
        access.authorisation_for(person, act, Reel.objects.get(serial=serial), at)
    except NotAuthorised:
        return False
    return True


def test_an_authorisation_says_by_whom_and_when_it_was_granted(cast):
    row = grant(cast.colleague)
    assert (row.granted_by, row.granted_at) == (administrator(), NOW)


def test_only_administrators_grant_and_end(cast):
    row = grant(cast.colleague)
    for person in (cast.control, cast.releaser, cast.colleague):
        with pytest.raises(OnlyAdministrators):
            grant(cast.technician, Actor(person))
        with pytest.raises(OnlyAdministrators):
            authorisations.end(authorisation=row, reason="?", actor=Actor(person), at=NOW)


def test_nobody_authorises_themselves(cast):
    with pytest.raises(SamePerson):
        grant(administrator())
    with pytest.raises(IntegrityError), transaction.atomic():
        Authorisation.objects.create(person=cast.control, act=Act.COUNT, valid_from=NOW, granted_by=cast.control,
                                     granted_at=NOW)  # fmt: skip


@pytest.mark.parametrize("valid_until", [NOW, later(seconds=-1)])
def test_a_period_ends_after_it_begins(cast, valid_until):
    with pytest.raises(OutOfTime):
        grant(cast.colleague, valid_until=valid_until)
    with pytest.raises(IntegrityError), transaction.atomic():
        Authorisation.objects.create(person=cast.control, act=Act.COUNT, valid_from=NOW, valid_until=valid_until,
                                     granted_by=administrator(), granted_at=NOW)  # fmt: skip


def test_it_holds_from_its_first_moment_to_just_before_its_last(cast):
    grant(cast.colleague, valid_from=later(days=1), valid_until=later(days=2))
    moments = [later(days=1, seconds=-1), later(days=1), later(days=2, seconds=-1), later(days=2)]
    assert [may(cast.colleague, at=at) for at in moments] == [False, True, True, False]


def test_it_holds_for_its_act_type_and_site_and_for_no_other(cast):
    builders.make_reel("LW-0002", type=builders.make_type("w40"))
    builders.make_reel("LW-0003", site=builders.make_site("aldermere", "Aldermere"))
    authorise(cast.colleague, Act.VERIFY, reel_type=builders.make_type(), site=builders.make_site())
    cases = [("LW-0001", Act.VERIFY), ("LW-0001", Act.COUNT), ("LW-0002", Act.VERIFY), ("LW-0003", Act.VERIFY)]
    assert [may(cast.colleague, act, serial=serial) for serial, act in cases] == [True, False, False, False]
    authorise(cast.colleague, Act.VERIFY)
    assert [may(cast.colleague, act, serial=serial) for serial, act in cases] == [True, False, True, True]


def test_one_that_was_ended_or_whose_person_was_deactivated_holds_no_more(cast):
    row = Authorisation.objects.get(person=cast.technician)
    assert may(cast.technician)
    authorisations.end(authorisation=row, reason="course lapsed", actor=Actor(administrator()), at=NOW)
    assert not may(cast.technician)
    row.refresh_from_db()
    assert (row.ended_by, row.ended_at, row.end_reason) == (administrator(), NOW, "course lapsed")
    register.change(cast.verifier, is_active=False, **by_administrator())
    cast.verifier.refresh_from_db()
    assert not may(cast.verifier, Act.VERIFY)
