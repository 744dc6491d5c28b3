"""People, sites, types and machines: by administrators alone, each change told in the register."""

import json
from typing import Any

import pytest
from django.contrib.auth import authenticate
from django.core.management import CommandError, call_command

from reels.errors import AlreadyThere, OnlyAdministrators, ValueNotTaken
from reels.models import HistoryEntry, Person, Posting, ReelType
from reels.services import people, register
from reels.services.history import Actor
from reports.services.verification import check_records
from tests import builders
from tests.builders import NOW, PASSWORD, administrator, by_administrator, later, make_person

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _records_are_whole_afterwards(db):
    yield
    assert check_records().broken is None


def last_entry():
    return json.loads(bytes(HistoryEntry.objects.latest("id").content))


def test_only_administrators_change_reference_data():
    site, person = builders.make_site(), make_person("pat")
    mine: dict[str, Any] = {"actor": Actor(person), "at": NOW}
    for act in (
        lambda: register.add_site(code="x", name="X", **mine),
        lambda: register.add_reel_type(code="x", **mine),
        lambda: register.add_machine(serial="x", **mine),
        lambda: people.add_person(username="x", password=PASSWORD, **mine),
        lambda: register.post_person(person=person, site=None, valid_from=NOW, **mine),
        lambda: register.change(site, name="Mine", **mine),
    ):
        with pytest.raises(OnlyAdministrators, match="pat is not one"):
            act()
    gone = make_person("ex", is_staff=True)
    register.change(gone, is_active=False, **by_administrator())
    with pytest.raises(OnlyAdministrators):
        register.add_site(code="x", name="X", actor=Actor(gone), at=NOW)


def test_a_change_tells_what_it_was():
    reel_type = builders.make_type(is_confirmed=False)
    register.change(reel_type, lead_wraps=2, **by_administrator())
    [change] = last_entry()["changes"]
    assert (change["before"], change["after"]) == ({"lead_wraps": 1}, {"lead_wraps": 2})
    assert last_entry()["act"] == "reel_type_changed"


def test_a_stale_row_is_read_again_before_it_is_changed():
    site = builders.make_site()
    stale = type(site).objects.get(pk=site.pk)
    register.change(site, name="Kettle Head", **by_administrator())
    register.change(stale, time_zone="Europe/London", **by_administrator())
    site.refresh_from_db()
    assert (site.name, site.time_zone) == ("Kettle Head", "Europe/London")


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"wraps_odd_layer": 1}, "__all__"),
        ({"arc_from_deg": 180, "arc_to_deg": 180}, "__all__"),
        ({"arc_to_deg": 361}, "__all__"),
        ({"unusual": "accept", "unusual_publication": ""}, "__all__"),
        ({"unusual": "perhaps"}, "unusual"),
        ({"anchor_side": "top"}, "anchor_side"),
        ({"core_diameter_mm": 0}, "__all__"),
    ],
)
def test_no_reel_type_is_impossible(changes, field):
    with pytest.raises(ValueNotTaken) as refused:
        builders.make_type("odd", **changes)
    assert refused.value.facts["field"] == field
    assert not ReelType.objects.exists()


def test_the_arc_follows_from_the_winding_sense_and_goes_with_it():
    reel_type = builders.make_type("ccw", winding_sense="counter_clockwise")
    assert (reel_type.arc_from_deg, reel_type.arc_to_deg) == (180, 360)
    assert builders.make_type("by-arc", arc_from_deg=180, arc_to_deg=360).winding_sense == "counter_clockwise"
    register.change(reel_type, winding_sense="clockwise", **by_administrator())
    reel_type.refresh_from_db()
    assert (reel_type.arc_from_deg, reel_type.arc_to_deg) == (0, 180)


@pytest.mark.parametrize(
    "arc", [{"arc_to_deg": 120}, {"winding_sense": "clockwise", "arc_from_deg": 180, "arc_to_deg": 360}]
)
def test_an_arc_that_does_not_go_with_the_winding_sense_needs_its_publication(arc):
    with pytest.raises(ValueNotTaken, match="another arc only with arc_publication"):
        builders.make_type("odd", **arc)
    assert builders.make_type("said", **arc, arc_publication="LWS 12-4").arc_publication == "LWS 12-4"


def test_what_is_there_already_is_not_added_again():
    builders.make_site()
    with pytest.raises(AlreadyThere):
        register.add_site(code="kettle-point", name="Other", **by_administrator())


# People -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("taken", ["username", "staff_number"])
def test_user_names_and_staff_numbers_are_never_used_again(taken):
    person = make_person("pat")
    register.change(person, is_active=False, **by_administrator())
    fields = {"username": "new", "full_name": "New", "staff_number": "S-9999", taken: getattr(person, taken)}
    with pytest.raises(AlreadyThere):
        people.add_person(password=PASSWORD, **fields, **by_administrator())


