"""What stands on the sheets of a symptom, as plain data for the typesetter.

A question is an entry, in the tree's order; a finding stands at the answer that leads to it, or as
an entry of its own where several do. Every entry says from where one comes, what is in force there
and which cautions come first. Nothing here knows how large a sheet is.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from msgspec import Struct

from diagnose.files.tree import Finding, Question
from diagnose.paper.letters import CannotRender
from diagnose.paper.node_styles import SIGNALS, STYLES, NodeKind, kind_of
from diagnose.paper.step_words import StepCautions, asked, band_range
from diagnose.study.in_force import bits

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from diagnose.files.card import Card
    from diagnose.files.cautions import Caution
    from diagnose.files.site import Site
    from diagnose.files.tree import Exit
    from diagnose.paper.letters import Typeface
    from diagnose.study.in_force import CautionTable
    from diagnose.study.ready import ReadyTree

#: ANSI Z535.2 (status R, quoted by sign makers): letters for a reading distance in good light, as
#: heights of a capital; and no type smaller than this many points, however near one stands.
SIGNAL_RATIO, MESSAGE_RATIO, SMALLEST = 1 / 150, 1 / 300, 10.0

#: A margin in millimetres, at least; the width of a column as wished, and the least room in one, in
#: type sizes: a word of 24 letters has to fit.
MARGIN, COLUMN, NARROWEST = 10.0, 26.0, 15.0

#: Lines of words that a sheet has room for below what stands on top of each, at least: a caution's
#: panel is never much higher. What is on top besides the words for danger, and at the foot, in
#: lines.
LOWEST, AROUND = 21.0, 7.0

#: From one line to the next, in type sizes.
LINE = 1.2

STOP: Final = (
    "Smoke, a burning smell, a hot or swollen battery, hissing, someone hurt: stop, get off, move"
    " people away, call. Never open a hood to look."
)

#: Whom to call, in this order: how the site's file names them, and how a sheet does.
_CALL: Final = {
    "emergency": "Emergency",
    "shift_lead": "Shift lead",
    "service": "Licensed service",
}

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


class Letters(Struct, frozen=True):
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

        Raises `CannotRender` where a signal word, a common word or a caution would not fit.
        """
        margin = max(MARGIN, 1.2 * self.message * 25.4 / 72)
        wide = (sides[0] - 2 * margin) * 72 / 25.4
        columns = max(1, int(wide / (COLUMN * self.message)))
        room = wide / columns - 4 * self.message
        widest = max(typeface.width(word, self.signal, bold=True) for word in SIGNALS)
        beside = wide - typeface.width("DANGER", self.signal, bold=True) - 2 * self.message
        # A line is not filled to its end.
        danger = 1 + typeface.width(STOP, self.message, bold=True) / max(beside, 1.0)
        lines = (sides[1] - 2 * margin) * 72 / 25.4 / (LINE * self.message)
        if room < max(widest, NARROWEST * self.message) or lines - danger - AROUND < LOWEST:
            raise CannotRender("Letters of this size do not fit the paper: take a larger --paper.")
        return {
            "signal": self.signal,
            "message": self.message,
            "paper": sides,
            "margin": margin,
            "columns": columns,
        }


