"""The flowchart of a symptom tree in Graphviz's DOT language, every value a string.

Graphviz places the shapes and makes each as large as its words; only where a line of words ends is
said here. A step's node bears the step's id; that of its cautions has "cautions" after it.
"""

from __future__ import annotations

import html
import re
import textwrap
from typing import TYPE_CHECKING, Any, Final

from diagnose.paper.letters import FAMILY
from diagnose.paper.node_styles import SIGNALS, STYLES, WALKED, NodeKind

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from diagnose.paper.flowchart_text import FlowchartText, StepText

#: The type size in points.
SIZE: Final = 10.0

#: How many letters a line has in a question's shape, as wished and for narrower drawings. A diamond
#: is twice as high and wide as its words: few long lines keep a long tree on its paper.
LETTERS: Final = (70, 54, 40)

#: How many letters a line has at an arrow, and in a finding's shape.
_ANSWER, _FINDING = 36, 44

_POINTED: Final = (NodeKind.CHECK, NodeKind.READING, NodeKind.CAUTION)

#: So many causes of a question stand side by side; more stand further down.
_SIDE_BY_SIDE: Final = 2

_BEGIN: Final = "begin here"

#: Graphviz reads no quoted string longer than 16,384 bytes; longer ones are written as a sum.
_LONGEST: Final = 4000
_QUOTED: Final = re.compile(r'"[^"\\]*(?:\\.[^"\\]*)*"', re.DOTALL)
_PIECE: Final = re.compile(rf"(?:[^\\]|\\.){{1,{_LONGEST}}}", re.DOTALL)


def dot_text(text: FlowchartText, under: Sequence[str] = (), letters: int = LETTERS[0]) -> str:
    """Return the DOT text of a flowchart; `under` are lines below its title, `letters` as above."""
    import graphviz

    font = {"fontname": FAMILY, "fontsize": f"{SIZE:g}"}
    graph = graphviz.Digraph(
        name=text.symptom,
        graph_attr={
            "rankdir": "TB",
            "ranksep": "0.15",
            "nodesep": "0.2",
            "pad": "0.1",
            "label": _title(text.title, under),
            "labelloc": "t",
            "labeljust": "l",
            "tooltip": text.title,
            **font,
        },
        node_attr={**font, "margin": "0.08,0.05", "height": "0.2"},
        edge_attr={**font, "arrowsize": "0.7"},
    )
    graph.node(_BEGIN, _label(text.head, _FINDING), **_style(NodeKind.START), margin="0.15,0.1")
    reached = text.reached()
    _add_edge(graph, _BEGIN, _first(text, text.start), passing=True)
    for number in sorted(reached):
        _add_step(graph, text, number, letters)
    return _in_pieces(graph.source)


def _add_step(graph: Any, text: FlowchartText, number: int, letters: int) -> None:
    step = text.steps[number]
    if step.cautions:
        graph.node(
            _first(text, number),
            _label([text.cautions[name] for name in step.cautions], letters),
            **_style(NodeKind.CAUTION, step, ".cautions"),
            fillcolor=SIGNALS[step.signal],
        )
        _add_edge(graph, _first(text, number), step.id, passing=True, walked=int(step.walked))
    link = {"URL": f"{step.leads_to}.svg", "target": "_top"} if step.leads_to else {}
    head, first, *rest = step.texts
    # A question's number stands on its first line.
    texts = [f"{head}  {first}", *rest] if step.answers else step.texts
    wide = letters if step.kind in _POINTED else _FINDING
    graph.node(step.id, _label(texts, wide), **_style(step.kind, step), **link)
    causes = 0
    for answer in step.answers:
        leaf = not text.steps[answer.to].answers
        causes += leaf
        _add_edge(
            graph,
            step.id,
            _first(text, answer.to),
            (answer.text, answer.limit),
            passing=answer.passing,
            walked=answer.walked,
            ranks=1 + (causes - 1) // _SIDE_BY_SIDE if leaf else 1,
        )


def _first(text: FlowchartText, number: int) -> str:
    """Return the name of the node that an arrow to a step ends at: its cautions, or itself."""
    step = text.steps[number]
    return f"{step.id} cautions" if step.cautions else step.id


def _style(kind: NodeKind, step: StepText | None = None, part: str = "") -> dict[str, str]:
    style = STYLES[kind]
    thick = style.thick * (WALKED if step is not None and step.walked else 1)
    given = {
        "id": "begin" if step is None else f"{step.id}{part}",
        "class": kind.value,
        "shape": style.shape,
        "style": style.style,
        "color": style.line,
        "penwidth": f"{thick:g}",
    }
    if kind in _POINTED:
        given["margin"] = "0"
    if style.sides:
        given |= {"sides": f"{style.sides}", "skew": f"{style.skew}"}
    if style.double:
        given["peripheries"] = "2"
    return given


def _add_edge(
    graph: Any,
    source: str,
    target: str,
    words: Iterable[str] = (),
    *,
    passing: bool = False,
    walked: int = 0,
    ranks: int = 1,
) -> None:
    given = {"weight": "6" if passing else "1"}
    if ranks > 1:
        given["minlen"] = f"{ranks}"
    if walked:
        given |= {"penwidth": f"{WALKED:g}", "style": "bold"}
    said = [text for text in words if text]
    if said:
        # A space on either side keeps the words off the line.
        given |= {"label": _label(said, _ANSWER, " "), "tooltip": _escaped(said[0])}
    graph.edge(source, target, **given)


def _title(title: str, under: Sequence[str]) -> str:
    """Return the words above the drawing, the title large, as an HTML-like label."""
    end = '<br align="left"/>'
    lines = [line for text in under for line in textwrap.wrap(text, 110)]
    small = "".join(f"{html.escape(line)}{end}" for line in lines)
    return f'<<font point-size="16"><b>{html.escape(title)}</b></font>{end}{small}>'


def _label(texts: Iterable[str], letters: int, around: str = "") -> str:
    """Return texts, each on lines of its own, as a label that shows exactly them."""
    import graphviz

    lines = [
        f"{around}{line}{around}" for text in texts for line in textwrap.wrap(text, letters) or [""]
    ]
    label: str = graphviz.nohtml("\\n".join(map(_escaped, lines)))
    return label


def _escaped(line: str) -> str:
    # Graphviz reads entities and backslash escapes in a label.
    return line.replace("&", "&amp;").replace("\\", "\\\\")


def _in_pieces(dot: str) -> str:
    """Return DOT text with each long quoted string as a sum of shorter ones."""

    def split(match: re.Match[str]) -> str:
        quoted = match[0]
        if len(quoted) <= _LONGEST:
            return quoted
        return " + ".join(f'"{piece}"' for piece in _PIECE.findall(quoted[1:-1]))

    return _QUOTED.sub(split, dot)
