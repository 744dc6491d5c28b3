"""What waits for each person, and that it is what they may do."""

import re
from html import unescape

import pytest

from inspections.domain.words import Act, Meaning, Point, Role
from inspections.models import Inspection
from inspections.services import counting, flags, maintenance, setup, signing, third_readings
from inspections.services.flags import FlaggedInterval
from reels import access
from reels.models import Reel
from reels.services import people
from reels.services.history import Actor
from reports.services.archive import archive_reel
from tests import builders
from tests.builders import NOW, PASSWORD, Cast, by_administrator, later
from tests.page_fixtures import logged_in
from tests.pages_fleet import make_fleet
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]
BUTTON = re.compile(r'<a class="button" href="([^"]+)" aria-label="([^"]+)">([^<]+)</a>')


def html_of(person):
    answer = logged_in(person).get("/")
    assert answer.status_code == 200
    html = answer.content.decode()
    assert faults_of(html) == []
    return html


def waiting(person):
    """Button, what it is about, and where it leads, in order."""
    return [
        (words, unescape(label).removeprefix(f"{words}: "), address)
        for address, label, words in BUTTON.findall(html_of(person))
    ]


def buttons(person):
    return [words for words, _, _ in waiting(person)]


def keyed(inspection, person, role, point=Point.SERIAL, **fields):
    return counting.key(inspection_id=inspection.pk, point=point, role=role, actor=Actor(person), at=NOW,
                        fields=fields or {"serial": "LW-0001"})  # fmt: skip


def test_a_point_that_was_keyed_waits_for_the_verifier_and_then_for_the_technician():
    cast = Cast()
    builders.make_reel()
    assert waiting(cast.technician) == [("Begin a count", "LW-0001 at Kettle Point", "/reels/LW-0001/count")]
    inspection = builders.open_count(cast)
    keyed(inspection, cast.technician, Role.TECHNICIAN)
    assert buttons(cast.technician) == []
    assert waiting(cast.verifier) == [
        ("Witness this point now", f"Count {inspection.pk} at Kettle Point", f"/inspections/{inspection.pk}/witness")
    ]
    assert "Tess Hollin has keyed this point and waits for you." in html_of(cast.verifier)
    keyed(inspection, cast.verifier, Role.VERIFIER)
    assert waiting(cast.technician) == [
        ("Go on with your count", "LW-0001 at Kettle Point", f"/inspections/{inspection.pk}/worksheet")
    ]


def test_the_serial_is_nowhere_while_it_is_to_be_read_off_the_data_plate():
    cast = Cast()
    builders.make_reel()
    builders.open_count(cast)
    for person in (cast.technician, cast.verifier):
        assert "LW-0001" not in html_of(person)


def test_another_technician_may_take_over_and_who_has_nothing_to_do_there_sees_that_it_is_under_way():
    cast = Cast()
    builders.make_reel()
    inspection = builders.open_count(cast)
    keyed(inspection, cast.technician, Role.TECHNICIAN)
    builders.authorise(cast.colleague, Act.COUNT, site=builders.make_site())
    assert waiting(cast.colleague)[0] == (
        "Take over", f"Count {inspection.pk} at Kettle Point", f"/inspections/{inspection.pk}/worksheet"
    )  # fmt: skip
    assert buttons(cast.setter) == []
    assert "Under way at your sites" in html_of(cast.setter)
    assert "Under way at your sites" not in html_of(cast.stranger)


def test_a_count_waits_to_be_signed_until_one_has_signed_it():
    cast = Cast()
    builders.make_reel()
    inspection = builders.read(cast, builders.open_count(cast))
    assert buttons(cast.technician) == ["Compare and sign", "Return the gauge"]
    builders.return_gauge(cast, inspection.pk)
    assert buttons(cast.technician) == buttons(cast.verifier) == ["Compare and sign"]
    signing.sign(inspection_id=inspection.pk, meaning=Meaning.COUNTED, password=PASSWORD, at=NOW,
                 actor=Actor(cast.technician))  # fmt: skip
    assert buttons(cast.technician) == []
    assert buttons(cast.verifier) == ["Compare and sign"]


