"""A third reading of a point at which the two differ: asked for, taken back, and read by somebody else."""

from typing import Any

from django.http import QueryDict
from django.urls import reverse

from inspections import access
from inspections.domain import keying
from inspections.domain.reading_rules import Observation
from inspections.domain.type_words import face_in_words
from inspections.domain.words import InspectionState, Point, Role
from inspections.errors import NotAThirdPerson, NotOneOfTheTwo, NotYourRequest
from inspections.models import Inspection, ThirdReading
from inspections.pages.count.deciding import WhileReadView
from inspections.pages.count.forms import ConfirmForm, ThirdReadingForm
from inspections.pages.count.step_figures import how_to_figures, of_type
from inspections.queries.keyings import keyed_in
from inspections.queries.third_readings import takes_part, third_reading_of
from inspections.services import evaluation, third_readings
from reels.domain.words import Parity
from reels.errors import NotFound
from reels.models import Reel


class ThirdReadingView(WhileReadView):
    """An act on a third reading: one that is asked for now, or one that was."""

    states = (InspectionState.OPEN,)
    form_class = ConfirmForm
    point: Point
    third: ThirdReading | None = None

    def subject(self, inspection_id: int, third_id: int = 0, point: str = "") -> tuple[Reel, Any]:  # type: ignore[override]
        reel, row = super().subject(inspection_id)
        if third_id:
            self.third = third_reading_of(row, third_id)
        if not self.third and point not in set(Point):
            raise NotFound(what="point", key=point)
        self.point = Point(self.third.point if self.third else point)
        return reel, row

    def elsewhere(self) -> str:
        is_over = self.third and not (self.third.is_awaited and self.third.reading.ended_at is None)
        return super().elsewhere() or (reverse("inspection", args=[self.row.pk]) if is_over else "")

    def context(self) -> dict[str, Any]:
        return {**super().context(), "third": self.third, "spoken": evaluation.spoken(self.point)}


class OfTheTwoView(ThirdReadingView):
    """One of the two, who goes back to the own step."""

    def done_at(self) -> str:
        part = self.row.participants.filter(person=self.person).values_list("role", flat=True).first()
        pages = {Role.TECHNICIAN.value: "worksheet-technician", Role.VERIFIER.value: "worksheet-verifier"}
        return reverse(pages.get(part or "", "inspection"), args=[self.row.pk])


class ThirdAskView(OfTheTwoView):
    template_name = "inspections/count/third_ask.html"

    def require_allowed(self) -> None:
        access.any_authorisation_for(self.person, third_readings.ACTS, self.reel, self.at)
        if not takes_part(self.row, self.person):
            raise NotOneOfTheTwo(name=self.person.full_name, inspection=self.row.pk)

    def do(self, data: dict[str, Any]) -> None:
        third_readings.ask_third_reading(
            inspection_id=self.row.pk, point=self.point, actor=self.actor, at=self.at
        )  # fmt: skip
        self.message = f"A third person is asked to read {evaluation.spoken(self.point)}. It is closed until then."


class ThirdTakeBackView(OfTheTwoView):
    template_name = "inspections/count/third_end.html"

    def require_allowed(self) -> None:
        if self.third and self.third.asked_by != self.person:
            raise NotYourRequest(name=self.third.asked_by.full_name)

    def do(self, data: dict[str, Any]) -> None:
        assert self.third, "the address names it"
        third_readings.take_back_third_reading(
            inspection_id=self.row.pk, third_id=self.third.pk, actor=self.actor, at=self.at
        )
        self.message = f"The request is taken back: both of you read {evaluation.spoken(self.point)} again."


class ThirdKeyView(ThirdReadingView):
    """What the third person keys. Nothing of the two is shown but what they agree on."""

    template_name = "inspections/count/third_reading.html"

    def require_allowed(self) -> None:
        if takes_part(self.row, self.person):
            raise NotAThirdPerson(name=self.person.full_name, inspection=self.row.pk)
        access.any_authorisation_for(self.person, third_readings.ACTS, self.reel, self.at)

    def form(self, data: QueryDict | None = None, files: Any = None) -> ThirdReadingForm:
        return ThirdReadingForm(data, point=self.point, **of_type(self.row))

    def context(self) -> dict[str, Any]:
        how_to = how_to_figures([self.point], **of_type(self.row))
        return {**super().context(), "how_to": how_to, "face": self.third and _face(self.row, self.third)}

    def do(self, data: dict[str, Any]) -> None:
        assert self.third, "the address names it"
        third_readings.key_third_reading(
            inspection_id=self.row.pk, third_id=self.third.pk, fields=self.sent_form.by_point()[self.point],
            actor=self.actor, at=self.at,
        )  # fmt: skip
        self.message = "Your reading is kept. The two of them go on; your number is not shown to them."


def _face(inspection: Inspection, third: ThirdReading) -> str:
    """The face on which a wrap gauge is read: that of the full layers which the two agree on; nothing elsewhere."""
    if third.point != Point.GAUGE:
        return ""
    agreed = keying.agreed_values(keyed_in(third.reading))
    about = of_type(inspection)
    observed = Observation(about["rules"], keying.reading_of(agreed), keying.scales_left_out(agreed))
    return face_in_words(Parity.of(observed.layer - 1), about["drum"]) if observed.layer else ""
