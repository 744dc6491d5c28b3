"""One cast and plain builders, with the real services behind them. Everything in here is invented.

Each is a step of `tests/worlds.py`: taken once in a run, and put back for every other test that takes it.
"""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from types import MappingProxyType
from typing import Any

from inspections.domain.act_fields import FindingFields, GaugeReturnFields, GaugeTakingFields, ReceiptFields
from inspections.domain.findings import ReelPart, Severity
from inspections.domain.words import Act, Meaning, Role
from inspections.models import Finding, FindingKind, Inspection, SetupValues
from inspections.queries.gauges import use_out_of, use_out_of_gauge
from inspections.services import (
    authorisations,
    counting,
    findings,
    gauges,
    maintenance,
    moves,
    opening,
    outliers,
    setup,
    signing,
)
from inspections.services.counting import OnePersonsValues
from inspections.services.opening import Preparation
from reels.domain.type_rules import TypeRule
from reels.models import Installation, Machine, Move, Person, Publication, Reel, ReelEvent, ReelType, Site, WrapGauge
from reels.services import people, register
from reels.services.events import ReelEventFacts
from reels.services.history import Actor
from reels.services.reels import CableEventFacts, receive_reel
from tests.worlds import step

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
PASSWORD = "a-long-enough-word"


def later(**by: float) -> datetime:
    return NOW + timedelta(**by)


@step
def administrator() -> Person:
    """The first administrator, made as an installation makes it."""
    known = Person.objects.filter(username="ada").first()
    if known:
        return known
    return people.add_administrator(username="ada", password=PASSWORD, full_name="Ada Minder", staff_number="S-000",
                                      at=NOW - timedelta(days=400), via="command createsuperuser")  # fmt: skip


@step
def second_administrator() -> Person:
    """Another one, made in the same way."""
    known = Person.objects.filter(username="bea").first()
    return known or people.add_administrator(
        username="bea", password=PASSWORD, full_name="Bea Second", staff_number="S-001", at=NOW - timedelta(days=400),
        via="command createsuperuser",
    )  # fmt: skip


def by_administrator() -> dict[str, Any]:
    return {"actor": Actor(administrator(), via="command"), "at": NOW - timedelta(days=400)}


@step
def make_site(code: str = "kettle-point", name: str = "Kettle Point") -> Site:
    return Site.objects.filter(code=code).first() or register.add_site(code=code, name=name, **by_administrator())


@step
def make_type(code: str = "w28", **changes: Any) -> ReelType:
    known = ReelType.objects.filter(code=code).first()
    if known:
        return known
    fields: dict[str, Any] = {
        "core_diameter_mm": Decimal(300), "cable_diameter_mm": Decimal(10), "wraps_odd_layer": 28,
        "wraps_even_layer": 27, "max_layers": 20, "anchor_side": "left", "lead_wraps": 1, "unusual": "accept",
        "unusual_publication": "LWS 12-3", "least_length_m": Decimal(150), "scale_line_at": "bottom",
    }  # fmt: skip
    is_confirmed = changes.pop("is_confirmed", True)
    made = register.add_reel_type(code=code, **{**fields, **changes}, **by_administrator())
    return confirm_rules(made) if is_confirmed else made


@step
def source_rules(reel_type: ReelType) -> ReelType:
    """The first administrator names the paragraphs of all the rules."""
    publication = make_publication()
    return register.source_rules(
        reel_type, publication=publication.code, revision=publication.revision,
        paragraphs=dict.fromkeys(TypeRule, "para. 4.2"), **by_administrator(),
    )  # fmt: skip


@step
def confirm_rules(reel_type: ReelType) -> ReelType:
    """One administrator names the paragraphs, another confirms."""
    source_rules(reel_type)
    by_another = {**by_administrator(), "actor": Actor(second_administrator(), via="command")}
    return register.confirm_rules(reel_type, **by_another)


@step
def make_publication(code: str = "LWS 12-3", revision: str = "C", **changes: Any) -> Publication:
    """A publication for every type, in force since the beginning unless said."""
    known = Publication.objects.filter(code=code, revision=revision).first()
    fields: dict[str, Any] = {"title": "Counting a reel", "valid_from": NOW - timedelta(days=4000), **changes}
    return known or register.add_publication(code=code, revision=revision, **fields, **by_administrator())


