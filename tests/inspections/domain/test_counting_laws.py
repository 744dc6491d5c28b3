"""The counting rules against the second model of a drum (drum_model.py), and what no reading may do."""

from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, replace
from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from inspections.domain.counting import Count, Unusual, Working, problems_so_far, work_out
from inspections.domain.reading import KeyedReading, OpenSide, Outcome, RuleParameters, Unwind
from reels.domain.words import Graduation, Parity, Side, UnusualRule
from tests.inspections.domain.counted_reels import ARCS, as_seen, parameters_of
from tests.inspections.domain.drum_model import ModelDrum, Turn

MAX_LAYERS = 9


@dataclass(frozen=True)
class Scene:
    drum: ModelDrum
    laid: list[Turn]
    parameters: RuleParameters
    reading: KeyedReading

    @property
    def truth(self) -> tuple[int, int] | None:
        return self.drum.setup_values(self.laid, self.parameters.lead_wraps)

    @property
    def is_flush(self) -> bool:
        return self.reading.open_side is OpenSide.NONE


def leave_out(draw: st.DrawFn, reading: KeyedReading, parameters: RuleParameters) -> KeyedReading:
    """Leave out the scale that need not be read, or that has no mark at this level."""
    sides = [side for side in Side if side.value != reading.open_side]
    left_out = draw(st.sampled_from([None, *sides])) if len(sides) == 1 or draw(st.booleans()) else None
    if reading.open_side is OpenSide.NONE and parameters.graduation is Graduation.BY_SIDE:
        is_odd = bool((reading.scale_left or 0) % 2)
        left_out = parameters.anchor_side.other if is_odd else parameters.anchor_side
    return replace(reading, **{f"scale_{left_out}": None}) if left_out else reading


NEAR_LIMITS_DEG = [1e-9, 0.5, 90, 179.999, 180, 180.001, 270, 359.5, 359.999999]
ANGLES = st.sampled_from(NEAR_LIMITS_DEG) | st.floats(0, 360, exclude_min=True, exclude_max=True)


@st.composite
def scenes(
    draw: st.DrawFn,
    angles: st.SearchStrategy[float] = ANGLES,
    both_scales: bool = False,
    least_slots: int = 4,  # more than the lead, so that stepping down never needs two layers
) -> Scene:
    slots = st.integers(least_slots, 12)
    drum = ModelDrum(
        draw(st.sampled_from(["left", "right"])), draw(slots), draw(slots),
        Fraction(draw(angles)), draw(st.sampled_from(list(ARCS))),
    )  # fmt: skip
    graduation = Graduation.EVERY if both_scales else draw(st.sampled_from(Graduation))
    lead = draw(st.integers(0, 3))
    parameters = parameters_of(drum, max_layers=MAX_LAYERS, lead_wraps=lead, graduation=graduation)
    layer = draw(st.integers(1, MAX_LAYERS))
    most = drum.slots(layer)
    # Few wraps step down and all of them are flush: both need to come often.
    wraps = draw(st.sampled_from([1, 2, most - 1, most, most]) | st.integers(1, most))
    laid = drum.wound_to_line(layer, wraps)
    reading = as_seen(drum, laid)
    return Scene(drum, laid, parameters, reading if both_scales else leave_out(draw, reading, parameters))


def numbers(working: Working) -> tuple[int | None, int | None]:
    return working.layers, working.wraps


# The truth


@given(scenes())
def test_a_sound_reading_gives_the_whole_turns_on_the_drum_less_the_lead(scene):
    working = work_out(scene.parameters, scene.reading)
    if scene.truth is None:
        assert (working.outcome, working.proposed) == (Outcome.REFERRED, None)
        assert [problem.code for problem in working.problems] == ["cannot_step_down"]
        return
    layers, wraps = scene.truth
    assert (working.outcome, working.problems, working.proposed) == (Outcome.ACCEPTED, (), None)
    assert (*numbers(working), working.parity) == (layers, wraps, Parity("odd" if layers % 2 else "even"))


@given(scenes())
def test_a_count_is_unusual_exactly_when_it_is_flush_or_reaches_into_the_layer_below(scene):
    full_below = scene.laid[-1].layer - 1
    truth = scene.truth
    stepped_down = truth is None or truth[0] < full_below
    expected = Unusual.STEPPED_DOWN if stepped_down else Unusual.FLUSH if scene.is_flush else None
    assert work_out(scene.parameters, scene.reading).unusual is expected


