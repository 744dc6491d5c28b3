"""Which characters a text that people read may hold, how names are compared, and what a name does to a sentence.

Refused are those that nobody sees and that change what is read: control characters, the embeddings, overrides and
isolates that turn the order of what follows, and two spaces of no width. Joiners and the marks that tell a direction
(ZWJ, ZWNJ, LRM, RLM, ALM) belong to how some languages are written, and stay; nobody sees them, so two names that
differ by them alone are one name.
Source: the Unicode Standard, Bidirectional Algorithm (UAX 9), explicit formatting characters.
"""

import re
import unicodedata
from collections.abc import Mapping
from typing import Any

_UNSEEN = r"\u202a-\u202e\u2066-\u2069\ufeff\u200b\u2028\u2029"
_ON_A_LINE = re.compile(rf"[\x00-\x1f\x7f-\x9f{_UNSEEN}]")
_IN_LINES = re.compile(rf"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f{_UNSEEN}]")  # with tabs and ends of lines
_CONTROLS = {0: "the character NUL", 9: "a tab", 10: "a new line", 13: "a new line"}


def character_not_taken(text: str, *, has_lines: bool) -> str:
    """The first character that may not be in the text, by its name; nothing where all may. has_lines: a long text."""
    first = (_IN_LINES if has_lines else _ON_A_LINE).search(text)
    if first is None:
        return ""
    character = first.group()
    name = _CONTROLS.get(ord(character)) or unicodedata.name(character, "a control character")
    return f"{name} (U+{ord(character):04X})"


_JOINERS_AND_MARKS = re.compile(r"[\u200c\u200d\u200e\u200f\u061c]")
_FROM_THE_RIGHT = {"R", "AL", "AN"}  # classes of UAX 9


def compared(name: str) -> str:
    """The name as it is compared with others: composed, and without joiners and marks of direction."""
    return name if name.isascii() else unicodedata.normalize("NFC", _JOINERS_AND_MARKS.sub("", name))


def turns_what_is_beside_it(text: str) -> bool:
    """Whether it holds what is read from the right, so that figures and signs beside it in a sentence would move."""
    return not text.isascii() and any(unicodedata.bidirectional(each) in _FROM_THE_RIGHT for each in text)


def set_apart(name: str) -> str:
    """The name as it is put into a sentence for people: what is read from the right is isolated from what is beside it.

    For sentences made here; pages do it by the filter `isolated`. Never stored. Source: UAX 9, FSI and PDI.
    """
    return f"\u2068{name}\u2069" if turns_what_is_beside_it(name) else name


def filled_in(sentence: str, facts: Mapping[str, Any]) -> str:
    """The sentence with the facts in it, each text set apart."""
    return sentence.format(**{name: set_apart(fact) if isinstance(fact, str) else fact for name, fact in facts.items()})
