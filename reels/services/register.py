"""Sites, reel types, publications, machines and postings: what belongs to no single reel.

One chain, `register`, tells all of it.
"""

from collections.abc import Mapping, Sequence
from copy import copy
from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.db.models import Q

from reels import access
from reels.domain.text import character_not_taken, compared
from reels.domain.type_rules import DECIDING, RULE_NAMES, TypeRule, still_sourced, without_source
from reels.domain.winding import drum_from
from reels.domain.words import LengthUnit, WindingSense
from reels.errors import (
    AlreadyEnded,
    AlreadyThere,
    AnotherAdministrator,
    OnlyInPerson,
    PublicationOutOfOrder,
    RulesNotSourced,
    ValueNotTaken,
)
from reels.models import (
    GaugeCalibration,
    GaugeType,
    Machine,
    Person,
    Posting,
    Publication,
    PublicationType,
    Reel,
    ReelType,
    SetUpList,
    Site,
    WrapGauge,
)
from reels.queries import publications_in_force
from reels.services.history import Actor, ActRecorder, Row, record_act

# What names a thing for people; usernames, codes and serials are ASCII, and the database compares those.
COMPARED: Mapping[type, tuple[str, ...]] = {Person: ("staff_number",), Publication: ("code", "revision")}


@transaction.atomic
def add_site(*, actor: Actor, at: datetime, **fields: Any) -> Site:
    """A new site. fields: those of Site."""
    return add(Site(**fields), "site_added", actor, at)


@transaction.atomic
def add_reel_type(*, actor: Actor, at: datetime, **fields: Any) -> ReelType:
    """A new reel type. fields: those of ReelType; winding sense and arc follow from each other if one is left out.

    Its rules are to be sourced, and confirmed by somebody else, before its counts can be signed.
    """
    row = ReelType(**WindingSense.completing(fields), **fields, rules_written_by=[actor.person.pk])
    return add(row, "reel_type_added", actor, at)


@transaction.atomic
def source_rules(reel_type: ReelType, *, publication: str, revision: str, paragraphs: Mapping[TypeRule, str],
                 actor: Actor, at: datetime) -> ReelType:  # fmt: skip
    """Say in which paragraphs of a publication rules of a type are written. The type has to be confirmed after that.

    paragraphs: by rule; the other rules keep their sources. Raises OnlyAdministrators or ValueNotTaken.
    """
    access.only_administrators(actor.person)
    chain = access.lock_register()
    reel_type.refresh_from_db()
    in_force = publications_in_force(reel_type, at)
    if not in_force.filter(code=publication, revision=revision).exists():
        allowed = "; ".join(str(each) for each in in_force) or "none that is in force for the type; register one first"
        raise ValueNotTaken(field="publication", seen=f"{publication}, revision {revision}", allowed=allowed)
    place = {"publication": publication, "revision": revision, "given_by": actor.person.pk}
    sourced = {rule.value: {**place, "paragraph": text.strip()} for rule, text in paragraphs.items() if text.strip()}
    if not sourced:
        raise ValueNotTaken(field="lead", seen="no paragraph", allowed="a paragraph for one of the rules at least")
    with record_act(chain, "rules_sourced", actor, at, code=reel_type.code) as act:
        return act.change(reel_type, rule_sources={**reel_type.rule_sources, **sourced}, **_rewritten(reel_type, actor))


