"""The mutants of a module: each is the module with one small mistake of the kind that people make.

Of prose nothing is changed: a string counts as a code when it has no blank, and only codes are. Annotations, docstrings
and decorators are left alone, for what they do is seen by the type checker or at the first call.
"""

import ast
import copy
import hashlib
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from types import CodeType
from typing import Any

LONGEST_SHOWN = 110
CODE = re.compile(r"[A-Za-z][\w.:/-]*")
UNTOUCHED = {"annotation", "returns", "decorator_list", "bases"}
TYPES_ONLY = {"cast", "NewType", "TypeVar"}

# An order has two neighbours worth trying: the boundary moved, and the opposite.
COMPARISONS: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.Pow: ast.Mult,
    ast.LShift: ast.RShift,
    ast.RShift: ast.LShift,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
    ast.BitXor: ast.BitAnd,
}
_PAIRS = ("min max", "any all", "floor ceil", "minimum maximum", "argmin argmax", "startswith endswith")
NAMES = {a: b for pair in _PAIRS for a, b in (pair.split(), pair.split()[::-1])}
PLAINER = {"sorted": "list", "reversed": "list", "abs": None, "round": None, "sqrt": None}


@dataclass(eq=False)
class Mutant:
    """One place of a syntax tree, and what stands there instead."""

    scope: str  # the qualified name of the function or class; empty at the top of the module
    before: str
    after: str
    in_function: bool  # else it takes effect when the module is imported
    lines: range
    parent: ast.AST
    slot: str
    index: int | None
    new: ast.AST | None  # None: the place is left out

    @property
    def key(self) -> str:
        """What it is known by, wherever in the module it moves."""
        return f"{self.scope}: {self.before} -> {self.after}"

    @property
    def lot(self) -> str:
        """Its place in a sample: the same in every run, whatever else changes in the module."""
        return hashlib.sha256(self.key.encode()).hexdigest()

    @contextmanager
    def applied(self) -> Iterator[None]:
        """The tree with this mistake in it."""
        whole = getattr(self.parent, self.slot)
        mistaken: Any = self.new
        if self.index is not None:
            mistaken = [*whole[: self.index], *([] if self.new is None else [self.new]), *whole[self.index + 1 :]]
        setattr(self.parent, self.slot, mistaken)
        yield
        setattr(self.parent, self.slot, whole)


def mutants_of(tree: ast.Module) -> list[Mutant]:
    """All mutants, in the order of the source; no two with the same key."""
    found: dict[str, Mutant] = {}
    for mutant in _within(tree, (), ""):
        if mutant.before != mutant.after:
            found.setdefault(mutant.key, mutant)
    return list(found.values())


def sample(mutants: list[Mutant], size: int) -> list[Mutant]:
    """As many of them, drawn by a fixed lot; all for 0."""
    drawn = set(sorted(mutants, key=lambda each: each.lot)[: size or None])
    return [each for each in mutants if each in drawn]


def functions_in(code: CodeType) -> dict[tuple[str, int], CodeType]:
    """Every piece of code within a module's, by its qualified name and which of that name it is."""
    found: dict[tuple[str, int], CodeType] = {}
    waiting = [code]
    for each in waiting:
        waiting += [inner for inner in each.co_consts if isinstance(inner, CodeType)]
        found[each.co_qualname, sum(name == each.co_qualname for name, _ in found)] = each
    return found


def _within(node: ast.AST, above: tuple[ast.AST, ...], scope: str) -> Iterator[Mutant]:
    chain = (*above, node)
    if isinstance(node, ast.Call) and _name_of(node.func) in TYPES_ONLY:
        return
    for slot, value in ast.iter_fields(node):
        if slot in UNTOUCHED or (slot == "keywords" and isinstance(node, ast.ClassDef)):
            continue
        for index, child in enumerate(value) if isinstance(value, list) else [(None, value)]:
            if not isinstance(child, ast.AST) or _is_prose(child, node):
                continue
            for new in _instead(child, chain, slot):
                yield _mutant(child, chain, scope, slot, index, new)
            name = child.name if isinstance(child, ast.FunctionDef | ast.ClassDef) else ""
            yield from _within(child, chain, f"{scope}.{name}".strip("."))


def _mutant(
    child: ast.AST, chain: tuple[ast.AST, ...], scope: str, slot: str, index: int | None, new: ast.AST | None
) -> Mutant:
    for each in ast.walk(new) if new else ():
        if isinstance(each, ast.expr | ast.stmt) and not hasattr(each, "lineno"):
            ast.copy_location(each, child)
    below = (*chain[1:], child)
    in_function = any(isinstance(a, ast.FunctionDef) and b in a.body for a, b in zip(chain, below, strict=True))
    lines = range(child.lineno, child.end_lineno + 1)  # type: ignore[attr-defined]  # an expression or a statement
    mutant = Mutant(scope, "", "", in_function, lines, chain[-1], slot, index, new)
    shown = _shown(child, chain)
    mutant.before = _one_line(shown)
    if shown is child:
        mutant.after = _one_line(new) if new else "left out"
    else:
        with mutant.applied():
            mutant.after = _one_line(shown)
    return mutant


def _shown(child: ast.AST, chain: tuple[ast.AST, ...]) -> ast.AST:
    """The largest piece round a change that can still be read at a glance, at most its statement."""
    shown = child
    for each in () if isinstance(child, ast.stmt) else reversed(chain):
        if not isinstance(
            each, ast.expr | ast.Return | ast.Assign | ast.AnnAssign | ast.AugAssign | ast.Expr | ast.keyword
        ):
            break
        if len(_one_line(each)) > LONGEST_SHOWN:
            break
        shown = each
    return shown


