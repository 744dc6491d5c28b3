"""Signatures, and taking a signed inspection back."""

from datetime import datetime

from django.db import transaction

from inspections import access
from inspections.domain.record import record_bytes, statement_bytes
from inspections.domain.words import Act, InspectionState, Meaning, Role
from inspections.errors import CountIsOutlier, NotSignable, NotVoidable, RulesChanged, SamePerson
from inspections.models import Authorisation, Inspection, InspectionRecord, Participant, SignOff, Void
from inspections.queries.findings import require_findings
from inspections.queries.keyings import keyings_of
from inspections.queries.parameters import changed_rules
from inspections.queries.record import authorisation_json, person_json, record_of
from inspections.queries.setup_values import values_in_force
from inspections.services.outliers import open_outlier
from inspections.services.setup import rules_unconfirmed, withdraw_values
from reels import access as reel_access
from reels.domain import ledger
from reels.domain.text import set_apart
from reels.domain.words import AskedAt
from reels.errors import Refused
from reels.models import Person
from reels.services import logins
from reels.services.browsers import Origin
from reels.services.history import Actor, ActRecorder, record_act
from reels.services.logins import Proof

ROLE_OF = {Meaning.COUNTED: Role.TECHNICIAN, Meaning.VERIFIED: Role.VERIFIER}
NOWHERE = Origin()  # of commands and tests, which have no request
ACT_OF = {Meaning.COUNTED: Act.COUNT, Meaning.VERIFIED: Act.VERIFY}


def prove(actor: Actor, password: str, *, at: datetime, origin: Origin = NOWHERE) -> Proof:
    """Check the signer's own password: slow by design, so before any lock is held, and outside a transaction.

    Raises OnlyInPerson, PasswordNotOwn, NotEnrolled, SecondFactorMissing, TooManyTries
    or WrongPassword.
    """
    access.in_person(actor)
    # Before the password is tried: one that may not sign is not to cost a try, nor to learn whether it was right.
    reel_access.require_settled(actor.person)
    logins.require_second_factor_to_sign(actor.person)
    return logins.prove(actor, password, asked_at=AskedAt.SIGNING, origin=origin, at=at)


def sign(*, inspection_id: int, meaning: Meaning, password: str, actor: Actor, at: datetime) -> SignOff:
    """Sign a count that is worked out. The second signature makes it the reel's count.

    Raises what `prove` does, NotSignable, StopFindingOpen, RulesNotConfirmed, RulesChanged, CountIsOutlier, SamePerson
    or NotAuthorised.
    """
    return sign_as(prove(actor, password, at=at), inspection_id=inspection_id, meaning=meaning, at=at)


@transaction.atomic
def sign_as(signer: Proof, *, inspection_id: int, meaning: Meaning, at: datetime) -> SignOff:
    """Sign, once the password is proved; as `sign` does."""
    actor = signer.actor
    inspection = access.inspection_for_update(inspection_id, actor.person, at)
    by_meaning = {each.meaning: each for each in inspection.sign_offs.all()}
    _check_signable(inspection, meaning, by_meaning)
    require_findings(inspection)
    if refused := rules_in_the_way(inspection):
        raise refused
    if explanation := open_outlier(inspection):
        raise CountIsOutlier(told=explanation)
    participant = _participant(inspection, meaning, actor.person)
    authorisation = access.authorisation_for(actor.person, ACT_OF[meaning], inspection.reel, at)
    with record_act(inspection.reel.chain, "signed", actor, at, inspection=inspection.pk, meaning=meaning.value) as act:
        record = _record(act, inspection)
        signature = act.add(_signature(inspection, record, participant, meaning, authorisation, at))
        if meaning is Meaning.VERIFIED:
            act.change(inspection, state=InspectionState.SIGNED, ended_at=at, ended_by=actor.person)
            _withdraw_older_values(act, inspection)
    return signature


@transaction.atomic
def request_void(*, inspection_id: int, reason: str, actor: Actor, at: datetime) -> Void:
    """Ask that a signed inspection be taken back; another person confirms. Raises NotVoidable."""
    access.in_person(actor)
    inspection = access.inspection_for_update(inspection_id, actor.person, at)
    access.any_authorisation_for(actor.person, (Act.VERIFY, Act.RELEASE), inspection.reel, at)
    if inspection.state != InspectionState.SIGNED:
        raise NotVoidable(why=f"Inspection {inspection.pk} is {inspection.state.replace('_', ' ')}, not signed.")
    if hasattr(inspection, "void"):
        raise NotVoidable(why="It is asked for already; another person may confirm it.")
    with record_act(inspection.reel.chain, "void_asked", actor, at, inspection=inspection.pk) as act:
        return act.add(Void(inspection=inspection, requested_by=actor.person, requested_at=at, reason=reason))


