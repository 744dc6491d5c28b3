"""A reel type added or changed by an administrator, with its drum drawn beside the form as the numbers are typed."""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from reels import access
from reels.domain.act_fields import FieldKind, ReasonFields, act_field, fields_of
from reels.domain.drum_figure import drum_picture, layers_of
from reels.domain.life import LIMIT_NAMES
from reels.domain.type_fields import PARTS, SIDES, DrumFields, TypeFields, as_columns, as_typed
from reels.domain.winding import drum_from
from reels.errors import ImpossibleDrum
from reels.models import ReelType, columns
from reels.pages.act_fields import asks, field_of
from reels.pages.acts import ActForm, ActView, ComparedView, differing
from reels.pages.answers import form_page, reader
from reels.pages.figures import drawn
from reels.pages.formats import length
from reels.services import register

MAY_BE_NOTHING: dict[str, Any] = {"min_value": Decimal(0)}
MOST_IN_LIVES: dict[str, Any] = {"min_value": 1, "max_value": 32767}
CHANGES: dict[str, dict[str, Any]] = {
    **dict.fromkeys(("diameter_u_mm", "layer_rise_u_mm", "pitch_mm", "reading_limit_wraps"), MAY_BE_NOTHING),
    "anchor_side": {"choices": [("", "choose"), *SIDES]},
    **dict.fromkeys((*LIMIT_NAMES, "count_days", "count_uses"), MOST_IN_LIVES),
}
CODE = act_field(
    FieldKind.TEXT, label="Code", most=30, missing="Give it a code.",
    hint="Short, as people say it: letters, digits, - and _. It stays as it is, since machines and files name it.",
)  # fmt: skip
WEIGHT: dict[str, Any] = {
    "label": "Weight of the cable, kg a metre", "required": False, "min_value": Decimal("0.001"),
    "max_value": Decimal(1000), "decimal_places": 4,
    "help_text": "For the drawing alone, which then says what a wrap and the whole weigh; it is not kept.",
    "widget": forms.NumberInput(attrs={"inputmode": "decimal", "step": "any"}),
}  # fmt: skip


@asks(TypeFields, **CHANGES)
class TypeForm(ActForm):
    """All of a type but its code, in parts."""

    kg_per_m = forms.DecimalField(**WEIGHT)

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.order_fields([*fields_of(DrumFields), "kg_per_m"])

    @property
    def parts(self) -> Iterator[dict[str, Any]]:
        """The fields under what stands above them; a part with an error in it is open."""
        first = {name: (title, is_open) for title, name, is_open in PARTS}
        part: dict[str, Any] = {"title": "", "is_open": True, "fields": []}
        for field in self.visible_fields():
            if field.name in first:
                if part["fields"]:
                    yield part
                title, is_open = first[field.name]
                part = {"title": title, "is_open": is_open, "fields": []}
            part["fields"].append(field)
            part["is_drum"] = part.get("is_drum", False) or field.name == "core_diameter_mm"
            part["is_open"] |= bool(field.errors)
        yield part

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        ends = [data.get(name) for name in ("arc_from_deg", "arc_to_deg")]
        if not self.errors and (None in ends) and ends != [None, None]:
            raise forms.ValidationError("The arc has two ends: give both, or leave both empty.")
        return data


class TypeAddForm(TypeForm):
    """With the code first."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields = {"code": field_of(CODE.metadata["act"]), **self.fields}


class TypeChangeForm(TypeForm):
    """With the reason last."""

    reason = field_of(fields_of(ReasonFields)["reason"], label="Why it is changed", required=False,
                      help_text="It is kept in the register's history.")  # fmt: skip


@asks(DrumFields, **CHANGES)
class DrumForm(forms.Form):
    """As much of a type as its drum is drawn from."""

    kg_per_m = forms.DecimalField(**WEIGHT)


class TypeWriteView(ActView):
    """An administrator's act that adds a type or changes it."""

    template_name = "reels/type_form.html"

    def find(self, **path: Any) -> None:
        access.only_administrators(self.person)

    def context(self) -> dict[str, Any]:
        form = DrumForm(self.request.POST) if self.request.method == "POST" else DrumForm(self.drum())
        return {"section": "documents", "drum": drum_shown(form, self.person.length_unit)}

    def drum(self) -> Mapping[str, Any]:
        """The dimensions that the form begins with."""
        return {}


