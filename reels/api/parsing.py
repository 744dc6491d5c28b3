"""Reading a JSON body so that nothing in it can be taken for something else."""

import json
from typing import Any

from rest_framework.exceptions import APIException, ParseError
from rest_framework.parsers import BaseParser

MOST_BYTES = 1_000_000  # unless the path takes more


class BodyTooLarge(APIException):
    status_code = 413
    default_code = "body_too_large"

    def __init__(self, most: int) -> None:
        super().__init__(f"A body may have {most} bytes at most here.")


class LengthMissing(APIException):
    status_code = 411
    default_code = "length_missing"
    default_detail = "The header Content-Length is needed: a body in pieces of unknown length is not taken."


class StrictJSONParser(BaseParser):
    """UTF-8, no name twice in an object, no NaN or Infinity, no nesting without end."""

    media_type = "application/json"

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> Any:
        """The value. Raises ParseError or BodyTooLarge."""
        most = getattr((parser_context or {}).get("view"), "most_body_bytes", MOST_BYTES)
        content = stream.read(most + 1)  # one byte too many is enough to know
        if len(content) > most:
            raise BodyTooLarge(most)
        try:
            return json.loads(content.decode("utf-8"), object_pairs_hook=_once_each, parse_constant=_no_number)
        except RecursionError:
            raise ParseError("The body is nested too deeply.") from None
        except ValueError as refused:  # UnicodeDecodeError and JSONDecodeError are of its kind
            raise ParseError(f"The body is not JSON in UTF-8: {refused}") from refused


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    members = dict(pairs)
    if len(members) < len(pairs):
        twice = sorted({name for name, _ in pairs if sum(other == name for other, _ in pairs) > 1})
        raise ValueError(f"an object has {', '.join(twice)} more than once")
    return members


def _no_number(word: str) -> Any:
    raise ValueError(f"{word} is no JSON number")
