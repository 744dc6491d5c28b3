"""The month before the demo is loaded: the diary of the demo fleet, done act by act through the services.

The newest counts, and those where the two first differ, are keyed step by step, as on the worksheet: only they say how
well two people agree. The others are entered at once, as a script does.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from inspections.access import readable_flags
from inspections.domain import keying
from inspections.domain.act_fields import FindingFields, GaugeReturnFields, GaugeTakingFields
from inspections.domain.drift import Ending
from inspections.domain.findings import ReelPart, Severity
from inspections.domain.practice.reels import PracticeDrum, reading_of
from inspections.domain.reading import RuleParameters
from inspections.domain.reading_rules import takes_a_wrap_off
from inspections.domain.words import Meaning, Point, Role
from inspections.errors import CountIsOutlier
from inspections.models import Inspection
from inspections.queries.parameters import parameters_of_type
from inspections.queries.setup_values import values_in_force
from inspections.services import counting, findings, flags, gauges, maintenance, opening, outliers, setup, signing
from inspections.services.counting import OnePersonsValues
from inspections.services.gauges import GaugeFacts
from inspections.services.opening import Preparation
from reels import access
from reels.models import Person, Reel
from reels.services.events import ReelEventFacts
from reels.services.history import Actor
from reels.services.logins import Proof
from reels.services.reels import CableEventFacts
from reports.services import assessments, drift_report

DAYS = 29
BY_STEP_FOR_DAYS = 8.0  # so long ago, and since, counts are keyed step by step, which takes six times as long to load


@dataclass(slots=True)
class Month:
    """now: when the demo is loaded. password: everybody's, proved once by each who signs, for it is slow by design."""

    now: datetime
    password: str
    publication: Mapping[str, str]
    acts: Sequence[Mapping[str, Any]]
    _people: dict[str, Person] = field(default_factory=dict)
    _proofs: dict[str, Proof] = field(default_factory=dict)
    _last_counts: dict[str, Mapping[str, Any]] = field(default_factory=dict)

    def play(self) -> None:
        """Every act of the diary, in order; at its beginning somebody has the drift report made."""
        what: dict[str, Callable[[Mapping[str, Any], datetime], object]] = {
            "count": self._count, "recount": self._recount, "issue": self._issue, "install": self._install,
            "set": self._set, "confirm": self._confirm, "use": self._use, "remove": self._remove, "cut": self._cut,
            "find": self._find, "retire": self._retire, "assign_flag": self._assign_flag,
            "look_into_flag": self._look_into_flag, "close_flag": self._close_flag,
        }  # fmt: skip
        if self.acts:
            assessments.bring_up_to_date(at=self.now - timedelta(days=DAYS))
        for row in self.acts:
            what[row["act"]](row, self.now - timedelta(days=row["days_ago"]))

    def _actor(self, username: str) -> Actor:
        if username not in self._people:
            self._people[username] = access.person_named(username)
        return Actor(self._people[username], via="session")

    def _by(self, row: Mapping[str, Any], at: datetime) -> dict[str, Any]:
        return {"serial": row["reel"], "actor": self._actor(row["by"]), "at": at}

    # Counts -------------------------------------------------------------------------------------------------------

    def _count(self, row: Mapping[str, Any], at: datetime) -> None:
        """A count from preparation to two signatures, or until what `until` names."""
        reel = access.reel_for_read(row["reel"], self._actor(row["by"]).person, at)
        seen = seen_on_drum(parameters_of_type(reel.type), row)
        self._last_counts[row["reel"]] = row
        inspection = opening.open_inspection(
            serial=reel.serial, preparation=self._preparation(row), actor=self._actor(row["by"]), at=at
        )
        about: dict[str, Any] = {"inspection_id": inspection.pk, "actor": self._actor(row["by"])}
        until = row.get("until", "")
        if row["off_at_first"] or until or row["days_ago"] < BY_STEP_FOR_DAYS:
            at = self._key_steps(inspection, row, {**seen, "serial": reel.serial}, at)
            if until in tuple(Point):
                return
            gauges.return_gauge(facts=GaugeReturnFields(wrap_gauge=row["gauge"]), at=at + timedelta(minutes=3), **about)
        else:
            at += timedelta(minutes=20)
            self._read(inspection, row, {**seen, "serial": reel.serial}, at)
        if until == "help":
            counting.ask_for_help(remark=row["words"], at=at + timedelta(minutes=5), **about)
            return
        self._sign(inspection, row, at + timedelta(minutes=6), is_half=until == "counted")

    def _recount(self, row: Mapping[str, Any], at: datetime) -> None:
        """Counted once more, with what was seen the last time."""
        self._count({**self._last_counts[row["reel"]], **row, "off_at_first": 0}, at)

    def _preparation(self, row: Mapping[str, Any]) -> Preparation:
        sound: dict[str, Any] = {f"{part}_sound": True for part in ReelPart}
        return Preparation(
            work_order=row["work_order"], publication=self.publication["code"],
            publication_revision=self.publication["revision"], cautions_confirmed=True, turned_as_installed=True,
            marks_found=True, **sound,
        )  # fmt: skip

    def _read(self, inspection: Inspection, row: Mapping[str, Any], seen: Mapping[str, Any], at: datetime) -> None:
        """Both people's whole reading at once."""
        technician, verifier = self._actor(row["by"]), self._actor(row["verifier"])
        counting.record_reading(
            inspection_id=inspection.pk, technician=OnePersonsValues(person=technician.person, values=seen),
            verifier=OnePersonsValues(person=verifier.person, values=seen), actor=technician, at=at,
            gauge=GaugeFacts(wrap_gauge=row["gauge"], end_marks_match=True, is_back=True),
        )  # fmt: skip

    def _key_steps(
        self, inspection: Inspection, row: Mapping[str, Any], seen: Mapping[str, Any], at: datetime
    ) -> datetime:
        """Step by step, up to the one that `until` names, which the technician alone has keyed; when it ended."""
        for points in keying.STEPS:
            at += timedelta(minutes=3)
            if Point.HAND_COUNT in points:
                taking = GaugeTakingFields(wrap_gauge=row["gauge"], end_marks_match=True)
                actor = self._actor(row["by"])
                gauges.take_gauge(inspection_id=inspection.pk, facts=taking, actor=actor, at=at)
            if row.get("until") in points:
                self._key(inspection, row, Role.TECHNICIAN, points, seen, at)
                return at
            self._key_both(inspection, row, points, seen, at)
        return at

    def _key_both(
        self, inspection: Inspection, row: Mapping[str, Any], points: Collection[Point], seen: Mapping[str, Any],
        at: datetime,
    ) -> None:  # fmt: skip
        """Both key; where the verifier first counts a wrap otherwise, both count once more."""
        off = row["off_at_first"] if Point.HAND_COUNT in points else 0
        self._key(inspection, row, Role.TECHNICIAN, points, seen, at)
        otherwise = {**seen, "hand_wraps": max(0, seen["hand_wraps"] + off)}
        self._key(inspection, row, Role.VERIFIER, points, otherwise, at + timedelta(minutes=1))
        if otherwise["hand_wraps"] != seen["hand_wraps"]:
            for role in Role.TECHNICIAN, Role.VERIFIER:
                self._key(inspection, row, role, (Point.HAND_COUNT,), seen, at + timedelta(minutes=2))

    def _key(
        self, inspection: Inspection, row: Mapping[str, Any], role: Role, points: Collection[Point],
        seen: Mapping[str, Any], at: datetime,
    ) -> None:  # fmt: skip
        by_point = {
            point: {name: seen[name] for name in keying.FIELDS[point] if name in seen}
            for point in Point
            if point in points and role in keying.roles_at(point)
        }
        actor = self._actor(row["by"] if role is Role.TECHNICIAN else row["verifier"])
        counting.key_points(inspection_id=inspection.pk, role=role, by_point=by_point, actor=actor, at=at)

    def _sign(self, inspection: Inspection, row: Mapping[str, Any], at: datetime, *, is_half: bool) -> None:
        about: dict[str, Any] = {"inspection_id": inspection.pk}
        try:
            signing.sign_as(self._proof(row["by"], at), meaning=Meaning.COUNTED, at=at, **about)
        except CountIsOutlier:
            outliers.accept_outlier(
                reason="Counted twice, with the same result; the record before must hold a slip.",
                actor=self._actor(row["verifier"]), at=at, **about,
            )  # fmt: skip
            signing.sign_as(self._proof(row["by"], at), meaning=Meaning.COUNTED, at=at, **about)
        if not is_half:
            at += timedelta(minutes=2)
            signing.sign_as(self._proof(row["verifier"], at), meaning=Meaning.VERIFIED, at=at, **about)

    def _proof(self, username: str, at: datetime) -> Proof:
        if username not in self._proofs:
            self._proofs[username] = signing.prove(self._actor(username), self.password, at=at)
        return self._proofs[username]

    # What follows -------------------------------------------------------------------------------------------------

    def _issue(self, row: Mapping[str, Any], at: datetime) -> None:
        setup.issue(machine_serial=row["machine"], **self._by(row, at))

    def _install(self, row: Mapping[str, Any], at: datetime) -> None:
        maintenance.install(machine_serial=row["machine"], **self._by(row, at))

    def _numbers(self, row: Mapping[str, Any], at: datetime) -> dict[str, Any]:
        actor = self._actor(row["by"])
        values = values_in_force(access.reel_for_read(row["reel"], actor.person, at))
        assert values is not None, "the diary issues before it sets"
        return {"setup_id": values.pk, "layers": values.layers, "wraps": values.wraps, "actor": actor}

    def _set(self, row: Mapping[str, Any], at: datetime) -> None:
        numbers = self._numbers(row, at)
        setup.return_gauge(setup_id=numbers["setup_id"], actor=numbers["actor"], at=at)
        setup.key_read_back(at=at + timedelta(minutes=5), **numbers)

    def _confirm(self, row: Mapping[str, Any], at: datetime) -> None:
        setup.confirm(at=at, **self._numbers(row, at))

    def _use(self, row: Mapping[str, Any], at: datetime) -> None:
        facts = ReelEventFacts(kind="used", happened_at=at, hours=Decimal(str(row["hours"])))
        maintenance.log_reel_event(facts=facts, **self._by(row, at))

    def _remove(self, row: Mapping[str, Any], at: datetime) -> None:
        maintenance.remove(reason="to be counted", cable_went_out=True, **self._by(row, at))

    def _cut(self, row: Mapping[str, Any], at: datetime) -> None:
        happened_at = datetime.fromisoformat(row["happened_at"]) if "happened_at" in row else at
        facts = CableEventFacts(
            kind="cut", happened_at=happened_at, length_removed_m=Decimal(str(row["metres"])),
            remark="The end fitting was made up again.", answers=("same_cut", "unlikely_cut"),
        )  # fmt: skip
        maintenance.log_cable_event(facts=facts, **self._by(row, at))

    def _find(self, row: Mapping[str, Any], at: datetime) -> None:
        facts = FindingFields(part=row["part"], kind=row["kind"], severity=Severity.STOP.value, words=row["words"])
        findings.record_finding(facts=facts, **self._by(row, at))

    def _retire(self, row: Mapping[str, Any], at: datetime) -> None:
        maintenance.retire(reason=row["reason"], **self._by(row, at))

    # Drift flags --------------------------------------------------------------------------------------------------

    def _assign_flag(self, row: Mapping[str, Any], at: datetime) -> None:
        """A flag on the interval of the reel in which a loss is most probable."""
        reel = access.reel_for_read(row["reel"], self._actor(row["by"]).person, at)
        first = drift_report.ranked(Reel.objects.filter(pk=reel.pk), least_p=0.0)[0]
        interval = drift_report.flagged_interval(reel, first.from_at, first.to_at)
        flags.assign_flag(interval=interval, to=self._actor(row["to"]).person, **self._by(row, at))

    def _look_into_flag(self, row: Mapping[str, Any], at: datetime) -> None:
        flags.look_into_flag(finding=row["words"], **self._open_flag(row, at))

    def _close_flag(self, row: Mapping[str, Any], at: datetime) -> None:
        flags.close_flag(ending=Ending(row["ending"]), reason=row["words"], **self._open_flag(row, at))

    def _open_flag(self, row: Mapping[str, Any], at: datetime) -> dict[str, Any]:
        actor = self._actor(row["by"])
        of_reel = drift_report.flags_matching(readable_flags(actor.person, at), {"state": "open"})
        return {"flag_id": of_reel.get(reel__serial=row["reel"]).pk, "actor": actor, "at": at}


def seen_on_drum(parameters: RuleParameters, row: Mapping[str, Any]) -> dict[str, Any]:
    """The reading fields that come out at the diary's count, which has to be a usual one."""
    for crossover_deg in (60.0, 300.0):  # of these one takes a wrap off and the other does not
        layer, deciding = row["layers"] + 1, takes_a_wrap_off(parameters, crossover_deg)
        wraps = row["wraps"] + parameters.lead_wraps + bool(deciding)
        if wraps < parameters.capacity(layer):
            break
    reading = reading_of(parameters, PracticeDrum(layer=layer, wraps=wraps, crossover_deg=crossover_deg))
    fields = {name: getattr(reading, name) for point in Point for name in keying.FIELDS[point] if name != "serial"}
    return {name: value for name, value in fields.items() if value is not None or name.startswith("scale")}
