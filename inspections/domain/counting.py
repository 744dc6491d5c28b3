"""Counting: from what a person reads on a reel to its full layers and part-layer wraps, step by step.

    L     the counted layer, part or flush (reading_rules.py)    n    its wraps on the scale line, by hand and by gauge
    θ     angle of the crossover, degrees from the scale line    l    the lead, in wraps
    c_k   wraps that layer k holds when it is full               F, w full layers and part-layer wraps to be set

n wraps on the line are n − 1 + θ/360 turns of the counted layer (wound the other way round, n − θ/360). The machine
counts whole turns, so the nearest whole number is wanted, a half up: n − 1 in one half turn, n in the other and exactly
between them. Which half it is, the type says by its winding sense and with it the arc:

    F = L − 1,   w = n − [θ in the arc] − l                        rules 1 to 3, 5 and 6
    F = L − 2,   w = c_{L−1} − (what is missing),  if w < 0        rule 7, stepped down
    F = L,       w = 0,                            if w = c_L      rule 4, flush and nothing taken off

Source: common practice, no published source; flush and stepping down are inferred.
"""

from collections.abc import Collection
from dataclasses import dataclass
from enum import StrEnum

from inspections.domain.reading import KeyedReading, Outcome, Problem, RuleParameters
from inspections.domain.reading_rules import (
    BOTH_SIDES,
    READING_RULES,
    Observation,
    crossover_can_be_told,
    in_wraps,
    not_keyed,
    refer,
    takes_a_wrap_off,
)
from inspections.errors import ReadingIncomplete
from reels.domain.words import Parity, Side, UnusualRule


class Unusual(StrEnum):
    """What makes a count unusual."""

    FLUSH = "flush"  # no part layer on top
    STEPPED_DOWN = "stepped_down"  # the corrections reach into the layer below; said even if the reading was flush


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkingStep:
    """One line of the working; before + change = after, in layers or in wraps as the label says."""

    label: str
    before: int
    change: int
    after: int
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Count:
    """Full layers, and wraps on the layer above them; parity is that of the number of layers."""

    layers: int
    wraps: int
    parity: Parity


@dataclass(frozen=True, slots=True, kw_only=True)
class Working:
    """A reading worked out, or why it can't be.

    layers, wraps, parity: the setup values; None unless accepted.
    proposed: what an unusual count would give; None unless it is referred for that alone.
    steps: as far as the reading could be followed.
    """

    outcome: Outcome
    layers: int | None = None
    wraps: int | None = None
    parity: Parity | None = None
    unusual: Unusual | None = None
    proposed: Count | None = None
    steps: tuple[WorkingStep, ...] = ()
    problems: tuple[Problem, ...] = ()


def work_out(parameters: RuleParameters, reading: KeyedReading) -> Working:
    """Setup values of a complete reading, with every step; or all its problems together.

    reading: everything keyed; a scale that is None was left out.
    Raises ReadingIncomplete naming what is not keyed.
    Source: common practice, no published source.
    """
    missing = not_keyed(reading)
    if missing:
        raise ReadingIncomplete(missing=", ".join(missing))
    observed = Observation(parameters, reading, frozenset(BOTH_SIDES))
    reading_problems = tuple(problem for rule in READING_RULES for problem in rule(observed))
    crossover_problems = tuple(crossover_can_be_told(observed))
    layer, hand = observed.layer, reading.hand_wraps
    if reading_problems or layer is None or hand is None:
        return _with_problems(reading_problems + crossover_problems)
    as_read = _as_read(observed, layer, hand)
    if crossover_problems:  # the count as read stands all the same, and whoever decides wants to see it
        return _with_problems(crossover_problems, as_read.steps)
    return _setup_values(observed, _whole_turns_less_lead(observed, as_read))


def problems_so_far(
    parameters: RuleParameters, reading: KeyedReading, left_out: Collection[Side] = ()
) -> tuple[Problem, ...]:
    """Problems that can be told from what is keyed so far; those of `work_out` once everything is.

    left_out: flanges whose scale was keyed as left out, to tell them from scales not yet keyed.
    """
    observed = Observation(parameters, reading, frozenset(left_out))
    if observed.scales_are_keyed and not not_keyed(reading):
        return work_out(parameters, reading).problems
    return tuple(problem for rule in (*READING_RULES, crossover_can_be_told) for problem in rule(observed))


@dataclass(frozen=True, slots=True)
class _Tally:
    """Where the working stands."""

    layers: int
    wraps: int
    steps: tuple[WorkingStep, ...] = ()

    def changed(self, label: str, why: str, *, layers: int = 0, wraps: int = 0) -> "_Tally":
        before, change = (self.layers, layers) if layers else (self.wraps, wraps)
        step = WorkingStep(label=label, before=before, change=change, after=before + change, why=why)
        return _Tally(self.layers + layers, self.wraps + wraps, (*self.steps, step))


def _as_read(observed: Observation, layer: int, wraps: int) -> _Tally:
    tally = _full_layers(observed, layer, wraps)
    why = f"The hand count and the gauge's {Parity.of(layer - 1)} face agree."
    return tally.changed("Part-layer wraps", why)


