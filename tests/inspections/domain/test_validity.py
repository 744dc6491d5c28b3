"""Whether a record stands: the words, which of them holds, and the handbook's list of them."""

import re
from datetime import timedelta
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest

from inspections.domain.validity import (
    Validity,
    ValidityAt,
    WhatFollowed,
    validity_of_count,
    validity_of_values,
)
from tests.builders import NOW, later

HANDBOOK = Path(__file__).resolve().parents[3] / "deploy" / "handbook"
AT = later(days=9)
FOLLOWED: dict[str, Any] = {
    "lapsed": (later(days=3), "cut"),
    "superseded": (later(days=2), 8),
    "voided": (later(days=1), "misread"),
}
LAPSED = ValidityAt(word=Validity.LAPSED, as_of=AT, since=later(days=3), why="cut")
SUPERSEDED = ValidityAt(word=Validity.SUPERSEDED, as_of=AT, since=later(days=2), by=8,
                        why="inspection 8 is a newer signed count of the reel")  # fmt: skip
VOIDED = ValidityAt(word=Validity.VOIDED, as_of=AT, since=later(days=1), why="misread")
IN_ORDER = {"voided": VOIDED, "superseded": SUPERSEDED, "lapsed": LAPSED}


def test_a_count_that_nothing_followed_stands():
    assert validity_of_count(WhatFollowed(), AT) == ValidityAt(word=Validity.STANDS, as_of=AT)
    assert validity_of_values(None, AT) == ValidityAt(word=Validity.STANDS, as_of=AT)


@pytest.mark.parametrize("what", [some for n in (1, 2, 3) for some in combinations(FOLLOWED, n)])
def test_of_all_that_followed_a_count_the_gravest_is_told(what):
    told = validity_of_count(WhatFollowed(**{each: FOLLOWED[each] for each in what}), AT)
    assert told == next(IN_ORDER[each] for each in IN_ORDER if each in what)


@pytest.mark.parametrize("what", FOLLOWED)
def test_nothing_is_told_before_it_came(what):
    since = FOLLOWED[what][0]
    followed = WhatFollowed(**{what: FOLLOWED[what]})
    assert validity_of_count(followed, since - timedelta(microseconds=1)).word is Validity.STANDS
    assert validity_of_count(followed, since).word == what


def test_setup_values_stand_until_they_are_withdrawn():
    withdrawn = (later(days=2), "a cut")
    assert validity_of_values(withdrawn, later(days=1)).word is Validity.STANDS
    told = validity_of_values(withdrawn, later(days=2))
    assert told == ValidityAt(word=Validity.WITHDRAWN, as_of=later(days=2), since=later(days=2), why="a cut")


def test_in_words():
    assert ValidityAt(word=Validity.STANDS, as_of=NOW).in_words == "stands"
    assert LAPSED.in_words == f"lapsed since {later(days=3):%Y-%m-%d %H:%M} UTC: cut"


def test_the_handbook_has_the_same_list():
    rows = re.findall(r"^\| `(\w+)` \| (.+) \|$", (HANDBOOK / "records.md").read_text("utf-8"), re.M)
    assert [row for row in rows if row[0] in set(Validity)] == [(each.value, each.means) for each in Validity]
