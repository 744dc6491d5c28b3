"""Signatures: one's own password, one's own part, today's authorisation; bound to the record, for good."""

import json

import pytest
from django.db import IntegrityError, transaction

from inspections.domain.record import signature_fault
from inspections.domain.words import Act, InspectionState, Meaning, Point, Role
from inspections.errors import NotAuthorised, NotSignable, SamePerson
from inspections.models import Authorisation, Inspection, InspectionRecord, Participant, SignOff
from inspections.services import authorisations, counting, signing
from inspections.services.counting import OnePersonsValues
from reels.domain import ledger
from reels.errors import NotFound, OnlyInPerson, WrongPassword
from reels.models import HistoryEntry
from reels.services import people, register
from reels.services.history import Actor
from tests import builders, stories
from tests.builders import GOOD, NOW, PASSWORD, authorise, by_administrator, later, make_person


@pytest.fixture
def inspection(cast):
    return builders.read(cast, builders.open_count(cast))


SEEN = {"serial": "LW-0001", **GOOD}


def sign(inspection, person, meaning=Meaning.COUNTED, *, password=PASSWORD, via="session", at=NOW):
    actor = Actor(person, via=via)
    return signing.sign(inspection_id=inspection.pk, meaning=meaning, password=password, actor=actor, at=at)


def verify(inspection, person, **how):
    return sign(inspection, person, Meaning.VERIFIED, **how)


def fresh(inspection):
    return Inspection.objects.get(pk=inspection.pk)


# What a signature says ----------------------------------------------------------------------------------------------


def test_a_signature_binds_person_time_meaning_authority_and_content(cast, inspection):
    signature = sign(inspection, cast.technician, at=later(minutes=5))
    record = InspectionRecord.objects.get()
    assert record.digest == signature.record_digest == ledger.digest(bytes(record.content))
    assert signature.digest == ledger.digest(bytes(signature.statement))
    authority = Authorisation.objects.get(person=cast.technician)
    assert json.loads(bytes(signature.statement)) == {
        "v": 1, "kind": "signature", "inspection": inspection.pk, "record": record.digest, "meaning": "counted",
        "person": {"id": cast.technician.pk, "username": "tess", "name": "Tess Hollin",
                   "staff_number": cast.technician.staff_number},
        "at": "2026-03-02T09:05:00.000000Z",
        "authorisation": {"id": authority.pk, "act": "count", "reel_type": None, "site": "kettle-point",
                          "valid_from": ledger.plain(authority.valid_from), "valid_until": None,
                          "granted_by": authority.granted_by_id},
    }  # fmt: skip


def test_what_is_signed_holds_everything_that_was_entered(cast):
    inspection = builders.open_count(cast, done_at=later(days=-1))
    builders.read(cast, inspection, hand_wraps=11)
    builders.read(cast, inspection)
    sign(inspection, cast.technician)
    said = json.loads(bytes(InspectionRecord.objects.get().content))
    assert (said["done_at"], said["recorded_at"]) == ("2026-03-01T09:00:00.000000Z", "2026-03-02T09:00:00.000000Z")
    assert said["from_paper"] is True
    assert said["result"] == {"layers": 12, "wraps": 10, "parity": "even"}
    assert [(each["number"], each["outcome"], len(each["keyed"])) for each in said["readings"]] == [
        (1, "reread", 15), (2, "accepted", 15),
    ]  # fmt: skip
    assert [each["name"] for each in said["participants"]] == ["Tess Hollin", "Vic Amberley"]
    assert said["preparation"]["publication_revision"] == "C"
    assert said["readings"][1]["working"]["steps"]


def test_both_sign_the_same_record_and_the_second_makes_it_the_count(cast, inspection):
    first = sign(inspection, cast.technician)
    assert fresh(inspection).state == InspectionState.AWAITING_SIGN_OFF
    second = verify(inspection, cast.verifier, at=later(hours=1))
    assert first.record_digest == second.record_digest
    inspection = fresh(inspection)
    assert (inspection.state, inspection.ended_at, inspection.ended_by) == ("signed", later(hours=1), cast.verifier)


def test_a_person_who_is_renamed_later_leaves_the_signature_as_it_was(cast, inspection):
    signature = sign(inspection, cast.technician)
    before = bytes(signature.statement)
    register.change(cast.technician, full_name="Tess Marlow", **by_administrator())
    signature.refresh_from_db()
    assert (signature.full_name, bytes(signature.statement)) == ("Tess Hollin", before)
    assert signature.person.full_name == "Tess Marlow"
    assert verify(inspection, cast.verifier).record_digest == signature.record_digest
    builders.log_cut(cast, at=later(days=1))


