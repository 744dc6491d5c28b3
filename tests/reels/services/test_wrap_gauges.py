"""Wrap gauges in the register: registered, calibrated and moved by administrators, each told once."""

import json
from datetime import date, timedelta
from typing import Any

import pytest

from reels.errors import AlreadyThere, OnlyAdministrators, ValueNotTaken
from reels.models import GaugeCalibration, HistoryEntry, WrapGauge
from reels.queries import calibration_at
from reels.services import register
from reels.services.history import Actor
from reports.services.verification import check_records
from tests import builders
from tests.builders import NOW, administrator, by_administrator, make_gauge, make_machine, make_type

pytestmark = pytest.mark.django_db
TODAY = NOW.date()


@pytest.fixture(autouse=True)
def _records_are_whole_afterwards(db):
    yield
    assert check_records().broken is None


def last_entry():
    return json.loads(bytes(HistoryEntry.objects.latest("id").content))


def test_a_gauge_is_told_with_what_it_fits_and_its_calibration_in_one_entry():
    gauge = make_gauge("WG-1", types=[make_type(), make_type("w40")])
    entry = last_entry()
    assert entry["act"] == "wrap_gauge_registered"
    assert [change["table"] for change in entry["changes"]] == [
        "reels_wrapgauge", "reels_gaugetype", "reels_gaugetype", "reels_gaugecalibration",
    ]  # fmt: skip
    assert sorted(each.code for each in gauge.types.all()) == ["w28", "w40"]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"types": []}, "types"), ({"due": date(2023, 12, 31)}, "due"), ({"serial": "a/b"}, "serial"),
        ({"serial": ""}, "serial"), ({"calibrated_on": TODAY + timedelta(days=2)}, "calibrated_on"),
    ],
)  # fmt: skip
def test_a_value_that_cannot_be_is_refused_by_its_name(change, field):
    fields: dict[str, Any] = {
        "serial": "WG-1", "machine": make_machine(), "types": [make_type()], "calibrated_on": date(2024, 1, 1),
        "due": date(2030, 1, 1), **change,
    }  # fmt: skip
    with pytest.raises(ValueNotTaken) as refused:
        register.register_gauge(actor=Actor(administrator()), at=NOW, **fields)
    assert refused.value.facts["field"] == field
    assert not WrapGauge.objects.exists()


def test_a_serial_is_registered_once():
    make_gauge("WG-1")
    with pytest.raises(AlreadyThere):
        register.register_gauge(serial="WG-1", machine=make_machine(), types=[make_type()], calibrated_on=TODAY,
                                due=TODAY, actor=Actor(administrator()), at=NOW)  # fmt: skip


def test_every_calibration_stays_and_the_one_of_a_day_is_the_last_made_by_then():
    gauge = make_gauge("WG-1", calibrated_on=date(2025, 1, 1), due=date(2025, 12, 31))
    register.calibrate_gauge(gauge, calibrated_on=date(2025, 12, 1), due=date(2026, 12, 1),
                             actor=Actor(administrator()), at=NOW)  # fmt: skip
    days = {date(2024, 12, 31): None, date(2025, 1, 1): 2025, date(2025, 11, 30): 2025, date(2025, 12, 1): 2026}
    for day, year in days.items():
        calibration = calibration_at(gauge, day)
        assert (calibration.due.year if calibration else None) == year, day
    assert (last_entry()["act"], GaugeCalibration.objects.count()) == ("wrap_gauge_calibrated", 2)


def test_a_gauge_that_is_moved_says_where_it_was():
    gauge = make_gauge("WG-1")
    register.move_gauge(gauge, machine=make_machine("RM-8"), **by_administrator())
    [change] = last_entry()["changes"]
    assert (last_entry()["act"], list(change["before"])) == ("wrap_gauge_moved", ["machine_id"])


def test_only_administrators_touch_a_gauge():
    gauge, pat = make_gauge("WG-1"), builders.make_person("pat")
    by: dict[str, Any] = {"actor": Actor(pat), "at": NOW}
    for act in (
        lambda: register.move_gauge(gauge, machine=make_machine("RM-8"), **by),
        lambda: register.calibrate_gauge(gauge, calibrated_on=TODAY, due=TODAY, **by),
        lambda: register.register_gauge(serial="WG-2", machine=make_machine(), types=[make_type()], calibrated_on=TODAY,
                                        due=TODAY, **by),
    ):  # fmt: skip
        with pytest.raises(OnlyAdministrators):
            act()
