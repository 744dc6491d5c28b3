"""Kept documents, runs of the check, e-mail notices, and what can be calculated again: drift."""

from django.db import models
from django.db.models import Q

from inspections.models import Inspection, LearnedRates
from reels.models import Added, Chain, Kept, Person, Reel, Site, choices
from reports.domain.notices import NoticeKind, NoticeState


class ArchivedPdf(Added):
    """An inspection's record as it was drawn up and sealed. A later state is a further row; nothing is drawn again."""

    inspection = models.ForeignKey(Inspection, on_delete=models.PROTECT, related_name="archived_pdfs")
    number = models.PositiveSmallIntegerField()
    drawn_up_at = models.DateTimeField()
    record_digest = models.CharField(max_length=64)
    situation_digest = models.CharField(max_length=64)
    unsealed_length = models.PositiveIntegerField(help_text="The file begins with so many bytes as they were drawn up.")
    unsealed_digest = models.CharField(max_length=64)
    digest = models.CharField(max_length=64, unique=True, help_text="SHA-256 of the file.")
    content = models.BinaryField()
    hidden_columns = frozenset({"content"})

    class Meta:
        ordering = ("number",)
        verbose_name = "archived PDF"
        constraints = [models.UniqueConstraint(name="archived_pdf_one_per_number", fields=("inspection", "number"))]

    def __str__(self) -> str:
        return f"PDF {self.number} of inspection {self.inspection_id}"


class VerificationRun(Added):
    """That the records were checked, and how it came out; told in the history `checks`.

    It proves nothing, since whoever doubts it checks again; but nobody makes a whole run of one that was not, unseen.
    """

    at = models.DateTimeField()
    chains = models.PositiveIntegerField(help_text="Replayed, or known again as they were.")
    replayed = models.PositiveIntegerField(default=0, db_default=0)
    nights = models.PositiveSmallIntegerField(default=1, db_default=1, help_text="Within which all are replayed.")
    entries = models.PositiveIntegerField()
    signatures = models.PositiveIntegerField()
    first_break = models.TextField(blank=True, help_text="Empty: whole.")

    def __str__(self) -> str:
        return f"check on {self.at:%Y-%m-%d}: {self.first_break or 'whole'}"


class ChainSeen(models.Model):
    """That a history was found whole: by what it is known again. See services/verification/seen.py."""

    chain = models.OneToOneField(Chain, on_delete=models.PROTECT, related_name="+")
    day = models.PositiveIntegerField(help_text="On which it was replayed, as an ordinal.")
    ids = models.BinaryField(help_text="Of its entries and rows, by table: JSON, compressed.")
    mac = models.CharField(max_length=64)

    def __str__(self) -> str:
        return f"mark of {self.chain}"


# Drift, as it was worked out last: nothing here is a record, and all of it can be worked out again --------------------


