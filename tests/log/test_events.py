"""Events write and read themselves: what went in comes out, and nothing else is an event."""

from __future__ import annotations

import ast
import json
from pathlib import Path
from typing import Any, get_args

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st
from strategies.log_events import EVENTS, events, texts

import diagnose
from diagnose.case.state import Trace
from diagnose.log.events import (
    Damaged,
    Event,
    Found,
    Opened,
    Outset,
    Replied,
    Shown,
    as_data,
    read,
    written,
)


@pytest.mark.parametrize("kind", get_args(Event))
def test_every_kind_of_event_comes_back_as_it_was_written(kind: type) -> None:
    @given(EVENTS[kind])
    def judge(event: Event) -> None:
        text = written(event)
        assert "\n" not in text
        assert read(text) == event
        assert written(read(text)) == text
        assert json.loads(text) == json.loads(json.dumps(as_data(event)))

    judge()


@given(events)
def test_what_is_at_its_default_is_not_written(event: Event) -> None:
    data = json.loads(written(event))
    for field in msgspec.structs.fields(event):
        given_ = getattr(event, field.name)
        if field.required:
            assert field.name in data
        elif field.default is not msgspec.NODEFAULT:
            assert (field.name in data) == (given_ != field.default)


unknown = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(-9, 9), texts),
    lambda inner: st.one_of(st.lists(inner, max_size=2), st.dictionaries(texts, inner, max_size=2)),
    max_leaves=4,
)


@given(event=events, key=texts, value=unknown, data=st.data())
def test_a_key_that_is_not_known_is_passed_over(
    event: Event, key: str, value: Any, data: st.DataObject
) -> None:
    """A later version of the same format may write more."""
    body = json.loads(written(event))
    structs: list[dict[str, Any]] = [body]
    structs += [body[name] for name in ("shown", "outset", "came_to") if body.get(name)]
    chosen = data.draw(st.sampled_from(structs))
    chosen[f"new {key}"] = value
    assert read(json.dumps(body)) == event


@given(st.text(max_size=40))
def test_a_text_that_is_no_event_is_damaged(text: str) -> None:
    with pytest.raises(Damaged):
        read(text)


@given(events, st.data())
def test_half_an_event_is_damaged(event: Event, data: st.DataObject) -> None:
    text = written(event)
    with pytest.raises(Damaged):
        read(text[: data.draw(st.integers(0, len(text) - 1))])


@given(events, st.data())
def test_an_event_that_lacks_what_it_needs_is_damaged(event: Event, data: st.DataObject) -> None:
    body = json.loads(written(event))
    needed = [field.name for field in msgspec.structs.fields(event) if field.required]
    name = data.draw(st.sampled_from(["event", *needed]))
    del body[name]
    with pytest.raises(Damaged):
        read(json.dumps(body))


@pytest.mark.parametrize(
    "text",
    [
        "null",
        "[]",
        '{"event":"nothing"}',
        '{"event":"found","symptom":"a","finding":7}',
        '{"event":"found","symptom":"a","finding":"b","cures":[["a"]]}',
        '{"event":"found","symptom":"a","finding":"b","trail":[{"what":"rests"}]}',
        "[" * 5000,
        '{"event":"found","symptom":"\ud800","finding":"b"}',
        "\x00",
    ],
)
def test_what_else_is_no_event(text: str) -> None:
    with pytest.raises(Damaged):
        read(text)


def test_halves_of_letters_from_a_command_line_are_replaced() -> None:
    outset = Outset(name="An\ud800a", card={"machine": "m", "title": "t\udfff", "a": {"b": "c"}})
    event = read(written(Opened(symptom="lines", outset=outset)))
    assert isinstance(event, Opened)
    assert event.outset.name == "An?a"
    assert event.outset.machine_card is not None
    assert event.outset.machine_card.title == "t?"


@pytest.mark.parametrize(
    ("why", "outcome"),
    [
        ("cured", "cured"),
        ("referred", "referred"),
        ("danger", "referred"),
        ("nothing-left", "referred"),
        ("walked", "walked"),
        ("withdrawn", "withdrawn"),
        ("left", None),
    ],
)
def test_an_end_says_what_the_case_has_come_to(why: str, outcome: str | None) -> None:
    ended = tuple(
        Trace(what=what, symptom="a", step="", why=why) for what in ("rests", "ended", "passed")
    )
    event = Found(symptom="a", finding="b", trail=ended)
    assert event.outcome == outcome
    reply = Replied(reply="leave", symptom="a", step="b", shown=Shown(screen="check"), trail=ended)
    assert (reply.outcome, reply.milestone) == (outcome, True)
    assert Found(symptom="a", finding="b").outcome is None


# Nobody else takes an event apart

ROOT = Path(diagnose.__file__).parent
#: What a dictionary of an event would be asked for (but `kind`, of format 1: that is a machine's today).
KEYS = {"event", "trail", "typed", "shown", "came_to", "outset", "closing", "told"}


def test_no_module_outside_the_log_uses_keys_of_events() -> None:
    """By their own source: no subscript, no `get`, no dictionary with such a key."""
    found = []
    for path in sorted(ROOT.rglob("*.py")):
        # The rooms below know nothing of events; `kind` there is that of a machine.
        if path.parent.name in ("log", "files"):
            continue
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            keys: list[ast.expr | None] = []
            if isinstance(node, ast.Subscript):
                keys = [node.slice]
            elif isinstance(node, ast.Dict):
                keys = list(node.keys)
            elif (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Attribute)
                and node.func.attr in ("get", "pop", "setdefault")
            ):
                keys = list(node.args[:1])
            found += [
                f"{path.relative_to(ROOT)}:{key.lineno} {key.value}"
                for key in keys
                if isinstance(key, ast.Constant) and key.value in KEYS
            ]
    assert found == []


def test_no_module_outside_the_log_writes_or_reads_an_event_s_text() -> None:
    """`events.read` and `events.written` are the log's own; so is the module of format 1."""
    for path in sorted(ROOT.rglob("*.py")):
        # The rooms below know nothing of events; `kind` there is that of a machine.
        if path.parent.name in ("log", "files"):
            continue
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("diagnose.log"):
                names = {alias.name for alias in node.names}
                assert not names & {"read", "written", "from_format_1"}, path
                assert node.module != "diagnose.log.from_format_1", path
