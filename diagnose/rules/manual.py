"""The manual of the checks, written from the docstrings of rules and refusals.

``python -m diagnose.rules.manual > docs/checks.md`` writes it anew; a test holds the two to one
another, and tries every example.
"""

from __future__ import annotations

import inspect
import re
import textwrap
from typing import TYPE_CHECKING, Final

from diagnose.files.problems import code_of
from diagnose.files.refusals import VALUE_REFUSALS
from diagnose.files.whole_files import FILE_REFUSALS
from diagnose.rules.check import RULES

if TYPE_CHECKING:
    from collections.abc import Callable

#: An example of a docstring: whether it passes or fails, and its indented lines.
EXAMPLE: Final = re.compile(r"^(Passes|Fails):\n((?:    .*\n)+)", re.MULTILINE)

_HEAD = """# What `diagnose check` finds

Each line that it prints ends with a code in brackets, and this page has a section for each.
`diagnose check --explain CODE` prints the section alone. The page is written from the rules
themselves (`python -m diagnose.rules.manual > docs/checks.md`).

The examples show the keys that matter; the rest is as in a library that has nothing wrong.
"""


_PAGED: Final[tuple[Callable[..., object], ...]] = (
    *FILE_REFUSALS,
    *VALUE_REFUSALS,
    *(rule for rule, _ in RULES),
)

#: What is to be said on each code that a problem can carry; a code may be a refusal and a rule.
PAGES: Final[dict[str, list[str]]] = {code_of(function): [] for function in _PAGED}
for _function in _PAGED:
    PAGES[code_of(_function)].append(inspect.getdoc(_function) or "")


def section(code: str) -> str:
    """Return the section on one code as Markdown."""
    return "\n".join([f"## {code}", "", *map(_markdown, PAGES[code])])


def page() -> str:
    """Return the whole page as Markdown, the codes in the order of the alphabet."""
    return "\n".join([_HEAD, *map(section, sorted(PAGES))])


def _markdown(docstring: str) -> str:
    """Return a docstring with its indented examples between fences."""
    return EXAMPLE.sub(_fenced, f"{docstring}\n").removesuffix("\n")


def _fenced(found: re.Match[str]) -> str:
    return f"{found[1]}:\n\n```yaml\n{textwrap.dedent(found[2])}```\n\n"


if __name__ == "__main__":
    print(page(), end="")
