"""What the drift report says of one reel, with the evidence: counts as lengths, the inferred course, cuts, slips."""

from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

import numpy as np

from inspections.domain import drift
from inspections.domain.drift import CountPosterior, CutLogged, Recount
from inspections.domain.drift.geometry import ordered_counts, turns_of_counts, winding_table
from inspections.models import DriftFlag
from inspections.queries import histories
from reels.domain.winding import UncertainLength
from reels.models import Reel
from reels.queries import length_counted
from reports.domain.drift_rows import DriftRow, rows_of
from reports.models import Assessment
from reports.services.assessments import type_digest
from reports.services.drift_report import rows_of_reel, standards


@dataclass(frozen=True, slots=True, kw_only=True)
class CountEvidence:
    """A count with its length by the winding model, and the lengths that are inferred for its moment; metres.

    length: None for a count that the type as it is now can't hold; counted_m takes it for a full drum. inferred_m: the
    middle of what is believed of this moment. course_m: on the single most probable course.
    """

    posterior: CountPosterior
    length: UncertainLength | None
    counted_m: float
    inferred_m: float
    course_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """In order of time. flags: those that somebody looks into or has closed.

    looseness_wraps: spread of the reel's counts on a half-full drum; None without a count. recount: what one more count
    would tell.
    """

    looseness_wraps: float | None
    counts: list[CountEvidence]
    cuts: tuple[CutLogged, ...]
    replaced_at: tuple[datetime, ...]
    rows: list[DriftRow]
    flag_at: float
    flags: list[DriftFlag]
    recount: Recount

    @property
    def recount_worth_bits(self) -> float:
        """How much one more count now would tell about an unlogged cut before the newest one, in bits."""
        return self.recount.worth_bits


def evidence_of(reel: Reel, as_of: datetime | None = None) -> Evidence:
    """Worked out afresh from the reel's records and the fleet's rates. Seven queries, whatever the reel's history.

    as_of: from what was recorded by then, and by the fleet's rates and flags of then.
    """
    judged_by = standards(as_of)
    [history] = histories.histories_of([reel], as_of)
    theta = judged_by.theta
    assessed, course = drift.assess(history, theta), drift.most_probable_course(history, theta)
    winding = winding_table(history.drum)
    turns = (turns_of_counts(ordered_counts(history), winding), [each.turns for each in assessed.counts], course)
    metres = [winding.metres(np.array(each, dtype=np.float64)).tolist() for each in turns]
    return Evidence(
        looseness_wraps=assessed.looseness_wraps if assessed.counts else None,
        counts=[
            CountEvidence(
                posterior=each,
                length=length_counted(each.layers, each.wraps, reel.type),
                counted_m=counted_m,
                inferred_m=inferred_m,
                course_m=course_m,
            )
            for each, counted_m, inferred_m, course_m in zip(assessed.counts, *metres, strict=True)
        ],
        cuts=tuple(sorted(history.cuts, key=lambda cut: cut.at)),
        replaced_at=tuple(sorted(history.replaced_at)),
        rows=list(rows_of(assessed)),
        flag_at=judged_by.flag_at,
        flags=_flags(reel, as_of),
        recount=drift.recount(history, theta),
    )


def _flags(reel: Reel, as_of: datetime | None) -> list[DriftFlag]:
    people = ("reel", "assigned_to", "raised_by", "looked_into_by", "closed_by")
    rows = DriftFlag.objects.filter(reel=reel).select_related(*people).order_by("id")
    return list(rows.filter(raised_at__lte=as_of) if as_of else rows)


def drift_of(reel: Reel, *, at: datetime) -> dict[str, Any]:
    """A reel's intervals as they were worked out last, with its counts and flags. As many queries for any history.

    Before the fleet's rates are learned they are worked out now, by the general ones.
    """
    assessment = Assessment.objects.select_related("rates").filter(reel=reel).first()
    newest, evidence = histories.learned_rates(), evidence_of(reel)
    as_now = (reel.chain.head, type_digest(reel.type), newest)
    made_from = (assessment.head, assessment.type_digest, assessment.rates) if assessment else as_now
    return {
        "reel": reel.serial,
        "assessed_at": assessment.made_at if assessment else at,
        "head": made_from[0],
        "is_behind": made_from != as_now,
        "rates": {
            "learned_at": made_from[2].learned_at if made_from[2] else None,
            "in_words": drift.in_words(histories.parameters_of(made_from[2])),
        },
        "results": [
            {**asdict(row), "flagged": "yes" if row.p_unlogged_cut >= evidence.flag_at else "no"}
            for row in (rows_of_reel(reel) if assessment else evidence.rows)
        ],
        **{name: getattr(evidence, name) for name in ("looseness_wraps", "recount_worth_bits", "counts", "flags")},
    }