@step
def make_person(username: str, *acts: Act, site: Site | None = None, **fields: Any) -> Person:
    """Somebody posted at a site (Kettle Point unless said), authorised there for the acts."""
    where, number = site or make_site(), Person.objects.count() + 1
    person = people.add_person(
        username=username, full_name=fields.pop("full_name", username.title()), staff_number=f"S-{number:04}",
        password=PASSWORD, is_settled=True, **fields, **by_administrator(),
    )  # fmt: skip
    register.post_person(person=person, site=where, valid_from=NOW - timedelta(days=365), **by_administrator())
    for act in acts:
        authorise(person, act, site=where)
    return person


@step
def authorise(person: Person, act: Act, *, site: Site | None = None, valid_from: datetime | None = None,
              valid_until: datetime | None = None, reel_type: ReelType | None = None) -> None:  # fmt: skip
    authorisations.grant(
        person=person, act=act, reel_type=reel_type, site=site, valid_from=valid_from or NOW - timedelta(days=365),
        valid_until=valid_until, **by_administrator(),
    )  # fmt: skip


@step
def make_machine(serial: str = "RM-7", site: Site | None = None) -> Machine:
    """A machine that takes reels of every type that there is now."""
    make_type()
    types = list(ReelType.objects.order_by("code").values_list("code", flat=True))
    fields: dict[str, Any] = {"host": "Heron 3", "site": site or make_site(), "types": types}
    known = Machine.objects.filter(serial=serial).first()
    if known and known.types != types:
        register.change(known, types=types, **by_administrator())
    return known or register.add_machine(serial=serial, **fields, **by_administrator())


@step
def make_gauge(serial: str = "WG-RM-7", machine: Machine | None = None, **changes: Any) -> WrapGauge:
    """A gauge of RM-7 for reels of type w28, calibrated for years, unless said."""
    fields: dict[str, Any] = {
        "machine": machine or make_machine(), "types": changes.pop("types", None) or [make_type()],
        "calibrated_on": date(2024, 1, 1), "due": date(2030, 1, 1), **changes,
    }  # fmt: skip
    known = WrapGauge.objects.filter(serial=serial).first()
    return known or register.register_gauge(serial=serial, **fields, **by_administrator())


@step
def gauge_for(reel: Reel) -> WrapGauge:
    """A gauge for counts of this reel alone, of a machine at its site."""
    machine = make_machine() if reel.site.code == "kettle-point" else make_machine(f"RM-{reel.site.code}", reel.site)
    number = reel.serial.removeprefix("LW-").replace("/", "-")
    return make_gauge(f"WG-{number}", machine, types=[reel.type])


@step
def make_reel(serial: str = "LW-0001", **changes: Any) -> Reel:
    fields: dict[str, Any] = {
        "reel_type": changes.pop("type", None) or make_type(), "site": changes.pop("site", None) or make_site(),
        "received_on": date(2024, 3, 1), "cable_length_m": Decimal(420),
    }  # fmt: skip
    make_publication()
    return receive_reel(serial=serial, **{**fields, **changes}, **by_administrator())


class Cast:
    """The people of a test: one for each part of the job, all at Kettle Point; and a stranger from Aldermere.

    Where made `as_needed`, each is made when first asked for, which takes some queries.
    """

    technician: Person
    verifier: Person
    control: Person
    setter: Person
    confirmer: Person
    releaser: Person
    instructor: Person
    colleague: Person
    stranger: Person
    PARTS = MappingProxyType({
        "technician": ("tess", "Tess Hollin", (Act.COUNT,)),
        "verifier": ("vic", "Vic Amberley", (Act.VERIFY,)),
        "control": ("mona", "Mona Castell", (Act.ISSUE, Act.MAINTAIN)),
        "setter": ("seth", "Seth Bryce", (Act.SET,)),
        "confirmer": ("cora", "Cora Lynd", (Act.CONFIRM,)),
        "releaser": ("rhea", "Rhea Folkes", (Act.RELEASE,)),
        "instructor": ("inga", "Inga Torvald", (Act.INSTRUCT,)),
        "colleague": ("noel", "Noel Grant", ()),
        "stranger": ("stella", "Stella Marsh", tuple(Act)),
    })  # fmt: skip

    def __init__(self) -> None:
        vars(self).update(_everybody())

    @classmethod
    def as_needed(cls) -> "Cast":
        return cls.__new__(cls)

    def __getattr__(self, part: str) -> Person:
        if part not in self.PARTS:
            raise AttributeError(part)
        person = _somebody(part)
        setattr(self, part, person)
        return person

    def as_part_of_a_step(self) -> tuple[Any, ...]:
        """Whoever plays a part that is usually another's."""
        others = {part: each for part, each in vars(self).items() if each.username != self.PARTS[part][0]}
        return tuple(sorted((part, each.pk) for part, each in others.items()))


