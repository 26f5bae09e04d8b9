"""The slips of the finger that make a line no YAML: where each stands, and what to write there.

A slip comes with the line as it may have been meant. Whether it was is for `recovery.py` to prove:
the file can be read on from there. So a slip that is found here and proves nothing does no harm.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

#: Spaces that are none to YAML: as wide as one, or wider, or without a break.
ODD_SPACES: Final = "\u00a0\u1680\u2000-\u200a\u202f\u205f\u3000"

_KEY: Final = re.compile(
    r"""(?P<before>\s*(?:-\ +)*)
        (?P<key>"(?:[^"\\]|\\.)*"|'(?:[^']|'')*'|[^\s"'\[\]{}#&*!|>%@`,-][^"\[\]{}]*?)
        \s*:(?:\ +(?P<value>.*)|$)""",
    re.VERBOSE,
)
_ENTRY: Final = re.compile(r"\s*(?:- +)+(?P<value>.*)")
_NO_TEXT: Final = "*&!%@`|>,]}"


class Slip(NamedTuple):
    """What was typed at `column` of a line, from 0, what to write, and the line as it was meant."""

    column: int
    message: str
    meant: str


def slips_of(line: str, keys: frozenset[str]) -> Iterator[Slip]:
    """Yield what may be wrong with a line by itself; `keys` are those that the format has."""
    for look in _LOOKS:
        yield from look(line)
    yield from _no_colon(line, keys)
    yield from _in_braces(line, keys)


def misplaced(lines: Sequence[str], at: int, keys: frozenset[str]) -> Iterator[Slip]:
    """Yield the indentations, the nearest first, that would have a line stand under its likes.

    Of two as near that is first whose lines begin with keys of the format as this one does.
    """
    line = lines[at]
    body = line.lstrip(" ")
    own = len(line) - len(body)
    if not body or body[0] in "#\r":
        return
    near = [one for one in lines[max(at - 40, 0) : at + 2] if one.strip() and one[0] != "#"]
    others: dict[int, bool] = {}
    for one in near:
        others[len(one) - len(one.lstrip(" "))] = _begins_with(one, keys)
    others.pop(own, None)
    is_key = _begins_with(line, keys)
    for wanted in sorted(others, key=lambda it: (abs(it - own), others[it] != is_key)):
        yield standing(line, wanted)


def _begins_with(line: str, keys: frozenset[str]) -> bool:
    return line.partition(":")[0].strip() in keys


def standing(line: str, wanted: int) -> Slip:
    """Return the slip of a line that was to begin with as many spaces as are wanted."""
    body = line.lstrip(" ")
    message = f"Write this line {wanted} spaces in, as those that it belongs to."
    return Slip(len(line) - len(body), message, " " * wanted + body)


def _odd_space(line: str) -> Iterator[Slip]:
    found = re.search(rf"^ *(?:- +)*[{ODD_SPACES}]|(?<=[:-])[{ODD_SPACES}]", line)
    if found:
        at = found.end() - 1
        message = f"Write a plain space here: this is another one (U+{ord(line[at]):04X})."
        yield Slip(at, message, re.sub(f"[{ODD_SPACES}]", " ", line))


def _dash(line: str) -> Iterator[Slip]:
    if found := re.match(r"\s*-(?=[^\s-])", line):
        at = found.end()
        yield Slip(at, "Write a space after this dash.", f"{line[:at]} {line[at:]}")


def _no_space(line: str) -> Iterator[Slip]:
    """A colon with the value right behind it."""
    if found := re.match(r"""\s*(?:- +)*["']?[^\s:"'\[\]{}-][^:\[\]{}]*:(?=[^\s:])""", line):
        at = found.end()
        yield Slip(at, "Write a space after this colon.", f"{line[:at]} {line[at:]}")


def _value(line: str) -> int | None:
    """Return where the text of a line begins that its author may have to put in quotes."""
    found = _KEY.match(line) or _ENTRY.match(line)
    return found.start("value") if found and found["value"] else None


def _no_text(line: str) -> Iterator[Slip]:
    """A text that begins with what means something else."""
    at = _value(line)
    if at is not None and (line[at] in _NO_TEXT or line[at : at + 2] == "? "):
        message = f"Write this text in quotes: {line[at]} at its beginning means something else."
        yield Slip(at, message, line[:at] + quoted(line[at:]))


def _second_colon(line: str) -> Iterator[Slip]:
    at = _value(line)
    if at is None or line[at] in "\"'[{":
        return
    if found := re.search(r":(?=\s|$)", line[at:]):
        message = "Write this text in quotes: a colon and a space in it begin another value."
        yield Slip(at + found.start(), message, line[:at] + quoted(line[at:]))


def _quotes(line: str) -> Iterator[Slip]:
    """A text in quotes that ends too early, not at all, or twice."""
    body = re.match(r"\s*(?:- +)*", line)
    starts = [body.end()] if body else []
    if (at := _value(line)) is not None:
        starts.append(at)
    for start in starts:
        if line[start : start + 1] not in ("'", '"'):
            continue
        end = closing(line, start)
        if end is None:
            message = "Write the closing quotation mark too: this one is never closed."
            yield Slip(start, message, line.rstrip() + line[start])
            if (colon := line.rfind(": ")) > start:
                yield Slip(start, message, line[:colon] + line[start] + line[colon:])
            continue
        rest = line[end + 1 :]
        if not rest.strip() or re.match(r"\s*:(\s|$)|\s+#", rest):
            continue
        yield _past_its_end(line, start, end)


def _past_its_end(line: str, start: int, end: int) -> Slip:
    """Return the slip of a text in quotes, behind whose end more stands."""
    rest, mark = line[end + 1 :], line[start]
    behind = len(rest) - len(rest.lstrip())
    stray = rest.strip()
    if not stray.strip("\"'"):
        at = end + 1 + behind
        return Slip(at, "Delete this quotation mark: the text ends before it.", line[: end + 1])
    key = re.search(r":\s+\S.*$|:\s*$", rest)
    inside = line[start + 1 : end + 1] + (rest[: key.start()] if key else rest).rstrip()
    inside = inside.removesuffix(mark)
    meant = line[:start] + quoted(inside) + (rest[key.start() :] if key else "")
    if mark == "'" and line[end - 1].isalnum() and rest[0].isalnum():
        message = "Write this apostrophe twice (''), or put the text in double quotes."
    else:
        message = "Write one pair of quotation marks round all of the text: this one ends it early."
    return Slip(end, message, meant)


def _brackets(line: str) -> Iterator[Slip]:
    at = _value(line)
    if at is None or line[at] not in "[{":
        return
    opened: list[int] = []
    bare = re.sub(r""""[^"]*"|'[^']*'""", lambda found: "x" * len(found[0]), line)
    bare = re.sub(r"\s#.*", "", bare)
    for place in range(at, len(bare)):
        if bare[place] in "[{":
            opened.append(place)
        elif bare[place] in "]}":
            if not opened:
                meant = line[:place] + line[place + 1 :]
                yield Slip(place, "Delete this bracket: nothing is open here.", meant)
                return
            opened.pop()
    if opened:
        ends = "".join("]" if bare[place] == "[" else "}" for place in reversed(opened))
        message = f"Write {ends[0]} at the end: this bracket is never closed."
        yield Slip(opened[-1], message, bare[: len(bare.rstrip())] + ends)


def _no_colon(line: str, keys: frozenset[str]) -> Iterator[Slip]:
    """A line of a mapping without a colon."""
    found = re.match(r"(?P<before>\s*(?:- +)?)(?P<first>\S+)(?P<rest>.*?)\s*$", line)
    if not found or found["first"][0] in "#-" or re.search(r":(\s|$)", line):
        return
    end = len(line.rstrip())
    if found["first"] in keys:
        at = found.end("first")
    elif last := re.search(r" [a-z][a-z0-9-]*$", line[:end].removesuffix("\r")):
        at = last.start() if found["rest"] else end
    else:
        at = end
    yield Slip(at, "Write a colon here, between the key and its value.", f"{line[:at]}:{line[at:]}")


def _in_braces(line: str, keys: frozenset[str]) -> Iterator[Slip]:
    """A comma that is missing between keys in braces, or a colon in a text there."""
    if "{" not in line:
        return
    for found in re.finditer(r"(?<=[^,{\[\s:])( +)([a-z_]+):\s", line):
        if found[2] in keys:
            at = found.start()
            message = f"Write a comma here, before `{found[2]}`."
            yield Slip(at, message, f"{line[:at]},{line[at:]}")
    for found in re.finditer(r"[{,] *[^:,{}\"']+: +([^,{}\"'\[\]]+?)(?=[,}])", line):
        if (colon := re.search(r":(?=\s|$)", found[1])) is not None:
            start, end = found.span(1)
            message = "Write this text in quotes: a colon and a space in it begin another value."
            meant = line[:start] + quoted(line[start:end]) + line[end:]
            yield Slip(start + colon.start(), message, meant)


_LOOKS: Final[tuple[Callable[[str], Iterator[Slip]], ...]] = (
    _odd_space,
    _dash,
    _no_space,
    _quotes,
    _no_text,
    _second_colon,
    _brackets,
)


def closing(line: str, start: int) -> int | None:
    """Return where the text in quotes that begins at `start` ends on its line, if it does.

    >>> closing("ask: 'It isn''t' # wet", 5)
    15
    """
    pattern = r"'(?:[^']|'')*'" if line[start] == "'" else r'"(?:[^"\\]|\\.)*"'
    found = re.compile(pattern).match(line, start)
    return found.end() - 1 if found else None


def quoted(text: str) -> str:
    """Return a text in single quotes, as YAML has them.

    >>> quoted("it isn't")
    "'it isn''t'"
    """
    return "'" + text.strip().replace("'", "''") + "'"
