"""The figures of a monthly report as they are kept, in JSON, and back again."""

from collections.abc import Mapping
from dataclasses import asdict
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from inspections.domain.drift.records import Ending
from inspections.domain.words import ReelStatus
from reports.domain.monthly import (
    CableLost,
    CountsMade,
    FindingsOfKind,
    FlagsEnded,
    Held,
    InferredLoss,
    MonthlyFigures,
    StandingAt,
    ValuesMoved,
)


def plain_of(figures: MonthlyFigures) -> dict[str, Any]:
    """As JSON: times in RFC 3339, decimals as text."""
    plain: dict[str, Any] = _plain(asdict(figures))
    return plain


def figures_from(kept: Mapping[str, Any]) -> MonthlyFigures:
    """What `plain_of` was given."""
    flags, lost = kept["flags"], kept["lost"]
    inferred = None if lost["inferred"] is None else tuple(InferredLoss(**_moments(each)) for each in lost["inferred"])
    return MonthlyFigures(
        at_end=_standing(kept["at_end"]),
        now=_standing(kept["now"]),
        counts=CountsMade(**kept["counts"]),
        values=ValuesMoved(**kept["values"]),
        findings=tuple(FindingsOfKind(**each) for each in kept["findings"]),
        flags=FlagsEnded(**{**flags, "closed": {Ending(name): n for name, n in flags["closed"].items()}}),
        lost=CableLost(**{**_moments(lost), "cut_m": Decimal(lost["cut_m"]), "inferred": inferred}),
        holds=tuple(Held(**_moments(each)) for each in kept["holds"]),
    )


def _standing(kept: Mapping[str, Any]) -> StandingAt:
    return StandingAt(**{**_moments(kept), "reels": {ReelStatus(name): n for name, n in kept["reels"].items()}})


_MOMENTS = ("at", "from_at", "to_at", "assessed_at", "since", "until")


def _moments(kept: Mapping[str, Any]) -> dict[str, Any]:
    """With times in place of their texts."""
    times = {name: datetime.fromisoformat(kept[name]) for name in _MOMENTS if kept.get(name) is not None}
    return {**kept, **times}


def _plain(value: Any) -> Any:
    match value:
        case dict():
            return {str(key): _plain(item) for key, item in value.items()}
        case list() | tuple():
            return [_plain(item) for item in value]
        case datetime():
            return value.astimezone(UTC).isoformat()
        case Decimal():
            return f"{value}"
    return value
