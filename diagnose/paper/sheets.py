"""What stands on the sheets of a symptom, as plain data for the typesetter.

A question is an entry, in the tree's order; a finding stands at the answer that leads to it, or as
an entry of its own where several do. Every entry says from where one comes, what is in force there
and which cautions come first. Nothing here knows how large a sheet is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from diagnose.files.tree import Finding, Question, Reading
from diagnose.paper.flowchart_text import asked, band_range
from diagnose.paper.letters import CannotRender
from diagnose.paper.node_styles import SIGNALS, STYLES, NodeKind, kind_of
from diagnose.study.in_force import always_in_force

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from diagnose.files.card import Card
    from diagnose.paper.letters import Typeface
    from diagnose.study.in_force import CautionTable
    from diagnose.study.ready import ReadyTree

#: ANSI Z535.2 (status R, quoted by sign makers): letters for a reading distance in good light, as
#: heights of a capital; and no type smaller than this many points, however near one stands.
SIGNAL_RATIO, MESSAGE_RATIO, SMALLEST = 1 / 150, 1 / 300, 10.0

#: A margin in millimetres, at least; the width of a column as wished, and the least room in one, in
#: type sizes: a word of 24 letters has to fit.
MARGIN, COLUMN, NARROWEST = 10.0, 26.0, 15.0

STOP: Final = (
    "Smoke, a burning smell, a hot or swollen battery, hissing, someone hurt: stop, get off, move"
    " people away, call. Never open a hood to look."
)

#: What of a card belongs on a sheet: what it is called there, and where the card says it.
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


@dataclass(frozen=True, slots=True)
class Letters:
    """The type sizes of signal words and of all other words, in points."""

    signal: float
    message: float

    @classmethod
    def read_at(cls, distance: float, typeface: Typeface) -> Letters:
        """Return the sizes for a reading distance in metres, by the height of a capital."""
        points = distance / 0.0254 * 72 / typeface.cap_height
        message = max(points * MESSAGE_RATIO, SMALLEST)
        return cls(max(points * SIGNAL_RATIO, 1.2 * message), message)

    def on(self, sides: tuple[float, float], typeface: Typeface) -> dict[str, Any]:
        """Return these letters on paper of these sides in millimetres, with its columns.

        Raises `CannotRender` where a signal word or a common word would not fit.
        """
        margin = max(MARGIN, 1.2 * self.message * 25.4 / 72)
        wide = (sides[0] - 2 * margin) * 72 / 25.4
        columns = max(1, int(wide / (COLUMN * self.message)))
        room = wide / columns - 4 * self.message
        widest = max(typeface.width(word, self.signal, bold=True) for word in SIGNALS)
        if room < max(widest, NARROWEST * self.message):
            raise CannotRender("Letters of this size do not fit the paper: take a larger --paper.")
        return {
            "signal": self.signal,
            "message": self.message,
            "paper": sides,
            "margin": margin,
            "columns": columns,
        }


def around(card: Card | None, foot: str) -> dict[str, Any]:
    """Return what all sheets have around their steps: whom to call, the settings and the foot."""
    service = card.section("service") if card is not None else {}
    access = card.line("access") if card is not None else None
    licensed = ", ".join(f"{service[one]}" for one in ("name", "phone") if service.get(one))
    call = [["Emergency", ""], ["Shift lead", ""], ["Licensed service", licensed]]
    return {
        "stop": STOP,
        "call": call + ([["Service gets in", access]] if access else []),
        "foot": foot,
        "fills": SIGNALS,
        "settings": _settings(card),
    }


def _settings(card: Card | None) -> dict[str, Any]:
    """Return the machine's settings from its card, or lines to write them on."""
    if card is None:
        rows = {name: "" for name, _ in _SETTINGS}
        return {"title": "Settings, from the machine's setup sheet", "rows": [*rows.items()]}
    rows = {name: f"{value}" for name, value in card.section("settings").items()}
    rows |= {
        name: said
        for name, path in _SETTINGS
        if name not in rows and (said := card.line(path)) is not None
    }
    for part in ("lamps", "codes"):
        shown = card.section(f"charger.{part}").items()
        if shown:
            rows[f"Charger {part}"] = "; ".join(f"{lamp}: {meaning}" for lamp, meaning in shown)
    return {"title": f"Settings: {card.title}", "rows": [*rows.items()]}


def sheets_of(
    ready: ReadyTree,
    table: CautionTable,
    sign_words: Callable[[str], str],
    title_of: Callable[[str], str],
) -> dict[str, Any]:
    """Return what the sheets of one tree say.

    `sign_words` says a sign's number in words, `title_of` names a doorway's symptom.
    """
    return _Sheets(ready, table, sign_words, title_of).data()


