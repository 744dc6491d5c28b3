"""A small fleet in which every status occurs, for whoever looks at pages. Everything in it is invented."""

from dataclasses import dataclass

from inspections.domain.words import Decision, Point, Role
from inspections.models import Inspection
from inspections.services import counting, machine_checks, maintenance, setup, signing
from reels.models import Reel
from reels.services.history import Actor
from tests import builders
from tests.builders import Cast, later
from tests.worlds import step


@dataclass(frozen=True, slots=True)
class Fleet:
    """The cast, the inspections that are worth a look, and the reel that has been through most."""

    cast: Cast
    signed: Inspection
    referred: Inspection
    blind: Inspection
    voided: Inspection
    busiest: Reel


@step
def make_fleet() -> Fleet:
    cast = Cast()
    busiest = builders.make_reel("LW-0001")
    signed = _whole_job(cast)
    for number in range(2, 14):
        builders.make_reel(f"LW-{number:04}")
    builders.make_reel("AM-0001", site=builders.make_site("aldermere", "Aldermere"))
    referred = _referred(cast)
    blind = _half_keyed(cast)
    builders.read(cast, builders.open_count(cast, "LW-0004"))
    builders.signed_count(cast, "LW-0005")
    builders.signed_count(cast, "LW-0006")
    builders.issued(cast, "LW-0006", "RM-2")
    _installed(cast)
    maintenance.place_hold(serial="LW-0009", reason="A flange is bent.", actor=Actor(cast.control), at=builders.NOW)
    builders.make_reel("LW-0014")
    builders.sent(cast, "LW-0014", document="SN-4")
    maintenance.retire(serial="LW-0010", reason="The drum is cracked.", actor=Actor(cast.control), at=builders.NOW)
    return Fleet(cast, signed, referred, blind, _voided(cast), busiest)


def _whole_job(cast: Cast) -> Inspection:
    """Counted, installed and confirmed; cut, so its values were withdrawn; taken off, counted and confirmed again."""
    control = Actor(cast.control)
    builders.signed_count(cast, at=later(days=-40))
    builders.confirmed(cast, builders.issued(cast, at=later(days=-40)), later(days=-40, hours=2))
    builders.log_cut(cast, at=later(days=-9))
    maintenance.remove(serial="LW-0001", reason="to be counted", actor=control, at=later(days=-8))
    inspection = builders.open_count(cast, at=later(days=-1))
    inspection = builders.read(cast, inspection, later(days=-1), verifier={"hand_wraps": 11})
    inspection = builders.read(cast, inspection, later(days=-1, minutes=20))
    inspection = builders.sign_both(cast, inspection, later(days=-1, hours=1))
    values = builders.issued(cast, at=later(hours=-2))
    maintenance.install(serial="LW-0001", machine_serial="RM-7", actor=control, at=later(hours=-1))
    setup.return_gauge(setup_id=values.pk, actor=Actor(cast.setter), at=later(minutes=-50))
    setup.key_read_back(setup_id=values.pk, layers=12, wraps=11, actor=Actor(cast.setter), at=later(minutes=-45))
    setup.key_read_back(setup_id=values.pk, layers=12, wraps=10, actor=Actor(cast.setter), at=later(minutes=-40))
    setup.confirm(setup_id=values.pk, layers=12, wraps=10, actor=Actor(cast.confirmer), at=later(minutes=-30))
    machine_checks.record_check(
        setup_id=values.pk, kind="functional", passed=True, remark="One metre out and in.",
        actor=Actor(cast.setter), at=later(minutes=-20),
    )  # fmt: skip
    return inspection


def _referred(cast: Cast) -> Inspection:
    """Released once to be read again, and referred again."""
    inspection = builders.read(cast, builders.open_count(cast, "LW-0002"), crossover_half=None, crossover_deg=0)
    counting.release(
        inspection_id=inspection.pk, decision=Decision.READ_AGAIN, reason="Turn the drum a little and read it again.",
        actor=Actor(cast.releaser), at=later(hours=1),
    )  # fmt: skip
    return counting.ask_for_help(
        inspection_id=inspection.pk, remark="The mark on the left flange is worn off.", actor=Actor(cast.technician),
        at=later(hours=2),
    )  # fmt: skip


def _half_keyed(cast: Cast) -> Inspection:
    """Point by point: the left scale agreed, the right one keyed by both and different, and once more by one."""
    inspection = builders.open_count(cast, "LW-0003")
    keyed = (
        (Point.SERIAL, Role.TECHNICIAN, {"serial": "LW-0003"}),
        (Point.SERIAL, Role.VERIFIER, {"serial": "LW-0003"}),
        (Point.OPEN_SIDE, Role.TECHNICIAN, {"open_side": "right"}),
        (Point.OPEN_SIDE, Role.VERIFIER, {"open_side": "right"}),
        (Point.SCALE_LEFT, Role.TECHNICIAN, {"scale_left": 13}),
        (Point.SCALE_LEFT, Role.VERIFIER, {"scale_left": 13}),
        (Point.SCALE_RIGHT, Role.TECHNICIAN, {"scale_right": 777}),
        (Point.SCALE_RIGHT, Role.VERIFIER, {"scale_right": 778}),
        (Point.SCALE_RIGHT, Role.TECHNICIAN, {"scale_right": 779}),
    )
    for point, role, given in keyed:
        person = cast.technician if role is Role.TECHNICIAN else cast.verifier
        counting.key(
            inspection_id=inspection.pk, point=point, role=role, fields=given, actor=Actor(person), at=builders.NOW
        )
    return inspection


def _installed(cast: Cast) -> None:
    for serial, machine in (("LW-0007", "RM-3"), ("LW-0008", "RM-4")):
        builders.signed_count(cast, serial)
        builders.issued(cast, serial, machine)
        maintenance.install(serial=serial, machine_serial=machine, actor=Actor(cast.control), at=builders.NOW)
    builders.log_cut(cast, "LW-0008", metres="3", at=later(hours=3))


def _voided(cast: Cast) -> Inspection:
    inspection = builders.signed_count(cast, "LW-0011")
    signing.request_void(
        inspection_id=inspection.pk, reason="The other reel on the stand was counted.", actor=Actor(cast.verifier),
        at=later(hours=4),
    )  # fmt: skip
    signing.confirm_void(inspection_id=inspection.pk, actor=Actor(cast.releaser), at=later(hours=5))
    inspection.refresh_from_db()
    return inspection
