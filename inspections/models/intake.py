"""How files that come again are read."""

from django.db import models
from django.db.models import Q

from reels.models import Kept


class SheetMapping(Kept):
    """How one kind of spreadsheet's file is read, kept by name: `understood` as Understanding has it."""

    name = models.CharField(max_length=80)
    understood = models.JSONField()
    ended_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ("name", "id")
        constraints = [
            models.UniqueConstraint(name="sheet_mapping_one_of_a_name", fields=("name",), condition=Q(ended_at=None))
        ]

    def __str__(self) -> str:
        return self.name
