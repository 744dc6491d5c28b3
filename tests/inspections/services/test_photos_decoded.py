"""Photos of strangers: decoded in bounds before they are taken, and shown without what came along with them."""

import hashlib
from io import BytesIO

import pytest
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from inspections.domain.photos import JPEG, PNG
from inspections.errors import PhotoNotTaken
from inspections.models import Photo
from inspections.services.photos import photo_columns, require_photo, shown
from tests.inspections.domain.photo_files import (
    BROKEN,
    HOSTILE,
    JPEG_BYTES,
    PNG_BYTES,
    TOO_LARGE,
    picture,
    with_place_and_person,
)


def copy_of(content: bytes) -> bytes:
    return shown(Photo(**photo_columns(content)))


def colours(content: bytes) -> list[str]:
    """Of the left and the right end, or of the top and the bottom where it is higher than wide."""
    image = Image.open(BytesIO(content)).convert("RGB")
    width, height = image.size
    ends = [(2, 2), (width - 3, 2)] if width > height else [(2, 2), (2, height - 3)]
    return ["red" if red > 200 > blue else "blue" for red, _, blue in map(image.getpixel, ends)]  # type: ignore[misc]  # of RGB


@pytest.mark.parametrize("name", BROKEN)
def test_what_begins_as_a_photo_and_is_none_is_refused(name):
    with pytest.raises(PhotoNotTaken, match="is broken, or no picture; allowed: a JPEG or PNG file that is whole"):
        require_photo(BROKEN[name])


@pytest.mark.parametrize("name", HOSTILE)
def test_what_does_not_begin_as_a_photo_is_not_decoded(name, monkeypatch):
    monkeypatch.setattr(Image, "open", lambda *_, **__: pytest.fail("it was opened"))
    with pytest.raises(PhotoNotTaken):
        require_photo(HOSTILE[name])


@pytest.mark.parametrize("name", TOO_LARGE)
def test_a_small_file_that_unpacks_to_a_huge_picture_is_refused_by_its_header(name, monkeypatch):
    monkeypatch.setattr(Image.Image, "load", lambda *_: pytest.fail("it was decoded"))
    with pytest.raises(PhotoNotTaken):
        require_photo(TOO_LARGE[name])


def test_the_largest_is_taken_and_said_is_how_large_it_may_be():
    assert require_photo(picture(4000, 4000, "PNG")) == PNG
    with pytest.raises(PhotoNotTaken, match="is 4001 by 4000 pixels large; allowed: up to 16 million pixels"):
        require_photo(TOO_LARGE["png just too large"])


@pytest.mark.parametrize(("content", "media_type"), [
    (JPEG_BYTES, JPEG), (PNG_BYTES, PNG), (picture(), JPEG), (picture(progressive=True), JPEG),
    (picture(kind="PNG"), PNG),
])  # fmt: skip
def test_what_is_whole_is_taken(content, media_type):
    assert require_photo(content) == media_type


def test_nobody_is_shown_place_person_time_or_comment_of_a_photo_nor_what_hangs_on_it():
    content = with_place_and_person()
    for told in (b"Tess Hollin", b"2026:03:02", b"Kettle Point", b"Exif", b"<script>"):
        assert told in content
        assert told not in copy_of(content)
    copy = Image.open(BytesIO(copy_of(content)))
    assert (copy.format, dict(copy.getexif()), copy.size) == ("JPEG", {}, (64, 48))
    assert set(copy.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


def test_texts_of_a_png_are_left_out_too():
    texts = PngInfo()
    texts.add_text("Author", "Tess Hollin")
    texts.add_itxt("Place", "Kettle Point")
    content = picture(kind="PNG", pnginfo=texts)
    assert b"Tess Hollin" in content
    assert b"Tess Hollin" not in copy_of(content)
    assert b"Kettle Point" not in copy_of(content)


def test_the_picture_is_shown_the_way_the_camera_was_held():
    assert colours(copy_of(with_place_and_person(orientation=1))) == ["red", "blue"]
    assert colours(copy_of(with_place_and_person(orientation=3))) == ["blue", "red"]
    turned = copy_of(with_place_and_person(orientation=6))
    assert Image.open(BytesIO(turned)).size == (48, 64)
    assert colours(turned) == ["red", "blue"]


def test_what_a_camera_wrote_may_be_broken_where_the_picture_is_whole():
    whole = picture()
    broken = whole[:2] + b"\xff\xe1\x00\x0eExif\x00\x00" + b"II*\x00\xff\xff" + whole[2:]
    assert colours(copy_of(broken)) == ["red", "blue"]


def test_the_original_is_kept_by_its_digest():
    content = with_place_and_person()
    kept = photo_columns(content)
    assert (kept["content"], kept["size_bytes"]) == (content, len(content))
    assert kept["digest"] == hashlib.sha256(content).hexdigest()


@pytest.mark.parametrize("kind", ["CMYK", "L", "1", "P", "RGBA", "I;16"])
def test_every_kind_of_pixels_is_shown(kind):
    file = BytesIO()
    Image.new(kind, (8, 8)).save(file, "JPEG" if kind == "CMYK" else "PNG")
    assert Image.open(BytesIO(copy_of(file.getvalue()))).mode == "RGB"
