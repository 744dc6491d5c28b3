"""Keys of tests, made once for each run."""

from functools import cache

from reports.pdf.seal_keys import SealKey, new_key
from tests.builders import NOW


@cache
def key_of(name: str = "Tests") -> SealKey:
    return new_key(name=name, at=NOW)
