"""Files of strangers: each gets an answer, in bounded time and memory."""

import io
import socket
import time
import zlib
from functools import cache

import pikepdf
import pytest

from inspections.domain.record import record_bytes
from reports.domain.verdicts import Question, Verdict
from reports.pdf import examination
from reports.pdf.examination import MAX_ATTACHED_BYTES, UnreadableAttachment, attached_files, examine, examine_here
from reports.pdf.facts import RECORD, SITUATION
from reports.pdf.pdfa import write_pdfa
from reports.pdf.seal import seal_document
from reports.pdf.sheets.inspection import inspection_pdf, library_versions, render_inspection
from tests.builders import NOW
from tests.reports.pdf.keys import key_of
from tests.reports.pdf.sample_facts import facts, record

ALL_HOLD = [Verdict.HOLDS] * 3


def ours():
    return facts({"made_with": library_versions()})


@cache
def whole():
    return seal_document(inspection_pdf(ours()), key_of(), at=NOW)


def verdicts(examined):
    return [result.verdict for result in examined.results]


def test_our_own_document_holds_in_all_that_the_file_can_tell():
    examined = examine(whole())
    assert verdicts(examined) == ALL_HOLD
    assert [result.question for result in examined.results] == [Question.SEAL, Question.RECORD, Question.PAGES]
    assert examined.record == ours().record_digest
    assert len(examined.signatures) == 2


def test_another_release_of_a_library_leaves_the_pages_untold():
    content = seal_document(inspection_pdf(facts({"made_with": {"reportlab": "4.0"}})), key_of(), at=NOW)
    assert verdicts(examine_here(content)) == [Verdict.HOLDS, Verdict.HOLDS, Verdict.UNKNOWN]


def test_pages_of_one_record_with_another_attached_are_told_apart():
    other = facts({"made_with": library_versions()}, result={"layers": 12, "wraps": 11, "parity": "even"})
    content = write_pdfa(render_inspection(other), at=NOW, attachments=ours().attachments)
    assert verdicts(examine_here(seal_document(content, key_of(), at=NOW))) == [
        Verdict.HOLDS,
        Verdict.HOLDS,
        Verdict.FAILS,
    ]


def test_a_record_that_is_changed_within_the_file_fails_even_under_a_fresh_seal():
    files = {**ours().attachments, RECORD: record_bytes(record(rereads=0))}
    content = write_pdfa(render_inspection(ours()), at=NOW, attachments=files)
    examined = examine_here(seal_document(content, key_of(), at=NOW))
    assert verdicts(examined) == [Verdict.HOLDS, Verdict.FAILS, Verdict.FAILS]


def test_a_file_that_is_not_sealed_says_so_and_no_more():
    assert verdicts(examine_here(inspection_pdf(ours()))) == [Verdict.FAILS, Verdict.HOLDS, Verdict.HOLDS]


def with_files(**files):
    return write_pdfa(render_inspection(ours()), at=NOW, attachments=files)


def spoilt(change):
    with pikepdf.open(io.BytesIO(whole())) as pdf:
        change(pdf)
        out = io.BytesIO()
        pdf.save(out)
    return out.getvalue()


def bomb(pdf):
    packed = zlib.compress(bytes(400_000_000), 9)
    stream = pdf.make_stream(b"x")
    stream.write(packed, filter=pikepdf.Name.FlateDecode)
    pdf.Root.AF[0].EF = pikepdf.Dictionary(F=stream, UF=stream)


def many_files(pdf):
    file = pdf.Root.AF[0]
    names = [each for number in range(5000) for each in (pikepdf.String(f"{number:05}"), file)]
    pdf.Root.Names.EmbeddedFiles = pikepdf.Dictionary(Names=pikepdf.Array(names))


def circle(pdf):
    node = pdf.make_indirect(pikepdf.Dictionary())
    node.Kids = pikepdf.Array([node, node])
    pdf.Root.Names.EmbeddedFiles = node


def script(pdf):
    pdf.Root.OpenAction = pikepdf.Dictionary(S=pikepdf.Name.JavaScript, JS=pikepdf.String("app.alert(1)"))


def huge_drawing():
    """A record whose pages would never end."""
    many = ours().record_data
    many["parameters"]["wraps_odd_layer"] = 10**9
    files = {**ours().attachments, RECORD: record_bytes({k: v for k, v in many.items() if k not in ("v", "kind")})}
    return seal_document(write_pdfa(render_inspection(ours()), at=NOW, attachments=files), key_of(), at=NOW)


HOSTILE = {
    "empty": lambda: b"",
    "text": lambda: b"hello",
    "head only": lambda: b"%PDF-1.7\n",
    "cut": lambda: whole()[:-3000],
    "front cut": lambda: b"%PDF-1.7\n" + whole()[5000:],
    "zip": lambda: b"PK\x03\x04" + bytes(100),
    "nested": lambda: b"%PDF-1.7\n1 0 obj\n" + b"[" * 200_000,
    "unpacks without end": lambda: spoilt(bomb),
    "many files": lambda: spoilt(many_files),
    "files in a circle": lambda: spoilt(circle),
    "script": lambda: spoilt(script),
    "no attachments": with_files,
    "other attachments": lambda: with_files(**{"a.json": b"[]"}),
    "not json": lambda: with_files(**{RECORD: b"\xff", SITUATION: b"{"}),
    "deep json": lambda: with_files(**{RECORD: b"[" * 900_000, SITUATION: b"{}"}),
}  # fmt: skip


@pytest.mark.parametrize("kind", HOSTILE)
def test_a_hostile_or_broken_file_gets_an_answer(kind):
    examined = examine(HOSTILE[kind]())
    assert [result.question for result in examined.results] == [Question.SEAL, Question.RECORD, Question.PAGES]
    assert verdicts(examined)[0] is Verdict.FAILS
    assert all(result.why.endswith(".") for result in examined.results)


def test_too_large_a_file_is_not_read_at_all(monkeypatch):
    monkeypatch.setattr(examination, "MAX_BYTES", 1000)
    assert "up to 1000 are looked at" in examine(b"%PDF-" + bytes(1000)).results[0].why


def test_a_record_that_could_never_be_drawn_ends_within_bounds():
    drawing = huge_drawing()
    begun = time.monotonic()
    examined = examine(drawing, seconds=3)
    assert time.monotonic() - begun < 3 * 3
    assert "more time or memory" in examined.results[0].why
    assert Verdict.HOLDS not in verdicts(examined)[1:]


def test_an_attached_file_unpacks_no_further_than_its_bound():
    with pytest.raises(UnreadableAttachment, match=f"more than {MAX_ATTACHED_BYTES} bytes"):
        attached_files(spoilt(bomb))


def test_looking_at_a_file_reaches_for_nothing_outside(monkeypatch):
    def refuse(*_args, **_options):
        raise AssertionError("it tried to reach the network")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    assert verdicts(examine_here(whole())) == ALL_HOLD