@transaction.atomic
def confirm_rules(reel_type: ReelType, *, actor: Actor, at: datetime) -> ReelType:
    """Confirm that the rules of a type are those of their publications. From then on its counts can be signed.

    Raises OnlyAdministrators, RulesNotSourced, AlreadyThere, OnlyInPerson for a script, or AnotherAdministrator for
    whoever wrote or sourced a rule since they were confirmed last.
    """
    access.only_administrators(actor.person)
    if actor.is_a_script:
        raise OnlyInPerson()
    chain = access.lock_register()
    reel_type.refresh_from_db()
    if missing := without_source(reel_type.rule_sources):
        names = ", ".join(RULE_NAMES[rule].lower() for rule in missing)
        raise RulesNotSourced(reel_type=reel_type.code, missing=names)
    if actor.person.pk in reel_type.rules_written_by:
        raise AnotherAdministrator(name=actor.person.full_name, done="written a rule of the type, or its source")
    if reel_type.rules_confirmed_at:
        raise AlreadyThere(what="confirmation of the rules of", key=reel_type.code)
    with record_act(chain, "rules_confirmed", actor, at, code=reel_type.code) as act:
        return act.change(reel_type, rules_confirmed_by=actor.person, rules_confirmed_at=at)


def _rewritten(row: ReelType, actor: Actor) -> dict[str, Any]:
    """The columns of a type whose rules somebody wrote: not confirmed, and not to be by any who wrote since it was."""
    before = set() if row.rules_confirmed_at else set(row.rules_written_by)
    writers = sorted({*before, actor.person.pk})
    return {"rules_written_by": writers, "rules_confirmed_by": None, "rules_confirmed_at": None}


@transaction.atomic
def add_machine(*, actor: Actor, at: datetime, **fields: Any) -> Machine:
    """A new reeling machine. fields: those of Machine; what it takes may be named later, and until then is nothing."""
    return add(Machine(**fields), "machine_added", actor, at)


@transaction.atomic
def add_publication(*, types: Sequence[ReelType] = (), actor: Actor, at: datetime, **fields: Any) -> Publication:
    """A new publication, or a new revision, which supersedes the one before from the moment that it is in force.

    types: those that it is for; none: every type. fields: code, title, revision, valid_from.
    Raises OnlyAdministrators, AlreadyThere, PublicationOutOfOrder or ValueNotTaken.
    """
    access.only_administrators(actor.person)
    chain = access.lock_register()
    row = Publication(**fields)
    check(row)
    earlier = Publication.objects.filter(code=row.code).order_by("valid_from", "id").last()
    if earlier and earlier.valid_from >= row.valid_from:
        raise PublicationOutOfOrder(earlier=earlier, begins=f"{earlier.valid_from:%Y-%m-%d %H:%M} UTC",
                                    seen=f"{row.valid_from.astimezone(UTC):%Y-%m-%d %H:%M} UTC")  # fmt: skip
    with record_act(chain, "publication_added", actor, at) as act:
        if earlier and (earlier.valid_until is None or earlier.valid_until > row.valid_from):
            act.change(earlier, valid_until=row.valid_from, end_reason=f"superseded by revision {row.revision}")
        act.add(row)
        act.add_all([PublicationType(publication=row, type=each) for each in types])
    return row


@transaction.atomic
def end_publication(row: Publication, *, reason: str, actor: Actor, at: datetime) -> Publication:
    """Take a publication out of force, where none follows it. Counts that name it stand.

    Raises OnlyAdministrators or AlreadyEnded.
    """
    access.only_administrators(actor.person)
    chain = access.lock_register()
    row.refresh_from_db()
    if row.valid_until and row.valid_until <= at:
        raise AlreadyEnded(what=f"publication {row}", on=row.valid_until.date())
    with record_act(chain, "publication_ended", actor, at, reason=reason) as act:
        # One that is not in force yet ends as it begins, and never is.
        return act.change(row, valid_until=max(at, row.valid_from), end_reason=reason)


@transaction.atomic
def register_gauge(*, serial: str, machine: Machine, types: Sequence[ReelType], calibrated_on: date, due: date,
                   actor: Actor, at: datetime) -> WrapGauge:  # fmt: skip
    """A wrap gauge that is new to the records. Raises OnlyAdministrators, AlreadyThere or ValueNotTaken."""
    access.only_administrators(actor.person)
    chain = access.lock_register()
    gauge = WrapGauge(serial=serial, machine=machine)
    check(gauge)
    if not types:
        raise ValueNotTaken(field="types", seen="none", allowed="the reel types that it fits, one at least")
    with record_act(chain, "wrap_gauge_registered", actor, at) as act:
        act.add(gauge)
        act.add_all([GaugeType(gauge=gauge, type=each) for each in types])
        _add_calibration(act, gauge, calibrated_on, due)
    return gauge


