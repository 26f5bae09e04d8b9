"""What follows from one mistake is one problem, the mistake's.

A mistake in a name has two loose ends: a name that nobody defines, in as many places as name it,
and a definition that nobody names. Where the two are near to each other in spelling they are one
mistake, and it stands where the fewest words would have to be changed: at the definition, where
two or more places name what it was to be, else at the place. A name that is nowhere near a
definition is one mistake however often it is named: that of the definition which is missing; where
the file that would have it has errors, the first of them is the mistake. A name that is near to one
which is named by others too is a mistake at each place. In doubt a problem is shown.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from typing import TYPE_CHECKING, Final, NamedTuple, TypeAlias

import yaml
from msgspec.structs import replace

from diagnose.files.problems import LONGEST_MESSAGE
from diagnose.rules.defined import defined, home_of
from diagnose.text import nearest, shortened

if TYPE_CHECKING:
    from collections.abc import Iterable

    from diagnose.files.library import Library
    from diagnose.files.problems import Problem
    from diagnose.rules.defined import Defined
    from diagnose.rules.view import Name, Objection


#: A sort of name, and what it is inside of.
_Sort: TypeAlias = "tuple[str, tuple[str, ...]]"

# How many names are compared in a library, some 20 µs each. Beyond that each problem is shown.
_COMPARISONS: Final = 50_000


class Found(NamedTuple):
    """A problem that a rule found, and what the rule has to say of it."""

    problem: Problem
    objection: Objection


class Cause(NamedTuple):
    """A problem with what follows from it counted in, and the files in which that is."""

    problem: Problem
    files: frozenset[str]


def causes(library: Library, others: Iterable[Problem], found: Iterable[Found]) -> list[Cause]:
    """Return the problems that follow from no other one, in order.

    `others` are problems that no rule found; others may follow from them.
    """
    return _Causes(library, {*others}, [*found]).first_ones()


class _Causes:
    """Problems on their way to their causes: `_behind` has what each follows from."""

    def __init__(self, library: Library, others: set[Problem], found: list[Found]) -> None:
        self._library = library
        self._others = others
        self._problems = others | {one.problem for one in found}
        self._behind: dict[Problem, Problem] = {}
        # Problems that stand for another one, at the place of the mistake.
        self._moved: set[Problem] = set()
        self._lacking: dict[Name, list[Problem]] = defaultdict(list)
        self._spare: dict[Name, Problem] = {}
        self._known: dict[_Sort, tuple[Defined, list[str]]] = {}
        self._left = _COMPARISONS
        for problem, objection in found:
            if objection.lacks is not None:
                self._lacking[objection.lacks].append(problem)
            if objection.spare is not None:
                self._spare[objection.spare] = problem
        # How many names of a sort are missing in one place, and which are left over there.
        self._missing = Counter(name[::2] for name in self._lacking)
        self._left_over: dict[_Sort, list[str]] = defaultdict(list)
        for name in self._spare:
            self._left_over[name[::2]].append(name.word)
        for name, group in self._lacking.items():
            self._lay(name, group)
        for problem, objection in found:
            if (of := objection.follows) is not None and of in self._lacking:
                self._follow(problem, self._lacking[of][0])
            elif of is not None and of in self._spare:
                self._follow(problem, self._spare[of])

    def first_ones(self) -> list[Cause]:
        """Return what follows from nothing."""
        count: dict[Problem, int] = dict.fromkeys(self._moved, -1)
        files: dict[Problem, set[str]] = {}
        for problem in self._problems:
            first = self._first(problem)
            files.setdefault(first, {first.file}).add(problem.file)
            count.setdefault(first, first.following)
            if first != problem:
                count[first] += 1 + problem.following
        return sorted(
            Cause(replace(first, following=count[first]), frozenset(own))
            for first, own in files.items()
        )

    def _first(self, problem: Problem) -> Problem:
        while problem in self._behind:
            problem = self._behind[problem]
        return problem

    def _follow(self, problem: Problem, first: Problem) -> None:
        """Note what a problem follows from, unless that follows from it."""
        if problem not in self._behind and self._first(first) != problem:
            self._behind[problem] = first

    def _lay(self, name: Name, group: list[Problem]) -> None:
        """Find what the problems of one name that nobody defines follow from."""
        known, unnamed = self._defined(name)
        home = self._library.file(*home_of(name, known))
        group.sort(key=lambda one: (one.code == "worked-case", one.file != home, one))
        head = self._elsewhere(name, home, group)
        if head is None:
            self._left -= len(known.places)
            if self._left < 0:
                return
            meant = self._meant(name, known, unnamed)
            head = group[0]
            if meant in unnamed and len(group) > 1:
                head = self._at_definition(known, name.word, meant, group)
            elif meant or nearest(name.word, known.places):
                # Each place is a mistake by itself.
                group = []
            if (also := self._spare.get(name._replace(word=meant))) is not None:
                self._follow(also, head)
        for problem in group:
            self._follow(problem, head)

    def _defined(self, name: Name) -> tuple[Defined, list[str]]:
        """Return the definitions of the sort of a name, and those that nobody names."""
        if name[::2] not in self._known:
            known = defined(self._library, name)
            unnamed = [word for word in known.places if word not in known.named]
            self._known[name[::2]] = (known, unnamed)
        return self._known[name[::2]]

    def _meant(self, name: Name, known: Defined, unnamed: list[str]) -> str:
        """Return the definition that was to have a name, "" where none can be told."""
        spare = self._left_over.get(name[::2], ())
        near = nearest(name.word, dict.fromkeys((*unnamed, *spare)))
        if near or nearest(name.word, known.places):
            return near
        # Nothing is near, yet only one name is left over, and one definition.
        return unnamed[0] if len(unnamed) == 1 and self._alone(name) else ""

    def _alone(self, name: Name) -> bool:
        """Whether no other name of its sort is missing there."""
        return self._missing[name[::2]] == 1

    def _elsewhere(self, name: Name, home: str, group: list[Problem]) -> Problem | None:
        """Return the error of the file that would define a name with which it may be known."""
        errors = sorted(one for one in self._others if one.file == home and one.severity == "error")
        if home != group[0].file:
            return errors[0] if errors else None
        # Of two steps with one id, the second was to have this one.
        doubled = [one for one in errors if one.code == "repeated-key"]
        at_a_step = [one for one in doubled if name.sort == "step" and self._is_step(one)]
        return at_a_step[0] if len(at_a_step) == 1 and self._alone(name) else None

    def _is_step(self, problem: Problem) -> bool:
        steps, _ = self._library.places[problem.file].walk(("steps",))
        if not isinstance(steps, yaml.MappingNode):
            return False
        marks = (key.start_mark for key, _ in steps.value)
        return any(
            (one.line + 1, one.column + 1) == (problem.line, problem.column) for one in marks
        )

    def _at_definition(
        self, known: Defined, wanted: str, meant: str, group: list[Problem]
    ) -> Problem:
        """Return the problem of a definition whose name nobody names: one there already, or new."""
        parts, path = known.places[meant]
        file = self._library.file(*parts)
        line, column = self._library.place(file, path)
        there = [
            one for one in self._others if (one.file, one.line, one.column) == (file, line, column)
        ]
        if there:
            return min(there)
        message = f'Write "{wanted}" here: {len(group)} places name it, and none names "{meant}".'
        moved = replace(
            group[0],
            file=file,
            line=line,
            column=column,
            message=shortened(message, LONGEST_MESSAGE),
        )
        self._problems.add(moved)
        self._moved.add(moved)
        return moved
