"""Older counts, learned rates, and what drift leads to."""

from django.db import models
from django.db.models import F, Q

from inspections.domain.drift.records import Ending
from inspections.models.counts import Reading
from reels.domain.words import counted
from reels.models import Added, Kept, Person, Reel, choices


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
    publication = models.CharField(max_length=120, blank=True, help_text="That it was worked by, as the record says.")
    revision = models.CharField(max_length=40, blank=True)

    class Meta:
        ordering = ("counted_at", "id")
        indexes = [models.Index(fields=("counted_at",), name="imported_count_by_time")]
        constraints = [models.UniqueConstraint(name="imported_count_once", fields=("reel", "counted_at"))]

    def __str__(self) -> str:
        return f"{counted(self.layers, 'layer')}, {counted(self.wraps, 'wrap')} on {self.counted_at:%Y-%m-%d}"


# Drift ----------------------------------------------------------------------------------------------------------------


class LearnedRates(Added):
    """The fleet's rates as they were once learned from its records, the newest in use: drift.DriftParameters.

    The register tells their digest: an exact record takes no floats.
    """

    values = models.JSONField()
    digest = models.CharField(
        max_length=64, default="", db_default="", help_text="SHA-256 of the values as canonical JSON."
    )
    learned_at = models.DateTimeField()
    rows_known = models.PositiveIntegerField(help_text="How many counts, cable events and closed flags there were.")
    hidden_columns = frozenset({"values"})

    class Meta:
        ordering = ("id",)
        verbose_name_plural = "learned rates"

    def __str__(self) -> str:
        return f"rates {self.pk}, learned on {self.learned_at:%Y-%m-%d}"


class DriftFlag(Kept):
    """That somebody looks into the interval between two counts, and how it ended. The ending is evidence."""

    reel = models.ForeignKey(Reel, on_delete=models.PROTECT, related_name="drift_flags")
    from_at = models.DateTimeField()
    to_at = models.DateTimeField()
    p_unlogged_cut = models.DecimalField(max_digits=5, decimal_places=4, help_text="When it was assigned first.")
    explanation = models.TextField()
    raised_at = models.DateTimeField()
    raised_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    assigned_to = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="drift_flags")
    finding = models.TextField(blank=True)
    looked_into_at = models.DateTimeField(null=True)
    looked_into_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    ending = models.CharField(max_length=15, choices=choices(Ending), blank=True)
    end_reason = models.TextField(blank=True)
    closed_at = models.DateTimeField(null=True)
    closed_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ("id",)
        indexes = [
            models.Index(fields=("raised_at",), name="drift_flag_by_time"),
            models.Index(fields=("closed_at",), name="drift_flag_by_end"),
        ]
        constraints = [
            models.UniqueConstraint(
                name="drift_flag_one_open", fields=("reel", "from_at", "to_at"), condition=Q(closed_at__isnull=True)
            ),
            models.CheckConstraint(
                name="drift_flag_closed_has_ending",
                condition=Q(closed_at__isnull=True, ending="") | (Q(closed_at__isnull=False) & ~Q(ending="")),
            ),
            models.CheckConstraint(name="drift_flag_in_order", condition=Q(from_at__lte=F("to_at"))),
        ]

    def __str__(self) -> str:
        return f"flag on {self.reel} from {self.from_at:%Y-%m-%d} to {self.to_at:%Y-%m-%d}"


class AcceptedOutlier(Added):
    """Why a count that its reel's history makes surprising stands as it was read."""

    reading = models.OneToOneField(Reading, on_delete=models.PROTECT, related_name="accepted_outlier")
    told = models.TextField(help_text="What was said of the count.")
    reason = models.TextField()
    accepted_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    accepted_at = models.DateTimeField()

    class Meta:
        db_table = "inspections_surpriseaccepted"
        verbose_name = "surprise accepted"
        verbose_name_plural = "surprises accepted"

    def __str__(self) -> str:
        return f"surprise of {self.reading} accepted"
