"""What both sign says why a surprising count stands; and says nothing where none surprised."""

import json

import pytest

from inspections.models import AcceptedOutlier, InspectionRecord
from tests import builders
from tests.builders import Cast, later

pytestmark = pytest.mark.django_db


def readings_signed(inspection):
    said = json.loads(bytes(InspectionRecord.objects.get(inspection=inspection).content))
    return said["v"], said["readings"]


def test_the_record_that_is_signed_says_who_accepted_a_surprise_and_why():
    cast = Cast.as_needed()
    builders.make_reel()
    for days in (90, 60, 30):
        builders.signed_count(cast, at=later(days=-days), scale_left=17, scale_right=16)
    inspection = builders.signed_count(cast)
    accepted = AcceptedOutlier.objects.get(reading__inspection=inspection)
    form, [reading] = readings_signed(inspection)
    assert form == 6
    assert reading["surprise_accepted"]["reason"] == accepted.reason
    assert reading["surprise_accepted"]["told"] == accepted.told
    assert reading["surprise_accepted"]["accepted_by"]["id"] == accepted.accepted_by_id


def test_the_record_of_a_count_that_surprises_nobody_says_that_there_was_none():
    cast = Cast.as_needed()
    builders.make_reel()
    _, [reading] = readings_signed(builders.signed_count(cast))
    assert reading["surprise_accepted"] is None
