"""What is written in a history, byte for byte, and that no byte of it can change unseen.

Outside values: RFC 8785, the author's test files (cyberphone/json-canonicalization, testdata/input and outhex) and
Appendix B; SHA-256, FIPS 180-4 examples (from memory, confirmed by hashlib).
"""

import json
import re
import struct
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from reels.domain import ledger
from reels.domain.ledger import Change, Entry, NotExact, Stored, encode_v1, first_break
from reels.domain.words import Side

GOLDEN = Path(__file__).parents[2] / "golden" / "ledger"
RFC_8785 = json.loads((GOLDEN / "rfc8785.json").read_text(encoding="utf-8"))
AT = datetime(2026, 3, 2, 9, 0, 0, 250, tzinfo=UTC)

# RFC 8785, Appendix B and the sample lines of the author's repository: an IEEE 754 double, and how it is written.
NUMBERS = {
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af6": "1e+23",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "41b3de4355555556": "333333333.3333334",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
    "4340000000000001": "9007199254740994",
}

# FIPS 180-4 examples (from memory, confirmed by hashlib).
SHA_256 = [
    (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
    (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
    (
        b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
    ),
    (b"a" * 10**6, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
]


# Outside vectors ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["arrays", "french", "structures", "unicode", "values", "weird"])
def test_the_files_of_rfc_8785_come_out_byte_for_byte(name):
    vector = RFC_8785[name]
    canonical = ledger.canonical(json.loads(vector["input"]))
    assert canonical.hex() == vector["outhex"]
    assert ledger.digest(canonical) == vector["sha256"]


@pytest.mark.parametrize(("bits", "written"), NUMBERS.items())
def test_the_numbers_of_rfc_8785_are_written_as_it_says(bits, written):
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert ledger.canonical([number]) == f"[{written}]".encode()


@pytest.mark.parametrize("number", [float("nan"), float("inf"), float("-inf")])
def test_what_json_has_no_number_for_is_refused(number):
    with pytest.raises(rfc8785.CanonicalizationError):
        ledger.canonical([number])


@pytest.mark.parametrize(("content", "digest"), SHA_256)
def test_digests_are_sha_256(content, digest):
    assert ledger.digest(content) == digest


# Exact values -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "exact"),
    [
        (Decimal("12.500"), "12.500"),
        (Decimal("1E+3"), "1000"),
        (Decimal("1E-7"), "0.0000001"),
        (AT, "2026-03-02T09:00:00.000250Z"),
        (AT.astimezone(timezone(timedelta(hours=-5))), "2026-03-02T09:00:00.000250Z"),
        (date(2024, 2, 29), "2024-02-29"),
        (Side.LEFT, "left"),
        (b"\x00\xff", "00ff"),
        ((1, True, None), [1, True, None]),
        ({Side.LEFT: {"a": (Decimal(1),)}}, {"left": {"a": ["1"]}}),
    ],
)
def test_every_value_has_one_exact_form(value, exact):
    assert ledger.plain(value) == exact


@pytest.mark.parametrize("value", [1.0, AT.replace(tzinfo=None), {1, 2}, object()])
def test_a_value_without_an_exact_form_is_refused_wherever_it_stands(value):
    for wrapped in (value, [value], {"a": {"b": value}}):
        with pytest.raises(NotExact, match="no exact form"):
            ledger.plain(wrapped)
    with pytest.raises(NotExact):
        encode_v1(entry(facts={"seen": value}))


# The form of an entry -----------------------------------------------------------------------------------------------


REEL = {"serial": "LW-0001", "length": Decimal("420.000")}


def entry(**changes):
    plain = Entry(
        chain="reel:LW-0001", seq=1, prev=ledger.FIRST_PREV, at=AT, act="reel_received",
        actor={"id": 1, "username": "ada", "name": "Ada Minder", "via": "session"}, facts={},
        changes=(Change(table="reels_reel", id=7, before=None, after=REEL),),
    )  # fmt: skip
    return replace(plain, **changes)


GOLDEN_ENTRIES = {
    "a new row": entry(),
    "a changed row": entry(
        seq=2,
        prev="ab" * 32,
        act="moved",
        changes=(Change(table="reels_reel", id=7, before={"site_id": 1}, after={"site_id": 2}),),
    ),
    "facts beyond ASCII": entry(facts={"reason": "“Öse” − 3 m\n\t€😂", "on": date(2026, 3, 2), "n": [1, None, True]}),
    "no changes": entry(changes=(), facts={"differs": ["scale_left"]}),
}


@pytest.mark.parametrize("name", GOLDEN_ENTRIES)
def test_form_1_of_an_entry_never_changes(name):
    golden = json.loads((GOLDEN / "entries_v1.json").read_text(encoding="utf-8"))[name]
    content = encode_v1(GOLDEN_ENTRIES[name])
    assert content.decode() == golden["content"]
    assert ledger.digest(content) == golden["digest"]


def test_an_entry_is_read_back_as_it_was_written():
    parsed = ledger.read(encode_v1(GOLDEN_ENTRIES["a new row"]))
    assert parsed == {
        "v": 1, "chain": "reel:LW-0001", "seq": 1, "prev": "0" * 64, "at": "2026-03-02T09:00:00.000250Z",
        "act": "reel_received", "actor": {"id": 1, "username": "ada", "name": "Ada Minder", "via": "session"},
        "facts": {}, "changes": [{"table": "reels_reel", "id": 7, "before": None,
                                  "after": {"serial": "LW-0001", "length": "420.000"}}],
    }  # fmt: skip


GOOD_ENTRY: dict[str, Any] = json.loads(encode_v1(entry()))


NO_ENTRIES: list[dict[str, Any]] = [
    {"v": 2},
    {"v": "1"},
    {"seq": "1"},
    {"facts": None},
    {"more": 1},
    {"changes": [1]},
    {"changes": [*GOOD_ENTRY["changes"], 1]},
    {"changes": [{"table": "t", "id": 1, "after": {}}]},
    {"changes": [{"table": "t", "id": "1", "before": None, "after": {}}]},
    {"changes": [{"table": 1, "id": 1, "before": None, "after": {}}]},
    {"changes": [{"table": "t", "id": 1, "before": None, "after": None}]},
    {"changes": [{"table": "t", "id": 1, "before": 1, "after": {}}]},
]


@pytest.mark.parametrize(
    "content",
    [b"", b"\xff", b"{", b"[]", b"1", *(json.dumps({**GOOD_ENTRY, **wrong}).encode() for wrong in NO_ENTRIES)],
)
def test_bytes_that_are_no_entry_of_a_known_form_are_not_read_as_one(content):
    assert ledger.read(content) is None


# Breaks -------------------------------------------------------------------------------------------------------------


def chain_of(n, chain="reel:LW-0001"):
    """Stored entries of a whole chain, and its head."""
    stored, prev = [], ledger.FIRST_PREV
    for seq in range(1, n + 1):
        content = encode_v1(entry(chain=chain, seq=seq, prev=prev, facts={"n": seq}))
        stored.append(Stored(chain=chain, seq=seq, prev=prev, digest=ledger.digest(content), content=content))
        prev = stored[-1].digest
    return stored, prev


def break_of(stored, head, *, length=None, chain="reel:LW-0001"):
    return first_break(chain, stored, length=len(stored) if length is None else length, head=head)


@given(st.integers(0, 40))
def test_what_was_appended_is_whole(n):
    stored, head = chain_of(n)
    assert break_of(stored, head) is None


def test_a_flip_of_any_byte_of_any_entry_is_found():
    stored, head = chain_of(3)
    for place, each in enumerate(stored):
        for i in range(len(each.content)):
            flipped = bytearray(each.content)
            flipped[i] ^= 1
            broken = break_of([*stored[:place], replace(each, content=bytes(flipped)), *stored[place + 1 :]], head)
            assert broken is not None, (place, i)
            assert broken.where == f"reel:LW-0001 entry {place + 1}"
            assert broken.why.startswith("its bytes have the digest")


@given(st.data())
def test_entries_left_out_doubled_or_moved_are_found(data):
    stored, head = chain_of(data.draw(st.integers(2, 8), label="n"))
    i = data.draw(st.integers(0, len(stored) - 1), label="i")
    j = data.draw(st.integers(0, len(stored) - 1).filter(lambda j: j != i), label="j")
    swapped = list(stored)
    swapped[i], swapped[j] = stored[j], stored[i]
    for tampered in ([*stored[:i], *stored[i + 1 :]], [*stored[:i], stored[i], *stored[i:]], swapped):
        assert break_of(tampered, head, length=len(stored)) is not None
        assert break_of(tampered, tampered[-1].digest) is not None or tampered == stored[:-1]


def test_each_break_is_named_in_words():
    stored, head = chain_of(3)
    other, other_head = chain_of(3, chain="reel:LW-0002")
    rehashed = encode_v1(entry(seq=2, prev=stored[0].digest, facts={"n": 99}))
    forged = replace(stored[1], content=rehashed, digest=ledger.digest(rehashed))
    no_entry = b"{}"
    cases = [
        ([stored[0], stored[2]], head, 2, "entry 2 is missing; the next one says 3"),
        ([stored[0], forged, stored[2]], head, 3, "but the entry before it is"),
        (stored, "f" * 64, 3, "it says it has 3 entries ending in ffffffffffff; found 3"),
        (stored[:2], head, 3, "found 2 in"),
        (other, other_head, 3, "its bytes speak of reel:LW-0002 entry 1"),
        (
            [replace(stored[0], content=no_entry, digest=ledger.digest(no_entry))],
            ledger.digest(no_entry),
            1,
            "its bytes are not an entry",
        ),
    ]
    for entries, says, length, why in cases:
        broken = first_break("reel:LW-0001", entries, length=length, head=says)
        assert broken is not None
        assert why in str(broken)


def test_a_break_shows_the_first_twelve_digits_of_every_digest_it_speaks_of():
    stored, head = chain_of(3)
    changed = replace(stored[1], content=b"{}")
    elsewhere = replace(stored[1], prev="ab" * 32)
    shown = {
        (*stored[:1], changed): (ledger.digest(b"{}"), stored[1].digest),
        (*stored[:1], elsewhere): ("ab" * 32, stored[0].digest),
        (*stored[:2],): (head, stored[1].digest),
    }
    for entries, digests in shown.items():
        assert re.findall(r"\b[0-9a-f]{9,}\b", str(break_of(entries, head))) == [each[:12] for each in digests]


# What a history tells of rows ---------------------------------------------------------------------------------------


def fields_of(*changes):
    parsed = ledger.read(encode_v1(entry(changes=changes)))
    assert parsed is not None
    return parsed


def test_following_a_history_leaves_the_rows_as_they_were_last_told():
    rows: ledger.Rows = {}
    new = Change(table="t", id=1, before=None, after={"a": 1, "b": None})
    changed = Change(table="t", id=1, before={"b": None}, after={"b": "x"})
    other = Change(table="u", id=1, before=None, after={"a": 5})
    assert [ledger.follow(rows, fields_of(new, changed)), ledger.follow(rows, fields_of(other))] == [None, None]
    assert rows == {("t", 1): {"a": 1, "b": "x"}, ("u", 1): {"a": 5}}


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (Change(table="t", id=2, before={"a": 1}, after={"a": 2}), "changes t row 2, which was never told"),
        (Change(table="t", id=1, before=None, after={"a": 2}), "adds t row 1, which was told before"),
        (Change(table="t", id=1, before={"a": 9}, after={"a": 2}), "says t row 1 had a 9; told was 1"),
    ],
)
def test_an_entry_that_does_not_follow_from_those_before_is_found(change, why):
    rows: ledger.Rows = {}
    assert ledger.follow(rows, fields_of(Change(table="t", id=1, before=None, after={"a": 1}))) is None
    assert why in str(ledger.follow(rows, fields_of(change)))


def test_a_column_that_a_later_migration_added_may_be_changed_without_having_been_told():
    rows: ledger.Rows = {("t", 1): {"a": 1}}
    assert ledger.follow(rows, fields_of(Change(table="t", id=1, before={"new": ""}, after={"new": "x"}))) is None
    assert rows == {("t", 1): {"a": 1, "new": "x"}}


def test_an_entry_is_exported_as_a_line_that_holds_its_very_bytes():
    assert ledger.exported(b'{"a":1}') == '{"content": "eyJhIjoxfQ=="}\n'
