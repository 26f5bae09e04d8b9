"""What the program makes of one file of a library that somebody has damaged."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from diagnose.files.library import Library, add, load
from diagnose.files.problems import LONGEST_MESSAGE
from diagnose.round.state import ready_round
from diagnose.rules.check import check, errors
from diagnose.study.in_force import caution_table
from diagnose.study.ready import made_ready

if TYPE_CHECKING:
    from pathlib import Path

    from diagnose.files.problems import Problem


class Reread:
    """A library in `folder`, of which one file at a time is another than it was."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.whole = load(folder)
        assert not errors(check(self.whole)), "the library that is to be damaged is sound"

    def problems(self, parts: tuple[str, ...], raw: bytes) -> list[Problem]:
        """Return all problems with these bytes as a file; open what has none, as a case would."""
        path = self.folder.joinpath(*parts)
        before = path.read_bytes()
        path.write_bytes(raw)
        try:
            library = self._without(parts)
            add(library, parts)
            problems = check(library)
            self._opened(library, errors(problems))
        finally:
            path.write_bytes(before)
        return problems

    def _without(self, parts: tuple[str, ...]) -> Library:
        """Return the library as it is before one of its files is read."""
        whole, stem = self.whole, parts[-1].removesuffix(".yaml")
        inside = "/".join(parts[:-1])
        kept: dict[str, Any] = {
            "trees": {**whole.trees},
            "machines": {**whole.machines},
            "kinds": {**whole.kinds},
            "rounds": {**whole.rounds},
        }
        held = {"": "trees", "machines": "machines", "machines/kinds": "kinds", "rounds": "rounds"}
        kept[held[inside]].pop(stem, None)
        return Library(
            self.folder,
            **kept,
            **({} if parts == ("cautions.yaml",) else {"cautions": whole.cautions}),
            site=None if parts == ("site.yaml",) else whole.site,
            symptoms=whole.symptoms,
            places=dict(whole.places),
        )

    def _opened(self, library: Library, wrong: list[Problem]) -> None:
        broken = {problem.file for problem in wrong}
        if library.file("cautions.yaml") in broken:
            return
        table = caution_table(library.cautions)
        for name, tree in library.trees.items():
            # The others are as they were, and were opened once.
            if library.file(f"{name}.yaml") not in broken and tree is not self.whole.trees.get(
                name
            ):
                made_ready(tree, table)
        for name, round_ in library.rounds.items():
            if library.file("rounds", f"{name}.yaml") not in broken:
                ready_round(round_, table)


def unclear(problem: Problem, raw: bytes) -> str:
    """Return what is wrong with a problem's place in these bytes or with its line, or nothing."""
    lines = raw.decode("utf-8-sig", "replace").replace("\r\n", "\n").split("\n")
    if not 1 <= problem.line <= len(lines):
        return f"line {problem.line} of {len(lines)}"
    longest = len(lines[problem.line - 1]) + 1
    if not 1 <= problem.column <= longest:
        return f"column {problem.column} of {longest} in line {problem.line}"
    if not problem.message.isprintable() or len(problem.message) > LONGEST_MESSAGE:
        return f"no line to be read: {problem.message!r}"
    return ""
