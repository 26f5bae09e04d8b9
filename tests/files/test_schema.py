"""The JSON Schema of each kind of file takes what the reader takes, and refuses what it refuses.

Outside of the schema is what the docstring of `diagnose.files.schema` names. The validator is the
library jsonschema, the program that checks files as an editor would is check-jsonschema; the
schemas themselves are checked against the published meta-schema of draft 2020-12 (status: C).
"""

from __future__ import annotations

import json
import subprocess
import sys
from functools import cache
from random import Random
from typing import TYPE_CHECKING, Any

import pytest
import yaml
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from ruamel.yaml import YAML
from strategies.damage import FILES as BUILT_IN
from strategies.damage import LIBRARY
from strategies.editor import composed, plain, seen
from strategies.libraries import libraries

from diagnose.app import run
from diagnose.files.definitions import FILES, FORMAT
from diagnose.files.kinds import Choice, Either, ListOf, MapOf, Number, OneOf, Record, Word
from diagnose.files.reading import read_text
from diagnose.files.schema import schema

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

#: What the reader refuses and no schema can: the place is another's, or the file's own format.
OUTSIDE = {"repeated-key", "later-key", "control-character"}

#: Each stands where another value stood: another type, another word, a number at an edge.
SCALARS = (
    *("yes", "no", "true", "false", "010", "5", "0", "-1", "0.5", "1.5", "1e3", "2.0", "+3", ".5"),
    *("12:30", "a title", "first", "Not an id", "never", "operator", "WARNING", "W001", "W1"),
    *("5 mm", "5mm", "1,5 L", "5 furlongs", "80 %", "20 degC", "4.5 km/h", "100", "1000001"),
    *("x" * 100, "x" * 101, "", "   ", "two\nlines", "below", "99"),
)


def kind_of(parts: tuple[str, ...]) -> str:
    """Return which kind of file it is, by its place in a library."""
    folders = {"rounds": "round", "machines": "machine", "kinds": "kind"}
    if len(parts) > 1:
        return folders[parts[-2]]
    return {"cautions.yaml": "cautions", "site.yaml": "site"}.get(parts[0], "tree")


@cache
def validator(kind: str) -> Draft202012Validator:
    return Draft202012Validator(schema(FILES[kind]))


def objections(kind: str, text: str) -> list[str]:
    """Return what the schema has against a file as an editor sees it."""
    return [f"{one.json_path}: {one.message}" for one in validator(kind).iter_errors(seen(text))]


def agree(kind: str, text: str) -> str:
    """Hold what schema and reader say of a file to one another, and return what it is."""
    _, problems = read_text(FILES[kind], text, "sample.yaml")
    if problems and {problem.code for problem in problems} <= OUTSIDE:
        return "outside"
    said = objections(kind, text)
    assert bool(problems) == bool(said), (text, list(map(str, problems)), said)
    return "refused" if problems else "taken"


# Files as data with every scalar as its text, and as text again.


def typed(node: Any) -> Any:
    if isinstance(node, yaml.MappingNode):
        return {key.value: typed(value) for key, value in node.value}
    if isinstance(node, yaml.SequenceNode):
        return [typed(item) for item in node.value]
    return node.value


def written(data: Any) -> str:
    """Return data as YAML on one line; a number or a word without quotes, as an author writes it."""
    if isinstance(data, dict):
        return f"{{{', '.join(f'{written(key)}: {written(one)}' for key, one in data.items())}}}"
    if isinstance(data, list):
        return f"[{', '.join(map(written, data))}]"
    if data is None:
        return ""
    loaded = plain(data)
    if isinstance(loaded, str | None) or data != data.strip():
        return json.dumps(data, ensure_ascii=False)
    return data


def places(data: Any) -> Iterator[tuple[Any, Any]]:
    """Yield everything that stands in a mapping or a list: what holds it, and at which key."""
    for key, value in data.items() if isinstance(data, dict) else enumerate(data):
        yield data, key
        if isinstance(value, dict | list):
            yield from places(value)


