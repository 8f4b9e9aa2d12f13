"""Small changes to a module, one at a time, in its syntax tree: the operators, and what they leave alone.

| operator | change |
|---|---|
| arithmetic | + and -, * and / swapped; ** becomes *, // becomes /, % becomes // |
| bits | & and | swapped |
| sign | -x and ~x become x |
| boundary | < and <=, > and >= swapped |
| comparison | turned into its opposite: < and >=, > and <=, == and !=, in and not in, is and is not |
| and/or | swapped |
| operand | of an and or or: one left out, each in turn |
| not | not x becomes x |
| condition | of an if, while, conditional expression or comprehension: negated where none of the above does that |
| number | 3 becomes 4, 2.5 becomes 2.525, 0.0 becomes 1.0 |
| truth | True and False swapped |
| text | "net" becomes "XXnet" |
| default | the same three of a parameter's or field's default, and None becomes 1 |
| branches | the second and third argument of where(condition, a, b) swapped |
| return | the value becomes None |
| statement | a call, an assignment to what has a value already, raise, break or continue becomes pass |
| decorator | of a function, taken away |

Left alone: annotations, type aliases, docstrings, imports, assertions, `__all__` and the like, the sentence of a raise,
f-strings but for the expressions in them, separators such as ", ".join, the texts of where a figure comes from, tables
of words, and any other text of four words and more unless it is compared, looked up or a member of a list: tests
check figures and outcomes; sentences for people they check only here and there.
"""

import ast
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

Place = tuple[tuple[str, int | None], ...]
Change = tuple[str, ast.AST]

ARITHMETIC = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.Pow: ast.Mult,
    ast.FloorDiv: ast.Div,
    ast.Mod: ast.FloorDiv,
}
BITS = {ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd}
BOUNDARIES = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt}
OPPOSITES = {
    ast.Lt: ast.GtE,
    ast.GtE: ast.Lt,
    ast.Gt: ast.LtE,
    ast.LtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
}
# What these decorators do is not a rule of the room: without them nothing works, or only slower.
KEPT_DECORATORS = ("dataclass", "property", "classmethod", "staticmethod", "lru_cache", "cache", "overload")
PROVENANCE = ("label", "source", "evidence", "note", "jurisdiction", "edition")
TABLES_OF_WORDS = ("WORDS", "LABELS")
WORDS_OF_A_SENTENCE = 4
FLOAT_STEP = 1.01
SHOWN = 100


@dataclass(frozen=True)
class Mutant:
    """One change: the line, the operator, the code before and after, and what stands where in the tree."""

    line: int
    operator: str
    before: str
    after: str
    place: Place
    node: ast.AST

    @property
    def key(self) -> str:
        """Tells it from every other mutant of the same source."""
        steps = ".".join(name if index is None else f"{name}[{index}]" for name, index in self.place)
        return f"{steps} {self.operator}: {self.after}"


@dataclass(frozen=True)
class Spot:
    """A node, where it hangs and what is known around it.

    texts : which texts are logic: "all", "single words" or "none". bound : how often each name is bound in the function
    around. in_function : whether there is one.
    """

    node: ast.AST
    place: Place = ()
    parent: ast.AST | None = None
    texts: str = "all"
    bound: tuple[str, ...] = ()
    in_function: bool = False

    @property
    def field(self) -> str:
        return self.place[-1][0] if self.place else ""


def mutants(tree: ast.Module) -> list[Mutant]:
    """Every mutant of a module, in the order of its lines; the tree stays as it is.

    >>> [(each.before, each.after) for each in mutants(ast.parse("share = part / 100"))]
    [('part / 100', 'part * 100'), ('100', '101')]
    """
    made = [
        Mutant(getattr(spot.node, "lineno", 0), operator, _shown(spot.node), _shown(node), spot.place, node)
        for spot in _spots(Spot(tree))
        for change in OPERATORS
        for operator, node in change(spot)
    ]
    return sorted(made, key=lambda mutant: mutant.line)


def mutate(tree: ast.Module, mutant: Mutant) -> None:
    """Put the mutant into the tree from whose equal it was made, ready to be compiled."""
    *way, (name, index) = mutant.place
    parent: ast.AST = tree
    for step, at in way:
        parent = getattr(parent, step) if at is None else getattr(parent, step)[at]
    if index is None:
        setattr(parent, name, mutant.node)
    else:
        getattr(parent, name)[index] = mutant.node
    ast.fix_missing_locations(tree)


def _shown(node: ast.AST) -> str:
    """The node on one line; of what has a body only its head."""
    if isinstance(node, ast.FunctionDef | ast.If | ast.While):
        node = _with(node, body=[ast.Pass()]) if isinstance(node, ast.FunctionDef) else node.test
    text = " ".join(ast.unparse(node).split())
    return text if len(text) <= SHOWN else text[: SHOWN - 3] + "..."


