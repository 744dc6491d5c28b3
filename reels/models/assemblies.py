"""Reels: where each is, what was done to its cable, and what holds it back."""

from datetime import datetime
from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from reels import append_only
from reels.domain.words import IncidentKind, MoveState, ReelEventKind, counted
from reels.models.base import Added, Kept, choices, exact_length
from reels.models.histories import Chain
from reels.models.people import Person
from reels.models.register import Machine, ReelType, Site


class Reel(Kept):
    """A reel assembly: drum, flanges and cable as one removable, serial-numbered unit."""

    serial = models.CharField(max_length=40, unique=True)
    type = models.ForeignKey(ReelType, on_delete=models.PROTECT, related_name="reels")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="reels")
    chain = models.OneToOneField(Chain, on_delete=models.PROTECT, related_name="reel")
    received_on = models.DateField()
    cable_length_m = exact_length(null=True, blank=True, help_text="Of the cable it was received with; empty: unknown.")
    part_number = models.CharField(max_length=40, blank=True, default="", help_text="Of the assembly.")
    cable_part_number = models.CharField(max_length=40, blank=True, default="")
    cable_serial = models.CharField(max_length=40, blank=True, default="", help_text="Serial or lot of the cable.")
    retired_at = models.DateTimeField(null=True, blank=True)
    retired_reason = models.TextField(blank=True)

    class Meta:
        ordering = ("serial",)

    def __str__(self) -> str:
        return self.serial


class Installation(Kept):
    reel = models.ForeignKey(Reel, on_delete=models.PROTECT, related_name="installations")
    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="installations")
    installed_at = models.DateTimeField()
    installed_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(null=True, help_text="When that was recorded; empty: as it happened.")
    removed_at = models.DateTimeField(null=True)
    removed_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    removal_recorded_at = models.DateTimeField(null=True)
    removal_reason = models.TextField(blank=True, default="")
    document = models.CharField(max_length=120, blank=True, default="")
    cable_went_out = models.BooleanField(null=True, help_text="While it was installed; not known counts as used.")

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