@pytest.mark.parametrize("password", ["short", "1234567890123", "password123456"[:8], "patpatpatpat"])
def test_a_weak_password_is_refused_with_what_is_asked_for(password):
    with pytest.raises(ValueNotTaken, match="password was too weak; allowed: "):
        people.add_person(
            username="patpatpat", full_name="Pat", staff_number="S-1", password=password, **by_administrator()
        )
    assert not Person.objects.filter(staff_number="S-1").exists()


def test_a_name_from_an_import_never_logs_in():
    people.add_person(username="old", full_name="H. Old", staff_number="S-1", password=None, **by_administrator())
    assert authenticate(username="old", password="") is None
    assert not Person.objects.get(username="old").has_usable_password()


def test_a_person_reads_where_they_are_posted_and_the_posting_is_told():
    person = make_person("pat")
    register.post_person(person=person, site=None, valid_from=NOW, valid_until=later(days=1), **by_administrator())
    assert last_entry()["changes"][0]["after"]["site_id"] is None
    with pytest.raises(ValueNotTaken):
        register.post_person(person=person, site=None, valid_from=NOW, valid_until=later(days=-1), **by_administrator())
    assert Posting.objects.filter(person=person).count() == 2


# The first administrator --------------------------------------------------------------------------------------------


def test_the_first_administrator_is_told_in_the_register_too():
    person = administrator()
    assert (person.is_staff, person.is_superuser, person.check_password(PASSWORD)) == (True, True, True)
    said = last_entry()
    assert (said["act"], said["seq"], said["actor"]["username"], said["actor"]["via"]) == (
        "administrator_added", 1, "ada", "command createsuperuser",
    )  # fmt: skip
    assert said["changes"][0]["after"]["is_superuser"] is True


def test_the_command_adds_an_administrator(monkeypatch, capsys):
    monkeypatch.setenv("DJANGO_SUPERUSER_PASSWORD", PASSWORD)
    call_command("createsuperuser", "--username=root", "--full-name=Ruth Oot", "--staff-number=S-1")
    assert capsys.readouterr().out == "Ruth Oot is an administrator now.\n"
    assert Person.objects.get().username == "root"
    with pytest.raises(CommandError, match="There is already a person 'Ruth Oot \\(root\\)'"):
        call_command("createsuperuser", "--username=root", "--full-name=Ruth Oot", "--staff-number=S-2")
    monkeypatch.setenv("DJANGO_SUPERUSER_PASSWORD", "short")
    with pytest.raises(CommandError, match="too weak"):
        call_command("createsuperuser", "--username=rooty", "--full-name=Ruth Oot", "--staff-number=S-2")


@pytest.mark.parametrize("mark", ["\u200d", "\u200e", "\u061c"])
def test_a_name_that_differs_by_what_nobody_sees_is_there_already(mark):
    number = make_person("tess").staff_number
    known = builders.make_publication()
    with pytest.raises(AlreadyThere):
        people.add_person(username="other", full_name="Tess Hollin", staff_number=f"{number}{mark}", password=None,
                          **by_administrator())  # fmt: skip
    with pytest.raises(AlreadyThere):
        register.add_publication(code=f"{known.code}{mark}", revision=known.revision, title="Counting",
                                 valid_from=known.valid_from, **by_administrator())  # fmt: skip
    kept = people.add_person(username="other", full_name=f"Te{mark}ss", staff_number="LW-18", password=None,
                             **by_administrator())  # fmt: skip
    assert kept.full_name == f"Te{mark}ss"


@pytest.mark.parametrize(("fields", "field"), [
    ({"full_name": "Tess \u202eniloH"}, "full_name"), ({"full_name": "Tess\nHollin"}, "full_name"),
    ({"staff_number": "1\u200b2"}, "staff_number"), ({"username": "t\u0435ss"}, "username"),
    ({"username": "a/b"}, "username"),
])  # fmt: skip
def test_no_name_of_the_register_holds_what_nobody_sees_by_whatever_way_it_comes(fields, field):
    """The pages of the administration and commands have no check of their own."""
    given = {"username": "zoe", "full_name": "Zoe Reed", "staff_number": "S-9", **fields}
    with pytest.raises(ValueNotTaken) as refused:
        people.add_person(password=None, **given, **by_administrator())
    assert refused.value.facts["field"] == field


def test_a_machine_s_serial_is_one_that_two_people_key_alike():
    for serial in ("RM/7", "RM-\u200d7", "ＲＭ-7", " RM-7", "РМ-7"):
        with pytest.raises(ValueNotTaken):
            builders.make_machine(serial)
