"""What a check of a document answers: one verdict for each question, with the reason in words."""

from dataclasses import dataclass
from enum import StrEnum


class Question(StrEnum):
    """What is asked of a document, each apart from the others."""

    SEAL = "seal"
    RECORD = "record"
    PAGES = "pages"
    HISTORY = "history"

    @property
    def asked(self) -> str:
        """The question in full."""
        return _ASKED[self]


_ASKED = {
    Question.SEAL: "Is the file as this service sealed it?",
    Question.RECORD: "Does the attached record match its digest and its signatures?",
    Question.PAGES: "Do the pages show what the attached record says?",
    Question.HISTORY: "Did this service keep the file, and does its history agree?",
}


class Verdict(StrEnum):
    """The answer to a question."""

    HOLDS = "holds"
    UNKNOWN = "cannot be told"
    FAILS = "fails"


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckResult:
    """A question, its verdict and why."""

    question: Question
    verdict: Verdict
    why: str

    def __str__(self) -> str:
        return f"{self.question}: {self.verdict}. {self.why}"


def holds(question: Question, why: str) -> CheckResult:
    """The answer is yes."""
    return CheckResult(question=question, verdict=Verdict.HOLDS, why=why)


def fails(question: Question, why: str) -> CheckResult:
    """The answer is no."""
    return CheckResult(question=question, verdict=Verdict.FAILS, why=why)
