"""People, where they may read, and the tokens of their scripts."""

from typing import ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.models import PermissionsMixin
from django.core.validators import RegexValidator
from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from django.utils.crypto import salted_hmac

from reels import append_only
from reels.domain.words import USERNAME, LengthUnit
from reels.models.base import Kept, choices

IS_USERNAME = RegexValidator(f"^(?:{USERNAME})\\Z", "letters, digits and . _ - @ + of ASCII")


class PersonManager(BaseUserManager["Person"]):
    """Finds people by user name, for logging in; people are added by `register` alone, which tells of them."""


class Person(AbstractBaseUser, PermissionsMixin, Kept):
    """Somebody with a login. Accounts are deactivated and never removed; user names are never used again."""

    username = models.CharField(max_length=60, unique=True, validators=[IS_USERNAME])
    full_name = models.CharField(max_length=120)
    staff_number = models.CharField(max_length=30, unique=True, help_text="One for each human being.")
    is_active = models.BooleanField(default=True)
    is_staff = models.BooleanField("administrator", default=False)
    created_at = models.DateTimeField(default=timezone.now)
    length_unit = models.CharField(max_length=2, choices=choices(LengthUnit), default=LengthUnit.METRES)
    password_set_at = models.DateTimeField(null=True, blank=True)
    must_change_password = models.BooleanField(default=False, help_text="Until its owner has: somebody else knows it.")
    login_given_by = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="+",
        help_text="The administrator who last gave the login a password, or took its second factor away.",
    )  # fmt: skip
    enrolled_by = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="+",
        help_text="The second administrator, who checked whose login it is.",
    )  # fmt: skip
    enrolled_at = models.DateTimeField(null=True, blank=True)
    session_round = models.PositiveIntegerField(default=0, help_text="Raised to end every session there is.")

    USERNAME_FIELD = "username"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["full_name", "staff_number"]
    hidden_columns = frozenset({"password", "last_login"})
    objects = PersonManager()

    class Meta:
        ordering = ("username",)
        verbose_name_plural = "people"
        constraints = [
            models.CheckConstraint(name="person_enrolled_by_another", condition=~Q(enrolled_by=F("id"))),
            models.CheckConstraint(name="person_enrolled_by_a_second", condition=~Q(enrolled_by=F("login_given_by"))),
        ]

    def __str__(self) -> str:
        return f"{self.full_name} ({self.username})"

    @property
    def is_enrolled(self) -> bool:
        """Whether a second administrator has checked whose login it is."""
        return self.enrolled_at is not None

    def _get_session_auth_hash(self, secret: str | None = None) -> str:
        """What every session of this person carries: another password or round ends them all."""
        secured = f"{self.session_round} {self.password}"
        return salted_hmac("reels.person.session", secured, secret=secret, algorithm="sha256").hexdigest()


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
