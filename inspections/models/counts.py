"""Inspections: what was keyed, referred, signed and taken back."""

from django.db import models
from django.db.models import F, Q

from inspections.domain.findings import ReelPart
from inspections.domain.photos import ENDINGS
from inspections.domain.third_reading import AgreesWith
from inspections.domain.words import LIVE, InspectionState, Meaning, Point, Role
from inspections.models.authority import Authorisation
from reels.domain.words import Parity
from reels.models import Added, Kept, Machine, Person, Reel, WrapGauge, choices


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
    publication_reason = models.TextField(blank=True, help_text="Why a count from paper names one not in force.")
    cable_condition = models.TextField(blank=True, help_text="Of counts before each part was found sound or not.")
    winding_quality = models.TextField(blank=True, help_text="As above.")
    cable_sound = models.BooleanField(null=True)
    winding_sound = models.BooleanField(null=True)
    drum_sound = models.BooleanField(null=True)
    end_fitting_sound = models.BooleanField(null=True)
    scales_sound = models.BooleanField(null=True)
    respooled = models.BooleanField(default=False)
    machine = models.ForeignKey(
        Machine, on_delete=models.PROTECT, null=True, related_name="+", help_text="That the wrap gauge belongs to."
    )
    wrap_gauge = models.CharField(max_length=40, blank=True, help_text="The serial of the one that was used last.")
    rereads = models.PositiveSmallIntegerField(default=0)
    layers = models.PositiveSmallIntegerField(null=True)
    wraps = models.PositiveSmallIntegerField(null=True)
    parity = models.CharField(max_length=4, choices=choices(Parity), blank=True)
    identified_at = models.DateTimeField(
        null=True, help_text="When both had keyed the reel's serial from its data plate."
    )
    ended_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    end_reason = models.TextField(blank=True)

    class Meta:
        ordering = ("-done_at", "-id")
        indexes = [
            models.Index(fields=("reel", "state", "-done_at"), name="inspection_by_reel"),
            models.Index(fields=("done_at",), name="inspection_by_time"),
        ]
        constraints = [
            models.UniqueConstraint(
                name="inspection_one_at_a_time", fields=("reel",), condition=Q(state__in=sorted(LIVE))
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

    @property
    def unsound_parts(self) -> list[ReelPart]:
        """Those that were not found sound before the first reading."""
        return [part for part in ReelPart if getattr(self, f"{part}_sound") is False]

    @property
    def condition(self) -> list[tuple[str, bool]]:
        """What each part was found, in words; nothing of a count from before each was asked for."""
        judged = ((part.spoken, getattr(self, f"{part}_sound")) for part in ReelPart)
        return [(spoken, is_sound) for spoken, is_sound in judged if is_sound is not None]

    @property
    def hides_serial(self) -> bool:
        """Whether the serial is still to be read off the data plate, and so is nowhere to be copied from."""
        return self.identified_at is None and self.state in (InspectionState.OPEN, InspectionState.REFERRED)

    @property
    def shown_serial(self) -> str | None:
        """The reel's serial, as far as it may be shown. No query for what access gave."""
        return None if self.hides_serial else self.reel.serial

    @property
    def title(self) -> str:
        """What a page's title calls it: the reel's serial, as far as it may be shown."""
        return self.shown_serial or f"Count {self.pk}"


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
    value = models.JSONField(null=True, help_text="null: a scale that cannot be read.")
    salt = models.CharField(max_length=32)
    commitment = models.CharField(max_length=64)
    keyed_at = models.DateTimeField()
    keyed_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    hidden_columns = frozenset({"value", "salt"})

    class Meta:
        ordering = ("id",)
        constraints = [models.UniqueConstraint(name="keying_once", fields=("reading", "point", "attempt", "role"))]

    def __str__(self) -> str:
        return f"{self.point} by the {self.role}"

    @property
    def photo_digest(self) -> str | None:
        """SHA-256 of the photo kept with it. No query for what queries.keyings_of gave."""
        photo = getattr(self, "photo", None)
        return photo.digest if photo else None


class ThirdReading(Kept):
    """That a third person was asked to read a point at which two differ, and what they read, which decides nothing.

    attempt: of the two, at which they differed. Until they agree there, a history shows only the commitment to it.
    """

    reading = models.ForeignKey(Reading, on_delete=models.PROTECT, related_name="third_readings")
    point = models.CharField(max_length=11, choices=choices(Point))
    attempt = models.PositiveSmallIntegerField()
    asked_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    taken_back_at = models.DateTimeField(null=True)
    read_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    read_at = models.DateTimeField(null=True)
    value = models.JSONField(null=True, help_text="null: not read yet, or a scale that cannot be read.")
    salt = models.CharField(max_length=32, blank=True)
    commitment = models.CharField(max_length=64, blank=True)
    agrees_with = models.CharField(max_length=10, choices=choices(AgreesWith), blank=True)
    hidden_columns = frozenset({"value", "salt"})

    class Meta:
        ordering = ("id",)
        constraints = [
            models.UniqueConstraint(
                name="third_reading_one_awaited", fields=("reading", "point"),
                condition=Q(taken_back_at__isnull=True, read_at__isnull=True),
            ),
            models.CheckConstraint(
                name="third_reading_read_or_taken_back",
                condition=Q(taken_back_at__isnull=True) | Q(read_at__isnull=True),
            ),
        ]  # fmt: skip

    def __str__(self) -> str:
        return f"third reading of {self.point}"

    @property
    def is_awaited(self) -> bool:
        """Whether nobody has read it, and whoever asked still wants it."""
        return self.read_at is None and self.taken_back_at is None


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
        indexes = [models.Index(fields=("referred_at",), name="referral_by_time")]
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
        indexes = [models.Index(fields=("-signed_at", "-id"), name="sign_off_in_order")]

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
                name="void_by_two_people", condition=Q(confirmed_by__isnull=True) | ~Q(confirmed_by=F("requested_by"))
            )
        ]

    def __str__(self) -> str:
        return f"void of inspection {self.inspection_id}"


