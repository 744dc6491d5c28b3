"""What can be told of a document from the file alone.

The file may come from a stranger and be made to exhaust memory or to break the parser, so that a child process reads
it, under limits of the operating system, and attachments are unpacked no further than a document of ours needs.
"""

import io
import json
import resource
import subprocess
import sys
import zlib
from dataclasses import asdict, dataclass
from pathlib import Path

import pikepdf

from reels.domain import ledger
from reports.domain.carried_record import record_fault
from reports.domain.verdicts import CheckResult, Question, Verdict, fails, holds
from reports.pdf.facts import InspectionFacts, from_attachments
from reports.pdf.sheets.inspection import inspection_pdf, library_versions

HOME = Path(__file__).resolve().parents[2]
MAX_BYTES = 20_000_000
MAX_MEMORY = 1_500_000_000  # address space of the child, most of it libraries
MAX_SECONDS = 10  # of processor time
MAX_ATTACHMENTS = 8
MAX_ATTACHED_BYTES = 4_000_000  # of one attachment, unpacked
NOT_ATTACHED = "No record is attached that could be read."


class UnreadableAttachment(ValueError):
    """What is attached cannot be taken out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Examination:
    """The verdicts on seal, record and pages; and what else the service needs to look the file up.

    fingerprint: of the certificate that sealed it; record, signatures: SHA-256 of what is attached. "" where none is.
    """

    results: tuple[CheckResult, ...]
    fingerprint: str = ""
    record: str = ""
    signatures: tuple[str, ...] = ()


def examine(content: bytes, *, seconds: int = MAX_SECONDS) -> Examination:
    """Examine a file of any kind, in a process of its own with bounds on time and memory; never raises for a file.

    seconds: of processor time that it may take.
    """
    if len(content) > MAX_BYTES:
        return _unreadable(f"The file has {len(content)} bytes; up to {MAX_BYTES} are looked at.")
    if not content.startswith(b"%PDF-"):
        return _unreadable("The file is no PDF.")
    try:
        child = subprocess.run(  # noqa: S603  # our own module, and the file only on standard input
            [sys.executable, "-m", "reports.pdf.examination", str(seconds)], input=content, cwd=HOME,
            capture_output=True, timeout=2 * seconds, check=True,
        )  # fmt: skip
        examined = json.loads(child.stdout)
        results = (CheckResult(question=Question(each["question"]), verdict=Verdict(each["verdict"]), why=each["why"])
                   for each in examined["results"])  # fmt: skip
        return Examination(**{**examined, "results": tuple(results), "signatures": tuple(examined["signatures"])})
    except (subprocess.SubprocessError, ValueError):
        return _unreadable("The file takes more time or memory than any document of ours, or breaks the reader.")


def _unreadable(why: str) -> Examination:
    return Examination(results=tuple(fails(each, why) for each in (Question.SEAL, Question.RECORD, Question.PAGES)))


# In the child -------------------------------------------------------------------------------------------------------


def examine_here(content: bytes, *, with_pages: bool = True) -> Examination:
    """Examine a file in this process: for our own files, and for the child.

    with_pages: whether to draw the pages up again, which takes most of the time.
    """
    from reports.pdf.seal import check_seal  # noqa: PLC0415  # large, and most processes never check a seal

    seal = check_seal(content)
    sealed = (holds if seal.holds else fails)(Question.SEAL, seal.why)
    try:
        facts = from_attachments(attached_files(content))
    except Exception:  # noqa: BLE001  # a stranger's file
        return Examination(
            results=(sealed, fails(Question.RECORD, NOT_ATTACHED), fails(Question.PAGES, NOT_ATTACHED)),
            fingerprint=seal.fingerprint,
        )
    if fault := record_fault(facts.record, facts.statements, facts.situation):
        record = fails(Question.RECORD, fault)
    else:
        record = holds(Question.RECORD, f"Record and both signatures match; SHA-256 {facts.record_digest}.")
    return Examination(
        results=(sealed, record, *([_pages(content, facts)] if with_pages else [])),
        fingerprint=seal.fingerprint,
        record=facts.record_digest,
        signatures=tuple(ledger.digest(each) for each in facts.statements),
    )


def _pages(content: bytes, facts: InspectionFacts) -> CheckResult:
    """Whether the pages are those that the attached record gives: they are drawn up again and compared."""
    try:
        versions = facts.situation_data["made_with"]
        if versions != library_versions():  # another version may draw the same record with other bytes
            made_with = ", ".join(f"{name} {number}" for name, number in sorted(versions.items()))
            why = f"They were made with {made_with}, and can't be drawn up again with anything else."
            return CheckResult(question=Question.PAGES, verdict=Verdict.UNKNOWN, why=why)
        redrawn = inspection_pdf(facts)
    except Exception:  # noqa: BLE001  # a stranger's record
        return fails(Question.PAGES, "No pages can be drawn up from what is attached.")
    if content.startswith(redrawn):  # the seal is appended, so a sealed file begins with the unsealed one
        return holds(Question.PAGES, "Drawn up again from the attached record, they are the same, byte for byte.")
    return fails(Question.PAGES, "Drawn up again from the attached record, they are different.")


def attached_files(content: bytes) -> dict[str, bytes]:
    """The attached files by name. Raises UnreadableAttachment, or whatever a broken file makes pikepdf raise."""
    with pikepdf.open(io.BytesIO(content), attempt_recovery=False) as pdf:
        tree = pikepdf.NameTree(pdf.Root.Names.EmbeddedFiles)
        files = list(zip(range(MAX_ATTACHMENTS + 1), tree.items(), strict=False))  # no more are read, however many
        if len(files) > MAX_ATTACHMENTS:
            raise UnreadableAttachment(f"more than {MAX_ATTACHMENTS} files are attached")
        return {str(name): _unpacked(file.EF.F) for _, (name, file) in files}


def _unpacked(stream: pikepdf.Object) -> bytes:
    """The stream's bytes. pikepdf would unpack all of it, and a small stream can stand for a great many bytes."""
    content, packing = stream.read_raw_bytes(), stream.get("/Filter")
    if packing is not None:
        if packing != pikepdf.Name.FlateDecode or "/DecodeParms" in stream:
            raise UnreadableAttachment("an attached file is packed in a way that is not ours")
        content = zlib.decompressobj().decompress(content, MAX_ATTACHED_BYTES + 1)
    if len(content) > MAX_ATTACHED_BYTES:
        raise UnreadableAttachment(f"an attached file has more than {MAX_ATTACHED_BYTES} bytes")
    return content


def _child(seconds: int) -> None:
    """The child's part. The limits are set before a byte of the file is read, and cannot be raised again."""
    resource.setrlimit(resource.RLIMIT_AS, (MAX_MEMORY, MAX_MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))
    resource.setrlimit(resource.RLIMIT_FSIZE, (2 * MAX_BYTES, 2 * MAX_BYTES))  # pikepdf saves through a temporary one
    sys.stdout.write(json.dumps(asdict(examine_here(sys.stdin.buffer.read(MAX_BYTES + 1)))))


if __name__ == "__main__":
    _child(int(sys.argv[1]))
