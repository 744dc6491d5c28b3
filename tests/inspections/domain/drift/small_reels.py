"""Small reels for the drift tests: one drum, counts a month apart."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from inspections.domain.drift import CountSeen, CutLogged, ReelHistory
from reels.domain.winding import Drum

DRUM = Drum(core_diameter_mm=400, cable_diameter_mm=10, wraps_odd_layer=28, wraps_even_layer=27, max_layers=20)
START = datetime(2024, 1, 1, 6, tzinfo=UTC)


def day(n: float) -> datetime:
    return START + timedelta(days=n)


def counted(counts: Sequence[tuple[int, int]], **more: object) -> ReelHistory:
    """A reel counted every thirty days; layers and wraps of each count."""
    seen = tuple(CountSeen(at=day(30 * i), layers=a, wraps=b) for i, (a, b) in enumerate(counts))
    return ReelHistory(reel="A-1", drum=DRUM, counts=seen, **more)  # type: ignore[arg-type]  # named as in ReelHistory


def cut(on: float, length_m: float, recorded: float | None = None) -> CutLogged:
    return CutLogged(at=day(on), length_m=length_m, recorded_at=None if recorded is None else day(recorded))


STEADY = [(12, 10), (12, 10), (12, 11), (12, 10), (12, 10), (12, 10)]
LOWER = [(12, 4), (12, 4), (12, 3), (12, 4), (12, 4)]  # six wraps, 11.6 m, below STEADY