class GaugeUse(Kept):
    """A wrap gauge in use for a count, from when it left its machine until it was back. A count from paper has had it.

    machine, calibration_due: as they were then.
    """

    gauge = models.ForeignKey(WrapGauge, on_delete=models.PROTECT, related_name="uses")
    inspection = models.ForeignKey(Inspection, on_delete=models.PROTECT, related_name="gauge_uses")
    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="+")
    calibration_due = models.DateField()
    taken_at = models.DateTimeField()
    taken_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    returned_at = models.DateTimeField(null=True)
    returned_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ("id",)
        constraints = [
            models.UniqueConstraint(
                name="gauge_use_one_at_a_time", fields=("gauge",), condition=Q(returned_at__isnull=True)
            ),
            models.UniqueConstraint(
                name="gauge_use_one_per_count", fields=("inspection",), condition=Q(returned_at__isnull=True)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.gauge} for inspection {self.inspection_id}"


class PhotoBytes(Added):
    """A photo as it came."""

    media_type = models.CharField(max_length=10, choices=[(each, each) for each in ENDINGS])
    content = models.BinaryField()
    size_bytes = models.PositiveIntegerField()
    digest = models.CharField(max_length=64)
    hidden_columns = frozenset({"content"})

    class Meta:
        abstract = True


class Photo(PhotoBytes):
    """What somebody photographed of what they keyed. Whoever may not see the value may not see it."""

    keying = models.OneToOneField(Keying, on_delete=models.PROTECT, related_name="photo")

    def __str__(self) -> str:
        return f"photo of keying {self.keying_id}"


class Draft(models.Model):
    """It belongs to one login, is shown to nobody else, and is no record: it goes when the step is keyed."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="+")
    inspection = models.ForeignKey(Inspection, on_delete=models.CASCADE, related_name="+")
    step = models.CharField(max_length=40)
    values = models.JSONField()
    saved_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(name="draft_one_per_step", fields=("person", "inspection", "step"))]

    def __str__(self) -> str:
        return f"draft of {self.person.username} at {self.step}"