@step
def _everybody() -> dict[str, Person]:
    return {part: _somebody(part) for part in Cast.PARTS}


@step
def _somebody(part: str) -> Person:
    """Whoever plays a part of the cast; made, if nobody does yet."""
    username, full_name, acts = Cast.PARTS[part]
    if known := Person.objects.filter(username=username).first():
        return known
    site = make_site("aldermere", "Aldermere") if part == "stranger" else make_site()
    return make_person(username, *acts, site=site, full_name=full_name)


PREPARATION = Preparation(
    work_order="WO-1001", publication="LWS 12-3", publication_revision="C", cable_sound=True, winding_sound=True,
    drum_sound=True, end_fitting_sound=True, scales_sound=True, cautions_confirmed=True,
    turned_as_installed=True, marks_found=True,
)  # fmt: skip

# The worked example: 12 layers, 10 wraps, even.
GOOD = {
    "scale_left": 13, "scale_right": 12, "open_side": "right", "unwind": "right_to_left", "hand_wraps": 12,
    "gauge_face": "even", "gauge_wraps": 12, "crossover_half": "first",
}  # fmt: skip


@step
def open_count(cast: Cast, serial: str = "LW-0001", at: datetime = NOW, *, has_gauge: bool = True,
               **changes: Any) -> Inspection:  # fmt: skip
    """A count that is prepared, with the wrap gauge in the technician's hand unless said."""
    make_publication()  # where the reel was brought in from a file
    opened = opening.open_inspection(
        serial=serial, preparation=replace(PREPARATION, **changes), actor=Actor(cast.technician), at=at
    )
    return take_gauge(cast, opened, at=at) if has_gauge else opened


@step
def take_gauge(cast: Cast, inspection: Inspection, serial: str = "", at: datetime = NOW) -> Inspection:
    """The technician takes the gauge of this reel's counts unless said; one that was left out by another is back."""
    gauge = make_gauge(serial) if serial else gauge_for(inspection.reel)
    if use := use_out_of_gauge(gauge):
        return_gauge(cast, use.inspection_id, at)
    facts = GaugeTakingFields(wrap_gauge=gauge.serial, end_marks_match=True)
    return gauges.take_gauge(inspection_id=inspection.pk, facts=facts, actor=Actor(cast.technician), at=at)


@step
def return_gauge(cast: Cast, inspection_id: int, at: datetime = NOW) -> None:
    """The gauge goes back, if one is out for the count."""
    if use := use_out_of(Inspection.objects.get(pk=inspection_id)):
        facts = GaugeReturnFields(wrap_gauge=use.gauge.serial)
        gauges.return_gauge(inspection_id=inspection_id, facts=facts, actor=Actor(cast.technician), at=at)


@step
def read(cast: Cast, inspection: Inspection, at: datetime = NOW, verifier: dict[str, Any] | None = None,
         **changes: Any) -> Inspection:  # fmt: skip
    """Both people's whole reading at once; the verifier sees the same unless said."""
    seen = {"serial": inspection.reel.serial, **GOOD, **changes}
    return counting.record_reading(
        inspection_id=inspection.pk, technician=OnePersonsValues(person=cast.technician, values=seen),
        verifier=OnePersonsValues(person=cast.verifier, values={**seen, **(verifier or {})}),
        actor=Actor(cast.technician), at=at,
    )  # fmt: skip


def sign_both(cast: Cast, inspection: Inspection, at: datetime = NOW) -> Inspection:
    """The gauge back and both signatures; of a count that its history makes surprising it is said why it stands."""
    _sign_both(cast, inspection.pk, at)
    inspection.refresh_from_db()
    return inspection


@step
def _sign_both(cast: Cast, inspection_id: int, at: datetime) -> None:
    return_gauge(cast, inspection_id, at)
    if outliers.open_outlier(Inspection.objects.get(pk=inspection_id)):
        outliers.accept_outlier(
            inspection_id=inspection_id, reason="read again by eye, it stands", actor=Actor(cast.verifier), at=at
        )
    for person, meaning in ((cast.technician, Meaning.COUNTED), (cast.verifier, Meaning.VERIFIED)):
        signing.sign(inspection_id=inspection_id, meaning=meaning, password=PASSWORD, actor=Actor(person), at=at)