def test_a_signature_does_not_fit_another_record_statement_or_person(cast, inspection):
    signature = sign(inspection, cast.technician)
    record, statement = bytes(InspectionRecord.objects.get().content), bytes(signature.statement)
    columns = {"inspection": inspection.pk, "meaning": "counted", "person": cast.technician.pk, "name": "Tess Hollin"}
    assert signature_fault(record, statement, digest=signature.digest, columns=columns) is None
    for wrong, why in (
        ({"digest": "0" * 64}, "its statement has the digest"),
        ({"columns": {**columns, "inspection": 99}}, "says inspection"),
        ({"columns": {**columns, "meaning": "verified"}}, "says meaning 'counted', the row says 'verified'"),
        ({"columns": {**columns, "person": cast.verifier.pk}}, "says person"),
        ({"columns": {**columns, "name": "Vic Amberley"}}, "says name 'Tess Hollin', the row says 'Vic Amberley'"),
    ):
        given = {"digest": signature.digest, "columns": columns, **wrong}
        assert why in str(signature_fault(record, statement, **given))
    moved = signature_fault(record + b" ", statement, digest=signature.digest, columns=columns)
    assert "it was given for the record" in str(moved)


# Who may sign -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("password", ["", "wrong", PASSWORD + " ", PASSWORD.upper()])
def test_the_signers_own_password_is_asked_for_each_time(cast, inspection, password):
    before = HistoryEntry.objects.count()
    with pytest.raises(WrongPassword, match="nothing was done"):
        sign(inspection, cast.technician, password=password)
    assert (SignOff.objects.count(), HistoryEntry.objects.count()) == (0, before)


def test_the_password_of_somebody_else_does_not_do(cast, inspection):
    other = make_person("theo", Act.COUNT)
    people.give_password(other, password="quite-another-word", **by_administrator())
    with pytest.raises(WrongPassword):
        sign(inspection, cast.technician, password="quite-another-word")


@pytest.mark.parametrize("via", ["token bench", "command sign"])
def test_a_script_never_signs_even_with_the_password(cast, inspection, via):
    with pytest.raises(OnlyInPerson):
        sign(inspection, cast.technician, via=via)


@pytest.mark.parametrize("who", ["verifier", "colleague", "control", "releaser"])
def test_only_who_counted_signs_that_they_counted(cast, inspection, who):
    with pytest.raises(NotSignable, match="did not take part as technician"):
        sign(inspection, getattr(cast, who))


@pytest.mark.parametrize("who", ["technician", "colleague", "control", "releaser"])
def test_only_who_witnessed_signs_that_they_verified(cast, inspection, who):
    sign(inspection, cast.technician)
    with pytest.raises(NotSignable, match="did not take part as verifier"):
        verify(inspection, getattr(cast, who))


def test_who_holds_every_authorisation_still_signs_once(cast):
    for act in (Act.COUNT, Act.VERIFY):
        authorise(cast.technician, act)
        authorise(cast.verifier, act)
    inspection = builders.read(cast, builders.open_count(cast))
    sign(inspection, cast.technician)
    with pytest.raises(NotSignable):
        verify(inspection, cast.technician)
    with pytest.raises(NotSignable, match="signed as counted by Tess Hollin already"):
        sign(inspection, cast.verifier)


def test_the_database_refuses_two_signatures_of_one_person_and_two_of_one_meaning(cast, inspection):
    signature = sign(inspection, cast.technician)
    for changes in ({"meaning": "verified"}, {"person": cast.verifier}):
        copy = SignOff.objects.get(pk=signature.pk)
        copy.pk, copy.digest = None, "0" * 64
        for name, value in changes.items():
            setattr(copy, name, value)
        with pytest.raises(IntegrityError), transaction.atomic():
            copy.save(force_insert=True)
    assert SignOff.objects.count() == 1


def test_who_typed_a_technicians_reading_cannot_verify_the_count(cast):
    inspection = builders.open_count(cast)
    counting.record_reading(
        inspection_id=inspection.pk, technician=OnePersonsValues(person=cast.technician, values=SEEN),
        verifier=OnePersonsValues(person=cast.verifier, values=SEEN), actor=Actor(cast.verifier), at=NOW,
    )  # fmt: skip
    sign(inspection, cast.technician)
    with pytest.raises(SamePerson, match="Vic Amberley has already keyed a technician's reading of this count"):
        verify(inspection, cast.verifier)


