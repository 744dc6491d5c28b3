"""The shape of the house, where no ready tool looks: names at the top, who writes, sizes, templates."""

import ast
import re
import tomllib
from collections.abc import Iterator
from importlib.metadata import packages_distributions
from pathlib import Path

HOME = Path(__file__).resolve().parents[2]
APPS = ("reels", "inspections", "reports")
INTERFACES = ("api", "pages", "admin", "management", "queries")
AT_THE_TOP = {"README.md", "DEVELOPERS.md", "manage.py", "pyproject.toml", *APPS, "tests", "deploy"}
MADE_HERE = {"static"}  # what `collectstatic` gathers; git does not keep it

WRITES = {"save", "create", "bulk_create", "bulk_update", "get_or_create", "update_or_create", "delete"}
MOST_LINES = 400


def modules(*shelves: str) -> Iterator[Path]:
    for app in APPS:
        for shelf in shelves:
            yield from (HOME / app).glob(f"{shelf}.py")
            yield from (HOME / app / shelf).rglob("*.py")


def calls(path: Path) -> Iterator[ast.Attribute]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            yield node.func


def writes_rows(call: ast.Attribute) -> bool:
    """Whether it is one of Django's writing methods; `update` only on a query, for a dict has one too."""
    on_a_query = re.search(r"\b(objects|filter\(|exclude\(|all\(\))", ast.unparse(call.value))
    return call.attr in WRITES or (call.attr == "update" and on_a_query is not None)


def where(path: Path, node: ast.Attribute) -> str:
    return f"{path.relative_to(HOME)}:{node.lineno} {ast.unparse(node)}"


def test_the_top_shows_only_what_it_should():
    shown = {path.name for path in HOME.iterdir() if not path.name.startswith(".") and path.name != "__pycache__"}
    assert shown - AT_THE_TOP - MADE_HERE == set()


def test_only_services_write():
    assert [where(path, call) for path in modules(*INTERFACES) for call in calls(path) if writes_rows(call)] == []


def test_api_and_pages_ask_access_and_queries_rather_than_managers():
    found = [
        where(path, node)
        for path in modules("api", "pages")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Attribute) and node.attr in {"objects", "_default_manager"}
    ]
    assert found == []


def test_the_scan_sees_a_write_and_lets_a_dict_be_updated(tmp_path):
    module = tmp_path / "views.py"
    module.write_text("row.save()\nReel.objects.filter(pk=1).update(a=1)\nfound.update(b=2)\n")
    assert [call.lineno for call in calls(module) if writes_rows(call)] == [1, 2]


# One file on purpose: whoever checks with it copies it to another machine, and reads all of it before.
IN_ONE_FILE = "deploy/handbook/check_records.py"


def test_modules_are_split_before_they_grow_long():
    sources = [path for folder in (*APPS, "deploy", "tests") for path in (HOME / folder).rglob("*.py")]
    long = {
        str(path.relative_to(HOME)): n for path in sources if (n := len(path.read_text().splitlines())) > MOST_LINES
    }
    assert set(long) == {IN_ONE_FILE}


def test_migrations_have_names_that_say_something():
    assert [path.name for path in modules("migrations") if "_auto_" in path.name] == []


def test_templates_keep_to_what_the_content_security_policy_allows():
    inline = re.compile(
        r"\|\s*safe\b|\bstyle\s*=|\bon[a-z]+\s*=\s*[\"']|<style|<script(?![^>]*\bsrc=)|javascript:", re.I
    )
    pages = [path for app in APPS for path in (HOME / app).glob("templates/**/*.html")]
    found = [f"{path.relative_to(HOME)}: {hit[0]}" for path in pages for hit in inline.finditer(path.read_text())]
    assert found == []


def declared(*groups: str) -> set[str]:
    """The distributions that pyproject.toml asks for, as importlib.metadata writes them."""
    project = tomllib.loads((HOME / "pyproject.toml").read_text(encoding="utf-8"))
    asked = [
        *project["project"]["dependencies"],
        *(each for name in groups for each in project["dependency-groups"][name]),
    ]
    return {re.split(r"[\[<>=]", each)[0].lower() for each in asked}


