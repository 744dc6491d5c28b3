"""What a login needs besides its password, and who tried to get past it."""

from typing import ClassVar

from django.db import models
from django.db.models import Q

from reels import append_only
from reels.domain.words import AskedAt, LinkPurpose, LockScope
from reels.models.base import Kept, choices
from reels.models.people import Person


class SecondFactor(Kept):
    """A device that shows one-time codes (RFC 6238): in force from the first code that its owner gave until its end."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="second_factors")
    secret = models.TextField(help_text="Encrypted by a key that comes from the service's secret key.")
    last_step = models.BigIntegerField(default=0, help_text="The time step of the last code: no code is taken twice.")
    begun_at = models.DateTimeField()
    confirmed_at = models.DateTimeField(null=True)
    ended_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    hidden_columns = frozenset({"secret", "last_step"})

    class Meta:
        constraints = [
            models.UniqueConstraint(
                name="second_factor_one_each",
                fields=("person",),
                condition=Q(confirmed_at__isnull=False, ended_at__isnull=True),
            )
        ]

    def __str__(self) -> str:
        return f"second factor of {self.person.username}"


class RecoveryCode(Kept):
    """A code for the day on which the device is lost; each is good once. Only a digest of it is kept."""

    factor = models.ForeignKey(SecondFactor, on_delete=models.PROTECT, related_name="recovery_codes")
    digest = models.CharField(max_length=64, help_text="SHA-256 of the code.")
    used_at = models.DateTimeField(null=True)
    hidden_columns = frozenset({"digest", "used_at"})

    def __str__(self) -> str:
        return f"recovery code {self.pk}"


class LoginLink(Kept):
    """A link by which somebody makes a login of their own, or gives theirs a password; it is good once."""

    purpose = models.CharField(max_length=12, choices=choices(LinkPurpose))
    person = models.ForeignKey(
        Person, on_delete=models.PROTECT, null=True, related_name="login_links",
        help_text="Whose login; empty of an administrator of a new service until there is one.",
    )  # fmt: skip
    prefix = models.CharField(max_length=8, unique=True, help_text="Found by it, and nothing more.")
    digest = models.CharField(max_length=64, help_text="SHA-256 of the secret.")
    issued_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    issued_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True)
    replaced_at = models.DateTimeField(null=True)
    hidden_columns = frozenset({"digest"})

    class Meta:
        verbose_name = "link"

    def __str__(self) -> str:
        return f"link {self.prefix} ({self.purpose})"


class Tries(models.Model):
    """How many wrong passwords were given within one scope. Names that nobody has are counted alike."""

    name = models.CharField(
        max_length=64, unique=True, help_text="A keyed digest of what is counted: people type passwords as names too."
    )
    person = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="tries")
    scope = models.CharField(
        max_length=16, choices=choices(LockScope), default=LockScope.EVERYWHERE, db_default="everywhere"
    )
    number = models.PositiveIntegerField(default=0)
    last_at = models.DateTimeField()
    until = models.DateTimeField(null=True, help_text="From then on it is as if there had been none.")
    is_locked = models.BooleanField(default=False, db_default=False, help_text="Until then, nothing is tried.")

    def __str__(self) -> str:
        return f"{self.number} tries"


class Alarm(models.Model):
    """That something was locked after too many wrong passwords; for administrators to look into."""

    kept: ClassVar[str] = append_only.APPEND_ONLY

    at = models.DateTimeField()
    person = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    asked_at = models.CharField(max_length=8, choices=choices(AskedAt))
    scope = models.CharField(
        max_length=16, choices=choices(LockScope), default=LockScope.EVERYWHERE, db_default="everywhere"
    )
    address = models.GenericIPAddressField(null=True)
    number = models.PositiveIntegerField(help_text="Of wrong tries.")

    class Meta:
        ordering = ("-at", "-id")

    def __str__(self) -> str:
        return f"{self.number} wrong tries, the last at {self.at:%Y-%m-%d %H:%M} UTC"