def test_who_typed_any_technicians_reading_cannot_verify_even_if_it_was_read_again(cast):
    inspection = builders.open_count(cast)
    counting.record_reading(
        inspection_id=inspection.pk, technician=OnePersonsValues(person=cast.technician, values=SEEN),
        verifier=OnePersonsValues(person=cast.verifier, values={**SEEN, "hand_wraps": 11}),
        actor=Actor(cast.verifier), at=NOW,
    )  # fmt: skip
    stories.key_all(cast, inspection)
    sign(inspection, cast.technician)
    with pytest.raises(SamePerson):
        verify(inspection, cast.verifier)


def test_another_verifier_who_took_part_may_sign_instead(cast):
    relief = make_person("vera", Act.VERIFY, full_name="Vera Stone")
    inspection = stories.at_the_scales(cast)
    stories.key(cast, inspection, Point.SCALE_LEFT)
    counting.key(inspection_id=inspection.pk, point=Point.SCALE_LEFT, role=Role.VERIFIER, fields={"scale_left": 13},
                 actor=Actor(relief), at=NOW)  # fmt: skip
    stories.key_both(cast, inspection, *(p for p in stories.FROM_THE_SCALES if p is not Point.SCALE_LEFT))
    sign(inspection, cast.technician)
    assert verify(inspection, relief).full_name == "Vera Stone"


# When -----------------------------------------------------------------------------------------------------------------


def test_nothing_is_signed_before_the_count_is_worked_out_or_after_it_is_signed(cast):
    inspection = builders.open_count(cast)
    with pytest.raises(NotSignable, match="is open; it is signed once the count is worked out"):
        sign(inspection, cast.technician)
    stories.ask_for_help(cast, inspection)
    with pytest.raises(NotSignable, match="is referred"):
        sign(inspection, cast.technician)
    stories.release(cast, inspection)
    builders.sign_both(cast, builders.read(cast, inspection))
    with pytest.raises(NotSignable, match="is signed"):
        sign(inspection, cast.technician)


def test_the_technician_signs_first(cast, inspection):
    with pytest.raises(NotSignable, match="The technician who counted signs first"):
        verify(inspection, cast.verifier)


def test_an_authorisation_counts_at_the_moment_of_signing(cast, inspection):
    for authority in Authorisation.objects.filter(person=cast.technician):
        authorisations.end(authorisation=authority, reason="course lapsed", **by_administrator())
    with pytest.raises(NotAuthorised, match="on 2026-03-02"):
        sign(inspection, cast.technician)
    authorise(cast.technician, Act.COUNT, valid_from=later(days=1), valid_until=later(days=2))
    for at in (NOW, later(hours=23), later(days=2), later(days=3)):
        with pytest.raises(NotAuthorised):
            sign(inspection, cast.technician, at=at)
    assert sign(inspection, cast.technician, at=later(days=1)).authorisation.valid_until == later(days=2)


def test_an_authorisation_for_another_type_or_site_does_not_do(cast, inspection):
    for authority in Authorisation.objects.filter(person=cast.technician):
        authorisations.end(authorisation=authority, reason="moved", **by_administrator())
    authorise(cast.technician, Act.COUNT, site=builders.make_site("aldermere", "Aldermere"))
    authorise(cast.technician, Act.COUNT, reel_type=builders.make_type("w40"))
    authorise(cast.technician, Act.VERIFY)
    with pytest.raises(NotAuthorised, match="to count for reels of type w28 at Kettle Point"):
        sign(inspection, cast.technician)
    authorise(cast.technician, Act.COUNT, reel_type=inspection.reel.type, site=inspection.reel.site)
    assert sign(inspection, cast.technician).meaning == "counted"


def test_the_site_is_where_the_reel_is_when_it_is_signed(cast):
    register.post_person(person=cast.technician, site=None, valid_from=later(days=-9), **by_administrator())
    builders.sent(cast, at=later(hours=2))
    on_paper = builders.open_count(cast, at=later(hours=3), done_at=later(hours=1), has_gauge=False)
    builders.take_gauge(cast, on_paper, at=later(hours=3))
    builders.read(cast, on_paper, later(hours=3))
    builders.received(cast, at=later(hours=4))
    with pytest.raises(NotAuthorised, match="at Aldermere"):
        sign(on_paper, cast.technician, at=later(hours=4))


def test_a_deactivated_account_signs_nothing(cast, inspection):
    register.change(cast.technician, is_active=False, **by_administrator())
    with pytest.raises(NotFound):
        sign(inspection, cast.technician)


def test_one_authorisation_that_ends_leaves_what_was_signed_under_it(cast, inspection):
    signature = sign(inspection, cast.technician)
    authorisations.end(authorisation=signature.authorisation, reason="left", **by_administrator())
    assert verify(inspection, cast.verifier)
    assert Participant.objects.count() == 2
