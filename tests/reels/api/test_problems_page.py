"""deploy/handbook/problems.md: one heading for every type of problem that the code can answer with."""

import re
from importlib import import_module
from pathlib import Path

from deploy import problems
from reels.errors import Refused

PAGE = Path(__file__).resolve().parents[3] / "deploy" / "handbook" / "problems.md"


def family(kind):
    return {kind, *(each for child in kind.__subclasses__() for each in family(child))}


def test_every_type_has_a_heading_and_every_heading_a_type():
    for app in ("reels", "inspections", "reports"):
        import_module(f"{app}.errors")
    refusals = {kind.code for kind in family(Refused) if kind.__module__.endswith(".errors")}
    wanted = {code.replace("_", "-") for code in refusals | set(problems.TITLES)}
    headings = re.findall(r"^### /problems/(\S+)$", PAGE.read_text(encoding="utf-8"), re.M)
    assert sorted(headings) == sorted(wanted)
