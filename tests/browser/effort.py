"""What a count costs two people in taps, keys and time, beside a paper one: `python -m tests.browser.effort`.

Works twenty whole counts through the pages in Chromium, each of the two on their own phone, from the reel's page to
both signatures and the gauge's return. Prints what they touched at each step of the first, and what each of the twenty
cost. Both tables are in deploy/handbook/effort.md.
"""

import os
import re
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from statistics import mean
from typing import Any

import pytest
from playwright.sync_api import Page

from reels.domain.cautions import CAUTIONS
from reports.pdf.sheets.worksheet import READING_STEPS, WORKSHEET_HEAD
from tests.browser.drawn_counts import SimulatedCount
from tests.browser.keystroke_level import (
    TECHNICIAN,
    VERIFIER,
    Handled,
    PaperEntry,
    Span,
    beside,
    slow_beside_quick,
    time_on_pages,
    time_on_paper,
)

PRINTED_TO = "WRAPLEDGER_EFFORT"
ROOT = Path(__file__).parents[2]
GOES_BACK = "The wrap gauge goes back"
# What is never merged with anything else, nor filled in beforehand: each is there so that somebody looks.
FOR_SAFETY = frozenset({"cautions_confirmed", "turned_as_installed", "serial", "wrap_gauge", "end_marks_match"})
# Keys that only change another key are none. A choice from a list is two taps, which a script does not make: it is
# opened, and the choice tapped.
WATCH = """() => {
  const tell = (kind, target) => {
    const control = target.closest("label")?.control ?? target.closest("a, button, input, select, summary, textarea");
    const title = document.querySelector("h1")?.firstChild?.textContent.trim() ?? "";
    const meaning = control?.form?.elements.meaning?.value;
    window.handled({
      kind, step: meaning ? `${title}, “${meaning}”` : title, isLink: control?.tagName === "A",
      isButton: control?.tagName === "BUTTON", field: control?.name || control?.textContent.trim() || "",
    });
  };
  addEventListener("pointerdown", (event) => tell("tap", event.target), true);
  addEventListener("keydown", (event) => {
    if (event.key.length === 1 || event.key === "Enter" || event.key === "Backspace") tell("key", event.target);
  }, true);
  addEventListener("change", (event) => {
    if (event.target.tagName === "SELECT") ["tap", "tap"].forEach((kind) => tell(kind, event.target));
  }, true);
}"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Touch:
    """One tap or key. field: the name of what was touched; of a button or link, its words."""

    person: str
    kind: str
    step: str
    field: str
    is_link: bool
    is_button: bool

    @property
    def is_for_safety(self) -> bool:
        return self.field in FOR_SAFETY


class EffortCounter:
    """Sees what two people touch on their pages, in order."""

    def __init__(self) -> None:
        self._seen: list[Touch] = []
        self._once_more = ""

    @contextmanager
    def once_more(self) -> Iterator[None]:
        """What is touched meanwhile is another step: what was keyed already is keyed again."""
        self._once_more = ", again"
        yield
        self._once_more = ""

    def watch(self, person: str, page: Page) -> None:
        def handled(told: Mapping[str, Any]) -> None:
            self.see(
                Touch(person=person, kind=told["kind"], step=told["step"] + self._once_more, field=told["field"],
                      is_link=told["isLink"], is_button=told["isButton"])
            )  # fmt: skip

        page.expose_function("handled", handled)
        page.add_init_script(f"({WATCH})()")

    def see(self, touch: Touch) -> None:
        self._seen.append(touch)

    @property
    def touches(self) -> list[tuple[str, Touch]]:
        """What was touched, each with its step: a link's is the page that it leads to."""
        steps: dict[str, str] = {}
        placed = []
        for each in reversed(self._seen):
            step = steps.get(each.person, each.step) if each.is_link else each.step
            steps[each.person] = step
            placed.append((step, each))
        return placed[::-1]

    def handled(self) -> list[Handled]:
        """By step and person, in the order in which the steps were first touched."""
        by_place: dict[tuple[str, str], list[Touch]] = {}
        for step, each in self.touches:
            by_place.setdefault((step, each.person), []).append(each)
        order = {step: number for number, step in enumerate(dict.fromkeys(step for step, _ in by_place))}
        return [
            Handled(step=step, person=person, fields=len({each.field for each in some if not each.is_button}),
                    taps=_number(some, "tap"), keys=_number(some, "key"), waits=step != GOES_BACK)
            for (step, person), some in sorted(by_place.items(), key=lambda item: order[item[0][0]])
        ]  # fmt: skip


