"""What a person is shown, as data: one frozen type a screen, the same for every face."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar

import msgspec
from msgspec import Struct

from diagnose.files import replies

if TYPE_CHECKING:
    from diagnose.measure.model import Expected


class Phrase(Struct, frozen=True):
    """A piece of the program's own words: its id, and what goes into it. Faces know the words."""

    id: str
    into: tuple[tuple[str, str], ...] = ()


def phrase(id: str, **into: object) -> Phrase:  # noqa: A002
    """Return the words `id` with what goes into them."""
    return Phrase(id, tuple((name, f"{value}") for name, value in into.items()))


class Named(Struct, frozen=True):
    """An id with the words for it."""

    id: str
    title: str


class Machine(Named, frozen=True):
    """A machine by which it can be told: its serial number, and whether it is out of use.

    `state` is empty where it is simply in use, or where nobody can say.
    """

    serial: str | None = None
    state: str = ""


class CardLine(Struct, frozen=True):
    """A line of the machine card by its dotted path, with what it says."""

    line: str
    value: str


class Cause(Struct, frozen=True):
    """A finding in a ranking, with its probability from 0 to 1."""

    step: str
    finding: str
    probability: float


class Screen(Struct, frozen=True, kw_only=True):
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


class ChooseScreen(Screen, frozen=True, kw_only=True):
    """Choose a machine or a symptom, or give a name."""

    screen: ClassVar[str] = "choose"

    what: str
    options: tuple[Named, ...]

    @property
    def machines(self) -> tuple[Machine, ...]:
        """The options, where they are machines."""
        return tuple(one for one in self.options if isinstance(one, Machine))


class Contact(Struct, frozen=True, kw_only=True):
    """Whom to call."""

    who: str
    phone: str


class DangerScreen(Screen, frozen=True, kw_only=True):
    """Stop, get off, people away, call; then what it is. `answers` are ids, mistake the last."""

    screen: ClassVar[str] = "danger"

    call: tuple[Contact, ...]
    answers: tuple[str, ...] = (*replies.DANGERS, replies.MISTAKE)


class StateScreen(Screen, frozen=True, kw_only=True):
    """How a machine may be used, before any case or round on it.

    `since` is when it came so (ISO 8601, UTC); `why`, `tag` (whose hangs there, None: nobody's by
    the log) and `case` are of what held it last.
    """

    screen: ClassVar[str] = "state"

    machine: str
    state: str
    since: str | None
    why: str
    tag: str | None
    case: str
    call: tuple[Contact, ...] = ()


class Guard(Struct, frozen=True, kw_only=True):
    """One caution on a screen.

    `confirm` are the lines to confirm, those of what comes into force with it (`includes`) first;
    `hazards` those of the step that it covers. `again`: it was taken before in this case.
    """

    id: str
    title: str
    signal: str
    signs: tuple[str, ...]
    text: str
    confirm: tuple[str, ...]
    hazards: tuple[Named, ...]
    includes: tuple[str, ...] = ()
    again: bool = False


class CautionScreen(Screen, frozen=True, kw_only=True):
    """Take one or several cautions, or release one.

    `lines` says how they are confirmed: `each` line by itself, or all of them `together`. The
    `signal` is the gravest of the screen's; `id` and `title` are the first caution's.
    """

    screen: ClassVar[str] = "caution"

    id: str
    title: str
    phase: str
    lines: str
    signal: str
    cautions: tuple[Guard, ...]


class CheckScreen(Screen, frozen=True, kw_only=True):
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
    card: tuple[CardLine, ...] = ()
    note_down: str | None = None


class Input(Struct, frozen=True, kw_only=True):
    """One input that a reading asks for, and the unit that a bare number takes."""

    name: str
    unit: str
    title: str


class ReadingScreen(Screen, frozen=True, kw_only=True):
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
    card: tuple[CardLine, ...] = ()
    note_down: str | None = None


class FigureScreen(Screen, frozen=True, kw_only=True):
    """What a reading came to. `expected` is the range that it should lie in, where one is known.

    `good_to` is how far off the value can be, in its unit, where that is known.
    """

    screen: ClassVar[str] = "figure"

    step: str
    read: str
    value: float
    unit: str
    expected: Expected | None
    band: str
    workings: tuple[str, ...]
    good_to: float | None = None


class FindingScreen(Screen, frozen=True, kw_only=True):
    """A cause. `checked` is false where nobody has looked at it yet: look first.

    `likelier` are causes that are still open, not service's, and worth a look before this one is
    put right or referred, the likeliest first. `until_mended` says how the machine may be used
    until service has mended it.
    """

    screen: ClassVar[str] = "finding"

    step: str
    finding: str
    who: str
    checked: bool
    remedy: str | None
    before_trying: tuple[str, ...]
    leave_safe: str | None
    probability: float
    likelier: tuple[Cause, ...] = ()
    minutes: float
    parts: tuple[str, ...]
    until_mended: str | None = None
    card: tuple[CardLine, ...] = ()


class ItemScreen(Screen, frozen=True, kw_only=True):
    """One item of a round, `number` of `total`."""

    screen: ClassVar[str] = "item"

    round: str
    item: str
    number: int
    total: int
    do: str
    look_for: str | None
    card: tuple[CardLine, ...] = ()
    note_down: str | None = None


class WhyScreen(Screen, frozen=True, kw_only=True):
    """Why this is asked, and what is likely now. The screen before is shown again."""

    screen: ClassVar[str] = "why"

    text: tuple[Phrase, ...]
    ranking: tuple[Cause, ...]


class RefusedScreen(Screen, frozen=True, kw_only=True):
    """What was wrong with the reply. The screen before is shown again."""

    screen: ClassVar[str] = "refused"

    message: Phrase


class EndScreen(Screen, frozen=True, kw_only=True):
    """How the case ended: cured, referred, left, or walked (a round)."""

    screen: ClassVar[str] = "end"

    outcome: str
    ranking: tuple[Cause, ...]


def as_data(value: Any) -> Any:
    """Return a screen (or a part of one) as dicts, lists and plain values for JSON."""
    data = msgspec.json.decode(msgspec.json.encode(value))
    return {"screen": value.screen, **data} if isinstance(value, Screen) else data
