"""A symptom tree as a flowchart: nodes and edges, every text broken into lines that fit.

Plain data; nothing is drawn here. A flowchart is the whole tree or one part of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from diagnose.paper.node_styles import NodeKind
from diagnose.paper.wrap import HALF, POINTED, STRAIGHT, FittedText, boxed, fitted, wrapped

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator

    from diagnose.paper.flowchart_text import AnswerText, FlowchartText, StepText
    from diagnose.paper.wrap import FontMetrics


@dataclass(frozen=True, slots=True, kw_only=True)
class Node:
    """One shape: `name` is its own in the flowchart, `step` the id of the step it belongs to.

    For a connector `step` is where it leads to, "" at the one that a part begins with.
    """

    name: str
    kind: NodeKind
    step: str
    lines: tuple[str, ...]
    width: float
    height: float
    signal: str = ""
    walked: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge:
    """One arrow between two nodes; `answer` is the answer's own text, "" between a step's own.

    `ranks` is how many ranks further down its target stands, at least.
    """

    source: str
    target: str
    answer: str = ""
    lines: tuple[str, ...] = ()
    passing: bool = False
    walked: int = 0
    ranks: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Flowchart:
    """A flowchart, or one part of it, ready to be laid out."""

    symptom: str
    nodes: tuple[Node, ...]
    edges: tuple[Edge, ...]


#: How wide an answer may be before it is broken, a finding's text, and the line of a caution.
_ANSWER_ROOM, _FINDING_ROOM, _CAUTION_ROOM = 92.0, 150.0, 235.0

#: What an outline takes of a node besides its words: bars at the sides, a wave, a second line.
_OUTLINE = {
    NodeKind.DOORWAY: (12.0, 0.0),
    NodeKind.SERVICE: (0.0, 10.0),
    NodeKind.BATTERY_TRAINED: (6.0, 6.0),
}

#: A connector's diameter: room for a number and a page.
_CIRCLE = 34.0

#: What the causes of one question take of a rank, side by side, where nothing asks for less.
RANK_ROOM = 620.0


def node_around(
    fit: FittedText, name: str, kind: NodeKind, step: str, *, signal: str = "", walked: bool = False
) -> Node:
    """Return the node around a fitted text."""
    return Node(
        name=name,
        kind=kind,
        step=step,
        lines=fit.lines,
        width=fit.width,
        height=fit.height,
        signal=signal,
        walked=walked,
    )


def connector(name: str, step: str, number: int, diameter: float) -> Node:
    """Return the connector of a step, by its number from 0."""
    return node_around(
        FittedText((f"{number + 1}",), diameter, diameter), name, NodeKind.CONNECTOR, step
    )


def slanted(fit: FittedText) -> FittedText:
    """Return a rectangle's text in a parallelogram, whose sides lean by a tenth of its width."""
    return FittedText(fit.lines, fit.width / 0.82, fit.height)


class FlowchartBuilder:
    """Makes flowcharts of one text, whole or in part: every node is fitted to its words once."""

    def __init__(self, text: FlowchartText, metrics: FontMetrics) -> None:
        self.text = text
        self.metrics = metrics
        self._nodes: dict[int, tuple[Node, ...]] = {}
        self._wrapped: dict[str, tuple[str, ...]] = {}

    def flowchart(
        self, steps: Collection[int], root: int, rank_room: float = RANK_ROOM
    ) -> Flowchart:
        """Return the flowchart of some steps, all of them reached from `root`.

        The causes of one question take at most `rank_room` of a rank; more stand in further ranks.

        The start stands under the symptom, any other root under a connector with its number. An
        answer that leads out of the steps ends at a connector with the number that it leads to.
        """
        head = self._head() if root == self.text.start else connector("in", "", root, _CIRCLE)
        nodes = [head]
        edges = [Edge(source=head.name, target=self.nodes(root)[0].name, passing=True)]
        for number in sorted(steps):
            first, *following = self.nodes(number)
            nodes += [first, *following]
            walked = int(self.text.steps[number].walked)
            edges += [
                Edge(source=first.name, target=own.name, passing=True, walked=walked)
                for own in following
            ]
            for edge, outside in self._leaving(number, steps, rank_room):
                edges.append(edge)
                nodes += outside
        return Flowchart(symptom=self.text.symptom, nodes=tuple(nodes), edges=tuple(edges))

    def _leaving(
        self, number: int, steps: Collection[int], rank_room: float
    ) -> Iterator[tuple[Edge, tuple[Node, ...]]]:
        """Yield each answer's edge, with its connector where it leads out of the steps."""
        source = self.nodes(number)[-1].name
        rank, used = 1, 0.0
        for which, answer in enumerate(self.text.steps[number].answers):
            target = self.text.steps[answer.to]
            outside: tuple[Node, ...] = ()
            if answer.to not in steps:
                outside = (connector(f"x{number}_{which}", target.id, answer.to, _CIRCLE),)
            following = outside or self.nodes(answer.to)
            if not target.answers:
                width = max(node.width for node in following)
                used += width
                if used > rank_room:
                    rank, used = rank + 1, width
            edge = Edge(
                source=source,
                target=following[0].name,
                answer=answer.text,
                lines=self._words(answer),
                passing=answer.passing,
                walked=answer.walked,
                ranks=1 if target.answers else rank,
            )
            yield edge, outside

    def nodes(self, number: int) -> tuple[Node, ...]:
        """Return the nodes of one step: that of its cautions where it calls some, then its own."""
        if number not in self._nodes:
            step = self.text.steps[number]
            own = node_around(self._fit(step), f"n{number}", step.kind, step.id, walked=step.walked)
            cautions = (self._cautions(number, step),) if step.cautions else ()
            self._nodes[number] = (*cautions, own)
        return self._nodes[number]

    def _fit(self, step: StepText) -> FittedText:
        if step.kind is NodeKind.CHECK:
            return fitted(self.metrics, step.texts, taper=POINTED, aspect=2.6)
        if step.kind is NodeKind.READING:
            return slanted(
                fitted(self.metrics, step.texts, taper=STRAIGHT, aspect=4.0, widest=170.0)
            )
        fit = boxed(self.metrics, step.texts, _FINDING_ROOM)
        wide, high = _OUTLINE.get(step.kind, (0.0, 0.0))
        return FittedText(fit.lines, fit.width + wide, fit.height + high)

    def _cautions(self, number: int, step: StepText) -> Node:
        texts = [self.text.cautions[name] for name in step.cautions]
        fit = fitted(self.metrics, texts, taper=HALF, aspect=7.0, widest=_CAUTION_ROOM, pad=3.0)
        return node_around(fit, f"c{number}", NodeKind.CAUTION, step.id, signal=step.signal)

    def _words(self, answer: AnswerText) -> tuple[str, ...]:
        for text in (answer.text, answer.limit):
            if text not in self._wrapped:
                self._wrapped[text] = tuple(wrapped(self.metrics, text, _ANSWER_ROOM))
        return self._wrapped[answer.text] + (self._wrapped[answer.limit] if answer.limit else ())

    def _head(self) -> Node:
        fit = boxed(self.metrics, self.text.head, 220.0, pad=9.0)
        return node_around(fit, "start", NodeKind.START, "")
