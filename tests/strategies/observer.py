"""Somebody who watches over the operator's shoulder, knowing only the files and the screens.

Written apart from the walks of cases and of rounds: nothing of `diagnose` is imported. It reads the
YAML for itself and keeps its own account of what is in force (what was confirmed, what was
released, what a trial or a running machine ended), of what was refused, of what is closed, and of
what was answered: by the person, by the same look elsewhere, by the machine's card. It raises
`Unsafe` as soon as a screen shows a word that must not be shown yet, or not on this machine, and
where an answer does not lead where the file says.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import yaml

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

ROLES = ("operator", "battery-trained", "service")
WORDS_OF_A_STEP = ("do", "ask", "look_for", "tool", "note_down", "remedy", "leave_safe", "finding")
STEP_SCREENS = ("check", "reading", "finding", "item")
ASIDE = ("refused", "why")
#: What takes a danger back; the last of its answers by number too.
MISTAKEN = ("mistake", "back", "6")
#: Replies that end it, or end it for now.
ENDING = ("leave", "cured", "refer")
#: Replies to a check or a reading that say nothing of what was seen.
UNSEEN = ("unsure", "cannot", "back", "danger", *ENDING)
#: The first word of a note.
NOTE = "note "

#: The gravest first.
SIGNALS = ("DANGER", "WARNING", "CAUTION", "NOTICE")

#: A step of a symptom, or an item of a round.
Step = tuple[str, str]


class Unsafe(AssertionError):
    """Something was shown that must not be shown, or the account does not tally."""


class Files:
    """What the files of a library say, read without the program's reader."""

    def __init__(
        self,
        trees: Mapping[str, str],
        cautions: str,
        rounds: Mapping[str, str] | None = None,
        machine: Machine | None = None,
    ) -> None:
        self.machine = machine or Machine()
        known = _read(cautions)
        self.guards: dict[str, Any] = known["cautions"]
        self.service_only = {
            name for name, hazard in known["hazards"].items() if hazard.get("service_only") is True
        }
        self.place = {name: number for number, name in enumerate(self.guards)}
        self.lapsing = {n for n, c in self.guards.items() if c["lapses"] == "when energised"}
        self.includes = {name: self._closure(name) for name in self.guards}
        # In the first format every line had its own confirmation.
        usual = "each" if int(known["format"]) == 1 else "together"
        self.by_line = {
            n for n, c in self.guards.items() if c.get("confirm_lines", usual) == "each"
        }
        over = {h: name for name, c in self.guards.items() for h in c.get("covers", ())}
        self.steps: dict[Step, dict[str, Any]] = {}
        self.owners: dict[str, set[Step]] = {}
        self.needs: dict[Step, set[str]] = {}
        # What is not for this machine, and what it need not be asked, with the answer.
        self.elsewhere: set[Step | str] = set()
        self.given: dict[Step, str] = {}
        # Steps that look at the same: the word by which they all go.
        self.look: dict[Step, Step] = {}
        for symptom, text in trees.items():
            tree = _read(text)
            self._take_in(symptom, tree["steps"], over)
            if not self.machine.fits(tree):
                self.elsewhere.add(symptom)
            self._given(symptom, tree["steps"])
        for round_, text in (rounds or {}).items():
            self._take_in(round_, _read(text)["items"], over)
        # What a caution says may be a tool or a cause elsewhere: gloves, or the brake is on.
        for word in (*self.guards, *(leaf for _, leaf in _leaves(known))):
            self.owners.pop(word, None)

    def _take_in(self, file: str, steps: dict[str, Any], over: dict[str, str]) -> None:
        for name, step in steps.items():
            key = (file, name)
            assert key not in self.steps
            self.steps[key] = step
            if not self.machine.fits(step):
                self.elsewhere.add(key)
            words = [step[word] for word in WORDS_OF_A_STEP if word in step]
            # Answers such as Yes are anybody's words.
            words += [word for word, _ in answers_of(step) if word.startswith(f"{file} ")]
            for word in words:
                self.owners.setdefault(word, set()).add(key)
            needed = set(step.get("cautions", ()))
            if step.get("who") != "service" and "continue_with" not in step:
                needed |= {over[hazard] for hazard in step.get("hazards", ()) if hazard in over}
            # What is included is part of what is needed: in force or not, it lapses by itself.
            self.needs[key] = set().union(*(self.includes[name] for name in needed))

    def _given(self, symptom: str, steps: dict[str, dict[str, Any]]) -> None:
        """Note what the card says of a tree's steps: nothing to be looked at, or the answer."""
        for name, step in steps.items():
            if "finding" not in step:
                self.look[symptom, name] = symptom, step.get("same_as", name)
        # What the card says of a look it says wherever that is had, if not here where it is asked.
        lines = [
            (self.look[symptom, name], step["from_card"])
            for name, step in steps.items()
            if "from_card" in step
        ]
        said = {look: self.machine.says(line) for look, line in lines}
        for name, step in steps.items():
            here = symptom, name
            if here in self.elsewhere:
                self.given[here] = passing_of(steps, step)
            elif (told := said.get(self.look.get(here, here))) is not None:
                for word in self.offered(here):
                    if word.casefold() == told.casefold():
                        self.given[here] = word

    def offered(self, here: Step) -> list[str]:
        """Return the answers that this machine can give at a step, in the order of the file."""
        ways = self.steps[here].get("answers")
        if ways is None:
            return [word for word, _ in answers_of(self.steps[here])]
        return [word for word, way in ways.items() if self.machine.fits(way)]

    def shared(self, here: Step, word: str) -> dict[Step, str]:
        """Return what an answer tells: that of the step, and of all that look at the same.

        What is not for this machine is not looked at.
        """
        alike = [step for step in self.look if self.look[step] == self.look[here]]
        return {one: word for one in alike if one == here or one not in self.elsewhere}

    def led(self, here: Step, answers: Mapping[Step, str]) -> Step:
        """Return where the answer of a step leads, past all that has been answered."""
        while here in answers:
            here = here[0], dict(answers_of(self.steps[here]))[answers[here]]
        return here

    def _closure(self, name: str) -> set[str]:
        return {name}.union(*(self._closure(n) for n in self.guards[name].get("includes", ())))