class Move(Kept):
    """A reel sent from one site to another: in transit, and in neither's stock, until it is received or called back.

    received_site: where it came to, which may be another than it was sent to; empty: under way, or called back.
    """

    reel = models.ForeignKey(Reel, on_delete=models.PROTECT, related_name="moves")
    from_site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="+")
    to_site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="+")
    sent_at = models.DateTimeField()
    sent_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(help_text="When the sending was recorded.")
    document = models.CharField(max_length=120, blank=True)
    late_at = models.DateTimeField(help_text="From when it is late, by the usual days of the site it was sent to.")
    ended_at = models.DateTimeField(null=True, help_text="When it was received, or called back.")
    ended_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    end_recorded_at = models.DateTimeField(null=True)
    received_site = models.ForeignKey(Site, on_delete=models.PROTECT, null=True, related_name="+")
    found_sound = models.BooleanField(null=True, help_text="On receipt.")
    end_words = models.TextField(blank=True, help_text="The condition it was found in, or why it was called back.")

    class Meta:
        ordering = ("sent_at", "id")
        indexes = [
            models.Index(fields=("from_site", "late_at"), name="move_from", condition=Q(ended_at__isnull=True)),
            models.Index(fields=("to_site", "late_at"), name="move_to", condition=Q(ended_at__isnull=True)),
        ]
        constraints = [
            models.UniqueConstraint(name="move_one_at_a_time", fields=("reel",), condition=Q(ended_at__isnull=True)),
            models.CheckConstraint(
                name="move_ends_after_it_began", condition=Q(ended_at__isnull=True) | Q(ended_at__gte=F("sent_at"))
            ),
            models.CheckConstraint(
                name="move_condition_where_received",
                condition=Q(received_site__isnull=True, found_sound__isnull=True)
                | Q(received_site__isnull=False, found_sound__isnull=False, ended_at__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.reel} to {self.to_site}"

    def state_at(self, at: datetime) -> MoveState:
        """Where it stands at a moment that is now."""
        if self.ended_at is None:
            return MoveState.LATE if self.late_at <= at else MoveState.UNDER_WAY
        return MoveState.RECEIVED if self.received_site_id else MoveState.CALLED_BACK

    @staticmethod
    def in_state(state: MoveState, at: datetime) -> Q:
        """The condition that one is in a state now; one that is late is under way, too."""
        if state in (MoveState.RECEIVED, MoveState.CALLED_BACK):
            return Q(ended_at__isnull=False, received_site__isnull=state is MoveState.CALLED_BACK)
        return Q(ended_at__isnull=True) & (Q(late_at__lte=at) if state is MoveState.LATE else Q())


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
    length_removed_m = exact_length(null=True)
    length_fitted_m = exact_length(null=True)
    happened_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    document = models.CharField(max_length=120, blank=True)
    remark = models.TextField(blank=True)
    cable_serial = models.CharField(
        max_length=40, blank=True, default="", db_default="", help_text="Serial or lot of the cable that was fitted."
    )
    reverses = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="reversed_by")

    class Meta:
        ordering = ("happened_at", "id")
        indexes = [
            models.Index(fields=("reel", "happened_at"), name="cable_event_by_reel"),
            models.Index(fields=("happened_at",), name="cable_event_by_time"),
        ]
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


class ReelEvent(Added):
    """What happened to a reel beside a cut or another cable. ends_count: the counts from before are no longer true."""

    reel = models.ForeignKey(Reel, on_delete=models.PROTECT, related_name="events")
    kind = models.CharField(max_length=9, choices=choices(ReelEventKind))
    incident = models.CharField(max_length=9, choices=choices(IncidentKind), blank=True)
    uses = models.PositiveSmallIntegerField(null=True)
    hours = models.DecimalField(max_digits=9, decimal_places=3, null=True)
    length_out_m = exact_length(null=True, help_text="The greatest that was out.")
    ends_count = models.BooleanField()
    happened_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    document = models.CharField(max_length=120, blank=True)
    words = models.TextField(blank=True)
    reverses = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="reversed_by")

    class Meta:
        ordering = ("happened_at", "id")
        indexes = [models.Index(fields=("reel", "happened_at"), name="reel_event_by_reel")]
        constraints = [
            models.CheckConstraint(
                name="reel_event_reversal_names_one",
                condition=Q(kind="reversal", reverses__isnull=False, ends_count=False)
                | (~Q(kind="reversal") & Q(reverses__isnull=True)),
            ),
            models.CheckConstraint(
                name="reel_event_respooling_ends_counts", condition=~Q(kind="respooled") | Q(ends_count=True)
            ),
            models.CheckConstraint(
                name="reel_event_incident_is_named",
                condition=(Q(kind="incident") & ~Q(incident="")) | (~Q(kind="incident") & Q(incident="")),
            ),
            models.CheckConstraint(
                name="reel_event_use_is_counted",
                condition=Q(kind="used", uses__gte=1) | (~Q(kind="used") & Q(uses__isnull=True)),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.named} on {self.reel}"

    @property
    def named(self) -> str:
        """What it was, in a few words."""
        if self.kind == ReelEventKind.INCIDENT:
            return f"incident ({self.incident})"
        is_use = self.kind == ReelEventKind.USED
        return counted(self.uses or 0, "use") if is_use else ReelEventKind(self.kind).spoken


class MachineHold(Kept):
    """A machine that may not be used until somebody lets it go. reel: whose check failed; its history tells it."""

    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="holds")
    reel = models.ForeignKey(Reel, on_delete=models.PROTECT, related_name="machine_holds")
    placed_at = models.DateTimeField()
    placed_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    reason = models.TextField()
    ended_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    end_reason = models.TextField(blank=True)

    class Meta:
        indexes = [models.Index(fields=("ended_at",), name="machine_hold_by_end")]
        constraints = [
            models.UniqueConstraint(
                name="machine_hold_one_at_a_time", fields=("machine",), condition=Q(ended_at__isnull=True)
            )
        ]

    def __str__(self) -> str:
        return f"hold on machine {self.machine}"


class Hold(Kept):
    """A reel that may not be used until somebody lets it go."""

    reel = models.ForeignKey(Reel, on_delete=models.PROTECT, related_name="holds")
    placed_at = models.DateTimeField()
    placed_by = models.ForeignKey(
        Person, on_delete=models.PROTECT, null=True, related_name="+", help_text="Empty: the service itself."
    )
    reason = models.TextField()
    recorded_at = models.DateTimeField(null=True, help_text="When that was recorded; empty: as it happened.")
    ended_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    end_reason = models.TextField(blank=True)
    end_recorded_at = models.DateTimeField(null=True, help_text="When that was recorded; empty: as it happened.")

    class Meta:
        indexes = [models.Index(fields=("ended_at",), name="hold_by_end")]
        constraints = [
            models.UniqueConstraint(name="hold_one_per_reel", fields=("reel",), condition=Q(ended_at__isnull=True))
        ]

    def __str__(self) -> str:
        return f"hold on {self.reel}"