def _number(touches: Iterable[Touch], kind: str) -> int:
    return sum(each.kind == kind for each in touches)


# Paper --------------------------------------------------------------------------------------------------------------
# What is written on each line of the form, in characters; a choice is one letter, which is in paper's favour. The
# verifier's sheet needs only the reel, what they read, and their name.

PAPER: dict[str, PaperEntry] = {
    "Reel": PaperEntry(technician=7, verifier=7),
    "Site": PaperEntry(technician=12, verifier=0),
    "Machine": PaperEntry(technician=4, verifier=0),
    "Wrap gauge": PaperEntry(technician=7, verifier=0),
    "Work order": PaperEntry(technician=4, verifier=0),
    "Publication, rev.": PaperEntry(technician=10, verifier=0),
    "Technician/verifier": PaperEntry(technician=1, verifier=1),
    "Date, time": PaperEntry(technician=14, verifier=14),
    **{caution: PaperEntry(technician=1, verifier=0) for caution in CAUTIONS},
    "Anchor side and forward mark found": PaperEntry(technician=1, verifier=0),
    "Each part of the reel looked at": PaperEntry(technician=1, verifier=0),
    "Serial of the gauge read, end marks matched": PaperEntry(technician=1, verifier=0),
    "Serial, from the data plate": PaperEntry(technician=7, verifier=7),
    "Open side": PaperEntry(technician=1, verifier=1),
    "Flange scale, left": PaperEntry(technician=2, verifier=2),
    "Flange scale, right": PaperEntry(technician=2, verifier=2),
    "Unwind direction (technician)": PaperEntry(technician=1, verifier=0),
    "Hand count at the scale line": PaperEntry(technician=2, verifier=2),
    "Wrap gauge: face": PaperEntry(technician=1, verifier=1),
    "Wrap gauge: reading": PaperEntry(technician=2, verifier=2),
    "Crossover": PaperEntry(technician=1, verifier=1),
    # Each works it out: the lower scale, whether open side and face go with its parity, hand and gauge equal, less one
    # for the crossover, less the lead.
    "Full layers": PaperEntry(technician=2, verifier=2),
    "Parity": PaperEntry(technician=1, verifier=1, steps=1),
    "Part-layer wraps": PaperEntry(technician=2, verifier=2),
    "Less the crossover": PaperEntry(technician=2, verifier=2),
    "Less the lead": PaperEntry(technician=2, verifier=2),
    "Setup values": PaperEntry(technician=4, verifier=4),
    "Name": PaperEntry(technician=11, verifier=11),
    "Staff number": PaperEntry(technician=6, verifier=6),
    "Signature": PaperEntry(technician=11, verifier=11),
    "Signed: date, time": PaperEntry(technician=14, verifier=14),
    "Serial of the gauge, back at its machine": PaperEntry(technician=7, verifier=0),
}
ON_THE_FORM = (*WORKSHEET_HEAD, *CAUTIONS, *READING_STEPS)


# The table ----------------------------------------------------------------------------------------------------------


def polled() -> Span:
    """How long a page that waits takes to see that it may go on, as its script has it."""
    script = (ROOT / "reels/static/reels/live.js").read_text("utf-8")
    [milliseconds] = re.findall(r"^const COUNT_MS = (\d+);", script, re.MULTILINE)
    return Span(0, int(milliseconds) / 1000)


def effort_lines(counter: EffortCounter) -> Iterator[str]:
    """A line a step and person, the totals, and the time beside paper."""
    safe = Counter((step, each.person, each.kind) for step, each in counter.touches if each.is_for_safety)
    yield f"{'step':<29}{'who':<12}{'taps':>5}{'keys':>5}   of them for safety"
    rows = counter.handled()
    for each in rows:
        taps, keys = (safe[each.step, each.person, kind] for kind in ("tap", "key"))
        apart = f"   {taps} taps, {keys} keys" if taps or keys else ""
        yield f"{each.step:<29}{each.person:<12}{each.taps:>5}{each.keys:>5}{apart}"
    yield ""
    for person in (TECHNICIAN, VERIFIER):
        yield _total(person, [each for each in rows if each.person == person], counter)
    yield ""
    yield from _beside_paper(rows)


