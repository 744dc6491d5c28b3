"""Reference data: sites, reel types, machines."""

from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.core.validators import MinValueValidator, RegexValidator
from django.db import models
from django.db.models import F, Q

from reels.domain.life import LIVES
from reels.domain.words import (
    SERIAL,
    SERIAL_IN_WORDS,
    CountEffect,
    Graduation,
    LinePlace,
    Side,
    UnusualRule,
    WindingSense,
)
from reels.models.base import Added, Kept, choices, exact_length

IS_SERIAL = RegexValidator(f"^(?:{SERIAL})\\Z", SERIAL_IN_WORDS)


class Site(Kept):
    code = models.SlugField(max_length=30, unique=True)
    name = models.CharField(max_length=80)
    time_zone = models.CharField(max_length=40, default="UTC")
    transit_days = models.PositiveSmallIntegerField(
        default=7, validators=[MinValueValidator(1)],
        help_text="A reel that was sent here and not received is late after so many days.",
    )  # fmt: skip

    class Meta:
        ordering = ("code",)

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> ZoneInfo:
        """Its clocks."""
        return ZoneInfo(self.time_zone)

    def day_of(self, at: datetime) -> date:
        """The day that it is here at a moment."""
        return at.astimezone(self.zone).date()


def _limit(what: str) -> "models.PositiveSmallIntegerField[Any, Any]":
    """Of a life. what: what it does."""
    return models.PositiveSmallIntegerField(
        null=True, blank=True, validators=[MinValueValidator(1)], help_text=f"{what} Empty: no limit."
    )


def _soft() -> "models.PositiveSmallIntegerField[Any, Any]":
    return _limit("Warned from so many on.")


def _hard() -> "models.PositiveSmallIntegerField[Any, Any]":
    return _limit("At so many the reel is held.")


class ReelType(Kept):
    """What all reels of one design share: drum geometry, cable, anchor side, rule parameters."""

    code = models.SlugField(max_length=30, unique=True)
    core_diameter_mm = exact_length()
    cable_diameter_mm = exact_length()
    wraps_odd_layer = models.PositiveSmallIntegerField()
    wraps_even_layer = models.PositiveSmallIntegerField()
    max_layers = models.PositiveSmallIntegerField()
    layer_rise_mm = exact_length(null=True, blank=True, help_text="Empty: nested layers.")
    layer_rise_u_mm = exact_length(
        null=True,
        blank=True,
        help_text="Its standard uncertainty. Empty: none if measured; else up to stacked, evenly.",
    )
    pitch_mm = exact_length(null=True, blank=True, help_text="Empty: the cable's diameter.")
    diameter_u_mm = exact_length(default=0, help_text="Standard uncertainty of the diameters.")
    anchor_side = models.CharField(max_length=5, choices=choices(Side))
    reference_side = models.CharField(max_length=5, choices=choices(Side), default=Side.LEFT)
    scale_line_at = models.CharField(max_length=7, choices=choices(LinePlace), default=LinePlace.TOP)
    winding_sense = models.CharField(max_length=17, choices=choices(WindingSense), default=WindingSense.CLOCKWISE)
    graduation = models.CharField(max_length=7, choices=choices(Graduation), default=Graduation.EVERY)
    lead_wraps = models.PositiveSmallIntegerField(default=1)
    arc_from_deg = models.PositiveSmallIntegerField(default=0)
    arc_to_deg = models.PositiveSmallIntegerField(default=180)
    arc_publication = models.CharField(max_length=120, blank=True, help_text="Says an arc that is not a half turn.")
    crossover_begins_layer = models.BooleanField(default=True, help_text="The crossover that is seen begins its layer.")
    unusual = models.CharField(max_length=6, choices=choices(UnusualRule), default=UnusualRule.HOLD)
    unusual_publication = models.CharField(max_length=120, blank=True, help_text="Allows unusual counts.")
    least_length_m = exact_length(null=True, blank=True)
    cable_uses_soft = _soft()
    cable_uses_hard = _hard()
    cable_hours_soft = _soft()
    cable_hours_hard = _hard()
    cable_days_soft = _soft()
    cable_days_hard = _hard()
    reel_uses_soft = _soft()
    reel_uses_hard = _hard()
    reel_hours_soft = _soft()
    reel_hours_hard = _hard()
    reel_days_soft = _soft()
    reel_days_hard = _hard()
    count_days = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        validators=[MinValueValidator(1)],
        help_text="A count lapses after. Empty: never.",
    )
    count_uses = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        validators=[MinValueValidator(1)],
        help_text="A count lapses after. Empty: never.",
    )
    after_use = models.CharField(
        max_length=7, choices=choices(CountEffect), default=CountEffect.NOTHING,
        help_text="What a use on the machine does to a count. A removal after use always ends it.",
    )  # fmt: skip
    after_incident = models.CharField(
        max_length=7, choices=choices(CountEffect), default=CountEffect.ASKS,
        help_text="What an incident does to a count.",
    )  # fmt: skip
    reading_limit_wraps = models.DecimalField(
        max_digits=5, decimal_places=2, default=1, validators=[MinValueValidator(0)],
        help_text="How far what a machine shows may be from what is expected.",
    )  # fmt: skip
    rule_sources = models.JSONField(default=dict, blank=True, help_text="By rule: where it stands, and who said so.")
    rules_written_by = models.JSONField(default=list, blank=True, help_text="Who wrote them since they were confirmed.")
    rules_confirmed_by = models.ForeignKey("Person", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    rules_confirmed_at = models.DateTimeField(null=True, blank=True)
    odd_face_mark = models.CharField(max_length=40, blank=True, help_text="What a gauge's odd face looks like.")
    even_face_mark = models.CharField(max_length=40, blank=True, help_text="What a gauge's even face looks like.")
    odd_scale_mark = models.CharField(max_length=40, blank=True, help_text="What a scale of odd numbers looks like.")
    even_scale_mark = models.CharField(max_length=40, blank=True, help_text="What a scale of even numbers looks like.")

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
                name="reel_type_arc_by_winding_sense",
                condition=~Q(arc_publication="")
                | Q(winding_sense=WindingSense.CLOCKWISE, arc_from_deg=0, arc_to_deg=180)
                | Q(winding_sense=WindingSense.COUNTER_CLOCKWISE, arc_from_deg=180, arc_to_deg=360),
                violation_error_message="the arc from 0 to 180 where winding_sense is clockwise, from 180 to 360 where "
                "it is counter_clockwise; another arc only with arc_publication, the publication that says it",
            ),
            models.CheckConstraint(
                name="reel_type_rules_confirmed_by_somebody",
                condition=Q(rules_confirmed_at__isnull=True, rules_confirmed_by__isnull=True)
                | Q(rules_confirmed_at__isnull=False, rules_confirmed_by__isnull=False),
            ),
            models.CheckConstraint(
                name="reel_type_unusual_needs_publication",
                condition=~Q(unusual=UnusualRule.ACCEPT) | ~Q(unusual_publication=""),
            ),
            *(
                models.CheckConstraint(
                    name=f"reel_type_{life}_soft_below_hard",
                    condition=Q(**{f"{life}_soft__isnull": True})
                    | Q(**{f"{life}_hard__isnull": True})
                    | Q(**{f"{life}_soft__lt": F(f"{life}_hard")}),
                    violation_error_message=f"{life}_soft less than {life}_hard",
                )
                for life in LIVES
            ),
        ]

    def __str__(self) -> str:
        return self.code


