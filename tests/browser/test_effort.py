"""What a count costs two people, in a short form; and the model by which its time is reckoned."""

from dataclasses import replace
from itertools import product

import pytest

from inspections.domain.counting import work_out
from inspections.domain.reading import Half, KeyedReading, Outcome, RuleParameters
from reels.domain.words import Side, UnusualRule
from tests.browser.counting_by_two import worked
from tests.browser.drawn_counts import EXAMPLE, NUMBER, drawn_counts
from tests.browser.effort import (
    FOR_SAFETY,
    ON_THE_FORM,
    PAPER,
    CountedEffort,
    EffortCounter,
    Touch,
    effort_lines,
    polled,
    table_lines,
)
from tests.browser.keystroke_level import (
    KEY,
    PEOPLE,
    TECHNICIAN,
    VERIFIER,
    Handled,
    PaperEntry,
    Span,
    a_character,
    beside,
    slow_beside_quick,
    time_on_pages,
    time_on_paper,
)
from tests.browser.test_worksheet import cast

__all__ = ["cast"]

# Without those for safety; it may become less.
MOST_OTHERS = {TECHNICIAN: {"tap": 15, "key": 29}, VERIFIER: {"tap": 7, "key": 30}}


def test_a_count_keeps_to_its_effort_and_merges_nothing_that_is_there_for_safety(browser, live_server, cast):
    """Of the twenty the first; and one in which a difference is keyed again, with a finding."""
    other = replace(next(each for each in drawn_counts() if each.differs_at), has_finding=True)
    first, second = worked(browser, live_server, cast, [EXAMPLE, other])
    touched = [each for _, each in first.counter.touches]
    assert "all_sound" in {each.field for each in touched if each.person == TECHNICIAN}  # nor is it preset
    for person, fields in ((TECHNICIAN, FOR_SAFETY), (VERIFIER, {"serial"})):
        assert {each.field for each in touched if each.person == person and each.is_for_safety} == fields
        others = [each.kind for each in touched if each.person == person and not each.is_for_safety]
        most = MOST_OTHERS[person]
        assert (others.count("tap") <= most["tap"], others.count("key") <= most["key"]) == (True, True)
    assert "The pages are no slower than paper" in list(effort_lines(first.counter))[-1]
    again = {(each.step, each.person) for each in second.rows if each.step.endswith(", again")}
    assert again == {("Wrap gauge, again", person) for person in PEOPLE}
    assert "Record a finding" in {each.step for each in second.rows}
    assert second.figures > first.figures


# The twenty counts --------------------------------------------------------------------------------------------------

RULES = RuleParameters(anchor_side=Side.LEFT, wraps_odd_layer=28, wraps_even_layer=27, max_layers=20, lead_wraps=1,
                       unusual=UnusualRule.ACCEPT)  # fmt: skip


def test_what_is_drawn_differs_in_all_that_is_keyed_and_each_can_be_worked_out():
    counts = drawn_counts()
    assert len({each.serial for each in counts}) == NUMBER
    assert {each.open_side for each in counts} == set(Side)
    assert {(len(str(each.wraps)), each.half) for each in counts} == set(product((1, 2), (Half.FIRST, Half.SECOND)))
    assert {each.differs_at.partition("_")[0] for each in counts} == {"", "scale", "hand", "gauge", "crossover"}
    assert sum(each.has_finding for each in counts) == 1
    for each in counts:
        read = {field: value for field, value in each.read.items() if field != "serial"}
        working = work_out(RULES, KeyedReading(**read))
        assert (working.outcome, working.layers) == (Outcome.ACCEPTED, each.layer - 1)


def effort_of(count, keys, script_s):
    counter = EffortCounter()
    for _ in range(keys):
        counter.see(Touch(person=TECHNICIAN, kind="key", step="Hand count", field="x", is_link=False, is_button=True))
    return CountedEffort(count=count, counter=counter, script_s=script_s)


