"""The flowchart of a symptom tree in Graphviz's DOT language, every value a string.

Graphviz places the shapes and makes each as large as its words; only where a line of words ends is
said here. A step's node bears the step's id; that of its cautions has "cautions" after it.
"""

from __future__ import annotations

import html
import re
import textwrap
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from diagnose.files.tree import Finding
from diagnose.paper.letters import FAMILY
from diagnose.paper.node_styles import SIGNALS, STYLES, WALKED, NodeKind, kind_of
from diagnose.paper.step_words import StepCautions, asked, band_range

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from diagnose.files.cautions import Caution
    from diagnose.files.tree import Step
    from diagnose.study.in_force import CautionTable
    from diagnose.study.ready import ReadyTree

#: The type size in points.
SIZE: Final = 10.0

#: How many letters a line has in a question's shape, as wished and for narrower drawings. A diamond
#: is twice as high and wide as its words: few long lines keep a long tree on its paper.
LETTERS: Final = (70, 60, 50, 40)

#: How many letters a line has at an arrow, and in a finding's shape.
_ANSWER, _FINDING = 36, 44

_POINTED: Final = (NodeKind.CHECK, NodeKind.READING, NodeKind.CAUTION)

#: So many causes of a question stand side by side; more stand further down.
_SIDE_BY_SIDE: Final = 2

#: How the words of an answer stand in their line.
_IN_LINE: Final = {"shape": "plaintext", "class": "answer", "margin": "0.04,0.02", "width": "0"}

_BEGIN: Final = "begin here"

#: Graphviz reads no quoted string longer than 16,384 bytes; longer ones are written as a sum.
_LONGEST: Final = 4000
_QUOTED: Final = re.compile(r'"[^"\\]*(?:\\.[^"\\]*)*"', re.DOTALL)
_PIECE: Final = re.compile(rf"(?:[^\\]|\\.){{1,{_LONGEST}}}", re.DOTALL)


class Extras(Struct, frozen=True, kw_only=True):
    """What a flowchart says besides its tree.

    `under` are lines below the title. `start`: the step where it begins, None for the tree's own.
    `last_lines`: a last line at a step. `visits`: what stands at a step's number; `walked`: the
    answers (step, answer) of a route, counted from 1.
    """

    under: Sequence[str] = ()
    start: int | None = None
    last_lines: Mapping[int, str] = {}
    visits: Mapping[int, str] = {}
    walked: Mapping[tuple[int, int], int] = {}