@transaction.atomic
def calibrate_gauge(gauge: WrapGauge, *, calibrated_on: date, due: date, actor: Actor, at: datetime) -> WrapGauge:
    """A new calibration of a gauge. The earlier ones stay, for counts that were done then."""
    access.only_administrators(actor.person)
    chain = access.lock_register()
    with record_act(chain, "wrap_gauge_calibrated", actor, at, serial=gauge.serial) as act:
        _add_calibration(act, gauge, calibrated_on, due)
    return gauge


@transaction.atomic
def move_gauge(gauge: WrapGauge, *, machine: Machine, actor: Actor, at: datetime) -> WrapGauge:
    """Have a gauge belong to another machine from now on."""
    access.only_administrators(actor.person)
    chain = access.lock_register()
    gauge = WrapGauge.objects.select_for_update().get(pk=gauge.pk)
    with record_act(chain, "wrap_gauge_moved", actor, at, serial=gauge.serial) as act:
        return act.change(gauge, machine=machine)


def _add_calibration(act: ActRecorder, gauge: WrapGauge, calibrated_on: date, due: date) -> None:
    latest = act.at.date() + timedelta(days=1)  # it may be tomorrow already where the gauge is
    if calibrated_on > latest:
        raise ValueNotTaken(field="calibrated_on", seen=calibrated_on, allowed="a day that has come")
    if due < calibrated_on:
        raise ValueNotTaken(field="due", seen=due, allowed=f"{calibrated_on}, when it was calibrated, or later")
    act.add(GaugeCalibration(gauge=gauge, calibrated_on=calibrated_on, due=due))


@transaction.atomic
def change(row: models.Model, *, actor: Actor, at: datetime, reason: str = "", **fields: Any) -> None:
    """Change reference data: a site, reel type, machine or posting. What it was stays in the register's history.

    reason: told in the history, where there is one.
    """
    access.only_administrators(actor.person)
    chain = access.lock_register()
    row.refresh_from_db()
    if isinstance(row, ReelType):
        fields = _of_type(row, {**fields, **WindingSense.completing(fields)}, actor)
    changed = copy(row)
    for name, value in fields.items():
        setattr(changed, name, value)
    check(changed)  # before the database, which would refuse it without words
    facts = {"reason": reason} if reason else {}
    with record_act(chain, f"{_word(row)}_changed", actor, at, **facts) as act:
        act.change(row, **fields)


@transaction.atomic
def post_person(*, person: Person, site: Site | None, valid_from: datetime, valid_until: datetime | None = None,
                actor: Actor, at: datetime) -> Posting:  # fmt: skip
    """Let a person read at a site, or at every site (None)."""
    posting = Posting(person=person, site=site, valid_from=valid_from, valid_until=valid_until)
    return add(posting, "person_posted", actor, at)


@transaction.atomic
def prefer_length_unit(*, unit: LengthUnit, actor: Actor, at: datetime) -> None:
    """Show the actor's lengths in another unit from now on. What is kept stays in metres."""
    chain = access.lock_register()
    person = actor.person
    person.refresh_from_db()
    if person.length_unit != unit:
        with record_act(chain, "length_unit_preferred", actor, at) as act:
            act.change(person, length_unit=unit.value)


