"""What an open page asks for: cheap while nothing is new, and telling no value."""

import re

import pytest

from inspections.domain.findings import Severity
from inspections.domain.words import Point
from inspections.services import maintenance
from reels.services.history import Actor
from tests import builders, stories
from tests.builders import NOW
from tests.page_fixtures import logged_in

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("on_the_day")]


def ask(client, address, stamp):
    return client.get(address, headers={"If-None-Match": f'"{stamp}"'})


def hold(cast, reason):
    maintenance.place_hold(serial="LW-0001", reason=reason, actor=Actor(cast.control), at=NOW)


def both(inspection):
    return (f"/inspections/{inspection.pk}/stamp", "/reels/LW-0001/stamp")


def test_a_page_that_is_up_to_date_gets_no_content_for_four_short_queries(cast, inspection, count_queries):
    client = logged_in(cast.verifier)
    for address in both(inspection):
        stamp = client.get(address).json()["stamp"]
        answer = ask(client, address, stamp)
        assert (answer.status_code, answer.content, answer.headers["ETag"]) == (304, b"", f'"{stamp}"')
        assert count_queries(lambda address=address, stamp=stamp: ask(client, address, stamp)) == 4


def test_the_other_s_step_changes_the_stamp_and_no_value_is_told(cast, inspection):
    client = logged_in(cast.verifier)
    addresses = both(inspection)
    stories.key_both(cast, inspection, *stories.BEFORE_THE_SCALES)
    stamp = client.get(addresses[0]).json()["stamp"]
    stories.key(cast, inspection, Point.SCALE_LEFT, scale_left=771)
    for address in addresses:
        answer = ask(client, address, stamp)
        told = answer.json()
        assert (answer.status_code, told) == (200, {"stamp": told["stamp"], "says": []})
        assert re.fullmatch("[0-9a-f]{64}", told["stamp"])
        assert told["stamp"] != stamp


def test_a_hold_is_said_with_its_reason_and_a_finding_that_stops_is_too(cast, inspection):
    address = "/reels/LW-0001/stamp"
    client = logged_in(cast.technician)
    stamp = client.get(address).json()["stamp"]
    hold(cast, "a flange is bent")
    builders.record_finding(cast.releaser, severity=Severity.STOP)
    held, found = ask(client, address, stamp).json()["says"]
    assert held == "Held, by Mona Castell. a flange is bent"
    assert found.startswith("Finding recorded, a stop, by ")


def test_while_the_serial_is_to_be_read_nothing_that_somebody_typed_is_said(cast, inspection):
    address = f"/inspections/{inspection.pk}/stamp"
    client = logged_in(cast.technician)
    stamp = client.get(address).json()["stamp"]
    hold(cast, "LW-0001 has a bent flange")
    answer = ask(client, address, stamp)
    assert "LW-0001" not in answer.content.decode()
    assert answer.json()["says"][0].startswith("Held, by")


def test_a_stamp_that_was_never_one_has_nothing_to_be_said_about(cast, inspection):
    told = ask(logged_in(cast.technician), "/reels/LW-0001/stamp", "made up").json()
    assert told["says"] == []


def test_a_stranger_is_told_of_nothing(cast, inspection):
    for address in both(inspection):
        assert ask(logged_in(cast.stranger), address, "").status_code == 404


def test_withdrawn_values_are_said_with_the_reason(cast):
    builders.signed_count(cast)
    builders.issued(cast)
    address = "/reels/LW-0001/stamp"
    client = logged_in(cast.technician)
    stamp = client.get(address).json()["stamp"]
    builders.log_cut(cast)
    [said] = ask(client, address, stamp).json()["says"]
    assert "Setup values withdrawn: " in said
