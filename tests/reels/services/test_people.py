"""Logins: given by one administrator, enrolled by a second, and used by nobody but their owner."""

import pytest
from django.contrib.auth import authenticate
from django.core.management import CommandError, call_command
from django.db import IntegrityError, transaction

from inspections.domain.words import Act, Meaning
from inspections.errors import NotAuthorised
from inspections.services import authorisations, opening, signing
from reels.domain.words import AskedAt
from reels.errors import (
    AlreadyThere,
    AnotherAdministrator,
    NotEnrolled,
    OnlyAdministrators,
    OnlyInPerson,
    PasswordNotOwn,
    ValueNotTaken,
    WrongPassword,
)
from reels.models import HistoryEntry, Person
from reels.services import logins, people, register
from reels.services.browsers import Origin
from reels.services.history import Actor
from reports.services.verification import check_records
from tests import builders
from tests.builders import NOW, PASSWORD, Cast, administrator, later, make_person, second_administrator

pytestmark = pytest.mark.django_db
GIVEN, OWN = "given-by-somebody", "known-to-me-alone"


@pytest.fixture(autouse=True)
def _records_are_whole_afterwards(db):
    yield
    assert check_records().broken is None


@pytest.fixture
def ada():
    return Actor(administrator())


@pytest.fixture
def bea():
    return Actor(second_administrator())


def added(actor, username="nell", **fields) -> Person:
    """A technician, as an administrator adds them at the keys: posted, authorised, and not settled."""
    site = builders.make_site()
    person = people.add_person(username=username, full_name=f"{username.title()} Newly", staff_number=f"N-{username}",
                               password=GIVEN, actor=actor, at=NOW, **fields)  # fmt: skip
    register.post_person(person=person, site=site, valid_from=NOW, actor=actor, at=NOW)
    builders.authorise(person, Act.COUNT, site=site)
    return person


def change_own(person, password=GIVEN, new=OWN, at=NOW):
    person = Person.objects.get(pk=person.pk)
    proof = logins.prove(Actor(person), password, asked_at=AskedAt.ACCOUNT, origin=Origin(), at=at)
    people.change_password(proof, password=new, at=at)
    return person


def acts(person):
    """Open a count, which needs an authorisation."""
    builders.make_reel(f"R-{Person.objects.count()}-{person.pk}-{HistoryEntry.objects.count()}")
    serial = HistoryEntry.objects.latest("id").chain.name.removeprefix("reel:")
    return opening.open_inspection(
        serial=serial, preparation=builders.PREPARATION, actor=Actor(Person.objects.get(pk=person.pk)), at=NOW
    )


# Enrolment ----------------------------------------------------------------------------------------------------------


def test_a_new_login_does_nothing_until_it_is_enrolled_and_its_password_is_its_owners(ada, bea):
    builders.make_machine()
    nell = added(ada)
    with pytest.raises(PasswordNotOwn):
        acts(nell)
    change_own(nell)
    with pytest.raises(NotEnrolled):
        acts(nell)
    people.enrol(nell, checked="pass 17 seen", actor=bea, at=NOW)
    assert acts(nell).opened_by == nell


def test_who_gave_the_login_cannot_enrol_its_owner_and_nobody_enrols_themselves(ada, bea):
    nell = added(ada)
    with pytest.raises(AnotherAdministrator):
        people.enrol(nell, checked="I know her", actor=ada, at=NOW)
    other = people.add_person(username="olga", full_name="Olga Second", staff_number="N-2", password=GIVEN,
                              is_staff=True, actor=ada, at=NOW)  # fmt: skip
    with pytest.raises(PasswordNotOwn):
        people.enrol(other, checked="it is me", actor=Actor(other), at=NOW)
    other = change_own(other)
    with pytest.raises(NotEnrolled):  # the puppet of one administrator enrols nobody
        people.enrol(nell, checked="pass seen", actor=Actor(other), at=NOW)
    people.enrol(nell, checked="pass seen", actor=bea, at=NOW)
    with pytest.raises(AlreadyThere):
        people.enrol(nell, checked="once more", actor=bea, at=NOW)


def test_only_administrators_enrol_and_how_they_checked_is_kept(ada, bea):
    nell = added(ada)
    with pytest.raises(OnlyAdministrators):
        people.enrol(nell, checked="x", actor=Actor(make_person("noel")), at=NOW)
    people.enrol(nell, checked="pass 17 seen", actor=bea, at=NOW)
    entry = HistoryEntry.objects.latest("id")
    assert (entry.act, entry.actor) == ("person_enrolled", bea.person)
    assert b'"checked":"pass 17 seen"' in bytes(entry.content)


@pytest.mark.parametrize("by", ["oneself", "giver"])
def test_the_database_refuses_an_enrolment_by_the_wrong_person(ada, by):
    nell = added(ada)
    enroller = nell.pk if by == "oneself" else ada.person.pk
    with pytest.raises(IntegrityError), transaction.atomic():
        Person.objects.filter(pk=nell.pk).update(enrolled_by=enroller)


def test_an_administrator_who_is_not_enrolled_is_none_yet(ada, bea):
    puppet = change_own(people.add_person(username="olga", full_name="Olga Second", staff_number="N-2", password=GIVEN,
                                          is_staff=True, actor=ada, at=NOW))  # fmt: skip
    for act in (
        lambda: register.add_site(code="x", name="X", actor=Actor(puppet), at=NOW),
        lambda: authorisations.grant(person=ada.person, act=Act.COUNT, reel_type=None, site=None, valid_from=NOW,
                                     valid_until=None, actor=Actor(puppet), at=NOW),
        lambda: people.give_password(ada.person, password=OWN, actor=Actor(puppet), at=NOW),
    ):  # fmt: skip
        with pytest.raises(NotEnrolled):
            act()


