"""Statements in Graphviz's DOT language, every value quoted: none is taken for a keyword or HTML.

Written here since the library for it quotes a tree in a third of the time that Graphviz takes to
draw it, and takes 25 ms to import.
"""

from __future__ import annotations

import re
from typing import Final

#: Graphviz reads no quoted string longer than 16,384 bytes; longer ones are written as a sum.
_LONGEST: Final = 4000
_PIECE: Final = re.compile(rf"(?:[^\\]|\\.){{1,{_LONGEST}}}", re.DOTALL)


def quoted(text: str) -> str:
    r"""Return a value; what Graphviz is not to read as an escape has two backslashes."""
    inside = text.replace('"', '\\"')
    if len(inside) <= _LONGEST:
        return f'"{inside}"'
    return " + ".join(f'"{piece}"' for piece in _PIECE.findall(inside))


def node(name: str, label: str, **attributes: str) -> str:
    """Return a shape."""
    return f"\t{quoted(name)} {_listed({'label': label, **attributes})}"


def edge(source: str, target: str, **attributes: str) -> str:
    """Return an arrow."""
    return f"\t{quoted(source)} -> {quoted(target)} {_listed(attributes)}"


def all_of(kind: str, html: str = "", **attributes: str) -> str:
    """Return what holds for the graph, each node or each edge; `html` is an HTML-like label."""
    return f"\t{kind} {_listed(attributes, html)}"


def _listed(attributes: dict[str, str], html: str = "") -> str:
    pairs = [f"{name}={quoted(value)}" for name, value in attributes.items()]
    pairs += [f"label=<{html}>"] if html else []
    return f"[{' '.join(pairs)}]"
