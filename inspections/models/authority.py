"""Who may do what."""

from django.db import models
from django.db.models import F, Q

from inspections.domain.words import Act
from reels.models import Kept, Person, ReelType, Site, choices


class Authorisation(Kept):
    """That a person may do an act, for a reel type (null: every one) at a site (null: every one), in a period."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="authorisations")
    act = models.CharField(max_length=10, choices=choices(Act))
    reel_type = models.ForeignKey(ReelType, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    valid_from = models.DateTimeField()
    valid_until = models.DateTimeField(null=True, blank=True)
    granted_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    granted_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    end_reason = models.TextField(blank=True)

    class Meta:
        indexes = [models.Index(fields=("person", "act"), name="authorisation_by_person")]
        constraints = [
            models.CheckConstraint(name="authorisation_by_another", condition=~Q(person=F("granted_by"))),
            models.CheckConstraint(
                name="authorisation_ends_after_it_begins",
                condition=Q(valid_until__isnull=True) | Q(valid_until__gt=F("valid_from")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person.username} may {self.act}"

    @property
    def verb(self) -> str:
        """The act in the word for people."""
        return Act(self.act).verb
