"""A small fleet with one lost length of cable in it, brought in as older records are. Everything in it is invented."""

from datetime import UTC, datetime, timedelta

from reels.models import ReelType
from reports.services import assessments
from tests import builders
from tests.inspections.services.intake.test_records import COUNTS_HEADER, EVENTS_HEADER, TYPES, bring_in

BEGIN = datetime(2024, 6, 1, 10, tzinfo=UTC)
LOST_AFTER = BEGIN + timedelta(days=100)  # on LW-0001, seven wraps, nothing logged
REEL_COUNT, COUNTS_A_REEL = 5, 12


def counts(reel):
    """Fortnightly counts of (12, 12), seven wraps fewer on the first reel from the eighth count on."""
    for number in range(COUNTS_A_REEL):
        at = BEGIN + timedelta(days=14 * number)
        wraps = 12 + (number % 3 == 2) - (7 if reel == 1 and at > LOST_AFTER else 0)
        yield f"LW-{reel:04},{at.isoformat()},12,{wraps},,,\n"


def fleet_files(events=""):
    """The fleet as CSV files, text by name."""
    reels = "".join(
        f"LW-{n:04},w28,{'kettle-point' if n < 4 else 'aldermere'},2024-03-01,420\n" for n in range(1, REEL_COUNT + 1)
    )
    return {
        "reel_types.csv": TYPES,
        "reels.csv": "serial,type,site,received_on,cable_length_m\n" + reels,
        "counts.csv": COUNTS_HEADER + "".join(row for n in range(1, REEL_COUNT + 1) for row in counts(n)),
        "cable_events.csv": EVENTS_HEADER + events,
    }


def bring_in_fleet(events=""):
    summary = bring_in(fleet_files(events))
    builders.confirm_rules(ReelType.objects.get(code="w28"))
    return summary


def assessed_fleet(events=""):
    """As it is once the worker has been there."""
    bring_in_fleet(events)
    assessments.bring_up_to_date(at=builders.NOW)
