"""GET /api/v1/reel-types/{code}/layer-rise, and the command that prints the same: an offer that changes nothing."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from inspections.queries.rise import rise_offer
from reels.domain.winding import Drum, count_of_turns, turns_of_length
from reels.models import HistoryEntry, Reel
from reels.services import register
from tests import builders
from tests.api_client import places, said
from tests.inspections.services.intake.test_records import COUNTS_HEADER, EVENTS_HEADER, bring_in

# As the builders make w28, but with a rise of 9.2 mm in place of the nested 8.660 mm.
TRUE = Drum(
    core_diameter_mm=300, cable_diameter_mm=10, wraps_odd_layer=28, wraps_even_layer=27, max_layers=20,
    layer_rise_mm=9.2,
)  # fmt: skip
LENGTHS_M = (180, 235, 290, 345, 400, 455, 510, 565)


def fleet_wound_at(drum=TRUE, lengths_m=LENGTHS_M, cut_m=0.0, fitted=""):
    """Reels of type w28, received with these lengths and counted ten days later, a logged cut before the count."""
    reels, counts, events = "", "", ""
    for number, length_m in enumerate(lengths_m, start=20):
        turns = round(float(turns_of_length(length_m - cut_m, drum))) - 1  # the lead is not in a count
        layers, wraps = count_of_turns(turns, drum)
        reels += f"LW-{number:04},w28,kettle-point,2024-06-01,{length_m}\n"
        counts += f"LW-{number:04},2024-06-11T10:00:00Z,{layers},{int(wraps)},,,\n"
        events += f"LW-{number:04},2024-06-05T10:00:00Z,cut,{cut_m},,\n" if cut_m else ""
    files = {"reels.csv": "serial,type,site,received_on,cable_length_m\n" + reels, "counts.csv": COUNTS_HEADER + counts}
    bring_in({**files, "cable_events.csv": EVENTS_HEADER + events + fitted})


@pytest.fixture
def known(ways):
    fleet_wound_at(cut_m=6.0)
    return ways


def printed(*arguments):
    out = StringIO()
    call_command("fit_layer_rise", "w28", *arguments, stdout=out)
    return out.getvalue()


def test_the_rise_of_reels_of_known_length_is_offered_with_its_uncertainty(known):
    shown = known.colleague.get("reel-types/w28/layer-rise").json()
    rise = shown["layer_rise"]
    assert rise["offered_mm"] == pytest.approx(9.2, abs=2.5 * rise["offered_u_mm"])
    assert 0.005 < rise["offered_u_mm"] < 0.1
    assert (rise["now_mm"], rise["now_u_mm"]) == (8.66, 0.387)  # nested; and 10 mm (1 - 0.866) / sqrt(12)
    assert (shown["reels"], shown["left_out"]) == (len(LENGTHS_M), [])
    assert shown["chance_of_worse_fit"] > 0.01
    assert shown["capacity_offered_m"] > shown["capacity_now_m"]
    first = shown["known"][0]
    assert (first["known_m"], first["reel"]) == (174.0, "LW-0020")  # 180 m less the logged 6 m
    assert abs(first["length_offered_m"] - 174.0) < abs(first["length_now_m"] - 174.0)
    assert "the rise in use, 8.660 mm" in shown["advice"][0]


def test_nothing_is_changed_by_an_offer_and_a_change_gives_its_reason(known):
    entries = HistoryEntry.objects.count()
    offered = known.colleague.get("reel-types/w28/layer-rise").json()["layer_rise"]
    assert HistoryEntry.objects.count() == entries
    assert known.colleague.get("reel-types/w28").json()["layer_rise_mm"] is None
    change = {
        "layer_rise_mm": f"{offered['offered_mm']:.3f}", "layer_rise_u_mm": f"{offered['offered_u_mm']:.3f}",
        "reason": "Fitted to eight reels as they were delivered.",
    }  # fmt: skip
    tag = known.administrator.tag("reel-types/w28")
    said(known.control.patch("reel-types/w28", change, tag), 403, "only_administrators")
    assert known.administrator.patch("reel-types/w28", change, tag).status_code == 200
    again = known.colleague.get("reel-types/w28/layer-rise").json()
    assert again["layer_rise"]["now_mm"] == offered["offered_mm"]
    assert "It agrees with the rise in use" in again["advice"][0]


def test_the_core_is_fitted_too_when_asked_for(known):
    shown = known.colleague.get("reel-types/w28/layer-rise?fit_core=true").json()
    core = shown["core_diameter"]
    assert core["offered_mm"] == pytest.approx(300, abs=3 * core["offered_u_mm"])
    assert core["offered_u_mm"] > 0
    assert (
        shown["layer_rise"]["offered_u_mm"]
        > known.colleague.get("reel-types/w28/layer-rise").json()["layer_rise"]["offered_u_mm"]
    )


def test_a_cable_that_was_fitted_later_counts_from_there(ways):
    fleet_wound_at(lengths_m=LENGTHS_M[:3], fitted="")
    cast_reel = Reel.objects.get(serial="LW-0020")
    before = len(rise_offer(cast_reel.type, Reel.objects.all()).known)
    facts = {"kind": "replaced", "happened_at": "2024-07-01T00:00:00Z", "length_fitted_m": "300"}
    assert ways.control.post("reels/LW-0020/cable-events", facts).status_code == 201
    layers, wraps = count_of_turns(round(float(turns_of_length(300, TRUE))) - 1, TRUE)
    bring_in({"counts.csv": COUNTS_HEADER + f"LW-0020,2024-07-11T10:00:00Z,{layers},{int(wraps)},,,\n"})
    known = rise_offer(cast_reel.type, Reel.objects.all()).known
    assert (len(known), [k.known_m for k in known if k.reel == "LW-0020"]) == (before + 1, [180.0, 300.0])


def test_too_few_reels_and_bad_questions_are_refused(ways):
    said(ways.nobody.get("reel-types/w28/layer-rise"), 401, "not_logged_in")
    said(ways.colleague.get("reel-types/w99/layer-rise"), 404, "not_found")
    said(ways.colleague.get("reel-types/w28/layer-rise"), 409, "too_few_known_lengths")
    for query in ("length_u_m=0", "length_u_m=x", "length_u_m=nan", "colour=red"):
        answer = ways.colleague.get(f"reel-types/w28/layer-rise?{query}")
        said(answer, 400, "invalid_input")
        assert places(answer) == [query.split("=")[0]]


def test_reels_of_other_sites_are_not_in_the_offer(known):
    said(known.stranger.get("reel-types/w28/layer-rise"), 409, "too_few_known_lengths")


def test_the_command_prints_the_offer_and_what_would_change(known):
    said_now = printed()
    assert f"{len(LENGTHS_M)} cables of known length, each ± 0.5 m." in said_now
    assert "LW-0020" in said_now
    assert "Layer rise:     8.660 mm ± 0.387 mm in use, 9." in said_now
    assert said_now.rstrip().endswith("(PATCH /api/v1/reel-types/w28).")
    assert "Nothing was changed." in said_now
    assert printed("--length-u-m", "2") != said_now


def test_the_command_says_in_a_sentence_what_it_cannot_do(ways):
    with pytest.raises(CommandError, match="at least 2 are needed to fit the layer rise"):
        printed()
    with pytest.raises(CommandError, match="w99"):
        call_command("fit_layer_rise", "w99")


def test_lengths_that_contradict_one_another_are_said(ways):
    fleet_wound_at(lengths_m=LENGTHS_M)
    w28 = Reel.objects.get(serial="LW-0020").type
    register.change(w28, core_diameter_mm=280, **builders.by_administrator())
    assert "The lengths scatter more than their uncertainties allow." in printed("--length-u-m", "0.05")
    register.change(w28, core_diameter_mm=240, **builders.by_administrator())
    with pytest.raises(CommandError, match=r"only an impossible drum would fit, layer_rise_mm was 1[45]\."):
        printed()