class Assessment(models.Model):
    """That a reel's intervals were worked out: from which head of its history, which type, which rates of the fleet."""

    reel = models.OneToOneField(Reel, on_delete=models.PROTECT, related_name="assessment")
    head = models.CharField(max_length=64)
    type_digest = models.CharField(
        max_length=64, default="", help_text="Of the type's drum and lead as they were then."
    )
    rates = models.ForeignKey(LearnedRates, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"assessment of {self.reel}"


class FleetAssessment(models.Model):
    """What was known when every reel that had moved was assessed last; one row. What came later is what it is behind.

    place: of the feed, up to which all entries are in it.
    """

    place = models.PositiveBigIntegerField()
    rates = models.ForeignKey(LearnedRates, on_delete=models.PROTECT, related_name="+")
    type_digests = models.JSONField(help_text="Of each reel type as it was, by its id.")
    flag_at = models.FloatField(help_text="The least probability that is flagged.")
    made_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"the fleet, assessed on {self.made_at:%Y-%m-%d}"


class AsOfReport(models.Model):
    """The drift report as of a moment: from what, and with which rates. content: a database of SQLite, compressed."""

    as_of = models.DateTimeField(unique=True)
    inputs = models.CharField(max_length=64, help_text="Digest of how much was recorded by then, and of the types.")
    rates = models.JSONField()
    flag_at = models.FloatField(help_text="The least probability that is flagged.")
    made_at = models.DateTimeField()
    content = models.BinaryField()
    digest = models.CharField(max_length=64, default="", db_default="", help_text="SHA-256 of the content.")
    mac = models.CharField(max_length=64, default="", db_default="", help_text="See services/marks.py.")

    def __str__(self) -> str:
        return f"drift as of {self.as_of:%Y-%m-%d}"


class KeptSelfCheck(models.Model):
    """What the drift report may be expected to find on fleets like this one; figures: see drift.SelfCheck."""

    made_at = models.DateTimeField()
    rates = models.ForeignKey(LearnedRates, on_delete=models.PROTECT, related_name="+")
    seed = models.PositiveBigIntegerField(help_text="Of the fleets that were drawn: they can be drawn again.")
    figures = models.JSONField()
    mac = models.CharField(max_length=64, default="", help_text="See services/marks.py.")

    class Meta:
        ordering = ("-made_at", "-id")

    def __str__(self) -> str:
        return f"self-check of {self.made_at:%Y-%m-%d}"


class KeptMonthlyReport(models.Model):
    """The figures of a monthly report over a period and sites as the worker had them. place: of the feed, by then."""

    scope = models.CharField(max_length=64, unique=True, help_text="SHA-256 of the period and the sites.")
    place = models.PositiveBigIntegerField()
    made_at = models.DateTimeField()
    figures = models.JSONField()
    mac = models.CharField(max_length=64, default="", db_default="", help_text="See services/marks.py.")

    def __str__(self) -> str:
        return f"monthly report {self.scope[:8]}, made on {self.made_at:%Y-%m-%d}"


class AssessedInterval(models.Model):
    """What is believed of one pair of neighbouring counts; see drift.IntervalPosterior."""

    assessment = models.ForeignKey(Assessment, on_delete=models.CASCADE, related_name="intervals")
    from_at = models.DateTimeField()
    to_at = models.DateTimeField()
    observed_change_m = models.FloatField()
    logged_cut_m = models.FloatField()
    p_unlogged_cut = models.FloatField()
    p_when_counted = models.FloatField()
    cut_m = models.FloatField()
    cut_low_m = models.FloatField()
    cut_high_m = models.FloatField()
    explanation = models.TextField()
    explanation_ft = models.TextField(help_text="The same with lengths in feet.")

    class Meta:
        indexes = [models.Index(fields=("-p_unlogged_cut", "-id"), name="interval_in_order")]

    def __str__(self) -> str:
        return f"{self.from_at:%Y-%m-%d} to {self.to_at:%Y-%m-%d}: {self.p_unlogged_cut:.2f}"


# E-mail notices: what somebody wants to be told, and what they were told. No record ----------------------------------


class NoticeAddress(Kept):
    """Where somebody wants their notices sent: theirs to change. The register tells a digest of it and of the choices.

    digest: see queries/notices.py; salt: so that nobody finds the address by trying.
    """

    person = models.OneToOneField(Person, on_delete=models.CASCADE, related_name="notice_address")
    address = models.EmailField(blank=True)
    changed_at = models.DateTimeField()
    salt = models.CharField(max_length=32, default="", db_default="", editable=False)
    digest = models.CharField(max_length=64, default="", db_default="", editable=False)
    hidden_columns = frozenset({"address", "salt"})

    def __str__(self) -> str:
        return f"address of {self.person.username}"


class NoticeChoice(models.Model):
    """That somebody wants to be told of one kind of cause at a site (null: at every one that they may see)."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="notice_choices")
    kind = models.CharField(max_length=13, choices=choices(NoticeKind))
    site = models.ForeignKey(Site, on_delete=models.CASCADE, null=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(name="notice_choice_once", fields=("person", "kind", "site")),
            # Null is never equal to null in SQL, so the constraint above lets two through.
            models.UniqueConstraint(
                name="notice_choice_once_for_all", fields=("person", "kind"), condition=Q(site__isnull=True)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person.username}: {self.kind} at {self.site or 'every site'}"


class Notice(models.Model):
    """One mail to one person about one cause: the constraint is what keeps it from being a second one."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="notices")
    kind = models.CharField(max_length=13, choices=choices(NoticeKind))
    cause = models.PositiveBigIntegerField(help_text="The id of what it is about.")
    state = models.CharField(max_length=7, choices=choices(NoticeState), default=NoticeState.WAITING.value)
    found_at = models.DateTimeField()
    tries = models.PositiveIntegerField(default=0)
    tried_at = models.DateTimeField(null=True)
    sent_at = models.DateTimeField(null=True)
    last_error = models.TextField(blank=True)

    class Meta:
        ordering = ("id",)
        constraints = [models.UniqueConstraint(name="notice_once", fields=("person", "kind", "cause"))]
        indexes = [
            models.Index(name="notice_unsent", fields=("state",), condition=~Q(state="sent")),
            models.Index(name="notice_found", fields=("person", "found_at")),
        ]

    def __str__(self) -> str:
        return f"notice {self.pk} to {self.person.username}: {self.kind} {self.cause}, {self.state}"
