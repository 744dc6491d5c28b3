"""Nothing is offered that ends in a refusal: whoever looks follows every link of every page that they are shown."""

import re
from html import unescape
from urllib.parse import urlsplit

import pytest

from tests import builders
from tests.page_fixtures import logged_in
from tests.pages_fleet import make_fleet

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("on_the_day")]
LINK = re.compile(r'<a [^>]*href="(/[^"#]*)')
# Files, long lists, and what the framework shows.
LEFT_OUT = re.compile(r"\.(pdf|csv|zip)$|^/(api|admin|tour|documents|monthly|repeatability|checkpoints)\b|/as-of$")
# Of everything else one page of each kind, but for what is done about each reel, count, finding and card.
KINDS = re.compile(r"\d+|(?<=/reels/)[A-Z]{2}-\d+")
STANDS = ("LW-0001", "LW-0003", "LW-0005", "LW-0007", "LW-0008", "LW-0009", "LW-0014")


def is_walked(path, walked):
    """Whether it is one more of what was walked: each of some reels is, and three of everything else of a kind."""
    if any(serial in path for serial in STANDS):
        return path in walked
    kind = KINDS.sub("*", path)
    return path in walked or sum(KINDS.sub("*", each) == kind for each in walked) >= 3


def refusals(person):
    """Addresses that were offered and refused, with where they were offered."""
    client, to_walk, walked, refused = logged_in(person), [("/", "")], set[str](), []
    while to_walk:
        address, offered_on = to_walk.pop()
        path = urlsplit(address).path
        if LEFT_OUT.search(path) or is_walked(path, walked):
            continue
        walked.add(path)
        answer = client.get(address)
        if answer.status_code >= 400:
            refused.append((address, offered_on, answer.status_code))
        elif answer.status_code == 200:
            links = LINK.findall(answer.content.decode())
            to_walk += [(unescape(each), address) for each in links if "page=" not in each]
    assert len(walked) > 20
    return refused


@pytest.mark.parametrize(
    "part",
    ["technician", "verifier", "control", "setter", "confirmer", "releaser", "instructor", "colleague", "stranger"],
)
def test_every_link_that_a_person_is_offered_is_open_to_them(part):
    cast = make_fleet().cast
    builders.record_finding(cast.technician, "LW-0012")
    assert refusals(getattr(cast, part)) == []


def test_and_so_is_every_link_that_an_administrator_is_offered():
    make_fleet()
    assert refusals(builders.second_administrator()) == []
