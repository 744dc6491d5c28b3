"""The people of the study of slips: one inspection driven through the services, with what each of them does in it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tests.builders import Cast


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeInHand:
    """The wrap gauge as the technician keys it: its serial, whether its end marks match, the serial at its return."""

    serial: str
    marks_match: bool = True
    returned: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenStop:
    """Something on the reel that stops it, recorded by the verifier at a moment of the inspection, by a severity."""

    moment: str
    severity: str = "stop"


BEFORE_ALL, BEFORE_SIGNING, BEFORE_ISSUE = "before the count", "before signing", "before issue"


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """What the people of one inspection do. keyed: by role; machine: what it shows, None for the issued values.

    copies: how many of the two who read the machine key the issued values without looking. preparation: what is
    confirmed otherwise than by the book. stop: what one of them records, and everybody goes on all the same.
    """

    serial: str
    keyed: dict[str, dict[str, Any]]
    wraps_off: int
    gauge: GaugeInHand
    machine: tuple[int, int] | None = None
    copies: int = 0
    preparation: Mapping[str, Any] = field(default_factory=dict)
    stop: SeenStop | None = None


class Team:
    """Drives one inspection through the services, until a check stops it or the values are confirmed."""

    def __init__(self, cast: "Cast", now: datetime) -> None:
        self.cast, self.now = cast, now

    def work(self, case: Case) -> tuple[str, tuple[int, int]]:
        """What stopped it ("" for nothing), and the numbers that are in the machine at the end."""
        from inspections.errors import BelowLeastSeverity, PublicationNotInForce, StopFindingOpen
        from reels.errors import ReelHeld

        try:
            return self._work(case)
        except PublicationNotInForce:
            return "publication", (0, 0)
        except BelowLeastSeverity:
            return "least severity", (0, 0)
        except (StopFindingOpen, ReelHeld):
            return "stop finding", (0, 0)

    def _work(self, case: Case) -> tuple[str, tuple[int, int]]:
        from tests import builders

        self._record_stop(case, BEFORE_ALL)
        inspection = builders.open_count(self.cast, case.serial, self.now, has_gauge=False, **case.preparation)
        for part in (self._count, self._return_gauge, self._sign):
            if stopped := part(inspection.pk, case):
                return stopped, (0, 0)
        self._record_stop(case, BEFORE_ISSUE)
        return self._set(case)

    def _record_stop(self, case: Case, moment: str) -> None:
        from inspections.domain.act_fields import FindingFields
        from inspections.domain.findings import OTHER, ReelPart
        from inspections.services import findings
        from reels.services.history import Actor

        if case.stop and case.stop.moment == moment:
            facts = FindingFields(part=ReelPart.CABLE, kind=OTHER, severity=case.stop.severity, words="armour broken")
            findings.record_finding(serial=case.serial, facts=facts, actor=Actor(self.cast.verifier), at=self.now)

    def _count(self, inspection_id: int, case: Case) -> str:
        from inspections.domain.keying import FIELDS, NEED_GAUGE, STEPS, roles_at
        from inspections.domain.words import Point, Role
        from inspections.services import drafts
        from reels.services.history import Actor

        people = {Role.TECHNICIAN: self.cast.technician, Role.VERIFIER: self.cast.verifier}
        has_gauge = False
        for number, points in enumerate(STEPS):
            self._record_stop(case, f"before step {number}")
            if not has_gauge and not points.isdisjoint(NEED_GAUGE):
                if refused := self._take_gauge(inspection_id, case.gauge):
                    return refused
                has_gauge = True
            for role, person in people.items():
                mine = [point for point in Point if point in points and role in roles_at(point)]
                seen = case.keyed[role]
                given = {point: {name: seen[name] for name in FIELDS[point] if name in seen} for point in mine}
                keyed = drafts.key_step(
                    inspection_id=inspection_id, reading=1, role=role, by_point=given, step="", actor=Actor(person),
                    at=self.now,
                )  # fmt: skip
                if keyed.state == "cancelled":
                    return "serial"
                if keyed.rereads or keyed.state == "referred":
                    return self._why(keyed)
        return ""

    def _take_gauge(self, inspection_id: int, gauge: GaugeInHand) -> str:
        from inspections.domain.act_fields import GaugeTakingFields
        from inspections.errors import EndMarksDiffer, GaugeNotUsable
        from inspections.services import gauges
        from reels.services.history import Actor

        facts = GaugeTakingFields(wrap_gauge=gauge.serial, end_marks_match=gauge.marks_match)
        try:
            gauges.take_gauge(inspection_id=inspection_id, facts=facts, actor=Actor(self.cast.technician), at=self.now)
        except GaugeNotUsable:
            return "gauge"
        except EndMarksDiffer:
            return "end marks"
        return ""

    def _return_gauge(self, inspection_id: int, case: Case) -> str:
        from inspections.domain.act_fields import GaugeReturnFields
        from inspections.errors import OtherGauge
        from inspections.services import gauges
        from reels.services.history import Actor

        facts = GaugeReturnFields(wrap_gauge=case.gauge.returned or case.gauge.serial)
        try:
            gauges.return_gauge(
                inspection_id=inspection_id, facts=facts, actor=Actor(self.cast.technician), at=self.now
            )
        except OtherGauge:
            return "gauge's return"
        return ""

    def _why(self, inspection: Any) -> str:
        first = inspection.readings.get(number=1)
        return "comparison" if first.working is None else f"rule {first.working['problems'][0]['code']}"

    def _sign(self, inspection_id: int, case: Case) -> str:
        """Both signatures; the reel's history may stand against them."""
        from inspections.domain.words import Meaning
        from inspections.errors import CountIsOutlier
        from inspections.services import signing
        from reels.services.history import Actor
        from tests.builders import PASSWORD

        self._record_stop(case, BEFORE_SIGNING)
        people = {Meaning.COUNTED: self.cast.technician, Meaning.VERIFIED: self.cast.verifier}
        try:
            for meaning, person in people.items():
                signing.sign(inspection_id=inspection_id, meaning=meaning, password=PASSWORD, actor=Actor(person),
                             at=self.now)  # fmt: skip
        except CountIsOutlier:
            return "history"
        return ""

    def _set(self, case: Case) -> tuple[str, tuple[int, int]]:
        from inspections.services import maintenance, setup
        from reels.services.history import Actor

        cast, at = self.cast, self.now
        values = setup.issue(serial=case.serial, machine_serial="RM-7", actor=Actor(cast.control), at=at)
        maintenance.install(serial=case.serial, machine_serial="RM-7", actor=Actor(cast.control), at=at)
        setup.return_gauge(setup_id=values.pk, actor=Actor(cast.setter), at=at)
        issued = (values.layers, values.wraps)
        shown = case.machine or issued
        acts: tuple[tuple[str, Callable[..., Any], Any], ...] = (
            ("setter's read-back", setup.key_read_back, cast.setter),
            ("second person's read-back", setup.confirm, cast.confirmer),
        )
        for number, (name, act, person) in enumerate(acts):
            layers, wraps = issued if number < case.copies else shown
            if not act(setup_id=values.pk, layers=layers, wraps=wraps, actor=Actor(person), at=at).matches:
                return name, shown
        return "", shown
