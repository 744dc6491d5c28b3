"""The forms of a count. What they take is the rules' matter; they only read what was typed."""

from collections.abc import Iterable, Mapping
from typing import Any

from django import forms
from django.http import QueryDict

from inspections.domain import keying, photos, type_words
from inspections.domain.act_fields import HelpFields, ReleaseFields, SignOffFields
from inspections.domain.findings import ReelPart
from inspections.domain.reading import Half, RuleParameters
from inspections.domain.words import Decision, Point
from inspections.errors import PhotoNotTaken
from inspections.services import evaluation
from inspections.services.opening import Preparation
from inspections.services.photos import require_photo
from reels.domain.act_fields import ReasonFields, fields_of
from reels.domain.reel_figures import DrumSection
from reels.domain.words import Parity, Side
from reels.models import Publication
from reels.pages.act_fields import KEYED, LINE, READ_OFF, asks
from reels.pages.acts import ActForm

ANOTHER = ("", "another one, keyed below")
_ASKED = [name for name in fields_of(Preparation) if not name.endswith("_sound")]


class SoundForm(ActForm):
    """Whether all parts are sound, which is one tap and never preset, or which are not."""

    all_sound = forms.BooleanField(
        label="Cable, winding, drum and flanges, end fitting and scales are all sound", required=False
    )
    not_sound = forms.MultipleChoiceField(
        label="Not sound", choices=[(part.value, part.spoken) for part in ReelPart], required=False,
        widget=forms.CheckboxSelectMultiple, help_text="What is wrong is recorded next, as a finding.",
    )  # fmt: skip

    def clean(self) -> dict[str, Any]:
        """The parts that are not sound, as `unsound`."""
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        cleaned["unsound"] = cleaned.pop("not_sound", [])
        if cleaned.pop("all_sound", False) == bool(cleaned["unsound"]):
            self.add_error("all_sound", "Say that all of it is sound, or what is not.")
        return cleaned


@asks(
    Preparation, *_ASKED, work_order={"required": False}, publication_reason=LINE,
    publication={"required": False, "label": "Another publication", "help_text": "Empty: the one chosen above."},
    publication_revision={"required": False, "label": "Its revision"},
)  # fmt: skip
class PreparationForm(SoundForm):
    """What must be so before the first reading.

    The publication is chosen from those in force; a count from paper may name another. The work order is one of the
    site's last days, or is keyed.
    """

    recent_work_order = forms.ChoiceField(label="Work order", required=False, widget=forms.RadioSelect)
    in_force = forms.ChoiceField(label="Publication", required=False)

    def __init__(
        self, *args: Any, publications: list[Publication], work_orders: Iterable[str] = (), **options: Any
    ) -> None:
        super().__init__(*args, **options)
        self._offer_work_orders(list(work_orders))
        self.publications = {str(each.pk): each for each in publications}
        self.offer("in_force", "choose", [(key, f"{each}: {each.title}") for key, each in self.publications.items()])
        if len(publications) == 1:
            self.initial["in_force"] = next(iter(self.publications))

    def _offer_work_orders(self, work_orders: list[str]) -> None:
        if not work_orders:
            del self.fields["recent_work_order"]
            return
        offered: Any = self.fields["recent_work_order"]
        offered.choices = [*((each, each) for each in work_orders), ANOTHER]
        self.fields["work_order"].label = "Another work order"

    def _add_work_order(self, cleaned: dict[str, Any]) -> None:
        keyed, chosen = cleaned.get("work_order"), cleaned.pop("recent_work_order", "")
        if "work_order" in self.errors:
            return
        if keyed and chosen and keyed != chosen:
            self.add_error("work_order", f"Choose {chosen} or key another work order, not both.")
        elif not keyed and not chosen:
            self.add_error("work_order", "Name the work order.")
        else:
            cleaned["work_order"] = keyed or chosen

    def clean(self) -> dict[str, Any]:
        """The work order, the publication and what was found sound, as the service takes them."""
        cleaned = super().clean()
        self._add_work_order(cleaned)
        unsound = cleaned.pop("unsound")
        cleaned |= {f"{part}_sound": part.value not in unsound for part in ReelPart}
        chosen = self.publications.get(cleaned.pop("in_force", ""))
        if cleaned.get("publication") or cleaned.get("publication_revision"):
            return cleaned
        if chosen is None:
            self.add_error("in_force", "Choose the publication you work to.")
        else:
            cleaned |= {"publication": chosen.code, "publication_revision": chosen.revision}
        return cleaned


# The worksheet ------------------------------------------------------------------------------------------------------