def hurt(data: Any, random: Random) -> None:
    """Do to a file what a tired author does to its shape, in place."""
    # First how deep, so that the few keys at the top are hurt as often as the many below.
    at = list(places(data))
    if not at:
        return
    holder, key = random.choice(at[:12] if random.random() < 0.3 else at)
    act = random.randrange(6)
    if act == 0:
        del holder[key]
    elif act == 1 and isinstance(holder, dict):
        holder[random.choice([f"{key}s", "X y", "minutes", "ask", "otherwise"])] = holder.pop(key)
    elif act == 2:
        holder[key] = [holder[key]]
    elif act == 3:
        holder[key] = {"one": "1"}
    elif act == 4:
        holder[key] = random.choice(([], {}, None if isinstance(holder, dict) else ""))
    else:
        holder[key] = random.choice(SCALARS)


@pytest.mark.parametrize("kind", FILES)
def test_it_is_a_schema_of_the_draft_that_it_names(kind: str) -> None:
    Draft202012Validator.check_schema(schema(FILES[kind]))


def test_the_program_prints_it_and_another_program_takes_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    checker = [sys.executable, "-m", "check_jsonschema", "--quiet"]
    files = {kind: tmp_path / f"{kind}.json" for kind in FILES}
    for kind, file in files.items():
        assert run(["schema", kind]) == 0
        file.write_text(capsys.readouterr().out, encoding="utf-8")
        assert json.loads(file.read_text(encoding="utf-8")) == schema(FILES[kind])
    subprocess.run([*checker, "--check-metaschema", *map(str, files.values())], check=True)
    of_kind: dict[str, list[str]] = {}
    for parts in BUILT_IN:
        of_kind.setdefault(kind_of(parts), []).append(str(LIBRARY.joinpath(*parts)))
    for kind, paths in of_kind.items():
        subprocess.run([*checker, "--schemafile", str(files[kind]), *paths], check=True)
    # And it does refuse: the trees by the schema of a round.
    wrong = [*checker, "--schemafile", str(files["round"]), *of_kind["tree"]]
    assert subprocess.run(wrong, check=False).returncode == 1


@pytest.mark.parametrize("parts", BUILT_IN, ids="/".join)
def test_the_built_in_files_pass(parts: tuple[str, ...]) -> None:
    text = LIBRARY.joinpath(*parts).read_text(encoding="utf-8")
    assert objections(kind_of(parts), text) == []


@pytest.mark.many_cases
@pytest.mark.parametrize("parts", BUILT_IN, ids="/".join)
@given(seed=st.integers(0, 2**32))
def test_of_a_hurt_file_the_schema_says_what_the_reader_says(
    parts: tuple[str, ...], seed: int
) -> None:
    text = LIBRARY.joinpath(*parts).read_text(encoding="utf-8")
    data = typed(composed(text))
    random = Random(seed)
    for _ in range(random.choice((1, 1, 1, 2, 3))):
        hurt(data, random)
    event(agree(kind_of(parts), written(data)))