@given(scenes())
def test_the_half_gives_the_same_as_the_degrees(scene):
    deg = scene.reading.crossover_deg
    half = scene.parameters.half_at(deg)
    by_half = work_out(scene.parameters, replace(scene.reading, crossover_deg=None, crossover_half=half))
    by_deg = work_out(scene.parameters, scene.reading)
    assert (by_half.outcome, numbers(by_half)) == (by_deg.outcome, numbers(by_deg))


@given(scenes())
def test_hold_proposes_what_accept_would_give_and_touches_nothing_else(scene):
    accepted = work_out(scene.parameters, scene.reading)
    held = work_out(replace(scene.parameters, unusual=UnusualRule.HOLD), scene.reading)
    if accepted.unusual is None or accepted.outcome is Outcome.REFERRED:
        assert held == accepted
        return
    assert (held.outcome, numbers(held), held.parity) == (Outcome.REFERRED, (None, None), None)
    layers, wraps = scene.truth
    assert held.proposed == Count(layers=layers, wraps=wraps, parity=Parity("odd" if layers % 2 else "even"))
    assert (held.steps, held.unusual) == (accepted.steps, accepted.unusual)


@given(scenes(), st.sampled_from([0, 360]))
def test_a_crossover_on_the_scale_line_is_always_referred_with_nothing_proposed(scene, deg):
    working = work_out(scene.parameters, replace(scene.reading, crossover_deg=deg))
    assert (working.outcome, working.proposed) == (Outcome.REFERRED, None)
    assert [problem.code for problem in working.problems] == ["crossover_unclear"]


@given(scenes())
def test_the_steps_lead_from_the_reading_to_the_result(scene):
    assume(scene.truth is not None)
    working = work_out(scene.parameters, scene.reading)
    top, read = scene.laid[-1].layer, (scene.reading.scale_left, scene.reading.scale_right)
    reached = {"layers": top if top in read else top - 1, "wraps": scene.reading.hand_wraps}
    for step in working.steps:
        counted = "wraps" if step.label.startswith(("Part-layer wraps", "Crossover", "Lead")) else "layers"
        assert step.before == reached[counted], step
        assert step.after == step.before + step.change, step
        reached[counted] = step.after
    assert (reached["layers"], reached["wraps"]) == scene.truth


# Slips of one person, each alone


def misread_scale(scene: Scene, by: tuple[int, ...]) -> Iterator[KeyedReading]:
    for field in ("scale_left", "scale_right"):
        seen = getattr(scene.reading, field)
        if seen is not None:
            yield from (replace(scene.reading, **{field: seen + n}) for n in by if seen + n >= 0)


def wrong_open_side(scene: Scene) -> Iterator[KeyedReading]:
    return (replace(scene.reading, open_side=side) for side in OpenSide if side is not scene.reading.open_side)


def wrong_unwind(scene: Scene) -> Iterator[KeyedReading]:
    return (replace(scene.reading, unwind=way) for way in Unwind if way is not scene.reading.unwind)


def hand_count_off(scene: Scene) -> Iterator[KeyedReading]:
    counted = scene.drum.wraps_on_line(scene.laid)
    return (replace(scene.reading, hand_wraps=counted + n) for n in (-2, -1, 1, 2))


def gauge_off(scene: Scene) -> Iterator[KeyedReading]:
    shown = scene.drum.wraps_on_line(scene.laid)
    return (replace(scene.reading, gauge_wraps=shown + n) for n in (-2, -1, 1, 2))


def wrong_face(scene: Scene) -> Iterator[KeyedReading]:
    face = Parity(scene.drum.right_face(scene.laid)).other
    shown = scene.drum.gauge(face, scene.laid)
    yield replace(scene.reading, gauge_face=face, gauge_wraps=shown)
    yield replace(scene.reading, gauge_face=face)  # the right face read, the wrong one keyed
    if shown != scene.reading.gauge_wraps:
        yield replace(scene.reading, gauge_wraps=shown)  # the wrong face read, the right one keyed


SLIPS: dict[str, Callable[[Scene], Iterator[KeyedReading]]] = {
    "a scale misread by one": lambda scene: misread_scale(scene, (-1, 1)),
    "the wrong open side": wrong_open_side,
    "the wrong unwind direction": wrong_unwind,
    "the hand count off": hand_count_off,
    "the gauge reading off": gauge_off,
    "the wrong face": wrong_face,
}


