"""The study of slips in its short form, and the slips themselves."""

from dataclasses import replace

import numpy as np
import pytest
from django.db import transaction

from inspections.domain import counting, keying
from inspections.domain.reading import RuleParameters
from reels.domain.words import Side, UnusualRule
from tests.benchmarks import slip_study
from tests.benchmarks.drift.fleets import DrumTables, drum_for
from tests.benchmarks.slip_fleet import make_fleet
from tests.benchmarks.slip_tables import (
    BOTH,
    COPIED,
    COPIED_SERIAL,
    GAUGE_PAST_DUE,
    HALF_BY_WORDS,
    MARKS_DIFFER,
    MORE_OFF,
    NOT_FITTING,
    ONE,
    OTHERS_GAUGE,
    READ_OFF_THE_THING,
    REEL_COPIED,
    RIGHT,
    SOUND,
    STOP_AS_WATCH,
    STOPS,
    SUPERSEDED,
    WRONG_GAUGES,
    WRONG_REEL,
    SlipCell,
    summary_lines,
    table_lines,
)
from tests.benchmarks.slip_team import SeenStop, Team
from tests.benchmarks.slips import LEAD_WRAPS, READING_SLIPS, Wound, half_by_place, seen_on, wraps_off
from tests.builders import NOW, Cast

DRUM = drum_for(np.random.default_rng(3))


def wound(turns, *, anchor_side=Side.LEFT, is_first=True, is_clockwise=True):
    return Wound(drum=DRUM, shape=DrumTables.of(DRUM), anchor_side=anchor_side, turns=turns, is_first=is_first,
                 is_clockwise=is_clockwise)  # fmt: skip


@pytest.mark.parametrize("anchor_side", Side)
@pytest.mark.parametrize("is_first", [True, False])
@pytest.mark.parametrize(("is_clockwise", "arc"), [(True, (0, 180)), (False, (180, 360))])
def test_whoever_reads_with_care_gets_the_right_values(anchor_side, is_first, is_clockwise, arc):
    parameters = RuleParameters(
        anchor_side=anchor_side, wraps_odd_layer=DRUM.wraps_odd_layer, wraps_even_layer=DRUM.wraps_even_layer,
        max_layers=DRUM.max_layers, lead_wraps=LEAD_WRAPS, unusual=UnusualRule.ACCEPT, arc_from_deg=arc[0],
        arc_to_deg=arc[1],
    )  # fmt: skip
    first = int(DrumTables.of(DRUM).turns_below[4])
    for turns in range(first, first + 2 * DRUM.wraps_odd_layer):
        reel = wound(turns, anchor_side=anchor_side, is_first=is_first, is_clockwise=is_clockwise)
        worked = counting.work_out(parameters, keying.reading_from(seen_on(reel)))
        assert (worked.layers, worked.wraps) == reel.setup_values
        assert wraps_off(reel, seen_on(reel)) == 0


@pytest.mark.parametrize("kind", READING_SLIPS)
def test_every_slip_changes_what_is_keyed(kind):
    rng, reel = np.random.default_rng(1), wound(200)
    right = seen_on(reel)
    tried = [READING_SLIPS[kind](right, 28, rng) for _ in range(50)]
    made = [seen for seen in tried if seen is not None]
    assert {seen == right for seen in made} <= {False}
    assert all(seen.keys() == right.keys() for seen in made)


def test_how_far_a_slip_puts_the_numbers_off():
    reel = wound(int(DrumTables.of(DRUM).turns_below[6]) + 9)
    right = seen_on(reel)
    assert wraps_off(reel, {**right, "gauge_wraps": right["gauge_wraps"] + 1}) == 1
    assert wraps_off(reel, {**right, "crossover_half": "second"}) == 1
    both = {name: right[name] - 2 for name in ("scale_left", "scale_right")}
    assert wraps_off(reel, {**right, **both}) == -(DRUM.wraps_odd_layer + DRUM.wraps_even_layer)


