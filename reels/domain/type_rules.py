"""The rules of a reel type that decide a count: each with the publication and the paragraph that say it.

A rule is sourced by whoever gives its publication and paragraph, and the type is confirmed by somebody else; changed, a
rule has to be sourced again, and the type to be confirmed again.
"""

from collections.abc import Iterable, Mapping
from enum import StrEnum
from typing import Any

from reels.domain.words import counted


class TypeRule(StrEnum):
    """A rule of a reel type that a publication says."""

    LEAD = "lead"
    ARC = "arc"
    REFERENCE_SIDE = "reference_side"
    SCALE_LINE = "scale_line"
    WINDING_SENSE = "winding_sense"
    UNUSUAL = "unusual"


RULE_NAMES = {
    TypeRule.LEAD: "Lead",
    TypeRule.ARC: "Crossover arc",
    TypeRule.REFERENCE_SIDE: "Reference side",
    TypeRule.SCALE_LINE: "Scale line, as installed",
    TypeRule.WINDING_SENSE: "Winding sense",
    TypeRule.UNUSUAL: "Unusual counts",
}
RULE_COLUMNS: Mapping[TypeRule, tuple[str, ...]] = {
    TypeRule.LEAD: ("lead_wraps",),
    TypeRule.ARC: ("arc_from_deg", "arc_to_deg", "arc_publication", "crossover_begins_layer"),
    TypeRule.REFERENCE_SIDE: ("reference_side",),
    TypeRule.SCALE_LINE: ("scale_line_at",),
    TypeRule.WINDING_SENSE: ("winding_sense",),
    TypeRule.UNUSUAL: ("unusual", "unusual_publication"),
}
NO_LAYER_BEGINS = "; a crossover need not be where its layer begins, so every count is referred"
# What a count depends on besides; it is seen on the reel or its drawing, and no paragraph is asked for it.
SEEN_COLUMNS = ("anchor_side", "wraps_odd_layer", "wraps_even_layer", "max_layers", "graduation")
DECIDING = (*SEEN_COLUMNS, *(name for columns in RULE_COLUMNS.values() for name in columns))

Sources = Mapping[str, Mapping[str, Any]]  # by rule: publication, revision, paragraph, given_by


def without_source(sources: Sources) -> tuple[TypeRule, ...]:
    """The rules for which nobody said where they are written."""
    return tuple(rule for rule in TypeRule if rule not in sources)


def still_sourced(sources: Sources, changed: Iterable[str]) -> dict[str, Mapping[str, Any]]:
    """The sources that stand once these columns of the type are changed."""
    moved = set(changed)
    return {rule: source for rule, source in sources.items() if not moved & set(RULE_COLUMNS[TypeRule(rule)])}


def source_in_words(source: Mapping[str, Any]) -> str:
    """As people name a place in a publication."""
    return f"{source['publication']}, revision {source['revision']}, {source['paragraph']}"


def rules_in_words(parameters: Mapping[str, Any]) -> dict[TypeRule, str]:
    """Each rule's value as people say it. parameters: columns of the type."""
    arc = f"{parameters['arc_from_deg']}° to {parameters['arc_to_deg']}°"
    by = f", by {parameters['arc_publication']}" if parameters["arc_publication"] else ""
    accepts = f"accepted under {parameters['unusual_publication']}"
    return {
        TypeRule.LEAD: counted(parameters["lead_wraps"], "wrap"),
        TypeRule.ARC: arc + by + ("" if parameters.get("crossover_begins_layer", True) else NO_LAYER_BEGINS),
        TypeRule.REFERENCE_SIDE: parameters["reference_side"],
        TypeRule.SCALE_LINE: parameters["scale_line_at"],
        TypeRule.WINDING_SENSE: parameters["winding_sense"].replace("_", "-"),
        TypeRule.UNUSUAL: accepts if parameters["unusual"] == "accept" else "referred to an authorised person",
    }