class Machine:
    """What is written of a machine: its card first, then its kind, then the site."""

    def __init__(self, card: str | None = None, kind: str | None = None, site: str | None = None):
        place = _read(site) if site is not None else {}
        own = {"site": {name: place[name] for name in ("name", "altitude") if name in place}}
        texts = [_read(text) for text in (card, kind) if text is not None]
        self.files: list[Any] = [*texts, own] if card is not None else []

    def says(self, line: str) -> str | None:
        """Return what stands at a dotted path, None where nothing does."""
        for said in self.files:
            there: Any = said
            for part in line.split("."):
                there = there.get(part) if isinstance(there, dict) else None
            if there is not None:
                return str(there)
        return None

    def fits(self, what: Any) -> bool:
        """Return whether a tree, a step, an item or an answer is for this machine."""
        wanted = what.get("applies_to", {}) if isinstance(what, dict) else {}
        return all(
            (said := self.says(line)) is None or said.casefold() in [w.casefold() for w in words]
            for line, words in wanted.items()
        )


def files_in(written: Any) -> Files:
    """Return what the texts of a library say."""
    machine = Machine(written.card, next(iter(written.kinds.values()), None), written.site)
    return Files(written.trees, written.cautions, written.rounds, machine)


def files_of(folder: Path) -> Files:
    """Return what a library's folder says."""
    trees = {path.stem: path.read_text() for path in folder.glob("*.yaml")}
    cautions = trees.pop("cautions")
    trees.pop("site", None)
    rounds = {path.stem: path.read_text() for path in (folder / "rounds").glob("*.yaml")}
    return Files(trees, cautions, rounds)


