"""Until both people have keyed a value and agree on it, no surface of the API shows it to anybody but its author."""

import pytest

from reels.models import HistoryEntry, Submission
from tests import stories
from tests.api_client import said

SECRET = 987  # a number that stands nowhere else in an answer
SURFACES = ("inspections", "reels", "reels/LW-0001", "reels/LW-0001/history", "changes")


@pytest.fixture
def inspection(ways, cast):
    return f"inspections/{stories.at_the_scales(cast).pk}"


def key(way, inspection, role, level):
    return way.post(f"{inspection}/keyings", {"point": "scale_left", "role": role, "scale_left": level})


def surfaces(ways, inspection):
    for way in (ways.verifier, ways.colleague, ways.releaser, ways.administrator):
        for path in (inspection, f"{inspection}/sign-offs", *SURFACES):
            yield way.get(path).content.decode()


def shows_it(text):
    return f'"scale_left":{SECRET}' in text or f":{SECRET}," in text or f":{SECRET}}}" in text


def test_the_author_alone_sees_a_value_while_the_other_has_not_keyed(ways, inspection):
    assert shows_it(key(ways.technician, inspection, "technician", SECRET).content.decode())
    assert shows_it(ways.technician.get(inspection).content.decode())
    assert not any(shows_it(text) for text in surfaces(ways, inspection))
    point = ways.verifier.get(inspection).json()["readings"][0]["points"][-1]
    assert [(each["role"], each["person"]["username"], each["values"]) for each in point["keyed"]] == [
        ("technician", "tess", None)
    ]


def test_who_differs_is_told_so_and_not_by_how_much(ways, inspection):
    key(ways.technician, inspection, "technician", SECRET)
    answer = key(ways.verifier, inspection, "verifier", 13)
    assert not shows_it(answer.content.decode())
    assert answer.json()["readings"][0]["points"][-1]["agreed"] is False
    assert not any(shows_it(text) for text in surfaces(ways, inspection))


def test_asking_for_help_does_not_open_it(ways, inspection):
    key(ways.technician, inspection, "technician", SECRET)
    assert ways.verifier.post(f"{inspection}/help", {"remark": "I can't see it."}).status_code == 200
    assert not any(shows_it(text) for text in surfaces(ways, inspection))


def test_once_both_agree_everybody_may_see_it(ways, inspection):
    key(ways.technician, inspection, "technician", SECRET)
    key(ways.verifier, inspection, "verifier", SECRET)
    assert shows_it(ways.colleague.get(inspection).content.decode())
    assert shows_it(ways.colleague.get("reels/LW-0001/history").content.decode())
    assert shows_it(ways.colleague.get("changes").content.decode())


def test_no_stored_entry_holds_a_blind_value(ways, inspection):
    key(ways.technician, inspection, "technician", SECRET)
    assert not any(shows_it(bytes(entry.content).decode()) for entry in HistoryEntry.objects.all())


def test_a_key_of_another_persons_does_not_fetch_their_answer(ways, inspection):
    body = {"point": "scale_left", "role": "technician", "scale_left": SECRET}
    ways.technician.post(f"{inspection}/keyings", body, key='"guessed"')
    assert Submission.objects.filter(key="guessed").count() == 1
    said(ways.verifier.post(f"{inspection}/keyings", body, key='"guessed"'), 403, "not_authorised")