def _full_layers(observed: Observation, layer: int, wraps: int) -> _Tally:
    """The first step, which starts from a number that was read."""
    if observed.is_flush:
        why = f"No side is open: layer {layer} is worked as the part layer, with all its wraps."
    elif layer not in observed.scales.values():
        full = layer - 1
        why = "The lower reading is the number of full layers; the higher scale was left out."
        return _Tally(full, wraps, (WorkingStep(label="Full layers", before=full, change=0, after=full, why=why),))
    else:
        why = f"Layer {layer} on top is the part layer and is not counted."
    return _Tally(layer, wraps).changed("Full layers", why, layers=-1)


def _whole_turns_less_lead(observed: Observation, tally: _Tally) -> _Tally:
    deg, half = observed.reading.crossover_deg, observed.reading.crossover_half
    where = f"in the {half} half" if deg is None else f"at {deg:g}°"
    arc = f"the arc from {observed.parameters.arc_from_deg:g}° to {observed.parameters.arc_to_deg:g}°"
    if takes_a_wrap_off(observed.parameters, observed.reading.crossover):
        why = f"The crossover is {where}, in {arc}: the last turn is not counted as a whole one."
        tally = tally.changed("Crossover correction", why, wraps=-1)
    else:
        why = f"The crossover is {where}, not in {arc}: the last turn is counted as a whole one."
        tally = tally.changed("Crossover correction", why)
    lead = observed.parameters.lead_wraps
    why = f"The lead of this type, between drum and stowed body, is {in_wraps(lead)}."
    return tally.changed("Lead allowance", why, wraps=-lead)


def _setup_values(observed: Observation, tally: _Tally) -> Working:
    """Setup values from what is left of the counted layer, which may be less than nothing or all of it."""
    unusual = Unusual.FLUSH if observed.is_flush else None
    if tally.wraps < 0:
        unusual = Unusual.STEPPED_DOWN  # of a flush reading, too: it is where the corrections lead that counts
        below = observed.parameters.capacity(tally.layers) if tally.layers else 0
        if below + tally.wraps < 0:
            problem = _cannot_step_down(tally, below)
            return Working(outcome=Outcome.REFERRED, unusual=unusual, steps=tally.steps, problems=(problem,))
        tally = _stepped_down(tally, below)
    elif observed.is_flush and tally.wraps == observed.parameters.capacity(tally.layers + 1):
        why = f"Nothing was subtracted, so layer {tally.layers + 1} is a full one."
        tally = tally.changed("Full layers, top one kept", why, layers=1)
        tally = tally.changed("Part-layer wraps, top layer kept", why, wraps=-tally.wraps)
    return _accepted_or_held(observed, tally, unusual)


def _cannot_step_down(tally: _Tally, below: int) -> Problem:
    holds = f"the layer below holds {in_wraps(below)}" if tally.layers else "there is no layer below"
    detail = (
        f"The corrections take {in_wraps(-tally.wraps)} more than the part layer has, and {holds}. Nothing can be "
        "proposed: stop, and put the reading before an authorised person."
    )
    return refer("cannot_step_down", detail, "hand_wraps", "gauge_wraps")


def _stepped_down(tally: _Tally, below: int) -> _Tally:
    layer, missing = tally.layers, -tally.wraps
    why = f"{in_wraps(missing)} missing: the count goes on in layer {layer}, which is no longer a full one."
    tally = tally.changed("Full layers, stepped down", why, layers=-1)
    why = f"Layer {layer} holds {in_wraps(below)} when full; less the {missing} missing."
    return tally.changed("Part-layer wraps, stepped down", why, wraps=below)


def _accepted_or_held(observed: Observation, tally: _Tally, unusual: Unusual | None) -> Working:
    layers, wraps, parity = tally.layers, tally.wraps, Parity.of(tally.layers)
    if unusual is None or observed.parameters.unusual is UnusualRule.ACCEPT:
        return Working(
            outcome=Outcome.ACCEPTED, layers=layers, wraps=wraps, parity=parity, unusual=unusual, steps=tally.steps
        )
    what = "steps down a layer" if unusual is Unusual.STEPPED_DOWN else "is flush"
    detail = (
        f"This count {what}, which this type does not accept without asking. Proposed: layers {layers}, wraps "
        f"{wraps}. Stop, and put the reading before an authorised person."
    )
    problems = (refer("unusual_count_held", detail, "open_side", "hand_wraps", "gauge_wraps"),)
    proposed = Count(layers=layers, wraps=wraps, parity=parity)
    return Working(outcome=Outcome.REFERRED, unusual=unusual, proposed=proposed, steps=tally.steps, problems=problems)


def _with_problems(problems: tuple[Problem, ...], steps: tuple[WorkingStep, ...] = ()) -> Working:
    # What an authorised person has to see is not put off by a reading that could be made again.
    referred = any(problem.outcome is Outcome.REFERRED for problem in problems)
    return Working(outcome=Outcome.REFERRED if referred else Outcome.REREAD, steps=steps, problems=problems)
