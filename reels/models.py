"""The shape of what is kept about people, sites, reel types, machines and reels, and their histories."""

from decimal import Decimal
from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.models import PermissionsMixin
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from reels import append_only
from reels.domain import ledger
from reels.domain.ledger import FIRST_PREV
from reels.domain.words import Graduation, Side, UnusualRule


def choices(words: Any) -> list[tuple[str, str]]:
    """The members of a StrEnum as model choices."""
    return [(word.value, word.value.replace("_", " ")) for word in words]


class Kept(models.Model):
    """A row whose changes are told in a history and which is never removed."""

    kept: ClassVar[str] = append_only.NEVER_DELETED
    hidden_columns: ClassVar[frozenset[str]] = frozenset()  # columns that never go into a history

    class Meta:
        abstract = True


def columns(row: models.Model) -> dict[str, Any]:
    """The row's columns in the form in which a history tells them: all but the hidden ones and the id."""
    hidden: frozenset[str] = getattr(row, "hidden_columns", frozenset())
    fields = [f for f in row._meta.concrete_fields if not f.primary_key and f.column not in hidden]
    return {str(f.column): ledger.plain(_as_stored(f, getattr(row, f.attname))) for f in fields}


def _as_stored(field: Any, value: Any) -> Any:
    """The value as the database gives it back: a decimal with all the places of its column."""
    value = field.to_python(value)
    if isinstance(field, models.DecimalField) and value is not None:
        return value.quantize(Decimal(1).scaleb(-field.decimal_places))
    return value


# People -------------------------------------------------------------------------------------------------------------


class PersonManager(BaseUserManager["Person"]):
    """Finds people by user name, for logging in; people are added by `register` alone, which tells of them."""


class Person(AbstractBaseUser, PermissionsMixin, Kept):
    """Somebody with a login. Accounts are deactivated and never removed; user names are never used again."""

    username = models.CharField(max_length=60, unique=True)
    full_name = models.CharField(max_length=120)
    staff_number = models.CharField(max_length=30, unique=True, help_text="One for each human being.")
    is_active = models.BooleanField(default=True)
    is_staff = models.BooleanField("administrator", default=False)
    created_at = models.DateTimeField(default=timezone.now)

    USERNAME_FIELD = "username"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["full_name", "staff_number"]
    hidden_columns = frozenset({"password", "last_login"})
    objects = PersonManager()

    class Meta:
        ordering = ("username",)
        verbose_name_plural = "people"

    def __str__(self) -> str:
        return f"{self.full_name} ({self.username})"


class Posting(Kept):
    """At which site (null: every site) a person may read, and from when until when."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="postings")
    site = models.ForeignKey("Site", on_delete=models.PROTECT, null=True, blank=True, related_name="postings")
    valid_from = models.DateTimeField()
    valid_until = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="posting_ends_after_it_begins",
                condition=Q(valid_until__isnull=True) | Q(valid_until__gte=F("valid_from")),
            )
        ]

    def __str__(self) -> str:
        return f"{self.person.username} at {self.site.code if self.site else 'every site'}"


# Reference data -----------------------------------------------------------------------------------------------------


class Site(Kept):
    code = models.SlugField(max_length=30, unique=True)
    name = models.CharField(max_length=80)
    time_zone = models.CharField(max_length=40, default="UTC")

    class Meta:
        ordering = ("code",)

    def __str__(self) -> str:
        return self.name


def _millimetres(**options: Any) -> "models.DecimalField[Any, Any]":
    return models.DecimalField(max_digits=9, decimal_places=3, **options)


def _metres(**options: Any) -> "models.DecimalField[Any, Any]":
    return models.DecimalField(max_digits=9, decimal_places=3, **options)


class ReelType(Kept):
    """What all reels of one design share: drum geometry, cable, anchor side, rule parameters."""

    code = models.SlugField(max_length=30, unique=True)
    core_diameter_mm = _millimetres()
    cable_diameter_mm = _millimetres()
    wraps_odd_layer = models.PositiveSmallIntegerField()
    wraps_even_layer = models.PositiveSmallIntegerField()
    max_layers = models.PositiveSmallIntegerField()
    layer_rise_mm = _millimetres(null=True, blank=True, help_text="Empty: nested layers.")
    pitch_mm = _millimetres(null=True, blank=True, help_text="Empty: the cable's diameter.")
    diameter_u_mm = _millimetres(default=0, help_text="Standard uncertainty of the diameters.")
    anchor_side = models.CharField(max_length=5, choices=choices(Side))
    reference_side = models.CharField(max_length=5, choices=choices(Side), default=Side.LEFT)
    graduation = models.CharField(max_length=7, choices=choices(Graduation), default=Graduation.EVERY)
    lead_wraps = models.PositiveSmallIntegerField(default=1)
    arc_from_deg = models.PositiveSmallIntegerField(default=0)
    arc_to_deg = models.PositiveSmallIntegerField(default=180)
    unusual = models.CharField(max_length=6, choices=choices(UnusualRule), default=UnusualRule.HOLD)
    unusual_publication = models.CharField(max_length=120, blank=True, help_text="Allows unusual counts.")
    least_length_m = _metres(null=True, blank=True)
    odd_colour = models.CharField(max_length=30, blank=True)
    even_colour = models.CharField(max_length=30, blank=True)

    class Meta:
        ordering = ("code",)
        constraints = [
            models.CheckConstraint(
                name="reel_type_diameters_positive", condition=Q(core_diameter_mm__gt=0, cable_diameter_mm__gt=0)
            ),
            models.CheckConstraint(
                name="reel_type_holds_wraps",
                condition=Q(wraps_odd_layer__gte=2, wraps_even_layer__gte=2, max_layers__gte=1),
            ),
            models.CheckConstraint(
                name="reel_type_arc_in_order", condition=Q(arc_from_deg__lt=F("arc_to_deg"), arc_to_deg__lte=360)
            ),
            models.CheckConstraint(
                name="reel_type_unusual_needs_publication",
                condition=~Q(unusual=UnusualRule.ACCEPT) | ~Q(unusual_publication=""),
            ),
        ]

    def __str__(self) -> str:
        return self.code


class Machine(Kept):
    """A reeling machine, in its host."""

    serial = models.CharField(max_length=40, unique=True)
    host = models.CharField(max_length=60, help_text="The host's registration or name.")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="machines")
    wrap_gauge = models.CharField(max_length=40, help_text="The serial number of its wrap gauge.")

    class Meta:
        ordering = ("serial",)

    def __str__(self) -> str:
        return self.serial


# Histories ----------------------------------------------------------------------------------------------------------


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
        indexes = [
            models.Index(fields=("entry",), name="feed_place_waiting", condition=Q(number__isnull=True)),
        ]

    def __str__(self) -> str:
        return f"place {self.number} of the feed"


# Scripts ------------------------------------------------------------------------------------------------------------


class ApiToken(Kept):
    """What a script logs in with. Only a digest of the secret is kept; its use and its end are."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="tokens")
    name = models.CharField(max_length=40, help_text="Of the script; histories tell it.")
    prefix = models.CharField(max_length=8, unique=True, help_text="Found by it, and nothing more.")
    digest = models.CharField(max_length=64, help_text="SHA-256 of the secret.")
    scopes = models.JSONField()
    issued_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    issued_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True)
    revoked_at = models.DateTimeField(null=True)
    revoked_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    revoke_reason = models.TextField(blank=True)
    hidden_columns = frozenset({"digest", "last_used_at"})

    class Meta:
        ordering = ("id",)
        verbose_name = "token"

    def __str__(self) -> str:
        return f"{self.name} ({self.prefix})"


