"""Walking a case at random: every reply there is, left and taken up again, the log as its JSON."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from diagnose.case.screens import as_data
from diagnose.log.events import Event, encode, read
from diagnose.log.record import opened, replied, resumed
from diagnose.log.replay import replay
from strategies.observer import ROLES

if TYPE_CHECKING:
    from random import Random

    from diagnose.case.state import State, Turn
    from strategies.observer import Observer
    from strategies.walker import Walker
    from strategies.written import Read

NONSENSE = (
    "",
    "  ",
    "99",
    "0",
    "-1",
    "dnoe",
    "q0",
    "nan",
    "1e999",
    "\x1b[2J",
    "ANSWER" * 400,
    "why",
)


def as_logged(event: Event) -> Event:
    """Return an event as a log gives it back."""
    return read(encode(event))


@dataclass
class Case:
    """One case at random: the walk, what was logged, and whoever watches."""

    library: Read
    symptom: str
    random: Random
    role: str = "operator"
    observer: Observer | None = None
    events: list[Event] = field(default_factory=list)
    replies: int = 0
    idle: int = 0
    backs: int = 0
    resumes: int = 0

    def __post_init__(self) -> None:
        self.walk: Walker = self.library.walk(self.role)
        self.state: State
        self.state, trail = self.walk.opened(self.symptom)
        self.events.append(opened(self.walk.visit, self.state, trail))

    @property
    def ended(self) -> bool:
        return self.state.outcome is not None

    def show(self) -> dict[str, Any]:
        """Show the screen to the observer, and return it as data."""
        screen: dict[str, Any] = as_data(self.walk.screen(self.state))
        if self.observer is not None:
            self.observer.see(screen)
        return screen

    def say(self, text: str) -> Turn:
        """Reply, and keep what a log would keep."""
        turn = self.walk.reply(self.state, text)
        self.replies += 1
        if self.observer is not None:
            self.observer.reply(text)
            for interlude in turn.interludes:
                self.observer.see(as_data(interlude))
        if turn.exchange is not None:
            self.events.append(replied(self.walk.visit, turn, {self.symptom}))
        self.state = turn.state
        return turn

    def resume(self, role: str | None = None, library: Read | None = None) -> None:
        """Take the case up again from its log, as another process would."""
        self.resumes += 1
        self.role = role or self.role
        self.library = library or self.library
        self.walk = self.library.walk(self.role)
        visit = self.walk.visit
        told = replay(visit, self.symptom, [as_logged(event) for event in self.events])
        self.state = told.state
        counts = {"fits": told.fits, "misfits": told.misfits}
        self.events.append(resumed(visit, told.state, told.trail, {self.symptom}, **counts))
        if self.observer is not None:
            self.observer.resumed(self.role)

    def step(self, screen: dict[str, Any], ending: float = 0.08) -> None:
        """Reply at random to what is shown; `ending` is how gladly a case is ended."""
        random = self.random
        text = self._reply(screen, ending)
        if text == "leave" and self.resumes < 3 and random.random() < 0.9:
            self.say(text)
            self.show()
            self.resume(random.choice(ROLES) if random.random() < 0.2 else None)
            return
        before = self.state
        self.say(text)
        if text == "back" and self.state is not before:
            self.backs += 1
        elif self.state is before:
            self.idle += 1

    def _reply(self, screen: dict[str, Any], ending: float) -> str:
        random = self.random
        chance = random.random()
        if chance < 0.04 and self.idle < 6:
            return random.choice(NONSENSE)
        if chance < 0.07:
            return "leave"
        if chance < 0.072:
            return "danger"
        if chance < 0.15 and self.backs < 6:
            return "back"
        kind = screen["screen"]
        if kind == "caution":
            return "done" if random.random() < 0.9 else "cannot"
        if kind == "finding":
            if random.random() < ending:
                return "cured" if "cured" in screen["replies"] else "refer"
            if "cured" in screen["replies"]:
                return random.choice(["not cured", "not cured", "cannot"])
            return "keep looking"
        if random.random() < 0.3:
            return random.choice(["unsure", "unsure", "cannot"])
        if kind == "reading":
            return f"{random.randint(-10, 10)}"
        number = random.randrange(len(screen["answers"]))
        return f"{number + 1}" if random.random() < 0.5 else screen["answers"][number]["title"]
