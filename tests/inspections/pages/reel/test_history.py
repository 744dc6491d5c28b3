"""Every act that the services tell has a sentence of its own on the reel's page."""

import ast
from pathlib import Path

import inspections.services
import reels.services
from inspections.pages.reel.history import ACTS

# Not told in a reel's history.
OF_NO_REEL = (
    "administrator_", "authorisation_", "checkpoint_", "length_unit_", "login_", "password_", "person_", "practice_",
    "publication_", "readiness_rule_", "rules_", "safety_notice_", "second_factor_", "sessions_", "sheet_mapping_",
    "token_", "witness_", "wrap_gauge_",
)  # fmt: skip
OPENERS = {"record_act", "_act", "_on_reel", "on_reel"}


def literal_acts():
    """The first or second argument, where it is a plain word, of each call that opens an entry."""
    for package in (reels.services, inspections.services):
        for module in Path(package.__path__[0]).glob("*.py"):
            for node in ast.walk(ast.parse(module.read_text())):
                if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in OPENERS:
                    yield from (arg.value for arg in node.args[1:2] if isinstance(arg, ast.Constant))


def test_every_act_of_a_reel_has_a_sentence():
    acts = set(literal_acts())
    assert {"count_opened", "signed", "values_issued"} <= acts
    assert {act for act in acts - set(ACTS) if not act.startswith(OF_NO_REEL)} == set()