@transaction.atomic
def put_set_up_list_away(*, is_away: bool, actor: Actor, at: datetime) -> None:
    """Put the set-up list away for the whole organisation, or take it back. Raises OnlyAdministrators."""
    access.only_administrators(actor.person)
    chain = access.lock_register()
    row = SetUpList.objects.first()
    if is_away == bool(row and row.put_away_at):
        return
    values = {"put_away_at": at if is_away else None, "put_away_by": actor.person if is_away else None}
    with record_act(chain, "set_up_list_put_away" if is_away else "set_up_list_taken_back", actor, at) as act:
        if row:
            act.change(row, **values)
        else:
            act.add(SetUpList(**values))


def _of_type(row: ReelType, fields: dict[str, Any], actor: Actor) -> dict[str, Any]:
    """A change of a reel type; one of its rules takes the source of that rule and the confirmation of all with it."""
    changed = {name for name in DECIDING if name in fields and fields[name] != getattr(row, name)}
    if not changed:
        return fields
    return {**fields, **_rewritten(row, actor), "rule_sources": still_sourced(row.rule_sources, changed)}


def add(row: Row, act_name: str, actor: Actor, at: datetime) -> Row:
    """Add a row, within a transaction. Raises OnlyAdministrators, AlreadyThere or ValueNotTaken."""
    access.only_administrators(actor.person)
    chain = access.lock_register()
    check(row)
    with record_act(chain, act_name, actor, at) as act:
        act.add(row)
    return row


def check(row: models.Model) -> None:
    """The model's own rules and the winding model's, in words, before the database says the same without any."""
    try:
        row.full_clean(exclude=["password"])
    except ValidationError as refused:
        if any(
            error.code in ("unique", "unique_together") for errors in refused.error_dict.values() for error in errors
        ):
            raise AlreadyThere(what=_word(row).replace("_", " "), key=str(row)) from refused
        name, errors = next(iter(refused.error_dict.items()))
        seen = repr(getattr(row, name, "that"))
        raise ValueNotTaken(field=name, seen=seen, allowed=" ".join(m for e in errors for m in e.messages)) from refused
    _check_texts(row)
    if isinstance(row, ReelType):
        drum_from(vars(row))  # raises ImpossibleDrum
    if isinstance(row, Machine):
        _check_taken(row)


def _check_texts(row: models.Model) -> None:
    """They hold nothing that nobody sees, and no name is one that is there already but for what nobody sees."""
    for column in row._meta.concrete_fields:
        text, has_lines = getattr(row, column.attname), isinstance(column, models.TextField)
        if isinstance(text, str) and (seen := character_not_taken(text, has_lines=has_lines)):
            raise ValueNotTaken(field=column.name, seen=seen, allowed="a text without it")
    columns = COMPARED.get(type(row), ())
    name = [compared(getattr(row, column)) for column in columns]
    others = type(row)._default_manager.exclude(pk=row.pk).values_list(*columns) if columns else ()
    if any([compared(part) for part in other] == name for other in others):
        raise AlreadyThere(what=_word(row).replace("_", " "), key=str(row))


def _check_taken(machine: Machine) -> None:
    """It names types that there are, and leaves out none of a reel that is in it or has values in force for it."""
    known = set(access.reel_types().values_list("code", flat=True))
    if unknown := sorted(set(machine.types) - known):
        raise ValueNotTaken(field="types", seen=", ".join(unknown), allowed=f"of {', '.join(sorted(known))}")
    is_here = Q(installations__machine=machine.pk, installations__removed_at__isnull=True)
    is_awaited = Q(setup_values__machine=machine.pk, setup_values__withdrawn_at__isnull=True)
    others = Reel.objects.exclude(type__code__in=machine.types)
    if machine.pk and (reel := others.filter(is_here | is_awaited).select_related("type").first()):
        allowed = f"{reel.type.code} among them: reel {reel.serial} is in the machine, or has values in force for it"
        raise ValueNotTaken(field="types", seen=", ".join(machine.types) or "none", allowed=allowed)


def _word(row: models.Model) -> str:
    return str(row._meta.verbose_name).replace(" ", "_")
