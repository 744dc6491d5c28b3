"""How long two people take over the entries of a count, on the pages and on paper: a keystroke-level model. Pure.

Card, Moran and Newell, "The keystroke-level model for user performance time with interactive systems", Communications
of the ACM 23 (1980), 396-410: the time of a routine task, done without an error, is the sum of its operators. Only
what the two ways differ in is counted: looking at the reel, turning the drum and counting its wraps are the same.
"""

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

TECHNICIAN, VERIFIER = "technician", "verifier"
PEOPLE = (TECHNICIAN, VERIFIER)
CHARACTERS_A_WORD = 5  # by which words a minute are reckoned


@dataclass(frozen=True, slots=True)
class Span:
    """Seconds, as a range."""

    low: float
    high: float

    def __add__(self, other: "Span") -> "Span":
        return Span(self.low + other.low, self.high + other.high)

    def __rmul__(self, times: int) -> "Span":
        return Span(times * self.low, times * self.high)

    def __str__(self) -> str:
        return f"{self.low:.0f}–{self.high:.0f} s"


def later_of(*moments: Span) -> Span:
    return Span(max(each.low for each in moments), max(each.high for each in moments))


def a_character(*, words_a_minute: float) -> float:
    return 60 / words_a_minute / CHARACTERS_A_WORD


NOTHING = Span(0, 0)
# Card, Moran and Newell: to think of the next unit of the task before doing it.
MENTAL = Span(1.35, 1.35)
# The same: 0.28 s is an average typist who is no secretary, 0.50 s is typing random letters, as serials nearly are.
# Between them are the 36.2 words a minute that 37,370 people reached on their own phones: Palin, Feit, Kim, Kristensson
# and Oulasvirta, "How do people type on mobile devices?", MobileHCI 2019.
KEY = Span(0.28, 0.50)
# Above, the mean of pointing with a mouse (Card, Moran and Newell), than which touching is faster (Findlater, Moffatt,
# Froehlich, Malu and Zhang, "Comparing touchscreen and mouse input performance", CHI 2017); below, what studies of
# tapping on phones give for a target nearby, from memory.
TAP = Span(0.40, 1.10)
# Card, Moran and Newell: the hand goes to another device; here the pen to another line.
TO_THE_LINE = Span(0.40, 0.40)
# 31 words a minute from memory, 22 copied: Brown, "Human-computer interface design guidelines" (1988), at second hand.
WRITTEN = Span(a_character(words_a_minute=31), a_character(words_a_minute=22))
# The service answers and the page is there: from nothing that is noticed to a slow evening; a guess.
RESPONSE = Span(0.1, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Handled:
    """What one person did at one step, on a phone. fields: how many separate things they decided on.

    waits: for what both did before; else for their own part alone.
    """

    step: str
    person: str
    fields: int
    taps: int
    keys: int
    waits: bool = True

    @property
    def time(self) -> Span:
        return self.fields * MENTAL + self.taps * TAP + self.keys * KEY


def time_on_pages(handled: Sequence[Handled], polled: Span) -> Span:
    """From the first tap to the last: a step opens when everybody has keyed the one before.

    handled: in order. polled: until a page that waits sees that it may go on; whoever keyed last sees it at once.
    """
    free, opened = dict.fromkeys(PEOPLE, NOTHING), dict.fromkeys(PEOPLE, NOTHING)
    for _, rows in itertools.groupby(handled, lambda each: each.step):
        done = {
            each.person: (later_of(opened[each.person], free[each.person]) if each.waits else free[each.person])
            + each.time
            for each in rows
        }
        free |= done
        last = max(done, key=lambda person: done[person].high)
        goes_on = later_of(*done.values()) + RESPONSE
        opened = {person: goes_on + (NOTHING if person == last else polled) for person in PEOPLE}
    return later_of(*free.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperEntry:
    """A line of the paper form. characters: what the technician and the verifier write there; a tick is one.

    steps: what each works out before they write, in their head.
    """

    technician: int
    verifier: int
    steps: int = 0

    def time(self, characters: int) -> Span:
        return (1 + self.steps) * MENTAL + TO_THE_LINE + characters * WRITTEN if characters else NOTHING


def time_on_paper(entries: Iterable[PaperEntry], compared: int) -> Span:
    """Each on a sheet of their own, side by side, waiting for each other at each line; then so many lines compared."""
    lines = (later_of(each.time(each.technician), each.time(each.verifier)) for each in entries)
    return sum(lines, NOTHING) + compared * MENTAL


def beside(pages: Span, paper: Span) -> str:
    """Whether the pages are no slower, else by how much: quick people beside quick, and slow beside slow."""
    less, more = sorted((pages.low - paper.low, pages.high - paper.high))
    if more <= 0:
        return f"The pages are no slower than paper: {-more:.0f} to {-less:.0f} s less."
    if less <= 0:
        return f"The pages take from {-less:.0f} s less to {more:.0f} s more than paper."
    return f"The pages are slower than paper, by {less:.0f} to {more:.0f} s."


def slow_beside_quick(pages: Span, paper: Span) -> str:
    """The worst pairing: a slow thumb, and a quick pen."""
    more = pages.high - paper.low
    return f"A slow thumb beside a quick pen: {abs(more):.0f} s {'more' if more > 0 else 'less'}."