@step
def signed_count(cast: Cast, serial: str = "LW-0001", at: datetime = NOW, **changes: Any) -> Inspection:
    return sign_both(cast, read(cast, open_count(cast, serial, at), at, **changes), at)


@step
def issued(cast: Cast, serial: str = "LW-0001", machine: str = "RM-7", at: datetime = NOW) -> SetupValues:
    make_machine(machine)
    return setup.issue(serial=serial, machine_serial=machine, actor=Actor(cast.control), at=at)


def confirmed(cast: Cast, values: SetupValues, at: datetime = NOW) -> SetupValues:
    """Installed, gauge returned, set, read back and confirmed."""
    _confirm(cast, values, at)
    values.refresh_from_db()
    return values


@step
def _confirm(cast: Cast, values: SetupValues, at: datetime) -> None:
    maintenance.install(
        serial=values.reel.serial, machine_serial=values.machine.serial, actor=Actor(cast.control), at=at
    )
    numbers: dict[str, Any] = {"setup_id": values.pk, "layers": values.layers, "wraps": values.wraps, "at": at}
    setup.return_gauge(setup_id=values.pk, actor=Actor(cast.setter), at=at)
    setup.key_read_back(actor=Actor(cast.setter), **numbers)
    setup.confirm(actor=Actor(cast.confirmer), **numbers)


@step
def log_cut(cast: Cast, serial: str = "LW-0001", metres: str = "12.5", happened_at: datetime | None = None,
            at: datetime = NOW) -> Any:  # fmt: skip
    about: dict[str, Any] = {"happened_at": happened_at or at, "length_removed_m": Decimal(metres)}
    facts = CableEventFacts(kind="cut", answers=("same_cut", "unlikely_cut"), **about)
    return maintenance.log_cable_event(serial=serial, facts=facts, actor=Actor(cast.control), at=at)


@step
def log_event(cast: Cast, kind: str = "respooled", serial: str = "LW-0001", happened_at: datetime | None = None,
              at: datetime = NOW, **facts: Any) -> ReelEvent:  # fmt: skip
    said = ReelEventFacts(kind=kind, happened_at=happened_at or at, **facts)
    return maintenance.log_reel_event(serial=serial, facts=said, actor=Actor(cast.control), at=at)


@step
def removed(cast: Cast, serial: str = "LW-0001", at: datetime = NOW, went_out: bool | None = None) -> Installation:
    actor, reason = Actor(cast.control), "to be counted"
    return maintenance.remove(serial=serial, reason=reason, cable_went_out=went_out, actor=actor, at=at)


@step
def sent(cast: Cast, serial: str = "LW-0001", at: datetime = NOW, **more: Any) -> Move:
    """To Aldermere."""
    make_site("aldermere", "Aldermere")
    return moves.send(serial=serial, site_code="aldermere", actor=Actor(cast.control), at=at, **more)


@step
def received(cast: Cast, serial: str = "LW-0001", at: datetime = NOW, **facts: Any) -> Move:
    """At Aldermere, sound, unless said."""
    said = ReceiptFields(**{"sound": True, **facts})
    return moves.receive(serial=serial, facts=said, actor=Actor(cast.stranger), at=at)


@step
def make_finding_kind(code: str = "kink", part: ReelPart = ReelPart.CABLE, least: Severity = Severity.WATCH,
                      reel_type: ReelType | None = None) -> FindingKind:  # fmt: skip
    """A kind of finding of type w28 that may be a watch, unless said."""
    where: dict[str, Any] = {"reel_type": reel_type or make_type(), "part": part, "code": code}
    known = FindingKind.objects.filter(**where).first()
    return known or findings.add_kind(**where, words=code.replace("-", " "), least_severity=least, **by_administrator())


FOUND = FindingFields(part="cable", kind="kink", severity="stop", words="a kink", layer=12, side="left", visible_wrap=4)


@step
def record_finding(person: Person, serial: str = "LW-0001", at: datetime = NOW, photo: bytes | None = None,
                   **changes: Any) -> Finding:  # fmt: skip
    """A kink of the cable that is a stop, unless said."""
    make_finding_kind()
    facts = replace(FOUND, **changes)
    return findings.record_finding(serial=serial, facts=facts, photo=photo, actor=Actor(person), at=at)


ROLES = (Role.TECHNICIAN, Role.VERIFIER)
