"""Any order of acts by anybody on people, rights, passwords and signatures: nobody ever signs without the right.

What somebody may do is judged here a second time, by a model that knows only what was done to them: a login that its
owner alone knows, enrolled by another than its giver; an authorisation in force; a part taken in the count.
"""

from dataclasses import dataclass, field
from datetime import timedelta
from itertools import count
from typing import Any

import pytest
from django.db import transaction
from hypothesis import settings, strategies
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from inspections.domain.words import Act, InspectionState, Meaning, Role
from inspections.models import Authorisation, Inspection, Participant, SignOff
from inspections.services import authorisations, counting, opening, signing
from inspections.services.counting import OnePersonsValues
from inspections.services.gauges import GaugeFacts
from reels.domain.words import AskedAt
from reels.errors import Refused
from reels.models import Person
from reels.services import logins, people, register
from reels.services.browsers import Origin
from reels.services.history import Actor
from reports.services.verification import check_records
from tests import builders
from tests.builders import GOOD, NOW, PASSWORD, PREPARATION, make_person

WORDS = ("known-to-me-alone", "given-by-somebody", "quite-another-one")
STAFF = ("ada", "bea", "cai")
BENCH = ("tess", "vic", "noel")
EVERYBODY = (*STAFF, *BENCH)
_reels = count(1)


@dataclass
class ModelledLogin:
    """What the model knows of somebody: whose the password is, and who may not enrol them."""

    password: str = PASSWORD
    is_own: bool = True
    giver: str = ""
    is_enrolled: bool = True
    is_active: bool = True
    rights: dict[int, tuple[Act, Any, Any]] = field(default_factory=dict)  # by authorisation: act, from, until

    @property
    def is_settled(self) -> bool:
        return self.is_active and self.is_own and self.is_enrolled

    def may(self, act: Act, at: Any) -> bool:
        return self.is_settled and any(
            held is act and begins <= at and (until is None or at < until)
            for held, begins, until in self.rights.values()
        )


who = strategies.sampled_from(EVERYBODY)
bench = strategies.sampled_from(BENCH)
words = strategies.sampled_from((PASSWORD, *WORDS))
meanings = strategies.sampled_from(Meaning)


