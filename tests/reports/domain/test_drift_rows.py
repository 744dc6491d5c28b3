from datetime import UTC, datetime, timedelta, timezone

from hypothesis import given
from hypothesis import strategies as st

from inspections.domain.drift import choose_flags
from reports.domain.drift_rows import COLUMNS, NOTHING, DriftRow, as_written, flag_from, moment

PROBABILITIES = st.lists(st.sampled_from([0.0, 0.2, 0.5, 0.9, 0.94, 0.95, 0.97, 0.99, 1.0]) | st.floats(0, 1))


@given(PROBABILITIES, st.sampled_from([0.0, 0.01, 0.05, 0.2]))
def test_the_flags_are_those_that_are_chosen_with_all_probabilities_at_hand(probabilities, false_share):
    least = flag_from(sorted(probabilities, reverse=True), false_share)
    assert [p >= least for p in probabilities] == choose_flags(probabilities, false_share)


def test_no_more_is_read_than_decides_the_flags():
    def falling():
        yield from (1.0, 0.97, 0.6)
        raise AssertionError("read too far")

    assert 0.6 < flag_from(falling()) < 0.97


def test_what_moved_by_a_hair_since_the_report_is_flagged_as_it_was():
    flag_at = flag_from([1.0, 0.97, 0.2])
    assert 0.2 + 0.1 < flag_at < 0.97 - 0.1


def test_nothing_is_flagged_where_nothing_is_probable_or_there_is_nothing():
    assert flag_from([]) == flag_from([0.94, 0.1]) == NOTHING


def test_a_row_is_written_with_all_columns_lengths_to_the_millimetre_and_times_in_utc():
    at = datetime(2025, 3, 1, 10, tzinfo=timezone(timedelta(hours=2)))
    row = DriftRow(
        reel="LW-1", from_at=at, to_at=datetime(2025, 4, 1, 8, 0, 0, 500_000, tzinfo=UTC), observed_change_m=-4.2,
        logged_cut_m=0.0, p_unlogged_cut=0.95, p_when_counted=1e-7, cut_m=4.1234, cut_low_m=3.5, cut_high_m=5.0,
        explanation="so", explanation_ft="so many feet",
    )  # fmt: skip
    said = as_written(row, flag_at=0.95)
    assert set(said) == set(COLUMNS)
    assert [said[name] for name in COLUMNS] == [
        "LW-1", "2025-03-01T08:00:00Z", "2025-04-01T08:00:00.500000Z", "-4.200", "0.000", "0.950000000", "0.000000100",
        "4.123", "3.500", "5.000", "yes", "so",
    ]  # fmt: skip
    assert as_written(row, flag_at=0.96)["flagged"] == "no"
    assert moment(at) == "2025-03-01T08:00:00Z"
