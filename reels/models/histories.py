"""The histories, the order of all their entries, and the checkpoints over it."""

from typing import ClassVar

from django.db import models
from django.db.models import Q

from reels import append_only
from reels.domain.ledger import FIRST_PREV
from reels.models.base import Added, Kept
from reels.models.people import Person


class Chain(Kept):
    """A history: its name, how many entries it has and the digest of the last. Its row is the lock of what it tells."""

    name = models.CharField(max_length=80, unique=True)
    length = models.PositiveIntegerField(default=0)
    head = models.CharField(max_length=64, default=FIRST_PREV)

    def __str__(self) -> str:
        return self.name


class HistoryEntry(models.Model):
    """One act: canonical bytes, their digest, and the digest of the entry before. See reels/domain/ledger.py."""

    kept: ClassVar[str] = append_only.APPEND_ONLY

    chain = models.ForeignKey(Chain, on_delete=models.PROTECT, related_name="entries")
    seq = models.PositiveIntegerField()
    at = models.DateTimeField()
    act = models.CharField(max_length=40)
    actor = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    prev = models.CharField(max_length=64)
    digest = models.CharField(max_length=64, unique=True)
    content = models.BinaryField()

    class Meta:
        constraints = [models.UniqueConstraint(name="history_entry_one_per_place", fields=("chain", "seq"))]

    def __str__(self) -> str:
        return f"{self.chain} entry {self.seq}: {self.act}"


class FeedPlace(Kept):
    """The place of a history entry in the feed of changes; see reels/services/feed.py."""

    entry = models.OneToOneField(HistoryEntry, on_delete=models.PROTECT, related_name="place")
    number = models.PositiveBigIntegerField(null=True, unique=True, help_text="Empty until it is numbered.")

    class Meta:
        indexes = [models.Index(fields=("entry",), name="feed_place_waiting", condition=Q(number__isnull=True))]

    def __str__(self) -> str:
        return f"place {self.number} of the feed"


class CheckpointMade(models.Model):
    """A checkpoint as it was given out; see reels/domain/checkpoint.py."""

    kept: ClassVar[str] = append_only.APPEND_ONLY

    entries = models.PositiveBigIntegerField(unique=True)
    root = models.CharField(max_length=64)
    ends_root = models.CharField(max_length=64, blank=True, default="", help_text="Empty in form 1.")
    made_at = models.DateTimeField()
    text = models.TextField()

    def __str__(self) -> str:
        return f"checkpoint over {self.entries} entries"


class Witness(Kept):
    """Another organisation that countersigns checkpoints, with a key that only it holds."""

    name = models.CharField(max_length=120, unique=True)
    key = models.CharField(max_length=64, unique=True, help_text="Its Ed25519 public key, hexadecimal.")
    added_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    end_reason = models.TextField(blank=True)

    def __str__(self) -> str:
        return self.name


class Countersignature(Added):
    """Of a checkpoint by a witness, as it was given out; see reels/domain/countersignature.py."""

    witness = models.ForeignKey(Witness, on_delete=models.PROTECT, related_name="countersignatures")
    entries = models.PositiveBigIntegerField(help_text="Of the checkpoint.")
    signed_at = models.DateTimeField(help_text="By the witness's clock.")
    recorded_at = models.DateTimeField()
    text = models.TextField()

    class Meta:
        constraints = [models.UniqueConstraint(name="countersignature_once", fields=("witness", "entries"))]

    def __str__(self) -> str:
        return f"countersignature of {self.witness} over {self.entries} entries"


class EntriesBlock(Added):
    """The root over a whole block of entries in the order of their places, or of blocks; see entry_blocks.py."""

    level = models.PositiveSmallIntegerField(help_text="1: a block of entries; 2: one of those, and so on.")
    number = models.PositiveIntegerField(help_text="From 0, on its level.")
    root = models.CharField(max_length=64)

    class Meta:
        constraints = [models.UniqueConstraint(name="entries_block_one_per_place", fields=("level", "number"))]

    def __str__(self) -> str:
        return f"block {self.number} of level {self.level} of entries"


class EndsNode(Added):
    """A node of the tree over the ends of all chains, by its hash; see reels/domain/sparse_merkle.py."""

    digest = models.CharField(max_length=64, unique=True)
    is_leaf = models.BooleanField()
    left = models.CharField(max_length=64, help_text="Of a leaf, the key.")
    right = models.CharField(max_length=64, help_text="Of a leaf, the end.")

    def __str__(self) -> str:
        return f"{'leaf' if self.is_leaf else 'node'} {self.digest}"