class Submission(models.Model):
    """A request that stored something, by its sender's key, with the answer that it got."""

    kept: ClassVar[str] = append_only.APPEND_ONLY

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    via = models.CharField(max_length=60)
    key = models.CharField(max_length=255)
    fingerprint = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField()
    media_type = models.CharField(max_length=40)
    headers = models.JSONField()
    body = models.BinaryField()
    at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(name="submission_once", fields=("person", "via", "key"))]

    def __str__(self) -> str:
        return f"submission {self.key} by {self.person} via {self.via}"


# Reels --------------------------------------------------------------------------------------------------------------


class Reel(Kept):
    """A reel assembly: drum, flanges and cable as one removable, serial-numbered unit."""

    serial = models.CharField(max_length=40, unique=True)
    type = models.ForeignKey(ReelType, on_delete=models.PROTECT, related_name="reels")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="reels")
    chain = models.OneToOneField(Chain, on_delete=models.PROTECT, related_name="reel")
    received_on = models.DateField()
    cable_length_m = _metres(null=True, blank=True, help_text="Of the cable it was received with; empty: unknown.")
    retired_at = models.DateTimeField(null=True, blank=True)
    retired_reason = models.TextField(blank=True)

    class Meta:
        ordering = ("serial",)

    def __str__(self) -> str:
        return self.serial


class Installation(Kept):
    """A reel in a machine, from when until when."""

    reel = models.ForeignKey(Reel, on_delete=models.PROTECT, related_name="installations")
    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="installations")
    installed_at = models.DateTimeField()
    installed_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    removed_at = models.DateTimeField(null=True)
    removed_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                name="installation_one_machine_per_reel", fields=("reel",), condition=Q(removed_at__isnull=True)
            ),
            models.UniqueConstraint(
                name="installation_one_reel_per_machine", fields=("machine",), condition=Q(removed_at__isnull=True)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.reel} in {self.machine}"


class CableEvent(models.Model):
    """Cable cut, or replaced, or a counter-entry that takes a wrong or doubled one back."""

    class Kind(models.TextChoices):
        CUT = "cut", "cut"
        REPLACED = "replaced", "cable replaced"
        REVERSAL = "reversal", "entry reversed"

    kept: ClassVar[str] = append_only.APPEND_ONLY
    hidden_columns: ClassVar[frozenset[str]] = frozenset()

    reel = models.ForeignKey(Reel, on_delete=models.PROTECT, related_name="cable_events")
    kind = models.CharField(max_length=8, choices=Kind)
    length_removed_m = _metres(null=True)
    length_fitted_m = _metres(null=True)
    happened_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    document = models.CharField(max_length=120, blank=True)
    remark = models.TextField(blank=True)
    reverses = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="reversed_by")

    class Meta:
        ordering = ("happened_at", "id")
        indexes = [models.Index(fields=("reel", "happened_at"), name="cable_event_by_reel")]
        constraints = [
            models.CheckConstraint(
                name="cable_event_cut_has_length",
                condition=~Q(kind="cut") | Q(length_removed_m__gt=0, length_removed_m__isnull=False),
            ),
            models.CheckConstraint(
                name="cable_event_reversal_names_one",
                condition=Q(kind="reversal", reverses__isnull=False) | (~Q(kind="reversal") & Q(reverses__isnull=True)),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} on {self.reel}"


class Hold(Kept):
    """A reel that may not be used until somebody lets it go."""

    reel = models.ForeignKey(Reel, on_delete=models.PROTECT, related_name="holds")
    placed_at = models.DateTimeField()
    placed_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    reason = models.TextField()
    ended_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    end_reason = models.TextField(blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(name="hold_one_per_reel", fields=("reel",), condition=Q(ended_at__isnull=True))
        ]

    def __str__(self) -> str:
        return f"hold on {self.reel}"
