"""Photos beside what was keyed."""

from django.db import models

from inspections.domain.photos import ENDINGS
from inspections.models.base import Added
from inspections.models.counts import Keying


class Photo(Added):
    """What somebody photographed of what they keyed, as it came. Whoever may not see the value may not see it."""

    keying = models.OneToOneField(Keying, on_delete=models.PROTECT, related_name="photo")
    media_type = models.CharField(max_length=10, choices=[(each, each) for each in ENDINGS])
    content = models.BinaryField()
    size_bytes = models.PositiveIntegerField()
    digest = models.CharField(max_length=64)
    hidden_columns = frozenset({"content"})

    def __str__(self) -> str:
        return f"photo of keying {self.keying_id}"
