"""What an editor makes of a library file: YAML by the core schema of 1.2, as values of JSON.

Source: YAML 1.2.2, section 10.3.2, the table of tag resolution; status: M, checked against
ruamel.yaml, which reads 1.2.
"""

from __future__ import annotations

import re
from typing import Any, Final

import yaml

_INTEGER: Final = re.compile(r"[-+]?[0-9]+|0o[0-7]+|0x[0-9a-fA-F]+")
_FLOAT: Final = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
_INFINITE: Final = re.compile(r"[-+]?\.(inf|Inf|INF)|\.nan|\.NaN|\.NAN")
_WORDS: Final = {
    **dict.fromkeys(("", "~", "null", "Null", "NULL")),
    **dict.fromkeys(("true", "True", "TRUE"), True),
    **dict.fromkeys(("false", "False", "FALSE"), False),
}


def seen(text: str) -> Any:
    """Return a file's values; the key of a mapping is its text, as in JSON."""
    return _value(composed(text))


def composed(text: str) -> Any:
    """Return a file's top node."""
    return yaml.compose(text, Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader))


def _value(node: Any) -> Any:
    if isinstance(node, yaml.MappingNode):
        return {key.value: _value(value) for key, value in node.value}
    if isinstance(node, yaml.SequenceNode):
        return [_value(item) for item in node.value]
    return node.value if node.style else plain(node.value)


def plain(text: str) -> Any:
    """Return the value of a plain scalar."""
    if text in _WORDS:
        return _WORDS[text]
    if _INTEGER.fullmatch(text):
        return int(text, 0 if text[:2] in ("0o", "0x") else 10)
    if _FLOAT.fullmatch(text):
        return float(text)
    return float(text.replace(".", "").lower()) if _INFINITE.fullmatch(text) else text