def _with(node: ast.AST, **changes: object) -> ast.AST:
    return ast.copy_location(type(node)(**dict(ast.iter_fields(node)) | changes), node)


# Where to go


def _spots(spot: Spot) -> Iterator[Spot]:
    """The spot and all below it that may be changed."""
    yield spot
    if isinstance(spot.node, ast.Raise):
        return
    for name, value in ast.iter_fields(spot.node):
        children = enumerate(value) if isinstance(value, list) else [(None, value)]
        for index, child in children:
            if isinstance(child, ast.AST) and not _left_alone(spot, name, child):
                yield from _spots(_below(spot, child, (name, index)))


def _left_alone(spot: Spot, name: str, child: ast.AST) -> bool:
    if name in ("annotation", "returns", "decorator_list", "bases", "ctx"):
        return True
    if isinstance(child, ast.Assert | ast.Import | ast.ImportFrom):
        return True
    if isinstance(child, ast.Expr) and isinstance(child.value, ast.Constant):
        return True  # a docstring
    if isinstance(child, ast.Assign | ast.AnnAssign) and isinstance(spot.node, ast.Module):
        return any(target.startswith("__") or _is_type_name(target) for target in _targets(child))
    return isinstance(child, ast.If) and ast.unparse(child.test).endswith("TYPE_CHECKING")


def _is_type_name(name: str) -> bool:
    return name[:1].isupper() and not name.isupper()


def _targets(node: ast.AST) -> list[str]:
    """The plain names that a statement binds."""
    targets = node.targets if isinstance(node, ast.Assign) else [getattr(node, "target", None)]
    return [name.id for target in targets if target for name in ast.walk(target) if isinstance(name, ast.Name)]


def _below(spot: Spot, child: ast.AST, step: tuple[str, int | None]) -> Spot:
    below = replace(spot, node=child, place=(*spot.place, step), parent=spot.node)
    if isinstance(child, ast.FunctionDef):
        return replace(below, in_function=True, bound=_bound(child))
    if isinstance(child, ast.JoinedStr) or (isinstance(child, ast.keyword) and child.arg in PROVENANCE):
        return replace(below, texts="none")
    if isinstance(child, ast.Assign | ast.AnnAssign) and _holds_words(child, spot):
        return replace(below, texts="single words")
    return below


def _holds_words(statement: ast.Assign | ast.AnnAssign, spot: Spot) -> bool:
    """Whether it is a table of words, or the one text of a name that is final."""
    final = isinstance(statement, ast.AnnAssign) and ast.unparse(statement.annotation) == "Final"
    text = isinstance(statement.value, ast.Constant)
    return isinstance(spot.node, ast.Module) and (
        (final and text) or any(target.endswith(TABLES_OF_WORDS) for target in _targets(statement))
    )


def _bound(function: ast.FunctionDef) -> tuple[str, ...]:
    """Names of a function once for each place that gives them a value without needing one."""
    parameters = [each.arg for each in ast.walk(function.args) if isinstance(each, ast.arg)]
    added_to = [each.target for each in ast.walk(function) if isinstance(each, ast.AugAssign)]
    stored = [each for each in ast.walk(function) if isinstance(each, ast.Name) and isinstance(each.ctx, ast.Store)]
    return (*parameters, *(each.id for each in stored if each not in added_to))


# What to change


def _operation(spot: Spot) -> Iterator[Change]:
    node = spot.node
    if not isinstance(node, ast.BinOp | ast.AugAssign):
        return
    if isinstance(node, ast.BinOp) and any(_is_sequence(side) for side in (node.left, node.right)):
        return  # texts and lists are joined by +: a minus there says nothing about the tests
    for operator, swaps in (("arithmetic", ARITHMETIC), ("bits", BITS)):
        if swap := swaps.get(type(node.op)):
            yield operator, _with(node, op=swap())


def _is_sequence(node: ast.expr) -> bool:
    text = isinstance(node, ast.Constant) and isinstance(node.value, str)
    return text or isinstance(node, ast.JoinedStr | ast.List | ast.Tuple)


def _comparison(spot: Spot) -> Iterator[Change]:
    node = spot.node
    if not isinstance(node, ast.Compare):
        return
    for n, op in enumerate(node.ops):
        for operator, swaps in (("boundary", BOUNDARIES), ("comparison", OPPOSITES)):
            if swap := swaps.get(type(op)):
                yield operator, _with(node, ops=[*node.ops[:n], swap(), *node.ops[n + 1 :]])


