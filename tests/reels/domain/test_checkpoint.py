"""The text of a checkpoint, signed: its golden form, and what is found in a text that was changed.

Source of the Ed25519 vectors: RFC 8032, section 7.1, tests 1 to 3, read in two public suites.
"""

from datetime import UTC, datetime

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from reels.domain import checkpoint, merkle
from reels.domain.checkpoint import Checkpoint

# secret key, public key, message, signature
RFC_8032 = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe2465"
        "5141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb0"
        "0d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc0"
        "27beceea1ec40a",
    ),
]
KEY = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(RFC_8032[0][0]))
PUBLIC, OTHER = RFC_8032[0][1], RFC_8032[1][1]
SAID = Checkpoint(
    service="larkspur", made_at=datetime(2026, 11, 25, 9, tzinfo=UTC), entries=8, chains=2, key=PUBLIC,
    root="5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
    ends="cd930df7d54883ed1dbdfd7e34e0beb0fe3a8f3d370a725e9e5ee5cfb2c23f14",
)  # fmt: skip
# Our own form, held so that a text once given out can always be checked; the signature is RFC 8032's Ed25519 over it.
GOLDEN_BODY = """\
Wrapledger checkpoint, form 2
service: larkspur
made: 2026-11-25T09:00:00.000000Z
entries: 8
chains: 2
root: 5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328
ends: cd930df7d54883ed1dbdfd7e34e0beb0fe3a8f3d370a725e9e5ee5cfb2c23f14
key: d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a
"""
GOLDEN_SIGNATURE = (
    "f156480ad88ed9b8c7ac0df9b7afd5fc952352f7aeda049422a0975f63b73710"
    "72126540dbe54186c70d39b0d288ab1c851a87725ff558b1633863aa65923206"
)
# As texts were given out before there were ends in them.
FORM_1 = """\
Wrapledger checkpoint, form 1
service: larkspur
made: 2026-11-25T09:00:00.000000Z
entries: 8
chains: 2
root: 5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328
key: d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a
signature: """ + (
    "338dbaf914dba23b3bcfbad62c24ac3cd4afa529560147e9fb721b5d502cf1eb"
    "406fce40d1c5248e0752d2fbd76e20b73b011ef60368f5d9b1fc63a1b6f30403\n"
)


@pytest.mark.parametrize(("secret", "public", "message", "signature"), RFC_8032)
def test_the_library_signs_as_rfc_8032_does(secret, public, message, signature):
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    assert checkpoint.public_hex(key) == public
    assert key.sign(bytes.fromhex(message)).hex() == signature


def test_the_text_is_the_golden_one():
    assert checkpoint.signed_text(SAID, KEY) == f"{GOLDEN_BODY}signature: {GOLDEN_SIGNATURE}\n"


def test_the_text_holds_and_says_what_it_was_made_of():
    text = checkpoint.signed_text(SAID, KEY)
    assert checkpoint.text_fault(text, key=PUBLIC) is None
    assert checkpoint.lines_of(text) == {
        "service": "larkspur", "made": "2026-11-25T09:00:00.000000Z", "entries": "8", "chains": "2",
        "root": SAID.root, "ends": SAID.ends, "key": PUBLIC, "signature": GOLDEN_SIGNATURE,
    }  # fmt: skip


def test_a_text_of_the_first_form_still_holds():
    assert checkpoint.text_fault(FORM_1, key=PUBLIC) is None
    assert "ends" not in checkpoint.lines_of(FORM_1)


def test_any_changed_character_of_the_text_is_found():
    text = checkpoint.signed_text(SAID, KEY)
    for i in range(len(text) - 1):
        changed = text[:i] + ("0" if text[i] != "0" else "1") + text[i + 1 :]
        assert checkpoint.text_fault(changed, key=PUBLIC) is not None, changed


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", "not a checkpoint of form 1 or 2"),
        (GOLDEN_BODY, "not a checkpoint of form 1 or 2"),
        (f"{GOLDEN_BODY}signature: 00\n", "signature does not hold"),
        (f"{GOLDEN_BODY}signature: no digits\n", "signature does not hold"),
        (
            f"{GOLDEN_BODY.replace('form 2', 'form 3')}signature: {GOLDEN_SIGNATURE}\n",
            "not a checkpoint of form 1 or 2",
        ),
        (f"{GOLDEN_BODY.replace('entries: 8', 'entries: 9')}signature: {GOLDEN_SIGNATURE}\n", "signature does not"),
    ],
)
def test_what_is_wrong_with_a_text_is_said(text, fault):
    assert fault in str(checkpoint.text_fault(text, key=PUBLIC))


def test_a_text_signed_with_another_key_is_not_taken():
    text = checkpoint.signed_text(SAID, KEY)
    assert "another key" in str(checkpoint.text_fault(text, key=OTHER))
    forged = text.replace(PUBLIC, OTHER)
    assert "signature does not hold" in str(checkpoint.text_fault(forged, key=OTHER))


def test_the_leaf_of_an_entry_is_the_hash_of_its_digests_bytes():
    assert checkpoint.leaf_of("00" * 32) == merkle.leaf_hash(bytes(32))
