"""The layer rise of a reel type, fitted to its reels whose cable length is known. An offer: nothing changes."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from django.db.models import QuerySet

from inspections.domain import drift
from inspections.domain.drift import DriftParameters, ReelHistory
from inspections.domain.drift.geometry import winding_table
from inspections.domain.drift.looseness import spread_factor
from inspections.domain.drift.parameters import usual_looseness_wraps
from inspections.queries import histories
from reels.domain import calibration, winding
from reels.domain.calibration import RiseFit
from reels.domain.winding import Drum, drum_from
from reels.errors import ImpossibleDrum, KnownLengthsTellNothing, OffTheDrum
from reels.models import CableEvent, Reel, ReelType
from reels.queries import STANDING

LENGTH_U_M = 0.5  # standard uncertainty of a length that a cable was delivered with, unless said otherwise
SLIP_LIKELY = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownReel:
    """A cable of known length, less what was logged as cut, and the first count of it; the lead's wraps are put back.

    length_now_m, length_offered_m: what the count stands for with the dimensions in use and with those offered.
    """

    reel: str
    counted_at: datetime
    layers: int
    wraps: int
    known_m: float
    length_now_m: float = 0.0
    length_offered_m: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RiseOffer:
    """fit: as calibration gives it. capacity_*: cable on a full drum. left_out: reels whose first count looks slipped.

    advice: sentences for whoever answers for the reel type.
    """

    reel_type: ReelType
    drum: Drum
    fit: RiseFit
    known: list[KnownReel]
    left_out: list[str]
    length_u_m: float
    capacity_now_m: float
    capacity_offered_m: float
    advice: tuple[str, ...]


def rise_offer(
    reel_type: ReelType, reels: QuerySet[Reel], *, length_u_m: float = LENGTH_U_M, fit_core: bool = False
) -> RiseOffer:
    """Fit the type's layer rise, and core diameter if wanted, to those of the reels whose cable length is known.

    length_u_m: standard uncertainty of each known length, metres, above 0.
    Raises what calibration.fit_layer_rise raises, KnownLengthsTellNothing too where only an impossible drum would fit.
    """
    drum, rates = drum_from(vars(reel_type)), histories.parameters_of(histories.learned_rates())
    known, left_out = _known(reels.filter(type=reel_type), drum, rates)
    layers, wraps, lengths_m = (np.array([getattr(k, name) for k in known], dtype=np.float64) for name in _MEASURED)
    loose_m = _looseness_m(layers, wraps, drum, rates)
    try:
        fit = calibration.fit_layer_rise(
            layers, wraps, lengths_m, np.hypot(length_u_m, loose_m), drum, fit_core=fit_core
        )
    except ImpossibleDrum as refused:
        raise KnownLengthsTellNothing(
            what="the layer rise", why=f"only an impossible drum would fit, {refused}"
        ) from refused
    offered = replace(drum, layer_rise_mm=fit.layer_rise_mm, core_diameter_mm=fit.core_diameter_mm)
    now_m, offered_m = winding.length_m(layers, wraps, drum), winding.length_m(layers, wraps, offered)
    return RiseOffer(
        reel_type=reel_type,
        drum=drum,
        fit=fit,
        known=[
            replace(each, length_now_m=float(a), length_offered_m=float(b))
            for each, a, b in zip(known, now_m, offered_m, strict=True)
        ],
        left_out=left_out,
        length_u_m=length_u_m,
        capacity_now_m=winding.capacity_m(drum),
        capacity_offered_m=winding.capacity_m(offered),
        advice=calibration.advice(fit, drum),
    )


_MEASURED = ("layers", "wraps", "known_m")


def _looseness_m(layers: np.ndarray, wraps: np.ndarray, drum: Drum, rates: DriftParameters) -> np.ndarray:
    """How much counts of these scatter because reels are wound more or less loosely, metres."""
    if not layers.size:
        return layers
    tables = winding_table(drum)
    turns = winding.turns_of(layers, wraps, drum)
    wrap_m = winding.wrap_lengths_mm(drum)[np.minimum(layers.astype(int), drum.max_layers - 1)] / winding.MM_PER_M
    return np.asarray(usual_looseness_wraps(rates) * spread_factor(turns, tables, rates.fullness_power) * wrap_m)


def _known(reels: QuerySet[Reel], drum: Drum, rates: DriftParameters) -> tuple[list[KnownReel], list[str]]:
    """The known reels in order of serial, and those left out. Six queries for every 200 reels."""
    known, left_out = [], []
    for some in histories.in_batches(reels):
        fitted = _lengths_fitted(some)
        for reel, history in zip(some, histories.histories_of(some), strict=True):
            slipped = {c.at for c in drift.assess(history, rates).counts if c.p_slip >= SLIP_LIKELY}
            for each in _of_reel(history, fitted.get(reel.pk, {}), drum):
                if each.counted_at in slipped:
                    left_out.append(reel.serial)
                else:
                    known.append(each)
    return known, left_out


def _lengths_fitted(reels: list[Reel]) -> dict[int, dict[datetime, float]]:
    """By reel: the lengths of the cables that were fitted later, by when."""
    rows = CableEvent.objects.filter(
        STANDING, reel__in=reels, kind=CableEvent.Kind.REPLACED, length_fitted_m__isnull=False
    )
    by_reel: dict[int, dict[datetime, float]] = {}
    for reel, at, length_m in rows.values_list("reel_id", "happened_at", "length_fitted_m"):
        by_reel.setdefault(reel, {})[at] = float(length_m)
    return by_reel


def _of_reel(history: ReelHistory, fitted: dict[datetime, float], drum: Drum) -> Iterator[KnownReel]:
    """The first count of each cable of known length."""
    starts = dict(fitted)
    if history.received_m is not None and history.received_at is not None:
        starts[history.received_at] = history.received_m
    for start, length_m in sorted(starts.items()):
        end = min((at for at in history.replaced_at if at > start), default=None)
        counts_of_cable = [c for c in history.counts if c.at >= start and (end is None or c.at < end)]
        if not counts_of_cable:
            continue
        first = min(counts_of_cable, key=lambda count: count.at)
        cut_m = sum(c.length_m for c in history.cuts if start <= c.at <= first.at)
        try:
            turns = winding.turns_of(first.layers, first.wraps, drum) + history.lead_wraps
            layers, wraps = winding.count_of_turns(turns, drum)
        except OffTheDrum:  # the type was changed since
            continue
        if length_m > cut_m:
            yield KnownReel(
                reel=history.reel, counted_at=first.at, layers=int(layers), wraps=int(wraps), known_m=length_m - cut_m
            )
