"""Photos of what was keyed: kept as they came, told by their digest, blind as long as the value."""

import hashlib
import json
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction

from inspections.domain.words import Point, Role
from inspections.errors import PhotoNotTaken
from inspections.models import InspectionRecord, Keying, Photo
from inspections.queries.keyings import photo_for, photos_for
from inspections.services import counting
from reels import append_only
from reels.errors import NotFound
from reels.models import HistoryEntry
from reels.services.history import Actor
from reports.services.verification import check_records
from tests import builders, stories
from tests.builders import NOW
from tests.inspections.domain.photo_files import HOSTILE, JPEG_BYTES, PNG_BYTES


@pytest.fixture
def inspection(cast):
    return stories.at_the_scales(cast)


def key_left(cast, inspection, role=Role.TECHNICIAN, left=13, photo=JPEG_BYTES):
    person = cast.technician if role is Role.TECHNICIAN else cast.verifier
    given = {Point.SCALE_LEFT: {"scale_left": left}}
    return counting.key_points(inspection_id=inspection.pk, role=role, by_point=given, actor=Actor(person), at=NOW,
                               photos={Point.SCALE_LEFT: photo})  # fmt: skip


def told_of_photos() -> list[dict[str, Any]]:
    entries = [json.loads(bytes(each.content)) for each in HistoryEntry.objects.filter(act="keyed")]
    return [change["after"] for entry in entries for change in entry["changes"] if change["table"].endswith("photo")]


def test_a_photo_is_kept_as_it_came_and_the_history_tells_its_digest_and_no_byte_of_it(cast, inspection):
    content = JPEG_BYTES + b"whatever the camera wrote"
    key_left(cast, inspection, photo=content)
    photo = Photo.objects.get()
    assert bytes(photo.content) == content
    digest = hashlib.sha256(content).hexdigest()
    assert told_of_photos() == [
        {"keying_id": photo.keying_id, "media_type": "image/jpeg", "size_bytes": len(content), "digest": digest}
    ]


def test_only_the_author_sees_a_photo_until_both_agree(cast, inspection):
    key_left(cast, inspection)
    photo = Photo.objects.get()
    assert photo_for(inspection, photo.pk, cast.technician) == photo
    for viewer in (cast.verifier, cast.control, cast.releaser):
        assert photos_for(inspection, viewer) == {}
        with pytest.raises(NotFound):
            photo_for(inspection, photo.pk, viewer)
    key_left(cast, inspection, Role.VERIFIER, photo=PNG_BYTES)
    assert len(photos_for(inspection, cast.control)) == 2


def test_where_two_differ_or_a_count_is_referred_photos_stay_blind(cast, inspection):
    key_left(cast, inspection, left=14)
    key_left(cast, inspection, Role.VERIFIER)
    assert [len(photos_for(inspection, viewer)) for viewer in (cast.technician, cast.verifier, cast.releaser)] == [
        1,
        1,
        0,
    ]
    inspection = stories.ask_for_help(cast, inspection)
    assert photos_for(inspection, cast.releaser) == {}


@pytest.mark.parametrize("name", HOSTILE)
def test_a_file_that_is_no_photo_keeps_nothing_of_the_attempt(cast, inspection, name):
    with pytest.raises(PhotoNotTaken):
        key_left(cast, inspection, photo=HOSTILE[name])
    assert (Keying.objects.filter(point=Point.SCALE_LEFT).count(), Photo.objects.count()) == (0, 0)


def test_signatures_bind_the_digests_of_the_photos(cast, inspection):
    key_left(cast, inspection)
    key_left(cast, inspection, Role.VERIFIER, photo=PNG_BYTES)
    stories.key_both(cast, inspection, *(point for point in stories.FROM_THE_SCALES if point is not Point.SCALE_LEFT))
    inspection.refresh_from_db()
    builders.sign_both(cast, inspection)
    [reading] = json.loads(bytes(InspectionRecord.objects.get().content))["readings"]
    photos = {(each["point"], each["role"]): each["photo"] for each in reading["keyed"] if "photo" in each}
    assert photos == {
        ("scale_left", "technician"): hashlib.sha256(JPEG_BYTES).hexdigest(),
        ("scale_left", "verifier"): hashlib.sha256(PNG_BYTES).hexdigest(),
    }
    assert check_records().broken is None


def test_the_database_keeps_a_photo_and_the_check_finds_one_that_was_changed(cast, inspection):
    key_left(cast, inspection)
    with pytest.raises(IntegrityError), transaction.atomic():
        Photo.objects.update(content=PNG_BYTES)
    table = Photo._meta.db_table
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":  # it alters no table while rows wait for their foreign keys to be checked
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        for sql in append_only.drop_sql(connection.vendor, table, Photo.kept):
            cursor.execute(sql)
    Photo.objects.update(content=JPEG_BYTES[:-1] + b"\x00")
    broken = check_records().broken
    assert broken is not None
    assert f"photo {Photo.objects.get().pk}" in broken.where
    assert "its bytes have the digest" in broken.why
    Photo.objects.update(content=JPEG_BYTES)
