"""The rule parameters of a reel type, as they are now or as an inspection keeps them."""

from collections.abc import Mapping
from typing import Any

from inspections.domain.reading import RuleParameters
from inspections.models import Inspection
from reels.domain.type_rules import DECIDING, RULE_COLUMNS, RULE_NAMES, SEEN_COLUMNS, source_in_words
from reels.domain.words import Graduation, Side, UnusualRule
from reels.models import ReelType

_PARAMETERS = (
    "anchor_side", "wraps_odd_layer", "wraps_even_layer", "max_layers", "lead_wraps", "arc_from_deg", "arc_to_deg",
    "unusual", "graduation", "crossover_begins_layer",
)  # fmt: skip
# What tells people where to look; no number depends on it.
_SHOWN = (
    "reference_side", "scale_line_at", "winding_sense", "odd_face_mark", "even_face_mark", "odd_scale_mark",
    "even_scale_mark",
)  # fmt: skip


def parameters_json(reel_type: ReelType) -> dict[str, Any]:
    """The type's rule parameters as an inspection keeps them, with the publications that say them."""
    kept = {name: getattr(reel_type, name) for name in (*_PARAMETERS, *_SHOWN)}
    named = {name: getattr(reel_type, name) for name in ("arc_publication", "unusual_publication")}
    sources = {rule: source_in_words(source) for rule, source in reel_type.rule_sources.items()}
    return {**kept, "type": reel_type.code, **named, "sources": sources}


def changed_rules(inspection: Inspection) -> tuple[str, ...]:
    """The names of the rules by which the inspection is worked out and which its type has otherwise now."""
    kept, reel_type = inspection.parameters, inspection.reel.type
    moved = {name for name in DECIDING if name in kept and kept[name] != getattr(reel_type, name)}
    named = tuple(RULE_NAMES[rule].lower() for rule, columns in RULE_COLUMNS.items() if moved & set(columns))
    return named + tuple(name.replace("_", " ") for name in SEEN_COLUMNS if name in moved)


def parameters_of(inspection: Inspection) -> RuleParameters:
    """The rule parameters under which this inspection is worked out."""
    return rule_parameters(inspection.parameters)


def parameters_of_type(reel_type: ReelType) -> RuleParameters:
    """The rule parameters of a reel type as they are now."""
    return rule_parameters(vars(reel_type))


def rule_parameters(values: Mapping[str, Any]) -> RuleParameters:
    """Rule parameters from plain words and numbers. values: what is none of them is left aside."""
    words: dict[str, Any] = {"anchor_side": Side, "unusual": UnusualRule, "graduation": Graduation}
    stated = {name: values[name] for name in _PARAMETERS if name in values}
    return RuleParameters(**{k: words[k](v) if k in words else v for k, v in stated.items()})
