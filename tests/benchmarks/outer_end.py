"""What becomes of a count whose outer end is not on the scale line: `python -m tests.benchmarks.outer_end`.

The crossover rule takes the outer end to lie on the scale line. Here the second model of a drum is wound with its end
past the line, or short of it, and read; a whole degree of the crossover is printed where the rule then gives another
number than the whole turns on the drum less the lead, the nearest whole, a half up. An end that stops short of the line
is not seen there: once it is left out of the wraps, by hand and by gauge alike, and once counted among them.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import groupby

from inspections.domain.counting import work_out
from tests.inspections.domain.counted_reels import as_seen, parameters_of
from tests.inspections.domain.drum_model import CLOCKWISE, COUNTER_CLOCKWISE, ModelDrum

SENSES = (CLOCKWISE, COUNTER_CLOCKWISE)
ENDS_DEG = (0, 5, 15, 45, 90)
LAYER = 2


def wraps_off(sense: str, crossover_deg: int, further: int, counts_end: bool, wraps: int = 12) -> int:
    """Wraps by which the rule's number is too high; below 0, too low.

    further: degrees along the cable from the scale line to the outer end; below 0, the end stops short of the line.
    counts_end: an end that stops short is counted among the wraps.
    """
    drum = ModelDrum("left", 28, 27, crossover_deg, sense)
    laid = drum.wound_to_line(LAYER, wraps, further)
    reading = as_seen(drum, laid)
    if counts_end and further < 0:
        counted = drum.wraps_on_line(laid) + 1
        reading = replace(reading, hand_wraps=counted, gauge_wraps=counted)
    working, truth = work_out(parameters_of(drum), reading), drum.setup_values(laid, lead=1)
    assert working.wraps is not None, working.problems
    assert truth is not None
    assert truth[0] == working.layers  # the counts here stay within their layer
    return working.wraps - truth[1]


def ranges(degrees: Iterable[int]) -> Iterator[tuple[int, int]]:
    """First and last of each run of neighbours."""
    for _, run in groupby(enumerate(degrees), lambda place: place[1] - place[0]):
        neighbours = [deg for _, deg in run]
        yield neighbours[0], neighbours[-1]


def worked_otherwise(sense: str, further: int, counts_end: bool) -> str:
    """The angles at which the rule is off, with how far."""
    off = {deg: wraps_off(sense, deg, further, counts_end) for deg in range(1, 360)}
    parts = []
    for amount in sorted(set(off.values()) - {0}):
        angles = ", ".join(f"{a}–{b}°" for a, b in ranges(deg for deg in off if off[deg] == amount))
        parts.append(f"{angles}: {abs(amount)} too {'many' if amount > 0 else 'few'}")
    return "; ".join(parts) or "none"


def rows() -> Iterator[tuple[str, ...]]:
    """The end, whether it is counted, and the angles for either sense."""
    for away in ENDS_DEG:
        place = f"{away}° past the line" if away else "on the line"
        yield place, "yes", *(worked_otherwise(sense, away, counts_end=True) for sense in SENSES)
    for away in ENDS_DEG[1:]:
        for counts_end in (True, False):
            angles = (worked_otherwise(sense, -away, counts_end) for sense in SENSES)
            yield f"{away}° short of it", "yes" if counts_end else "no", *angles


def main() -> None:
    """Print the table."""
    print("| outer end | counted | crossover worked out otherwise, wound clockwise | wound counter-clockwise |")
    print("|---|---|---|---|")
    for row in rows():
        print(f"| {' | '.join(row)} |")


if __name__ == "__main__":
    main()
