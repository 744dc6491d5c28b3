import re
from datetime import date

import pytest

from inspections.domain.words import Act, Meaning
from inspections.models import ImportedCount
from inspections.pages.reel.history import ACTS
from inspections.pages.reel.history_filter import KINDS, entries_matching
from inspections.services import maintenance, setup, signing
from reels.access import readable_history
from reels.domain.words import LengthUnit
from reels.models import CableEvent, Reel, Site
from reels.services import register
from reels.services.history import Actor
from tests import builders
from tests.builders import Cast, later
from tests.page_fixtures import logged_in
from tests.pages_fleet import make_fleet
from tests.reports.fleet import assessed_fleet
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]


def html_of(person, serial="LW-0001", more=""):
    """more: of the address."""
    answer = logged_in(person).get(f"/reels/{serial}{more}")
    assert answer.status_code == 200
    assert faults_of(answer.content.decode()) == []
    return answer.content.decode()


def history_of(person, asked=""):
    return html_of(person, more=f"/history{asked}")


def test_a_reel_shows_its_status_its_values_and_where_it_is():
    fleet = make_fleet()
    html = html_of(fleet.cast.control)
    assert "<title>LW-0001, reel · Wrapledger</title>" in html
    assert ">In force, confirmed</span>" in html
    assert "<dt>Layers are</dt><dd>even</dd>" in html
    assert "It showed 12 layers, 11 wraps, even, which differs." in history_of(fleet.cast.control)
    assert "<dd>407.5 m</dd>" in html
    assert "cut on 2026-02-21" in html  # why the earlier values were withdrawn


def test_every_count_of_a_reel_is_shown_as_a_length_with_its_uncertainty():
    fleet = make_fleet()
    html = html_of(fleet.cast.control)
    counted = html.count('data-label="Count">') - html.count('data-label="Count">—')
    shown = re.findall(r"<dd><strong>(\d+\.\d m ± \d+\.\d m)</strong>", html)
    assert (len(shown), counted) == (1, html.count(' m</td>\n        <td data-label="Recorded at">'))
    assert shown[0] in re.findall(r'data-label="Cable">([^<]+)<', html)
    register.prefer_length_unit(unit=LengthUnit.FEET, actor=Actor(fleet.cast.control), at=later(days=1))
    assert " ft ± " in html_of(fleet.cast.control)


def test_values_in_force_and_withdrawn_never_look_alike():
    fleet = make_fleet()
    html = html_of(fleet.cast.control)
    assert html.count('class="plate quiet withdrawn"') == html.count("<del>") == 1
    assert html.count('class="numbers"') == 1


def test_every_reel_of_the_fleet_has_a_page():
    fleet = make_fleet()
    for serial in Reel.objects.filter(site__code="kettle-point").values_list("serial", flat=True):
        html_of(fleet.cast.control, serial)


def test_what_matters_of_a_reel_is_said():
    fleet = make_fleet()
    expected = {
        "LW-0009": "A flange is bent.",
        "LW-0010": "The drum is cracked.",
        "LW-0008": "No setup values are in force. The last ones were withdrawn: cut on 2026-03-02",
        "LW-0006": "Numbers set and read back</strong><br>to be done",
        "LW-0012": "No count is on record.",
    }
    assert {serial for serial, words in expected.items() if words not in html_of(fleet.cast.control, serial)} == set()


NEXT = re.compile(r'<p class="next-act off-paper"><a class="button" href="([^"]+)">([^<]+)</a>')
WAITS = {
    "technician": {"LW-0003": "Go on with the count", "LW-0012": "Begin a count", "LW-0011": "Begin a count"},
    "verifier": {"LW-0003": "Witness the count"},
    "control": {"LW-0005": "Issue setup values", "LW-0006": "Install the reel in RM-2", "LW-0009": "End the hold",
                "LW-0008": "Record a removal"},
    "setter": {"LW-0006": "Install the reel in RM-2", "LW-0008": "Record a removal"},
    "releaser": {"LW-0002": "Decide on the count", "LW-0009": "End the hold"},
    "colleague": {},
}  # fmt: skip


@pytest.mark.parametrize("who", WAITS)
def test_the_one_act_that_waits_for_somebody_stands_on_top_and_leads_to_where_it_is_done(who):
    fleet = make_fleet()
    person = getattr(fleet.cast, who)
    found = {
        serial: NEXT.findall(html_of(person, serial)) for serial in sorted({s for each in WAITS.values() for s in each})
    }
    assert {serial: links[0][1] for serial, links in found.items() if links} == WAITS[who]
    client = logged_in(person)
    assert {client.get(links[0][0]).status_code for links in found.values() if links} <= {200}


