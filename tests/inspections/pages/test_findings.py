"""Findings on pages: recorded, seen by whom, lowered and closed; and what a stop does to the pages of a count."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from inspections.domain.findings import ReelPart, Remedy, Severity
from inspections.domain.words import InspectionState
from inspections.models import Finding, FindingPhoto
from inspections.services import findings, photos
from reels.services.history import Actor
from tests import builders
from tests.builders import NOW, Cast, make_finding_kind, record_finding
from tests.inspections.domain.photo_files import PNG_BYTES
from tests.inspections.pages.count.worksheet_steps import form_in, page_of
from tests.page_fixtures import logged_in
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]

REEL, KEYED = "/reels/LW-0001", {"kind": "cable kink", "severity": "stop", "words": "a kink near the end"}
TOLD_LATER = "is shown once nothing more is read in this count"


@pytest.fixture
def cast():
    builders.make_reel()
    make_finding_kind()
    return Cast.as_needed()


def send(person, address, **values):
    client = logged_in(person)
    return client.post(address, {**form_in(page_of(client, address)), **KEYED, **values})


def test_the_form_offers_what_the_type_lists_part_by_part_and_something_else_of_each(cast):
    make_finding_kind("bent", ReelPart.DRUM, Severity.STOP)
    html = page_of(logged_in(cast.technician), f"{REEL}/finding")
    assert faults_of(html) == []
    assert '<option value="cable kink">kink (watch)</option>' in html
    assert '<option value="drum bent">bent (stop)</option>' in html
    assert html.count("something else about the") == len(ReelPart)
    assert "checked" not in html


def test_a_finding_with_its_photo_is_recorded_and_shown_on_the_reels_page(cast):
    photo = SimpleUploadedFile("kink.png", PNG_BYTES)
    answer = send(cast.technician, f"{REEL}/finding", layer="12", length_from_end_m="2.5", photo=photo)
    assert (answer.status_code, answer.headers["Location"]) == (302, REEL)
    finding = Finding.objects.get()
    html = page_of(logged_in(cast.colleague), REEL)
    assert faults_of(html) == []
    assert f"Finding {finding.pk} is recorded" not in html
    for words in ("kink (cable)", "layer 12, 2.5 m from the outer end.", "a kink near the end", "Held"):
        assert words in html
    assert logged_in(cast.colleague).get(f"/findings/{finding.pk}/photo").content == photos.shown(
        FindingPhoto.objects.get()
    )


def test_a_length_is_typed_in_the_persons_own_unit(cast):
    cast.technician.length_unit = "ft"
    cast.technician.save()
    assert "From the outer end, in feet" in page_of(logged_in(cast.technician), f"{REEL}/finding")
    send(cast.technician, f"{REEL}/finding", length_from_end_m="10")
    assert str(Finding.objects.get().length_from_end_m) == "3.048"  # the international foot is 0.3048 m


@pytest.mark.parametrize(
    ("values", "field", "words"),
    [
        ({"kind": ""}, "kind", "Choose what it is."),
        ({"kind": "cable cut"}, "kind", "choose one that is listed"),
        ({"kind": "cable other", "severity": "watch"}, "severity", "as a stop at least"),
        ({"layer": "21"}, "layer", "1 to 20"),
        ({"visible_wrap": "4"}, "side", "from which the wrap is counted"),
        ({"photo": SimpleUploadedFile("a.txt", b"words")}, "photo", "no JPEG or PNG file"),
    ],
)
def test_what_cannot_be_taken_is_said_at_its_field_and_nothing_typed_is_lost(cast, values, field, words):
    answer = send(cast.technician, f"{REEL}/finding", **values)
    html = answer.content.decode()
    assert answer.status_code == 422
    assert f'id="id_{field}_error"' in html
    assert words in html
    assert "a kink near the end" in html
    assert not Finding.objects.exists()


def test_whoever_has_nothing_to_do_with_reels_records_none(cast):
    assert logged_in(cast.colleague).get(f"{REEL}/finding").status_code == 403
    assert logged_in(cast.stranger).get(f"{REEL}/finding").status_code == 404
    assert f"{REEL}/finding" not in page_of(logged_in(cast.colleague), REEL)
    assert f"{REEL}/finding" in page_of(logged_in(cast.technician), REEL)


# At a count ---------------------------------------------------------------------------------------------------------


def test_at_a_count_it_is_recorded_without_the_serial_that_is_still_to_be_read(cast):
    inspection = builders.open_count(cast)
    address = f"/inspections/{inspection.pk}/finding"
    assert "LW-0001" not in page_of(logged_in(cast.verifier), address)
    answer = send(cast.verifier, address, severity="watch")
    assert answer.headers["Location"] == f"/inspections/{inspection.pk}"
    assert Finding.objects.get().inspection == inspection
    html = page_of(logged_in(cast.technician), f"/inspections/{inspection.pk}")
    assert faults_of(html) == []
    assert "LW-0001" not in html


@pytest.mark.parametrize("part", ["worksheet", "witness"])
def test_every_step_leads_to_it(cast, part):
    inspection = builders.open_count(cast)
    person = cast.technician if part == "worksheet" else cast.verifier
    html = page_of(logged_in(person), f"/inspections/{inspection.pk}/{part}")
    assert f"/inspections/{inspection.pk}/finding" in html


def test_where_it_lies_is_shown_to_whoever_recorded_it_and_to_others_after_the_readings(cast):
    inspection = builders.open_count(cast)
    finding = record_finding(cast.technician, severity="watch", photo=PNG_BYTES)
    address, photo = f"/inspections/{inspection.pk}", f"/findings/{finding.pk}/photo"
    assert "layer 12" in page_of(logged_in(cast.technician), address)
    for page in (address, REEL):
        html = page_of(logged_in(cast.verifier), page)
        assert "layer 12" not in html
        assert TOLD_LATER in html
    assert logged_in(cast.verifier).get(photo).status_code == 404
    builders.read(cast, inspection)
    result = page_of(logged_in(cast.verifier), f"{address}/result")
    assert "layer 12" in result
    assert TOLD_LATER not in result
    assert logged_in(cast.verifier).get(photo).content == photos.shown(FindingPhoto.objects.get())


@pytest.mark.parametrize("part", ["worksheet", "witness", "result"])
def test_stopped_a_count_shows_why_and_nothing_to_key_or_sign(cast, part):
    inspection = builders.open_count(cast)
    if part == "result":
        builders.read(cast, inspection)
    finding = record_finding(cast.setter)
    person = cast.verifier if part == "witness" else cast.technician
    answer = logged_in(person).get(f"/inspections/{inspection.pk}/{part}")
    assert answer.headers["Location"] == f"/inspections/{inspection.pk}"
    html = page_of(logged_in(person), f"/inspections/{inspection.pk}")
    assert faults_of(html) == []
    assert f"Stopped by finding {finding.pk}: kink (cable)" in html
    for gone in ("worksheet", "witness", "result"):
        assert f'href="/inspections/{inspection.pk}/{gone}"' not in html


def test_what_was_keyed_when_it_was_stopped_is_refused_and_stays_typed(cast):
    inspection = builders.open_count(cast)
    client, address = logged_in(cast.technician), f"/inspections/{inspection.pk}/worksheet"
    form = form_in(page_of(client, address))
    record_finding(cast.verifier)
    answer = client.post(address, {**form, "serial": "lw 0001"})
    assert answer.status_code == 422
    assert "is a stop: kink (cable)" in answer.content.decode()
    assert 'value="lw 0001"' in answer.content.decode()


# Deciding -----------------------------------------------------------------------------------------------------------


def test_only_whoever_may_decide_is_led_to_it(cast):
    finding = record_finding(cast.technician)
    closing, watch = f"/findings/{finding.pk}/closing", f"/findings/{finding.pk}/watch"
    html = page_of(logged_in(cast.releaser), REEL)
    assert closing in html
    assert watch in html
    assert closing not in page_of(logged_in(cast.control), REEL)
    assert logged_in(cast.control).get(closing).status_code == 403
    assert logged_in(cast.stranger).get(closing).status_code == 404
    form = page_of(logged_in(cast.releaser), closing)
    assert faults_of(form) == []
    assert "kink (cable)" in form


def test_a_closed_finding_says_how_and_by_whom_and_asks_for_nothing_more(cast):
    finding = record_finding(cast.technician)
    client = logged_in(cast.releaser)
    closing = f"/findings/{finding.pk}/closing"
    typed = {**form_in(page_of(client, closing)), "remedy": "put_right", "reason": "dressed and looked at"}
    assert client.post(closing, typed).headers["Location"] == REEL
    html = page_of(client, REEL)
    assert "Closed, put right, the cable left as it was:" in html
    assert "dressed and looked at" in html
    assert client.get(closing).headers["Location"] == REEL
    assert client.get(f"/findings/{finding.pk}/watch").headers["Location"] == REEL


def test_work_that_is_not_logged_is_said_at_its_field(cast):
    closing = f"/findings/{record_finding(cast.technician).pk}/closing"
    answer = send(cast.releaser, closing, remedy="cut", reason="cut off")
    assert answer.status_code == 422
    assert "Log the cut first" in answer.content.decode()


def test_a_hold_by_a_finding_is_ended_by_closing_it_alone(cast):
    record_finding(cast.technician)
    html = page_of(logged_in(cast.releaser), REEL)
    assert f"{REEL}/hold/end" not in html
    assert f"{REEL}/count" not in html


def test_the_history_tells_it_in_words(cast):
    finding = record_finding(cast.technician)
    findings.close_finding(
        finding_id=finding.pk, remedy=Remedy.RESPOOLED, reason="wound again", actor=Actor(cast.releaser), at=NOW
    )
    html = page_of(logged_in(cast.colleague), f"{REEL}/history")
    for words in ("Finding recorded, a stop", "Kink (cable).", "The cable was re-spooled.", "wound again"):
        assert words in html


def test_a_count_that_a_re_spooling_ended_says_so(cast):
    inspection = builders.open_count(cast)
    finding = record_finding(cast.verifier)
    findings.close_finding(
        finding_id=finding.pk, remedy=Remedy.RESPOOLED, reason="wound again", actor=Actor(cast.releaser), at=NOW
    )
    inspection.refresh_from_db()
    assert inspection.state == InspectionState.CANCELLED
    html = page_of(logged_in(cast.technician), f"/inspections/{inspection.pk}")
    assert f"Finding {finding.pk} was closed: the cable was re-spooled. wound again" in html


# Before the first reading -------------------------------------------------------------------------------------------

PREPARED = {
    "work_order": "WO-7", "in_force": "1", "cautions_confirmed": "on", "turned_as_installed": "on",
    "marks_found": "on",
}  # fmt: skip


def prepare(cast, **values):
    client = logged_in(cast.technician)
    return client.post(f"{REEL}/count", {**form_in(page_of(client, f"{REEL}/count")), **PREPARED, **values})


@pytest.mark.parametrize("values", [{}, {"all_sound": "on", "not_sound": ["cable"]}])
def test_that_all_is_sound_is_one_tap_and_neither_preset_nor_said_beside_what_is_not(cast, values):
    assert 'name="all_sound" checked' not in page_of(logged_in(cast.technician), f"{REEL}/count")
    answer = prepare(cast, **values)
    assert answer.status_code == 422
    assert "Say that all of it is sound, or what is not." in answer.content.decode()


def test_what_is_not_sound_leads_through_its_findings_to_the_worksheet(cast):
    make_finding_kind("worn", ReelPart.SCALES)
    answer = prepare(cast, not_sound=["cable", "scales"])
    client, address = logged_in(cast.technician), answer.headers["Location"]
    for part, kind in (("cable", "kink"), ("scales", "worn")):
        form = client.get(address).headers["Location"]
        assert form.endswith(f"/finding?part={part}")
        html = page_of(client, form)
        assert faults_of(html) == []
        assert f"Not sound: {part}." in html
        assert html.count("<optgroup") == 1
        typed = {"kind": f"{part} {kind}", "severity": "watch", "words": "seen"}
        assert client.post(form, {**form_in(html), **typed}).headers["Location"] == address
    assert client.get(address).status_code == 200
    shown = page_of(client, address.removesuffix("/worksheet"))
    assert shown.count("<strong>not sound</strong>: see the findings") == 2
    assert shown.count("<dd>sound</dd>") == 3


def test_a_watch_comes_up_at_the_next_preparation_until_it_is_closed(cast):
    finding = record_finding(cast.technician, severity="watch")
    html = page_of(logged_in(cast.technician), f"{REEL}/count")
    assert faults_of(html) == []
    assert "kink (cable)" in html
    findings.close_finding(finding_id=finding.pk, remedy=Remedy.SOUND, reason="so", actor=Actor(cast.releaser), at=NOW)
    assert "kink (cable)" not in page_of(logged_in(cast.technician), f"{REEL}/count")
