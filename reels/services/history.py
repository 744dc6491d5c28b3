"""Writing histories: every act of the service is one entry, written in the transaction of the act itself."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, TypeVar

from django.db import models

from reels.domain import ledger
from reels.models import Chain, FeedPlace, HistoryEntry, Person, columns

Row = TypeVar("Row", bound=models.Model)


@dataclass(frozen=True, slots=True)
class Actor:
    """Who acts, and through which interface: "session", "token NAME" or "command NAME"."""

    person: Person
    via: str = "session"

    @property
    def is_at_the_keys(self) -> bool:
        """Whether a human being acts in a session of their own; a script never signs, issues or confirms."""
        return self.via == "session"

    @property
    def is_a_command(self) -> bool:
        """Whether it is done by whoever runs commands on the machine, who can do as much without the service."""
        return self.via.startswith("command")

    @property
    def is_a_script(self) -> bool:
        """Whether a script acts with a token of that person's."""
        return self.via.startswith("token ")

    def as_json(self) -> dict[str, Any]:
        """The actor as an entry names them, as of now."""
        if self.person is None:
            return {"id": None, "username": None, "name": "Wrapledger", "via": self.via}
        return {"id": self.person.pk, "username": self.person.username, "name": self.person.full_name, "via": self.via}


def by_itself(via: str) -> Actor:
    """The service, where nobody acts: it only holds what may not be used, and never signs, issues or confirms."""
    return Actor(None, via=via)  # type: ignore[arg-type]  # every other actor is somebody, and services rely on it


@dataclass(slots=True)
class ActRecorder:
    """The act under way: what it wrote, and the facts of its entry."""

    chain: Chain
    act_name: str
    actor: Actor
    at: datetime
    facts: dict[str, Any] = field(default_factory=dict)
    changes: list[ledger.Change] = field(default_factory=list)

    def add(self, row: Row) -> Row:
        """Insert a row and tell of it."""
        # Only an INSERT: a row whose id is taken must fail, and not be written over by what is meant as a new one.
        row.save(force_insert=True)
        self.note(row, None, columns(row))
        return row

    def add_all(self, rows: list[Row]) -> list[Row]:
        """Insert many rows of one model at once and tell of each."""
        if rows:
            type(rows[0])._default_manager.bulk_create(rows)
        # After the INSERT, for only the database gives the ids that the entry names.
        for row in rows:
            self.note(row, None, columns(row))
        return rows

    def change(self, row: Row, **values: Any) -> Row:
        """Set columns of a row and tell what they were and what they are."""
        # The caller read the row under the chain's lock, so nobody has changed it since.
        before = columns(row)
        for name, value in values.items():
            setattr(row, name, value)
        row.save(update_fields=list(values))
        after = columns(row)
        moved = [name for name in after if after[name] != before[name]]
        self.note(row, {name: before[name] for name in moved}, {name: after[name] for name in moved})
        return row

    def has_added(self, row: models.Model) -> bool:
        """Whether the row is new with this act."""
        place = (row._meta.db_table, row.pk)
        return any((each.table, each.id) == place and each.before is None for each in self.changes)

    def note(self, row: models.Model, before: dict[str, Any] | None, after: dict[str, Any]) -> None:
        """Have the entry say what a row was (None: it is new) and what it is."""
        self.changes.append(ledger.Change(table=row._meta.db_table, id=row.pk, before=before, after=after))


# What every act ends with, in its transaction, given what it wrote. Apps above this one put here (when they are made
# ready) what they keep of a history; this one cannot import them.
AT_THE_END_OF_ACTS: list[Callable[[ActRecorder], None]] = []


# The same before the entry is written: what an act brings about that belongs into it.
BEFORE_THE_END_OF_ACTS: list[Callable[[ActRecorder], None]] = []


@contextmanager
def record_act(chain: Chain, act_name: str, actor: Actor, at: datetime, **facts: Any) -> Iterator[ActRecorder]:
    """An act on a locked chain: what is added and changed within the block becomes one entry of its history."""
    recorder = ActRecorder(chain=chain, act_name=act_name, actor=actor, at=at, facts=facts)
    yield recorder
    for follow in BEFORE_THE_END_OF_ACTS:
        follow(recorder)
    # Not in a `finally`: when the block raises, the transaction goes back and nothing is to be told.
    append(recorder)
    for keep in AT_THE_END_OF_ACTS:
        keep(recorder)


def append(recorder: ActRecorder) -> HistoryEntry:
    """Write the entry and move the chain's head. The chain is locked by the caller's transaction."""
    chain = recorder.chain
    entry = ledger.Entry(
        chain=chain.name,
        seq=chain.length + 1,
        prev=chain.head,
        at=recorder.at,
        act=recorder.act_name,
        actor=recorder.actor.as_json(),
        facts=recorder.facts,
        changes=tuple(recorder.changes),
    )
    content = ledger.encode_v1(entry)
    # The head was read with the lock, so no other entry can follow the same one: the chain cannot fork.
    chain.length, chain.head, prev = entry.seq, ledger.digest(content), chain.head
    chain.save(update_fields=["length", "head"])
    kept = HistoryEntry.objects.create(
        chain=chain, seq=entry.seq, at=entry.at, act=entry.act, actor=recorder.actor.person, prev=prev,
        digest=chain.head, content=content,
    )  # fmt: skip
    # Without a number: it gets one once it is committed, or a reader of the feed could step over it (services/feed.py).
    FeedPlace.objects.create(entry=kept)
    return kept
