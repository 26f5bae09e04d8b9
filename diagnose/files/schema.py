"""The definitions of a library file as JSON Schema 2020-12, for editors that check while one types.

An editor loads a file by the rules of YAML 1.2, where `2` is a number and `true` no text, and hands
over the values; the reader keeps the text as typed. So a schema takes every value that some
spelling which the reader takes is loaded as, and what a loader no longer tells apart is not in it:

- how a value was written: `0x10` for 16, `True` for true, the range of a number in quotes, and
  `~` or `null` meant as words, which an editor takes for a value that was left out;
- blanks around one of a few words, in quotes, which the reader takes off;
- a key given twice, anchors, aliases, tags, and what no loader lets through;
- control characters, and what no one can see;
- numbers that no float holds, and keys that came with a later format than the file names;
- all that the rules check: names of other places and of other files.

Source: JSON Schema, draft 2020-12 (Core and Validation); YAML 1.2.2, section 10.3 (core schema).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import quote

import yaml

from diagnose.files.kinds import (
    NUMBER,
    QUANTITY,
    Choice,
    Either,
    Flag,
    ListOf,
    MapOf,
    Number,
    OneOf,
    Quantity,
    Record,
    Text,
    Word,
)

if TYPE_CHECKING:
    import re

    from diagnose.files.kinds import Key, Kind

DIALECT: Final = "https://json-schema.org/draft/2020-12/schema"

#: What plain text is loaded as: a title may be `1984`, and an answer `true`.
_PLAIN: Final = ["string", "number", "boolean"]

#: Words to the reader, which a loader takes for values.
_LOADED: Final = ("true", "false")

#: Something on one line, or anything at all, with blanks and ends of lines around it.
_ONE_LINE: Final = r"^\s*\S[^\n]*\s*$"
_SOMETHING: Final = r"\S"


def schema(record: Record) -> dict[str, Any]:
    """Return the JSON Schema of a kind of file. Records inside it stand under `$defs`, by name."""
    parts: dict[str, Any] = {}
    top = _record(record, parts)
    return {"$schema": DIALECT, "title": record.words, **top, "$defs": parts}


def _record(record: Record, parts: dict[str, Any]) -> dict[str, Any]:
    return {
        "description": record.about,
        "type": "object",
        "properties": {key.name: _key(key, parts) for key in record.keys.values()},
        "required": list(record.required),
        "additionalProperties": False,
    }


def _key(key: Key, parts: dict[str, Any]) -> dict[str, Any]:
    since = f" Since format {key.since}." if key.since > 1 else ""
    said = _of(key.kind, parts) | {"description": f"{key.about}{since}"}
    if key.example:
        # As an editor loads it.
        said["examples"] = [yaml.safe_load(key.example)]
    if key.required or key.default is None or key.default == "":
        return said
    return said | {"default": _as_json(key.default)}


def _as_json(value: Any) -> Any:
    """Return a default as JSON has it."""
    if isinstance(value, tuple):
        return list(value)
    return dict(value) if isinstance(value, Mapping) else value


def _of(kind: Kind, parts: dict[str, Any]) -> dict[str, Any]:
    """Return the schema of a kind; records are put into `parts` and referred to."""
    match kind:
        case Text(lines=lines):
            return {"type": _PLAIN, "pattern": _SOMETHING if lines else _ONE_LINE}
        case Word(pattern=pattern):
            return _word(kind.words, pattern)
        case Quantity():
            return _word(kind.words, QUANTITY)
        case Choice(options=options):
            return {"enum": list(options)}
        case Flag():
            return {"enum": [True, False, "true", "false"]}
        case Number():
            return _number(kind)
        case ListOf(item=item, at_least=least):
            return {"type": "array", "items": _of(item, parts)} | _least("minItems", least)
        case MapOf(key=key, value=value, at_least=least):
            return {
                "type": "object",
                "propertyNames": _of(key, parts),
                "additionalProperties": _of(value, parts),
            } | _least("minProperties", least)
        case Either(single=single, mapping=mapping):
            return {"anyOf": [_of(single, parts), _of(mapping, parts)]}
        case OneOf(records=records):
            return {"oneOf": [_of(record, parts) for record in records.values()]}
        case Record(words=name):
            if name not in parts:
                parts[name] = {}  # Its place is before those of what stands inside it.
                parts[name] = _record(kind, parts)
            return {"$ref": f"#/$defs/{_escaped(name)}"}
    raise TypeError(kind)


def _word(words: str, pattern: re.Pattern[str]) -> dict[str, Any]:
    return {"title": words, "type": _types(pattern), "pattern": rf"^\s*(?:{pattern.pattern})\s*$"}


def _types(pattern: re.Pattern[str]) -> str | list[str]:
    return ["string", "boolean"] if any(map(pattern.fullmatch, _LOADED)) else "string"


def _number(kind: Number) -> dict[str, Any]:
    said: dict[str, Any] = {
        "title": kind.words,
        "type": ["integer" if kind.whole else "number", "string"],
        "pattern": f"^{NUMBER}$",
    }
    if kind.low is not None:
        limit, itself = kind.low
        said["minimum" if itself else "exclusiveMinimum"] = limit
    if kind.high is not None:
        limit, itself = kind.high
        said["maximum" if itself else "exclusiveMaximum"] = limit
    return said


def _least(name: str, least: int) -> dict[str, int]:
    return {name: least} if least else {}


def _escaped(name: str) -> str:
    """Return a name as a JSON Pointer in a URI's fragment has it (RFC 6901)."""
    return quote(name.replace("~", "~0").replace("/", "~1"))
