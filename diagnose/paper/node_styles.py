"""Shapes, lines and colours: what stands for what on paper.

Shapes as in ISO 5807 (status R): decision = diamond, data = parallelogram, terminator = rounded,
document = wavy base, predefined process = double side bars, preparation = hexagon, connector =
circle. Colours from Okabe and Ito's set; a line's colour keeps 3:1 against white, a fill carries
black text. Nothing is told by colour alone: each kind has its own shape, line and word.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING, Final

from diagnose.files.tree import Finding, Reading

if TYPE_CHECKING:
    from diagnose.files.tree import Step

BLACK: Final = "#000000"
WHITE: Final = "#FFFFFF"
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
    ACTION = "action"
    CHECK = "check"
    READING = "reading"
    OPERATOR = "operator"
    BATTERY_TRAINED = "battery-trained"
    SERVICE = "service"
    DOORWAY = "doorway"
    CAUTION = "caution"
    CONNECTOR = "connector"


@dataclass(frozen=True, slots=True, kw_only=True)
class NodeStyle:
    """How a kind is drawn. `says` explains it in a legend; `word` stands in the shape itself."""

    shape: str
    line: str
    says: str
    word: str = ""
    style: str = "solid"
    thick: float = 1.0
    sides: int = 0
    skew: float = 0.0
    double: bool = False


STYLES: Final = {
    NodeKind.START: NodeStyle(shape="box", style="rounded,bold", line=BLACK, says="start here"),
    NodeKind.ACTION: NodeStyle(shape="box", line=BLACK, says="do this first"),
    NodeKind.CHECK: NodeStyle(shape="diamond", line=BLACK, says="look, then answer"),
    NodeKind.READING: NodeStyle(
        shape="polygon",
        sides=4,
        skew=0.2,
        line=BLUE,
        says="take the figure",
        word="MEASURE",
    ),
    NodeKind.OPERATOR: NodeStyle(
        shape="box",
        style="rounded",
        line=GREEN,
        thick=1.5,
        says="the operator may",
        word="OPERATOR",
    ),
    NodeKind.BATTERY_TRAINED: NodeStyle(
        shape="box",
        style="rounded",
        line=BLUE,
        double=True,
        says="if trained for batteries",
        word="BATTERY-TRAINED",
    ),
    NodeKind.SERVICE: NodeStyle(
        shape="note",
        style="dashed",
        line=VERMILLION,
        thick=1.8,
        says="leave it safe, hand over",
        word="SERVICE",
    ),
    NodeKind.DOORWAY: NodeStyle(
        shape="box",
        line=BLACK,
        says="another symptom's tree",
        word="GO ON WITH",
    ),
    NodeKind.CAUTION: NodeStyle(
        shape="hexagon",
        style="filled",
        line=BLACK,
        thick=1.5,
        says="take this caution first",
    ),
    NodeKind.CONNECTOR: NodeStyle(shape="circle", line=BLACK, says="go on at this number"),
}


def kind_of(step: Step) -> NodeKind:
    """Return what a step is drawn as."""
    if isinstance(step, Finding):
        return NodeKind.DOORWAY if step.continue_with is not None else NodeKind(step.who)
    return NodeKind.READING if isinstance(step, Reading) else NodeKind.CHECK