class Rights(RuleBasedStateMachine):
    """Six people, one site, one count after another."""

    @initialize()
    def begin(self) -> None:
        self.savepoint = transaction.savepoint()
        self.at = NOW
        make_person("cai", is_staff=True)
        builders.administrator()
        builders.second_administrator()
        self.site = builders.make_site()
        builders.make_publication()  # and a gauge for all counts: what only administrators add, while they can
        builders.make_gauge()
        for name in BENCH:
            make_person(name)
        for name in ("ada", "bea"):
            register.post_person(person=self.person(name), site=self.site, valid_from=NOW - timedelta(days=365),
                                 **builders.by_administrator())  # fmt: skip
        self.logins = {name: ModelledLogin() for name in EVERYBODY}
        self.logins["cai"].giver = "ada"
        for name in BENCH:
            self.logins[name].giver = "ada"
        self.inspection: Inspection | None = None
        self.signed: set[tuple[int, str]] = set()

    def person(self, name: str) -> Person:
        return Person.objects.get(username=name)

    def actor(self, name: str) -> Actor:
        return Actor(self.person(name))

    def attempt(self, act: Any) -> bool:
        """Whether it was done; what is refused leaves nothing."""
        self.at += timedelta(minutes=20)  # no lock lasts as long
        try:
            with transaction.atomic():
                act()
        except Refused:
            return False
        return True

    def is_administrator(self, name: str) -> bool:
        return name in STAFF and self.logins[name].is_settled

    # Logins

    @rule(by=who, whose=who, word=strategies.sampled_from(WORDS))
    def give_password(self, by: str, whose: str, word: str) -> None:
        done = self.attempt(lambda: people.give_password(
            self.person(whose), password=word, actor=self.actor(by), at=self.at))  # fmt: skip
        assert done == (self.is_administrator(by) and by != whose)
        if done:
            login = self.logins[whose]
            login.password, login.is_own, login.giver, login.is_enrolled = word, False, by, False

    @rule(whose=who, typed=words, word=strategies.sampled_from(WORDS))
    def change_password(self, whose: str, typed: str, word: str) -> None:
        def act() -> None:
            proof = logins.prove(self.actor(whose), typed, asked_at=AskedAt.ACCOUNT, origin=Origin(), at=self.at)
            people.change_password(proof, password=word, at=self.at)

        login = self.logins[whose]
        done = self.attempt(act)
        assert done == (typed == login.password and word != typed)
        if done:
            login.password, login.is_own = word, True

    @rule(by=who, whose=who)
    def enrol(self, by: str, whose: str) -> None:
        login = self.logins[whose]
        allowed = self.is_administrator(by) and by not in (whose, login.giver) and not login.is_enrolled
        done = self.attempt(lambda: people.enrol(
            self.person(whose), checked="seen", actor=self.actor(by), at=self.at))  # fmt: skip
        assert done == allowed
        login.is_enrolled |= done

    @rule(by=strategies.sampled_from(STAFF), whose=who)
    def try_to_act_in_anothers_name(self, by: str, whose: str) -> None:
        """All that one administrator can do about somebody's login; each step says what must come of it."""
        given, new = WORDS[:2]
        self.give_password(by=by, whose=whose, word=given)
        self.change_password(whose=whose, typed=given, word=new)
        self.enrol(by=by, whose=whose)
        for meaning in Meaning:
            self.sign(by=whose, typed=new, meaning=meaning)

    @rule(by=who, whose=bench, is_active=strategies.booleans())
    def open_or_close(self, by: str, whose: str, is_active: bool) -> None:
        done = self.attempt(lambda: people.change_person(
            self.person(whose), is_active=is_active, actor=self.actor(by), at=self.at))  # fmt: skip
        assert done == self.is_administrator(by)
        if done:
            self.logins[whose].is_active = is_active

    # Rights

    @rule(by=who, whose=who, act=strategies.sampled_from((Act.COUNT, Act.VERIFY)), days=strategies.integers(0, 3))
    def authorise(self, by: str, whose: str, act: Act, days: int) -> None:
        until = self.at + timedelta(minutes=20, hours=2) if days == 0 else None
        made: list[Authorisation] = []
        done = self.attempt(lambda: made.append(authorisations.grant(
            person=self.person(whose), act=act, reel_type=None, site=self.site, valid_from=self.at, valid_until=until,
            actor=self.actor(by), at=self.at)))  # fmt: skip
        assert done == (self.is_administrator(by) and by != whose)
        if done:
            self.logins[whose].rights[made[0].pk] = (act, self.at, until)

    @rule(by=who, whose=who)
    def end_rights(self, by: str, whose: str) -> None:
        for pk in list(self.logins[whose].rights):
            row = Authorisation.objects.get(pk=pk)
            done = self.attempt(lambda row=row: authorisations.end(
                authorisation=row, reason="over", actor=self.actor(by), at=self.at))  # fmt: skip
            assert done == self.is_administrator(by)
            if done:
                del self.logins[whose].rights[pk]

    # Counts

    @rule(by=who)
    def open_count(self, by: str) -> None:
        if self.inspection is not None and self.state() in (InspectionState.OPEN, InspectionState.AWAITING_SIGN_OFF):
            return
        serial = f"LW-{next(_reels)}"
        builders.make_reel(serial)
        made: list[Inspection] = []
        done = self.attempt(lambda: made.append(opening.open_inspection(
            serial=serial, preparation=PREPARATION, actor=self.actor(by), at=self.at)))  # fmt: skip
        assert not done or self.logins[by].may(Act.COUNT, self.at)
        if done:
            self.inspection = made[0]

    @rule(by=who, technician=who, verifier=who)
    def read(self, by: str, technician: str, verifier: str) -> None:
        if self.inspection is None or self.state() != InspectionState.OPEN:
            return
        opened, serial = self.inspection.pk, self.inspection.reel.serial
        gauge = GaugeFacts(wrap_gauge="WG-RM-7", end_marks_match=True, is_back=True)
        values = {"serial": serial, **GOOD}
        done = self.attempt(lambda: counting.record_reading(
            inspection_id=opened, actor=self.actor(by), at=self.at, gauge=gauge,
            technician=OnePersonsValues(person=self.person(technician), values=values),
            verifier=OnePersonsValues(person=self.person(verifier), values=values)))  # fmt: skip
        assert not done or (technician != verifier and self.logins[technician].may(Act.COUNT, self.at)
                            and self.logins[verifier].may(Act.VERIFY, self.at))  # fmt: skip

    @rule(by=who, typed=words, meaning=meanings)
    def sign(self, by: str, typed: str, meaning: Meaning) -> None:
        if self.inspection is None:
            return
        opened, login = self.inspection.pk, self.logins[by]
        done = self.attempt(lambda: signing.sign(
            inspection_id=opened, meaning=meaning, password=typed, actor=self.actor(by), at=self.at))  # fmt: skip
        if done:
            role, act = (Role.TECHNICIAN, Act.COUNT) if meaning is Meaning.COUNTED else (Role.VERIFIER, Act.VERIFY)
            assert typed == login.password
            assert login.may(act, self.at)
            assert Participant.objects.get(inspection=opened, person__username=by).role == role
            self.signed.add((opened, by))

    @rule(by=who, via=strategies.sampled_from(("token spool", "command sign")), meaning=meanings)
    def sign_by_script(self, by: str, via: str, meaning: Meaning) -> None:
        if self.inspection is not None:
            opened = self.inspection.pk
            assert not self.attempt(lambda: signing.sign(
                inspection_id=opened, meaning=meaning, password=self.logins[by].password,
                actor=Actor(self.person(by), via=via), at=self.at))  # fmt: skip

    @rule()
    def work_as_usual(self) -> None:
        """Without it, few runs would come as far as a signature."""
        for by, (name, act) in zip(("ada", "bea"), (("tess", Act.COUNT), ("vic", Act.VERIFY)), strict=True):
            self.authorise(by=by, whose=name, act=act, days=1)
        self.open_count(by="tess")
        self.read(by="tess", technician="tess", verifier="vic")
        for name, meaning in (("tess", Meaning.COUNTED), ("vic", Meaning.VERIFIED)):
            self.sign(by=name, typed=self.logins[name].password, meaning=meaning)

    def state(self) -> str:
        assert self.inspection is not None
        self.inspection.refresh_from_db()
        return self.inspection.state

    # What always holds

    @invariant()
    def every_signature_was_seen_to_be_right(self) -> None:
        if hasattr(self, "signed"):
            assert set(SignOff.objects.values_list("inspection", "person__username")) == self.signed

    @invariant()
    def nobody_has_both_roles_in_one_inspection(self) -> None:
        parts = [*Participant.objects.values_list("inspection", "person")]
        assert len(set(parts)) == len(parts)
        signers = [*SignOff.objects.values_list("inspection", "person")]
        assert len(set(signers)) == len(signers)

    def teardown(self) -> None:
        if hasattr(self, "savepoint"):
            try:
                assert check_records().broken is None
                SIGNED.append(len(self.signed))
            finally:
                transaction.savepoint_rollback(self.savepoint)


SIGNED: list[int] = []


@pytest.mark.django_db
def test_nobody_ever_signs_without_the_right():
    SIGNED.clear()
    run_state_machine_as_test(Rights, settings=settings(max_examples=25, stateful_step_count=30))
    assert sum(SIGNED) > 10, "few runs came as far as a signature, so little was shown"