class Flowchart:
    """The flowchart of one tree; `title_of` names a doorway's symptom."""

    def __init__(
        self,
        ready: ReadyTree,
        table: CautionTable,
        title_of: Callable[[str], str] = str,
        extras: Extras | None = None,
    ) -> None:
        self.ready, self.plan, self.title_of = ready, ready.plan, title_of
        self.extras = extras or Extras()
        self.cautions = StepCautions(ready, table)
        self.start = self.plan.start if self.extras.start is None else self.extras.start
        self.reached = {self.start}
        for step in self.plan.order:
            if step in self.reached:
                self.reached.update(self.plan.ways[step])

    def about(self) -> str:
        """Return in a sentence what the flowchart shows."""
        questions = sum(bool(self.plan.ways[step]) for step in self.reached)
        return (
            f"A flowchart of {questions} questions and {len(self.reached) - questions} findings:"
            f" {self.ready.title}. It begins at step {self.start + 1}."
        )

    def dot(self, letters: int = LETTERS[0]) -> str:
        """Return its DOT text; a question's lines have so many `letters`."""
        import graphviz

        body = _Body()
        style = self._style(NodeKind.START)
        style["margin"] = "0.15,0.1"
        body.node(_BEGIN, _label(self._head(), _FINDING), style, id=_BEGIN)
        body.edge(_BEGIN, self._first(self.start), passing=True)
        for number in sorted(self.reached):
            self._add_step(body, number, letters)
        font = {"fontname": FAMILY, "fontsize": f"{SIZE:g}"}
        paper = {"rankdir": "TB", "ranksep": "0.15", "nodesep": "0.2", "pad": "0.1"}
        paper |= {"labelloc": "t", "labeljust": "l", "tooltip": _escaped(self.ready.title), **font}
        graph = graphviz.Digraph(
            name=self.ready.symptom,
            graph_attr=paper | {"label": _title(self.ready.title, self.extras.under)},
            node_attr={**font, "margin": "0.08,0.05", "height": "0.2"},
            edge_attr={**font, "arrowsize": "0.7"},
            body=body.lines,
        )
        return _in_pieces(graph.source)

    def _head(self) -> Iterator[str]:
        yield self.ready.title
        if self.start != self.plan.start:
            yield f"From step {self.start + 1} on."
            held = self.cautions.titles(self.cautions.in_force(self.start))
            if held:
                yield f"In force here: {', '.join(held)}."

    def _add_step(self, body: _Body, number: int, letters: int) -> None:
        """Add a step with the cautions before it and the answers after it."""
        step, name = self.ready.steps[number], self.plan.ids[number]
        kind, walked = kind_of(step), number in self.extras.visits
        called = self.cautions.records(self.cautions.called(number))
        if called:
            signal = min((one.signal for one in called), key=[*SIGNALS].index)
            style = self._style(NodeKind.CAUTION, walked=walked)
            label = _label(map(_short, called), letters)
            more = {"id": f"{name}.cautions", "fillcolor": SIGNALS[signal]}
            body.node(self._first(number), label, style, **more)
            body.edge(self._first(number), name, passing=True, walked=walked)
        link = {}
        if isinstance(step, Finding) and step.continue_with is not None:
            link = {"URL": f"{step.continue_with}.svg", "target": "_top"}
        label = _label(self._texts(step, number), letters if kind in _POINTED else _FINDING)
        body.node(name, label, self._style(kind, walked=walked), id=name, **link)
        self._add_answers(body, number)

    def _add_answers(self, body: _Body, number: int) -> None:
        """Add a question's answers, each in a gap of its own line, where no other line runs."""
        step, causes, name = self.ready.steps[number], 0, self.plan.ids[number]
        for which, target in enumerate(self.plan.ways[number]):
            assert not isinstance(step, Finding)
            leaf = not self.plan.ways[target]
            causes += leaf
            said = filter(None, (step.exits[which].answer, band_range(self.ready, step, which)))
            answer = f"{name} {which}"
            body.node(answer, _label(said, _ANSWER), _IN_LINE)
            ranks = 1 + (causes - 1) // _SIDE_BY_SIDE if leaf else 1
            passing = which == self.plan.passing[number]
            walked = (number, which) in self.extras.walked
            body.edge(name, answer, passing=passing, walked=walked, ranks=ranks, ends=False)
            body.edge(answer, self._first(target), passing=passing, walked=walked)

    def _texts(self, step: Step, number: int) -> Iterator[str]:
        """Yield the paragraphs in a step's shape; a question's number stands on its first line."""
        head = [f"{number + 1}", STYLES[kind_of(step)].word]
        if not isinstance(step, Finding) and step.by != "operator":
            head.append(STYLES[NodeKind(step.by)].word)
        head.append(self.extras.visits.get(number, ""))
        numbered = " · ".join(filter(None, head))
        if isinstance(step, Finding):
            yield numbered
            yield step.finding
            if step.continue_with is not None:
                yield f"→ {self.title_of(step.continue_with)}"
            advice = step.leave_safe if step.who == "service" else step.remedy
            if advice is not None:
                yield f"→ {advice}"
        else:
            yield f"{numbered}  {step.do or asked(self.ready, step)}"
            if step.do is not None:
                yield asked(self.ready, step)
        if number in self.extras.last_lines:
            yield self.extras.last_lines[number]

    def _first(self, number: int) -> str:
        """Return the name of the node that an arrow to a step ends at: its cautions, or itself."""
        name = self.plan.ids[number]
        return f"{name} cautions" if self.cautions.called(number) else name

    def _style(self, kind: NodeKind, *, walked: bool = False) -> dict[str, str]:
        style = STYLES[kind]
        given = {
            "class": kind.value,
            "shape": style.shape,
            "style": style.style,
            "color": style.line,
            "penwidth": f"{style.thick * (WALKED if walked else 1):g}",
        }
        if kind in _POINTED:
            given["margin"] = "0"
        return {**given, **style.more}