def begun_by(item: dict[str, Any]) -> str:
    """Return the symptom that an item begins, or nothing; what was seen may stand with it."""
    starts = item.get("starts", "")
    return str(starts["symptom"] if isinstance(starts, dict) else starts)


@dataclass
class Route:
    """One case or one round: what is closed in it, and what *back* may withdraw.

    `answers` are known, given by the card or seen. Each move stands with what was refused, what was
    closed and what was answered before it.
    """

    closed: frozenset[Step] = frozenset()
    answers: dict[Step, str] = field(default_factory=dict)
    moves: list[tuple[frozenset[str], frozenset[Step], dict[Step, str]]] = field(
        default_factory=list
    )


@dataclass
class Observer:
    """What can be known of a case, or of a round, from its screens and replies alone.

    Whoever comes `late` does not know which replies *back* may withdraw.
    """

    files: Files
    role: str = "operator"
    late: bool = False
    of_round: bool = False
    in_force: set[str] = field(default_factory=set)
    refused: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        # A case that a round begins is a route inside the round's, under the same cautions.
        self.routes = [Route(answers=dict(self.files.given))]
        self.taken: set[str] = set()
        self.with_service: set[str] = set()
        self.begun = ""
        self.screen: dict[str, Any] = {}
        self.pending: str | None = None
        # A danger was reported, and nobody said yet what it is.
        self.alarm = False
        # What a reading's figure was, and the step to which the last answer leads.
        self.band = ""
        self.due: Step | None = None
        # Something was passed over without a word, of which it is not known where it is.
        self.blind = self.late
        self._settle()

    @property
    def route(self) -> Route:
        """The route that is being walked."""
        return self.routes[-1]

    # What happens

    def reply(self, text: str) -> None:
        """Note what was typed; it counts once the next screen shows that it was understood."""
        self.typed = text
        self.pending = " ".join(text.casefold().split())

    def resumed(self, role: str) -> None:
        """Note that it was left and taken up again: nothing is in force any more."""
        # What was passed over for another, or for what was refused, is for this one, and stays over.
        self.blind |= role != self.role or bool(self.refused)
        self.role = role
        self.in_force, self.taken, self.refused = set(), set(), frozenset()
        for route in self.routes:
            route.moves = [(frozenset(), *before) for _, *before in route.moves]
        self.pending, self.screen, self.due = None, {}, None
        self._settle()

    def see(self, screen: dict[str, Any]) -> None:
        """Look at a screen."""
        kind = screen["screen"]
        if kind in ASIDE:
            if kind == "refused" and _is_note(self.typed) and not self.alarm:
                self._unsafe(f"a note is refused: {self.typed!r}")
            self.pending = None
        elif kind == "danger":
            self._danger(screen)
        elif kind == "figure":
            self.band = screen["band"]
        else:
            word, before, self.pending = self._meant(screen), self.screen, None
            if word == "danger":
                self.due = None
                self._settle()
            elif word is not None:
                self._happened(word)
            if self.of_round and kind != "end":
                self._in_and_out(word, before, screen)
            self.screen = screen
            self._tallies(screen)
        here = _here(screen)
        self._whose_words(here, screen)
        if kind == "caution":
            self._caution(screen)
        elif kind in STEP_SCREENS:
            assert here is not None
            self._step(here, screen)

    def _danger(self, screen: dict[str, Any]) -> None:
        """Look at a danger's screen: it comes at once, and says nothing of any step."""
        if self.pending != "danger" and not self.alarm:
            self._unsafe(f"a danger that nobody reported, after {self.pending!r}")
        self.alarm, self.pending = True, None
        if screen["doorway"] is not None or screen["notes"]:
            self._unsafe("more than the danger on its screen")
        self._said_in_force(screen)

    def _meant(self, screen: dict[str, Any]) -> str | None:
        """Return the reply that a screen shows to be understood; None where it moved nothing."""
        word, alarm, self.alarm = self.pending, self.alarm, False
        if not alarm:
            if word == "danger":
                self._unsafe(f"a danger is not asked about: {screen['screen']}")
            if word is not None and _is_note(self.typed):
                self._noted(screen)
                return None
            return word
        if word in MISTAKEN:
            if self.screen and screen != self.screen:
                self._unsafe(f"{screen} after a mistake, not {self.screen}")
            return None
        if (screen["screen"], screen.get("outcome")) != ("end", "referred"):
            self._unsafe(f"{screen['screen']} after a danger: {word!r}")
        return "danger"

    def _noted(self, screen: dict[str, Any]) -> None:
        """Look whether a note left all as it was, and is there."""
        note = {"id": "noted", "into": [["text", " ".join(self.typed.split()[1:])]]}
        others = list(screen["notes"])
        if note not in others:
            self._unsafe(f"{note} is not among the notes: {others}")
        # The last one: the same may have been noted before.
        del others[len(others) - 1 - others[::-1].index(note)]
        if self.screen and screen | {"notes": others} != self.screen:
            self._unsafe(f"{screen} after a note, not {self.screen}")

    def _in_and_out(self, word: str | None, before: dict[str, Any], screen: dict[str, Any]) -> None:
        """Follow a round into a case that it begins, and out of it again."""
        inside, within = len(self.routes) > 1, screen["symptom"] is not None
        begins = word == "not right" and before["screen"] == "item"
        if begins and within:
            self.begun = begun_by(self.files.steps[_here(before)])
            if not self.begun or self.begun in self.with_service:
                self._unsafe(f"a case of {self.begun!r} begins, which is none or with service")
            self.routes.append(self._begun(before))
        elif begins and any(note["id"] == "round-after-referred" for note in screen["notes"]):
            # There was nothing in it to be shown.
            self._case_over(begun_by(self.files.steps[_here(before)]), "refer")
        elif inside and not within:
            self.routes.pop()
            self._case_over(self.begun, word)
        elif within and not inside:
            self._unsafe("a case that nobody began")

    def _begun(self, before: dict[str, Any]) -> Route:
        """Return the route of a case that an item begins, with what was seen already."""
        starts = self.files.steps[_here(before)].get("starts")
        answers = dict(self.files.given)
        seen = starts.get("answers", {}) if isinstance(starts, dict) else {}
        for step, word in seen.items():
            here = self.begun, step
            if here not in answers and word in self.files.offered(here):
                answers |= self.files.shared(here, word)
        return Route(answers=answers, closed=frozenset(answers.keys() - self.files.given.keys()))

    def _case_over(self, symptom: str, word: str | None) -> None:
        self.route.moves.clear()
        if word != "cured":
            self.with_service.add(symptom)

    # What must hold

    def _whose_words(self, here: Step | None, screen: dict[str, Any]) -> None:
        for place, leaf in _leaves(screen):
            owners = self.files.owners.get(leaf)
            if owners is None or here in owners:
                continue
            line = all(self.files.steps[owner].get("finding") == leaf for owner in owners)
            if not (line and place in ("ranking", "likelier", "doorway")):
                shown = here or screen["screen"]
                self._unsafe(f"words of {owners} on a screen of {shown}: {leaf!r}")

    def _said_in_force(self, screen: dict[str, Any]) -> None:
        said = {named["id"] for named in screen["in_force"]}
        if said != self.in_force:
            self._unsafe(f"said to be in force: {said}, by our account: {self.in_force}")

    def _tallies(self, screen: dict[str, Any]) -> None:
        self._said_in_force(screen)
        if self.late:
            return
        way_back = bool(self.route.moves) or len(self.routes) > 1
        if screen["screen"] != "end" and ("back" in screen["replies"]) != way_back:
            self._unsafe(f"back is offered or not against {len(self.route.moves)} moves")
        if screen["screen"] == "end" and self.due is not None:
            self._unsafe(f"it ends, and an answer leads to {self.due}")
        if len(self.route.moves) > len(self.files.steps):
            self._unsafe("more moves than steps: one was asked twice")

    def _caution(self, screen: dict[str, Any]) -> None:
        names = [shown["id"] for shown in screen["cautions"]]
        if (screen["id"], screen["title"]) != (names[0], screen["cautions"][0]["title"]):
            self._unsafe(f"the screen is {screen['id']}'s, and {names[0]} stands on it first")
        if screen["phase"] == "release":
            self._release(screen, names)
            return
        by_line, signals = set(), []
        held = set(self.in_force)
        for shown in screen["cautions"]:
            fresh = self.files.includes[shown["id"]] - held
            self._take(shown, fresh, held)
            if len(names) > 1 and fresh & self.files.by_line:
                self._unsafe(f"{shown['id']} shares a screen with {names}")
            by_line |= (fresh & self.files.by_line) - self.taken
            signals += [self.files.guards[name]["signal"] for name in fresh]
            held |= fresh
        if screen["lines"] != ("each" if by_line else "together"):
            self._unsafe(f"{names}: the lines are confirmed {screen['lines']}")
        if screen["signal"] != min(signals, key=SIGNALS.index):
            self._unsafe(f"{names}: {screen['signal']} stands over {signals}")

    def _take(self, shown: dict[str, Any], fresh: set[str], held: set[str]) -> None:
        """Look at one caution that is to be taken, with `fresh` coming into force."""
        name = shown["id"]
        if fresh & self.refused:
            self._unsafe(f"{name} is asked for again after {set(self.refused)} was refused")
        inner = sorted(fresh - {name}, key=self.files.place.__getitem__)
        wanted = [line for other in (*inner, name) for line in self.files.guards[other]["confirm"]]
        if shown["again"] != (name in self.taken):
            self._unsafe(f"{name} for the second time, or not")
        if name in held:
            self._unsafe(f"{name} at the wrong time to take")
        if list(shown["confirm"]) != wanted:
            self._unsafe(f"{name} shows {shown['confirm']}, not {wanted}")

    def _release(self, screen: dict[str, Any], names: list[str]) -> None:
        (shown,) = screen["cautions"]
        if names[0] not in self.in_force & self.files.lapsing:
            self._unsafe(f"{names} at the wrong time to release")
        wanted = self.files.guards[names[0]]["release"]
        if (list(shown["confirm"]), screen["lines"]) != (wanted, "together"):
            self._unsafe(f"{names} shows {shown['confirm']}, not {wanted}")

    def _step(self, here: Step, screen: dict[str, Any]) -> None:
        step = self.files.steps[here]
        if here in self.files.elsewhere or here[0] in self.files.elsewhere:
            self._unsafe(f"{here} is not for this machine")
        if self.due not in (None, here):
            self._unsafe(f"{here} is shown, and the answer leads to {self.due}")
        missing = self.files.needs[here] - self.in_force
        if missing:
            self._unsafe(f"{here} is shown without {missing} in force")
        runs = step.get("energises", False)
        if runs and self.in_force & self.files.lapsing:
            self._unsafe(f"{here} runs the machine under {self.in_force & self.files.lapsing}")
        if runs and len(self.routes) == 1 and self.with_service:
            self._unsafe(f"{here} runs a machine that waits for service: {self.with_service}")
        if here in self.route.closed or here in self.route.answers:
            self._unsafe(f"{here} is shown again, closed as it is")
        if screen["screen"] == "check":
            answers = [one["title"] for one in screen["answers"]]
            if answers != self.files.offered(here):
                self._unsafe(f"{here} has {self.files.offered(here)} here, not {answers}")
        expected = [("release", [name]) for name in self._held_back(self.base)] if runs else []
        expected += [("take", names) for names in self._screens(here)]
        if self.since != expected:
            self._unsafe(f"before {here}: {self.since}, not {expected}")
        self._hands(here, screen)

    def _hands(self, here: Step, screen: dict[str, Any]) -> None:
        """Look whether the step is for whoever is there, and what is done before a trial."""
        step = self.files.steps[here]
        who = step.get("by", "operator") if "finding" not in step else step["who"]
        for_service = "finding" in step and who == "service"
        if not for_service and ROLES.index(who) > ROLES.index(self.role):
            self._unsafe(f"{here} is shown to {self.role}")
        if for_service and "not it" in screen["replies"]:
            self._may_be_looked_at(here, step)
        if "finding" in step and not for_service:
            lines = [
                x for n in self._held_back(self.in_force) for x in self.files.guards[n]["release"]
            ]
            # What two of them ask for is done once.
            lines = list(dict.fromkeys(lines))
            if list(screen["before_trying"]) != lines:
                self._unsafe(f"before trying {here}: {screen['before_trying']}, not {lines}")

    def _may_be_looked_at(self, here: Step, step: dict[str, Any]) -> None:
        """Look whether somebody may look at what is service's: no caution is called there."""
        hazards = set(step.get("hazards", ()))
        if hazards & self.files.service_only and self.role != "service":
            self._unsafe(f"{here} is to be looked at, with {hazards & self.files.service_only}")
        over = {n for n, c in self.files.guards.items() if hazards & set(c.get("covers", ()))}
        missing = set().union(*(self.files.includes[name] for name in over)) - self.in_force
        if missing:
            self._unsafe(f"{here} is to be looked at without {missing} in force")

    # The account

    def _happened(self, word: str) -> None:
        screen = self.screen
        if screen["screen"] == "caution" and word == "done":
            names = [shown["id"] for shown in screen["cautions"]]
            if screen["phase"] == "take":
                taken = set().union(*(self.files.includes[name] for name in names))
                self.in_force |= taken
                self.taken |= taken
            else:
                self.in_force -= set(names)
            self.since.append((screen["phase"], names))
            return
        self.due = None
        operators = screen["screen"] == "finding" and screen["who"] != "service"
        if word in ("cured", "not cured") or (word == "back" and operators):
            self.in_force -= self.files.lapsing
        if word == "back":
            self._back()
        elif word not in ENDING:
            self.route.moves.append((self.refused, self.route.closed, self.route.answers))
            here = _here(screen)
            if here is not None:
                self.route.closed |= {here}
                if screen["screen"] in ("check", "reading") and word not in UNSEEN:
                    self._answered(here, word)
            elif screen["phase"] == "take":
                self.refused |= self._refused_by(word)
            else:
                self.blind = True
        self._settle()

    def _answered(self, here: Step, word: str) -> None:
        """Note an answer, which all steps that look at the same have now, and where it leads."""
        answer, shown = self.band, self.screen
        if shown["screen"] == "check":
            words = [one["title"] for one in shown["answers"]]
            by_number = {f"{number}": word for number, word in enumerate(words, 1)}
            answer = by_number.get(word) or next(w for w in words if w.casefold() == word)
        told = self.files.shared(here, answer)
        known = self.route.answers
        self.route.answers = {**known, **{one: told[one] for one in told if one not in known}}
        self.route.closed |= frozenset(told)
        if not self.blind:
            to = self.files.led(here, self.route.answers)
            self.due = None if self._hindered(to) else to

    def _hindered(self, to: Step) -> bool:
        """Return whether a step may have to be passed over, or was closed before."""
        step = self.files.steps[to]
        if to in self.route.closed or "continue_with" in step:
            return True
        who = step.get("who") or step.get("by", "operator")
        shown = "finding" in step and who == "service"
        if not shown and ROLES.index(who) > ROLES.index(self.role):
            return True
        held = self.in_force - self.files.lapsing if step.get("energises") else self.in_force
        # A card may lack what a figure is computed from; a plain number wants nothing.
        lacking = step.get("read", "value") != "value"
        return lacking or bool((self.files.needs[to] - held) & self.refused)

    def _refused_by(self, word: str) -> set[str]:
        """Return what is refused: all of the screen's, or the one named by id, number or title."""
        shown = self.screen["cautions"]
        which = word.removeprefix("cannot").strip()
        if not which:
            return {one["id"] for one in shown}
        if which.isdigit():
            return {shown[int(which) - 1]["id"]}
        titled = {one["id"] for one in shown if one["title"].casefold() == which}
        return titled or {which}

    def _back(self) -> None:
        if not self.route.moves and len(self.routes) > 1:
            # The first screen of a case leads back to the item that began it.
            self.routes.pop()
        unknown = (frozenset[str](), frozenset[Step](), dict(self.files.given))
        known = self.route.moves or not self.late
        before = self.route.moves.pop() if known else unknown
        self.refused, self.route.closed, self.route.answers = before

    def _settle(self) -> None:
        self.base = set(self.in_force)
        self.since: list[tuple[str, list[str]]] = []

    def _held_back(self, in_force: set[str]) -> list[str]:
        """Return what is to be released, in the reverse order of the file."""
        return sorted(in_force & self.files.lapsing, key=self.files.place.__getitem__, reverse=True)

    def _called(self, here: Step) -> list[str]:
        """Return what had to be taken before this step, in the order of the file."""
        entry = (
            self.base - self.files.lapsing if self.files.steps[here].get("energises") else self.base
        )
        missing = self.files.needs[here] - entry
        inner = set().union(*(self.files.includes[name] - {name} for name in missing))
        return sorted(missing - inner, key=self.files.place.__getitem__)

    def _screens(self, here: Step) -> list[list[str]]:
        """Return what had to be taken before this step, screen by screen.

        What is confirmed line by line has one of its own; others share one where they meet.
        """
        runs = self.files.steps[here].get("energises")
        held = self.base - self.files.lapsing if runs else set(self.base)
        screens: list[list[str]] = []
        shared = False
        for name in self._called(here):
            alone = bool((self.files.includes[name] - held) & self.files.by_line)
            if shared and not alone:
                screens[-1].append(name)
            else:
                screens.append([name])
            shared = not alone
            held |= self.files.includes[name]
        return screens

    def _unsafe(self, message: str) -> None:
        raise Unsafe(message)


