import pytest

from inspections.domain.drift import Recount
from inspections.domain.words import ReelStatus
from reports.domain.recount_words import percent, reason, to_do_first, worth_in_words

DOUBTFUL = Recount(p_cut=0.5, doubt_bits=1.0, worth_bits=0.8)


def test_the_reason_names_the_count_the_loss_and_what_one_more_would_take_away():
    assert reason(DOUBTFUL, "12 layers, 4 wraps, even, of 2 Mar 2026", "7 m, between 6 m and 8 m", "7 m shorter") == (
        "The newest count, 12 layers, 4 wraps, even, of 2 Mar 2026, makes the cable 7 m shorter: an unlogged cut is "
        "more likely than not (50\u00a0%), of 7 m, between 6 m and 8 m. A slip of that count would look the same. "
        "One more should remove 80\u00a0% of the doubt."
    )
    assert "an unlogged cut is possible (20" in reason(Recount(p_cut=0.2, doubt_bits=0.7, worth_bits=0.1), "", "", "")


def test_of_a_settled_question_it_says_that_it_is_settled():
    assert "would add little" in worth_in_words(Recount(p_cut=0.0001, doubt_bits=0.001, worth_bits=0.0005))
    assert worth_in_words(DOUBTFUL).endswith("remove 80\u00a0% of that doubt.")


@pytest.mark.parametrize(("worth", "doubt", "share"), [(0.0, 0.0, 0.0), (0.5, 1.0, 0.5), (1.1, 1.0, 1.0)])
def test_the_share_that_is_settled_is_never_more_than_all(worth, doubt, share):
    assert Recount(p_cut=0.5, doubt_bits=doubt, worth_bits=worth).settled_share == share


@pytest.mark.parametrize(
    ("status", "machine", "said"),
    [
        (ReelStatus.HELD, "RM-1", "It is held: the hold comes first."),
        (ReelStatus.VALUES_CONFIRMED, "RM-1", "It is in RM-1: take it off first."),
        (ReelStatus.AWAITING_COUNT, None, ""),
    ],
)
def test_what_comes_before_the_count_is_said(status, machine, said):
    assert to_do_first(status, machine) == said


@pytest.mark.parametrize(("share", "said"), [(0.0, "under 1\u00a0%"), (0.01, "1\u00a0%"), (1.0, "over 99\u00a0%")])
def test_no_share_is_nothing_or_everything(share, said):
    assert percent(share) == said
