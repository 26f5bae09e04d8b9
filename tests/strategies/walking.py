"""Walking at random, a case or a round: every reply there is, left and taken up again."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from diagnose.case.screens import as_data
from diagnose.log.events import Event, Replied, encode, read
from diagnose.log.record import opened, replied, resumed
from diagnose.log.replay import replay
from diagnose.measure.registry import MEASUREMENTS
from strategies.observer import ROLES, Observer

if TYPE_CHECKING:
    from random import Random

    from diagnose.case.screens import Screen
    from diagnose.case.state import State, Turn
    from diagnose.case.visit import Visit
    from strategies.observer import Files
    from strategies.rounds import Told
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
    "cannot guard-z",
    "cannot 0",
    "why",
    "note",
    "note  ",
    f"note {'long ' * 101}",
)
#: Notes of words that would be replies, were they none.
NOTES = (
    "note done",
    "Note  cannot",
    "note cured",
    "note 1",
    "note back",
    "note danger",
    "note 2 mm",
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
    alarms: int = 0
    said: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.walk: Walker = self.library.walk(self.role)
        self._of: State | None = None
        self._by: Visit | None = None
        self._seen: Screen | None = None
        self.state: State
        self.state, trail = self.walk.opened(self.symptom)
        self.events.append(opened(self.walk.visit, self.state, trail))

    @property
    def ended(self) -> bool:
        return self.state.outcome is not None

    @property
    def told(self) -> list[tuple[str, ...]]:
        """What tells this case from another on the same library."""
        return [_told(event) for event in self.events]

    def show(self) -> dict[str, Any]:
        """Show the screen to the observer, and return it as data."""
        return self._shown(self._screen())

    def _screen(self) -> Screen:
        """Return the screen of the state, which is worked out once."""
        if self._seen is None or self._of is not self.state or self._by is not self.walk.visit:
            self._of, self._by = self.state, self.walk.visit
            self._seen = self.walk.screen(self.state)
        return self._seen

    def _shown(self, screen: Screen) -> dict[str, Any]:
        data: dict[str, Any] = as_data(screen)
        self.said |= ids_of(data)
        if self.observer is not None:
            self.observer.see(data)
        return data

    def say(self, text: str) -> Turn:
        """Reply, and keep what a log would keep."""
        turn = self.walk.reply(self.state, text, self._screen())
        self.replies += 1
        if self.observer is not None:
            self.observer.reply(text)
        for interlude in turn.interludes:
            self._shown(interlude)
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
        alarm = screen["screen"] == "danger"
        if alarm and killed(random, self.resumes):
            self.resume()
            return
        text = random_reply(random, screen, ending, idle=self.idle, backs=self.backs)
        self.alarms += text == "danger"
        if text == "leave" and not alarm and self.resumes < 3 and random.random() < 0.9:
            self.say(text)
            self.show()
            self.resume(random.choice(ROLES) if random.random() < 0.2 else None)
            return
        before = self.state
        self.say(text)
        if text == "back" and not alarm and self.state is not before:
            self.backs += 1
        elif self.state is before or text in NOTES:
            self.idle += 1


def _told(event: Event) -> tuple[str, ...]:
    """Return what tells one event of a case from another."""
    if isinstance(event, Replied):
        return (event.symptom, event.step, event.reply, event.answer, *event.refused)
    return (getattr(event, "text", ""),)


def watched(files: Files, library: Read, random: Random) -> Case:
    """Walk one case to its end under an observer's eyes, and return it. Raises `Unsafe`."""
    role = random.choice(ROLES)
    case = Case(
        library=library,
        symptom=random.choice([name for name in library.trees if library.ready(name)]),
        random=random,
        role=role,
        observer=Observer(files, role),
    )
    # A reply that moves the walk closes a step for good, but for those that *back* takes back.
    # Between two moves stand at most a release and a confirmation of every caution.
    steps, cautions = len(files.steps), len(files.guards)
    screen = case.show()
    while not case.ended:
        case.step(screen)
        screen = case.show()
        turns = steps + 2 * case.backs + 2 * case.resumes + 1
        # A danger, and the mistake that it was, move nothing.
        assert case.replies <= turns * (2 * cautions + 1) + case.idle + 2 * case.alarms
    assert case.state.outcome in ("cured", "referred", "left")
    return case


