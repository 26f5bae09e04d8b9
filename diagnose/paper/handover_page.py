"""What stands on a handover, as data. Times are those of the log, ISO 8601 in UTC."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Mapping

    from diagnose.case.screens import Cause
    from diagnose.files.site import Contact
    from diagnose.log.account import ConfirmedCaution
    from diagnose.log.events import FigureTaken
    from diagnose.log.summary import MachineState


class Answer(Struct, frozen=True, kw_only=True):
    """One line of the story: a check, a reading, or a symptom that was entered or left.

    `kind`: check, reading, card (answered by the machine card), entered, returned (from there) or
    no way (a doorway to what was entered before, or cannot be opened). `answer` is
    None for *not sure*. A reading has its `figure`, its `inputs` as typed and in SI (`si`).
    """

    kind: str
    at: str
    symptom: str
    step: str
    words: str
    answer: str | None
    do: str = ""
    typed: str = ""
    figure: FigureTaken | None = None
    inputs: Mapping[str, str] | None = None
    si: tuple[tuple[str, float, str], ...] = ()


class TriedRemedy(Struct, frozen=True, kw_only=True):
    """A remedy that was tried; `result` is cured or not cured."""

    at: str
    symptom: str
    step: str
    finding: str
    remedy: str
    result: str


class PassedOver(Struct, frozen=True, kw_only=True):
    """A step that was passed over, or a finding set aside.

    `why`: cannot, by (`reason` is who may), caution (`reason` names what was refused), card
    (`reason` says what is missing), tag (a release that could not be confirmed), keep looking, or
    not it (somebody looked, and it is not the cause).
    """

    at: str
    symptom: str
    step: str
    words: str
    why: str
    reason: str


class Likely(Struct, frozen=True, kw_only=True):
    """The likeliest causes of one symptom, the likeliest first.

    `left`: nothing was left behind its doorway, and the case went back to the symptom before.
    """

    symptom: str
    title: str
    left: bool
    causes: tuple[Cause, ...]


class Request(Struct, frozen=True, kw_only=True):
    """A cause that is service's, and what service is asked to do.

    `met`: the answers led to it; `stopped`: the case was referred or left at it.
    """

    symptom: str
    step: str
    finding: str
    probability: float | None
    met: bool
    stopped: bool
    ask_service: str
    leave_safe: str
    hazards: tuple[str, ...]
    parts: tuple[str, ...]


class TakenBack(Struct, frozen=True, kw_only=True):
    """An answer that *back* withdrew."""

    at: str
    symptom: str
    step: str
    words: str
    answer: str


class Report(Struct, frozen=True, kw_only=True):
    """A danger that was reported: when, what the screen said then, and the id of what it was."""

    at: str
    words: str
    kind: str = ""


class NotRight(Struct, frozen=True, kw_only=True):
    """An item that a round found not right: when, its action, and what right would look like."""

    at: str
    do: str
    look_for: str


class Person(Struct, frozen=True, kw_only=True):
    """Somebody who walked the case, from when on; `name` is empty where not given."""

    at: str
    role: str
    name: str = ""

    @property
    def words(self) -> str:
        """Name and role, or the role alone."""
        return ", ".join(word for word in (self.name, self.role) if word)


class Note(Struct, frozen=True, kw_only=True):
    """What was written down: when, what was asked for (empty where nobody asked), the words."""

    at: str
    what: str
    text: str

    @property
    def words(self) -> str:
        """What was written down, behind what it is."""
        return f"{self.what}: {self.text}" if self.what else self.text


class Verdict(Struct, frozen=True, kw_only=True):
    """What service reported: when, the finding's id (empty: no finding is it), and its words."""

    at: str
    finding: str
    words: str


class Handover(Struct, frozen=True, kw_only=True):
    """A handover. `machine` are the lines of the machine card; None where none was used.

    `site` is the site's name, `call` its contacts by what they are for. `people` walked the case;
    `danger` is when and at what it was told; `hours` is what the hour meter was noted to show,
    `codes` are the fault codes as noted, `notes` all that was noted; `tags` are the cautions that
    could not be released (somebody else's tag); `taken_back` are answers that do not count any
    more; `verdict` is what service reported; `findings` are the ids that a verdict can name, the
    likeliest first; `closing` the probabilities at the end. `begun_in` is the round that began the
    case; `cases`, of a round, those that it began: name, symptom, outcome. `not_right` are the
    items that the round found not right and began no case for.
    """

    case: str
    symptom: str
    title: str
    words: str
    outcome: str
    opened: str
    changed: str
    zone: str = "UTC"
    machine: Mapping[str, Any] | None
    site: str = ""
    call: Mapping[str, Contact] = {}
    people: tuple[Person, ...]
    standing: MachineState
    danger: Report | None
    hours: Note | None = None
    codes: tuple[Note, ...] = ()
    notes: tuple[Note, ...] = ()
    cautions: tuple[ConfirmedCaution, ...]
    tags: tuple[PassedOver, ...]
    likely: tuple[Likely, ...]
    parts: tuple[str, ...]
    story: tuple[Answer, ...]
    remedies: tuple[TriedRemedy, ...]
    passed: tuple[PassedOver, ...]
    asked: tuple[Request, ...]
    taken_back: tuple[TakenBack, ...]
    verdict: Verdict | None
    findings: tuple[str, ...]
    closing: Mapping[str, float] = {}
    begun_in: str | None = None
    cases: tuple[tuple[str, str, str], ...] = ()
    not_right: tuple[NotRight, ...] = ()
