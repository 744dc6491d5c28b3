"""What a sentence claims is what the posterior says: read back from the words alone, over simulated intervals.

Nothing here asks the code what it meant. Each sentence is taken apart by its words, and each claim in it is held
against the numbers of the assessment.
"""

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace

import pytest

from inspections.domain import drift
from inspections.domain.drift import IntervalPosterior, ReelAssessment, Slip, learn
from inspections.domain.drift.records import LOG_FAULTS, SLIP_WORDS, SLIPS, CountPosterior, LogFault
from inspections.domain.drift.words import odds
from tests.benchmarks.drift.fleets import make_fleet, messy_plan
from tests.inspections.domain.drift.small_reels import LOWER, STEADY, counted, cut

SEEDS_FROM = 9300
ODDS = r"\(([^()]*(?:odds|\d to [\d,]+)[^()]*)\)"
COUNT = r"the count of (\d{4}-\d\d-\d\d) \(\d+ layers?, \d+ wraps?\) does not fit those around it: ([^(;]+?) \("
OF_FAULT = {
    LogFault.EARLIER: "cut before the first of them",
    LogFault.LATER: "cut after the second of them",
    LogFault.VOID: "was not cut, or stands there twice",
    LogFault.LENGTH: "another length than was cut",
}
FROM = {
    LogFault.FROM_BEFORE: r"a cut logged before [\d-]+ was made after that count " + ODDS,
    LogFault.FROM_AFTER: r"a cut logged after [\d-]+ was made before that count " + ODDS,
}


def says(words: str, p: float) -> bool:
    """Whether these odds are p's, within their rounding."""
    if "even" in words:
        return 0.44 < p < 0.56
    for_it, against = (float(n.replace(",", "")) for n in re.findall(r"[\d,]+", words))
    ratio = p / max(1.0 - p, 1e-12)
    if "more than" in words or "less than" in words:
        return ratio >= 1000 if for_it > against else ratio <= 1 / 1000
    return 0.66 < ratio / (for_it / against) < 1.51


def check_slips(sentence: str, ends: tuple[CountPosterior, CountPosterior]) -> Iterator[str]:
    for when, why in re.findall(COUNT, sentence):
        [count] = [each for each in ends if f"{each.at:%Y-%m-%d}" == when]
        largest = SLIPS[max(range(len(SLIPS)), key=lambda i: count.slips[i])]
        assert sum(count.slips[1:]) == pytest.approx(count.p_slip)
        kind = {f"most likely {words}": slip for slip, words in SLIP_WORDS.items()}.get(why)
        if kind is None:
            kind = {"no ordinary slip explains it": Slip.ANYTHING, "a slip, of which kind can't be told": Slip.NONE}[
                why
            ]
        assert largest is kind, sentence
        stated = re.search(re.escape(why) + " " + ODDS, sentence)
        assert stated
        assert says(stated[1], count.p_slip), sentence
        yield "slip"


def check_log(sentence: str, interval: IntervalPosterior) -> Iterator[str]:
    p = dict(zip(LOG_FAULTS, interval.log_faults, strict=True))
    for fault, words in OF_FAULT.items():
        if found := re.search(re.escape(words) + " " + ODDS, sentence):
            assert p[fault] == max(p[other] for other in OF_FAULT) > 1 - interval.log_doubt, sentence
            assert says(found[1], interval.log_doubt), sentence
            yield "log"
    if found := re.search(r"does not fit as it is written \(another [^)]*\) " + ODDS, sentence):
        assert max(p[fault] for fault in OF_FAULT) <= 1 - interval.log_doubt < 0.95, sentence
        assert says(found[1], interval.log_doubt), sentence
        yield "log"
    for fault, pattern in FROM.items():
        if found := re.search(pattern, sentence):
            assert says(found[1], p[fault]), sentence
            yield "log of a neighbour"


def check_loss(sentence: str, reel: ReelAssessment, place: int) -> Iterator[str]:
    interval = reel.intervals[place]
    claimed = re.search(r"an unlogged cut explains it " + ODDS, sentence)
    assert bool(claimed) == (interval.p_unlogged_cut >= 0.5), sentence
    if claimed:
        assert says(claimed[1], interval.p_unlogged_cut)
        missing = re.search(r"about ([\d.]+) m are missing \(([\d.]+) to ([\d.]+) m\)(.*)", sentence)
        assert missing
        told = [float(missing[n]) for n in (1, 2, 3)]
        assert told == pytest.approx([interval.cut_m, interval.cut_low_m, interval.cut_high_m], abs=0.051)
        excludes = not interval.cut_low_m <= interval.drop_m <= interval.cut_high_m
        assert excludes == bool(re.search(r"(?:not the|though these two counts show) [\d.]+ m .*, for ", missing[4]))
        if reason := re.search(r"for that of (\S+) is ([\d.]+) m (above|below) what all", missing[4]):
            off = {f"{count.at:%Y-%m-%d}": count.off_m for count in reel.counts[place : place + 2]}[reason[1]]
            assert abs(off) == pytest.approx(float(reason[2]), abs=0.051), sentence
            assert (off > 0) == (reason[3] == "above"), sentence
        yield "loss, and why not the drop" if excludes else "loss"
    elif ruled := re.search(r"an unlogged cut of about ([\d.]+) m can't be ruled out " + ODDS, sentence):
        assert float(ruled[1]) == pytest.approx(interval.cut_m, abs=0.051)
        assert says(ruled[2], interval.p_unlogged_cut)
        yield "not ruled out"


