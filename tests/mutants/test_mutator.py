"""The mutator makes the changes it says and no others, and leaves the tree as it was."""

import ast
import doctest
from pathlib import Path

import pytest

from tests.mutants import mutator
from tests.mutants.mutator import mutants, mutate
from tests.mutants.run import score_pct


def changes(source: str, operator: str) -> list[str]:
    """The source as each mutant of that operator makes it, line ends and indents taken out."""
    tree = ast.parse(source)
    return [" ".join(source_of(source, each.key).split()) for each in mutants(tree) if each.operator == operator]


def source_of(source: str, key: str) -> str:
    tree = ast.parse(source)
    mutate(tree, next(each for each in mutants(tree) if each.key == key))
    return ast.unparse(tree)


@pytest.mark.parametrize(
    ("operator", "source", "expected"),
    [
        ("arithmetic", "a + b", ["a - b"]),
        ("arithmetic", "a * b - c / d", ["a * b + c / d", "a / b - c / d", "a * b - c * d"]),
        ("arithmetic", "a ** b // c % d", ["a ** b // c // d", "a ** b / c % d", "a * b // c % d"]),
        ("arithmetic", "a += b", ["a -= b"]),
        ("arithmetic", "'CO ' + name; [*some] + others; f'{a}' + b", []),
        ("bits", "low & high | rest", ["low & high & rest", "low | high | rest"]),
        ("sign", "-a + ~b", ["a + ~b", "-a + b"]),
        ("boundary", "0 < a <= b", ["0 <= a <= b", "0 < a < b"]),
        ("boundary", "a == b", []),
        ("comparison", "a < b", ["a >= b"]),
        ("comparison", "a >= b", ["a < b"]),
        ("comparison", "a is None != b", ["a is not None != b", "a is None == b"]),
        ("comparison", "a not in b", ["a in b"]),
        ("and/or", "a and b or c", ["(a and b) and c", "(a or b) or c"]),
        ("operand", "a and b and c", ["b and c", "a and c", "a and b"]),
        ("operand", "a or b", ["b", "a"]),
        ("not", "not a", ["a"]),
        ("condition", "a if b else c", ["a if not b else c"]),
        ("condition", "if a or b: c", ["if not (a or b): c"]),
        ("condition", "[a for a in b if c if d]", ["[a for a in b if not c if d]", "[a for a in b if c if not d]"]),
        ("condition", "a if b < c else d if not e else f", []),
        ("number", "f(2, 2.0, 0.0)", ["f(3, 2.0, 0.0)", "f(2, 2.02, 0.0)", "f(2, 2.0, 1.0)"]),
        ("truth", "f(True, a=False)", ["f(False, a=False)", "f(True, a=True)"]),
        ("text", "a == 'net'", ["a == 'XXnet'"]),
        ("default", "def f(a, b=None, *, c=2, d='net'): pass", [
            "def f(a, b=None, *, c=3, d='net'): pass",
            "def f(a, b=None, *, c=2, d='XXnet'): pass",
            "def f(a, b=1, *, c=2, d='net'): pass",
        ]),
        ("default", "class A: a: int = 2; b: str | None = None", [
            "class A: a: int = 3 b: str | None = None",
            "class A: a: int = 2 b: str | None = 1",
        ]),
        ("branches", "np.where(a, b, c); where(a)", ["np.where(a, c, b) where(a)"]),
        ("return", "def f():\n if a: return b\n return", ["def f(): if a: return None return"]),
        ("decorator", "@QUIET\ndef f(): pass", ["def f(): pass"]),
        ("decorator", "@property\ndef f(): pass\n@lru_cache(maxsize=2)\ndef g(): pass", []),
    ],
)  # fmt: skip
def test_each_operator_makes_its_change(operator: str, source: str, expected: list[str]) -> None:
    assert changes(source, operator) == expected


def test_a_statement_goes_only_where_the_code_runs_without_it() -> None:
    source = """
def f(a, b):
    a = a or b
    c = a
    d['x'] = a
    c += 1
    note(c)
    for x in b:
        continue
    raise ValueError('no')
"""
    gone = [each.before for each in mutants(ast.parse(source)) if each.operator == "statement"]
    assert gone == ["a = a or b", "d['x'] = a", "c += 1", "note(c)", "continue", "raise ValueError('no')"]


@pytest.mark.parametrize(
    "source",
    [
        '"""A sentence of the module."""',
        "from a import b",
        "__all__ = ['a', 'b']",
        "Rows = dict[str, float] | None",
        "Basis = Literal['net', 'gross']",
        "a: Annotated[float, 2] | None",
        "assert a < 2",
        "raise ValueError(f'{a + 1} is above {b - 2}')",
        "', '.join(a)",
        "f'{a} of two'",
        "say('the rate is not proven')",
        "Fuel(source='EN 437', label='Methane')",
        "_SEEN: Final = 'seen in the text'",
        "WORDS = {}",
        "if TYPE_CHECKING:\n a = 1",
    ],
)
def test_what_is_no_logic_is_left_alone(source: str) -> None:
    assert mutants(ast.parse(source)) == []


def test_a_condition_and_a_decorator_are_shown_by_their_head() -> None:
    made = mutants(ast.parse("@QUIET\ndef f():\n if a and b:\n  g()"))
    assert [(each.before, each.after) for each in made if each.operator in ("condition", "decorator")] == [
        ("@QUIET def f(): pass", "def f(): pass"),
        ("a and b", "not (a and b)"),
    ]


def test_a_table_of_words_keeps_its_words_and_not_its_keys() -> None:
    made = changes("FLAG_WORDS = {'rich': ('The flame may be short of air.', 'co_ppm')}", "text")
    assert made == [
        "FLAG_WORDS = {'XXrich': ('The flame may be short of air.', 'co_ppm')}",
        "FLAG_WORDS = {'rich': ('The flame may be short of air.', 'XXco_ppm')}",
    ]


def test_a_long_text_that_is_looked_up_is_logic() -> None:
    assert len(changes("a = b['rated, else highest settable'] == 'steady for five minutes'", "text")) == 2


@pytest.mark.parametrize("path", [Path(mutator.__file__), Path(__file__)], ids=lambda path: path.name)
def test_making_mutants_changes_nothing_and_each_mutant_changes_something(path: Path) -> None:
    tree = ast.parse(path.read_text())
    before = ast.dump(tree, include_attributes=True)
    made = mutants(tree)
    assert ast.dump(tree, include_attributes=True) == before
    assert len({each.key for each in made}) == len(made)
    for each in made[:: len(made) // 8 + 1]:
        mutated = ast.parse(path.read_text())
        mutate(mutated, each)
        assert ast.dump(mutated) != ast.dump(tree)
        compile(mutated, path.name, "exec")


def test_the_examples_are_right() -> None:
    assert doctest.testmod(mutator).failed == 0


def test_a_timeout_counts_as_noticed() -> None:
    assert score_pct({"tried": 8, "killed": 5, "timeout": 1}) == 75.0
    assert score_pct({"tried": 0, "killed": 0, "timeout": 0}) is None
