"""Safety notices: reels that maintenance control holds by what they have in common."""

from django.db import models
from django.db.models import Q

from inspections.domain.words import NoticedState
from reels.models import Hold, Kept, Person, Reel, ReelType, Site


class SafetyNotice(Kept):
    """Holds every reel that it covers, those that come to be covered later too, until it is lifted.

    It covers the reels to which all that is named applies; at least one thing is. publication: by which the latest
    signed count of a reel was worked, or reels of its type are counted now; without a revision, any.
    """

    reference = models.CharField(max_length=60, unique=True)
    reason = models.TextField()
    type = models.ForeignKey(ReelType, on_delete=models.PROTECT, null=True, related_name="+")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, null=True, related_name="+")
    cable_lot = models.CharField(max_length=40, blank=True)
    publication = models.CharField(max_length=120, blank=True)
    publication_revision = models.CharField(max_length=40, blank=True)
    issued_at = models.DateTimeField()
    issued_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    lifted_at = models.DateTimeField(null=True)
    lifted_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    lift_reason = models.TextField(blank=True)

    class Meta:
        ordering = ("-issued_at", "-id")
        constraints = [
            models.CheckConstraint(
                name="safety_notice_names_something",
                condition=Q(type__isnull=False) | Q(site__isnull=False) | ~Q(cable_lot="") | ~Q(publication=""),
            ),
            models.CheckConstraint(
                name="safety_notice_revision_of_a_publication",
                condition=Q(publication_revision="") | ~Q(publication=""),
            ),
        ]

    def __str__(self) -> str:
        return self.reference

    @property
    def covers(self) -> str:
        """What it names, in words."""
        lot = f"cable lot {self.cable_lot}" if self.cable_lot else ""
        revision = f", revision {self.publication_revision}" if self.publication_revision else ""
        counted = f"counted last, or to be counted next, by {self.publication}{revision}" if self.publication else ""
        named = (f"type {self.type}" if self.type else "", f"at {self.site}" if self.site else "", lot, counted)
        return "reels: " + ", ".join(filter(None, named))

    @property
    def why_held(self) -> str:
        """The reason of the holds that it places."""
        return f"safety notice {self.reference}: {self.reason}"


class NoticedReel(Kept):
    """A reel that a safety notice covers. hold: which it placed; empty while another one holds the reel already."""

    notice = models.ForeignKey(SafetyNotice, on_delete=models.PROTECT, related_name="noticed_reels")
    reel = models.ForeignKey(Reel, on_delete=models.PROTECT, related_name="safety_notices")
    noticed_at = models.DateTimeField()
    hold = models.OneToOneField(Hold, on_delete=models.PROTECT, null=True, related_name="noticed_reel")

    class Meta:
        ordering = ("id",)
        constraints = [models.UniqueConstraint(name="noticed_reel_once", fields=("notice", "reel"))]

    def __str__(self) -> str:
        return f"{self.reel} by {self.notice}"

    @property
    def state(self) -> NoticedState:
        """What became of it; no query where its hold and notice came with it."""
        if self.hold is None:
            return NoticedState.NOT_HELD if self.notice.lifted_at else NoticedState.HELD_BEFORE
        return NoticedState.RELEASED if self.hold.ended_at else NoticedState.HELD

    @staticmethod
    def in_state(state: NoticedState) -> Q:
        """The condition that one is in a state."""
        return {
            NoticedState.HELD: Q(hold__isnull=False, hold__ended_at__isnull=True),
            NoticedState.RELEASED: Q(hold__ended_at__isnull=False),
            NoticedState.HELD_BEFORE: Q(hold__isnull=True, notice__lifted_at__isnull=True),
            NoticedState.NOT_HELD: Q(hold__isnull=True, notice__lifted_at__isnull=False),
        }[state]
