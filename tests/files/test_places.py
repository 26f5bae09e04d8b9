"""Places by path: exact where something stands, the nearest around it where not, never outside."""

from __future__ import annotations

import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.files.compose import Unreadable, compose
from diagnose.files.definitions import TREE
from diagnose.files.places import KEY, Path, Places
from diagnose.files.reading import read_text

TEXT = """\
format: 1
steps:
  lid: {ask: "Torn?", answers: {'Torn ': far, Sound: near}}
  far:
    read: value
    bands:
      - {below: 5, call: low, go: lid}
      - otherwise: high
        go: lid
list: [one, two]
list: again
empty:
"""


@pytest.mark.parametrize(
    ("path", "place"),
    [
        ((), (1, 1)),
        ((KEY,), (1, 1)),
        (("format",), (1, 9)),
        (("format", KEY), (1, 1)),
        (("steps",), (3, 3)),
        (("steps", "lid", KEY), (3, 3)),
        (("steps", "lid", "answers", "Torn"), (3, 42)),
        (("steps", "lid", "answers", "Torn", KEY), (3, 33)),
        (("steps", "far", "bands", 0, "call"), (7, 26)),
        (("steps", "far", "bands", 1, "otherwise"), (8, 20)),
        (("steps", "far", "bands", 1, KEY), (8, 9)),
        (("list",), (10, 7)),
        (("list", 1), (10, 13)),
        (("empty",), (12, 7)),
        # Nothing stands there: the nearest that does.
        (("none",), (1, 1)),
        (("steps", "none", "do"), (3, 3)),
        (("steps", "far", "bands", 0, "none"), (7, 9)),
        (("steps", "far", "bands", 2, "go"), (7, 7)),
        (("steps", "lid", "ask", "deeper"), (3, 14)),
        (("list", "0"), (10, 7)),
    ],
)
def test_each_path_leads_to_its_place(path: Path, place: tuple[int, int]) -> None:
    assert Places(TEXT).at(path) == place
    assert Places("", compose(TEXT, "a.yaml")).at(path) == place


def test_an_empty_text_has_one_place() -> None:
    assert Places("# nothing\n").at(("steps", "lid", KEY)) == (1, 1)


_parts = st.one_of(st.integers(-1, 3), st.sampled_from(["a", "b", "c", "steps", "list"]))
_values = st.recursive(
    st.sampled_from(["a", "'b'", '"c d"', "12", "🧽"]),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3).map(lambda items: f"[{', '.join(items)}]"),
        st.dictionaries(st.sampled_from("abc"), inner, max_size=3).map(
            lambda entries: "{" + ", ".join(f"{k}: {v}" for k, v in entries.items()) + "}"
        ),
    ),
    max_leaves=8,
)


@given(
    st.lists(st.tuples(st.sampled_from(["steps", "list", "a"]), _values), min_size=1, max_size=5),
    st.lists(_parts, max_size=4),
    st.booleans(),
    st.sampled_from(["\n", "\r\n", ""]),
)
def test_a_place_never_lies_outside_its_file(
    lines: list[tuple[str, str]], parts: list[str | int], key: bool, end: str
) -> None:
    text = (end or "\n").join(f"{name}: {value}" for name, value in lines) + end
    line, column = Places(text).at((*parts, KEY) if key else tuple(parts))
    rows = text.splitlines()
    assert 1 <= line <= len(rows)
    assert 1 <= column <= len(rows[line - 1])


@given(st.text(st.sampled_from("abc: -[]{}'\"\n\t#&*!|>ä🧽"), max_size=60))
def test_what_cannot_be_read_is_refused_inside_the_file_too(text: str) -> None:
    _, problems = read_text(TREE, text, "a.yaml")
    rows = text.split("\n")
    for problem in problems:
        assert 1 <= problem.line <= len(rows)
        assert 1 <= problem.column <= len(rows[problem.line - 1]) + 1


@given(st.text(st.sampled_from("ab: -[]{}'\n"), max_size=40))
def test_places_and_composer_agree_on_every_text(text: str) -> None:
    try:
        top = compose(text, "a.yaml")
    except Unreadable:
        return
    places = Places(text)
    assert places.at(()) == (top.start_mark.line + 1, top.start_mark.column + 1)
    for part, (name, value) in Places("", top).entries(top).items():
        assert places.at((part, KEY)) == (name.start_mark.line + 1, name.start_mark.column + 1)
        assert places.at((part,)) == (value.start_mark.line + 1, value.start_mark.column + 1)


def test_ten_thousand_places_in_one_file_take_no_more_than_their_number() -> None:
    """Looked up one by one in a mapping of as many keys it would be a hundred million looks."""
    places = Places("steps:\n" + "".join(f"  s{n}: {{do: x}}\n" for n in range(10_000)))
    began = time.process_time()
    found = [places.at(("steps", f"s{n}", "do")) for n in range(10_000)]
    assert found == [(n + 2, len(f"  s{n}: {{do: ") + 1) for n in range(10_000)]
    assert time.process_time() - began < 10


def test_places_that_were_forgotten_are_found_again() -> None:
    places = Places("a: {b: c}\nd: e\n")
    before = places.at(("a", "b")), places.at(("d",))
    places.forget()
    places.forget()
    assert (places.at(("a", "b")), places.at(("d",))) == before == ((1, 8), (2, 4))
