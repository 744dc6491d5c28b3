"""The seal, checked with pyHanko (which made it) and with pdfsig of Poppler, another implementation (NSS).

pdfsig exits 0 whatever it finds, so its words are judged: "Signature is Valid" and "Total document signed".
"""

import logging
from datetime import timedelta

import pytest
from pyhanko.sign import signers
from pyhanko.sign.signers import PdfSignatureMetadata

from reports.pdf import seal, seal_keys
from reports.pdf.seal import check_seal, seal_document
from reports.pdf.sheets.inspection import inspection_pdf
from tests.builders import NOW
from tests.reports.pdf.keys import key_of
from tests.reports.pdf.sample_facts import facts
from tests.reports.programs import preflight, run

STEP = 907  # a prime, so that flips fall on every kind of byte


@pytest.fixture(scope="module")
def plain():
    return inspection_pdf(facts())


@pytest.fixture(scope="module")
def whole(plain):
    return seal_document(plain, key_of(), at=NOW)


def flipped(content, at):
    return content[:at] + bytes([content[at] ^ 1]) + content[at + 1 :]


def pdfsig(content, tmp_path):
    path = tmp_path / "signed.pdf"
    path.write_bytes(content)
    return run("pdfsig", "-nocert", path, allowed=(0, 1, 2))


def is_valid(printed):
    return "Signature is Valid" in printed and "Total document signed" in printed


def test_both_implementations_find_the_seal_valid_over_the_whole_file(whole, tmp_path):
    checked = check_seal(whole)
    assert (checked.holds, checked.fingerprint) == (True, seal_keys.fingerprint(key_of().certificate))
    printed = pdfsig(whole, tmp_path)
    assert is_valid(printed)
    assert "Signature Type: ETSI.CAdES.detached" in printed


def test_the_sealed_file_begins_with_what_was_drawn_up(plain, whole):
    assert whole.startswith(plain)


def test_the_same_document_key_and_time_give_the_same_bytes(plain, whole):
    assert seal_document(plain, key_of(), at=NOW) == whole
    assert seal_document(plain, key_of(), at=NOW + timedelta(seconds=1)) != whole


def test_the_sealed_twin_is_still_archival(tmp_path):
    twin = tmp_path / "twin.pdf"
    twin.write_bytes(inspection_pdf(facts(), "1b"))
    assert "is a valid PDF/A-1b file" in preflight(twin)
    twin.write_bytes(seal_document(twin.read_bytes(), key_of(), at=NOW))
    assert "is a valid PDF/A-1b file" not in preflight(twin)  # part 1 wants an appearance even of an invisible field


def test_every_flipped_bit_is_noticed_by_both(whole, tmp_path):
    contents = whole.index(b"/Contents <", len(whole) - 20_000)
    start, end = contents + len(b"/Contents <"), whole.index(b">", contents)
    places = [*range(0, start, STEP), *range(end + 1, len(whole), 31)]
    missed: dict[str, list[int]] = {"pyhanko": [], "pdfsig": []}
    for place in places:
        spoilt = flipped(whole, place)
        if check_seal(spoilt).holds:
            missed["pyhanko"].append(place)
        if is_valid(pdfsig(spoilt, tmp_path)):
            missed["pdfsig"].append(place)
    assert missed == {"pyhanko": [], "pdfsig": []}
    assert len(places) > 100


def test_what_is_added_afterwards_is_noticed_by_both(whole, tmp_path):
    longer = whole + b"\n% and one more line\n"
    assert check_seal(longer).why == "Something was added to the file after it was sealed."
    assert not is_valid(pdfsig(longer, tmp_path))


def test_a_file_without_its_seal_has_none(plain, tmp_path):
    assert check_seal(plain).why == "It has 0 seals; there should be one."
    assert not is_valid(pdfsig(plain, tmp_path))


def test_a_second_seal_is_one_too_many(plain, monkeypatch):
    def approve(**options):  # what may come more than once
        return PdfSignatureMetadata(**{**options, "certify": False, "field_name": seal.FIELD})

    monkeypatch.setattr(signers, "PdfSignatureMetadata", approve)
    twice = plain
    for field in ("One", "Two"):
        monkeypatch.setattr(seal, "FIELD", field)
        twice = seal_document(twice, key_of(), at=NOW)
    assert check_seal(twice).why == "It has 2 seals; there should be one."


def test_a_seal_of_another_key_has_another_fingerprint(plain):
    checked = check_seal(seal_document(plain, key_of("Others"), at=NOW))
    assert checked.holds
    assert checked.fingerprint != seal_keys.fingerprint(key_of().certificate)


def test_an_old_seal_holds_after_its_certificate_has_run_out(plain):
    old = seal_keys.new_key(name="Old", at=NOW - timedelta(days=365 * 30))
    assert check_seal(seal_document(plain, old, at=NOW - timedelta(days=365 * 25))).holds
    assert not check_seal(seal_document(plain, old, at=NOW)).holds


@pytest.mark.parametrize("content", [b"", b"%PDF-1.7", b"%PDF-1.7\n%%EOF", bytes(3000), b"%PDF-" + b"[" * 50_000])
def test_no_bytes_raise(content, caplog):
    with caplog.at_level(logging.DEBUG):
        assert not check_seal(content).holds
    assert "Traceback" not in caplog.text


def test_a_key_that_is_not_the_certificates_is_refused():
    with pytest.raises(ValueError, match="not that of the key"):
        seal_keys.load(seal_keys.key_pem(key_of()), seal_keys.certificate_pem(key_of("Others").certificate))