@dataclass
class RandomRound:
    """One round at random, the cases that it begins included, and whoever watches."""

    told: Told
    random: Random
    observer: Observer
    idle: int = 0
    backs: int = 0
    resumes: int = 0
    said: set[str] = field(default_factory=set)

    def walk(self, ending: float = 0.2) -> None:
        """Walk it until it is over; `ending` is how gladly its cases are ended."""
        while True:
            screen = self._shown(self.told.screen)
            if screen["screen"] == "danger" and killed(self.random, self.resumes):
                self._resume()
            elif screen["screen"] != "end":
                self._say(screen, ending)
            elif screen["outcome"] == "left" and self.resumes < 2:
                self._resume()
            else:
                return

    def _resume(self) -> None:
        self.resumes += 1
        assert self.told.resume().misfits == 0
        self.observer.resumed(self.observer.role)

    def _say(self, screen: dict[str, Any], ending: float) -> None:
        text = random_reply(self.random, screen, ending, idle=self.idle, backs=self.backs)
        self.observer.reply(text)
        turn = self.told.say(text)
        self.backs += text == "back" and screen["screen"] != "danger"
        self.idle += turn.exchange is None or text in NOTES
        for interlude in turn.interludes:
            self._shown(interlude)

    def _shown(self, screen: Screen) -> dict[str, Any]:
        data: dict[str, Any] = as_data(screen)
        self.said |= ids_of(data)
        self.observer.see(data)
        return data


def ids_of(screen: dict[str, Any]) -> set[str]:
    """Return the ids of the notes of a screen, or of what was wrong with a reply."""
    if screen["screen"] == "refused":
        return {f"refused: {screen['message']['id']}"}
    return {note["id"] for note in screen["notes"]}


def killed(random: Random, resumes: int) -> bool:
    """Whether the program is ended from outside before it is said which danger it was."""
    return resumes < 2 and random.random() < 0.15


def random_reply(
    random: Random, screen: dict[str, Any], ending: float, *, idle: int, backs: int
) -> str:
    """Return a reply to a screen, now and then one that means nothing or turns back."""
    if screen["screen"] == "danger":
        return _at_danger(random, screen["answers"], idle)
    chance = random.random()
    if chance < 0.06 and idle < 6:
        return random.choice(random.choice((NONSENSE, NOTES)))
    if chance < 0.08:
        return "leave"
    if chance < 0.1:
        return "danger"
    if chance < 0.17 and backs < 6:
        return "back"
    return _onward(random, screen, ending, idle)


def _at_danger(random: Random, answers: list[str], idle: int) -> str:
    chance = random.random()
    if chance < 0.15 and idle < 6:
        return random.choice([*NONSENSE, "danger", "note it smells", "done"])
    if chance < 0.2:
        return "leave"
    if chance < 0.6:
        return random.choice(["mistake", "back", "6"])
    number = random.randrange(len(answers))
    return random.choice([answers[number], f"{number + 1}"])


def _onward(random: Random, screen: dict[str, Any], ending: float, idle: int) -> str:
    kind = screen["screen"]
    if kind == "caution":
        return "done" if random.random() < 0.85 else _cannot(random, screen)
    if kind == "item":
        return random.choice(["done", "done", "not right", "not right", "not now"])
    if kind == "finding":
        return _at_finding(random, screen["replies"], ending)
    if random.random() < 0.3:
        return random.choice(["unsure", "unsure", "cannot"])
    if kind == "reading":
        return _typed(random, screen)
    listed = [
        word.partition(": ")[0]
        for line in screen.get("card", ())
        if line["line"].startswith("charger")
        for word in line["value"].split("; ")
    ]
    if listed and idle < 6:
        return str(random.choice(listed))
    number = random.randrange(len(screen["answers"]))
    return f"{number + 1}" if random.random() < 0.5 else str(screen["answers"][number]["title"])


def _cannot(random: Random, screen: dict[str, Any]) -> str:
    """Return a refusal of all that stands on a caution's screen, or of one of them."""
    number = random.randrange(len(screen["cautions"]))
    shown = screen["cautions"][number]
    named = [
        shown["id"],
        shown["id"],
        shown["title"].upper(),
        f"{number + 1}",
        *shown["includes"] * 3,
    ]
    return random.choice(["cannot", f"cannot {random.choice(named)}", f"cannot {shown['id']}"])


def _at_finding(random: Random, replies: list[str], ending: float) -> str:
    operators = "cured" in replies
    if random.random() < ending:
        return "cured" if operators else "refer"
    looked = ["not it"] if "not it" in replies else []
    return random.choice(
        ["not cured", "cannot", *looked] if operators else ["keep looking", *looked]
    )


def _typed(random: Random, screen: dict[str, Any]) -> str:
    """Return what was read; now and then an input is left to the card, which may be silent."""
    if screen["read"] == "value":
        return f"{random.randint(-10, 10)}"
    examples = {need.name: need.example for need in MEASUREMENTS[screen["read"]].needs}
    asked = [need["name"] for need in screen["needs"]]
    if len(asked) > 1 and random.random() < 0.2:
        asked.remove(random.choice(asked))
    return " ".join(f"{name}={_scaled(examples[name], random.uniform(0.6, 1.4))}" for name in asked)


def _scaled(example: str, scale: float) -> str:
    return re.sub(r"\d+(\.\d+)?", lambda number: f"{float(number[0]) * scale:.3g}", example)
