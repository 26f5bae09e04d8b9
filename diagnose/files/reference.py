"""The reference page of the file format, written from the definitions that the reader uses.

``python -m diagnose.files.reference > docs/format.md`` writes it anew; a test holds the two to one
another.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.files.definitions import FILES, FORMAT
from diagnose.files.kinds import Either, ListOf, MapOf, OneOf, Record

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.files.kinds import Kind

_HEAD = f"""# What a library file may hold, format {FORMAT}

This page is written from the definitions that the reader uses
(`python -m diagnose.files.reference > docs/format.md`).

Every value is text until a definition says otherwise: `yes`, `no`, `on` and `off` are just words.
Ids are small letters, digits and hyphens, a letter first. Refused are a key given twice, an unknown
key, anchors, aliases, tags, control characters, a file over 8 MiB, and a newer format.

The examples are what stands behind the colon, quotes included. Together they make a library that
`diagnose check` finds nothing against; [your-own-trees.md](your-own-trees.md) has one that grows
line by line.

An editor checks and completes while one types, where it has support for YAML and JSON Schema:
`diagnose schema tree > tree.schema.json` writes the schema of one kind of file
({", ".join(FILES)}). Most editors take it from their settings, which
join a schema to names of files (the schema `tree` to `*.yaml`, `machine` to `machines/*.yaml`), and
many from a comment in the file's first line: `# yaml-language-server: $schema=tree.schema.json`.
What a schema cannot say, `diagnose check` does: names of other steps and files, a key given twice,
a key that the file's `format` does not have.
"""


def page() -> str:
    """Return the whole page as Markdown."""
    lines = [_HEAD]
    for record in FILES.values():
        for part in _records(record, set()):
            lines.append(_section(part, top=part is record))
    return "\n".join(lines)


def _records(kind: Kind, seen: set[str]) -> Iterator[Record]:
    """Yield a record and all that stand inside it, each once, outermost first."""
    if isinstance(kind, Record):
        if kind.words not in seen:
            seen.add(kind.words)
            yield kind
            for key in kind.keys.values():
                yield from _records(key.kind, seen)
    elif isinstance(kind, OneOf):
        for record in kind.records.values():
            yield from _records(record, seen)
    elif isinstance(kind, ListOf):
        yield from _records(kind.item, seen)
    elif isinstance(kind, MapOf):
        yield from _records(kind.value, seen)
    elif isinstance(kind, Either):
        yield from _records(kind.mapping, seen)


def _section(record: Record, *, top: bool) -> str:
    name = record.words[0].upper() + record.words[1:]
    rows = [
        f"{'##' if top else '###'} {name}",
        "",
        record.about,
        "",
        "| key | value | for example | if left out | |",
        "|---|---|---|---|---|",
    ]
    for key in record.keys.values():
        cells = (
            f"`{key.name}`",
            key.kind.words,
            f"`{key.example}`" if key.example else "*below*",
            _left_out(key.required, key.default),
            key.about,
        )
        row = " | ".join(cell.replace("|", "\\|") for cell in cells)
        rows.append(f"| {row} |")
    return "\n".join([*rows, ""])


def _left_out(required: bool, default: object) -> str:
    if required:
        return "*must be there*"
    if default is None or default in ("", ()):
        return "–"
    if isinstance(default, bool):
        return "true" if default else "false"
    return f"{default:g}" if isinstance(default, float) else f"{default}"


if __name__ == "__main__":
    print(page(), end="")
