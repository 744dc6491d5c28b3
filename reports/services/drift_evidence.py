"""What the drift report says of one reel, with the evidence: counts as lengths, the inferred course, cuts, slips."""

from dataclasses import dataclass
from datetime import datetime

from inspections.domain import drift
from inspections.domain.drift import CountBelief, CutLogged
from inspections.models import DriftFlag
from inspections.queries import histories
from reels.domain.winding import length_m, length_of_turns_m
from reels.models import Reel
from reports.domain.drift_rows import DriftRow, rows_of
from reports.services.drift_report import flag_at


@dataclass(frozen=True, slots=True, kw_only=True)
class CountEvidence:
    """A count with its length by the winding model, and the length that is inferred for its moment; metres."""

    belief: CountBelief
    counted_m: float
    inferred_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """In order of time. flags: those that somebody looks into or has closed."""

    counts: list[CountEvidence]
    cuts: tuple[CutLogged, ...]
    replaced_at: tuple[datetime, ...]
    rows: list[DriftRow]
    flag_at: float
    flags: list[DriftFlag]


def evidence_of(reel: Reel) -> Evidence:
    """Worked out afresh from the reel's records and the fleet's rates. Seven queries, whatever the reel's history."""
    [history] = histories.histories_of([reel])
    found = drift.assess(history, histories.rates_of(histories.learned_rates()))
    people = ("reel", "assigned_to", "raised_by", "looked_into_by", "closed_by")
    return Evidence(
        counts=[
            CountEvidence(
                belief=each,
                counted_m=float(length_m(each.layers, each.wraps, history.drum)),
                inferred_m=float(length_of_turns_m(each.turns, history.drum)),
            )
            for each in found.counts
        ],
        cuts=tuple(sorted(history.cuts, key=lambda cut: cut.at)),
        replaced_at=tuple(sorted(history.replaced_at)),
        rows=list(rows_of(found)),
        flag_at=flag_at(),
        flags=list(DriftFlag.objects.filter(reel=reel).select_related(*people).order_by("-id")),
    )