class _Sheets:
    def __init__(
        self,
        ready: ReadyTree,
        table: CautionTable,
        sign_words: Callable[[str], str],
        title_of: Callable[[str], str],
    ) -> None:
        self.ready, self.table = ready, table
        self.sign_words, self.title_of = sign_words, title_of
        plan = ready.plan
        self.always = always_in_force(plan.order, plan.ways, plan.needs, plan.energises, table)
        self.perhaps = [0] * len(plan.ways)
        self.from_: list[list[tuple[int, int]]] = [[] for _ in plan.ways]
        for step in plan.order:
            entry = self._entry(self.perhaps, step)
            for answer, target in enumerate(plan.ways[step]):
                self.perhaps[target] |= entry | table.closed(plan.needs[step])
                self.from_[target].append((step, answer))

    def _entry(self, before: list[int], step: int) -> int:
        """Return what is in force at a step, of what was before it."""
        lapsed = self.table.lapsing if self.ready.plan.energises[step] else 0
        return before[step] & ~lapsed

    def data(self) -> dict[str, Any]:
        plan = self.ready.plan
        entries = [
            self._step(number)
            for number in self._order()
            if plan.ways[number] or len(self.from_[number]) > 1
        ]
        used = 0
        for step in range(len(plan.ids)):
            used |= self._called(step)
        return {
            "symptom": self.ready.symptom,
            "title": self.ready.title,
            "entries": entries,
            "cautions": [self._in_full(name) for name in self.table.names(self.table.closed(used))],
        }

    def _order(self) -> list[int]:
        """Return the steps in the order of the rows: along passing answers as far as they go."""
        plan = self.ready.plan
        place = {step: number for number, step in enumerate(plan.order)}
        order: list[int] = []
        waiting = {plan.start}
        following: list[int] = []
        while waiting:
            step = following[0] if following else min(waiting, key=place.__getitem__)
            order.append(step)
            passing = plan.passing[step]
            ways = sorted(enumerate(plan.ways[step]), key=lambda way: way[0] != passing)
            waiting |= {to for _, to in ways} - {*order}
            waiting.discard(step)
            following = [to for _, to in ways if to in waiting and plan.ways[to]]
        return order

    def _called(self, step: int) -> int:
        needed = self.ready.plan.needs[step]
        return self.table.called(needed, self._entry(self.always, step))

    def _titles(self, cautions: int) -> list[str]:
        return [self._record(name).title for name in self.table.names(cautions)]

    def _record(self, name: str) -> Any:
        return self.table.records[self.table.number[name]]

    def _step(self, number: int) -> dict[str, Any]:
        """Return a step with all that holds for it; a question has its answers."""
        step, plan = self.ready.steps[number], self.ready.plan
        entry = self._entry(self.always, number)
        called = self._called(number)
        running = plan.energises[number]
        released = self.perhaps[number] & self.table.lapsing if running else 0
        kind = kind_of(step)
        data: dict[str, Any] = {
            "number": number + 1,
            "id": plan.ids[number],
            "kind": STYLES[kind].word or "CHECK",
            "by": STYLES[NodeKind(step.by)].word
            if isinstance(step, Question) and step.by != "operator"
            else "",
            "from": [
                [before + 1, self._answer(before, answer)] for before, answer in self.from_[number]
            ],
            "in_force": self._titles(entry),
            "release": self._titles(released),
            "cautions": [self._in_short(name, step.hazards) for name in self.table.names(called)],
        }
        if isinstance(step, Finding):
            held = (entry | self.table.closed(called)) & self.table.lapsing
            trial = self._titles(held) if step.remedy is not None else []
            return data | self._finding(step) | {"trial": trial}
        return data | self._question(step, number)

    def _answer(self, step: int, answer: int) -> str:
        body = self.ready.steps[step]
        assert isinstance(body, Question)
        return body.exits[answer].answer

    def _question(self, step: Question, number: int) -> dict[str, Any]:
        answers = []
        for which, target in enumerate(self.ready.plan.ways[number]):
            alone = not self.ready.plan.ways[target] and len(self.from_[target]) == 1
            answers.append(
                {
                    "text": step.exits[which].answer,
                    "range": band_range(step, which) if isinstance(step, Reading) else "",
                    "to": target + 1,
                    "finding": self._step(target) if alone else None,
                }
            )
        return {
            "do": step.do or "",
            "asked": asked(step),
            "look_for": step.look_for or "",
            "tool": step.tool or "",
            "answers": answers,
        }

    def _finding(self, step: Finding) -> dict[str, Any]:
        on = step.continue_with
        return {
            "finding": step.finding,
            "remedy": step.remedy or "",
            "leave_safe": step.leave_safe or "",
            "parts": list(step.parts),
            "go_on": self.title_of(on) if on is not None else "",
        }

    def _in_short(self, name: str, hazards: Iterable[str]) -> dict[str, Any]:
        """Return a caution as it stands at the danger."""
        one = self._record(name)
        over = [self.table.hazards[it] for it in hazards if it in one.covers]
        return {
            "id": name,
            "signal": one.signal,
            "title": one.title,
            "signs": [self.sign_words(sign) for sign in one.signs],
            "text": one.text,
            "hazards": over,
        }

    def _in_full(self, name: str) -> Mapping[str, Any]:
        """Return a caution with every line that is confirmed."""
        one, number = self._record(name), self.table.number[name]
        included = self.table.closure[number] & ~(1 << number)
        return {
            **self._in_short(name, one.covers),
            "first": self._titles(included),
            "confirm": list(one.confirm),
            "release": list(one.release),
        }