def test_what_somebody_did_last_leaves_out_what_the_service_made_of_it():
    cast = Cast()
    builders.make_reel()
    inspection = builders.signed_count(cast)
    archive_reel(inspection.reel, actor=Actor(cast.verifier), at=NOW)
    last = html_of(cast.verifier).split("What you did last")[1]
    assert "Signed" in last
    assert "Archived" not in last
    assert "Archived" in logged_in(cast.verifier).get("/reels/LW-0001/history").content.decode()


def test_a_third_reading_waits_for_who_takes_no_part():
    cast = Cast()
    builders.make_reel()
    inspection = builders.open_count(cast)
    both = ((cast.technician, Role.TECHNICIAN, 13), (cast.verifier, Role.VERIFIER, 14))
    for point, fields in ((Point.SERIAL, {"serial": "LW-0001"}), (Point.OPEN_SIDE, {"open_side": "right"})):
        for person, role, _ in both:
            keyed(inspection, person, role, point, **fields)
    for person, role, seen in both:
        keyed(inspection, person, role, Point.SCALE_LEFT, scale_left=seen)
    third_readings.ask_third_reading(
        inspection_id=inspection.pk, point=Point.SCALE_LEFT, actor=Actor(cast.technician), at=NOW
    )
    builders.authorise(cast.colleague, Act.VERIFY, site=builders.make_site())
    assert buttons(cast.colleague)[0] == "Read as third"
    assert "Read as third" not in buttons(cast.verifier)


def test_each_person_of_the_fleet_sees_what_waits_for_them():
    fleet = make_fleet()
    cast = fleet.cast
    assert waiting(cast.releaser)[0] == (
        "Decide", "LW-0002 at Kettle Point", f"/inspections/{fleet.referred.pk}/referral"
    )  # fmt: skip
    assert ("End the hold", "LW-0009 at Kettle Point", "/reels/LW-0009/hold/end") in waiting(cast.control)
    assert ("Issue setup values", "LW-0005 at Kettle Point", "/reels/LW-0005/setup-values") in waiting(cast.control)
    assert ("Record the removal", "LW-0008 at Kettle Point", "/reels/LW-0008/removal") in waiting(cast.control)
    assert "Return the wrap gauge" in buttons(cast.setter)
    assert ("Receive the reel", "LW-0014 to Aldermere", "/reels/LW-0014/receipt") in waiting(cast.stranger)
    assert buttons(cast.instructor) == []


NEXT = re.compile(r'<p class="next-act off-paper"><a class="button" href="([^"]+)">')


def test_the_page_of_a_reel_begins_with_what_waits_first_for_that_reel():
    cast = make_fleet().cast
    differing = []
    for person in (cast.technician, cast.verifier, cast.control, cast.setter, cast.releaser):
        at_home: dict[str, str] = {}
        for _, subject, address in waiting(person):
            at_home.setdefault(_serial(subject, address), address)
        for serial in Reel.objects.filter(access.at_readable_sites(person, NOW)).values_list("serial", flat=True):
            shown = NEXT.search(logged_in(person).get(f"/reels/{serial}").content.decode())
            if at_home.get(serial) != (shown and shown[1]):
                differing.append((person.username, serial, at_home.get(serial), shown and shown[1]))
    assert differing == []


def _serial(subject: str, address: str) -> str:
    if counted := re.match(r"/inspections/(\d+)/", address):
        return Inspection.objects.get(pk=counted[1]).reel.serial
    return subject.split(" ", maxsplit=1)[0]


def test_who_set_the_numbers_is_not_offered_to_confirm_them():
    cast = Cast()
    builders.make_reel()
    builders.signed_count(cast)
    values = builders.issued(cast)
    maintenance.install(serial="LW-0001", machine_serial="RM-7", actor=Actor(cast.control), at=NOW)
    setup.return_gauge(setup_id=values.pk, actor=Actor(cast.setter), at=NOW)
    assert "Set the numbers and read them back" in buttons(cast.setter)
    setup.key_read_back(setup_id=values.pk, actor=Actor(cast.setter), at=NOW, layers=values.layers, wraps=values.wraps)
    builders.authorise(cast.setter, Act.CONFIRM, site=builders.make_site())
    confirm = "Confirm what the machine shows"
    assert waiting(cast.confirmer) == [(confirm, "LW-0001 at Kettle Point", f"/setup-values/{values.pk}/confirmation")]
    assert confirm not in buttons(cast.setter)
    card = f"/setup-values/{values.pk}"
    assert f'href="{card}/confirmation"' not in logged_in(cast.setter).get(card).content.decode()
    assert f'href="{card}/confirmation"' in logged_in(cast.confirmer).get(card).content.decode()


