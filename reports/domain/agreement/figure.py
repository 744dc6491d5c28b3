"""The difference plot: how far two readings lie apart, by their mean; with bias and limits of agreement."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import sqrt

from reels.domain.drawing import Bar, Disc, Look, Picture, Shape, Trace, Words
from reports.domain.agreement.estimates import Differences, Estimate
from reports.domain.agreement.words import signed

WIDTH, HEIGHT = 720.0, 360.0
LEFT, RIGHT, TOP, FOOT = 46.0, 120.0, 18.0, 64.0
STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500)  # between marks, wraps
MOST_MARKS = 9
LABEL = 13.0  # least distance of two labels
SMALLEST, LARGEST = 3.0, 11.0  # radius of a disc, of one pair and of many


def difference_figure(
    pairs: Sequence[tuple[int, int]], differences: Differences, description: str, *, width: float = WIDTH,
    height: float = HEIGHT,
) -> Picture:  # fmt: skip
    """The plot as a drawing, width and height in points.

    pairs: two or more, first and second reading in wraps; differences: theirs; description: what there is to see, in a
    sentence.
    """
    bias, lower, upper = differences.bias, differences.lower, differences.upper
    assert bias, "a bias needs two pairs"
    assert lower, "limits need two pairs"
    assert upper, "limits need two pairs"
    points = Counter(((first + second) / 2, float(first - second)) for first, second in pairs)
    frame = _PlotFrame.around(points, lower, upper, width, height)
    lines = ((upper, "upper limit", True), (bias, "bias", False), (lower, "lower limit", True))
    return Picture(
        width=width,
        height=height,
        title="Differences by the mean of the two readings",
        description=description,
        shapes=(
            *(frame.band(each) for each, _, _ in lines), *frame.scales(),
            *(frame.line(each, dashed=dashed) for each, _, dashed in lines),
            *_discs(frame, points), *_labels(frame, lines), *_key(max(points.values())),
        ),
        text_size=11 * min(1.0, width / WIDTH + 0.1),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _PlotFrame:
    """Where means and differences lie on the paper. Both scales begin and end on a mark."""

    left: float
    right: float
    low: float
    high: float
    width: float
    height: float

    @classmethod
    def around(
        cls, points: Counter[tuple[float, float]], lower: Estimate, upper: Estimate, width: float, height: float
    ) -> "_PlotFrame":
        means = [mean for mean, _ in points]
        differences = [difference for _, difference in points]
        left, right = _ends(min(means), max(means))
        low, high = _ends(min(*differences, lower.low, -1.0), max(*differences, upper.high, 1.0))
        return cls(left, right, low, high, width, height)

    def x(self, mean: float) -> float:
        return LEFT + 14 + (mean - self.left) / (self.right - self.left) * (self.width - LEFT - RIGHT - 28)

    def y(self, difference: float) -> float:
        return FOOT + (difference - self.low) / (self.high - self.low) * (self.height - FOOT - TOP)

    def band(self, estimate: Estimate) -> Shape:
        """A confidence interval."""
        y = self.y(estimate.low)
        return Bar(LEFT, y, self.width - LEFT - RIGHT, self.y(estimate.high) - y, Look.WRAP)

    def line(self, estimate: Estimate, *, dashed: bool) -> Shape:
        y = self.y(estimate.value)
        return Trace(((LEFT, y), (self.width - RIGHT, y)), Look.SCALE_LINE, dashed=dashed)

    def scales(self) -> Iterator[Shape]:
        for value in _marks(self.low, self.high):
            yield Trace(((LEFT - 4, self.y(value)), (self.width - RIGHT, self.y(value))), Look.GRID)
            yield Words(LEFT - 8, self.y(value) - 4, f"{value:+g}".replace("-", "−") if value else "0", "end")
        for value in _marks(self.left, self.right):
            yield Words(self.x(value), FOOT - 16, f"{value:g}")
        yield Words((LEFT + self.width - RIGHT) / 2, FOOT - 32, "mean of the two readings, wraps")


def _ends(low: float, high: float) -> tuple[float, float]:
    step = _step(low, high)
    return low // step * step, max(-(-high // step) * step, low // step * step + step)


def _step(low: float, high: float) -> float:
    return next((step for step in STEPS if (high - low) / step <= MOST_MARKS), STEPS[-1])


def _marks(low: float, high: float) -> Iterator[float]:
    step = _step(low, high)
    for place in range(round((high - low) / step) + 1):
        yield low + place * step


def _radius(pairs: int) -> float:
    """The area goes with the number of pairs, up to a largest disc."""
    return min(SMALLEST * sqrt(pairs), LARGEST)


def _discs(frame: _PlotFrame, points: Counter[tuple[float, float]]) -> Iterator[Shape]:
    for (mean, difference), pairs in sorted(points.items()):
        yield Disc(frame.x(mean), frame.y(difference), _radius(pairs), Look.PART_WRAP)


def _labels(frame: _PlotFrame, lines: Sequence[tuple[Estimate, str, bool]]) -> Iterator[Shape]:
    """Names and values at the right, from the top down, moved apart where lines lie close."""
    last = frame.height
    for estimate, name, _ in lines:
        y = min(frame.y(estimate.value) - 4, last - LABEL)
        yield Words(frame.width - RIGHT + 6, y, f"{name} {signed(estimate.value)}", "start")
        last = y


def _key(most: int) -> Iterator[Shape]:
    """What the shapes mean, at the foot."""
    y = 8.0
    yield Disc(LEFT + 4, y + 4, _radius(1), Look.PART_WRAP)
    yield Words(LEFT + 14, y, "1 pair", "start")
    at = LEFT + 62
    if most > 1:
        yield Disc(at + 12, y + 4, _radius(most), Look.PART_WRAP)
        yield Words(at + 28, y, f"up to {most} pairs", "start")
        at += 120
    yield Bar(at, y - 2, 24, 12, Look.WRAP)
    yield Words(at + 30, y, "95 % interval", "start")
