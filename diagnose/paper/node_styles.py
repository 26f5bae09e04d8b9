"""Shapes, lines and colours: what stands for what on paper.

Shapes as in ISO 5807 (status R): decision = diamond, data = parallelogram, terminator = rounded,
preparation = hexagon (here: a caution to be taken); a note with a folded corner stands for a
document. Colours from Okabe and Ito's set; a line's colour keeps 3:1 against white, a fill carries
black text. Nothing is told by colour alone: each kind has its own shape, line and word.
"""

from __future__ import annotations

from enum import Enum
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from diagnose.files.tree import Finding, Reading

if TYPE_CHECKING:
    from collections.abc import Mapping

    from diagnose.files.tree import Step

BLACK: Final = "#000000"
ORANGE: Final = "#E69F00"
SKY: Final = "#56B4E9"
GREEN: Final = "#009E73"
YELLOW: Final = "#F0E442"
BLUE: Final = "#0072B2"
VERMILLION: Final = "#D55E00"

#: The panel of a signal word, in the order of ANSI Z535: the strongest first.
SIGNALS: Final = {"DANGER": VERMILLION, "WARNING": ORANGE, "CAUTION": YELLOW, "NOTICE": SKY}


#: How many times as thick the lines along a case's route are.
WALKED: Final = 2.5


class NodeKind(Enum):
    """What a shape stands for."""

    START = "start"
    CHECK = "check"
    READING = "reading"
    OPERATOR = "operator"
    BATTERY_TRAINED = "battery-trained"
    SERVICE = "service"
    DOORWAY = "doorway"
    CAUTION = "caution"


class NodeStyle(Struct, frozen=True):
    """How a kind is drawn, in Graphviz's words; `word` stands in the shape itself."""

    shape: str
    line: str
    style: str = "solid"
    word: str = ""
    thick: float = 1.0
    more: Mapping[str, str] = {}


STYLES: Final = {
    NodeKind.START: NodeStyle("box", BLACK, "rounded,bold"),
    NodeKind.CHECK: NodeStyle("diamond", BLACK),
    NodeKind.READING: NodeStyle(
        "polygon", BLUE, word="MEASURE", more={"sides": "4", "skew": "0.2"}
    ),
    NodeKind.OPERATOR: NodeStyle("box", GREEN, "rounded", "OPERATOR", 1.5),
    NodeKind.BATTERY_TRAINED: NodeStyle(
        "box", BLUE, "rounded", "BATTERY-TRAINED", more={"peripheries": "2"}
    ),
    NodeKind.SERVICE: NodeStyle("note", VERMILLION, "dashed", "SERVICE", 1.8),
    NodeKind.DOORWAY: NodeStyle("box", BLACK, word="GO ON WITH"),
    NodeKind.CAUTION: NodeStyle("hexagon", BLACK, "filled", thick=1.5),
}


def kind_of(step: Step) -> NodeKind:
    """Return what a step is drawn as."""
    if isinstance(step, Finding):
        return NodeKind.DOORWAY if step.continue_with is not None else NodeKind(step.who)
    return NodeKind.READING if isinstance(step, Reading) else NodeKind.CHECK