def test_findings_wait_for_who_decides_and_did_not_record_them():
    cast = Cast()
    builders.make_reel()
    finding = builders.record_finding(cast.technician)
    assert waiting(cast.releaser)[0] == (
        "Close the finding", "LW-0001 at Kettle Point", f"/findings/{finding.pk}/closing"
    )  # fmt: skip
    assert "End the hold" not in buttons(cast.control)


def test_a_flag_waits_for_whom_it_is_assigned_to():
    cast = Cast()
    builders.make_reel()
    interval = FlaggedInterval(
        from_at=later(days=-30), to_at=later(days=-1), p_unlogged_cut=0.9, explanation="Shorter."
    )
    flag = flags.assign_flag(serial="LW-0001", interval=interval, to=cast.colleague, actor=Actor(cast.control), at=NOW)
    assert ("Record findings", "LW-0001 at Kettle Point", f"/drift/flags/{flag.pk}/finding") in waiting(cast.colleague)
    flags.look_into_flag(flag_id=flag.pk, finding="A misread scale.", actor=Actor(cast.colleague), at=NOW)
    assert "Close the flag" in buttons(cast.colleague)
    assert "Close the flag" not in buttons(cast.control)


def test_a_void_waits_for_another_than_who_asked_for_it():
    cast = Cast()
    builders.make_reel()
    inspection = builders.signed_count(cast)
    signing.request_void(inspection_id=inspection.pk, reason="The other reel.", actor=Actor(cast.verifier), at=NOW)
    assert (
        "Confirm the void",
        f"LW-0001, inspection {inspection.pk}",
        f"/inspections/{inspection.pk}/void",
    ) in waiting(cast.releaser)
    assert "Confirm the void" not in buttons(cast.verifier)


def test_administrators_enrol_people_and_confirm_rules_of_others():
    first, second = builders.administrator(), builders.second_administrator()
    builders.make_type("w31", max_layers=22)
    people.add_person(username="newcomer", full_name="Nell Comer", staff_number="S-900", password=PASSWORD,
                      **by_administrator())  # fmt: skip
    assert ("Enrol", "Nell Comer", "/people/newcomer/enrolment") in waiting(second)
    assert "Enrol" not in buttons(first)


def test_somebody_without_authorisations_practises():
    person = builders.make_person("trainee")
    assert buttons(person) == ["Practise a count"]


def test_a_long_list_is_cut_and_leads_to_the_whole():
    cast = Cast()
    for number in range(1, 9):
        builders.make_reel(f"LW-{number:04}")
    html = html_of(cast.technician)
    assert html.count('">Begin a count</a>') == 5
    assert '<a class="reach" href="/board?status=awaiting_count">and 3 more</a>' in html


def test_the_page_takes_as_many_queries_for_many_as_for_one(count_queries):
    cast = Cast()

    def one_of_each(number):
        first = 100 * number
        serials = [f"LW-{first + each:04}" for each in range(7)]
        for serial in serials:
            builders.make_reel(serial)
        builders.open_count(cast, serials[0])
        builders.read(cast, builders.open_count(cast, serials[1]))
        builders.signed_count(cast, serials[2])
        builders.signed_count(cast, serials[3])
        builders.issued(cast, serials[3], f"RM-{first}")
        builders.record_finding(cast.technician, serials[4])
        builders.sent(cast, serials[5])

    one_of_each(1)
    people_asked = (cast.technician, cast.verifier, cast.control, cast.setter, cast.releaser, cast.stranger)
    clients = [logged_in(each) for each in people_asked]
    few = [count_queries(lambda each=each: each.get("/")) for each in clients]
    for number in range(2, 10):
        one_of_each(number)
    assert [count_queries(lambda each=each: each.get("/")) for each in clients] == few
    assert max(few) <= 60


def test_the_menu_begins_with_it():
    person = builders.make_person("trainee")
    html = html_of(person)
    menu = html.partition('aria-label="Main"')[2]
    assert re.findall(r'<a href="([^"]+)"[^>]*>([^<]+)<', menu)[0] == ("/", "Waiting")
