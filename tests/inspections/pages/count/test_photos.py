"""Photos at a step and on the page of a count: who sends what, who sees what, and how it is served."""

import hashlib
import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from inspections.domain.photos import MOST_BYTES, media_type_of
from inspections.models import Keying, Photo
from inspections.services.photos import shown
from tests import builders, stories
from tests.inspections.domain.photo_files import (
    BROKEN,
    HOSTILE,
    JPEG_BYTES,
    PNG_BYTES,
    TOO_LARGE,
    with_place_and_person,
)
from tests.inspections.pages.count.worksheet_steps import SCALES, SEEN, form_in, page_of
from tests.page_fixtures import logged_in
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]


@pytest.fixture
def inspection(cast):
    return stories.at_the_scales(cast)


def upload(content=JPEG_BYTES, name="scale.jpg", said="image/jpeg"):
    return SimpleUploadedFile(name, content, content_type=said)


def send(cast, inspection, part="worksheet", **values):
    client = logged_in(cast.technician if part == "worksheet" else cast.verifier)
    address = f"/inspections/{inspection.pk}/{part}"
    keyed = {name: value for name, value in SEEN[SCALES].items() if part == "worksheet" or name.startswith("scale")}
    return client.post(address, {**form_in(page_of(client, address)), **keyed, **values})


def photo_of(inspection, person):
    return logged_in(person).get(f"/inspections/{inspection.pk}/photos/{Photo.objects.get().pk}")


def test_a_step_asks_for_photos_where_there_is_something_to_be_seen(cast, inspection):
    html = page_of(logged_in(cast.technician), f"/inspections/{inspection.pk}/worksheet")
    assert faults_of(html) == []
    assert re.findall(r'type="file" name="(\w+)"', html) == ["photo_scale_left", "photo_scale_right"]


def test_a_photo_goes_with_the_step_and_is_served_as_a_file_that_nothing_runs(cast, inspection):
    assert send(cast, inspection, photo_scale_left=upload(name="../../x.html", said="text/html")).status_code == 302
    answer = photo_of(inspection, cast.technician)
    assert answer.content == shown(Photo.objects.get())
    assert answer.headers["Content-Type"] == "image/jpeg"
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Content-Disposition"] == (
        f'attachment; filename="inspection-{inspection.pk}-reading-1-scale_left-technician-1.jpg"'
    )
    assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
    assert "no-store" in answer.headers["Cache-Control"]


def test_a_photo_is_not_there_for_others_until_the_two_agree(cast, inspection):
    send(cast, inspection, photo_scale_left=upload())
    for person in (cast.verifier, cast.control, cast.releaser, cast.stranger):
        assert photo_of(inspection, person).status_code == 404
        if person is not cast.stranger:
            assert "/photos/" not in page_of(logged_in(person), f"/inspections/{inspection.pk}")
    send(cast, inspection, "witness")
    assert photo_of(inspection, cast.control).content == shown(Photo.objects.get())
    html = page_of(logged_in(cast.control), f"/inspections/{inspection.pk}")
    assert faults_of(html) == []
    assert f"/inspections/{inspection.pk}/photos/{Photo.objects.get().pk}" in html
    assert Photo.objects.get().digest[:12] in html
    assert photo_of(inspection, cast.stranger).status_code == 404


def test_a_photo_of_another_count_is_not_found_under_this_one(cast, inspection):
    send(cast, inspection, photo_scale_left=upload())
    builders.make_reel("LW-0002")
    other = builders.open_count(cast, "LW-0002")
    assert photo_of(other, cast.technician).status_code == 404


@pytest.mark.parametrize("name", HOSTILE)
def test_a_file_that_is_no_photo_is_refused_whatever_it_calls_itself(cast, inspection, name):
    answer = send(cast, inspection, photo_scale_left=upload(HOSTILE[name]))
    html = answer.content.decode()
    assert answer.status_code == 422
    assert faults_of(html) == []
    assert "The photo is no JPEG or PNG file; allowed: a JPEG or PNG file." in html
    assert 'value="13"' in html
    assert not Keying._base_manager.filter(point="scale_left").exists()


def test_a_photo_tells_nobody_where_and_by_whom_it_was_taken_and_is_kept_as_it_came(cast, inspection):
    content = with_place_and_person()
    send(cast, inspection, photo_scale_left=upload(content))
    assert b"Tess Hollin" not in photo_of(inspection, cast.technician).content
    assert bytes(Photo.objects.get().content) == content


def test_a_photo_from_before_they_were_decoded_that_is_no_picture_is_said_to_be_kept(cast, inspection, monkeypatch):
    monkeypatch.setattr("inspections.pages.count.forms.require_photo", media_type_of)
    monkeypatch.setattr("inspections.services.photos.require_photo", media_type_of)
    send(cast, inspection, photo_scale_left=upload(BROKEN["half of one"]))
    answer = photo_of(inspection, cast.technician)
    assert (answer.status_code, faults_of(answer.content.decode())) == (404, [])


@pytest.mark.parametrize("content", [*BROKEN.values(), *TOO_LARGE.values()], ids=[*BROKEN, *TOO_LARGE])
def test_what_begins_as_a_photo_and_can_t_be_decoded_is_refused_in_words(cast, inspection, content):
    answer = send(cast, inspection, photo_scale_left=upload(content))
    html = answer.content.decode()
    assert (answer.status_code, faults_of(html)) == (422, [])
    assert "The photo is " in html
    assert not Photo._base_manager.exists()


def test_a_photo_that_is_empty_or_too_large_is_refused(cast, inspection):
    for content, words in ((b"", "is empty"), (JPEG_BYTES + bytes(MOST_BYTES), "8.0 MB large; allowed: up to 8 MB")):
        answer = send(cast, inspection, photo_scale_left=upload(content))
        assert (answer.status_code, words in answer.content.decode()) == (422, True)


def test_a_form_that_is_far_too_large_is_refused_before_it_is_read(client, inspection):
    answer = client.post(
        f"/inspections/{inspection.pk}/worksheet", b"x", content_type="multipart/form-data; boundary=x",
        CONTENT_LENGTH=str(41 * 1024 * 1024),
    )  # fmt: skip
    assert answer.status_code == 413


def test_a_photo_is_taken_of_no_point_that_the_screen_does_not_ask_for(cast, inspection):
    assert send(cast, inspection, photo_gauge=upload(), photo_hand_count=upload(PNG_BYTES)).status_code == 302
    assert not Photo._base_manager.exists()


def test_a_step_sent_twice_with_its_photo_is_stored_once_and_with_another_photo_refused(cast, inspection):
    client, address = logged_in(cast.technician), f"/inspections/{inspection.pk}/worksheet"
    form = {**form_in(page_of(client, address)), **SEEN[SCALES]}
    assert [client.post(address, {**form, "photo_scale_left": upload()}).status_code for _ in range(2)] == [302, 302]
    assert client.post(address, {**form, "photo_scale_left": upload(PNG_BYTES)}).status_code == 422
    assert bytes(Photo._base_manager.get().content) == JPEG_BYTES


def test_the_api_names_a_photo_by_its_digest_to_those_who_see_the_value(cast, inspection):
    send(cast, inspection, photo_scale_left=upload())
    mine, theirs = (
        logged_in(person).get(f"/api/v1/inspections/{inspection.pk}").json()["readings"][0]["points"][2]["keyed"][0]
        for person in (cast.technician, cast.verifier)
    )
    assert mine["photo"] == hashlib.sha256(JPEG_BYTES).hexdigest()
    assert (theirs["values"], theirs["photo"]) == (None, None)
