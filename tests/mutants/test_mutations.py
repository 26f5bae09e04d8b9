"""The mutants themselves: each kind is made, what is left alone is, and every one is a program."""

import ast
from pathlib import Path

import pytest
from mutations import mutants, mutated
from run import TESTS, equivalents, modules, sample

ROOT = Path(__file__).parents[2]


def changes(source: str) -> list[tuple[str, str]]:
    return [(one.old, one.new) for one in mutants(source)]


@pytest.mark.parametrize(
    ("source", "expected"),
    [
        ("a < b", [("a < b", "a <= b"), ("a < b", "a >= b")]),
        ("a is b", [("a is b", "a is not b")]),
        (
            "a <= b <= c",
            [
                ("a <= b <= c", one)
                for one in ("a < b <= c", "a > b <= c", "a <= b < c", "a <= b > c")
            ],
        ),
        ("a + b", [("a + b", "a - b")]),
        ("a and b", [("a and b", "a or b")]),
        ("not a", [("not a", "a")]),
        ("-a", [("-a", "a")]),
        ("min(a)", [("min", "max")]),
        ("a = min", []),
        ("a = 3", [("a = 3", "a = 4"), ("a = 3", "a = 2")]),
        ("a = 2.0", [("a = 2.0", "a = 2.02")]),
        ("a = 0.0", [("a = 0.0", "a = 1.0")]),
        ("a = True", [("a = True", "a = False")]),
        ("a = 'word'", [("a = 'word'", "a = 'mutant'")]),
        ("a = 'some words'", []),
        ("f'{a:.2f} is said'", [("f'.2f'", "f'.3f'")]),
        ("f'{a < b}'", [("a < b", "a <= b"), ("a < b", "a >= b")]),
        ("def f(): return a", [("return a", "return None")]),
        ("def f(): return None", []),
        ("def f(): return", []),
        ("a += b", [("a += b", "a -= b"), ("a += b", "pass")]),
        ("if a: b", [("if a:", "if not a:"), ("b", "pass")]),
        ("a if b else c", [("a if b else c", "a if not b else c")]),
        ("def f(): raise a", [("raise a", "pass")]),
    ],
)
def test_a_kind(source, expected):
    # An expression that stands alone may also go.
    alone = [(source, "pass")] if isinstance(ast.parse(source).body[0], ast.Expr) else []
    assert sorted(changes(source)) == sorted(expected + alone)


@pytest.mark.parametrize(
    "source",
    [
        '"""A docstring: 3 < 4."""',
        "def f(a: int | None) -> int | None:\n    pass",
        "a: int | None",
        "@dataclass(frozen=True)\nclass A:\n    pass",
        "class A(Struct, frozen=True):\n    pass",
        "__all__ = ['a']",
        "from a import b",
        "if TYPE_CHECKING:\n    a = 3",
    ],
)
def test_what_is_left_alone(source):
    assert changes(source) == []


def test_a_mutant_knows_its_line_and_its_function():
    source = "class A:\n    def f(self):\n        text = f'''\n{1 < a}'''\n        return text\n"
    found = {(one.line, one.function) for one in mutants(source)}
    assert found == {(3, "A.f"), (5, "A.f")}


@pytest.mark.parametrize(
    "path", sorted((ROOT / "diagnose/measure").glob("*.py")), ids=lambda p: p.stem
)
def test_every_mutant_is_another_program(path):
    source = path.read_text(encoding="utf-8")
    same = ast.unparse(ast.parse(source))
    for one in mutants(source)[::20]:
        text = mutated(source, one)
        compile(text, path.name, "exec")
        assert text.strip() != same.strip()


def test_a_seed_draws_the_same_and_another_seed_others():
    first, again, other = (
        [str(one) for one in sample("measure", ROOT, 10, seed)[0]] for seed in (1, 1, 2)
    )
    assert first == again != other
    assert len(first) == 10


def test_every_room_has_tests_and_every_equivalent_mutant_is_one():
    rooms = {path.name for path in (ROOT / "diagnose").iterdir() if (path / "__init__.py").exists()}
    assert rooms <= set(TESTS)
    assert all(any((ROOT / one).exists() for one in TESTS[room]) for room in rooms)
    made = {
        (path.relative_to(ROOT).as_posix(), str(one))
        for path in {ROOT / key[0] for key in equivalents()}
        for one in mutants(path.read_text(encoding="utf-8"))
    }
    assert set(equivalents()) <= made
    assert modules("case/walk", ROOT) == [ROOT / "diagnose/case/walk.py"]