def test_nobody_is_asked_to_confirm_what_they_set_nor_to_sign_twice():
    cast = Cast.as_needed()
    builders.make_reel()
    counted = builders.read(cast, builders.open_count(cast))
    assert "Compare and sign" in html_of(cast.technician)
    assert "Compare and sign" not in html_of(cast.releaser)
    signing.sign(
        inspection_id=counted.pk, meaning=Meaning.COUNTED, password=builders.PASSWORD, actor=Actor(cast.technician),
        at=later(hours=1),
    )  # fmt: skip
    assert "Compare and sign" not in html_of(cast.technician)
    assert "Compare and sign" in html_of(cast.verifier)
    builders.make_reel("LW-0002")
    builders.signed_count(cast, "LW-0002")
    row = builders.issued(cast, "LW-0002", "RM-2")
    for act in (Act.SET, Act.CONFIRM):
        builders.authorise(cast.control, act)
    values_set(cast, row)
    assert "Confirm what the machine shows" not in html_of(cast.control, "LW-0002")
    assert "Confirm what the machine shows" in html_of(cast.confirmer, "LW-0002")


def values_set(cast, row):
    """Up to where the second person comes, all by maintenance control, who may set and confirm too."""
    control = Actor(cast.control)
    maintenance.install(serial="LW-0002", machine_serial="RM-2", actor=control, at=later(hours=2))
    setup.return_gauge(setup_id=row.pk, actor=control, at=later(hours=2))
    setup.key_read_back(setup_id=row.pk, layers=row.layers, wraps=row.wraps, actor=control, at=later(hours=3))


def test_the_last_five_counts_stand_open_and_all_of_them_are_folded():
    cast = Cast.as_needed()
    assessed_fleet()
    brief, _, rest = html_of(cast.control).partition("All counts, with when they were recorded")
    assert (brief.count(">From older records</span>"), rest.count(">From older records</span>")) == (5, 12)
    assert "The last 5 of 12;" in brief


def test_the_history_shows_every_entry_with_its_digest_over_its_pages():
    fleet = make_fleet()
    digests = [entry.digest for entry in readable_history(fleet.busiest)]
    pages = [history_of(fleet.cast.control)]
    [later] = set(re.findall(r'href="(\?after=[^"#]+)"', pages[0]))
    pages.append(history_of(fleet.cast.control, later))
    assert len(digests) > 20
    assert [digest for digest in digests if f"<dd><code>{digest}</code></dd>" not in "".join(pages)] == []
    assert "none; the history begins here" in pages[1]
    assert max(len(page.encode()) for page in pages) < 100_000


def titles(html):
    return re.findall(r"<h3>([^<]+)</h3>", html.partition('<ol class="timeline">')[2])


def test_the_history_is_filtered_by_what_by_whom_and_by_day_in_the_address():
    fleet = make_fleet()
    assert titles(history_of(fleet.cast.control, "?what=cable")) == ["Cable cut"]
    assert set(titles(history_of(fleet.cast.control, "?by=cora"))) == {"Read back by a second person"}
    assert titles(history_of(fleet.cast.control, "?since=2026-02-21&until=2026-02-22")) == [
        "Taken off the machine", "Cable cut",
    ]  # fmt: skip
    html = history_of(fleet.cast.control, "?what=cable&by=vic")
    assert "No entry fits these filters." in html
    assert '<option value="cable" selected>' in html


def test_pages_of_a_filtered_history_keep_its_filters():
    cast = Cast.as_needed()
    builders.make_reel()
    for hours in range(22):
        builders.log_cut(cast, metres="0.1", at=later(hours=hours))
    html = history_of(cast.control, "?what=cable")
    assert "22 entries with these filters" in html
    assert re.search(r'href="\?what=cable&amp;after=[^"#]+"', html)


def test_a_filter_of_the_history_that_makes_no_sense_is_said_and_left_out():
    cast = Cast.as_needed()
    builders.make_reel()
    html = history_of(cast.control, "?what=purple&since=soon")
    assert "“purple” cannot be chosen here; choose one that is listed." in html
    assert titles(html) == ["Reel received"]


def test_every_act_of_a_reel_is_of_one_kind():
    kinds = [act for _, acts in KINDS.values() for act in acts]
    assert sorted(kinds) == sorted(ACTS)


def test_days_of_the_filter_are_those_at_the_site():
    builders.make_reel()
    rows = readable_history(Reel.objects.get())  # received on 26 January 2025, 09:00 UTC
    for zone, day in (("Asia/Tokyo", 26), ("Pacific/Kiritimati", 26), ("Pacific/Pago_Pago", 25)):
        site = Site(time_zone=zone)
        on_the_day = {"since": date(2025, 1, day), "until": date(2025, 1, day)}
        assert [entry.act for entry in entries_matching(rows, on_the_day, site)] == ["reel_received"]


