"""What the drift report may be expected to find on this fleet: measured on fleets like it, and kept with its date."""

from dataclasses import asdict
from datetime import datetime
from typing import Any

from django.db import transaction

from inspections.domain import drift
from inspections.domain.drift import SelfCheck
from inspections.domain.drift.self_check import Progress, unheard
from inspections.queries import histories
from reels.domain.words import LengthUnit
from reports.domain.drift_rows import CHECK_SEED, FALSE_SHARE
from reports.models import KeptSelfCheck
from reports.services import assessments
from reports.services.marks import is_as_marked, mark


def check_itself(*, at: datetime, seed: int = CHECK_SEED, progress: Progress = unheard) -> KeptSelfCheck:
    """Learn what there is to learn, draw fleets like this one, and keep what the report found on them.

    Time: some seven times what learning a fleet's rates takes, bounded by drift.self_check.
    """
    learned = assessments.bring_up_to_date(at=at, progress=progress)
    theta = histories.parameters_of(learned)
    checked = drift.self_check(
        assessments.learning_sample(), theta, false_share=FALSE_SHARE, seed=seed, progress=progress
    )
    with transaction.atomic():
        row = KeptSelfCheck.objects.create(made_at=at, rates=learned, seed=seed, figures=asdict(checked))
        mark(row)
    return row


def newest_self_check() -> KeptSelfCheck | None:
    """The one that was made last, if it is as it was kept. One query."""
    row = KeptSelfCheck.objects.first()
    return row if row and is_as_marked(row) else None


def figures_of(row: KeptSelfCheck) -> SelfCheck:
    """As drift.check_in_words takes them."""
    return SelfCheck(**row.figures)


def newest_in_words(unit: LengthUnit = LengthUnit.METRES) -> dict[str, Any] | None:
    """The newest one's day, and in words."""
    row = newest_self_check()
    return {"made_at": row.made_at, "in_words": drift.check_in_words(figures_of(row), unit)} if row else None
