"""February 2026 at Kettle Point, with something of everything that a monthly report adds up. All of it invented."""

from datetime import UTC, datetime

from inspections.domain.drift import Ending
from inspections.domain.findings import Remedy
from inspections.domain.words import Act, Decision
from inspections.services import counting, findings, flags, maintenance
from inspections.services.flags import FlaggedInterval
from reels.services.history import Actor
from tests import builders
from tests.builders import Cast
from tests.stories import release


def february(day: int, hour: int = 9) -> datetime:
    return datetime(2026, 2, day, hour, tzinfo=UTC)


def work_a_month() -> Cast:
    """Three reels at Kettle Point. On 2 March, when everything but the end of a hold is a month's."""
    cast = Cast()
    for number in (1, 2, 3):
        builders.gauge_for(builders.make_reel(f"LW-{number:04}"))
    _count_install_and_cut(cast)
    _read_again_and_hold(cast)
    _hold_refer_and_find(cast)
    _flag(cast)
    maintenance.end_hold(serial="LW-0002", reason="straightened", actor=Actor(cast.control),
                         at=datetime(2026, 3, 1, 9, tzinfo=UTC))  # fmt: skip
    newcomer = builders.make_person("hugo", full_name="Hugo Wick")
    builders.authorise(newcomer, Act.COUNT, site=newcomer.postings.get().site,
                       valid_until=datetime(2026, 3, 10, tzinfo=UTC))  # fmt: skip
    return cast


def _count_install_and_cut(cast: Cast) -> None:
    """LW-0001: counted, installed and confirmed; then cut in the machine, which ends its values."""
    builders.signed_count(cast, "LW-0001", february(3))
    builders.confirmed(cast, builders.issued(cast, "LW-0001", at=february(4)), february(5))
    builders.log_cut(cast, "LW-0001", "12.5", february(10), february(10))


def _read_again_and_hold(cast: Cast) -> None:
    """LW-0002: a reading that had to be read again, then signed; held from the 19th until 1 March."""
    count = builders.read(cast, builders.open_count(cast, "LW-0002", february(6)), february(6), gauge_wraps=11)
    builders.sign_both(cast, builders.read(cast, count, february(7)), february(7))
    maintenance.place_hold(serial="LW-0002", reason="a bent flange", actor=Actor(cast.control), at=february(19, 0))


def _hold_refer_and_find(cast: Cast) -> None:
    """LW-0003: held from before the month until noon of the 3rd; a count referred, released and cancelled; a kink."""
    control, technician = Actor(cast.control), Actor(cast.technician)
    held_at = datetime(2026, 1, 20, 9, tzinfo=UTC)
    maintenance.place_hold(serial="LW-0003", reason="wet", actor=control, at=held_at)
    maintenance.end_hold(serial="LW-0003", reason="dry", actor=control, at=february(3, 12))
    count = builders.read(cast, builders.open_count(cast, "LW-0003", february(12)), february(12),
                          crossover_half="unclear")  # fmt: skip
    release(cast, count, Decision.READ_AGAIN, february(13))
    counting.cancel(inspection_id=count.pk, reason="too dark", actor=technician, at=february(14))
    builders.make_finding_kind()
    for day in (15, 16):
        found = builders.record_finding(cast.technician, "LW-0003", february(day), severity="watch", kind="kink")
    findings.close_finding(finding_id=found.pk, remedy=Remedy.SOUND, reason="a shadow", actor=Actor(cast.releaser),
                           at=february(17))  # fmt: skip


def _flag(cast: Cast) -> None:
    interval = FlaggedInterval(from_at=february(3), to_at=february(10), p_unlogged_cut=0.9, explanation="shorter")
    control = Actor(cast.control)
    for serial, day in (("LW-0001", 11), ("LW-0002", 12)):
        flag = flags.assign_flag(serial=serial, interval=interval, to=cast.control, actor=control, at=february(day))
    flags.close_flag(flag_id=flag.pk, ending=Ending.MISCOUNT, reason="read again", actor=control, at=february(18))
