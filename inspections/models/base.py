"""What rows of the two apps' kind have in common."""

from typing import ClassVar

from django.db import models

from reels import append_only


class Added(models.Model):
    """A row that is added and never changed."""

    kept: ClassVar[str] = append_only.APPEND_ONLY
    hidden_columns: ClassVar[frozenset[str]] = frozenset()

    class Meta:
        abstract = True
