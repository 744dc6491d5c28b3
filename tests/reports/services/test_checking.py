import pytest
from django.core.management import call_command

from reels.domain import ledger
from reports.domain.verdicts import Question, Verdict
from reports.models import ArchivedPdf
from reports.pdf import seal_keys
from reports.pdf.examination import attached_files, examine_here
from reports.pdf.facts import from_attachments
from reports.pdf.seal import seal_document
from reports.pdf.sheets.inspection import inspection_pdf
from reports.services.checking import archive_break, check_document, document_fault, history
from reports.services.seal import known_fingerprints
from tests import builders
from tests.builders import NOW, Cast
from tests.reports.documented import committed, documents, signed
from tests.reports.pdf.keys import key_of

pytestmark = pytest.mark.django_db
STEP, SEAL_STEP = 331, 211  # primes, so that changes fall on every kind of byte


@pytest.fixture
def cast():
    return Cast.as_needed()


@pytest.fixture
def inspection(cast):
    return signed(cast)


@pytest.fixture
def content(inspection):
    return bytes(documents(inspection)[0].content)


def verdicts(results):
    return {result.question: result.verdict for result in results}


def why(results, question):
    return next(result.why for result in results if result.question is question)


def test_a_kept_document_holds_in_every_question(content):
    results = check_document(content)
    assert verdicts(results) == dict.fromkeys(Question, Verdict.HOLDS)
    number = ArchivedPdf.objects.get().inspection_id
    assert why(results, Question.HISTORY) == f"Kept as document 1 of inspection {number}. It is the newest."


def test_whatever_byte_is_changed_the_check_fails_and_but_for_the_seals_own_digits_the_file_alone_tells(content):
    begin = content.index(b"/Contents <", len(content) - 20_000) + len(b"/Contents <")
    end = content.index(b">", begin)  # between them stands the seal itself, which can't cover itself
    untold, unseen = [], []
    for place in [*range(0, len(content), STEP), *range(begin, end, SEAL_STEP), len(content) - 1]:
        spoilt = content[:place] + bytes([content[place] ^ 1]) + content[place + 1 :]
        alone = examine_here(spoilt, with_pages=False)
        if history(spoilt, alone).verdict is not Verdict.FAILS:
            untold.append(place)
        if all(each.verdict is Verdict.HOLDS for each in alone.results) and not begin <= place < end:
            unseen.append(place)
    assert (untold, unseen) == ([], [])


def test_a_changed_digit_after_the_seals_end_is_harmless_and_still_no_file_of_ours(content):
    end = content.index(b">", content.index(b"/Contents <", len(content) - 20_000))
    assert content[end - 1 : end] == b"0"  # room that the seal did not need
    spoilt = content[: end - 1] + b"1" + content[end:]
    results = verdicts(check_document(spoilt))
    assert results == {**dict.fromkeys(Question, Verdict.HOLDS), Question.HISTORY: Verdict.FAILS}


def test_an_earlier_document_holds_and_says_that_there_is_a_later_one(cast, content):
    with committed():
        builders.issued(cast)
    assert "A later one shows a later situation." in why(check_document(content), Question.HISTORY)


def test_a_document_under_somebody_elses_seal_is_none_of_ours(content):
    plain = inspection_pdf(from_attachments(attached_files(content)))
    results = check_document(seal_document(plain, key_of("Others"), at=NOW))
    assert verdicts(results) == {
        Question.SEAL: Verdict.FAILS,
        Question.RECORD: Verdict.HOLDS,
        Question.PAGES: Verdict.HOLDS,
        Question.HISTORY: Verdict.FAILS,
    }
    assert "is not one of this service" in why(results, Question.SEAL)
    assert "This file was never kept; its record is that of inspection" in why(results, Question.HISTORY)


def test_a_flipped_bit_outside_of_what_is_sealed_is_noticed_by_the_history(content):
    # the seal itself leaves room that nothing covers; the digest of the whole file does
    place = content.rindex(b"00>")
    results = check_document(content[:place] + b"10>" + content[place + 3 :])
    assert verdicts(results)[Question.HISTORY] is Verdict.FAILS


def test_the_certificate_of_an_earlier_key_is_still_known(content, seal_files):
    certificates = seal_files / "certificates.pem"
    certificates.write_bytes(seal_keys.certificate_pem(key_of("Next").certificate) + certificates.read_bytes())
    assert verdicts(check_document(content))[Question.SEAL] is Verdict.HOLDS


# The command --------------------------------------------------------------------------------------------------------


def test_the_command_answers_each_question_of_each_file(content, tmp_path, capsys):
    good, bad = tmp_path / "good.pdf", tmp_path / "bad.pdf"
    good.write_bytes(content)
    bad.write_bytes(b"no pdf")
    call_command("check_pdf", str(good))
    assert [line.split(".")[0] for line in capsys.readouterr().out.splitlines()[1:]] == [
        "  seal: holds", "  record: holds", "  pages: holds", "  history: holds",
    ]  # fmt: skip
    with pytest.raises(SystemExit) as ended:
        call_command("check_pdf", str(bad), str(tmp_path / "absent.pdf"), str(good))
    assert ended.value.code == 1
    printed = capsys.readouterr().out
    assert "seal: fails. The file is no PDF." in printed
    assert "cannot be read: No such file or directory" in printed
    assert printed.count(": holds") == 4


# What is kept -------------------------------------------------------------------------------------------------------


def test_kept_documents_are_whole(inspection):
    assert archive_break() is None


@pytest.mark.parametrize("place", [0, 5000, 60_000, -300, -1])
def test_a_kept_document_with_a_flipped_bit_is_found(inspection, place):
    [kept] = documents(inspection)
    spoilt = bytearray(kept.content)
    spoilt[place] ^= 1
    kept.content = bytes(spoilt)
    assert str(document_fault(kept, known_fingerprints())).startswith("its bytes have the digest")
    kept.digest = ledger.digest(kept.content)  # whoever changes the file may change the digest beside it
    assert document_fault(kept, known_fingerprints()) is not None


def test_a_kept_document_with_another_record_is_found(inspection, cast):
    [kept] = documents(inspection)
    [other] = documents(signed(cast, "LW-0002"))
    for name in ("content", "digest", "unsealed_length", "unsealed_digest"):
        setattr(kept, name, getattr(other, name))
    assert document_fault(kept, known_fingerprints()) == "the record that it carries is not the one that was signed"


def test_a_kept_document_with_another_seal_is_found(inspection):
    [kept] = documents(inspection)
    assert "which is not one of this service" in str(document_fault(kept, frozenset()))
