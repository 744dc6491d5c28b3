"""What a text may hold: the characters of UAX 9 that turn what is read, those that nobody sees, and those that stay."""

import pytest

from reels.domain.text import character_not_taken, compared
from reels.errors import Refused

# Explicit embeddings, overrides and isolates: UAX 9, 2.1 to 2.5 (code points and names from memory, as in unicodedata)
TURNING = (*range(0x202A, 0x202F), *range(0x2066, 0x206A))
STAYING = "\u200d\u200c\u200e\u200f\u061c"  # ZWJ, ZWNJ, LRM, RLM, ALM


@pytest.mark.parametrize("code", [*TURNING, 0xFEFF, 0x200B, 0x0000, 0x0008, 0x001B, 0x007F, 0x0085, 0x2028])
@pytest.mark.parametrize("has_lines", [True, False])
def test_what_nobody_sees_is_refused_by_its_name(code: int, has_lines: bool) -> None:
    assert f"(U+{code:04X})" in character_not_taken(f"frayed {chr(code)} at the end", has_lines=has_lines)


def test_the_refused_character_is_named() -> None:
    assert character_not_taken("a\u202eb", has_lines=False) == "RIGHT-TO-LEFT OVERRIDE (U+202E)"
    assert character_not_taken("a\nb", has_lines=False) == "a new line (U+000A)"
    assert character_not_taken("a\x07b", has_lines=False) == "a control character (U+0007)"


def test_lines_and_tabs_may_be_in_long_texts_and_what_languages_need_in_all() -> None:
    assert character_not_taken("one\r\ntwo\tthree", has_lines=True) == ""
    assert character_not_taken(f"Zoë 数 {STAYING}", has_lines=False) == ""


@pytest.mark.parametrize("mark", STAYING)
def test_names_are_compared_without_joiners_and_composed(mark: str) -> None:
    assert compared(f"Z{mark}o\u0065\u0308") == compared(f"Zo\u00eb{mark}") == "Zo\u00eb"
    assert compared("N-1") == "N-1" != compared("N-2")


@pytest.mark.parametrize(("name", "said"), [
    ("Tess Hollin", "Tess Hollin took part."), ("\u05d3\u05e0\u05d4", "\u2068\u05d3\u05e0\u05d4\u2069 took part."),
])  # fmt: skip
def test_in_a_refusal_a_name_that_is_read_from_the_right_stays_to_itself(name: str, said: str) -> None:
    class TookPart(Refused):
        message = "{name} took part."

    refused = TookPart(name=name)
    assert (str(refused), refused.facts) == (said, {"name": name})
