from typing import Any

import pytest

from inspections.domain.words import InspectionState, ReelStatus
from inspections.queries.status import with_status
from reels.models import Reel
from tests import builders
from tests.builders import Cast, later

pytestmark = pytest.mark.django_db


def status(serial="LW-0001"):
    reel: Any = with_status(Reel.objects.filter(serial=serial)).get()
    return reel.status


def test_a_reel_goes_through_the_whole_job():
    cast = Cast.as_needed()
    builders.make_reel()
    assert status() == ReelStatus.AWAITING_COUNT
    inspection = builders.open_count(cast)
    assert status() == ReelStatus.COUNT_OPEN
    inspection = builders.read(cast, inspection)
    assert (inspection.layers, inspection.wraps, inspection.parity) == (12, 10, "even")
    assert status() == ReelStatus.AWAITING_SIGN_OFF
    inspection = builders.sign_both(cast, inspection)
    assert inspection.state == InspectionState.SIGNED
    assert status() == ReelStatus.COUNTED
    values = builders.issued(cast)
    assert status() == ReelStatus.VALUES_ISSUED
    values = builders.confirmed(cast, values)
    assert status() == ReelStatus.VALUES_CONFIRMED
    builders.log_cut(cast, at=later(days=1))
    values.refresh_from_db()
    assert values.withdrawn_why.startswith("cut on 2026-03-03")
    assert status() == ReelStatus.WITHOUT_VALUES