def _total(person: str, rows: Sequence[Handled], counter: EffortCounter) -> str:
    safe = [each for _, each in counter.touches if each.is_for_safety and each.person == person]
    taps, keys = sum(each.taps for each in rows), sum(each.keys for each in rows)
    return (
        f"{person}: {taps} taps, {keys} keys; of them for safety {_number(safe, 'tap')} taps, {_number(safe, 'key')} "
        f"keys; all others {taps - _number(safe, 'tap')} taps, {keys - _number(safe, 'key')} keys"
    )


def _beside_paper(rows: Sequence[Handled]) -> Iterator[str]:
    pages, paper = time_on_pages(rows, polled()), time_on_paper(PAPER.values(), compared=len(READING_STEPS))
    yield f"on the pages: {pages}, waits at hold points included (a page that waits looks every {polled().high:g} s)"
    yield f"on paper: {paper}, for {len(PAPER)} lines on each sheet, the comparison and the calculation included"
    yield f"{beside(pages, paper)} {slow_beside_quick(pages, paper)}"


# Many counts --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class CountedEffort:
    """What a count cost. script_s: how long the script took over it, waits for the pages included."""

    count: SimulatedCount
    counter: EffortCounter
    script_s: float

    @cached_property
    def rows(self) -> list[Handled]:
        return self.counter.handled()

    def number(self, kind: str, person: str) -> int:
        return sum(getattr(each, kind) for each in self.rows if each.person == person)

    @cached_property
    def figures(self) -> tuple[float, ...]:
        """Taps and keys of the technician, and of the verifier; seconds at the least and at the most; the script's."""
        touched = [self.number(kind, person) for person in (TECHNICIAN, VERIFIER) for kind in ("taps", "keys")]
        time = time_on_pages(self.rows, polled())
        return (*touched, time.low, time.high, self.script_s)

    def __str__(self) -> str:
        count, more = self.count, []
        if "work_order" in {each.field for _, each in self.counter.touches}:
            more.append("new work order")
        if count.differs_at:
            more.append(f"{count.differs_at.replace('_', ' ')} again")
        if count.has_finding:
            more.append("a finding")
        return f"{count.serial:<9}" + "; ".join([f"{count.layer:>2}, {count.wraps:>2}, {count.half}", *more])


SUMS: dict[str, Callable[[Iterable[float]], float]] = {"mean": mean, "least": min, "most": max}


def table_lines(efforts: Sequence[CountedEffort]) -> Iterator[str]:
    """A line a count, and the mean, the least and the most of each column."""
    yield f"{'':<60}{'technician':>12}{'verifier':>12}{'by the model, s':>16}{'the script':>12}"
    touched = f"{'taps':>6}{'keys':>6}"
    yield f"{'count':<9}{'layer, wraps, crossover; what else':<51}{touched * 2}{'least':>8}{'most':>8}{'s':>12}"
    for each in efforts:
        yield f"{each!s:<60}{_columns(each.figures, '.0f')}"
    yield ""
    columns = list(zip(*(each.figures for each in efforts), strict=True))
    for name, of in SUMS.items():
        yield f"{name:<60}{_columns([of(column) for column in columns], '.1f')}"


def _columns(figures: Sequence[float], form: str) -> str:
    widths = (6, 6, 6, 6, 8, 8, 12)
    return "".join(f"{figure:{width}{form}}" for figure, width in zip(figures, widths, strict=True))


def main() -> int:
    with tempfile.TemporaryDirectory() as folder:
        printed = Path(folder) / "effort"
        os.environ[PRINTED_TO] = str(printed)
        ended = pytest.main([str(Path(__file__).with_name("take_effort.py")), "-q", "--no-header"])
        if ended == pytest.ExitCode.OK:
            sys.stdout.write(printed.read_text("utf-8"))
        return ended


if __name__ == "__main__":
    sys.exit(main())