@transaction.atomic
def confirm_void(*, inspection_id: int, actor: Actor, at: datetime) -> Void:
    """Confirm that a signed inspection is taken back; what was issued from it is withdrawn. Raises SamePerson."""
    access.in_person(actor)
    inspection = access.inspection_for_update(inspection_id, actor.person, at)
    access.any_authorisation_for(actor.person, (Act.VERIFY, Act.RELEASE), inspection.reel, at)
    void: Void | None = getattr(inspection, "void", None)
    if void is None or void.confirmed_at:
        raise NotVoidable(why=f"Nobody has asked to void inspection {inspection.pk}, or it is void already.")
    if void.requested_by_id == actor.person.pk:
        raise SamePerson(name=actor.person.full_name, done="asked for it")
    with record_act(inspection.reel.chain, "voided", actor, at, inspection=inspection.pk, reason=void.reason) as act:
        act.change(void, confirmed_by=actor.person, confirmed_at=at)
        act.change(inspection, state=InspectionState.VOIDED)
        in_force = values_in_force(inspection.reel)
        if in_force and in_force.inspection_id == inspection.pk:
            withdraw_values(act, inspection.reel, f"the inspection they came from was voided: {void.reason}")
    return void


def _check_signable(inspection: Inspection, meaning: Meaning, by_meaning: dict[str, SignOff]) -> None:
    if inspection.state != InspectionState.AWAITING_SIGN_OFF:
        state = inspection.state.replace("_", " ")
        raise NotSignable(why=f"Inspection {inspection.pk} is {state}; it is signed once the count is worked out.")
    if meaning in by_meaning:
        raise NotSignable(why=f"It is signed as {meaning.value} by {set_apart(by_meaning[meaning].full_name)} already.")
    if meaning is Meaning.VERIFIED and Meaning.COUNTED not in by_meaning:
        raise NotSignable(why="The technician who counted signs first.")


def rules_in_the_way(inspection: Inspection) -> Refused | None:
    """Why the rules of its type keep a count from being signed: not confirmed, or other ones since; or nothing."""
    reel_type, changed = inspection.reel.type, ", ".join(changed_rules(inspection))
    if refused := rules_unconfirmed(reel_type):
        return refused
    return RulesChanged(inspection=inspection.pk, reel_type=reel_type.code, changed=changed) if changed else None


def _participant(inspection: Inspection, meaning: Meaning, person: Person) -> Participant:
    """The signer's part in the inspection: whoever keyed, or typed in, a technician's reading can't verify it."""
    participant = Participant.objects.filter(inspection=inspection, person=person).first()
    if participant is None or participant.role != ROLE_OF[meaning]:
        role = ROLE_OF[meaning].value
        raise NotSignable(
            why=f"{set_apart(person.full_name)} did not take part as {role}; only who did signs “{meaning.value}”."
        )
    typed = [row for row in keyings_of(inspection) if row.keyed_by_id == person.pk]
    if meaning is Meaning.VERIFIED and any(row.role == Role.TECHNICIAN for row in typed):
        raise SamePerson(name=person.full_name, done="keyed a technician's reading of this count")
    return participant


def _record(act: ActRecorder, inspection: Inspection) -> InspectionRecord:
    known = InspectionRecord.objects.filter(inspection=inspection).first()
    if known:
        return known
    content = record_bytes(record_of(inspection))
    return act.add(InspectionRecord(inspection=inspection, content=content, digest=ledger.digest(content)))


def _signature(inspection: Inspection, record: InspectionRecord, participant: Participant, meaning: Meaning,
               authorisation: Authorisation, at: datetime) -> SignOff:  # fmt: skip
    person = participant.person
    statement = statement_bytes(
        {
            "inspection": inspection.pk,
            "record": record.digest,
            "meaning": meaning.value,
            "person": person_json(person),
            "at": at,
            "authorisation": authorisation_json(authorisation),
        }
    )
    return SignOff(
        inspection=inspection, participant=participant, meaning=meaning, person=person, full_name=person.full_name,
        signed_at=at, authorisation=authorisation, record_digest=record.digest, statement=statement,
        digest=ledger.digest(statement),
    )  # fmt: skip


def _withdraw_older_values(act: ActRecorder, inspection: Inspection) -> None:
    in_force = values_in_force(inspection.reel)
    if in_force and in_force.inspection.done_at <= inspection.done_at:
        withdraw_values(act, inspection.reel, f"the reel was counted again (inspection {inspection.pk})")
