"""The guided tour of the demo is true: every stop of every part, as the person whose part it is, on the page itself."""

import csv
import html
import json
import re
from io import StringIO
from typing import Any

import pytest
from django.conf import settings
from django.core.management import call_command
from django.test import Client
from django.urls import resolve
from django.utils import timezone

from deploy import demo_walk
from inspections.domain.act_fields import GaugeReturnFields, GaugeTakingFields
from inspections.domain.words import Meaning, Point, Role
from inspections.models import Inspection
from inspections.services import counting, gauges, opening, outliers, signing
from reels.models import Person
from reels.services.history import Actor
from reports.services.tour import read_tour
from tests.builders import PREPARATION
from tests.worker import when_there, work_off

pytestmark = pytest.mark.django_db(transaction=True, reset_sequences=True)  # addresses name the first count
ADDRESS = re.compile(r"(?<![\w/])(/[a-z][\w/.?=&-]*)")


def the_tour() -> Any:
    return read_tour(demo_walk.FLEET / "tour.json")


@pytest.fixture
def after_the_walk(live_server, settings, tmp_path, monkeypatch, capsys):
    """The demo as it stands when its pages are served: loaded with its last month, and walked once. What it said."""
    settings.DEMO_FOLDER = tmp_path
    call_command("load_demo")

    def check_records(walk):
        work_off()  # no worker runs beside a test
        call_command("verify_records", stderr=StringIO())
        walk.expect("verify_records", 0, 0)

    monkeypatch.setattr(demo_walk, "check_records", check_records)
    assert demo_walk.main(live_server.url) == 0
    return capsys.readouterr().out


def text_of(client: Client, address: str) -> str:
    answer = when_there(lambda: client.get(address))
    assert answer.status_code == 200, address
    body = answer.content.decode()
    main = body[body.index("<main") : body.index("</main>")]
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", main)))


def test_every_stop_shows_what_it_promises_to_the_person_whose_part_it_is(after_the_walk):
    """And README what the demo says, on the same fleet, which takes a while to load."""
    readme_shows_the_demos_figures(after_the_walk)
    organisation = json.loads((demo_walk.FLEET / "organisation.json").read_text(encoding="utf-8"))
    tour, wrong = the_tour(), []
    assert tour.password == organisation["password"]
    for role in tour.roles:
        client = Client()
        assert client.login(username=role.username, password=tour.password), role.username
        assert Person.objects.get(username=role.username).full_name == role.name
        assert f"You are logged in as {role.name}" in text_of(client, f"/tour/{role.slug}")
        for stop in role.stops:
            text = text_of(client, stop.address)
            wrong += [(role.slug, stop.address, words) for words in stop.promised if words not in text]
            for address in ADDRESS.findall(stop.to_try):
                assert client.get(address).status_code == 200, address
    assert wrong == []
    the_technicians_count_comes_out_as_told()
    a_doubtful_count_is_worth_another()


def readme_shows_the_demos_figures(said: str) -> None:
    readme = (settings.HOME / "README.md").read_text(encoding="utf-8")
    [whole] = re.findall(r"\d+ chains, \d+ entries, \d+ signatures: whole", said)
    lines = re.findall(r"Loaded .*|Played .*|Every step came out as expected .*", said)
    assert ([line for line in lines if line not in readme], readme.count(whole)) == ([], 2), whole
    report = StringIO()
    call_command("drift_report", stdout=report, stderr=StringIO())
    for row in list(csv.DictReader(StringIO(report.getvalue())))[:8]:
        assert ",".join(row[name] for name in ("reel", "from_at", "to_at", "observed_change_m", "flagged")) in readme


def the_technicians_count_comes_out_as_told():
    """Scales 9 and 8; open right; unwinding right to left; hand 6; gauge even 6; first half: 8 layers, 4 wraps."""
    inspection = counted("LW-0001", 6)
    assert (inspection.layers, inspection.wraps, outliers.open_outlier(inspection)) == (8, 4, None)
    counting.cancel(inspection_id=inspection.pk, reason="For the next one.", **by("tobin"))
    facts = GaugeReturnFields(wrap_gauge="WG-01")
    gauges.return_gauge(inspection_id=inspection.pk, facts=facts, **by("tobin"))


def a_doubtful_count_is_worth_another():
    """The last stop of maintenance control: three wraps fewer, signed as surprising."""
    inspection = counted("LW-0001", 3)
    assert outliers.open_outlier(inspection)
    outliers.accept_outlier(inspection_id=inspection.pk, reason="Read twice.", **by("bram"))
    for who, meaning in (("tobin", Meaning.COUNTED), ("bram", Meaning.VERIFIED)):
        signing.sign(inspection_id=inspection.pk, meaning=meaning, password=the_tour().password, **by(who))
    client = Client()
    client.login(username="isolde", password=the_tour().password)
    client.get("/drift/recounts")  # whoever looks first has the worker catch up
    work_off()
    assert "LW-0001" in text_of(client, "/drift/recounts")


def by(username: str) -> dict[str, Any]:
    return {"actor": Actor(Person.objects.get(username=username)), "at": timezone.now()}


def counted(serial: str, wraps: int) -> Inspection:
    inspection = opening.open_inspection(serial=serial, preparation=PREPARATION, **by("tobin"))
    seen: dict[Point, dict[str, Any]] = {
        Point.SERIAL: {"serial": serial}, Point.OPEN_SIDE: {"open_side": "right"}, Point.SCALE_LEFT: {"scale_left": 9},
        Point.SCALE_RIGHT: {"scale_right": 8}, Point.UNWIND: {"unwind": "right_to_left"},
        Point.HAND_COUNT: {"hand_wraps": wraps}, Point.GAUGE: {"gauge_face": "even", "gauge_wraps": wraps},
        Point.CROSSOVER: {"crossover_half": "first"},
    }  # fmt: skip
    for point, value in seen.items():
        if point is Point.HAND_COUNT:
            facts = GaugeTakingFields(wrap_gauge="WG-01", end_marks_match=True)
            gauges.take_gauge(inspection_id=inspection.pk, facts=facts, **by("tobin"))
        for role, who in ((Role.TECHNICIAN, "tobin"), (Role.VERIFIER, "bram")):
            if role is Role.TECHNICIAN or point is not Point.UNWIND:
                inspection = counting.key(inspection_id=inspection.pk, point=point, role=role, fields=value, **by(who))
    return inspection


def test_every_part_has_a_handful_of_stops_and_each_promises_something():
    for role in the_tour().roles:
        assert 4 <= len(role.stops) <= 6, role.slug
        assert all(stop.promised for stop in role.stops), role.slug
        for stop in role.stops:
            assert resolve(stop.address.split("?")[0]).route, stop.address


@pytest.mark.parametrize("address", ["/tour", "/tour/technician", "/tour/nobody"])
def test_the_tour_is_read_before_one_logs_in_and_only_where_there_is_one(client, settings, address):
    assert client.get(address).status_code == (404 if address.endswith("nobody") else 200)
    assert 'href="/tour"' in client.get("/login").content.decode()
    settings.TOUR_FILE = ""
    assert client.get(address).status_code == 404
    assert 'href="/tour"' not in client.get("/login").content.decode()
