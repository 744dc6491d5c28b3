"""The shape of what is kept about authorisations, inspections, sign-offs and setup values."""

from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from inspections.domain.words import LIVE, Act, InspectionState, Meaning, Point, Role
from reels import append_only
from reels.domain.words import Parity
from reels.models import Kept, Machine, Person, Reel, ReelType, Site, choices


class Added(models.Model):
    """A row that is added and never changed."""

    kept: ClassVar[str] = append_only.APPEND_ONLY
    hidden_columns: ClassVar[frozenset[str]] = frozenset()

    class Meta:
        abstract = True


class Authorisation(Kept):
    """That a person may do an act, for a reel type (null: every one) at a site (null: every one), in a period."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="authorisations")
    act = models.CharField(max_length=10, choices=choices(Act))
    reel_type = models.ForeignKey(ReelType, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    valid_from = models.DateTimeField()
    valid_until = models.DateTimeField(null=True, blank=True)
    granted_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    granted_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    end_reason = models.TextField(blank=True)

    class Meta:
        indexes = [models.Index(fields=("person", "act"), name="authorisation_by_person")]
        constraints = [
            models.CheckConstraint(name="authorisation_by_another", condition=~Q(person=F("granted_by"))),
            models.CheckConstraint(
                name="authorisation_ends_after_it_begins",
                condition=Q(valid_until__isnull=True) | Q(valid_until__gt=F("valid_from")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person.username} may {self.act}"


class Inspection(Kept):
    """One count of one reel, from its preparation to its two signatures."""

    reel = models.ForeignKey(Reel, on_delete=models.PROTECT, related_name="inspections")
    state = models.CharField(max_length=18, choices=choices(InspectionState), default=InspectionState.OPEN)
    parameters = models.JSONField(help_text="The rule parameters of the reel's type when the inspection was opened.")
    opened_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()
    done_at = models.DateTimeField()
    from_paper = models.BooleanField(default=False)
    work_order = models.CharField(max_length=60)
    publication = models.CharField(max_length=120)
    publication_revision = models.CharField(max_length=40)
    cable_condition = models.TextField()
    winding_quality = models.TextField()
    respooled = models.BooleanField(default=False)
    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, null=True, related_name="+")
    wrap_gauge = models.CharField(max_length=40)
    rereads = models.PositiveSmallIntegerField(default=0)
    layers = models.PositiveSmallIntegerField(null=True)
    wraps = models.PositiveSmallIntegerField(null=True)
    parity = models.CharField(max_length=4, choices=choices(Parity), blank=True)
    ended_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    end_reason = models.TextField(blank=True)

    class Meta:
        ordering = ("-done_at", "-id")
        indexes = [models.Index(fields=("reel", "state", "-done_at"), name="inspection_by_reel")]
        constraints = [
            models.UniqueConstraint(
                name="inspection_one_at_a_time",
                fields=("reel",),
                condition=Q(state__in=sorted(LIVE)),
            ),
            models.CheckConstraint(
                name="inspection_signed_has_result",
                condition=~Q(state__in=[InspectionState.AWAITING_SIGN_OFF, InspectionState.SIGNED])
                | (Q(layers__isnull=False, wraps__isnull=False) & ~Q(parity="")),
            ),
            models.CheckConstraint(name="inspection_done_before_recorded", condition=Q(done_at__lte=F("recorded_at"))),
        ]

    def __str__(self) -> str:
        return f"inspection {self.pk} of {self.reel}"


class Participant(Added):
    """Who takes part in an inspection, and in which of the two roles. Nobody has two roles in one inspection."""

    inspection = models.ForeignKey(Inspection, on_delete=models.PROTECT, related_name="participants")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    role = models.CharField(max_length=10, choices=choices(Role))
    joined_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(name="participant_one_role", fields=("inspection", "person"))]

    def __str__(self) -> str:
        return f"{self.person.username} as {self.role}"


class Reading(Kept):
    """One reading of the reel: all that both people keyed, and what came of it."""

    inspection = models.ForeignKey(Inspection, on_delete=models.PROTECT, related_name="readings")
    number = models.PositiveSmallIntegerField()
    outcome = models.CharField(max_length=8, blank=True)
    working = models.JSONField(null=True)
    ended_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ("number",)
        constraints = [models.UniqueConstraint(name="reading_one_per_number", fields=("inspection", "number"))]

    def __str__(self) -> str:
        return f"reading {self.number} of inspection {self.inspection_id}"


class Keying(Added):
    """What one person keyed at one point. Until both are in, a history shows only the commitment to it."""

    reading = models.ForeignKey(Reading, on_delete=models.PROTECT, related_name="keyings")
    participant = models.ForeignKey(Participant, on_delete=models.PROTECT, related_name="keyings")
    point = models.CharField(max_length=11, choices=choices(Point))
    role = models.CharField(max_length=10, choices=choices(Role))
    attempt = models.PositiveSmallIntegerField(default=1)
    value = models.JSONField()
    salt = models.CharField(max_length=32)
    commitment = models.CharField(max_length=64)
    keyed_at = models.DateTimeField()
    keyed_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    hidden_columns = frozenset({"value", "salt"})

    class Meta:
        ordering = ("id",)
        constraints = [
            models.UniqueConstraint(name="keying_once", fields=("reading", "point", "attempt", "role")),
        ]

    def __str__(self) -> str:
        return f"{self.point} by the {self.role}"


class Referral(Kept):
    """An inspection put before an authorised person, and how it was released."""

    inspection = models.ForeignKey(Inspection, on_delete=models.PROTECT, related_name="referrals")
    referred_at = models.DateTimeField()
    referred_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    why = models.TextField()
    proposed = models.JSONField(null=True)
    released_at = models.DateTimeField(null=True)
    released_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    decision = models.CharField(max_length=15, blank=True)
    reason = models.TextField(blank=True)

    class Meta:
        ordering = ("id",)
        constraints = [
            models.UniqueConstraint(
                name="referral_one_open", fields=("inspection",), condition=Q(released_at__isnull=True)
            )
        ]

    def __str__(self) -> str:
        return f"referral of inspection {self.inspection_id}"


class InspectionRecord(Added):
    """The canonical record of an inspection, as it was first signed. The stored bytes are what signatures bind."""

    inspection = models.OneToOneField(Inspection, on_delete=models.PROTECT, related_name="record")
    content = models.BinaryField()
    digest = models.CharField(max_length=64, unique=True)
    hidden_columns = frozenset({"content"})

    def __str__(self) -> str:
        return f"record of inspection {self.inspection_id}"


class SignOff(Added):
    """A signature: person, time, meaning and content bound by the digest of its statement."""

    inspection = models.ForeignKey(Inspection, on_delete=models.PROTECT, related_name="sign_offs")
    participant = models.ForeignKey(Participant, on_delete=models.PROTECT, related_name="+")
    meaning = models.CharField(max_length=8, choices=choices(Meaning))
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    full_name = models.CharField(max_length=120)
    signed_at = models.DateTimeField()
    authorisation = models.ForeignKey(Authorisation, on_delete=models.PROTECT, related_name="+")
    record_digest = models.CharField(max_length=64)
    statement = models.BinaryField()
    digest = models.CharField(max_length=64, unique=True)
    hidden_columns = frozenset({"statement"})

    class Meta:
        ordering = ("signed_at", "id")
        constraints = [
            models.UniqueConstraint(name="sign_off_one_per_meaning", fields=("inspection", "meaning")),
            models.UniqueConstraint(name="sign_off_different_people", fields=("inspection", "person")),
        ]

    def __str__(self) -> str:
        return f"{self.meaning} by {self.full_name}"


class Void(Kept):
    """A signed inspection taken back by two people."""

    inspection = models.OneToOneField(Inspection, on_delete=models.PROTECT, related_name="void")
    requested_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    requested_at = models.DateTimeField()
    reason = models.TextField()
    confirmed_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    confirmed_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="void_by_two_people",
                condition=Q(confirmed_by__isnull=True) | ~Q(confirmed_by=F("requested_by")),
            )
        ]

    def __str__(self) -> str:
        return f"void of inspection {self.inspection_id}"


class SetupValues(Kept):
    """The two numbers issued for one reel and one machine."""

    reel = models.ForeignKey(Reel, on_delete=models.PROTECT, related_name="setup_values")
    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="setup_values")
    inspection = models.ForeignKey(Inspection, on_delete=models.PROTECT, related_name="setup_values")
    layers = models.PositiveSmallIntegerField()
    wraps = models.PositiveSmallIntegerField()
    parity = models.CharField(max_length=4, choices=choices(Parity))
    issued_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    issued_at = models.DateTimeField()
    gauge_returned_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    gauge_returned_at = models.DateTimeField(null=True)
    set_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    set_at = models.DateTimeField(null=True)
    confirmed_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    confirmed_at = models.DateTimeField(null=True)
    withdrawn_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    withdrawn_at = models.DateTimeField(null=True)
    withdrawn_why = models.TextField(blank=True)

    class Meta:
        ordering = ("-issued_at", "-id")
        verbose_name_plural = "setup values"
        indexes = [models.Index(fields=("reel", "-issued_at"), name="setup_values_by_reel")]
        constraints = [
            models.UniqueConstraint(
                name="setup_values_one_per_reel", fields=("reel",), condition=Q(withdrawn_at__isnull=True)
            ),
            models.UniqueConstraint(
                name="setup_values_one_per_machine", fields=("machine",), condition=Q(withdrawn_at__isnull=True)
            ),
            models.CheckConstraint(
                name="setup_values_confirmed_by_another",
                condition=Q(confirmed_by__isnull=True) | (Q(set_by__isnull=False) & ~Q(set_by=F("confirmed_by"))),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.layers} layers, {self.wraps} wraps for {self.reel} in {self.machine}"


class ReadBack(Added):
    """What the machine showed, as somebody keyed it. Those that differ are refused, and kept."""

    setup_values = models.ForeignKey(SetupValues, on_delete=models.PROTECT, related_name="read_backs")
    role = models.CharField(max_length=9, choices=[("setter", "setter"), ("confirmer", "confirmer")])
    layers = models.PositiveIntegerField()
    wraps = models.PositiveIntegerField()
    matches = models.BooleanField()
    keyed_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    keyed_at = models.DateTimeField()

    class Meta:
        ordering = ("id",)

    def __str__(self) -> str:
        return f"{self.layers} layers, {self.wraps} wraps by the {self.role}"


class MachineCheck(Added):
    """The functional check after installation, or the machine's reading after first use."""

    setup_values = models.ForeignKey(SetupValues, on_delete=models.PROTECT, related_name="machine_checks")
    kind = models.CharField(max_length=10, choices=[("functional", "functional check"), ("first_use", "first use")])
    passed = models.BooleanField()
    remark = models.TextField(blank=True)
    done_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    done_at = models.DateTimeField()

    class Meta:
        ordering = ("id",)

    def __str__(self) -> str:
        return self.get_kind_display()


class ImportedCount(Added):
    """A count that was brought in from older records: history, and never a source of setup values."""

    reel = models.ForeignKey(Reel, on_delete=models.PROTECT, related_name="imported_counts")
    counted_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    layers = models.PositiveSmallIntegerField()
    wraps = models.PositiveSmallIntegerField()
    counted_by = models.CharField(max_length=120, blank=True)
    verified_by = models.CharField(max_length=120, blank=True)
    document = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ("counted_at", "id")
        constraints = [models.UniqueConstraint(name="imported_count_once", fields=("reel", "counted_at"))]

    def __str__(self) -> str:
        return f"{self.layers} layers, {self.wraps} wraps on {self.counted_at:%Y-%m-%d}"
