"""What can be told of a document from the file alone. It may come from a stranger, so a child process looks at it."""

import json
import resource
import subprocess
import sys
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from reels.domain import ledger
from reports.domain.carried_record import record_fault
from reports.domain.verdicts import CheckResult, Question, Verdict, fails, holds, unknown
from reports.pdf.attached import attached_files
from reports.pdf.facts import InspectionFacts, from_attachments
from reports.pdf.making import drawn_up, made_with
from reports.pdf.seal import check_seal

HOME = Path(__file__).resolve().parents[2]
MOST_BYTES = 20_000_000
MOST_MEMORY = 1_500_000_000  # address space of the child, most of it libraries
MOST_SECONDS = 10
NOT_ATTACHED = "No record is attached that could be read."


@dataclass(frozen=True, slots=True, kw_only=True)
class Examination:
    """The verdicts on seal, record and pages; and what else the service needs to look the file up.

    fingerprint: of the certificate that sealed it; record, signatures: SHA-256 of what is attached. "" where none is.
    """

    findings: tuple[CheckResult, ...]
    fingerprint: str = ""
    record: str = ""
    signatures: tuple[str, ...] = ()


def examine(content: bytes) -> Examination:
    """Examine a file of any kind, in a process of its own with bounds on time and memory; never raises for a file."""
    if len(content) > MOST_BYTES:
        return _nothing(f"The file has {len(content)} bytes; up to {MOST_BYTES} are looked at.")
    if not content.startswith(b"%PDF-"):
        return _nothing("The file is no PDF.")
    try:
        child = subprocess.run(  # our own module, and the file only on standard input
            [sys.executable, "-m", "reports.pdf.examination"], input=content, cwd=HOME, capture_output=True,
            timeout=2 * MOST_SECONDS, check=True,
        )  # fmt: skip
        return _from_json(json.loads(child.stdout))
    except (subprocess.SubprocessError, ValueError):
        return _nothing("The file takes more time or memory than any document of ours, or breaks the reader.")


def _nothing(why: str) -> Examination:
    return Examination(findings=tuple(fails(each, why) for each in (Question.SEAL, Question.RECORD, Question.PAGES)))


def _from_json(said: dict[str, Any]) -> Examination:
    findings = tuple(
        CheckResult(question=Question(each["question"]), verdict=Verdict(each["verdict"]), why=each["why"])
        for each in said["findings"]
    )
    return Examination(**{**said, "findings": findings, "signatures": tuple(said["signatures"])})


# In the child -------------------------------------------------------------------------------------------------------


def examine_here(content: bytes, *, with_pages: bool = True) -> Examination:
    """Examine a file in this process: for our own files, and for the child.

    with_pages: whether to draw the pages up again, which takes most of the time.
    """
    seal = check_seal(content)
    sealed = (holds if seal.holds else fails)(Question.SEAL, seal.why)
    try:
        facts = from_attachments(attached_files(content))
    except Exception:  # noqa: BLE001  # a stranger's file
        return Examination(
            findings=(sealed, fails(Question.RECORD, NOT_ATTACHED), fails(Question.PAGES, NOT_ATTACHED)),
            fingerprint=seal.fingerprint,
        )
    return Examination(
        findings=(sealed, _record(facts), *([_pages(content, facts)] if with_pages else [])),
        fingerprint=seal.fingerprint,
        record=facts.record_digest,
        signatures=tuple(ledger.digest(each) for each in facts.statements),
    )


def _record(facts: InspectionFacts) -> CheckResult:
    if why := record_fault(facts.record, facts.statements, facts.situation):
        return fails(Question.RECORD, why)
    return holds(Question.RECORD, f"Record and both signatures match; SHA-256 {facts.record_digest}.")


def _pages(content: bytes, facts: InspectionFacts) -> CheckResult:
    """Whether the pages are those that the attached record gives: they are drawn up again and compared."""
    try:
        with_what = facts.stood["made_with"]
        if with_what != made_with():
            said = ", ".join(f"{name} {number}" for name, number in sorted(with_what.items()))
            return unknown(
                Question.PAGES, f"They were made with {said}, and can't be drawn up again with anything else."
            )
        again = drawn_up(facts)
    except Exception:  # noqa: BLE001  # a stranger's record
        return fails(Question.PAGES, "No pages can be drawn up from what is attached.")
    if content.startswith(again):
        return holds(Question.PAGES, "Drawn up again from the attached record, they are the same, byte for byte.")
    return fails(Question.PAGES, "Drawn up again from the attached record, they are different.")


def _child() -> None:
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_SECONDS, MOST_SECONDS))
    resource.setrlimit(resource.RLIMIT_FSIZE, (2 * MOST_BYTES, 2 * MOST_BYTES))  # pikepdf saves through a temporary one
    found = asdict(examine_here(sys.stdin.buffer.read(MOST_BYTES + 1)))
    sys.stdout.write(json.dumps(found))


if __name__ == "__main__":
    _child()
