"""The acts on reference data that have a form and are not on publications or gauges."""

from tests import builders
from tests.reports.pages.forms_of_acts import administrators_act
from tests.reports.pages.forms_of_practice import CASES

__all__ = ["CASES", "NEW_TYPE_TYPED"]

NEW_TYPE_TYPED = {
    "code": "w40", "core_diameter_mm": "180", "cable_diameter_mm": "8.5", "wraps_odd_layer": "40",
    "wraps_even_layer": "39", "max_layers": "12", "anchor_side": "right",
}  # fmt: skip


def _type_to_change() -> str:
    return f"/types/{builders.make_type().code}/change"


administrators_act("type-add", lambda: "/types/add", NEW_TYPE_TYPED, {"code": "w41"})
administrators_act("type-change", _type_to_change, {"odd_face_mark": "one notch"}, {"odd_face_mark": "two notches"})