@pytest.mark.django_db
def test_in_a_short_study_only_what_two_people_share_gets_through():
    table = slip_study.study(range(72), 72, (1, 0), Cast(), NOW)
    assert sum(cell.number for cell in table.values()) == 72
    assert table.keys() == {(SOUND, ""), *slip_study.cells()}
    assert table[SOUND, ""].number == 27
    assert table[SOUND, ""].caught.total() <= 1
    for (kind, who), cell in table.items():
        if who == ONE and kind not in COPIED_SERIAL:
            assert (kind, cell.through) == (kind, {})
        elif kind not in (COPIED, *COPIED_SERIAL):
            assert (kind, cell.through[MORE_OFF]) == (kind, 0)
    assert table[COPIED, BOTH].caught == {}
    assert set(table[HALF_BY_WORDS, BOTH].through) <= {RIGHT}


@pytest.mark.django_db
def test_what_stops_a_wrong_reel_a_wrong_gauge_and_a_superseded_publication():
    rng = np.random.default_rng(8)
    fleet = make_fleet(9, rng, NOW)
    team = Team(Cast(), NOW)

    def stopped_by_case(case):
        with transaction.atomic():
            by, _ = team.work(case)
            transaction.set_rollback(True)
        return by

    def stopped_by(kind, who=ONE):
        return stopped_by_case(slip_study.make_case(kind, who, fleet, rng)[0])

    assert {kind: stopped_by(kind) for kind in WRONG_GAUGES} == {
        NOT_FITTING: "gauge", GAUGE_PAST_DUE: "gauge", OTHERS_GAUGE: "gauge's return", MARKS_DIFFER: "end marks"
    }  # fmt: skip
    assert [stopped_by(WRONG_REEL, who) for who in (ONE, BOTH)] == ["serial", "serial"]
    assert (stopped_by(REEL_COPIED), stopped_by(SUPERSEDED)) == ("serial", "publication")
    sound, _ = slip_study.make_case(SOUND, "", fleet, rng)
    by_moment = {
        moment: stopped_by_case(replace(sound, stop=SeenStop(moment=moment))) for moment in slip_study.STOP_MOMENTS
    }
    assert by_moment == dict.fromkeys(slip_study.STOP_MOMENTS, "stop finding")
    assert stopped_by(STOP_AS_WATCH) == "least severity"


@pytest.mark.parametrize(
    ("place", "words", "half"),
    [
        ("aft", ("forward", "aft"), "second"),
        ("upper", ("first half: the upper side", "second half: the lower side"), "first"),
        ("aft", ("above", "below"), None),
    ],
)
def test_a_half_is_found_by_the_place_that_its_words_name(place, words, half):
    assert half_by_place(place, words) == half


def test_the_tables_add_up():
    sound, alone = SlipCell(), SlipCell()
    sound.through["right all the same"] = 98
    sound.caught["history"] = 2
    alone.caught["comparison"] = 7
    alone.through[MORE_OFF] = 1
    alone.caught_above_one = 3
    table = {(SOUND, ""): sound, ("halves confused", ONE): alone, (COPIED, ONE): alone}
    assert "87.5%   comparison 7; 1 more than one off" in table_lines(table)[2]
    # Exact limits for 7 of 8, 3 of 4 and 2 of 100 as tables of them have it (from memory).
    of_four = "3 of 4 caught, 75.00% (95 % limits 19.41% to 99.37%)"
    assert summary_lines(table) == [
        "made by one person alone at a hold point: 7 of 8 caught, 87.50% (95 % limits 47.35% to 99.68%)",
        f"would put the numbers off by more than one wrap, slips in the count: {of_four}",
        f"would put the numbers off by more than one wrap, slips at the machine: {of_four}",
        "sound inspections troubled: 2 of 100, 2.00% (95 % limits 0.24% to 7.04%)",
        "not caught: halves confused, one person: 1 of 8",
        f"not caught: {COPIED}, one person: 1 of 8",
    ]


def test_what_the_aims_are_about_can_be_studied_alone():
    assert {kind for kind, _ in slip_study.cells(aims=True)} == {*READ_OFF_THE_THING, *STOPS}
