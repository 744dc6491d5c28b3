"""What is not sound about a reel: the kinds that a type lists, and the findings on its reels."""

from django.db import models
from django.db.models import F, Q

from inspections.domain.findings import DETAILS, OTHER, ReelPart, Remedy, Severity
from inspections.models.counts import Inspection, PhotoBytes
from reels.domain.words import Side
from reels.models import Hold, Kept, Person, Reel, ReelType, choices
from reels.models.base import exact_length


class FindingKind(Kept):
    """A kind of finding that the reels of a type are looked over for, with the least severity it is recorded with."""

    reel_type = models.ForeignKey(ReelType, on_delete=models.PROTECT, related_name="finding_kinds")
    part = models.CharField(max_length=11, choices=choices(ReelPart))
    code = models.SlugField(max_length=30)
    words = models.CharField(max_length=80, help_text="What people call it.")
    least_severity = models.CharField(max_length=5, choices=choices(Severity))
    is_offered = models.BooleanField(default=True, help_text="Off: no longer recorded; what was recorded stays.")

    class Meta:
        ordering = ("reel_type", "id")
        constraints = [
            models.UniqueConstraint(name="finding_kind_once", fields=("reel_type", "part", "code")),
            models.CheckConstraint(name="finding_kind_is_not_other", condition=~Q(code=OTHER)),
        ]

    def __str__(self) -> str:
        return f"{self.words}, {ReelPart(self.part).spoken}, of type {self.reel_type}"


class Finding(Kept):
    """Something not sound about a reel. kind and kind_words: as they were when it was recorded.

    inspection: the count under way when it was recorded. hold: that it placed, where the reel was not held already.
    """

    reel = models.ForeignKey(Reel, on_delete=models.PROTECT, related_name="findings")
    inspection = models.ForeignKey(Inspection, on_delete=models.PROTECT, null=True, related_name="findings")
    part = models.CharField(max_length=11, choices=choices(ReelPart))
    kind = models.CharField(max_length=30)
    kind_words = models.CharField(max_length=80)
    severity = models.CharField(max_length=5, choices=choices(Severity))
    layer = models.PositiveSmallIntegerField(null=True)
    side = models.CharField(max_length=5, choices=choices(Side), blank=True)
    visible_wrap = models.PositiveSmallIntegerField(null=True)
    length_from_end_m = exact_length(null=True)
    words = models.TextField()
    salt = models.CharField(max_length=32)
    commitment = models.CharField(max_length=64)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    hold = models.ForeignKey(Hold, on_delete=models.PROTECT, null=True, related_name="findings")
    lowered_at = models.DateTimeField(null=True)
    lowered_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    lower_reason = models.TextField(blank=True)
    closed_at = models.DateTimeField(null=True)
    closed_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    remedy = models.CharField(max_length=9, choices=choices(Remedy), blank=True)
    close_reason = models.TextField(blank=True)
    hidden_columns = frozenset({*DETAILS, "salt"})

    class Meta:
        ordering = ("id",)
        indexes = [
            models.Index(fields=("reel", "closed_at"), name="finding_by_reel"),
            models.Index(fields=("recorded_at",), name="finding_by_time"),
            # Without those that are open SQLite has but one index for them, in the order of their list.
            models.Index(fields=("closed_at",), name="finding_by_closing", condition=Q(closed_at__isnull=False)),
            models.Index(fields=("severity", "-id"), name="finding_open", condition=Q(closed_at__isnull=True)),
        ]
        constraints = [
            models.CheckConstraint(
                name="finding_closed_says_how",
                condition=Q(closed_at__isnull=True, closed_by__isnull=True, remedy="", close_reason="")
                | (Q(closed_at__isnull=False, closed_by__isnull=False) & ~Q(remedy="") & ~Q(close_reason="")),
            ),
            models.CheckConstraint(
                name="finding_lowered_is_watch",
                condition=Q(lowered_at__isnull=True, lowered_by__isnull=True, lower_reason="")
                | (
                    Q(lowered_at__isnull=False, lowered_by__isnull=False, severity=Severity.WATCH) & ~Q(lower_reason="")
                ),
            ),
            models.CheckConstraint(
                name="finding_closed_by_another", condition=Q(closed_by__isnull=True) | ~Q(closed_by=F("recorded_by"))
            ),
            models.CheckConstraint(
                name="finding_lowered_by_another",
                condition=Q(lowered_by__isnull=True) | ~Q(lowered_by=F("recorded_by")),
            ),
        ]

    def __str__(self) -> str:
        return f"finding {self.pk}: {self.named}"

    @property
    def named(self) -> str:
        """What it is, without where: kink (cable)."""
        return f"{self.kind_words} ({ReelPart(self.part).spoken})"

    @property
    def is_open_stop(self) -> bool:
        """Whether it holds the reel."""
        return self.severity == Severity.STOP and self.closed_at is None


class FindingPhoto(PhotoBytes):
    """What somebody photographed of a finding. Whoever may not see where it lies may not see it."""

    finding = models.OneToOneField(Finding, on_delete=models.PROTECT, related_name="photo")

    def __str__(self) -> str:
        return f"photo of finding {self.finding_id}"