def _read(text: str) -> Any:
    return yaml.load(text, Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader))


def _here(screen: dict[str, Any]) -> Step | None:
    """Return the step or item that a screen shows, if it shows one."""
    if screen["screen"] == "item":
        return screen["round"], screen["item"]
    return (screen["symptom"], screen["step"]) if "step" in screen else None


def _is_note(text: str) -> bool:
    """Return whether a reply is a note, and one that can be kept."""
    words = " ".join(text.split())
    return words.casefold().startswith(NOTE) and len(words) <= len(NOTE) + 500


def passing_of(steps: Mapping[str, Any], step: dict[str, Any]) -> str:
    """Return the passing answer of a step that has one: it is named, or leads on alone."""
    if "passes" in step:
        return str(step["passes"])
    (word,) = [word for word, to in answers_of(step) if "finding" not in steps[to]]
    return word


def answers_of(step: dict[str, Any]) -> list[tuple[str, str]]:
    """Return the answers of a step (or the calls of its bands) with the steps they lead to."""
    bands = step.get("bands", ())
    calls = [(band.get("call", band.get("otherwise")), band["go"]) for band in bands]
    ways = step.get("answers", {}).items()
    # An answer that not every machine gives is a map.
    return [*((word, to if isinstance(to, str) else to["go"]) for word, to in ways), *calls]


def _leaves(value: Any, place: str = "") -> Iterator[tuple[str, str]]:
    """Yield every text of a screen, with the top key that it stands under."""
    # No recursion: it sees some hundred thousand screens.
    found = [(place, value)]
    while found:
        place, value = found.pop()
        if isinstance(value, str):
            yield place, value
        elif isinstance(value, dict):
            found += [(place or key, item) for key, item in value.items()]
        elif isinstance(value, list):
            found += [(place, item) for item in value]
