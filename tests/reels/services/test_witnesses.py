"""Witnesses registered and ended, and what is taken of them; and what is refused, in words."""

import pytest

from reels.domain import checkpoint
from reels.errors import (
    AlreadyEnded,
    AlreadyThere,
    NotFound,
    OnlyAdministrators,
    ValueNotTaken,
)
from reels.models import Countersignature, HistoryEntry, Witness
from reels.services import checkpoints, witnesses
from reels.services.checkpoint_key import checkpoint_key
from reels.services.history import Actor
from tests import builders, witnessing
from tests.builders import administrator, later
from tests.witnessing import countersigned_text, key_of, public_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def made():
    builders.make_reel()
    return checkpoints.make(later())


def take(made, text: str) -> Countersignature:
    actor = Actor(administrator())
    return witnesses.take_countersignature(made.entries, text=text, actor=actor, at=later(days=1))


def refused(made, text: str) -> str:
    with pytest.raises(ValueNotTaken) as found:
        take(made, text)
    return str(found.value)


def add(**changes: str) -> Witness:
    fields = {"name": witnessing.NAME, "key": public_of(), **changes}
    return witnesses.add_witness(actor=Actor(administrator()), at=later(), **fields)


# Witnesses ----------------------------------------------------------------------------------------------------------


def test_only_an_administrator_registers_or_ends_one():
    noel = Actor(builders.make_person("noel"))
    with pytest.raises(OnlyAdministrators):
        witnesses.add_witness(name="Teal", key=public_of(), actor=noel, at=later())
    row = witnessing.witness()
    with pytest.raises(OnlyAdministrators):
        witnesses.end_witness(row, reason="no more", actor=noel, at=later())


def test_a_key_that_is_none_or_is_this_services_own_or_somebody_elses_is_refused():
    own = checkpoint.public_hex(checkpoint_key())
    for key, seen in (("ab", "'ab'"), ("g" * 64, "g" * 64), (own, "a key of this service")):
        with pytest.raises(ValueNotTaken, match=seen):
            add(key=key)
    add(key=public_of().upper() + " ")
    for same in ({"name": "Another"}, {"key": "ab" * 32}):
        with pytest.raises(AlreadyThere):
            add(**same)


def test_from_one_that_has_ended_nothing_is_taken_and_what_it_signed_stays(made):
    row, text = witnessing.witness(), countersigned_text(made.text)
    take(made, text)
    ended = witnesses.end_witness(row, reason="dissolved", actor=Actor(administrator()), at=later(days=1))
    assert (ended.ended_at, ended.end_reason) == (later(days=1), "dissolved")
    with pytest.raises(AlreadyEnded):
        witnesses.end_witness(row, reason="again", actor=Actor(administrator()), at=later(days=2))
    second = checkpoints.make(later(days=2))
    assert "is no longer a witness since 2026-03-03" in refused(second, countersigned_text(second.text))
    assert take(made, text).pk == Countersignature.objects.get().pk


# Countersignatures --------------------------------------------------------------------------------------------------


def test_one_is_kept_as_it_was_made_and_told_in_the_register(made):
    row = witnessing.witness()
    kept = take(made, countersigned_text(made.text).replace("\n", "\r\n"))
    assert (kept.witness, kept.entries, kept.text) == (row, made.entries, countersigned_text(made.text))
    entry = HistoryEntry.objects.latest("pk")
    assert (entry.chain.name, entry.act) == ("register", "checkpoint_countersigned")
    assert take(made, f"\n{kept.text}\n\n").pk == kept.pk
    assert HistoryEntry.objects.latest("pk") == entry


def test_what_is_not_a_witnesss_own_of_this_checkpoint_is_refused_in_words(made):
    text = countersigned_text(made.text)
    assert f"the key {public_of()} is of no witness that is registered here" in refused(made, text)
    witnessing.witness()
    no_form = "it is no countersignature of form 1, or its signature does not hold"
    for wrong in (
        "", "x", made.text, text.replace("after: none", "after: 1"), text.replace("form 1", "form 2"),
        countersigned_text(made.text, signed="yesterday"), text + "more: 1",
        countersigned_text(made.text, signed="2026-13-06T10:00:00.000000Z"),
        countersigned_text(made.text, key=key_of("Teal")).replace(public_of("Teal"), public_of()),
    ):  # fmt: skip
        assert no_form in refused(made, wrong), wrong
    other = countersigned_text(made.text, witness="Teal Water Board")
    assert "it names Teal Water Board as the witness" in refused(made, other)
    builders.make_reel("LW-0002")
    second = checkpoints.make(later(days=1))
    assert "it is for another checkpoint" in refused(second, text)
    lies = countersigned_text(second.text, entries=f"{made.entries}")
    assert "it is for another checkpoint" in refused(second, lies)
    take(made, text)
    again = countersigned_text(made.text, signed="2026-03-07T10:00:00.000000Z")
    assert "another one by Heron Lake Authority for this checkpoint is kept, signed 2026-03-06 10:00" in refused(
        made, again
    )
    assert Countersignature.objects.count() == 1
    with pytest.raises(NotFound):
        witnesses.take_countersignature(10**6, text=text, actor=Actor(administrator()), at=later())
