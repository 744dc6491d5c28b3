"""What is not sound: how bad, where, and what its closing does to a count."""

import hashlib
import json
from decimal import Decimal
from types import SimpleNamespace

import pytest

from inspections.domain.findings import OTHER, ReelPart, Remedy, Severity, commitment, details_of, place_in_words


@pytest.mark.parametrize(
    ("seen", "least", "is_below"),
    [("watch", "stop", True), ("watch", "watch", False), ("stop", "watch", False), ("stop", "stop", False)],
)
def test_a_watch_is_below_a_stop(seen, least, is_below):
    assert Severity(seen).is_below(Severity(least)) is is_below


def test_work_on_the_cable_ends_counts_and_nothing_else_does():
    # Common practice, no published source: a count is of the cable as it lies, so it holds as long as it lies so.
    assert {remedy for remedy in Remedy if remedy.ends_counts} == {Remedy.CUT, Remedy.REPLACED, Remedy.RESPOOLED}


@pytest.mark.parametrize(
    ("place", "words"),
    [
        ((None, "", None, ""), ""),
        ((3, "", None, ""), "layer 3"),
        ((3, "left", 4, "2.5 m"), "layer 3, left side, visible wrap 4, 2.5 m from the outer end"),
    ],
)
def test_a_place_is_told_as_far_as_it_was_said(place, words):
    assert place_in_words(*place) == words


def test_the_digest_of_the_details_binds_each_of_them_and_the_salt():
    details = {"layer": 3, "side": "left", "visible_wrap": 4, "length_from_end_m": Decimal("2.500"), "words": "a kink"}
    plain = details_of(SimpleNamespace(**details))
    assert plain == {**details, "length_from_end_m": "2.500"}
    others = [{**plain, name: None} for name in plain]
    digests = {commitment(plain, "a"), commitment(plain, "b"), *(commitment(each, "a") for each in others)}
    assert len(digests) == 2 + len(plain)
    # As RFC 8785 has it for plain words and numbers: names in order, nothing between them.
    told = json.dumps({"finding": plain, "salt": "a"}, sort_keys=True, separators=(",", ":")).encode()
    assert commitment(plain, "a") == hashlib.sha256(told).hexdigest()


def test_the_words_of_the_wire_and_of_people():
    assert {part.value: part.spoken for part in ReelPart} == {
        "cable": "cable", "winding": "winding", "drum": "drum and flanges", "end_fitting": "end fitting",
        "scales": "scales",
    }  # fmt: skip
    assert {remedy.value: remedy.spoken for remedy in Remedy} == {
        "sound": "looked at again and judged sound", "put_right": "put right, the cable left as it was",
        "respooled": "the cable was re-spooled", "cut": "cable was cut off", "replaced": "the cable was replaced",
    }  # fmt: skip
    assert OTHER == "other"
