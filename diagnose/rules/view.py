"""What a rule sees: one file of a library, with what can be known of it worked out once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

from diagnose.files.library import CAUTIONS_FILE
from diagnose.files.places import KEY
from diagnose.files.tree import Finding, Question
from diagnose.study.graph import graph_of, loop

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from diagnose.files.card import Card
    from diagnose.files.library import Library
    from diagnose.files.places import Part, Path
    from diagnose.files.problems import Severity
    from diagnose.files.rounds import Item, Round
    from diagnose.files.tree import Step, Tree
    from diagnose.study.graph import Graph
    from diagnose.study.in_force import CautionTable


@dataclass(frozen=True, slots=True)
class Objection:
    """What a rule has against something in a file: its path there, and one sentence.

    The problem's code is the rule's own.
    """

    at: Path
    message: str
    severity: Severity = "error"


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """One file of a library, at `parts` in it; `table` is None where `cautions.yaml` has errors.

    Whatever kind of file it is: what is done there (`tasks`: steps or items), and what it names
    that stands in another file, with the paths of both.
    """

    library: Library
    parts: tuple[str, ...]
    table: CautionTable | None
    inside: ClassVar[str] = ""

    def at(self, name: str, *more: Part) -> Path:
        """Return the path of a step, item or caution: of its id, or of what `more` leads to."""
        return (self.inside, name, *(more or (KEY,)))

    def tasks(self) -> Iterable[tuple[str, Step | Item]]:
        """Return the steps or items by their ids."""
        return ()

    def named_hazards(self) -> Iterator[tuple[Path, str]]:
        """Yield every hazard that is named."""
        for name, task in self.tasks():
            for number, hazard in enumerate(task.hazards):
                yield self.at(name, "hazards", number), hazard

    def named_cautions(self) -> Iterator[tuple[Path, str]]:
        """Yield every caution that is named."""
        for name, task in self.tasks():
            for number, caution in enumerate(task.cautions):
                yield self.at(name, "cautions", number), caution

    def named_symptoms(self) -> Iterator[tuple[Path, str]]:
        """Yield every symptom that is named and can be gone on with."""
        yield from ()

    def guarded(self, task: Step | Item) -> bool:
        """Whether all hazards and cautions that a task names are known."""
        known = self.library.cautions
        return all(hazard in known.hazards for hazard in task.hazards) and all(
            caution in known.cautions for caution in task.cautions
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class TreeView(View):
    """One tree; `unread` are steps of a draft that could not be read.

    `sound` is whether it can be walked: start known, all targets known, no closed route.
    """

    tree: Tree
    unread: frozenset[str]
    graph: Graph
    closed_route: list[tuple[str, str, str]]
    sound: bool
    inside: ClassVar[str] = "steps"

    def tasks(self) -> Iterable[tuple[str, Step]]:
        """Return the steps by their ids."""
        return self.tree.steps.items()

    def questions(self) -> Iterator[tuple[str, Question]]:
        """Yield the checks and readings by their ids."""
        for name, step in self.tree.steps.items():
            if isinstance(step, Question):
                yield name, step

    def findings(self) -> Iterator[tuple[str, Finding]]:
        """Yield the findings by their ids, doorways too."""
        for name, step in self.tree.steps.items():
            if isinstance(step, Finding):
                yield name, step

    def named_symptoms(self) -> Iterator[tuple[Path, str]]:
        """Yield the symptoms that the doorways lead to."""
        for name, finding in self.findings():
            if finding.continue_with is not None:
                yield self.at(name, "continue_with"), finding.continue_with


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundView(View):
    """One round."""

    round: Round
    inside: ClassVar[str] = "items"

    def tasks(self) -> Iterable[tuple[str, Item]]:
        """Return the items by their ids."""
        return self.round.items.items()

    def named_symptoms(self) -> Iterator[tuple[Path, str]]:
        """Yield the symptoms that "not right" begins."""
        for name, item in self.round.items.items():
            if item.starts is not None:
                yield self.at(name, "starts"), item.starts


@dataclass(frozen=True, slots=True, kw_only=True)
class CautionsView(View):
    """The hazards and cautions of the library, `cautions.yaml`."""

    inside: ClassVar[str] = "cautions"

    def named_hazards(self) -> Iterator[tuple[Path, str]]:
        """Yield the hazards that are covered."""
        for name, caution in self.library.cautions.cautions.items():
            for number, hazard in enumerate(caution.covers):
                yield self.at(name, "covers", number), hazard

    def named_cautions(self) -> Iterator[tuple[Path, str]]:
        """Yield the cautions that others include."""
        for name, caution in self.library.cautions.cautions.items():
            for number, included in enumerate(caution.includes):
                yield self.at(name, "includes", number), included


@dataclass(frozen=True, slots=True, kw_only=True)
class CardView(View):
    """One machine card."""

    card: Card
    inside: ClassVar[str] = "caution_minutes"

    def named_cautions(self) -> Iterator[tuple[Path, str]]:
        """Yield the cautions whose minutes the card knows."""
        for caution in self.card.section(self.inside):
            yield self.at(caution), caution


def tree_view(
    library: Library,
    tree: Tree,
    table: CautionTable | None,
    unread: frozenset[str] = frozenset(),
) -> TreeView:
    """Return the view of one tree, or of a draft with the steps of it that could not be read."""
    graph = graph_of(tree)
    closed_route = loop(graph)
    steps = tree.steps
    sound = not unread and not closed_route and tree.start in steps
    return TreeView(
        library=library,
        parts=(f"{tree.symptom}.yaml",),
        table=table,
        tree=tree,
        unread=unread,
        graph=graph,
        closed_route=closed_route,
        sound=sound
        and all(
            way.to in steps for s in steps.values() if isinstance(s, Question) for way in s.exits
        ),
    )


def round_view(library: Library, round_: Round, table: CautionTable | None) -> RoundView:
    """Return the view of one round."""
    parts = ("rounds", f"{round_.round}.yaml")
    return RoundView(library=library, parts=parts, table=table, round=round_)


def cautions_view(library: Library) -> CautionsView:
    """Return the view of `cautions.yaml`, before it is known to be without errors."""
    return CautionsView(library=library, parts=(CAUTIONS_FILE,), table=None)


def card_view(library: Library, card: Card) -> CardView:
    """Return the view of one machine card."""
    parts = ("machines", f"{card.machine}.yaml")
    return CardView(library=library, parts=parts, table=None, card=card)
