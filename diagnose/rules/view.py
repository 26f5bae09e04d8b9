"""What a rule sees: one file of a library, with what can be known of it worked out once."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, ClassVar, Final, Generic, NamedTuple, TypeVar

from msgspec import Struct

from diagnose.files.cautions import Caution
from diagnose.files.measurements import Declared
from diagnose.files.places import KEY
from diagnose.files.rounds import Item, Round
from diagnose.files.tree import Finding, Question, Step
from diagnose.study.graph import graph_of, loop
from diagnose.study.measurements import measurements_of
from diagnose.text import did_you_mean

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence

    from diagnose.files.card import Card
    from diagnose.files.library import Library
    from diagnose.files.places import Part, Path
    from diagnose.files.problems import Severity
    from diagnose.files.tree import Condition, Tree
    from diagnose.measure.model import Measurement
    from diagnose.study.graph import Graph
    from diagnose.study.in_force import CautionTable


# How many names the rules compare in one file to find what was meant. It takes some 20 µs each, so
# a file in which everything is wrong would keep its author waiting for hours.
_COMPARISONS: Final = 20_000

# A circle of more names is cut in the middle.
_LONGEST_ROUTE: Final = 12


class Name(NamedTuple):
    """A word that is defined in one place and named in others: of which `sort`, and `inside` what.

    A step's is inside its tree, an answer's inside its tree and step.
    """

    sort: str
    word: str
    inside: tuple[str, ...] = ()


class Objection(Struct, frozen=True):
    """What a rule has against something in a file: its path there, and one sentence.

    The problem's code is the rule's own. It `lacks` a name that is used there and defined nowhere,
    or it is `spare`: a name that is defined there and used nowhere; or it `follows` from either.
    `parts` lead to the file where the rule looks at several; `place` is line and column, from 1, of
    what no path leads to.
    """

    at: Path
    message: str
    severity: Severity = "error"
    lacks: Name | None = None
    spare: Name | None = None
    follows: Name | None = None
    parts: tuple[str, ...] | None = None
    place: tuple[int, int] | None = None


Task = TypeVar("Task")


class View(Struct, Generic[Task], frozen=True, kw_only=True, dict=True):
    """One file of a library, at `parts` in it; `table` is None where `cautions.yaml` has errors.

    `tasks` are its steps, items or cautions by their ids, which stand under the key `inside`. The
    other keys are those at which a task names what stands in another file.
    """

    library: Library
    parts: tuple[str, ...]
    table: CautionTable | None
    tasks: Mapping[str, Task]
    inside: ClassVar[str]
    hazards_key: ClassVar[str] = "hazards"
    cautions_key: ClassVar[str] = "cautions"
    symptom_key: ClassVar[str] = ""

    def at(self, name: str, *more: Part) -> Path:
        """Return the path of a step, item or caution: of its id, or of what `more` leads to."""
        return (self.inside, name, *(more or (KEY,)))

    def named(self, key: str) -> Iterator[tuple[Path, str]]:
        """Yield each word that stands at a key of a task, alone or in a list, with its path."""
        for name, task in self.tasks.items():
            words = getattr(task, key, None) or ()
            if isinstance(words, str):
                yield self.at(name, key), words
            else:
                yield from ((self.at(name, key, n), word) for n, word in enumerate(words))

    @cached_property
    def _left(self) -> list[int]:
        """How many more comparisons there may be, as the one entry."""
        return [_COMPARISONS]

    def hint(self, word: str, known: Collection[str]) -> str:
        """Return ``did_you_mean``, or nothing once too much of the file has been compared."""
        if self._left[0] <= 0:
            return ""
        self._left[0] -= len(known)
        return did_you_mean(word, known)

    def guarded(self, task: Step | Item) -> bool:
        """Whether all hazards and cautions that a task names are known."""
        known = self.library.cautions
        return known.hazards.keys() >= {*task.hazards} and known.cautions.keys() >= {*task.cautions}


class TreeView(View[Step], frozen=True, kw_only=True, dict=True):
    """One tree, or a draft with the steps of it that could not be read."""

    tree: Tree
    unread: frozenset[str]
    inside: ClassVar[str] = "steps"
    symptom_key: ClassVar[str] = "continue_with"

    def questions(self) -> Iterator[tuple[str, Question]]:
        """Return the checks and readings by their ids."""
        return ((name, step) for name, step in self.tasks.items() if isinstance(step, Question))

    def findings(self) -> Iterator[tuple[str, Finding]]:
        """Return the findings that are no doorways by their ids."""
        found = ((name, step) for name, step in self.tasks.items() if isinstance(step, Finding))
        return (one for one in found if one[1].continue_with is None)

    def doorways(self) -> Iterator[tuple[str, Finding]]:
        """Return the findings that lead to another symptom by their ids."""
        found = ((name, step) for name, step in self.tasks.items() if isinstance(step, Finding))
        return (one for one in found if one[1].continue_with is not None)

    def conditions(self) -> Iterator[tuple[Path, Condition]]:
        """Yield what the tree, its steps and their answers apply to, each with its path."""
        yield ("applies_to",), self.tree.applies_to
        for name, step in self.questions():
            yield self.at(name, "applies_to"), step.applies_to
            for number, way in enumerate(step.exits):
                at = step.answer_at(number)[:-1]
                yield self.at(name, *at, "applies_to"), way.applies_to

    def kinds(self) -> Iterator[tuple[Path, str]]:
        """Yield the kinds of machine that the symptom is for, each with its path."""
        return ((("kinds", number), kind) for number, kind in enumerate(self.tree.kinds))

    @cached_property
    def graph(self) -> Graph:
        """The steps, with an arrow for each answer that leads to one."""
        return graph_of(self.tree)

    @cached_property
    def closed_route(self) -> list[tuple[str, str, str]]:
        """The arrows of one closed route, as `loop` returns them."""
        return loop(self.graph)

    @cached_property
    def measurements(self) -> Mapping[str, Measurement]:
        """The measurements that a reading may name."""
        return measurements_of(self.library)

    @cached_property
    def sound(self) -> bool:
        """Whether it can be walked: start known, all targets known, no closed route."""
        named = {self.tree.start, *(way.to for _, step in self.questions() for way in step.exits)}
        return not self.unread and not self.closed_route and self.tasks.keys() >= named


class RoundView(View[Item], frozen=True, kw_only=True):
    """One round."""

    round: Round
    inside: ClassVar[str] = "items"
    symptom_key: ClassVar[str] = "starts"

    def named(self, key: str) -> Iterator[tuple[Path, str]]:
        """Yield each word that stands at a key of an item; of `starts` the symptom."""
        for path, word in super().named(key):
            long = key == self.symptom_key and self.tasks[f"{path[1]}"].seen
            yield ((*path, "symptom") if long else path), word

    def kinds(self) -> Iterator[tuple[Path, str]]:
        """Yield the kinds of machine that the round is for, each with its path."""
        return ((("kinds", number), kind) for number, kind in enumerate(self.round.kinds))

    def conditions(self) -> Iterator[tuple[Path, Condition]]:
        """Yield what the round and its items apply to, each with its path."""
        yield ("applies_to",), self.round.applies_to
        for name, item in self.tasks.items():
            yield self.at(name, "applies_to"), item.applies_to


class CautionsView(View[Caution], frozen=True):
    """The hazards and cautions of the library, `cautions.yaml`."""

    inside = "cautions"
    hazards_key = "covers"
    cautions_key = "includes"


class CardView(View[str], frozen=True, kw_only=True):
    """One machine card, kind of machine or site: its lines, and the minutes that cautions take."""

    lines: Card
    inside: ClassVar[str] = "caution_minutes"

    def named(self, key: str) -> Iterator[tuple[Path, str]]:
        """Yield the cautions whose minutes the card knows, with their paths."""
        return ((self.at(caution), caution) for caution in self.tasks)

    def kinds(self) -> Iterator[tuple[Path, str]]:
        """Yield the kind of machine that the card names, with its path."""
        if self.lines.kind is not None:
            yield ("kind",), self.lines.kind


class MeasurementsView(View[Declared], frozen=True):
    """The measurements that the library declares, `measurements.yaml`."""

    inside = "measurements"


class LibraryView(View[None], frozen=True, kw_only=True):
    """All files of a library side by side. What is found says in which of them, as `parts`."""

    inside: ClassVar[str] = ""


def route(names: Sequence[str]) -> str:
    """Return names with arrows between them; of a long route both ends."""
    if len(names) > _LONGEST_ROUTE:
        half = _LONGEST_ROUTE // 2
        names = [*names[:half], "…", *names[-half:]]
    return " → ".join(names)
