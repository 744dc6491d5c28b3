"""`manage.py load_demo`: only in the demo, only into an empty database, all or nothing, and once."""

import csv
import json
from collections import Counter
from io import StringIO

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command
from django.utils import timezone

from inspections.access import instructed_sites
from inspections.domain.practice import Rule
from inspections.domain.words import ReelStatus
from inspections.models import DriftFlag, ImportedCount, ReadinessAsked, ReelStatusRow
from inspections.queries.practice import readiness_of, rule_of
from inspections.queries.safety_notices import safety_notices
from inspections.queries.status import with_status
from reels.models import HistoryEntry, Machine, Move, Person, Reel
from reports.management.commands import load_demo
from tests import builders

pytestmark = pytest.mark.django_db
LOGGED_SINCE = "LW-0036"  # the month's people found the cut, closed its flag and logged it


@pytest.fixture(autouse=True)
def demo_folder(settings, tmp_path):
    settings.DEMO_FOLDER = tmp_path / ".demo"
    return settings.DEMO_FOLDER


def load():
    said = StringIO()
    call_command("load_demo", "--without-month", stdout=said)
    return said.getvalue()


def test_it_loads_the_fleet_and_says_as_whom_to_log_in(settings, demo_folder):
    assert load() == (
        "Loaded Larkspur Water Survey (all made up): 3 reel types, 40 reels, 1545 counts, 84 cable events.\n"
    )
    assert (Reel.objects.count(), ImportedCount.objects.count(), Machine.objects.count()) == (40, 1545, 12)
    by_status = Counter(vars(reel)["status"] for reel in with_status(Reel.objects.all()))
    assert by_status == {ReelStatus.AWAITING_COUNT: 35, ReelStatus.HELD: 3, ReelStatus.IN_TRANSIT: 2}
    [notice] = safety_notices()
    assert (notice.reference, vars(notice)["reels"], vars(notice)["held"]) == ("LWS-SN-26-03", 4, 4)
    assert [move.reel.serial for move in Move.objects.filter(late_at__lt=timezone.now())] == ["LW-0036"]
    organisation = json.loads((settings.HOME / "deploy" / "demo_fleet" / "organisation.json").read_text())
    told = (demo_folder / "people.txt").read_text()
    for person in Person.objects.all():
        assert person.username in told
        assert person.check_password(organisation["password"])
    assert organisation["password"] in told


def test_a_second_time_it_stores_nothing():
    load()
    before = HistoryEntry.objects.count()
    assert load() == "The demo fleet is loaded already.\n"
    assert HistoryEntry.objects.count() == before


def test_what_it_loads_is_whole():
    load()
    call_command("verify_records", stdout=StringIO(), stderr=StringIO())


def test_the_drift_report_flags_the_hidden_cuts_and_nothing_else(settings):
    load()
    said = StringIO()
    call_command("drift_report", stdout=said, stderr=StringIO())
    rows = list(csv.DictReader(StringIO(said.getvalue())))
    flagged = [row for row in rows if row["flagged"] == "yes"]
    truth = json.loads((settings.HOME / "deploy" / "demo_fleet" / "truth.json").read_text())["hidden"]
    cuts = {(cut["reel"], cut["at"]) for cut in truth if cut["what"] == "unlogged cut"}
    found = {(reel, at) for reel, at in cuts for row in flagged
             if row["reel"] == reel and row["from_at"] < at < row["to_at"]}  # fmt: skip
    assert (found, len(flagged)) == (cuts, len(cuts))


def test_it_refuses_in_production(settings):
    settings.WRAPLEDGER_ENV = "production"
    with pytest.raises(CommandError, match="well-known passwords"):
        load()
    assert Person.objects.count() == 0


def test_it_refuses_a_database_with_other_records():
    builders.make_reel()
    with pytest.raises(CommandError, match="holds other records"):
        load()
    assert list(Reel.objects.values_list("serial", flat=True)) == ["LW-0001"]


def test_a_load_that_fails_leaves_nothing(monkeypatch):
    monkeypatch.setattr("reports.management.commands.load_demo.import_records", lambda **_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        load()
    assert (Person.objects.count(), HistoryEntry.objects.count()) == (0, 0)


def test_a_trainee_is_two_reels_from_ready_and_slipped_before():
    load()
    [row] = ReadinessAsked.objects.all()
    [pia] = readiness_of([Person.objects.get(username="pia")], rule_of(row), timezone.now())
    assert (pia.readiness.is_ready, pia.readiness.in_a_row) == (False, 8)
    assert pia.readiness.by_rule[Rule.WRAPS].missed + pia.readiness.by_rule[Rule.FLUSH].missed == 3
    assert instructed_sites(Person.objects.get(username="edda"), timezone.now()).get().code == "kettle-point"


def play(reels, monkeypatch):
    """Load the demo with the last month of so many reels."""
    all_acts = load_demo.month_acts
    monkeypatch.setattr(load_demo, "month_acts", lambda folder: [a for a in all_acts(folder) if a["reel"] in reels])
    call_command("load_demo", stdout=StringIO())
    return {reel.serial: vars(reel)["status"] for reel in with_status(Reel.objects.filter(serial__in=reels))}


def test_the_last_month_of_some_reels_leaves_them_as_a_tuesday_afternoon_would(monkeypatch, client):
    """In one test, for the fleet's drift, which is worked out with the month, takes a while."""
    flagged = {"LW-0003", "LW-0027", "LW-0034", "LW-0035", LOGGED_SINCE}
    statuses = play({"LW-0006", "LW-0019", "LW-0022", "LW-0029", "LW-0031"} | flagged, monkeypatch)
    assert {serial: status for serial, status in statuses.items() if serial not in flagged} == {
        "LW-0006": ReelStatus.COUNT_OPEN, "LW-0019": ReelStatus.WITHOUT_VALUES,
        "LW-0022": ReelStatus.AWAITING_SIGN_OFF, "LW-0029": ReelStatus.REFERRED, "LW-0031": ReelStatus.HELD,
    }  # fmt: skip
    call_command("verify_records", stdout=StringIO(), stderr=StringIO())
    flags_are_open_and_closed_and_the_board_counts_what_the_report_flags(client)


def flags_are_open_and_closed_and_the_board_counts_what_the_report_flags(client):
    flags = DriftFlag.objects.order_by("reel__serial").values_list("reel__serial", "assigned_to__username", "ending")
    assert list(flags) == [
        ("LW-0003", "odile", ""), ("LW-0027", "nils", "unexplained"), ("LW-0034", "nils", ""), ("LW-0035", "nils", ""),
        (LOGGED_SINCE, "nils", "late_logged_cut"),
    ]  # fmt: skip
    truth = json.loads((settings.HOME / "deploy" / "demo_fleet" / "truth.json").read_text())["hidden"]
    still = {cut["reel"] for cut in truth if cut["what"] == "unlogged cut"} - {LOGGED_SINCE}
    assert set(ReelStatusRow.objects.filter(is_flagged=True).values_list("serial", flat=True)) == still
    client.force_login(Person.objects.get(username="isolde"))
    board, drift = (client.get(page).content.decode() for page in ("/board", "/drift"))
    assert f"{len(still)} flagged for drift" in board
    assert f"{len(still)} intervals flagged" in drift


@pytest.mark.long
def test_the_whole_last_month_has_a_reel_in_every_status(monkeypatch):
    assert set(play({f"LW-{n:04}" for n in range(1, 41)}, monkeypatch).values()) == set(ReelStatus)
    call_command("verify_records", stdout=StringIO(), stderr=StringIO())
