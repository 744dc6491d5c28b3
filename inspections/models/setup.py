"""Setup values, and what the machine showed."""

from django.db import models
from django.db.models import F, Q

from inspections.domain.act_fields import CHECKS
from inspections.models.counts import Inspection
from reels.domain.words import Parity, counted
from reels.models import Added, Kept, Machine, Person, Reel, choices
from reels.models.base import exact_length


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
        indexes = [
            models.Index(fields=("reel", "-issued_at"), name="setup_values_by_reel"),
            models.Index(fields=("issued_at",), name="setup_values_by_time"),
            models.Index(fields=("confirmed_at",), name="setup_values_confirmed"),
            models.Index(fields=("withdrawn_at",), name="setup_values_by_end"),
        ]
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
        return f"{self.count} for {self.reel} in {self.machine}"

    @property
    def count(self) -> str:
        """The two numbers in words."""
        return f"{counted(self.layers, 'layer')}, {counted(self.wraps, 'wrap')}"


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
        return f"{counted(self.layers, 'layer')}, {counted(self.wraps, 'wrap')} by the {self.role}"


class MachineCheck(Added):
    """The functional check after installation, or what the machine showed after first use or at removal.

    Of a reading: what it showed, of which layers and wraps or the length are given; what was expected on the drum with
    so much out; and by how many turns it showed more.
    """

    setup_values = models.ForeignKey(SetupValues, on_delete=models.PROTECT, related_name="machine_checks")
    kind = models.CharField(max_length=10, choices=CHECKS)
    passed = models.BooleanField()
    layers = models.PositiveIntegerField(null=True)
    wraps = models.PositiveIntegerField(null=True)
    length_m = exact_length(null=True)
    length_out_m = exact_length(null=True)
    expected_layers = models.PositiveSmallIntegerField(null=True)
    expected_wraps = exact_length(null=True)
    expected_length_m = exact_length(null=True)
    more_turns = exact_length(null=True)
    remark = models.TextField(blank=True)
    done_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    done_at = models.DateTimeField()

    class Meta:
        ordering = ("id",)

    def __str__(self) -> str:
        return self.get_kind_display()