def test_the_table_tells_each_count_and_the_mean_the_least_and_the_most():
    """Of 2 and of 6 keys, 0.28 to 0.50 s each."""
    efforts = [effort_of(EXAMPLE, 2, 10), effort_of(replace(EXAMPLE, differs_at="hand_wraps"), 6, 30)]
    lines = [line.split() for line in table_lines(efforts)]
    assert lines[3][:8] == ["LW-0101", "13,", "12,", "first;", "hand", "wraps", "again", "0"]
    assert [line[1:] for line in lines[-3:]] == [
        ["0.0", "4.0", "0.0", "0.0", "1.1", "2.0", "20.0"],
        ["0.0", "2.0", "0.0", "0.0", "0.6", "1.0", "10.0"],
        ["0.0", "6.0", "0.0", "0.0", "1.7", "3.0", "30.0"],
    ]


# The model ----------------------------------------------------------------------------------------------------------


def step(name, person, *, keys, waits=True):
    return Handled(step=name, person=person, fields=0, taps=0, keys=keys, waits=waits)


def test_operators_add_up():
    """M + 2 K and a tap: 1.35 + 2 × 0.28 + 0.40 at the least (Card, Moran and Newell for the first two)."""
    time = Handled(step="Hand count", person=TECHNICIAN, fields=1, taps=1, keys=2).time
    assert (time.low, time.high) == pytest.approx((2.31, 3.45))


def test_a_typing_speed_of_phones_lies_within_what_a_key_is_taken_to_cost():
    """36.2 words a minute, of five characters: Palin and others, MobileHCI 2019."""
    assert KEY.low < a_character(words_a_minute=36.2) < KEY.high


def test_the_slower_of_the_two_opens_a_step_and_the_other_sees_it_when_the_page_looks_again():
    rows = [step("1", TECHNICIAN, keys=100), step("1", VERIFIER, keys=10), step("2", VERIFIER, keys=100)]
    time = time_on_pages(rows, Span(0, 4))
    assert (time.low, time.high) == pytest.approx((28 + 0.1 + 28, 50 + 1 + 4 + 50))


def test_whoever_keyed_last_does_not_wait_for_the_page():
    rows = [step("1", TECHNICIAN, keys=10), step("1", VERIFIER, keys=100), step("2", VERIFIER, keys=100)]
    assert time_on_pages(rows, Span(0, 4)).high == pytest.approx(50 + 1 + 50)


def test_what_waits_for_nobody_is_done_beside():
    rows = [step("1", TECHNICIAN, keys=10), step("2", VERIFIER, keys=100), step("3", TECHNICIAN, keys=10, waits=False)]
    assert time_on_pages(rows, Span(0, 0)).high == pytest.approx(5 + 1 + 50)


def test_a_line_on_paper_takes_the_longer_of_two_and_what_is_worked_out():
    """Handwriting at 31 and 22 words a minute is 0.39 and 0.55 s a character."""
    line = PaperEntry(technician=2, verifier=10, steps=1)
    time = time_on_paper([line], compared=2)
    assert (time.low, time.high) == pytest.approx((4 * 1.35 + 0.4 + 3.87, 4 * 1.35 + 0.4 + 5.45), abs=0.01)


@pytest.mark.parametrize(
    ("pages", "words"),
    [
        (Span(60, 90), "The pages are no slower than paper: 10 to 40 s less."),
        (Span(90, 130), "The pages take from 10 s less to 30 s more than paper."),
        (Span(110, 130), "The pages are slower than paper, by 10 to 30 s."),
    ],
)
def test_the_verdict_says_by_how_much(pages, words):
    assert beside(pages, Span(100, 100)) == words


def test_the_worst_pairing_is_told_too():
    assert slow_beside_quick(Span(60, 130), Span(100, 150)) == "A slow thumb beside a quick pen: 30 s more."


def test_every_line_of_the_paper_form_is_reckoned():
    assert [line for line in ON_THE_FORM if line not in PAPER] == []


def test_a_page_that_waits_looks_as_often_as_its_script_says():
    assert polled() == Span(0, 1.5)