def _one_line(node: ast.AST) -> str:
    return " ".join(ast.unparse(node).split())


def _name_of(node: ast.AST) -> str:
    return node.id if isinstance(node, ast.Name) else node.attr if isinstance(node, ast.Attribute) else ""


def _is_prose(node: ast.AST, parent: ast.AST) -> bool:
    is_docstring = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    return is_docstring or (isinstance(node, ast.Constant) and isinstance(parent, ast.JoinedStr))


def _is_text(node: ast.AST) -> bool:
    return isinstance(node, ast.JoinedStr) or (isinstance(node, ast.Constant) and isinstance(node.value, str))


# Kinds of mistakes: each yields what may stand in a node's place. ---------------------------------------------------


def _constant(node: ast.Constant) -> Iterator[ast.Constant]:
    value = node.value
    if isinstance(value, bool):
        yield ast.Constant(not value)
    elif isinstance(value, int):
        yield ast.Constant(value + 1)
        if value > 0:
            yield ast.Constant(value - 1)
    elif isinstance(value, float):
        yield ast.Constant(value * 2 if value else 1.0)
    elif isinstance(value, bytes):
        yield ast.Constant(value + b"_")
    elif isinstance(value, str) and CODE.fullmatch(value):
        yield ast.Constant(f"{value}_")


def _comparison(node: ast.Compare) -> Iterator[ast.Compare]:
    for i, operator in enumerate(node.ops):
        for other in COMPARISONS[type(operator)]:
            yield ast.Compare(node.left, [*node.ops[:i], other(), *node.ops[i + 1 :]], node.comparators)


def _arithmetic(node: ast.BinOp | ast.AugAssign) -> Iterator[ast.AST]:
    sides = [node.left, node.right] if isinstance(node, ast.BinOp) else [node.value]
    other = ARITHMETIC.get(type(node.op))
    if other is None or any(_is_text(side) for side in sides):
        return
    mistaken = copy.copy(node)
    mistaken.op = other()
    yield mistaken
    if isinstance(node, ast.AugAssign):
        yield ast.Pass()


def _boolean(node: ast.BoolOp) -> Iterator[ast.expr]:
    """Each condition forgotten; which also finds what `and` for `or` would."""
    for i in range(len(node.values)):
        rest = [*node.values[:i], *node.values[i + 1 :]]
        yield rest[0] if len(rest) == 1 else ast.BoolOp(node.op, rest)


def _call(node: ast.Call) -> Iterator[ast.expr]:
    name = _name_of(node.func)
    if name in NAMES:
        func = copy.copy(node.func)
        setattr(func, "id" if isinstance(func, ast.Name) else "attr", NAMES[name])
        yield ast.Call(func, node.args, node.keywords)
    if name in PLAINER and len(node.args) == 1:
        plainer = PLAINER[name]
        yield node.args[0] if plainer is None else ast.Call(ast.Name(plainer, ast.Load()), node.args, [])


def _statement(node: ast.stmt) -> Iterator[ast.AST | None]:
    if isinstance(node, ast.Expr | ast.Raise):
        yield ast.Pass()
    elif isinstance(node, ast.Break):
        yield ast.Continue()
    elif isinstance(node, ast.Continue):
        yield ast.Break()
    elif isinstance(node, ast.Return) and not isinstance(node.value, ast.Constant | ast.Compare | ast.BoolOp | None):
        yield ast.Return(ast.Constant(None))


def _table(node: ast.Tuple | ast.List) -> Iterator[ast.AST]:
    """Each row of a module's table forgotten."""
    for i in range(len(node.elts)):
        yield type(node)([*node.elts[:i], *node.elts[i + 1 :]], node.ctx)


def _is_table(node: ast.Tuple | ast.List, chain: tuple[ast.AST, ...]) -> bool:
    at_the_top = isinstance(chain[-1], ast.Assign | ast.AnnAssign) and isinstance(chain[-2], ast.Module)
    return at_the_top and node is getattr(chain[-1], "value", None) and len(node.elts) > 1


def _decides(node: ast.AST, parent: ast.AST, slot: str) -> bool:
    """Whether a name or a call decides between two ways; the other conditions have mistakes of their own."""
    at_a_fork = (slot == "test" and isinstance(parent, ast.If | ast.While | ast.IfExp)) or slot == "ifs"
    return at_a_fork and isinstance(node, ast.Name | ast.Attribute | ast.Call | ast.Subscript | ast.NamedExpr)


def _negation(node: ast.UnaryOp) -> Iterator[ast.expr]:
    yield node.operand


KINDS: tuple[tuple[type[ast.AST] | tuple[type[ast.AST], ...], Callable[[Any], Iterator[ast.AST | None]]], ...] = (
    (ast.Constant, _constant),
    (ast.Compare, _comparison),
    ((ast.BinOp, ast.AugAssign), _arithmetic),
    (ast.BoolOp, _boolean),
    (ast.UnaryOp, _negation),
    (ast.Call, _call),
    (ast.stmt, _statement),
)


def _instead(node: ast.AST, chain: tuple[ast.AST, ...], slot: str) -> Iterator[ast.AST | None]:
    for kind, mistakes in KINDS:
        if isinstance(node, kind):
            yield from mistakes(node)
    if isinstance(node, ast.Tuple | ast.List) and _is_table(node, chain):
        yield from _table(node)
    if _decides(node, chain[-1], slot):
        yield ast.UnaryOp(ast.Not(), node)  # type: ignore[arg-type]  # only expressions decide
