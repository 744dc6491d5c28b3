"""The mutation study's own instrument: it makes the mistakes that it says, and weak tests let them live."""

import ast
from dataclasses import replace
from pathlib import Path

import pytest

from tests.mutation import __main__ as study
from tests.mutation import checks
from tests.mutation.mutants import mutants_of, sample

HOME = Path(__file__).resolve().parents[2]

MODULE = '''
"""How many fit."""
MOST = 3
RULES = (min, max)

def fits(n: int, kind: str = "box") -> bool:
    """Whether so many fit."""
    if not n:
        raise ValueError(f"none: {n}")
    n -= 1
    return 0 <= n < MOST and kind == "box"
'''
RETURN = "fits: return 0 <= n < MOST and kind == 'box' -> return "
KEYS = [
    ": MOST = 3 -> MOST = 4",
    ": MOST = 3 -> MOST = 2",
    ": RULES = (min, max) -> RULES = (max,)",
    ": RULES = (min, max) -> RULES = (min,)",
    "fits: 'box' -> 'box_'",
    "fits: not n -> n",
    "fits: raise ValueError(f'none: {n}') -> pass",
    "fits: n -= 1 -> n += 1",
    "fits: n -= 1 -> pass",
    "fits: n -= 1 -> n -= 2",
    "fits: n -= 1 -> n -= 0",
    RETURN + "kind == 'box'",
    RETURN + "0 <= n < MOST",
    RETURN + "0 < n < MOST and kind == 'box'",
    RETURN + "0 > n < MOST and kind == 'box'",
    RETURN + "0 <= n <= MOST and kind == 'box'",
    RETURN + "0 <= n >= MOST and kind == 'box'",
    RETURN + "1 <= n < MOST and kind == 'box'",
    RETURN + "0 <= n < MOST and kind != 'box'",
    RETURN + "0 <= n < MOST and kind == 'box_'",
]
STRONG = """
import pytest
from room import MOST, RULES, fits

def test_what_fits():
    assert [fits(n) for n in (-1, 1, 2, 3, 4)] == [False, True, True, True, False]
    assert not fits(2, "ball")
    assert RULES == (min, max)

def test_none_is_refused():
    with pytest.raises(ValueError, match="none: 0"):
        fits(0)
"""
WEAK = """
from room import fits

def test_something_fits():
    assert fits(2)
"""
ENDLESS = """
def one() -> int:
    while True:
        break
    return 1
"""


@pytest.fixture
def judged(tmp_path, monkeypatch):
    """Judge a module by tests, in a tree of its own."""
    monkeypatch.setenv("PYTHONPATH", str(HOME))
    monkeypatch.delenv("DJANGO_SETTINGS_MODULE", raising=False)
    tree = tmp_path / "tree"
    tree.mkdir()
    (tree / "pytest.ini").write_text("[pytest]\npythonpath = .\n")

    def judge(tests: str, module: str = MODULE) -> study.Result:
        (tree / "room.py").write_text(module)
        (tree / "test_room.py").write_text(tests)
        return study.judge(study.Study("room.py", ["test_room.py"]), {}, tree, 2, plugins=())

    return judge


def test_each_kind_of_mistake_is_made_once_and_prose_is_left_alone():
    tree = ast.parse(MODULE)
    assert [each.key for each in mutants_of(tree)] == KEYS
    assert ast.unparse(tree) == ast.unparse(ast.parse(MODULE))


def test_a_sample_is_the_same_every_time_and_keeps_the_order():
    mutants = mutants_of(ast.parse(MODULE))
    drawn = [each.key for each in sample(mutants, 9)]
    assert len(drawn) == 9
    assert drawn == [key for key in KEYS if key in drawn]
    assert drawn == [each.key for each in sample(mutants_of(ast.parse(f"import os\n{MODULE}")), 9)]


def test_strong_tests_kill_every_mutant_also_those_that_take_effect_at_the_import(judged):
    result = judged(STRONG)
    assert (list(result.verdicts), set(result.verdicts.values())) == (KEYS, {"killed"})
    assert (result.killed, result.complaints()) == (1, [])


def test_weak_tests_let_mutants_live_and_each_is_complained_of_unless_it_is_listed(judged):
    result = judged(WEAK)
    survived = result.survived
    assert {": MOST = 3 -> MOST = 4", "fits: raise ValueError(f'none: {n}') -> pass", RETURN + "0 <= n < MOST"} < {
        *survived
    }
    assert "fits: not n -> n" not in survived
    listed = {survived[0]: "nobody asks", "fits: not n -> n": "a wrong reason", "fits: gone": "long ago"}
    again = replace(result, listed=listed)
    *unlisted, killed, gone, few = again.complaints()
    assert unlisted == [f"room.py: survived, and is not listed: {key}" for key in survived[1:]]
    assert killed == "room.py: listed as a survivor, but killed: fits: not n -> n"
    assert gone == "room.py: listed as a survivor, but is not a mutant: fits: gone"
    assert few == f"room.py: only {again.killed:.0%} are killed; 90% are wanted"


def test_a_loop_without_end_is_stopped(judged):
    result = judged("from room import one\n\ndef test_one():\n    assert one() == 1\n", module=ENDLESS)
    assert result.verdicts["one: break -> continue"] == "timed out"
    assert result.survived == ["one: True -> False"]


def test_tests_that_fail_by_themselves_judge_nothing(judged):
    with pytest.raises(SystemExit, match="Without a mutant, these fail"):
        judged("def test_nothing():\n    assert False\n")


def test_a_check_is_disabled_where_it_stands_and_only_if_it_stands_there_once(tmp_path, monkeypatch):
    monkeypatch.delenv("DJANGO_SETTINGS_MODULE", raising=False)
    tree = tmp_path / "tree"
    tree.mkdir()
    (tree / "pytest.ini").write_text("[pytest]\npythonpath = .\n")
    (tree / "room.py").write_text(MODULE)
    (tree / "test_room.py").write_text(WEAK)
    needed = checks.Check("room.py", ("test_room.py",), "what fits", "0 <= n < MOST", "n >= MOST")
    unneeded = checks.Check("room.py", ("test_room.py",), "another kind", ' and kind == "box"', "")
    assert checks.survivors([needed, unneeded], tree, 2) == [unneeded]
    with pytest.raises(ValueError, match="has the check for “one” 3 times, not once"):
        checks.Check("room.py", (), "one", "1", "2").disabled("1 1 1")


def test_what_is_listed_is_still_there():
    for check in checks.checks():
        ast.parse(check.disabled((HOME / check.path).read_text(encoding="utf-8")))
        assert [test for test in check.tests if not (HOME / test).is_file()] == []
    studied = {each.module for each in study.studies()}
    tests = [test for each in study.studies() for test in each.tests]
    assert [test for test in tests if not (HOME / test.partition("::")[0]).is_file()] == []
    for module, listed in study.survivors().items():
        mutants = {each.key for each in mutants_of(ast.parse((HOME / module).read_text(encoding="utf-8")))}
        assert (module in studied, {*listed} - mutants) == (True, set())