class TypeAddView(TypeWriteView):
    form_class = TypeAddForm
    title, button = "Add a reel type", "Add it"
    says = (
        "What all reels of one design share. Its counts can be practised and imported at once. They can be signed once "
        "each rule is sourced and another administrator has confirmed them."
    )

    def form_options(self) -> dict[str, Any]:
        return {"initial": as_typed(vars(ReelType()))}

    def done_at(self) -> str:
        return reverse("reel-types")

    def do(self, data: dict[str, Any]) -> None:
        data.pop("kg_per_m")
        added = register.add_reel_type(actor=self.actor, at=self.at, **as_columns(data))
        self.message = f"Added: reel type {added.code}. Say next where its rules are written."


class TypeChangeView(ComparedView, TypeWriteView):
    form_class = TypeChangeForm
    button = "Change it"
    says = (
        "What it was stays in the register's history. A rule that is changed has to be sourced and confirmed again; a "
        "count under way keeps what it was opened with."
    )
    subject: ReelType

    def find(self, code: str) -> None:  # type: ignore[override]  # the address names the type
        super().find()
        self.subject = access.reel_type(code)

    @property
    def title(self) -> str:
        return f"Change reel type {self.subject.code}"

    def form_options(self) -> dict[str, Any]:
        return {"initial": as_typed(vars(self.subject))}

    def drum(self) -> Mapping[str, Any]:
        return vars(self.subject)

    def done_at(self) -> str:
        return reverse("reel-type", args=[self.subject.code])

    def looked_at(self) -> Any:
        return columns(access.reel_type(self.subject.code))

    def do(self, data: dict[str, Any]) -> None:
        reason, stored = data.pop("reason"), access.reel_type(self.subject.code)
        data.pop("kg_per_m")
        changed = differing(stored, as_columns(data))
        if not changed:
            self.message = f"Nothing of reel type {stored.code} was different."
            return
        register.change(stored, actor=self.actor, at=self.at, reason=reason, **changed)
        self.message = f"Changed: reel type {stored.code}."


@form_page
def drum(request: HttpRequest) -> HttpResponse:
    """The drum of the dimensions that are being typed, as a part of a page; stores nothing."""
    access.only_administrators(reader(request))
    form = DrumForm(request.POST or request.GET)
    return render(request, "reels/drum.html", {"drum": drum_shown(form, reader(request).length_unit)})


def drum_shown(form: DrumForm, unit: str) -> dict[str, Any]:
    """What is drawn and said of a drum: `problem` says why there is none, in words."""
    if not form.is_valid():
        return {"problem": "The drum is drawn here once its diameters, wraps and layers are typed."}
    typed = form.cleaned_data
    try:
        drum = drum_from(typed)
    except ImpossibleDrum as refused:
        return {"problem": str(refused)}
    layers, weight = layers_of(drum), typed["kg_per_m"]
    first, last, turns = layers[0], layers[-1], sum(layer.wraps for layer in layers)
    return {
        "picture": drawn(drum_picture(drum), "drum"), "turns": turns, "layers": len(layers),
        "total": length(last.up_to_m, unit, 1), "first": length(first.wrap_m, unit), "last": length(last.wrap_m, unit),
        "weights": weight and [f"{float(weight) * metres:.3g} kg" for metres in (first.wrap_m, last.wrap_m)],
        "weight": weight and f"{float(weight) * last.up_to_m:,.0f} kg",
        "rise": f"{drum.rise_mm:.2f} mm",
        "rows": [
            {"number": layer.number, "wraps": layer.wraps, "wrap": length(layer.wrap_m, unit),
             "layer": length(layer.layer_m, unit, 1), "up_to": length(layer.up_to_m, unit, 1)}
            for layer in layers
        ],
    }  # fmt: skip