def _number(label: str, hint: str = "", *, required: bool = True) -> forms.IntegerField:
    widget = forms.NumberInput(attrs=KEYED)
    says = {"required": "Key a number.", "invalid": "Key a whole number, in digits."}
    return forms.IntegerField(label=label, help_text=hint, min_value=0, max_value=keying.MOST, widget=widget,
                              required=required, error_messages=says)  # fmt: skip


def _choice(label: str, choices: Iterable[tuple[str, str]], hint: str = "") -> forms.ChoiceField:
    says = {"required": "Choose one."}
    return forms.ChoiceField(label=label, choices=choices, help_text=hint, widget=forms.RadioSelect,
                             error_messages=says)  # fmt: skip


def serial_field(of: str, where: str) -> forms.CharField:
    """Nothing fills it in: neither this service nor the browser."""
    return forms.CharField(
        label=f"Serial of the {of}", max_length=keying.LONGEST_SERIAL, error_messages={"required": "Key the serial."},
        help_text=f"In full, from {where}; never from a label, a paper or a screen.",
        widget=forms.TextInput(READ_OFF),
    )  # fmt: skip


def _scale(side: Side, rules: RuleParameters, drum: DrumSection) -> dict[str, forms.Field]:
    hint = type_words.scale_in_words(side, rules, drum)
    return {
        f"scale_{side}": _number(f"{side.capitalize()} scale", hint, required=False),
        f"scale_{side}_left_out": forms.BooleanField(label=f"The {side} scale cannot be read", required=False),
    }


def _crossover(rules: RuleParameters, drum: DrumSection) -> dict[str, forms.Field]:
    """The half, or the degrees where no half is enough."""
    hint = type_words.where_to_look(rules, drum)
    if rules.half_in_arc is not None:
        halves = [(half.value, type_words.half_in_words(half, drum)) for half in Half]
        return {"crossover_half": _choice("Where the crossover is", halves, hint)}
    return {
        "crossover_deg": forms.DecimalField(
            label="Where the crossover is, in degrees", min_value=0, max_value=360,
            help_text=f"Counter-clockwise from the scale line, from 0 to 360. {hint}",
            widget=forms.NumberInput(attrs={**KEYED, "step": "any"}), error_messages={"required": "Key the degrees."},
        )
    }  # fmt: skip


def _fields_at(point: Point, rules: RuleParameters, drum: DrumSection) -> dict[str, forms.Field]:
    """What is asked at a point of a reel of the type."""
    match point:
        case Point.SERIAL:
            return {"serial": serial_field("reel", "the data plate on the reel itself")}
        case Point.SCALE_LEFT | Point.SCALE_RIGHT:
            return _scale(Side(point.removeprefix("scale_")), rules, drum)
        case Point.OPEN_SIDE:
            sides = (("left", "left"), ("right", "right"), ("none", "none, it is flush"))
            return {"open_side": _choice("Open side", sides, "The flange that the part layer has not reached.")}
        case Point.UNWIND:
            ways = (("left_to_right", "left to right"), ("right_to_left", "right to left"))
            return {"unwind": _choice("Unwind direction", ways, "The way the cable moves along the drum as it leaves.")}
        case Point.HAND_COUNT:
            return {"hand_wraps": _number("Wraps counted by hand", "At the scale line, one by one.")}
        case Point.GAUGE:
            faces = [(face.value, type_words.face_in_words(face, drum)) for face in Parity]
            return {
                "gauge_face": _choice("Face of the wrap gauge", faces),
                "gauge_wraps": _number("Wraps read on the gauge"),
            }
        case Point.CROSSOVER:
            return _crossover(rules, drum)


class PhotoField(forms.FileField):
    """A photo, if wanted: the file as it came, refused where the service would refuse it."""

    widget = forms.FileInput(attrs={"accept": ",".join(photos.ENDINGS)})

    def clean(self, data: Any, initial: Any = None) -> bytes | None:
        if not data:
            return None
        try:
            content: bytes = data.read()
            require_photo(content)
        except PhotoNotTaken as refused:
            raise forms.ValidationError(str(refused)) from refused
        return content


PHOTO = "photo_"  # before the name of a point: the field of its photo


