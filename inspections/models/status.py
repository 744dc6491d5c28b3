"""Where each reel stands, kept beside its records: no record itself, for it can be worked out again."""

from django.db import models
from django.db.models import Q

from reels.models import Machine, Reel, ReelType, Site


class ReelStatusRow(models.Model):
    """Where a reel stands, and since when, by its history up to this head. rank: its place on the board.

    What ends by time is a moment here (`last_at`), compared when the row is read.
    """

    reel = models.OneToOneField(Reel, on_delete=models.CASCADE, related_name="status_row")
    serial = models.CharField(max_length=40)
    type = models.ForeignKey(ReelType, on_delete=models.CASCADE, null=True, related_name="+", db_index=False)
    site = models.ForeignKey(
        Site, on_delete=models.CASCADE, null=True, related_name="+", db_index=False,
        help_text="Empty: in transit, and in no site's stock.",
    )  # fmt: skip
    sent_from = models.ForeignKey(
        Site, on_delete=models.CASCADE, null=True, related_name="+", db_index=False,
        help_text="In transit: the site that sent it, which answers for it.",
    )  # fmt: skip
    head = models.CharField(max_length=64)
    status = models.CharField(max_length=25)
    rank = models.PositiveSmallIntegerField()
    since = models.DateTimeField()
    signed_count_at = models.DateTimeField(null=True, help_text="When the latest signed count was done.")
    layers = models.PositiveSmallIntegerField(null=True, help_text="Of that count.")
    wraps = models.PositiveSmallIntegerField(null=True, help_text="Of that count.")
    counted_at = models.DateTimeField(null=True, help_text="Of the last count, signed or of older records.")
    last_at = models.DateTimeField(help_text="Of the last count; of its coming, where there is none.")
    count_ended_at = models.DateTimeField(null=True, help_text="When that count was ended, not by days.")
    count_ended_why = models.TextField(default="", db_default="")
    soft_limit_at = models.DateTimeField(null=True, help_text="When a soft limit of a life was or will be reached.")
    hard_limit_at = models.DateTimeField(null=True, help_text="The same of a hard one.")
    machine = models.ForeignKey(Machine, on_delete=models.CASCADE, null=True, related_name="+")
    live_id = models.BigIntegerField(null=True, help_text="The inspection under way.")
    values_id = models.BigIntegerField(null=True, help_text="The setup values in force.")
    values_machine = models.CharField(max_length=40, blank=True)
    hold_why = models.TextField(blank=True)
    has_open_flag = models.BooleanField()
    is_flagged = models.BooleanField(default=False, db_default=False, help_text="See FlaggedReel.")
    names = models.TextField(default="", db_default="", help_text="What it is searched by: see queries/search.py.")
    findings = models.JSONField(
        default=list, help_text="Of each kind: part, kind, its words; how many are recorded, open, and open stops."
    )

    class Meta:
        db_table = "reports_standing"
        indexes = [
            models.Index(fields=("rank", "last_at", "serial"), name="standing_in_order"),
            models.Index(fields=("serial",), name="standing_by_serial"),
            models.Index(fields=("site", "serial"), name="standing_by_site"),
            models.Index(fields=("status", "serial"), name="standing_by_status"),
            models.Index(fields=("type", "site", "status"), name="standing_by_type"),
            models.Index(fields=("site", "rank", "last_at", "serial"), name="standing_at_site_in_order"),
            models.Index(fields=("rank", "last_at", "serial"), name="standing_flagged", condition=Q(is_flagged=True)),
            models.Index(fields=("rank", "last_at", "serial"), name="standing_open", condition=Q(has_open_flag=True)),
            models.Index(
                fields=("soft_limit_at",), name="standing_soft_limit", condition=Q(soft_limit_at__isnull=False)
            ),
            models.Index(
                fields=("hard_limit_at",), name="standing_hard_limit", condition=Q(hard_limit_at__isnull=False)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.reel}: {self.status}"


class FlaggedReel(models.Model):
    """That the drift report flags an interval of the reel whose flag nobody has closed, as the fleet was assessed last.

    The worker's, no record.
    """

    reel = models.OneToOneField(Reel, on_delete=models.CASCADE, related_name="flagged")

    def __str__(self) -> str:
        return f"{self.reel}, flagged"


class ReelNumber(models.Model):
    """So many reels more, or fewer: added by the acts that move reels, folded into fewer rows by the worker.

    How many reels there are is a sum over these rows. A reel is in them twice: by its type (week: empty), and by the
    week of its last count (type: empty), which starts on this Monday in UTC.
    """

    site = models.ForeignKey(
        Site, on_delete=models.CASCADE, null=True, related_name="+", db_index=False, help_text="Empty: in transit."
    )
    status = models.CharField(max_length=25)
    type = models.ForeignKey(ReelType, on_delete=models.CASCADE, null=True, related_name="+", db_index=False)
    week = models.DateField(null=True)
    reels = models.IntegerField()
    open_flags = models.IntegerField(help_text="Of these reels, those with drift under review; 0 by week.")
    flagged = models.IntegerField(default=0, db_default=0, help_text="Of these reels, those flagged; 0 by week.")
    place_columns = ("site_id", "status", "type_id", "week")
    sum_columns = ("reels", "open_flags", "flagged")

    class Meta:
        verbose_name_plural = "numbers of reels"
        indexes = [models.Index(fields=("site", "week", "status", "type"), name="number_by_place")]

    def __str__(self) -> str:
        return f"{self.reels:+} {self.status}"


class FindingNumber(models.Model):
    """So many findings of a kind more, or fewer, and so many reels that have any: added and folded as ReelNumber is."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="+", db_index=False)
    type = models.ForeignKey(ReelType, on_delete=models.CASCADE, null=True, related_name="+", db_index=False)
    part = models.CharField(max_length=11)
    kind = models.CharField(max_length=30)
    kind_words = models.CharField(max_length=80)
    reels = models.IntegerField()
    recorded = models.IntegerField()
    open = models.IntegerField()
    stops = models.IntegerField(help_text="Of those that are open.")
    place_columns = ("site_id", "type_id", "part", "kind", "kind_words")
    sum_columns = ("reels", "recorded", "open", "stops")

    class Meta:
        verbose_name_plural = "numbers of findings"
        indexes = [models.Index(fields=("site", "type"), name="finding_number_by_place")]

    def __str__(self) -> str:
        return f"{self.recorded:+} {self.kind_words}"