def test_the_course_of_the_cable_is_drawn_with_a_sentence():
    cast = Cast.as_needed()
    assessed_fleet()
    html = html_of(cast.control)
    assert "<title id=" in html
    assert html.count('<circle class="look-part-wrap"') + html.count('<circle class="look-taken-off"') == 2 * (
        12 + 2
    )  # wide and narrow
    assert "an unlogged loss is probable" in html
    builders.make_reel("LW-0009")
    assert "There is no count on record yet." in html_of(cast.control, "LW-0009")


def test_an_entry_tells_what_was_and_what_is():
    cast = Cast.as_needed()
    builders.make_reel()
    maintenance.place_hold(serial="LW-0001", reason="A flange is bent.", actor=Actor(cast.control), at=builders.NOW)
    maintenance.end_hold(serial="LW-0001", reason="It is straight again.", actor=Actor(cast.control), at=later(hours=1))
    html = history_of(cast.control)
    assert "<h3>Hold ended</h3>" in html
    assert "<p>A flange is bent.</p>" in html
    assert "end reason: nothing → It is straight again." in html


def test_an_entry_taken_back_stays_and_says_so():
    cast = Cast.as_needed()
    builders.make_reel()
    event = builders.log_cut(cast)
    assert isinstance(event, CableEvent)
    maintenance.reverse_cable_event(
        serial="LW-0001", event_id=event.pk, remark="entered twice", actor=Actor(cast.control), at=later(hours=1)
    )
    html = html_of(cast.control)
    assert "cut (reversed)" in html
    assert "entry reversed" in history_of(cast.control)
    assert "<dd>420 m</dd>" in html


def test_counts_from_older_records_stand_beside_inspections():
    cast = Cast.as_needed()
    reel = builders.make_reel()
    ImportedCount.objects.create(
        reel=reel, counted_at=later(days=-300), recorded_at=builders.NOW, layers=13, wraps=4, counted_by="P. Arkwright",
        document="card 7",
    )  # fmt: skip
    html = html_of(cast.control)
    assert "13 layers, 4 wraps, odd" in html
    assert "P. Arkwright, card 7" in html


def test_times_are_those_of_the_clocks_at_the_site():
    site = builders.make_site("stane-field", "Stane Field")
    type(site).objects.filter(pk=site.pk).update(time_zone="Asia/Tokyo")
    site.refresh_from_db()
    person = builders.make_person("tess", site=site)
    builders.make_reel(site=site)
    assert (
        '<time datetime="2025-01-26T18:00:00+09:00">26 Jan 2025, 18:00 <span class="zone">JST</span></time>'
        in history_of(person)
    )


def test_a_colleague_sees_it_a_stranger_is_told_that_it_is_not_there_and_nobody_logs_in(client):
    cast = Cast.as_needed()
    builders.make_reel()
    html_of(cast.colleague)
    answer = logged_in(cast.stranger).get("/reels/LW-0001")
    assert answer.status_code == 404
    assert "There is no reel &#x27;LW-0001&#x27; that you may see." in answer.content.decode()
    assert logged_in(cast.stranger).get("/reels/LW-9999").status_code == 404
    assert client.get("/reels/LW-0001").url == "/login?next=/reels/LW-0001"


def test_a_page_is_only_looked_at_and_not_kept_by_the_browser():
    cast = Cast.as_needed()
    builders.make_reel()
    client = logged_in(cast.control)
    assert client.post("/reels/LW-0001").status_code == 405
    assert "no-store" in client.get("/reels/LW-0001").headers["Cache-Control"]


def test_a_reel_costs_the_same_with_much_history_as_with_little(count_queries):
    cast = Cast.as_needed()
    client = logged_in(cast.control)
    builders.make_reel("LW-0002")
    builders.signed_count(cast, "LW-0002")
    builders.confirmed(cast, builders.issued(cast, "LW-0002", "RM-2"))
    client.get("/reels/LW-0002")  # the fleet's rates are learned once
    few = count_queries(lambda: client.get("/reels/LW-0002"))
    fleet_reel = builders.make_reel()
    for days in range(-30, 0, 3):
        builders.signed_count(cast, at=later(days=days))
        builders.confirmed(cast, builders.issued(cast, at=later(days=days)), later(days=days))
        builders.log_cut(cast, at=later(days=days, hours=1))
        maintenance.remove(
            serial=fleet_reel.serial, reason="to be counted", actor=Actor(cast.control), at=later(days=days, hours=2)
        )
    assert count_queries(lambda: client.get("/reels/LW-0001")) == few
    of_few = count_queries(lambda: client.get("/reels/LW-0002/history"))
    assert count_queries(lambda: client.get("/reels/LW-0001/history")) == of_few
