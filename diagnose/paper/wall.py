"""What a wall chart says: one large sheet with a tree's diagram and all that hangs by the machine.

The flowchart in rows, the cautions in full, what the shapes mean, the machine's settings, whom to
call, and the content hash with the date, so that an old print is recognised.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from diagnose.paper.node_styles import SIGNALS, STYLES, WHITE, NodeKind

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from diagnose.files.card import Card
    from diagnose.files.cautions import Caution, Cautions
    from diagnose.paper.flowchart_text import FlowchartText
    from diagnose.study.in_force import CautionTable


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """A box with a heading and paragraphs; `legend` draws the shapes before its lines."""

    heading: str
    paragraphs: tuple[str, ...]
    fill: str = WHITE
    legend: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class WallChart:
    """All that a wall chart says: the tree's words from the fullest text to the barest; the first
    that fits is taken. `codes` has the short line of each caution by its id."""

    flowcharts: tuple[FlowchartText, ...]
    codes: Mapping[str, str]
    panels: tuple[Panel, ...]
    foot: str


def chart_of(
    flowcharts: Sequence[FlowchartText],
    cautions: Cautions,
    table: CautionTable,
    card: Card | None,
    foot: str,
) -> WallChart:
    """Return what a wall chart says; `flowcharts` are of one tree, the fullest first."""
    codes = codes_of(flowcharts[0], cautions, table)
    return WallChart(
        flowcharts=tuple(flowcharts),
        codes=codes,
        panels=(
            *caution_panels(codes, cautions, table),
            legend_panel(),
            settings_panel(card),
            call_panel(card),
        ),
        foot=foot,
    )


def codes_of(text: FlowchartText, cautions: Cautions, table: CautionTable) -> dict[str, str]:
    """Return, for each caution that the tree calls or that one of them includes, its short line.

    A letter under which it stands in full, its signal word and its first sign.
    """
    used = 0
    for name in text.cautions:
        used |= table.closure[table.number[name]]
    known = _known(cautions)
    result = {}
    for place, name in enumerate(table.names(used)):
        letter = _LETTERS[place % len(_LETTERS)] * (place // len(_LETTERS) + 1)
        result[name] = " ".join([letter, known[name].signal, *known[name].signs[:1]])
    return result


def _known(cautions: Cautions) -> Mapping[str, Caution]:
    return dict(cautions.cautions.items())


_LETTERS: Final = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def caution_panels(
    codes: Mapping[str, str], cautions: Cautions, table: CautionTable
) -> Iterator[Panel]:
    """Yield the cautions in full, each under its letter."""
    known = _known(cautions)
    for name, code in codes.items():
        caution, number = known[name], table.number[name]
        included = table.names(table.closure[number] & ~(1 << number))
        first = [f"{codes[one].split()[0]} {known[one].title}" for one in included]
        paragraphs = [
            f"{caution.text} First take: {', '.join(first)}." if first else caution.text,
            " ".join(f"• {line}" for line in caution.confirm),
        ]
        if caution.release:
            before = " ".join(f"• {line}" for line in caution.release)
            paragraphs.append(f"Before it runs again: {before}")
        heading = [code.split()[0], caution.signal, caution.title, *caution.signs]
        yield Panel(
            heading=" ".join(heading),
            paragraphs=tuple(paragraphs),
            fill=SIGNALS[caution.signal],
        )


#: The shapes that a chart explains, in this order.
LEGEND: Final = (
    NodeKind.ACTION,
    NodeKind.CHECK,
    NodeKind.READING,
    NodeKind.CAUTION,
    NodeKind.OPERATOR,
    NodeKind.BATTERY_TRAINED,
    NodeKind.SERVICE,
    NodeKind.DOORWAY,
    NodeKind.CONNECTOR,
)


def legend_panel() -> Panel:
    """Return what the shapes mean, one line a shape in the order of `LEGEND`."""
    return Panel(
        heading="What the shapes mean",
        paragraphs=tuple(
            ": ".join(filter(None, [STYLES[kind].word, STYLES[kind].says])) for kind in LEGEND
        ),
        legend=True,
    )


#: What of a card belongs on a wall: what it is called there, and where the card says it.
_SETTINGS: Final = (
    ("Flow", "flow.setting"),
    ("Flow rate", "flow.rate"),
    ("Brush or pad", "brushes.kind"),
    ("Brush pressure", "brushes.setting"),
    ("Working speed", "working_speed"),
    ("Squeegee blade", "squeegee.blade"),
    ("Bend of the blade", "squeegee.bend"),
    ("Detergent", "detergent.product"),
    ("Dose", "detergent.ratio"),
    ("Warmest water", "warmest_solution"),
    ("Battery", "battery.kind"),
    ("Charger programme", "charger.programme"),
)


def settings_panel(card: Card | None) -> Panel:
    """Return the machine's settings from its card, or lines to write them on."""
    if card is None:
        blank = " · ".join(f"{name}: ____________" for name, _ in _SETTINGS[:9])
        return Panel(heading="Settings, from the machine's setup sheet", paragraphs=(blank,))
    rows = {name: f"{value}" for name, value in card.section("settings").items()}
    rows |= {
        name: said
        for name, path in _SETTINGS
        if name not in rows and (said := card.line(path)) is not None
    }
    charger = [
        *card.section("charger.lamps").items(),
        *card.section("charger.codes").items(),
    ]
    if charger:
        rows["Charger shows"] = "; ".join(f"{lamp}: {meaning}" for lamp, meaning in charger)
    return Panel(
        heading=f"Settings: {card.title}",
        paragraphs=(" · ".join(f"{name}: {value}" for name, value in rows.items()),),
    )


def call_panel(card: Card | None) -> Panel:
    """Return whom to call, and when at once."""
    service = card.section("service") if card is not None else {}
    name = service.get("name", "____________________")
    phone = service.get("phone", "____________________")
    said = [f"Licensed service: {name}, {phone}"]
    access = card.line("access") if card is not None else None
    if access is not None:
        said.append(f"Service gets in: {access}")
    said += [
        "Shift lead: ____________________",
        "Emergency: ____________________",
        "Smoke, a burning smell, a hot or swollen battery, hissing, someone hurt: stop, get off,"
        " move people away, call. Never open a hood to look.",
    ]
    return Panel(heading="Whom to call", paragraphs=tuple(said), fill=SIGNALS["DANGER"])