@pytest.mark.many_cases
@settings(suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(libraries(with_round=True), st.integers(0, 2**32))
def test_of_a_made_library_too(library: Any, seed: int) -> None:
    random = Random(seed)
    files = [("tree", text) for text in library.trees.values()]
    files += [("round", text) for text in library.rounds.values()]
    files += [("kind", text) for text in library.kinds.values()]
    files += [(k, t) for k, t in (("machine", library.card), ("site", library.site)) if t]
    for kind, text in [("cautions", library.cautions), *files]:
        assert agree(kind, text) == "taken"
        data = typed(composed(text))
        hurt(data, random)
        event(agree(kind, written(data)))


ROUND = "format: 2\nround: r\ntitle: {}\nevery: day\nitems: {{a: {{do: Look., minutes: {}}}}}\n"


@pytest.mark.parametrize("title", ["5", "010", "yes", "true", "1.50", "12:30", "2019-05-01", ".5"])
def test_a_text_that_an_editor_takes_for_a_number_is_text(title: str) -> None:
    assert agree("round", ROUND.format(title, "2")) == "taken"


@pytest.mark.parametrize(
    ("minutes", "right"),
    [("2", 1), ("2.5", 1), ("1e1", 1), ('"2"', 1), ("0", 0), ("-1", 0), ("two", 0), ("2 min", 0)],
)
def test_a_number_may_stand_in_quotes(minutes: str, right: int) -> None:
    assert agree("round", ROUND.format("t", minutes)) == ("refused", "taken")[right]


@pytest.mark.parametrize("format_", ["0", str(FORMAT + 1), "1.5", "new", "-1", "2.0"])
def test_only_a_format_that_the_program_reads_is_one(format_: str) -> None:
    text = ROUND.replace("format: 2", f"format: {format_}").format("t", "2")
    assert agree("round", text) == ("taken" if format_ == "2.0" else "refused")


@pytest.mark.parametrize(
    "word",
    "true True TRUE false null ~ yes no on off y 0 010 -7 +12 0o14 0x1F 1e3 .5 5. -.5E-2 1.0.0 "
    ".inf -.INF 12:30".split(),
)
def test_the_editor_of_the_tests_reads_yaml_as_a_library_for_its_version_1_2(word: str) -> None:
    theirs = YAML(typ="safe", pure=True).load(f"[{word}]")[0]
    assert (type(theirs), theirs) == (type(plain(word)), plain(word))


def kinds_within(kind: Any, seen_: dict[int, Any]) -> dict[int, Any]:
    """Return every kind that stands in a definition."""
    if id(kind) not in seen_:
        seen_[id(kind)] = kind
        inside = {
            Record: lambda: [key.kind for key in kind.keys.values()],
            OneOf: lambda: list(kind.records.values()),
            ListOf: lambda: [kind.item],
            MapOf: lambda: [kind.key, kind.value],
            Either: lambda: [kind.single, kind.mapping],
        }.get(type(kind), list)()
        for one in inside:
            kinds_within(one, seen_)
    return seen_


def test_every_limit_of_the_definitions_is_in_the_schema() -> None:
    for name, record in FILES.items():
        said = json.dumps(schema(record))
        for kind in kinds_within(record, {}).values():
            if isinstance(kind, Choice):
                assert json.dumps(list(kind.options)) in said
            elif isinstance(kind, Word):
                assert json.dumps(kind.pattern.pattern)[1:-1] in said
            elif isinstance(kind, Number):
                limits = [limit for limit in (kind.low, kind.high) if limit]
                assert all(json.dumps(limit) in said for limit, _ in limits), name


def test_each_key_says_what_it_is_for() -> None:
    top = schema(FILES["round"])
    assert top["properties"]["title"]["description"] == FILES["round"].keys["title"].about
    item = top["$defs"]["an item"]["properties"]
    assert item["minutes"]["default"] == 1.0
    assert item["hazards"]["default"] == []
    assert item["stops"]["description"].endswith("Since format 2.")


@pytest.mark.parametrize("kind", FILES)
def test_its_examples_pass_where_they_stand(kind: str) -> None:
    made = schema(FILES[kind])
    parts = [made, *made["$defs"].values()]
    keys = [key for part in parts for key in part["properties"].values() if "examples" in key]
    assert keys
    for key in keys:
        validator = Draft202012Validator({**key, "$defs": made["$defs"]})
        assert [one.message for one in validator.iter_errors(key["examples"][0])] == []


def test_a_kind_that_is_none_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["schema", "tre"]) == 2
    assert 'There is no kind of file "tre". Did you mean "tree"?' in capsys.readouterr().err


def test_without_a_kind_they_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["schema"]) == 0
    assert [line.split()[0] for line in capsys.readouterr().out.splitlines()] == list(FILES)
    assert run(["schema", "--json"]) == 0
    kinds = json.loads(capsys.readouterr().out)["kinds"]
    assert [one["kind"] for one in kinds] == list(FILES)
