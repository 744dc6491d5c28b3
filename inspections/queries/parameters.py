"""The rule parameters of a reel type, as they are now or as an inspection keeps them."""

from inspections.domain.reading import RuleParameters
from inspections.models import Inspection
from reels.domain.words import Graduation, Side, UnusualRule
from reels.models import ReelType

_PARAMETERS = (
    "anchor_side", "wraps_odd_layer", "wraps_even_layer", "max_layers", "lead_wraps", "arc_from_deg", "arc_to_deg",
    "unusual", "graduation",
)  # fmt: skip


def parameters_json(reel_type: ReelType) -> dict[str, int | str]:
    """The type's rule parameters as an inspection keeps them, with the publication that allows unusual counts."""
    kept = {name: getattr(reel_type, name) for name in _PARAMETERS}
    return {**kept, "type": reel_type.code, "unusual_publication": reel_type.unusual_publication}


def parameters_of(inspection: Inspection) -> RuleParameters:
    """The rule parameters under which this inspection is worked out."""
    return rule_parameters({name: inspection.parameters[name] for name in _PARAMETERS})


def parameters_of_type(reel_type: ReelType) -> RuleParameters:
    """The rule parameters of a reel type as they are now."""
    return rule_parameters({name: getattr(reel_type, name) for name in _PARAMETERS})


def rule_parameters(values: dict[str, int | str]) -> RuleParameters:
    """Rule parameters from plain words and numbers."""
    words = {"anchor_side": Side, "unusual": UnusualRule, "graduation": Graduation}
    return RuleParameters(**{k: words[k](v) if k in words else v for k, v in values.items()})  # type: ignore[arg-type]  # checked by RuleParameters