def check_usual(
    sentence: str, interval: IntervalPosterior, ends: tuple[CountPosterior, CountPosterior]
) -> Iterator[str]:
    rest = [interval.p_unlogged_cut, interval.log_doubt, *interval.log_faults, *(count.p_slip for count in ends)]
    if found := re.search(r"looseness usual .* explain it.*? " + ODDS, sentence):
        assert abs(interval.drop_m) <= 3 * interval.usual_m, sentence
        assert interval.p_ordinary >= max(rest), sentence
        assert says(found[1], interval.p_ordinary), sentence
        yield "usual"
    if "explains it better" in sentence:
        assert abs(interval.drop_m) > 3 * interval.usual_m
        assert interval.p_ordinary >= max(rest)
        yield "unusual, but nothing else"
    if "the logged cut, " in sentence:
        assert interval.logged_cut_m > 0
        assert interval.log_doubt < 0.5
    if "nothing explains it" in sentence:
        assert max(*rest, interval.p_ordinary) < 0.5, sentence
        yield "open"


def claims(reel: ReelAssessment) -> Iterator[str]:
    """Every claim of every sentence of a reel, by kind, once it has been held against the posterior."""
    for place, interval in enumerate(reel.intervals):
        sentence = drift.explain(reel, place)
        if interval.replaced:
            assert "can't be compared" in sentence
            continue
        before, after = reel.counts[place : place + 2]
        found = [
            *check_slips(sentence, (before, after)), *check_log(sentence, interval), *check_loss(sentence, reel, place),
            *check_usual(sentence, interval, (before, after)),
        ]  # fmt: skip
        assert found, f"{sentence} claims nothing"
        if "one more count would tell" in sentence:
            assert place == len(reel.intervals) - 1
            found.append("one more count")
        yield from found


def claims_of_fleets(numbers: range, counts: tuple[int, int], *, learned: bool) -> Counter[str]:
    out: Counter[str] = Counter()
    for number in numbers:
        plan = replace(messy_plan(number), reels=30, counts=counts, whole_turns=False)
        histories = [truth.history for truth in make_fleet(plan)]
        theta = learn(histories) if learned else drift.DEFAULT_PARAMETERS
        for reel in drift.assess_fleet(histories, theta):
            out.update(claims(reel))
    return out


KINDS = {
    "slip", "log", "log of a neighbour", "loss", "loss, and why not the drop", "not ruled out", "usual",
    "unusual, but nothing else", "open", "one more count",
}  # fmt: skip


def test_each_claim_of_a_thousand_sentences_is_what_the_posterior_says() -> None:
    found = claims_of_fleets(range(SEEDS_FROM, SEEDS_FROM + 4), (6, 14), learned=False)
    assert sum(found.values()) >= 1000
    assert set(found) >= KINDS - {"unusual, but nothing else"}


@pytest.mark.long
def test_each_claim_of_many_thousand_sentences_is_what_the_posterior_says() -> None:
    found = claims_of_fleets(range(SEEDS_FROM, SEEDS_FROM + 20), (10, 40), learned=True)
    assert sum(found.values()) >= 10_000
    assert set(found) >= KINDS


@pytest.mark.parametrize(
    ("p", "words"),
    [
        (0.5, "about even odds"), (0.55, "about even odds"), (0.6, "about 3 to 2"), (0.9, "about 9 to 1"),
        (0.1, "about 1 to 9"), (0.37, "about 2 to 3"), (0.98, "about 50 to 1"), (0.99885, "about 900 to 1"),
        (0.9991, "more than 1,000 to 1"), (1.0, "more than 1,000 to 1"), (0.0, "less than 1 to 1,000"),
    ],
)  # fmt: skip
def test_odds_are_said_to_one_figure(p: float, words: str) -> None:
    assert odds(p) == words


def test_a_recount_is_offered_only_of_the_newest_count_and_only_in_doubt() -> None:
    newest = drift.assess(counted([*STEADY, (12, 4)]))
    settled = drift.assess(counted([*STEADY, *LOWER]))
    assert [
        drift.explain(newest, place).endswith("one more count would tell a cut from a slip.") for place in range(6)
    ] == ([False] * 5 + [True])
    assert not any("one more count" in drift.explain(settled, place) for place in range(10))


def test_a_cut_dated_past_the_count_is_told_in_both_intervals() -> None:
    assessment = drift.assess(counted(STEADY + LOWER, cuts=(cut(181, 11.6),)))
    assert "a cut logged after 2024-06-29 was made before that count (more than " in drift.explain(assessment, 5)
    assert "what is logged between them was cut before the first of them (more than " in drift.explain(assessment, 6)


def test_a_cut_entered_twice_in_one_interval_is_in_doubt() -> None:
    assessment = drift.assess(counted(STEADY + LOWER, cuts=(cut(165, 11.6), cut(166, 11.6))))
    assert "what is logged was not cut, or stands there twice (" in drift.explain(assessment, 5)
