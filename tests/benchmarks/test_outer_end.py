"""The command that tells which counts change when the outer end is not on the scale line."""

from pathlib import Path

import pytest

from tests.benchmarks.outer_end import SENSES, main, worked_otherwise, wraps_off

HANDBOOK = Path(__file__).parents[2] / "deploy/handbook/counting.md"


def test_the_handbook_shows_what_the_command_prints(capsys):
    main()
    assert capsys.readouterr().out in HANDBOOK.read_text()


def test_with_the_end_on_the_line_nothing_is_worked_out_otherwise():
    assert {worked_otherwise(sense, 0, counts_end=True) for sense in SENSES} == {"none"}


@pytest.mark.parametrize("sense", SENSES)
@pytest.mark.parametrize("further", [-45, 15])
def test_how_far_a_count_is_off_depends_on_the_angle_and_not_on_the_count(sense, further):
    for deg in (1, 134, 135, 136, 166, 179, 180, 181, 224, 225, 359):
        assert len({wraps_off(sense, deg, further, counts_end=True, wraps=wraps) for wraps in range(3, 26)}) == 1


def test_the_angles_are_those_between_which_the_end_goes_over_the_half_turn():
    # Worked by hand, wound clockwise: at 170° 12 wraps are 11 + 170/360 turns, and with 15° more 11 + 185/360.
    assert wraps_off("clockwise", 170, 15, counts_end=True) == -1
    # Short of the line by 15° and counted, at 190°: 11 + 175/360 turns, of which the rule keeps 12.
    assert wraps_off("clockwise", 190, -15, counts_end=True) == 1
    # Left out, at 90°: 11 wraps are seen of 11 + 75/360 turns, and one is taken off.
    assert wraps_off("clockwise", 90, -15, counts_end=False) == -1
