"""Witnesses: registered, ended, and their countersignatures taken in. What one is: reels/domain/countersignature.py."""

from collections.abc import Iterable
from datetime import datetime

from django.db import transaction
from django.db.models import QuerySet

from reels import access
from reels.domain import countersignature
from reels.errors import AlreadyEnded, ValueNotTaken
from reels.models import Countersignature, Witness
from reels.services import checkpoints, register
from reels.services.checkpoint_key import known_keys
from reels.services.history import Actor, record_act


@transaction.atomic
def add_witness(*, name: str, key: str, actor: Actor, at: datetime) -> Witness:
    """A witness with its public key. Raises OnlyAdministrators, AlreadyThere or ValueNotTaken."""
    key = key.strip().lower()
    if len(key) != 64 or set(key) - set("0123456789abcdef"):
        allowed = "the 64 hexadecimal digits that `check_records.py witness-key` prints"
        raise ValueNotTaken(field="key", seen=repr(key), allowed=allowed)
    if key in known_keys():
        raise ValueNotTaken(field="key", seen="a key of this service", allowed="one that only the witness holds")
    return register.add(Witness(name=name, key=key, added_at=at), "witness_added", actor, at)


@transaction.atomic
def end_witness(row: Witness, *, reason: str, actor: Actor, at: datetime) -> Witness:
    """Take nothing more from a witness. What it countersigned stays. Raises OnlyAdministrators or AlreadyEnded."""
    access.only_administrators(actor.person)
    chain = access.lock_register()
    row.refresh_from_db()
    if row.ended_at:
        raise AlreadyEnded(what=f"witness {row}", on=row.ended_at.date())
    with record_act(chain, "witness_ended", actor, at, reason=reason) as act:
        return act.change(row, ended_at=at, end_reason=reason)


@transaction.atomic
def take_countersignature(entries: int, *, text: str, actor: Actor, at: datetime) -> Countersignature:
    """Of a checkpoint, by a witness who is registered; whoever hands it in, the signature says whose it is.

    The same again gives the one that is kept. Raises NotFound or ValueNotTaken.
    """
    made = checkpoints.one_made(entries)
    text = "".join(f"{line}\n" for line in text.strip().splitlines())
    says = countersignature.countersigned(text)
    witness = Witness.objects.filter(key=says.key).first() if says else None
    chain = access.lock_register()
    kept = Countersignature.objects.filter(witness=witness, entries=made.entries).first() if witness else None
    if kept is not None and kept.text == text:
        return kept
    if says is None or witness is None:
        raise _not_taken(_unknown(says))
    if why := _why_not(witness, kept, text, made.text):
        raise _not_taken(why)
    with record_act(chain, "checkpoint_countersigned", actor, at, witness=witness.name, entries=made.entries) as act:
        row = Countersignature(
            witness=witness, entries=made.entries, signed_at=says.signed_at, recorded_at=at, text=text
        )
        return act.add(row)


def countersignatures_of(entries: int) -> QuerySet[Countersignature]:
    """By whom a checkpoint is countersigned. Raises NotFound."""
    made = checkpoints.one_made(entries)
    return Countersignature.objects.filter(entries=made.entries).select_related("witness")


def countersigned_by(entries: Iterable[int]) -> dict[int, list[Countersignature]]:
    """By whom checkpoints are countersigned, by their entries, the first first. One query."""
    by_entries: dict[int, list[Countersignature]] = {}
    rows = Countersignature.objects.filter(entries__in=list(entries)).select_related("witness")
    for row in rows.order_by("recorded_at", "id"):
        by_entries.setdefault(row.entries, []).append(row)
    return by_entries


def _not_taken(why: str) -> ValueNotTaken:
    allowed = "the whole file that `check_records.py witness` made of this checkpoint"
    return ValueNotTaken(field="The countersignature", seen=f"not taken: {why}", allowed=allowed)


def _unknown(says: countersignature.Countersigned | None) -> str:
    if says is None:
        return "it is no countersignature of form 1, or its signature does not hold for the key that it names"
    return f"the key {says.key} is of no witness that is registered here"


def _why_not(witness: Witness, kept: Countersignature | None, text: str, checkpoint_text: str) -> str | None:
    if witness.ended_at:
        return f"{witness} is no longer a witness since {witness.ended_at:%Y-%m-%d}"
    if kept is not None:
        return f"another one by {witness} for this checkpoint is kept, signed {kept.signed_at:%Y-%m-%d %H:%M} UTC"
    return countersignature.fault(text, witness=witness.name, key=witness.key, checkpoint_text=checkpoint_text)