@pytest.mark.parametrize("slip", SLIPS.values(), ids=SLIPS)
@given(scene=scenes())
def test_one_slip_is_reread_or_referred_and_never_gives_a_number(slip, scene):
    for slipped in slip(scene):
        working = work_out(scene.parameters, slipped)
        assert working.outcome in (Outcome.REREAD, Outcome.REFERRED), slipped
        assert (working.proposed, *numbers(working)) == (None, None, None), slipped


@given(scenes(both_scales=True))
def test_a_scale_misread_by_two_is_caught_when_both_scales_are_read(scene):
    for slipped in misread_scale(scene, (-2, 2)):
        working = work_out(scene.parameters, slipped)
        assert (working.outcome is not Outcome.ACCEPTED, working.proposed) == (True, None), slipped


# What no reading may do

LEVELS = st.none() | st.integers(0, 4)
WRAPS = st.integers(-1, 6)
ANY_READING = st.builds(
    KeyedReading,
    scale_left=LEVELS, scale_right=LEVELS, open_side=st.sampled_from(OpenSide), unwind=st.sampled_from(Unwind),
    hand_wraps=WRAPS, gauge_face=st.sampled_from(Parity), gauge_wraps=WRAPS,
    crossover_deg=st.sampled_from([0, 10, 90, 180, 270, 360]),
)  # fmt: skip
ANY_PARAMETERS = st.builds(
    RuleParameters,
    anchor_side=st.sampled_from(Side), wraps_odd_layer=st.integers(2, 5), wraps_even_layer=st.integers(2, 5),
    max_layers=st.integers(1, 4), lead_wraps=st.integers(0, 6), arc_from_deg=st.sampled_from([0, 10]),
    arc_to_deg=st.sampled_from([180, 360]), unusual=st.sampled_from(UnusualRule),
    graduation=st.sampled_from(Graduation),
)  # fmt: skip


@given(ANY_PARAMETERS, ANY_READING)
def test_any_reading_has_numbers_exactly_when_nothing_is_wrong_with_it(parameters, reading):
    working = work_out(parameters, reading)
    outcomes = [problem.outcome for problem in working.problems]
    worst = Outcome.REFERRED if Outcome.REFERRED in outcomes else Outcome.REREAD if outcomes else Outcome.ACCEPTED
    assert working.outcome is worst
    assert (working.layers is not None) is (not outcomes)
    if working.proposed:
        assert [problem.code for problem in working.problems] == ["unusual_count_held"]


@given(scenes(least_slots=2))
def test_numbers_are_never_below_zero_nor_as_many_as_a_full_layer(scene):
    working = work_out(scene.parameters, scene.reading)
    if working.layers is None or working.wraps is None:
        assert [problem.code for problem in working.problems] == ["cannot_step_down"]
        return
    assert 0 <= working.layers <= MAX_LAYERS
    assert 0 <= working.wraps < scene.drum.slots(working.layers + 1)


@given(ANY_PARAMETERS, ANY_READING)
def test_keyed_in_the_order_of_the_bench_no_problem_goes_away_and_the_last_step_tells_all(parameters, reading):
    keyed = KeyedReading()
    left_out: set[Side] = set()
    told: set[str] = set()
    bench = [("scale_left",), ("scale_right",), ("open_side",), ("unwind",), ("hand_wraps",),
             ("gauge_face", "gauge_wraps"), ("crossover_deg",)]  # fmt: skip
    for step in bench:
        keyed = replace(keyed, **{field: getattr(reading, field) for field in step})
        left_out |= {side for side in Side if step == (f"scale_{side}",) and getattr(reading, step[0]) is None}
        problems = problems_so_far(parameters, keyed, left_out)
        assert told <= {problem.code for problem in problems}, step
        told = {problem.code for problem in problems}
    assert problems == work_out(parameters, reading).problems


@given(ANY_PARAMETERS, ANY_READING)
def test_every_problem_says_what_to_do_and_names_fields_of_the_reading(parameters, reading):
    fields = set(asdict(reading))
    for problem in work_out(parameters, reading).problems:
        assert problem.fields
        assert set(problem.fields) <= fields
        assert problem.detail.endswith(".")
        assert problem.code.replace("_", "").isalpha()