def imported(*folders: str) -> set[str]:
    """The distributions whose modules are imported under these folders."""
    trees = (
        ast.parse(path.read_text(encoding="utf-8")) for folder in folders for path in (HOME / folder).rglob("*.py")
    )
    nodes = [node for tree in trees for node in ast.walk(tree)]
    names = {alias.name for node in nodes if isinstance(node, ast.Import) for alias in node.names}
    names |= {node.module for node in nodes if isinstance(node, ast.ImportFrom) and node.module and not node.level}
    known, own = packages_distributions(), {*APPS, "deploy", "tests"}
    return {
        known[top][0].lower().replace("_", "-") for top in {name.split(".")[0] for name in names} - own if top in known
    }


def test_every_library_that_is_imported_is_declared():
    assert imported(*APPS, "deploy") - declared() == set()
    assert imported("tests") - declared("development") == set()


# Names and sizes ----------------------------------------------------------------------------------------------------

LONGEST_OF_NINE_IN_TEN = 20


def trees(*, tests: bool) -> Iterator[tuple[Path, ast.Module]]:
    """Our own modules, without migrations."""
    for folder in (*APPS, "deploy", *(["tests"] if tests else [])):
        for path in sorted((HOME / folder).rglob("*.py")):
            if "migrations" not in path.parts:
                yield path.relative_to(HOME), ast.parse(path.read_text(encoding="utf-8"))


def functions(tree: ast.AST) -> list[ast.FunctionDef]:
    return [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]


def test_nine_functions_in_ten_are_short():
    lengths = sorted(
        function.end_lineno - function.body[0].lineno + 1
        for _, tree in trees(tests=False)
        for function in functions(tree)
        if function.end_lineno
    )
    assert lengths[len(lengths) * 9 // 10] <= LONGEST_OF_NINE_IN_TEN


# Django finds these by their names: in every model, command and migration the class has to be called so.
DEMANDED = {"Meta", "Command", "Migration"}


def test_one_class_name_has_one_meaning():
    defined: dict[str, list[str]] = {}
    for path, tree in trees(tests=True):
        for node in ast.walk(tree):
            if isinstance(node, ast.ClassDef) and node.name not in DEMANDED:
                defined.setdefault(node.name, []).append(str(path))
    assert {name: paths for name, paths in defined.items() if len(paths) > 1} == {}


# Words that could stand for any value.
VAGUE = {"found", "said", "given", "mine", "owed", "deed", "wanted", "told"}


def names_of_values(tree: ast.AST) -> Iterator[tuple[str, int]]:
    """What functions, their parameters and variables are called. A class's columns and fields are the wire."""
    body = tree.body if isinstance(tree, ast.Module) else []
    yield from ((name.id, name.lineno) for node in body for name in _stored(node))
    for function in functions(tree):
        yield function.name, function.lineno
        yield from ((node.arg, node.lineno) for node in ast.walk(function) if isinstance(node, ast.arg))
        yield from ((name.id, name.lineno) for node in function.body for name in _stored(node))


def _stored(node: ast.AST) -> Iterator[ast.Name]:
    if isinstance(node, ast.ClassDef):
        return
    if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
        yield node
    for child in ast.iter_child_nodes(node):
        yield from _stored(child)


def test_names_say_what_a_value_is():
    vague = {
        f"{path}:{line} {name}"
        for path, tree in trees(tests=False)
        for name, line in names_of_values(tree)
        if name in VAGUE
    }
    assert vague == set()


def test_the_scan_of_names_sees_variables_and_parameters_and_leaves_columns():
    source = "class Row:\n    told = 1\n    def f(self, given):\n        said: int = 2\n        x.found = 3\n"
    assert {name for name, _ in names_of_values(ast.parse(source))} == {"f", "self", "given", "said"}
