"""What a wall chart says: one large sheet with a tree's diagram and all that hangs by the machine.

The diagram in strips, the cautions in full, what the shapes mean, the machine's settings, whom to
call, and the content hash with the date, so that an old print is recognised.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from diagnose.paper.marks import MARKS, SIGNALS, WHITE, Kind

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from diagnose.files.card import Card
    from diagnose.files.cautions import Caution, Cautions
    from diagnose.paper.sketch import Sketch
    from diagnose.study.in_force import CautionTable


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """A frame with a heading and paragraphs; `legend` draws the shapes before its lines."""

    heading: str
    paragraphs: tuple[str, ...]
    fill: str = WHITE
    legend: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """All that a wall chart says: `sketches` from the fullest to the barest; the first that fits is
    taken. `codes` has the short line of each caution by its id."""

    sketches: tuple[Sketch, ...]
    codes: Mapping[str, str]
    panels: tuple[Panel, ...]
    foot: str


def chart_of(
    sketches: Sequence[Sketch],
    cautions: Cautions,
    table: CautionTable,
    card: Card | None,
    foot: str,
) -> Chart:
    """Return what a wall chart says; `sketches` are of one tree, the fullest first."""
    codes = codes_of(sketches[0], cautions, table)
    return Chart(
        sketches=tuple(sketches),
        codes=codes,
        panels=(
            *caution_panels(codes, cautions, table),
            legend_panel(),
            settings_panel(card),
            call_panel(card),
        ),
        foot=foot,
    )


def codes_of(sketch: Sketch, cautions: Cautions, table: CautionTable) -> dict[str, str]:
    """Return, for each caution that the tree calls or that one of them includes, its short line.

    A letter under which it stands in full, its signal word and its first sign.
    """
    used = 0
    for name in sketch.cautions:
        used |= table.closure[table.number[name]]
    result = {}
    for place, name in enumerate(table.names(used)):
        caution: Caution = cautions.cautions[name]
        letter = _LETTERS[place % len(_LETTERS)] * (place // len(_LETTERS) + 1)
        result[name] = " ".join([letter, caution.signal, *map(str, caution.signs[:1])])
    return result


_LETTERS: Final = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def caution_panels(
    codes: Mapping[str, str], cautions: Cautions, table: CautionTable
) -> Iterator[Panel]:
    """Yield the cautions in full, each under its letter."""
    for name, code in codes.items():
        caution: Caution = cautions.cautions[name]
        letter = code.split()[0]
        text = caution.text
        first = table.closure[table.number[name]] & ~(1 << table.number[name])
        titles = [
            f"{codes[one].split()[0]} {cautions.cautions[one].title}" for one in table.names(first)
        ]
        if titles:
            text += f" First take: {', '.join(titles)}."
        paragraphs = [text, " ".join(f"• {line}" for line in caution.confirm)]
        if caution.release:
            before = " ".join(f"• {line}" for line in caution.release)
            paragraphs.append(f"Before it runs again: {before}")
        signs = " ".join(map(str, caution.signs))
        yield Panel(
            heading=f"{letter} {caution.signal} {caution.title} {signs}".rstrip(),
            paragraphs=tuple(paragraphs),
            fill=SIGNALS[caution.signal],
        )


#: The shapes that a chart explains, in this order.
LEGEND: Final = (
    Kind.ACTION,
    Kind.CHECK,
    Kind.READING,
    Kind.CAUTION,
    Kind.OPERATOR,
    Kind.BATTERY_TRAINED,
    Kind.SERVICE,
    Kind.DOORWAY,
    Kind.CONNECTOR,
)


def legend_panel() -> Panel:
    """Return what the shapes mean, one line a shape in the order of `LEGEND`."""
    return Panel(
        heading="What the shapes mean",
        paragraphs=tuple(
            ": ".join(filter(None, [MARKS[kind].word, MARKS[kind].says])) for kind in LEGEND
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
