"""Rows of about the size of a keying, with two foreign keys, for the view that the service is measured against."""

from django.conf import settings
from django.db import models


class BareRow(models.Model):
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    reel = models.ForeignKey("reels.Reel", on_delete=models.PROTECT, related_name="+")
    point = models.CharField(max_length=11)
    value = models.JSONField()
    digest = models.CharField(max_length=64)
    at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return self.point
