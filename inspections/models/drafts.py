"""What somebody has typed at a step of the worksheet and not keyed yet."""

from django.db import models

from inspections.models.counts import Inspection
from reels.models import Person


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
