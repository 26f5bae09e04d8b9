"""What a person is shown, as data: one frozen type a screen, the same for every face."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import msgspec

if TYPE_CHECKING:
    from diagnose.measure.model import Expected


@dataclass(frozen=True, slots=True)
class Phrase:
    """A piece of the program's own words: its id, and what goes into it. Faces know the words."""

    id: str
    into: tuple[tuple[str, str], ...] = ()


def phrase(id: str, **into: object) -> Phrase:  # noqa: A002
    """Return the words `id` with what goes into them."""
    return Phrase(id, tuple((name, f"{value}") for name, value in into.items()))


@dataclass(frozen=True, slots=True)
class Named:
    """An id with the words for it."""

    id: str
    title: str


@dataclass(frozen=True, slots=True)
class Cause:
    """A finding in a ranking, with its probability from 0 to 1."""

    step: str
    finding: str
    probability: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Screen:
    """What every screen carries.

    `replies` are the ids of what may be replied besides an answer; `notes` are said above the
    screen; `doorway` is the line of the finding through which another symptom was just entered.
    """

    screen: ClassVar[str] = ""

    symptom: str | None = None
    in_force: tuple[Named, ...] = ()
    replies: tuple[str, ...] = ()
    doorway: str | None = None
    notes: tuple[Phrase, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ChooseScreen(Screen):
    """Choose a machine or a symptom."""

    screen: ClassVar[str] = "choose"

    what: str
    options: tuple[Named, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CautionScreen(Screen):
    """Take a caution, or release it. `again`: it was taken before in this case."""

    screen: ClassVar[str] = "caution"

    id: str
    phase: str
    title: str
    signal: str
    signs: tuple[str, ...]
    text: str
    confirm: tuple[str, ...]
    hazards: tuple[Named, ...]
    again: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckScreen(Screen):
    """Do something or look, and answer. `minutes_left` are the mean minutes to a finding."""

    screen: ClassVar[str] = "check"

    step: str
    ask: str
    do: str | None
    look_for: str | None
    tool: str | None
    answers: tuple[Named, ...]
    open: int
    minutes_left: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Input:
    """One input that a reading asks for, and the unit that a bare number takes."""

    name: str
    unit: str
    title: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingScreen(Screen):
    """Measure, and type what was read."""

    screen: ClassVar[str] = "reading"

    step: str
    read: str
    title: str
    do: str | None
    look_for: str | None
    tool: str | None
    needs: tuple[Input, ...]
    open: int
    minutes_left: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureScreen(Screen):
    """What a reading came to. `expected` is the range that it should lie in, where one is known."""

    screen: ClassVar[str] = "figure"

    step: str
    read: str
    value: float
    unit: str
    expected: Expected | None
    band: str
    workings: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingScreen(Screen):
    """A cause. `checked` is false where no answer pointed to it: look first."""

    screen: ClassVar[str] = "finding"

    step: str
    finding: str
    who: str
    checked: bool
    remedy: str | None
    before_trying: tuple[str, ...]
    leave_safe: str | None
    probability: float
    minutes: float
    parts: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemScreen(Screen):
    """One item of a round, `number` of `total`."""

    screen: ClassVar[str] = "item"

    round: str
    item: str
    number: int
    total: int
    do: str
    look_for: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class WhyScreen(Screen):
    """Why this is asked, and what is likely now. The screen before is shown again."""

    screen: ClassVar[str] = "why"

    text: tuple[Phrase, ...]
    ranking: tuple[Cause, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RefusedScreen(Screen):
    """What was wrong with the reply. The screen before is shown again."""

    screen: ClassVar[str] = "refused"

    message: Phrase


@dataclass(frozen=True, slots=True, kw_only=True)
class EndScreen(Screen):
    """How the case ended: cured, referred, left, or walked (a round)."""

    screen: ClassVar[str] = "end"

    outcome: str
    ranking: tuple[Cause, ...]


def as_data(value: Any) -> Any:
    """Return a screen (or a part of one) as dicts, lists and plain values for JSON."""
    data = msgspec.json.decode(msgspec.json.encode(value))
    return {"screen": value.screen, **data} if isinstance(value, Screen) else data
