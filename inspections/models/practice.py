"""Practice, and what a site asks of it. Practice is no record: no count refers to it, no history tells what was read.

That an exercise ended, and the digest of how, is in a chain of its own, because authorisations rest on it.
"""

from django.db import models
from django.db.models import Q

from inspections.domain.practice import Difficulty
from inspections.domain.words import Act
from reels.models import Added, Kept, Person, ReelType, Site, choices


class Exercise(models.Model):
    """One practice reel that somebody counts. Its drum follows from parameters, difficulty and seed."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="exercises")
    reel_type = models.ForeignKey(ReelType, on_delete=models.PROTECT, related_name="+")
    parameters = models.JSONField(help_text="The type's rule parameters as they were when it was begun.")
    reference_side = models.CharField(max_length=5)
    difficulty = models.CharField(max_length=11, choices=choices(Difficulty))
    seed = models.PositiveBigIntegerField()
    counts = models.BooleanField(help_text="Towards readiness: not when the person chose the seed.")
    begun_at = models.DateTimeField()
    step = models.PositiveSmallIntegerField(default=1, help_text="The one to be entered next.")
    entered = models.JSONField(default=dict, blank=True)
    ended_at = models.DateTimeField(null=True)
    tried = models.JSONField(default=list, blank=True, help_text="The rules that it was marked on.")
    misses = models.JSONField(default=list, blank=True, help_text="Pairs of a rule and a slip.")

    class Meta:
        ordering = ("-id",)
        indexes = [models.Index(fields=("person", "ended_at"), name="exercise_by_person")]
        constraints = [
            models.UniqueConstraint(
                name="exercise_one_open", fields=("person",), condition=Q(ended_at__isnull=True)
            ),
        ]  # fmt: skip

    def __str__(self) -> str:
        return f"practice of {self.person.username}"


class ExerciseResult(Added):
    """That an exercise ended, with the digest of all that its row says from then on; told in the chain of practice."""

    exercise = models.OneToOneField(Exercise, on_delete=models.PROTECT, related_name="result")
    digest = models.CharField(max_length=64, help_text="See queries/practice.py, digest_of.")

    def __str__(self) -> str:
        return f"result of {self.exercise}"


class ReadinessAsked(Kept):
    """What a site asks for before somebody is authorised there for an act; told in the register."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="readiness_asked")
    act = models.CharField(max_length=10, choices=choices(Act))
    in_a_row = models.PositiveSmallIntegerField(default=10, help_text="Practice reels without a miss.")
    within_days = models.PositiveSmallIntegerField(default=30)
    least = models.CharField(
        "least difficulty", max_length=11, choices=choices(Difficulty), default=Difficulty.USUAL.value,
        help_text="Easier reels do not add to the run.",
    )  # fmt: skip
    is_asked = models.BooleanField("asked for", default=True)

    class Meta:
        ordering = ("site__code", "act")
        verbose_name = "readiness rule"
        constraints = [
            models.UniqueConstraint(name="readiness_asked_one_per_act", fields=("site", "act")),
            models.CheckConstraint(
                name="readiness_asked_positive", condition=Q(in_a_row__gte=1, within_days__gte=1)
            ),
        ]  # fmt: skip

    def __str__(self) -> str:
        return f"{self.in_a_row} in a row before {self.act} at {self.site}"
