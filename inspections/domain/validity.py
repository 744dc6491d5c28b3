"""Whether a record still stands: one list of words for pages, documents, the API and proofs."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum


class Validity(StrEnum):
    """Of a signed count, and of setup values. Of a count the last in this list that holds."""

    STANDS = "stands"
    LAPSED = "lapsed"
    WITHDRAWN = "withdrawn"
    SUPERSEDED = "superseded"
    VOIDED = "voided"

    @property
    def means(self) -> str:
        """What to tell whoever holds the record."""
        return _MEANS[self]


_MEANS: Mapping[Validity, str] = {
    Validity.STANDS: "Nothing since has ended it.",
    Validity.LAPSED: "Something since has ended the count, or its days or uses are over: the reel has to be counted.",
    Validity.WITHDRAWN: "Setup values: they may not be set any more. The count that they came from may stand.",
    Validity.SUPERSEDED: "There is a newer signed count of the reel.",
    Validity.VOIDED: "Two people took the signed count back: its numbers are not valid.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ValidityAt:
    """Of one record, as of a moment. since, why: empty while it stands. by: the inspection that superseded it."""

    word: Validity
    as_of: datetime
    since: datetime | None = None
    why: str = ""
    by: int | None = None

    @property
    def in_words(self) -> str:
        """Such as "lapsed since 2026-03-04 09:00 UTC: an entry says: cut"."""
        if self.since is None:
            return str(self.word)
        return f"{self.word} since {self.since:%Y-%m-%d %H:%M} UTC: {self.why}"


@dataclass(frozen=True, slots=True, kw_only=True)
class WhatFollowed:
    """After a count was signed, each with when. lapsed, voided: why. superseded: by which inspection."""

    lapsed: tuple[datetime, str] | None = None
    superseded: tuple[datetime, int] | None = None
    voided: tuple[datetime, str] | None = None


def validity_of_count(followed: WhatFollowed, at: datetime) -> ValidityAt:
    """Of a signed count, by what had followed it at a moment."""
    if (voided := followed.voided) and voided[0] <= at:
        return ValidityAt(word=Validity.VOIDED, as_of=at, since=voided[0], why=voided[1])
    if (newer := followed.superseded) and newer[0] <= at:
        why = f"inspection {newer[1]} is a newer signed count of the reel"
        return ValidityAt(word=Validity.SUPERSEDED, as_of=at, since=newer[0], why=why, by=newer[1])
    if (lapsed := followed.lapsed) and lapsed[0] <= at:
        return ValidityAt(word=Validity.LAPSED, as_of=at, since=lapsed[0], why=lapsed[1])
    return ValidityAt(word=Validity.STANDS, as_of=at)


def validity_of_values(withdrawn: tuple[datetime, str] | None, at: datetime) -> ValidityAt:
    """Of setup values. withdrawn: when and why, if they were."""
    if withdrawn and withdrawn[0] <= at:
        return ValidityAt(word=Validity.WITHDRAWN, as_of=at, since=withdrawn[0], why=withdrawn[1])
    return ValidityAt(word=Validity.STANDS, as_of=at)