def test_where_too_few_administrators_are_left_a_command_enrols(ada, capsys):
    nell = added(ada)
    call_command("enrol", "nell", "--checked", "pass 17 seen")
    nell.refresh_from_db()
    assert (nell.is_enrolled, nell.enrolled_by) == (True, None)
    assert HistoryEntry.objects.latest("id").actor == nell  # told as done to this login, by the command
    assert b'"via":"command enrol"' in bytes(HistoryEntry.objects.latest("id").content)
    with pytest.raises(CommandError, match="already"):
        call_command("enrol", "nell", "--checked", "again")
    with pytest.raises(CommandError, match="There is no person"):
        call_command("enrol", "nobody", "--checked", "x")


# Passwords ----------------------------------------------------------------------------------------------------------


def test_an_administrator_cannot_sign_for_somebody_with_a_password_they_gave(ada):
    cast = Cast.as_needed()
    builders.make_reel()
    inspection = builders.read(cast, builders.open_count(cast))
    people.give_password(cast.technician, password=GIVEN, actor=ada, at=NOW)

    def sign(password):
        signing.sign(inspection_id=inspection.pk, meaning=Meaning.COUNTED, password=password,
                     actor=Actor(Person.objects.get(username="tess")), at=NOW)  # fmt: skip

    with pytest.raises(PasswordNotOwn):
        sign(GIVEN)
    change_own(cast.technician)  # the administrator, in her name
    with pytest.raises(NotEnrolled):
        sign(OWN)
    with pytest.raises(AnotherAdministrator):
        people.enrol(cast.technician, checked="trust me", actor=ada, at=NOW)
    people.enrol(cast.technician, checked="she came by", actor=Actor(second_administrator()), at=NOW)
    sign(OWN)
    assert inspection.sign_offs.get().person == cast.technician


def test_a_right_that_was_granted_does_not_outlive_a_password_that_was_given(ada):
    cast = Cast.as_needed()
    builders.make_reel()
    people.give_password(cast.technician, password=GIVEN, actor=ada, at=NOW)
    with pytest.raises(PasswordNotOwn):
        builders.open_count(cast)


def test_nobody_gives_themselves_a_password_as_an_administrator(ada):
    with pytest.raises(AnotherAdministrator):
        people.give_password(ada.person, password=OWN, actor=ada, at=NOW)


def test_only_administrators_give_passwords():
    nell, noel = make_person("nell"), make_person("noel")
    with pytest.raises(OnlyAdministrators):
        people.give_password(nell, password=OWN, actor=Actor(noel), at=NOW)


def test_ones_own_password_is_changed_with_the_one_that_it_was():
    nell = make_person("nell")
    with pytest.raises(WrongPassword):
        change_own(nell, password="not-the-word")
    with pytest.raises(ValueNotTaken, match="another one"):
        change_own(nell, password=PASSWORD, new=PASSWORD)
    with pytest.raises(ValueNotTaken, match="too short"):
        change_own(nell, password=PASSWORD, new="short")
    change_own(nell, password=PASSWORD)
    assert authenticate(username="nell", password=OWN) == nell
    assert authenticate(username="nell", password=PASSWORD) is None
    entry = HistoryEntry.objects.latest("id")
    assert (entry.act, entry.actor) == ("password_changed", nell)
    assert OWN.encode() not in bytes(entry.content)


@pytest.mark.parametrize("via", ["token spool", "command x"])
def test_no_script_proves_anything_by_a_password(via):
    with pytest.raises(OnlyInPerson):
        logins.prove(Actor(make_person("nell"), via=via), PASSWORD, asked_at=AskedAt.ACCOUNT, origin=Origin(), at=NOW)


def test_a_given_password_that_nobody_used_is_no_good_after_a_week(ada):
    nell = added(ada)

    def log_in(at):
        return logins.log_in(username="nell", password=GIVEN, code="", origin=Origin(), at=at)

    assert log_in(later(days=7)) == nell
    assert log_in(later(days=7, minutes=1)) is None
    people.give_password(nell, password=OWN, actor=Actor(second_administrator()), at=later(days=8))
    assert logins.log_in(username="nell", password=OWN, code="", origin=Origin(), at=later(days=9)) == nell


@pytest.mark.parametrize("password", ["Wrapledger-1", "technicianpassword", "verifier12345"])
def test_words_that_everybody_would_try_here_are_no_password(password):
    with pytest.raises(ValueNotTaken, match="everybody would try here"):
        change_own(make_person("nell"), password=PASSWORD, new=password)


@pytest.mark.parametrize("password", ["8204715936604", "ein langer Satz mit Grüßen ✓", "x" * 3 + "-long-" * 15])
def test_any_signs_make_a_password_and_long_ones_too(password):
    change_own(make_person("nell"), password=PASSWORD, new=password)
    assert authenticate(username="nell", password=password) is not None


def test_who_is_not_settled_names_no_rights_of_others(ada):
    """The refusal of somebody without any right at all is still that they have none."""
    noel = make_person("noel")
    with pytest.raises(NotAuthorised):
        acts(noel)