class StepForm(ActForm):
    """The points that one person keys on one screen. rules, drum: those of the reel's type."""

    def __init__(
        self, *args: Any, points: Iterable[Point], rules: RuleParameters, drum: DrumSection, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.points, self.rules = tuple(points), rules
        for point in self.points:
            self.fields.update(_fields_at(point, rules, drum))

    def clean(self) -> dict[str, Any]:
        """A scale is read, or said to be one that can't be."""
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        for name in ("scale_left", "scale_right"):
            if name not in cleaned:
                continue
            is_read, is_left_out = cleaned[name] is not None, cleaned[f"{name}_left_out"]
            if not is_read and not is_left_out:
                self.add_error(name, "Key the number read, or say that the scale cannot be read.")
            elif is_read and is_left_out:
                self.add_error(name, "Key the reading or tick that the scale cannot be read, not both.")
        return cleaned

    def by_point(self) -> dict[Point, dict[str, Any]]:
        """The reading fields at each point, as the services take them."""
        cleaned = self.cleaned_data
        return {
            point: {name: cleaned[name] for name in keying.FIELDS[point] if name in cleaned} for point in self.points
        }

    def typed(self) -> dict[str, str]:
        """What stands in the fields, whether it can be taken or not."""
        return {name: str(self.data[name]) for name in self.fields if self.data.get(name)}


ASKED = "asked"  # fields that nobody types: what was asked about before


class WorksheetForm(StepForm):
    """A step of a real count, with the photos that go with it.

    A number that a reel of the type can't show is asked about before it is keyed, once: sent again it is kept as read.
    asked_about: a mark for each such number.
    """

    most_mb = photos.MOST_BYTES // 2**20
    asked_about: tuple[str, ...] = ()

    def __init__(self, *args: Any, points: Iterable[Point], **kwargs: Any) -> None:
        # What is chosen comes before what is keyed: a thumb that chooses is led on.
        super().__init__(*args, points=sorted(points, key=lambda point: point is not Point.UNWIND), **kwargs)
        for point in self.points:
            if point in photos.PHOTOGRAPHED:
                label = f"Photo of {evaluation.spoken(point)}"
                self.fields[f"{PHOTO}{point}"] = PhotoField(label=label, required=False)

    def clean(self) -> dict[str, Any]:
        """Asks about what is out of the type's range, beside what can't be taken at all."""
        cleaned = super().clean()
        before = self.data.getlist(ASKED) if isinstance(self.data, QueryDict) else []
        for name in [each for each in cleaned if each.startswith("scale_") or each.endswith("_wraps")]:
            value = cleaned[name]
            if not isinstance(value, int) or not (why := type_words.why_out_of_range(name, value, self.rules)):
                continue
            mark = f"{name}={value}"
            self.asked_about += (mark,)
            if mark not in before:
                self.add_error(name, f"{why} Look again. If it reads so, key this step once more: it is kept as read.")
        return cleaned

    @property
    def read_fields(self) -> list[forms.BoundField]:
        return [field for field in self if not field.name.startswith(PHOTO)]

    @property
    def questions(self) -> list[list[forms.BoundField]]:
        """The fields of each question; that a scale can't be read goes with it. On a phone each has a screen."""
        asked: list[list[forms.BoundField]] = []
        for field in self.read_fields:
            if field.name.endswith("_left_out"):
                asked[-1].append(field)
            else:
                asked.append([field])
        return asked

    @property
    def photo_fields(self) -> list[forms.BoundField]:
        return [field for field in self if field.name.startswith(PHOTO)]

    @property
    def has_photo_errors(self) -> bool:
        return any(field.errors for field in self.photo_fields)

    def photos(self) -> dict[Point, bytes]:
        """The photos that were sent, by point."""
        cleaned = self.cleaned_data
        return {point: content for point in self.points if (content := cleaned.get(f"{PHOTO}{point}"))}


class ThirdReadingForm(StepForm):
    """What a third person reads at one point; of the wrap gauge, its number alone."""

    def __init__(self, *args: Any, point: Point, **kwargs: Any) -> None:
        super().__init__(*args, points=[point], **kwargs)
        self.fields.pop("gauge_face", None)


def typed_at(points: Iterable[Point], typed: Mapping[str, str]) -> dict[str, str]:
    """What was typed into the fields of these points; of a draft, the first content of a step's fields."""
    names = {name for point in points for name in keying.FIELDS[point]}
    return {name: value for name, value in typed.items() if name.removesuffix("_left_out") in names}


# After entry --------------------------------------------------------------------------------------------------------


@asks(ReasonFields)
class ReasonForm(ActForm):
    """An act that needs a reason and nothing else."""


@asks(HelpFields)
class HelpForm(ActForm):
    pass


@asks(SignOffFields, "password")
class PasswordForm(ActForm):
    pass


class ConfirmForm(ActForm):
    """An act that needs nothing but being meant."""


@asks(ReleaseFields, decision={"widget": forms.RadioSelect})
class ReleaseForm(ActForm):
    """How a referred count goes on."""

    def __init__(self, *args: Any, has_proposed: bool, **options: Any) -> None:
        super().__init__(*args, **options)
        if not has_proposed:
            decision: Any = self.fields["decision"]
            decision.choices = [each for each in decision.choices if each[0] != Decision.ACCEPT_PROPOSED]