def _logic(spot: Spot) -> Iterator[Change]:
    node = spot.node
    if isinstance(node, ast.BoolOp):
        yield "and/or", _with(node, op=ast.Or() if isinstance(node.op, ast.And) else ast.And())
        for n in range(len(node.values)):
            kept = [*node.values[:n], *node.values[n + 1 :]]
            yield "operand", _with(node, values=kept) if len(kept) > 1 else kept[0]
    if isinstance(node, ast.UnaryOp) and not isinstance(node.op, ast.UAdd):
        yield "not" if isinstance(node.op, ast.Not) else "sign", node.operand


def _condition(spot: Spot) -> Iterator[Change]:
    node = spot.node
    if isinstance(node, ast.If | ast.While | ast.IfExp) and _worth_negating(node.test):
        yield "condition", _with(node, test=_negated(node.test))
    if isinstance(node, ast.comprehension):
        for n, test in enumerate(node.ifs):
            if _worth_negating(test):
                yield "condition", _with(node, ifs=[*node.ifs[:n], _negated(test), *node.ifs[n + 1 :]])


def _worth_negating(test: ast.expr) -> bool:
    """A lone comparison and a not have operators of their own."""
    alone = isinstance(test, ast.Compare) and len(test.ops) == 1
    return not alone and not (isinstance(test, ast.UnaryOp) and isinstance(test.op, ast.Not))


def _negated(test: ast.expr) -> ast.expr:
    return ast.copy_location(ast.UnaryOp(ast.Not(), test), test)


def _constant(spot: Spot) -> Iterator[Change]:
    node = spot.node
    if not isinstance(node, ast.Constant):
        return
    in_class = not spot.in_function and len(spot.place) > 2  # deeper than a statement of the module
    default = spot.field in ("defaults", "kw_defaults") or (in_class and isinstance(spot.parent, ast.AnnAssign))
    for operator, value in _other_values(node.value, spot):
        if operator != "none" or default:
            yield "default" if default else operator, _with(node, value=value)


def _other_values(value: object, spot: Spot) -> Iterator[tuple[str, object]]:
    if value is None:
        yield "none", 1
    elif isinstance(value, bool):
        yield "truth", not value
    elif isinstance(value, int):
        yield "number", value + 1
    elif isinstance(value, float):
        yield "number", value * FLOAT_STEP or 1.0
    elif isinstance(value, str) and _is_logic(value, spot):
        yield "text", "XX" + value


def _is_logic(text: str, spot: Spot) -> bool:
    """Whether a text steers the code rather than being read by people."""
    if spot.texts == "none" or isinstance(spot.parent, ast.Attribute):
        return False
    if isinstance(spot.parent, ast.Compare | ast.Subscript) or spot.field == "keys":
        return True
    if spot.texts == "single words":
        return " " not in text
    return isinstance(spot.parent, ast.Tuple | ast.List | ast.Set) or len(text.split()) < WORDS_OF_A_SENTENCE


def _branches(spot: Spot) -> Iterator[Change]:
    node = spot.node
    if isinstance(node, ast.Call) and ast.unparse(node.func).endswith("where") and len(node.args) == 3:
        condition, first, second = node.args
        yield "branches", _with(node, args=[condition, second, first])


def _statement(spot: Spot) -> Iterator[Change]:
    node = spot.node
    if not spot.in_function:
        return
    if isinstance(node, ast.Return) and not (node.value is None or ast.unparse(node.value) == "None"):
        yield "return", _with(node, value=ast.Constant(None))
    if _can_be_missing(node, spot.bound):
        yield "statement", ast.copy_location(ast.Pass(), node)


def _can_be_missing(node: ast.AST, bound: tuple[str, ...]) -> bool:
    """Whether the code still runs without it: a name needs another value to fall back on."""
    if isinstance(node, ast.Assign | ast.AnnAssign):
        stored = [each for each in ast.walk(node) if isinstance(each, ast.Name) and isinstance(each.ctx, ast.Store)]
        return all(bound.count(name.id) > 1 for name in stored)
    call = isinstance(node, ast.Expr) and isinstance(node.value, ast.Call)
    return call or isinstance(node, ast.AugAssign | ast.Raise | ast.Break | ast.Continue)


def _decorator(spot: Spot) -> Iterator[Change]:
    node = spot.node
    if not isinstance(node, ast.FunctionDef):
        return
    for n, decorator in enumerate(node.decorator_list):
        if ast.unparse(decorator).split("(")[0].split(".")[-1] not in KEPT_DECORATORS:
            yield "decorator", _with(node, decorator_list=[*node.decorator_list[:n], *node.decorator_list[n + 1 :]])


OPERATORS: tuple[Callable[[Spot], Iterator[Change]], ...] = (
    _operation,
    _comparison,
    _logic,
    _condition,
    _constant,
    _branches,
    _statement,
    _decorator,
)
