"""Library files as a bad disk, a bad editor or a tired author leaves them, by seed."""

from __future__ import annotations

from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Callable

LIBRARY: Final = Path(__file__).parents[2] / "trees"

#: The files of the built-in library, each by what leads to it.
FILES: Final = sorted(path.relative_to(LIBRARY).parts for path in LIBRARY.rglob("*.yaml"))

# Values that were somebody's trouble before: numbers at the edge, other kinds of YAML, marks that
# steer a terminal, texts that look like others, replies of the program, and sheer size.
ODD: Final = (
    *("", "~", "true", "no", "0", "-1", "1e308", "1e999", "5e-324", ".nan", "0x10", "9" * 400),
    *(
        "[]",
        "{}",
        "[[[[]]]]",
        "{a: {b: {c: d}}}",
        "- a",
        "? a",
        "---",
        "...",
        "&a b",
        "*a",
        "!!int 3",
    ),
    *(
        '"\\e[31m"',
        '"a\\nb"',
        '"\\u200b"',
        '"\\ud800"',
        '"\\U0001F6D1"',
        "'",
        '"',
        "`",
        "@",
        "%",
        "# x",
    ),
    *(
        "danger",
        "back",
        "none",
        "Not sure",
        "é",
        "\u202e",
        "\ufeff",
        "\x00",
        "a: b: c",
        "x" * 5_000,
    ),
    *("first", "lockout", "../../etc", "5 L", "12 V", "[moving-parts]", "{go: a}", "[a, a, a]"),
)


def damaged(seed: int) -> tuple[tuple[str, ...], bytes]:
    """Return which file of the library it is, and its bytes after one to four kinds of damage."""
    random = Random(seed)
    parts = random.choice(FILES)
    raw = LIBRARY.joinpath(*parts).read_bytes()
    for _ in range(random.randint(1, 4)):
        raw = random.choice(_KINDS)(raw, random)
    return parts, raw


def _flipped(raw: bytes, random: Random) -> bytes:
    changed = bytearray(raw or b"x")
    for _ in range(random.randint(1, 3)):
        changed[random.randrange(len(changed))] ^= 1 << random.randrange(8)
    return bytes(changed)


def _cut(raw: bytes, random: Random) -> bytes:
    return raw[: random.randrange(len(raw) + 1)]


def _dropped(raw: bytes, random: Random) -> bytes:
    lines = raw.splitlines(keepends=True)
    start = random.randrange(len(lines) + 1)
    return b"".join(lines[:start] + lines[start + random.randint(1, 5) :])


def _doubled(raw: bytes, random: Random) -> bytes:
    lines = raw.splitlines(keepends=True)
    start = random.randrange(len(lines) + 1)
    again = lines[start : start + random.randint(1, 10)] * random.randint(1, 3)
    return b"".join(lines[:start] + again + lines[start:])


def _moved(raw: bytes, random: Random) -> bytes:
    lines = raw.splitlines(keepends=True)
    start = random.randrange(len(lines) + 1)
    taken = lines[start : start + random.randint(1, 10)]
    rest = lines[:start] + lines[start + len(taken) :]
    put = random.randrange(len(rest) + 1)
    return b"".join(rest[:put] + taken + rest[put:])


def _indented(raw: bytes, random: Random) -> bytes:
    lines = raw.splitlines(keepends=True)
    if lines:
        place = random.randrange(len(lines))
        lines[place] = random.choice((b" ", b"  ", b"\t", b"- ")) + lines[place]
    return b"".join(lines)


def _valued(raw: bytes, random: Random) -> bytes:
    """Put an odd value in the place of one: behind a colon, to the end of its line."""
    places = [at for at in range(len(raw) - 1) if raw[at : at + 2] == b": "]
    if not places:
        return raw
    at = random.choice(places) + 2
    end = min(each for each in (raw.find(b"\n", at), len(raw)) if each >= 0)
    if random.random() < 0.5:
        # In { } and [ ] the rest of the line goes on.
        ends = [each for each in (raw.find(b",", at, end), raw.find(b"}", at, end)) if each >= 0]
        end = min(ends, default=end)
    return raw[:at] + random.choice(ODD).encode() + raw[end:]


def _renamed(raw: bytes, random: Random) -> bytes:
    """Put one word of the file in the place of another."""
    words = raw.split(b" ")
    words[random.randrange(len(words))] = random.choice(words)
    return b" ".join(words)


_KINDS: Final[tuple[Callable[[bytes, Random], bytes], ...]] = (
    *(_flipped, _cut, _dropped, _doubled, _moved, _indented, _valued, _valued, _valued, _renamed),
)
