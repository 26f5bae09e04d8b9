"""What the log holds: one frozen type an event, which writes and reads itself as JSON.

Each event carries the words that were shown, so that a story or a handover never needs a tree. A
key that is at its default is not written, and one that is not known is passed over.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from functools import cache
from typing import Any, Final, TypeAlias

import msgspec

from diagnose.case.screens import Cause
from diagnose.case.state import Trace
from diagnose.case.walk import ANSWER
from diagnose.files import replies
from diagnose.files.card import Card
from diagnose.files.site import Contact
from diagnose.measure.model import Expected

#: The replies that move a case, and that *back* withdraws.
MOVES: Final = frozenset(
    {
        ANSWER,
        replies.UNSURE,
        replies.CANNOT,
        replies.NOT_CURED,
        replies.NOT_IT,
        replies.KEEP_LOOKING,
    }
)

#: The marks that an item of a round can get.
MARKS: Final = (replies.DONE, replies.NOT_RIGHT, replies.NOT_NOW)


class CautionShown(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One caution as it was shown: `hazards` are titles, `includes` what came in force with it."""

    id: str
    title: str
    signal: str = ""
    signs: tuple[str, ...] = ()
    text: str = ""
    confirm: tuple[str, ...] = ()
    hazards: tuple[str, ...] = ()
    includes: tuple[str, ...] = ()
    again: bool = False


