"""The handovers of the built-in worked cases, each walked and ended by a referral.

Somebody trained for batteries walks a case at the demo machine `dock`: confirms every caution,
answers what the worked case answers, and at any other question the passing answer or *not sure*. A
remedy is tried in vain; the case ends at the first finding at which service can be called, or where
nothing is left to check. Whoever walks notes down what a screen asks to note down.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

from diagnose.case.screens import CautionScreen, FindingScreen, ReadingScreen, RefusedScreen
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.commands.session import Desk, start
from diagnose.files import replies
from diagnose.files.library import built_in
from diagnose.paper.handover import handover
from diagnose.paper.handover_sheet import as_markdown
from strategies.memory_log import MemoryLog
from strategies.walker import visit_to

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.case.screens import CheckScreen, Screen
    from diagnose.files.tree import WorkedCase
    from diagnose.paper.handover_page import Handover
    from diagnose.study.ready import ReadyTree

MACHINE: Final = "dock"

#: A4 with margins of 2 cm leaves 257 mm, which is 60 lines of 10 on 12 points (12/72 inch).
ONE_PAGE: Final = 60


@dataclass
class Referral:
    """A face at which somebody walks one worked case; `referred` says at which finding it ended."""

    trees: ReadyLibrary
    case: WorkedCase
    tried: set[str] = field(default_factory=set)
    noted: set[str] = field(default_factory=set)
    replied: int = 0

    def show(self, screen: Screen, heading: object) -> None:
        """Look at what is only shown: nothing is refused."""
        assert not isinstance(screen, RefusedScreen), (self.case.name, screen)

    def ask(self, screen: Screen, heading: object) -> str:
        """Return what this person replies."""
        self.replied += 1
        assert self.replied < 500, (self.case.name, screen)
        to_note = getattr(screen, "note_down", None)
        if to_note and to_note not in self.noted:
            self.noted.add(to_note)
            return "note E3" if "code" in to_note else "note 2"
        if isinstance(screen, CautionScreen):
            return replies.DONE
        if isinstance(screen, FindingScreen):
            return self._at_finding(screen)
        return self._at_question(screen)  # type: ignore[arg-type]

    def _at_finding(self, screen: FindingScreen) -> str:
        if replies.REFER in screen.replies:
            return replies.REFER
        if screen.checked or replies.NOT_IT not in screen.replies:
            return replies.NOT_CURED
        return replies.NOT_IT

    def _at_question(self, screen: CheckScreen | ReadingScreen) -> str:
        given = self.case.answers.get(screen.step)
        if isinstance(screen, ReadingScreen):
            if isinstance(given, str) or given is None:
                return replies.UNSURE
            return " ".join(f"{name}={_of_all(value)}" for name, value in given.items())
        answers = [answer.title for answer in screen.answers]
        if given in answers:
            return f"{given}"
        tree: ReadyTree | None = self.trees(screen.symptom or "")
        assert tree is not None
        step = tree.plan.number[screen.step]
        passing = tree.plan.passing[step]
        return replies.UNSURE if passing is None else tree.steps[step].exits[passing].answer


def _of_all(value: str) -> str:
    """Return an input; where it lists six cells, twice: the demo machine has twelve."""
    return f"{value}, {value}" if value.count(",") == 5 else value


@dataclass(frozen=True)
class Walked:
    """A worked case that was walked to a referral, and its page."""

    symptom: str
    name: str
    page: Handover

    @property
    def lines(self) -> int:
        """How many lines the printed page takes."""
        return as_markdown(self.page).count("\n")


class Minutes:
    """A clock that goes on by a minute each time it is asked."""

    def __init__(self) -> None:
        self.at = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)

    def __call__(self) -> str:
        self.at += timedelta(minutes=1)
        return self.at.isoformat(timespec="seconds")


def referrals() -> Iterator[Walked]:
    """Walk every built-in worked case to its referral, and yield it with its page."""
    trees = ReadyLibrary(built_in())
    trees.machine(MACHINE)
    visit = visit_to(trees, role="battery-trained", site=trees.content.site)
    for symptom in trees.content.symptoms:
        for case in trees.require(symptom).tree.worked_cases:
            log = MemoryLog(now=Minutes())
            start(Desk(visit=visit, face=Referral(trees, case), log=log, name="Ana"), symptom)
            (record,) = log.cases()
            assert record.outcome == "referred", (symptom, case.name)
            page = handover(record, log.events(record))
            yield Walked(symptom, case.name, page)
