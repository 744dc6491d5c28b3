"""What is compressed on its way, and what must not be."""

import gzip
import re

import pytest

from reels.domain.words import Scope
from tests import builders
from tests.api_fixtures import make_token
from tests.page_fixtures import logged_in

pytestmark = pytest.mark.django_db
ASKED = {"Accept-Encoding": "gzip"}
TOKEN = re.compile(rb'name="csrfmiddlewaretoken" value="([^"]+)"')


def opened(answer):
    """The body that a browser gets, of an answer that must be compressed."""
    assert answer.headers["Content-Encoding"] == "gzip"
    assert "Accept-Encoding" in answer.headers["Vary"]
    return gzip.decompress(answer.content)


def test_a_page_is_compressed_for_who_can_open_it_and_says_the_same():
    builders.make_reel()
    client = logged_in(builders.make_person("tess"))
    plain, packed = client.get("/reels"), client.get("/reels", headers=ASKED)
    assert "Content-Encoding" not in plain.headers
    assert TOKEN.sub(b"", opened(packed)) == TOKEN.sub(b"", plain.content)
    assert len(packed.content) < len(plain.content) / 2


def test_the_csrf_token_is_masked_anew_in_each_page_and_one_page_is_not_always_as_long(client):
    pages = [client.get("/login", headers=ASKED) for _ in range(6)]
    tokens = {TOKEN.findall(opened(page))[0] for page in pages}
    assert len(tokens) == len(pages)
    assert len({len(page.content) for page in pages}) > 1


def test_the_feed_is_compressed_and_one_reel_whose_etag_is_matched_strongly_is_not(client):
    builders.make_reel()
    person = builders.make_person("tess")
    asked = {**ASKED, "Authorization": f"Bearer {make_token(person, *Scope)}"}
    assert b'"reel:LW-0001"' in opened(client.get("/api/v1/changes?after=0", headers=asked))
    reel = client.get("/api/v1/reels/LW-0001", headers=asked)
    assert "Content-Encoding" not in reel.headers
    assert reel.headers["ETag"].startswith('"')


def test_what_is_told_once_is_not_compressed(client):
    person = builders.make_person("tess")
    answer = client.post("/login", {"username": person.username, "password": "wrong"}, headers=ASKED)
    assert len(answer.content) > 1000
    assert "Content-Encoding" not in answer.headers
