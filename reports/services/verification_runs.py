"""When all records were checked last, and how it came out: for people to see, and no evidence by itself."""

from datetime import datetime

from reels.domain.ledger import Break
from reels.models import HistoryEntry
from reports.models import VerificationRun
from reports.services.verification import VerificationResult


def keep(checked: VerificationResult, broken: Break | None, *, at: datetime) -> VerificationRun:
    """Keep how a check of all records came out."""
    return VerificationRun.objects.create(
        at=at, chains=checked.chains, entries=checked.entries, signatures=checked.signatures,
        first_break=str(broken) if broken else "",
    )  # fmt: skip


def last() -> VerificationRun | None:
    """The newest check. One query."""
    return VerificationRun.objects.order_by("at", "id").last()


def entries_now() -> int:
    """How many entries all histories have. One query."""
    return HistoryEntry.objects.count()
