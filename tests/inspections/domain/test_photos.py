import pytest

from inspections.domain import photos
from inspections.domain.photos import JPEG, MOST_BYTES, PNG, media_type_of
from inspections.errors import PhotoNotTaken
from tests.inspections.domain.photo_files import HOSTILE, JPEG_BYTES, PNG_BYTES


@pytest.mark.parametrize(("content", "media_type"), [(JPEG_BYTES, JPEG), (PNG_BYTES, PNG)])
def test_a_photo_is_what_its_first_bytes_say(content, media_type):
    assert media_type_of(content) == media_type
    assert media_type_of(content + bytes(MOST_BYTES - len(content))) == media_type


@pytest.mark.parametrize("name", HOSTILE)
def test_what_is_no_photo_is_refused(name):
    with pytest.raises(PhotoNotTaken, match="is no JPEG or PNG file; allowed: a JPEG or PNG file"):
        media_type_of(HOSTILE[name])


def test_an_empty_file_and_one_that_is_too_large_are_refused():
    with pytest.raises(PhotoNotTaken, match="is empty"):
        media_type_of(b"")
    with pytest.raises(PhotoNotTaken, match=r"is 8\.0 MB large; allowed: up to 8 MB"):
        media_type_of(JPEG_BYTES + bytes(MOST_BYTES))


def test_only_points_at_which_something_can_be_seen_are_photographed():
    assert [point.value for point in photos.PHOTOGRAPHED] == ["scale_left", "scale_right", "gauge", "crossover"]
