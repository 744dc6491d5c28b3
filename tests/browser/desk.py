"""Records with which the pages of a desk are looked at. Everything in them is invented."""

from contextlib import suppress
from dataclasses import dataclass
from datetime import date

from inspections.models import DriftFlag, SetupValues
from inspections.services import flags
from reels.errors import NotYet
from reels.models import Reel
from reels.services.history import Actor
from reports.domain.drift_rows import end_of
from reports.services import assessments, drift_report
from reports.services.verification import check_records
from reports.services.verification_runs import keep_run
from tests.builders import NOW, Cast, record_finding
from tests.inspections.services.intake.test_records import COUNTS_HEADER, EVENTS_HEADER, TYPES, bring_in
from tests.pages_fleet import make_fleet
from tests.reports import fleet as counted_fleet
from tests.worker import work_off
from tests.worlds import step

AS_OF = date(2024, 8, 1)


@dataclass(frozen=True, slots=True)
class Desk:
    cast: Cast
    confirmed: SetupValues
    installed: SetupValues
    withdrawn: SetupValues
    flag: DriftFlag


@step
def make_desk_fleet() -> Desk:
    """The fleet of the other pages, and one reel with two years of counts and a lost length in them."""
    fleet = make_fleet()
    _bring_in_counts()
    assessments.bring_up_to_date(at=NOW)
    with suppress(NotYet):
        drift_report.kept_as_of(end_of(AS_OF))
    work_off()
    flag = _assigned(fleet.cast)
    record_finding(fleet.cast.technician, "LW-0011")
    record_finding(fleet.cast.technician, "LW-0012", severity="watch", words="A broken strand, pressed flat.")
    keep_run(check_records(), None, at=NOW)
    rows = SetupValues.objects.order_by("id")
    return Desk(
        cast=fleet.cast,
        confirmed=rows.filter(confirmed_at__isnull=False, withdrawn_at__isnull=True)[0],
        installed=rows.get(reel__serial="LW-0007"),
        withdrawn=rows.filter(withdrawn_at__isnull=False)[0],
        flag=flag,
    )


def _bring_in_counts() -> None:
    counts = "".join(row.replace("LW-0001", "LW-0020") for row in counted_fleet.counts(1))
    counts += "".join(row.replace("LW-0002", "LW-0021") for row in counted_fleet.counts(2))
    reels = "".join(f"LW-{number:04},w28,kettle-point,2024-03-01,420\n" for number in (20, 21))
    bring_in(
        {
            "reel_types.csv": TYPES,
            "reels.csv": "serial,type,site,received_on,cable_length_m\n" + reels,
            "counts.csv": COUNTS_HEADER + counts,
            "cable_events.csv": EVENTS_HEADER + "LW-0020,2024-07-10T09:00:00Z,cut,1.5,,\n",
        }
    )


def _assigned(cast: Cast) -> DriftFlag:
    row = drift_report.ranked(Reel.objects.filter(serial="LW-0020"), 0.0)[0]
    interval = drift_report.flagged_interval(row.assessment.reel, row.from_at, row.to_at)
    return flags.assign_flag(serial="LW-0020", interval=interval, to=cast.colleague, actor=Actor(cast.control), at=NOW)


def address_of_desk_pages(desk: Desk) -> dict[str, str]:
    """Every page of a desk, by a short name."""
    row = f"{desk.flag.from_at:%Y-%m-%dT%H:%M:%SZ}", f"{desk.flag.to_at:%Y-%m-%dT%H:%M:%SZ}"
    return {
        "board": "/board",
        "board-due": "/board?look=due&q=LW",
        "audit": "/audit",
        "audit-fast": "/audit?look=fast_pair",
        "drift": "/drift",
        "drift-all": "/drift?show=all",
        "reel-drift": "/reels/LW-0020/drift",
        "reel-drift-as-of": f"/reels/LW-0020/drift?as_of={AS_OF}",
        "reel-history-filtered": "/reels/LW-0001/history?what=values",
        "reel-with-counts": "/reels/LW-0020",
        "documents": "/documents",
        "document-check": "/documents/check",
        "reel-drift-none": "/reels/LW-0012/drift",
        "flag": f"/drift/flags/{desk.flag.pk}",
        "flag-close": f"/drift/flags/{desk.flag.pk}/ending",
        "flag-assign": f"/reels/LW-0020/drift/flag?from={row[0]}&to={row[1]}",
        "reel-acts": "/reels/LW-0001",
        "cut": "/reels/LW-0001/cut",
        "hold": "/reels/LW-0001/hold",
        "issue": "/reels/LW-0005/setup-values",
        "card-confirmed": f"/setup-values/{desk.confirmed.pk}",
        "card-installed": f"/setup-values/{desk.installed.pk}",
        "card-withdrawn": f"/setup-values/{desk.withdrawn.pk}",
        "card-withdraw": f"/setup-values/{desk.installed.pk}/withdrawal",
        "notices": "/account/notices",
        "account": "/account",
        "types": "/types",
        "type": "/types/w28",
        "findings": "/findings",
        "finding-record": "/reels/LW-0012/finding",
        "gauges": "/gauges",
        "publications": "/publications",
        "checkpoints": "/checkpoints",
        "moves": "/moves",
        "move": "/reels/LW-0012/move",
        "event": "/reels/LW-0012/event",
        "as-of": "/reels/LW-0001/as-of",
        "safety-notices": "/safety-notices",
        "safety-notice-issue": "/safety-notices/issue",
    }


RECEIVERS_PAGES = {"reel-in-transit": "/reels/LW-0014", "receipt": "/reels/LW-0014/receipt"}

ADMINISTRATORS_PAGES = {
    "people": "/people",
    "tasks": "/tasks",
    "type-sources": "/types/w28/sources",
    "type-confirmation": "/types/w28/confirmation",
    "publication-add": "/publications/add",
    "gauge-register": "/gauges/register",
    "set-up": "/set-up",
    "authorisations": "/authorisations",
    "finding-kinds": "/findings/kinds",
    "finding-kind-add": "/findings/kinds/add",
    "readiness-rules": "/practice/rules",
    "readiness-rule-add": "/practice/rules/add",
}
