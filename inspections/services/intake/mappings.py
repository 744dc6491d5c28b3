"""How files that come again are read, kept by name: by administrators, and told in the register."""

from collections.abc import Iterable
from dataclasses import asdict
from datetime import datetime

from django.db import transaction
from django.db.models import QuerySet

from inspections.domain.intake.understanding import Understanding, headings
from inspections.models import SheetMapping
from reels import access
from reels.domain.text import character_not_taken, compared
from reels.errors import AlreadyEnded, AlreadyThere, NotFound, ValueNotTaken
from reels.models import Chain, Person
from reels.services.history import Actor, record_act


def mappings(person: Person) -> QuerySet[SheetMapping]:
    """Those that are not deleted, by name. Raises OnlyAdministrators."""
    access.only_administrators(person)
    return SheetMapping.objects.filter(ended_at=None)


def of(pk: int, person: Person) -> SheetMapping:
    """One by its number, deleted or not. Raises OnlyAdministrators or NotFound."""
    access.only_administrators(person)
    return access.one(SheetMapping.objects.all(), "mapping", pk=pk)


def named(name: str) -> SheetMapping:
    """The one of this name. Raises NotFound."""
    mapping = next((each for each in _in_use() if compared(each.name) == compared(name)), None)
    if mapping is None:
        raise NotFound(what="mapping", key=name)
    return mapping


def understanding_of(mapping: SheetMapping) -> Understanding:
    """How its files are read."""
    return Understanding(**mapping.understood)


def fitting(text: str, person: Person) -> list[SheetMapping]:
    """Those whose headings are all in the file."""
    return [each for each in mappings(person) if not missing(text, understanding_of(each))]


def missing(text: str, understood: Understanding) -> list[str]:
    """The headings that a file lacks for being read so."""
    there = set(headings(text, understood.separator))
    return [heading for heading in understood.columns.values() if heading not in there]


@transaction.atomic
def keep(*, name: str, understood: Understanding, used: int | None, actor: Actor, at: datetime) -> SheetMapping:
    """Keep by this name how a file is read.

    used: the mapping by which the file was read; it alone is changed by its own name. Raises OnlyAdministrators,
    ValueNotTaken or AlreadyThere.
    """
    chain = _lock(actor)
    content = asdict(understood)
    row = _in_use().filter(pk=used or 0, name=name).first()
    if row is None:
        _require_free(name, _in_use())
        with record_act(chain, "sheet_mapping_added", actor, at) as act:
            return act.add(SheetMapping(name=name, understood=content))
    if row.understood != content:
        with record_act(chain, "sheet_mapping_changed", actor, at) as act:
            act.change(row, understood=content)
    return row


@transaction.atomic
def rename(mapping: SheetMapping, *, name: str, actor: Actor, at: datetime) -> SheetMapping:
    """Give it another name. Raises as `keep`, or AlreadyEnded."""
    chain = _lock(actor)
    _require_in_use(mapping)
    _require_free(name, _in_use().exclude(pk=mapping.pk))
    with record_act(chain, "sheet_mapping_changed", actor, at) as act:
        return act.change(mapping, name=name)


@transaction.atomic
def end(mapping: SheetMapping, *, actor: Actor, at: datetime) -> SheetMapping:
    """Delete it: it is used no more, and its name is free. Raises OnlyAdministrators or AlreadyEnded."""
    chain = _lock(actor)
    _require_in_use(mapping)
    with record_act(chain, "sheet_mapping_ended", actor, at) as act:
        return act.change(mapping, ended_at=at)


def _lock(actor: Actor) -> Chain:
    access.only_administrators(actor.person)
    return access.lock_register()


def _in_use() -> QuerySet[SheetMapping]:
    return SheetMapping.objects.filter(ended_at=None)


def _require_in_use(mapping: SheetMapping) -> None:
    mapping.refresh_from_db()
    if mapping.ended_at:
        raise AlreadyEnded(what=f"mapping {mapping.name}", on=mapping.ended_at.date())


def _require_free(name: str, others: Iterable[SheetMapping]) -> None:
    if seen := character_not_taken(name, has_lines=False):
        raise ValueNotTaken(field="name", seen=seen, allowed="a text without it")
    if any(compared(each.name) == compared(name) for each in others):
        raise AlreadyThere(what="mapping", key=name)
