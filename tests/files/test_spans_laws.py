"""Whatever a file looks like: the values that are named change, and nothing else does."""

from __future__ import annotations

from typing import Any

import yaml
from hypothesis import given
from hypothesis import strategies as st

from diagnose.files.spans import NoSpan, Page

WORDS = st.sampled_from(["a", "lid", "Wie – so", "12", "x-9", "𝔘 🧽", "on", "It's: so", "# no"])
NEW = st.sampled_from(["two", "x-9", "0.25", "7", "no", "It's: so", "[x]", "Grün 🟢", "- a"])
COMMENTS = st.sampled_from(["", "", "   # ünchanged", " # 🧽: {a, [b"])
BETWEEN = st.sampled_from(["", "", "\n", "# über: allem\n", "      # deeper\n\n"])


def _value(draw: Any, *, flow: bool) -> str:
    text = draw(WORDS)
    style = draw(st.sampled_from(["plain", "single", "double"]))
    if style == "plain" and not any(mark in text for mark in "':#"):
        return str(text)
    if style == "double" or (style == "plain" and flow):
        return '"' + text.replace('"', '\\"') + '"'
    return "'" + text.replace("'", "''") + "'"


@st.composite
def pages(draw: Any) -> tuple[str, dict[tuple[str | int, ...], tuple[int, int]]]:
    """Return a text, and where in it the value at each path stands. Known while it is written."""
    text, places = "", {}
    for number in range(draw(st.integers(1, 6))):
        key = f"k{number}"
        text += draw(BETWEEN)
        shape = draw(st.sampled_from(["plain", "flow", "list", "block"]))
        if shape == "plain":
            text += f"{key}:{' ' * draw(st.integers(1, 4))}"
            paths: list[tuple[str | int, ...]] = [(key,)]
            marks = [("", "")]
        elif shape == "flow":
            text += f"{key}: {{"
            paths = [(key, "ä"), (key, "b")]
            marks = [("ä: ", ", "), ("'b':  ", "}")]
        elif shape == "list":
            text += f"{key}: ["
            paths = [(key, 0), (key, 1)]
            marks = [("", " , "), ("", "]")]
        else:
            text += f"{key}:{draw(COMMENTS)}\n"
            gap = "   " * draw(st.integers(1, 2))
            paths = [(key, "ä"), (key, "b")]
            marks = [(f"{gap}ä: ", f"\n{draw(BETWEEN)}"), (f"{gap}'b':  ", "")]
        for path, (before, after) in zip(paths, marks, strict=True):
            value = _value(draw, flow=shape in ("flow", "list"))
            start = len(text) + len(before)
            places[path] = (start, start + len(value))
            text += before + value + after
        text += draw(COMMENTS) + "\n"
    return text, places


def at(data: Any, path: tuple[str | int, ...]) -> Any:
    for part in path:
        data = data[part]
    return data


@given(pages(), st.data())
def test_only_what_is_named_changes(
    made: tuple[str, dict[tuple[str | int, ...], tuple[int, int]]], data: st.DataObject
) -> None:
    text, places = made
    chosen = data.draw(st.lists(st.sampled_from(sorted(places, key=str)), unique=True))
    wanted = {path: data.draw(NEW) for path in chosen}
    page = Page(text, "a.yaml")
    for path, value in wanted.items():
        page.change(path, value)
    new = page.text()
    rest, kept, last = [], [], 0
    position = 0
    for path in sorted(places, key=lambda path: places[path]):
        start, end = places[path]
        between = text[last:start]
        assert new[position : position + len(between)] == between
        position += len(between)
        if path not in wanted:
            assert new[position : position + end - start] == text[start:end]
            position += end - start
            rest.append(path)
        else:
            # As long as what it reads back as says, which is looked at below.
            value = wanted[path]
            for form in (value, "'" + value.replace("'", "''") + "'"):
                if new.startswith(form, position):
                    position += len(form)
                    break
            else:
                raise AssertionError((new, position, value))
            kept.append(path)
        last = end
    assert new[position:] == text[last:]
    old = yaml.load(text, Loader=yaml.BaseLoader)
    read = yaml.load(new, Loader=yaml.BaseLoader)
    assert [at(read, path) for path in rest] == [at(old, path) for path in rest]
    assert [at(read, path) for path in kept] == [wanted[path] for path in kept]


BLOCK = "new:\n  # of its own\n  text: It is new\n\n  list:\n    - one\n"


@given(pages(), st.sampled_from(["\n", "\r\n"]), st.booleans())
def test_what_is_put_last_is_one_piece_and_the_last_entry(
    made: tuple[str, dict[tuple[str | int, ...], tuple[int, int]]], newline: str, ended: bool
) -> None:
    text, places = made
    inside = next((path[0] for path in places if "ä" in path and path[0]), None)
    for path in ((), () if inside is None else (inside,)):
        text = text if ended else text.rstrip("\n")
        old = text.replace("\n", newline)
        page = Page(old, "a.yaml")
        read = yaml.load(old, Loader=yaml.BaseLoader)
        try:
            page.put_last(path, BLOCK)
        except NoSpan:
            # Entries in braces that are not empty.
            node = yaml.compose(old, Loader=yaml.BaseLoader)
            assert {key.value: value for key, value in node.value}[inside].flow_style
            continue
        new = page.text()
        wanted = at(read, path)
        wanted["new"] = {"text": "It is new", "list": ["one"]}
        assert yaml.load(new, Loader=yaml.BaseLoader) == read
        assert [*at(yaml.load(new, Loader=yaml.BaseLoader), path)][-1] == "new"
        cut = next(
            n for n in range(len(old) + 1) if new[:n] + new[len(new) - len(old) + n :] == old
        )
        assert new[:cut].count(newline) <= old.count(newline)
        assert "\r\n" not in old or "\n" not in new.replace("\r\n", "")