class Publication(Kept):
    """One revision of an approved document that counts are worked by: for these reel types, or, with none, for all."""

    code = models.CharField(max_length=120)
    title = models.CharField(max_length=200)
    revision = models.CharField(max_length=40)
    valid_from = models.DateTimeField()
    valid_until = models.DateTimeField(null=True, blank=True)
    end_reason = models.TextField(blank=True)
    types: "models.ManyToManyField[ReelType, PublicationType]" = models.ManyToManyField(
        ReelType, through="PublicationType", related_name="publications"
    )

    class Meta:
        ordering = ("code", "-valid_from", "-id")
        constraints = [
            models.UniqueConstraint(name="publication_one_per_revision", fields=("code", "revision")),
            models.CheckConstraint(
                name="publication_ends_after_it_begins",
                condition=Q(valid_until__isnull=True) | Q(valid_until__gte=F("valid_from")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code}, revision {self.revision}"


class PublicationType(Added):
    """A reel type that a publication is for."""

    publication = models.ForeignKey(Publication, on_delete=models.PROTECT, related_name="+")
    type = models.ForeignKey(ReelType, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [models.UniqueConstraint(name="publication_type_once", fields=("publication", "type"))]

    def __str__(self) -> str:
        return f"{self.publication} for {self.type}"


class Machine(Kept):
    serial = models.CharField(max_length=40, unique=True, validators=[IS_SERIAL])
    host = models.CharField(max_length=60, help_text="The host's registration or name.")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="machines")
    types = models.JSONField(default=list, blank=True, help_text="Codes of the reel types that it takes; no others.")

    class Meta:
        ordering = ("serial",)

    def __str__(self) -> str:
        return self.serial

    @property
    def hold(self) -> Any:
        """The hold on it, if it is held; no query where its holds came with it."""
        return next((each for each in self.holds.all() if each.ended_at is None), None)


class WrapGauge(Kept):
    """The graduated bar of a machine, by its own serial; it is read only on reels of the types that it fits."""

    serial = models.CharField(
        max_length=40, unique=True,
        validators=[IS_SERIAL],
    )  # fmt: skip
    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="gauges")
    types: "models.ManyToManyField[ReelType, GaugeType]" = models.ManyToManyField(
        ReelType, through="GaugeType", related_name="gauges"
    )

    class Meta:
        ordering = ("serial",)

    def __str__(self) -> str:
        return self.serial


class GaugeType(Added):
    """A reel type that a wrap gauge fits."""

    gauge = models.ForeignKey(WrapGauge, on_delete=models.PROTECT, related_name="+")
    type = models.ForeignKey(ReelType, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [models.UniqueConstraint(name="gauge_type_once", fields=("gauge", "type"))]

    def __str__(self) -> str:
        return f"{self.gauge} fits {self.type}"


class GaugeCalibration(Added):
    """A calibration of a wrap gauge: when it was made, and the last day on which the gauge may be used by it.

    Kept one by one, since a count from paper is judged by the calibration of its own day.
    """

    gauge = models.ForeignKey(WrapGauge, on_delete=models.PROTECT, related_name="calibrations")
    calibrated_on = models.DateField()
    due = models.DateField()

    class Meta:
        ordering = ("calibrated_on", "id")
        constraints = [
            models.CheckConstraint(
                name="gauge_calibration_due_after_it_was_made", condition=Q(due__gte=F("calibrated_on"))
            )
        ]

    def __str__(self) -> str:
        return f"{self.gauge}, due {self.due}"


class SetUpList(Kept):
    """Whether the organisation has put away the list of what a new service needs first. There is one row, or none."""

    put_away_at = models.DateTimeField(null=True)
    put_away_by = models.ForeignKey("Person", on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="set_up_list_put_away_by_somebody",
                condition=Q(put_away_at__isnull=True, put_away_by__isnull=True)
                | Q(put_away_at__isnull=False, put_away_by__isnull=False),
            )
        ]

    def __str__(self) -> str:
        return "set-up list"