class _Body:
    """The statements of a drawing, in the library's quoting.

    It is handed their lines as they are: of what many of them share, each is quoted once.
    """

    def __init__(self) -> None:
        from graphviz import quoting

        self.lines: list[str] = []
        self._list, self._quote = quoting.a_list, quoting.quote
        self._names: dict[str, str] = {}
        self._styles: dict[tuple[tuple[str, str], ...], str] = {}

    def node(self, name: str, label: str, style: Mapping[str, str], **own: str) -> None:
        """Add a node; `own` is what it does not share with others."""
        more = "".join(f"{key}={self._name(value)} " for key, value in own.items())
        text = self._quote(label)
        self.lines.append(f"\t{self._name(name)} [label={text} {more}{self._style(style)}]\n")

    def edge(
        self,
        source: str,
        target: str,
        *,
        passing: bool = False,
        walked: bool = False,
        ranks: int = 1,
        ends: bool = True,
    ) -> None:
        """Add an arrow over so many ranks; one that does not end there has no head."""
        style = {"weight": "6"} if passing else {}
        style |= {"penwidth": f"{WALKED:g}", "style": "bold"} if walked else {}
        style |= {"minlen": f"{ranks}"} if ranks > 1 else {}
        style |= {} if ends else {"arrowhead": "none"}
        given = f" [{self._style(style)}]" if style else ""
        self.lines.append(f"\t{self._name(source)} -> {self._name(target)}{given}\n")

    def _name(self, name: str) -> str:
        if name not in self._names:
            self._names[name] = self._quote(name)
        return self._names[name]

    def _style(self, style: Mapping[str, str]) -> str:
        key = tuple(style.items())
        if key not in self._styles:
            self._styles[key] = self._list(kwargs=style)
        return self._styles[key]


def _short(caution: Caution) -> str:
    return " ".join([caution.signal, caution.title, *caution.signs])


def _title(title: str, under: Sequence[str]) -> str:
    """Return the words above the drawing, the title large, as an HTML-like label."""
    end = '<br align="left"/>'
    lines = [line for text in under for line in textwrap.wrap(text, 110)]
    small = "".join(f"{html.escape(line)}{end}" for line in lines)
    return f'<<font point-size="16"><b>{html.escape(title)}</b></font>{end}{small}>'


def _label(texts: Iterable[str], letters: int) -> str:
    """Return texts, each on lines of its own, as a label that shows exactly them."""
    import graphviz

    lines = [line for text in texts for line in _lines(text, letters)]
    label: str = graphviz.nohtml("\\n".join(map(_escaped, lines)))
    return label


def _lines(text: str, letters: int) -> list[str]:
    if len(text) <= letters and text.isprintable():
        return [text]
    return textwrap.wrap(text, letters, break_on_hyphens=False) or [""]


def _escaped(line: str) -> str:
    # Graphviz reads entities and backslash escapes in a label.
    return line.replace("&", "&amp;").replace("\\", "\\\\")


def _in_pieces(dot: str) -> str:
    """Return DOT text with each long quoted string as a sum of shorter ones."""

    if max(map(len, dot.split("\n"))) <= _LONGEST:
        return dot

    def split(match: re.Match[str]) -> str:
        quoted = match[0]
        if len(quoted) <= _LONGEST:
            return quoted
        return " + ".join(f'"{piece}"' for piece in _PIECE.findall(quoted[1:-1]))

    return _QUOTED.sub(split, dot)