class Shown(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The words of a screen as they were shown, and `ask_service`, which the handover alone says.

    `title` is what a caution, a reading or a figure is called; `until_mended` says how the machine
    may be used until service has mended it (None: nobody said, so not at all); `minutes` and
    `minutes_left` are minutes, `probability` is from 0 to 1. `lines` says how `cautions` were
    confirmed. What only one caution has (`signs`, `text`, `confirm`, `hazards`, `again`) stands in
    events of a time in which each had a screen of its own.
    """

    screen: str
    title: str = ""
    do: str | None = None
    ask: str = ""
    look_for: str | None = None
    tool: str | None = None
    answers: tuple[str, ...] = ()
    open: int | None = None
    minutes_left: float | None = None
    finding: str = ""
    who: str = ""
    checked: bool | None = None
    remedy: str | None = None
    before_trying: tuple[str, ...] = ()
    leave_safe: str | None = None
    until_mended: str | None = None
    ask_service: str | None = None
    probability: float | None = None
    likelier: tuple[Cause, ...] = ()
    minutes: float | None = None
    parts: tuple[str, ...] = ()
    phase: str = ""
    lines: str = ""
    cautions: tuple[CautionShown, ...] = ()
    signal: str = ""
    signs: tuple[str, ...] = ()
    text: str = ""
    confirm: tuple[str, ...] = ()
    hazards: tuple[str, ...] = ()
    again: bool = False
    read: str = ""
    number: int | None = None
    total: int | None = None

    @property
    def words(self) -> str:
        """The question, the cause, the action, or what a caution or reading is called."""
        return self.ask or self.finding or self.title or self.do or ""


class FigureTaken(msgspec.Struct, frozen=True, kw_only=True):
    """What a reading came to, in `unit`, with the lines that one would write on paper.

    `good_to` is how far off it can be; None where nobody knows.
    """

    value: float
    unit: str
    band: str
    expected: Expected | None = None
    workings: tuple[str, ...] = ()
    good_to: float | None = None


class ReadingTaken(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A reading: its inputs as typed, by name, and as (name, magnitude, unit) in SI."""

    inputs: Mapping[str, str]
    si: tuple[tuple[str, float, str], ...]
    figure: FigureTaken


class FindingKept(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A finding as its tree had it; `hazards` are titles."""

    finding: str
    chance: float
    who: str = ""
    parts: tuple[str, ...] = ()
    ask_service: str | None = None
    leave_safe: str | None = None
    hazards: tuple[str, ...] = ()


class CardAnswer(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A step that a line of the machine card answered."""

    step: str
    words: str
    line: str
    answer: str


class TreeKept(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What the log keeps of a tree that a case came to: title, content hash, card, findings."""

    title: str
    hash: str = ""
    from_card: tuple[CardAnswer, ...] = ()
    findings: Mapping[str, FindingKept] = {}


class CautionKept(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What kind of caution it is: whether it lapses, whether it isolates the machine.

    `worn`: it is about what a person puts on.
    """

    title: str
    lapses: bool = False
    lockout: bool = False
    worn: bool = False


class PassedStep(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A step that was passed over, in words. `why`: cannot, by, caution, card or tag.

    `reason` is who may do it, which cautions were refused, or what the card lacks.
    """

    symptom: str
    step: str
    words: str
    why: str
    reason: str = ""


class Mark(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """An item of a round that was not done: what became of it, and the symptom it starts."""

    item: str
    do: str
    mark: str
    starts: str | None = None


class CameTo(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What a round came to: how many items it has, how many were done, and each that was not.

    `locked`: a lockout was in force then.
    """

    total: int
    done: int
    marks: tuple[Mark, ...] = ()
    locked: bool = False


#: What a case comes to by the reason for its end; by any other it is referred.
_OUTCOMES: Final = {
    "left": None,
    "cured": "cured",
    "walked": "walked",
    "withdrawn": "withdrawn",
}


class Outset(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Who is there, with which machine card (its lines), under which cautions.

    `site` is its name, empty where not known; `call` its contacts by what they are for.
    """

    role: str = "operator"
    name: str = ""
    card: Mapping[str, Any] | None = None
    cautions: Mapping[str, CautionKept] = {}
    site: str = ""
    call: Mapping[str, Contact] = {}

    @property
    def machine_card(self) -> Card | None:
        """The machine card as it was then."""
        if self.card is None:
            return None
        return Card(machine=self.card["machine"], title=self.card["title"], lines=self.card)


class _Event(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True, tag_field="event"):
    """What all events have: what followed without being asked, and the cautions then in force."""

    trail: tuple[Trace, ...] = ()
    in_force: tuple[str, ...] = ()

    @property
    def outcome(self) -> str | None:
        """What the event makes of its case: cured, referred, withdrawn or, of a round, walked.

        None where the case stays open, as one does that is left.
        """
        for trace in reversed(self.trail):
            if trace.what == "ended":
                return _OUTCOMES.get(trace.why, "referred")
        return None

    @property
    def milestone(self) -> bool:
        """Whether a machine's story needs the event."""
        return True


def _on_screen(shown: Shown, caution: str) -> tuple[CautionShown, ...]:
    """Return the cautions on a screen; one, as it was then, in an event of an earlier time."""
    if shown.cautions or not caution:
        return shown.cautions
    return (
        CautionShown(
            id=caution,
            title=shown.title,
            signal=shown.signal,
            signs=shown.signs,
            text=shown.text,
            confirm=shown.confirm,
            hazards=shown.hazards,
            again=shown.again,
        ),
    )


class _Held(_Event, frozen=True, kw_only=True):
    """What holds of a diagnosis after an event: the likeliest causes by symptom, the trees that it
    came to for the first time, and the steps that were passed over."""

    likely: Mapping[str, tuple[Cause, ...]] = {}
    trees: Mapping[str, TreeKept] = {}
    passed: tuple[PassedStep, ...] = ()


class Opened(_Held, frozen=True, kw_only=True, tag="opened"):
    """A case begins. `words` are the operator's own for the symptom, empty where it was picked.

    `seen` are answers, by step, that a round had seen already.
    """

    symptom: str
    words: str = ""
    seen: Mapping[str, str] = {}
    outset: Outset


class RoundOpened(_Event, frozen=True, kw_only=True, tag="round opened"):
    """A round begins."""

    round: str
    title: str
    every: str
    outset: Outset


class Replied(_Held, frozen=True, kw_only=True, tag="replied"):
    """A reply in a case. `to` is the step that an answer leads to.

    `caution` is the first one on the screen; `refused` are those that *cannot* was about. At the
    end, `cures` are the (symptom, finding) that were cured, the doorways to it too, and `closing`
    the probabilities of the first symptom's findings.
    """

    reply: str
    symptom: str
    step: str
    shown: Shown
    caution: str = ""
    refused: tuple[str, ...] = ()
    typed: str = ""
    answer: str = ""
    to: str = ""
    reading: ReadingTaken | None = None
    cures: tuple[tuple[str, str], ...] = ()
    closing: Mapping[str, float] = {}

    @property
    def cautions(self) -> tuple[CautionShown, ...]:
        """The cautions on the screen, as they were shown."""
        return _on_screen(self.shown, self.caution)

    @property
    def milestone(self) -> bool:
        """An end, or a reading."""
        return self.reading is not None or any(trace.what == "ended" for trace in self.trail)


class ItemReplied(_Event, frozen=True, kw_only=True, tag="item"):
    """A reply in a round. `starts` is the symptom whose case begins; `came_to`, at the end.

    `caution` is the first one on the screen; `refused` are those that *cannot* was about.
    `answer` is what a danger was.
    """

    reply: str
    item: str
    shown: Shown
    caution: str = ""
    refused: tuple[str, ...] = ()
    typed: str = ""
    answer: str = ""
    starts: str = ""
    came_to: CameTo | None = None

    @property
    def moves(self) -> bool:
        """Whether it moves the round, so that *back* withdraws it."""
        return self.reply == replies.CANNOT or (self.reply in MARKS and not self.caution)

    @property
    def unresolved(self) -> bool:
        """Whether an item was not right, and no case was begun for it."""
        return self.reply == replies.NOT_RIGHT and not self.starts

    @property
    def cautions(self) -> tuple[CautionShown, ...]:
        """The cautions on the screen, as they were shown."""
        return _on_screen(self.shown, self.caution)

    @property
    def milestone(self) -> bool:
        """What was not as it should be, was withdrawn, or ended the round."""
        return self.reply in (replies.NOT_RIGHT, replies.BACK) or self.came_to is not None


class CaseOver(_Event, frozen=True, kw_only=True, tag="case over"):
    """A case that a round had begun came to an end, or was left: the round goes on, or ends too.

    `how` is cured, referred, withdrawn, left or danger.
    """

    symptom: str
    how: str
    came_to: CameTo | None = None

    @property
    def milestone(self) -> bool:
        """What was withdrawn, or ended the round."""
        return self.how == "withdrawn" or self.came_to is not None


class Resumed(_Held, frozen=True, kw_only=True, tag="resumed"):
    """A case or a round is taken up again: how many replies still fit, and how many do not."""

    symptom: str = ""
    role: str = "operator"
    name: str = ""
    fits: int = 0
    misfits: int = 0
    came_to: CameTo | None = None

    @property
    def milestone(self) -> bool:
        """An end: nothing may be left to ask of a tree or a round that has changed."""
        return self.outcome is not None


class Noted(_Event, frozen=True, kw_only=True, tag="noted"):
    """Something was written down at a step of a case or an item of a round. It moves nothing.

    `what` is what the screen asked to note down there, empty where the person noted it unasked.
    """

    text: str
    step: str
    symptom: str = ""
    what: str = ""

    @property
    def words(self) -> str:
        """What was written down, behind what it is."""
        return f"{self.what}: {self.text}" if self.what else self.text


class Found(_Event, frozen=True, kw_only=True, tag="found"):
    """Service's verdict. `cures` are (symptom, finding), the doorways that led there too.

    `other` says in words what it was where no finding of the trees is it; `finding` is empty then.
    `name` is who brought it; `released` whether the machine was released with it. None: nobody
    could say so then, and a verdict was the end of it.
    """

    symptom: str
    finding: str
    cures: tuple[tuple[str, str], ...] = ()
    name: str = ""
    released: bool | None = None
    other: str = ""

    @property
    def words(self) -> str:
        """The finding's id, or what it was in words."""
        return self.finding or self.other


class Released(_Event, frozen=True, kw_only=True, tag="released"):
    """The machine was released: what the case or round held it for is over. `name` is by whom."""

    name: str


Event: TypeAlias = (
    Opened | RoundOpened | Replied | ItemReplied | CaseOver | Resumed | Noted | Found | Released
)


def in_words(event: Event) -> str:
    """Return in words what would be lost with an event: mostly somebody's reply, and to what."""
    match event:
        case Replied() | ItemReplied():
            typed = event.typed or event.answer or event.reply
            to = f' to "{event.shown.words}"' if event.shown.words else ""
            return f'your reply "{typed}"{to}'
        case Noted():
            return f'your note "{event.text}"'
        case Found():
            return f"the verdict {event.words}"
        case Released():
            return f"the release by {event.name}"
        case Resumed():
            return "that it was taken up again"
        case CaseOver():
            return f"that the round goes on after {event.symptom}"
    return f"the new {'round' if isinstance(event, RoundOpened) else 'case'}"


#: Returns an event as JSON, on one line. Raises `UnicodeEncodeError` for halves of letters.
encode: Final = msgspec.json.Encoder().encode


@cache
def _decode() -> Callable[[str | bytes], Event]:
    # Made at the first event that is read: it looks at every type above, and a new case reads none.
    return msgspec.json.Decoder(Event).decode


class Damaged(Exception):
    """A text that is no event; the message says what is wrong with it."""


def written(event: Event) -> str:
    """Return an event as JSON, on one line, with marks in place of halves of letters."""
    try:
        return encode(event).decode()
    except UnicodeEncodeError:
        text = json.dumps(as_data(event), ensure_ascii=False)
        return text.encode("utf-8", "replace").decode()


def read(text: str | bytes) -> Event:
    """Return the event that a text holds. Raises `Damaged`."""
    try:
        event: Event = _decode()(text)
    except (msgspec.DecodeError, UnicodeError, RecursionError) as error:
        raise Damaged(f"{error}") from error
    return event


def as_data(event: Event) -> dict[str, Any]:
    """Return an event as plain data, with its kind under ``event``."""
    data: dict[str, Any] = msgspec.to_builtins(event)
    return data
