"""What a page asks of a reel type: each value with its unit, and where on the reel it is measured or read."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Any

from reels.domain.act_fields import FieldKind, act_field
from reels.domain.words import CountEffect, Graduation, LinePlace, Side, UnusualRule, WindingSense

SIDES = [(side.value, side.value) for side in Side]
EFFECTS = [
    (CountEffect.NOTHING.value, "nothing"), (CountEffect.ASKS.value, "whoever records it is asked"),
    (CountEffect.ENDS.value, "it ends the count"),
]  # fmt: skip
GRADUATIONS = [
    (Graduation.EVERY.value, "every layer at both flanges"),
    (Graduation.BY_SIDE.value, "odd layers at the anchor side, even ones at the other"),
]
UNUSUALS = [
    (UnusualRule.HOLD.value, "referred to an authorised person"),
    (UnusualRule.ACCEPT.value, "worked out, since a publication allows it"),
]
BEGINS = [("yes", "begins its layer"), ("no", "need not begin its layer: every count is referred")]


def _spoken(words: type[StrEnum]) -> list[tuple[str, str]]:
    return [(word.value, str(getattr(word, "spoken", word.value))) for word in words]


def _soft(of: str) -> Any:
    return act_field(FieldKind.WHOLE, label=f"{of}: warned from", hint="Empty: no warning.", default=None)


def _hard(of: str) -> Any:
    return act_field(FieldKind.WHOLE, label=f"{of}: at most", hint="Then the reel is held. Empty: no limit.",
                     default=None)  # fmt: skip


def _mark(what: str) -> Any:
    return act_field(FieldKind.TEXT, label=f"What {what} like", most=40, default="",
                     hint="A colour, a notch; in a few words. Empty: nothing is said.")  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class DrumFields:
    """The drum and its cable: what the drawing beside the form is made of."""

    core_diameter_mm: Decimal = act_field(
        FieldKind.LENGTH,
        label="Diameter of the core, mm",
        hint="Across the bare drum, where layer 1 lies. Measure at both flanges and in the middle, and take the mean.",
    )
    cable_diameter_mm: Decimal = act_field(
        FieldKind.LENGTH,
        label="Diameter of the cable, mm",
        hint="With a caliper, at five places of cable that hangs loose; the mean.",
    )
    wraps_odd_layer: int = act_field(
        FieldKind.WHOLE, label="Wraps of a full odd layer", hint="As on layer 1, from flange to flange."
    )
    wraps_even_layer: int = act_field(
        FieldKind.WHOLE, label="Wraps of a full even layer", hint="As on layer 2; often one fewer."
    )
    max_layers: int = act_field(
        FieldKind.WHOLE, label="Layers that the drum takes",
        hint="The part layer included: up to where cable would stand above what the flanges hold.",
    )  # fmt: skip
    layer_rise_mm: Decimal | None = act_field(
        FieldKind.LENGTH,
        label="Rise of a layer, mm",
        hint="Measure across the drum over a full layer, and again over the next one; half the difference. Empty: each "
        "layer lies in the valleys of the one below, 0.87 of the cable's diameter.",
        default=None,
    )
    layer_rise_u_mm: Decimal | None = act_field(
        FieldKind.LENGTH,
        label="The rise may be off by, mm",
        hint="Standard uncertainty. Empty: nothing for a measured rise; otherwise anything up to layers on top of "
        "each other.",
        default=None,
    )
    pitch_mm: Decimal | None = act_field(
        FieldKind.LENGTH,
        label="Pitch, mm",
        hint="From the middle of one wrap to the next: measure along the drum over ten and divide. Empty: wraps touch.",
        default=None,
    )
    diameter_u_mm: Decimal | None = act_field(
        FieldKind.LENGTH,
        label="Each diameter may be off by, mm",
        hint="Standard uncertainty. Empty: nothing.",
        default=None,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class TypeFields(DrumFields):
    """All of a reel type but its code. Left empty, the arc follows from the winding sense."""

    least_length_m: Decimal | None = act_field(
        FieldKind.LENGTH, label="Least length of use, m",
        hint="A reel that comes near it says so, with the cuts that are left. Empty: not told.",
        default=None,
    )  # fmt: skip
    anchor_side: str = act_field(
        FieldKind.WORD, label="Anchor side", words=SIDES,
        hint="The flange at which the inner end is secured and layer 1 begins, as installed, looking forward.",
    )  # fmt: skip
    scale_line_at: str = act_field(
        FieldKind.WORD, label="Scale line, as installed", words=_spoken(LinePlace),
        hint="Where the line across the drum sits at which wraps are counted.",
    )  # fmt: skip
    graduation: str = act_field(
        FieldKind.WORD, label="Flange scales are numbered", words=GRADUATIONS, hint="Read it off both flanges."
    )
    lead_wraps: int = act_field(
        FieldKind.WHOLE, label="Lead allowance, wraps",
        hint="Wraps taken off for the cable between the drum and what hangs on it when stowed.",
    )  # fmt: skip
    reference_side: str = act_field(
        FieldKind.WORD, label="Angles are seen from the", words=SIDES,
        hint="The side of what carries the machine, from which one looks at the flange.",
    )  # fmt: skip
    winding_sense: str = act_field(
        FieldKind.WORD, label="Winding sense", words=_spoken(WindingSense),
        hint="The way the cable runs from its inner end outward, seen from that side.",
    )  # fmt: skip
    arc_from_deg: int | None = act_field(
        FieldKind.WHOLE, label="A crossover takes a wrap off from, degrees", default=None,
        hint="Counter-clockwise from the scale line. Empty, both: the half turn that follows from the winding sense.",
    )  # fmt: skip
    arc_to_deg: int | None = act_field(
        FieldKind.WHOLE, label="And before, degrees", default=None, hint="At this angle, nothing is taken off any more."
    )
    arc_publication: str = act_field(
        FieldKind.TEXT, label="Publication that says another arc", most=120, default="",
        hint="Needed where the arc is not that half turn; people then key degrees.",
    )  # fmt: skip
    crossover_begins_layer: str = act_field(
        FieldKind.WORD, label="The crossover that is seen", words=BEGINS,
        hint="Where a turn steps across to the next wrap.",
    )  # fmt: skip
    unusual: str = act_field(
        FieldKind.WORD, label="Unusual counts are", words=UNUSUALS,
        hint="A drum without a part layer, or a count whose corrections reach into the layer below.",
    )  # fmt: skip
    unusual_publication: str = act_field(
        FieldKind.TEXT, label="Publication that allows unusual counts", most=120, default=""
    )
    count_days: int | None = act_field(
        FieldKind.WHOLE, label="A count lapses after, days", hint="Empty: never by time.", default=None
    )
    count_uses: int | None = act_field(
        FieldKind.WHOLE, label="A count lapses after, uses", hint="Empty: never by uses.", default=None
    )
    after_use: str = act_field(FieldKind.WORD, label="What a use does to a count", words=EFFECTS,
                               hint="A removal after use always ends it.")  # fmt: skip
    after_incident: str = act_field(FieldKind.WORD, label="What an incident does to a count", words=EFFECTS)
    reading_limit_wraps: Decimal = act_field(
        FieldKind.LENGTH,
        label="What a machine shows may be off by, wraps",
        hint="Further from what is expected, the check has failed.",
    )
    odd_face_mark: str = _mark("a gauge's odd face looks")
    even_face_mark: str = _mark("a gauge's even face looks")
    odd_scale_mark: str = _mark("a scale of odd numbers looks")
    even_scale_mark: str = _mark("a scale of even numbers looks")
    cable_uses_soft: int | None = _soft("Uses of the cable")
    cable_uses_hard: int | None = _hard("Uses of the cable")
    cable_hours_soft: int | None = _soft("Hours of the cable")
    cable_hours_hard: int | None = _hard("Hours of the cable")
    cable_days_soft: int | None = _soft("Age of the cable in days")
    cable_days_hard: int | None = _hard("Age of the cable in days")
    reel_uses_soft: int | None = _soft("Uses of the reel")
    reel_uses_hard: int | None = _hard("Uses of the reel")
    reel_hours_soft: int | None = _soft("Hours of the reel")
    reel_hours_hard: int | None = _hard("Hours of the reel")
    reel_days_soft: int | None = _soft("Age of the reel in days")
    reel_days_hard: int | None = _hard("Age of the reel in days")


# The parts of the form: what stands above each, its first field, and whether it is open from the start.
PARTS = (
    ("The drum and its cable", "core_diameter_mm", True),
    ("How it is wound and read", "anchor_side", True),
    ("What publications say", "lead_wraps", True),
    ("When a count lapses, and what machines may show", "count_days", False),
    ("What faces and scales look like", "odd_face_mark", False),
    ("Limits of life", "cable_uses_soft", False),
)


def as_columns(typed: Mapping[str, Any]) -> dict[str, Any]:
    """The columns of a reel type that were typed: words become truth, and what follows from others is filled in."""
    columns = {**typed, "crossover_begins_layer": typed["crossover_begins_layer"] == "yes"}
    columns["diameter_u_mm"] = typed["diameter_u_mm"] or Decimal(0)
    if typed["arc_from_deg"] is None and typed["arc_to_deg"] is None:
        columns["arc_from_deg"], columns["arc_to_deg"] = WindingSense(typed["winding_sense"]).arc
    return columns


def as_typed(columns: Mapping[str, Any]) -> dict[str, Any]:
    """What the form of a type shows of its columns; an arc that follows from the winding sense is left empty."""
    begins = "yes" if columns["crossover_begins_layer"] else "no"
    arc = {} if columns["arc_publication"] else {"arc_from_deg": None, "arc_to_deg": None}
    return {**columns, "crossover_begins_layer": begins, **arc}