def around(card: Card | None, site: Site | None = None) -> dict[str, Any]:
    """Return what all sheets have around their steps: whom to call, and the settings.

    Whom neither the card nor the site names is written in by hand.
    """
    service = card.section("service") if card is not None else {}
    access = card.line("access") if card is not None else None
    known = {} if site is None else {what: [one.name, one.phone] for what, one in site.call.items()}
    if service.get("phone"):
        known["service"] = [f"{service[one]}" for one in ("name", "phone") if service.get(one)]
    call = [[words, ", ".join(known.get(what, ()))] for what, words in _CALL.items()]
    return {
        "stop": STOP,
        "call": call + ([["Service gets in", access]] if access else []),
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


class Sheets:
    """The sheets of one tree.

    `sign_words` says a sign's number in words, `title_of` names a doorway's symptom.
    """

    def __init__(
        self,
        ready: ReadyTree,
        table: CautionTable,
        sign_words: Callable[[str], str],
        title_of: Callable[[str], str],
    ) -> None:
        self.ready, self.plan, self.table = ready, ready.plan, table
        self.sign_words, self.title_of = sign_words, title_of
        self.cautions = StepCautions(ready, table)
        # What some route may have in force before a step, and the answers that lead to it.
        self.perhaps = [0] * len(self.plan.ways)
        self.from_: list[list[tuple[int, int]]] = [[] for _ in self.plan.ways]
        for step in self.plan.order:
            held = self.cautions.in_force(step, self.perhaps[step])
            for answer, target in enumerate(self.plan.ways[step]):
                self.perhaps[target] |= held | table.closed(self.plan.needs[step])
                self.from_[target].append((step, answer))

    def data(self) -> dict[str, Any]:
        """Return what the sheets say."""
        used = 0
        for step in self.plan.order:
            used |= self.table.closed(self.cautions.called(step))
        return {
            "symptom": self.ready.symptom,
            "title": self.ready.title,
            "entries": [
                self._step(number)
                for number in self._order()
                if self.plan.ways[number] or len(self.from_[number]) > 1
            ],
            "releases": [
                {"title": one.title, "lines": one.release}
                for one in self.cautions.records(used)
                if one.release
            ],
        }

    def _order(self) -> list[int]:
        """Return the steps in the order of the rows: along passing answers as far as they go."""
        plan = self.plan
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

    def _step(self, number: int) -> dict[str, Any]:
        """Return a step with all that holds for it; a question has its answers."""
        step, cautions = self.ready.steps[number], self.cautions
        entry, called = cautions.in_force(number), cautions.called(number)
        released = self.perhaps[number] & self.table.lapsing if self.plan.energises[number] else 0
        by = "" if isinstance(step, Finding) or step.by == "operator" else step.by
        data: dict[str, Any] = {
            "number": number + 1,
            "id": self.plan.ids[number],
            "word": STYLES[kind_of(step)].word or "CHECK",
            "by": STYLES[NodeKind(by)].word if by else "",
            "from": [
                [before + 1, self._exit(before, answer).answer]
                for before, answer in self.from_[number]
            ],
            "in_force": cautions.titles(entry),
            "release": cautions.titles(released),
            "cautions": self._panels(called, entry, step.hazards),
        }
        if isinstance(step, Finding):
            held = (entry | self.table.closed(called)) & self.table.lapsing
            trial = cautions.titles(held) if step.remedy is not None else []
            return data | self._finding(step) | {"trial": trial}
        return data | self._question(step, number)

    def _exit(self, step: int, which: int) -> Exit:
        body = self.ready.steps[step]
        assert isinstance(body, Question)
        return body.exits[which]

    def _question(self, step: Question, number: int) -> dict[str, Any]:
        answers = [
            {
                "text": step.exits[which].answer,
                "range": band_range(self.ready, step, which),
                "to": target + 1,
                "finding": self._step(target) if self._alone(target) else None,
            }
            for which, target in enumerate(self.plan.ways[number])
        ]
        return {
            "do": step.do or "",
            "asked": asked(self.ready, step),
            "look_for": step.look_for or "",
            "tool": step.tool or "",
            "answers": answers,
        }

    def _alone(self, number: int) -> bool:
        """Whether a step is a finding that one answer leads to."""
        return not self.plan.ways[number] and len(self.from_[number]) == 1

    def _finding(self, step: Finding) -> dict[str, Any]:
        on = step.continue_with
        return {
            "finding": step.finding,
            "remedy": step.remedy or "",
            "leave_safe": step.leave_safe or "",
            "parts": list(step.parts),
            "go_on": self.title_of(on) if on is not None else "",
        }

    def _panels(self, called: int, in_force: int, hazards: Sequence[str]) -> list[dict[str, Any]]:
        """Return the cautions of a step as they stand at the danger, each with its lines.

        Those of what a caution includes come with it, unless they were confirmed before.
        """
        panels = []
        for number in bits(called):
            fresh = self.table.closure[number] & ~in_force
            in_force |= fresh
            included = list(bits(fresh & ~(1 << number)))
            lines = [line for one in (*included, number) for line in self._record(one).confirm]
            panel = self._in_short(self._record(number), hazards)
            panels.append(panel | {"confirm": list(dict.fromkeys(lines))})
        return panels

    def _record(self, number: int) -> Caution:
        return self.table.records[number]

    def _in_short(self, one: Caution, hazards: Iterable[str]) -> dict[str, Any]:
        """Return what a caution's panel says."""
        return {
            "signal": one.signal,
            "title": one.title,
            "signs": [self.sign_words(sign) for sign in one.signs],
            "text": one.text,
            "hazards": [self.table.hazards[it] for it in hazards if it in one.covers],
        }
