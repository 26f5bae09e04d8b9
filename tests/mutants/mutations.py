"""Small wrong changes of a module, one at a time: what a good test would notice.

The kinds: a comparison's end or its sense, an operator, a sign, `and` and `or`, a condition turned
round, `min` and `max`, a number, a truth value, a word, the digits of a figure in a text, a value
that is not given back, a statement left out.

Left alone: docstrings, annotations, decorators, the options of a class, `__all__`, imports, what
runs for type checking only, and prose (a text with a blank in it, the words of an f-string): people
read it, and the recorded conversations pin it.
"""

from __future__ import annotations

import ast
import copy
import re
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

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
OPERATORS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.Pow: ast.Mult,
    ast.BitOr: ast.BitAnd,
    ast.BitAnd: ast.BitOr,
}
SWAPPED = {"min": "max", "max": "min", "any": "all", "all": "any"}
#: Fields of a node that hold nothing to be tested.
SKIPPED = {"annotation", "returns", "decorator_list", "type_params"}
#: The statements that may go without leaving a name undefined.
DROPPED = (ast.Expr, ast.AugAssign, ast.Raise, ast.Break, ast.Continue, ast.Delete)

Place = tuple[str | int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mutant:
    """One change of one module: its line and function, what stood there, and what takes its place.

    place: the fields and numbers that lead from the module to the node. `str` tells it from all
    others of its module, whatever line it moves to: `[function] old → new`, and which of several.
    """

    line: int
    function: str
    old: str
    new: str
    number: int
    place: Place
    node: ast.AST

    def __str__(self) -> str:
        """`[function] old → new`, with #2 for the second of its kind."""
        which = f" #{self.number}" if self.number > 1 else ""
        return f"[{self.function}] {self.old} → {self.new}{which}"


def mutants(source: str) -> list[Mutant]:
    """Every mutant of a module's text, in the order of the text."""
    tree = ast.parse(source)
    found = []
    alike: Counter[tuple[str, str, str]] = Counter()
    for place, (function, line) in list(_sites(tree, (), ("", 1))):
        node = _at(tree, place)
        # A lone constant says little: what it stands in is shown with it.
        shown = place[:-1] if isinstance(node, ast.Constant) else place
        while isinstance(_at(tree, shown), list):
            shown = shown[:-1]
        old = _shown(_at(tree, shown))
        for other in _changes(node, place):
            _put(tree, place, other)
            new = _shown(_at(tree, shown))
            _put(tree, place, node)
            alike[function, old, new] += 1
            found.append(
                Mutant(
                    line=line,
                    function=function,
                    old=old,
                    new=new,
                    number=alike[function, old, new],
                    place=place,
                    node=other,
                )
            )
    return found


def mutated(source: str, mutant: Mutant) -> str:
    """The text of the whole module with that one change, without comments."""
    tree = ast.parse(source)
    _put(tree, mutant.place, mutant.node)
    return ast.unparse(ast.fix_missing_locations(tree)) + "\n"


def _sites(
    node: ast.AST, place: Place, around: tuple[str, int], in_text: bool = False
) -> Iterator[tuple[Place, tuple[str, int]]]:
    """The places of all nodes that may be changed, each with the function and line it stands in."""
    function, line = around
    if not in_text:  # where Python 3.11 knows no lines
        line = getattr(node, "lineno", line)
    if isinstance(node, ast.FunctionDef | ast.ClassDef):
        function = f"{function}.{node.name}".lstrip(".")
    if _left_alone(node):
        return
    if place:
        yield place, (function, line)
    text = isinstance(node, ast.JoinedStr)
    for field, value in ast.iter_fields(node):
        if field in SKIPPED or (field == "keywords" and isinstance(node, ast.ClassDef)):
            continue
        for number, one in enumerate(value if isinstance(value, list) else [value]):
            words = text and isinstance(one, ast.Constant) and "format_spec" not in place
            if isinstance(one, ast.AST) and not words:
                below = (field, number) if isinstance(value, list) else (field,)
                yield from _sites(one, (*place, *below), (function, line), in_text or text)


def _left_alone(node: ast.AST) -> bool:
    if isinstance(node, ast.Import | ast.ImportFrom):
        return True
    if isinstance(node, ast.If):
        return ast.unparse(node.test) == "TYPE_CHECKING"
    if isinstance(node, ast.Assign):
        return ast.unparse(node.targets[0]) == "__all__"
    # A docstring, or a text that stands for one.
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)


def _changes(node: ast.AST | list[ast.AST], place: Place) -> Iterator[ast.AST]:
    """What a node may become."""
    if isinstance(node, ast.Compare):
        for number, operator in enumerate(node.ops):
            for other in COMPARISONS[type(operator)]:
                yield _with(node, ops=[*node.ops[:number], other(), *node.ops[number + 1 :]])
    elif isinstance(node, ast.BinOp | ast.AugAssign) and type(node.op) in OPERATORS:
        yield _with(node, op=OPERATORS[type(node.op)]())
    elif isinstance(node, ast.BoolOp):
        yield _with(node, op=ast.Or() if isinstance(node.op, ast.And) else ast.And())
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub):
        yield node.operand
    elif isinstance(node, ast.Name) and node.id in SWAPPED and place[-1] == "func":
        yield _with(node, id=SWAPPED[node.id])
    elif isinstance(node, ast.Constant):
        yield from _constants(node, place)
    elif isinstance(node, ast.Return) and node.value and ast.unparse(node.value) != "None":
        yield _with(node, value=ast.Constant(None))
    if isinstance(node, ast.If | ast.IfExp | ast.While) and not isinstance(
        node.test, ast.Compare | ast.UnaryOp
    ):
        yield _with(node, test=ast.UnaryOp(ast.Not(), node.test))
    if isinstance(node, DROPPED):
        yield ast.Pass()


def _constants(node: ast.Constant, place: Place) -> Iterator[ast.AST]:
    value = node.value
    if isinstance(value, bool):
        yield ast.Constant(not value)
    elif isinstance(value, int):
        yield from (ast.Constant(value + 1), ast.Constant(value - 1))
    elif isinstance(value, float):
        yield ast.Constant(value * 1.01 if value else 1.0)
    elif isinstance(value, str) and "format_spec" in place:
        if digits := re.search(r"\.(\d+)", value):
            more = f".{int(digits[1]) + 1}"
            yield ast.Constant(value[: digits.start()] + more + value[digits.end() :])
    elif isinstance(value, str) and value and " " not in value:
        yield ast.Constant("mutant")


def _with(node: ast.AST, **fields: object) -> ast.AST:
    changed = copy.copy(node)
    for name, value in fields.items():
        setattr(changed, name, value)
    return changed


def _at(tree: ast.AST, place: Place) -> ast.AST | list[ast.AST]:
    found: object = tree
    for one in place:
        found = found[one] if isinstance(one, int) else getattr(found, one)  # type: ignore[index]
    return found  # type: ignore[return-value]


def _put(tree: ast.AST, place: Place, node: ast.AST) -> None:
    above, last = _at(tree, place[:-1]), place[-1]
    if isinstance(last, int):
        above[last] = node  # type: ignore[index]
    else:
        setattr(above, last, node)


def _shown(node: ast.AST | list[ast.AST]) -> str:
    """A node on one line, cut where it is long; of a compound statement the head."""
    text = ast.unparse(node).strip()  # type: ignore[arg-type]
    first = text.splitlines()[0] if isinstance(node, ast.stmt) else " ".join(text.split())
    return first if len(first) <= 100 else first[:99] + "…"
