"""Reference data: sites, reel types, machines."""

from django.db import models
from django.db.models import F, Q

from reels.domain.words import Graduation, Side, UnusualRule
from reels.models.base import Kept, choices, exact_length


class Site(Kept):
    code = models.SlugField(max_length=30, unique=True)
    name = models.CharField(max_length=80)
    time_zone = models.CharField(max_length=40, default="UTC")

    class Meta:
        ordering = ("code",)

    def __str__(self) -> str:
        return self.name


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
    graduation = models.CharField(max_length=7, choices=choices(Graduation), default=Graduation.EVERY)
    lead_wraps = models.PositiveSmallIntegerField(default=1)
    arc_from_deg = models.PositiveSmallIntegerField(default=0)
    arc_to_deg = models.PositiveSmallIntegerField(default=180)
    unusual = models.CharField(max_length=6, choices=choices(UnusualRule), default=UnusualRule.HOLD)
    unusual_publication = models.CharField(max_length=120, blank=True, help_text="Allows unusual counts.")
    least_length_m = exact_length(null=True, blank=True)
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
    serial = models.CharField(max_length=40, unique=True)
    host = models.CharField(max_length=60, help_text="The host's registration or name.")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="machines")
    wrap_gauge = models.CharField(max_length=40, help_text="The serial number of its wrap gauge.")

    class Meta:
        ordering = ("serial",)

    def __str__(self) -> str:
        return self.serial
