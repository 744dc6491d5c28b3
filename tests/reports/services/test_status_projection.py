"""What is kept of where each reel stands is what its records say, after whatever was done."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inspections.domain.words import ReelStatus
from inspections.queries.status import with_status
from inspections.services import maintenance
from reels.models import Reel
from reels.services.history import Actor
from reports.models import ReelStatusRow, StatusWatermark
from reports.services import status_projection
from tests import builders
from tests.builders import Cast, later
from tests.pages_fleet import make_fleet

pytestmark = pytest.mark.django_db


def test_every_status_has_its_place_and_says_since_when():
    assert set(status_projection.SINCE) == set(ReelStatus)


def test_what_is_kept_is_what_the_records_say_of_every_reel():
    make_fleet()
    status_projection.bring_up_to_date()
    reels = Reel.objects.select_related("status_row", "chain")
    assert {reel.status_row.head for reel in reels} == {reel.chain.head for reel in reels}
    reels_with_status: Any = with_status(Reel.objects.all())
    said = {reel.serial: reel.status for reel in reels_with_status}
    assert dict(ReelStatusRow.objects.values_list("reel__serial", "status")) == said
    assert len(set(said.values())) == len(ReelStatus)  # the fleet has a reel in each


def test_nothing_is_worked_out_while_no_history_grows():
    cast = Cast.as_needed()
    builders.make_reel()
    status_projection.bring_up_to_date()
    with CaptureQueriesContext(connection) as queries:
        status_projection.bring_up_to_date()
    assert len(queries) == 1
    builders.log_cut(cast)
    status_projection.bring_up_to_date()
    assert ReelStatusRow.objects.get().since == builders.NOW


def test_only_reels_whose_history_grew_are_worked_out_anew():
    cast = Cast.as_needed()
    for serial in ("LW-0001", "LW-0002"):
        builders.make_reel(serial)
    status_projection.bring_up_to_date()
    ReelStatusRow.objects.update(hold_why="as it was")
    maintenance.place_hold(serial="LW-0002", reason="A flange is bent.", actor=Actor(cast.control), at=later(hours=1))
    status_projection.bring_up_to_date()
    assert dict(ReelStatusRow.objects.values_list("reel__serial", "hold_why")) == {
        "LW-0001": "as it was", "LW-0002": "A flange is bent.",
    }  # fmt: skip


def test_a_status_row_of_an_older_head_is_worked_out_anew_even_if_the_number_of_entries_was_kept():
    builders.make_reel()
    status_projection.bring_up_to_date()
    ReelStatusRow.objects.update(head="0" * 64, status=ReelStatus.HELD)
    StatusWatermark.objects.update(entries=0)
    status_projection.bring_up_to_date()
    assert ReelStatusRow.objects.get().status == ReelStatus.AWAITING_COUNT
    assert StatusWatermark.objects.count() == 1


def test_more_reels_than_are_worked_out_at_once_are_all_worked_out(monkeypatch):
    monkeypatch.setattr(status_projection, "AT_ONCE", 2)
    for number in range(5):
        builders.make_reel(f"LW-{number:04}")
    status_projection.bring_up_to_date()
    assert ReelStatusRow.objects.count() == 5
