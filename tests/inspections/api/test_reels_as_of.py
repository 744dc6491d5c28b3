"""A reel as of a moment over the API, by what had happened and by what had been recorded."""

import pytest

from inspections.services import maintenance
from reels.services.history import Actor
from tests import builders
from tests.api_client import places, said
from tests.builders import later

PLACE = "reels/LW-0001/as-of"
NOON, EVENING = "2026-03-02T12:00:00Z", "2026-03-02T18:00:00Z"


@pytest.fixture
def told_late(ways, cast):
    """Installed at noon, which is recorded the next day; counted before."""
    builders.signed_count(cast)
    maintenance.install(serial="LW-0001", machine_serial="RM-7", happened_at=later(hours=4), at=later(days=1),
                        actor=Actor(cast.control))  # fmt: skip


def test_what_was_told_late_is_in_the_one_and_not_in_the_other(ways, told_late):
    body = ways.colleague.get(f"{PLACE}?as_of={EVENING}").json()
    assert (body["reel"], body["as_of"]) == ("LW-0001", EVENING)
    happened, recorded = body["happened"], body["recorded"]
    assert (happened["status"], happened["machine"]) == ("installed_without_values", "RM-7")
    [installation] = happened["installations"]
    assert (installation["installed_by"]["username"], installation["removed_at"]) == ("mona", None)
    assert (recorded["status"], recorded["machine"], recorded["installations"]) == ("counted", None, [])
    counts = [(each["layers"], each["wraps"], each["count_lapsed_why"]) for each in (happened, recorded)]
    assert counts == [(12, 10, None)] * 2


def test_a_hold_is_told_with_who_placed_it(ways):
    ways.control.post("reels/LW-0001/hold", {"reason": "rust", "happened_at": NOON})
    answer = ways.colleague.get(f"{PLACE}?as_of={EVENING}").json()
    [hold] = answer["happened"]["holds"]
    assert (hold["reason"], hold["placed_at"], hold["placed_by"]["username"], hold["ended_at"], hold["end_reason"]) == (
        "rust", NOON, "mona", None, None
    )  # fmt: skip
    assert answer["recorded"]["holds"] == []  # it is recorded now, by the clock


def test_before_the_reel_was_on_record_nothing_was_recorded(ways):
    body = ways.colleague.get(f"{PLACE}?as_of=2024-03-02T00:00:00Z").json()
    assert (body["happened"]["status"], body["recorded"]) == ("awaiting_count", None)


@pytest.mark.parametrize("asked", ["", "?as_of=yesterday", "?as_of=2026-03-02", "?at=2026-03-02T12:00:00Z"])
def test_a_moment_is_needed(ways, asked):
    assert "as_of" in places(ways.colleague.get(PLACE + asked)) or asked.startswith("?at")


@pytest.mark.parametrize("moment", ["2999-01-01T00:00:00Z", "2020-01-01T00:00:00Z"])
def test_a_moment_to_come_or_before_the_reel_came_is_refused(ways, moment):
    said(ways.colleague.get(f"{PLACE}?as_of={moment}"), 400, "out_of_time")


def test_who_may_see_it(ways):
    said(ways.nobody.get(f"{PLACE}?as_of={NOON}"), 401, "not_logged_in")
    said(ways.stranger.get(f"{PLACE}?as_of={NOON}"), 404, "not_found")
    said(ways.colleague.get(f"reels/LW-9/as-of?as_of={NOON}"), 404, "not_found")
    said(ways.colleague.post(PLACE, {}), 405, "method_not_allowed")
