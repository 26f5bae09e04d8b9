"""The program in processes of its own that are killed at any moment, and what must be in the log.

Each process is a fork of a warm one, for speed: it runs one command line on a real file, speaks
over pipes, and ends by its own end or by SIGKILL. What it printed counts as acknowledged: a reply
by the screen after it, a new case by its first screen, a verdict or a release by exit code 0.
"""

from __future__ import annotations

import gc
import io
import json
import os
import random
import select
import signal
import sqlite3
import sys
import time
from contextlib import closing, redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from diagnose import app
from diagnose.files.library import built_in
from diagnose.log.events import Found, ItemReplied, Noted, Opened, Released, Replied
from diagnose.log.machine_state import held
from diagnose.log.sqlite import SqliteLog
from diagnose.log.summing import summed_up
from strategies.rounds import written
from strategies.walking import random_reply

if TYPE_CHECKING:
    from pathlib import Path

    from diagnose.log.machine_state import Held
    from diagnose.log.protocol import CaseRecord

#: Seconds after which a process that says nothing is a failure.
HANGS = 60.0

#: Command lines that import what is needed.
WARMING = (
    "start streaking --machine dock",
    "round before-shift --machine dock",
    "resume",
    "cases found A2 it",
    "release dock --name Bo",
)

#: Interludes: to none of these is anything replied.
TOLD_ONLY = ("refused", "figure", "why", "end")


def warm(home: str) -> None:
    """Import what a walk needs and let the collector pass it by, so that forks begin at once.

    Reports of faults go into `home`.
    """
    os.environ["XDG_STATE_HOME"] = home
    os.environ.pop("DIAGNOSE_TREES", None)
    with redirect_stdout(io.StringIO()), redirect_stderr(io.StringIO()):
        for line in WARMING:
            sys.stdin = io.StringIO("")
            app.run([*line.split(), "--json", "--log", f"{home}/warming.sqlite"])
    gc.collect()
    gc.freeze()


class Process:
    """A fork that runs one command line."""

    def __init__(self, *args: str) -> None:
        in_, self._to = os.pipe()
        self._from, out = os.pipe()
        self._errors, err = os.pipe()
        self.pid = os.fork()
        if self.pid == 0:
            for number, stream in enumerate((in_, out, err)):
                os.dup2(stream, number)
            os.closerange(3, max(in_, out, err, self._to, self._from, self._errors) + 1)
            _child(args)
        for stream in (in_, out, err):
            os.close(stream)
        self._read = b""
        self.code: int | None = None

    def say(self, text: str) -> None:
        """Send a reply; one that has ended hears nothing."""
        try:
            os.write(self._to, f"{text}\n".encode())
        except BrokenPipeError:
            return

    def line(self) -> str | None:
        """Return the next line; None at the end. Raises `TimeoutError`."""
        while b"\n" not in self._read:
            if not select.select([self._from], [], [], HANGS)[0]:
                raise TimeoutError(f"nothing said for {HANGS:.0f} s")
            more = os.read(self._from, 1 << 16)
            if not more:
                return None
            self._read += more
        line, _, self._read = self._read.partition(b"\n")
        return line.decode()

    def kill(self) -> None:
        """Kill it as `kill -9` does."""
        os.kill(self.pid, signal.SIGKILL)

    def ended(self) -> tuple[int, str]:
        """Return its exit code, -9 where it was killed, and what stood on standard error."""
        self.code = os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])
        said = b""
        while more := os.read(self._errors, 1 << 16):
            said += more
        for stream in (self._to, self._from, self._errors):
            os.close(stream)
        return self.code, said.decode()


def _child(args: tuple[str, ...]) -> None:
    """Run the command line in a fork, and never return."""
    code = 70
    try:
        random.seed()
        sys.stdin, sys.stdout, sys.stderr = (
            open(number, mode, encoding="utf-8", closefd=False)  # noqa: SIM115
            for number, mode in enumerate("rww")
        )
        code = app.run([*args])
        sys.stdout.flush()
        sys.stderr.flush()
    finally:
        os._exit(code)


@dataclass
class Shop:
    """A log that processes write to and are killed at, and what they acknowledged.

    `kept` is what was acknowledged, by case: what was typed, a verdict, a release. `wrong` is what
    was found to be wrong; `torn` counts kills that left SQLite's journal, so within a commit.
    """

    folder: Path
    random: random.Random
    built_in: bool = False
    kept: dict[str, list[str]] = field(default_factory=dict)
    wrong: list[str] = field(default_factory=list)
    kills: int = 0
    torn: int = 0
    replies: int = 0
    resumes: int = 0
    _pace: dict[str, float] = field(default_factory=dict)
    _resume: str = ""

    def __post_init__(self) -> None:
        self.log = self.folder / "cases.sqlite"
        self.trees = built_in() if self.built_in else written(self.folder / "library")
        if not self.built_in:
            (self.trees / "machines").mkdir()
            (self.trees / "machines" / "dock.yaml").write_text(
                "format: 1\nmachine: dock\ntitle: The dock machine\n"
            )

    def one_process(self) -> None:
        """Run one command line, kill it or not, and look at the log."""
        chance = self.random.random()
        if self._resume and chance < 0.75:
            self._walk("resume", self._resume)
        elif chance < 0.85 and self._one_shot():
            return
        else:
            machine = self.random.choice(["dock", "none"])
            begun = ("round", self._round()) if chance > 0.93 else ("start", self._symptom())
            self._walk(*begun, "--machine", machine)

    def _symptom(self) -> str:
        some = ("streaking", "poor-pickup", "low-runtime") if self.built_in else ("lines", "dead")
        return self.random.choice(some)

    def _round(self) -> str:
        return "before-shift" if self.built_in else "daily"

    def _process(self, *args: str) -> Process:
        return Process(*args, "--trees", str(self.trees), "--log", str(self.log), "--json")

    def _at_any_moment(self, what: str) -> float:
        """Return within which time something that takes as long as usual is killed."""
        return self.random.uniform(0.0, 1.2 * self._pace.get(what, 0.1))

    def _took(self, what: str, began: float) -> None:
        took = time.perf_counter() - began
        self._pace[what] = 0.9 * self._pace.get(what, took) + 0.1 * took

    def _walk(self, *args: str) -> None:
        """Walk a while, be killed at some reply or before the first screen, and look at the log."""
        how, most = args[0], self.random.choice([0, 0, 1, 1, 2, 3, 4, 6, 9])
        began = time.perf_counter()
        walk = _Walk(self, self._process(*args))
        if most == 0:
            self._kill(walk.process, how)
        screen = walk.next_screen()
        if screen is not None and most:
            self._took(how, began)
        while screen is not None and most:
            most -= 1
            began = time.perf_counter()
            walk.reply(screen)
            if most == 0:
                # Now and then while it waits for the next reply.
                self._kill(walk.process, "reply")
            screen = walk.next_screen()
            if most:
                self._took("reply", began)
        code, err = walk.process.ended()
        self._ended(" ".join(args), code, err, walk)

    def _kill(self, process: Process, what: str) -> None:
        time.sleep(self._at_any_moment(what))
        process.kill()

    def _ended(self, what: str, code: int, err: str, walk: _Walk | None = None) -> None:
        self.kills += code == -signal.SIGKILL
        journal = self.log.with_name(f"{self.log.name}-journal")
        self.torn += journal.exists() and journal.stat().st_size > 0
        if code not in (0, -signal.SIGKILL) or err:
            self.wrong.append(f"{what}: exit code {code}, {err.strip()}")
        if walk is not None:
            self.replies += walk.acknowledged
            if how_many := [note for note in walk.notes if "asked anew: " in note]:
                self.resumes += 1
                if not how_many[0].endswith("asked anew: 0."):
                    self.wrong.append(f"{what}: {how_many[0]}")
            elif what.startswith("resume") and walk.seen and "danger" not in walk.seen:
                self.wrong.append(
                    f"{what}: not said to be taken up again: {walk.seen}, {walk.notes}"
                )
        self._look(what, walk)

    def _one_shot(self) -> bool:
        """Report a verdict or release a machine, where there is something to; else return False."""
        if not self.log.exists():
            return False
        with closing(SqliteLog(self.log)) as log:
            referred = [case for case in log.cases() if case.outcome == "referred"]
            waiting = [case for case in referred if case.found is None and case.round is None]
            holding = held(log, "dock")
            if waiting and self.random.random() < 0.5:
                case = self.random.choice(waiting)
                opened = log.events(case)[0].event
                assert isinstance(opened, Opened)
                found = next(iter(opened.trees[case.symptom].findings), None)
                if found is None:
                    return False
                names, args = [case.name], ("cases", "found", case.name, found)
            elif holding:
                names = list(
                    dict.fromkeys(name for one in holding for name in _with_round(log, one))
                )
                args = ("release", "dock", "--name", "Bo")
            else:
                return False
        token = "found" if args[0] == "cases" else "released"
        began = time.perf_counter()
        process = self._process(*args)
        kill = self.random.random() < 0.9
        if kill:
            self._kill(process, token)
        while process.line() is not None:
            pass
        code, err = process.ended()
        if not kill:
            self._took(token, began)
        self._has_all_or_none(token, names, must=code == 0)
        self._ended(" ".join(args), code, err)
        return True

    def _has_all_or_none(self, token: str, names: list[str], *, must: bool) -> None:
        """Take what one event did to several cases: it is in all of them or in none."""
        self._sound(token)
        with closing(SqliteLog(self.log)) as log:
            now = {name: told(log, log.case(name)) for name in names}
        into = [name for name in names if now[name] == [*self.kept[name], token]]
        if into and set(into) != set(names):
            self.wrong.append(f"{token}: in {into} of {names}")
        if must and not into:
            self.wrong.append(f"{token}: said to be kept, and is not")
        for name in into:
            self.kept[name].append(token)

    def _sound(self, what: str) -> None:
        with closing(sqlite3.connect(self.log)) as base:
            # What was within a commit is undone here, as the program itself does.
            said = base.execute("PRAGMA integrity_check").fetchall()
            if said != [("ok",)]:
                self.wrong.append(f"{what}: integrity check: {said[:3]}")

    def _look(self, what: str, walk: _Walk | None) -> None:
        """Compare the log with what was acknowledged, and take what came in besides."""
        if not self.log.exists():
            if self.kept:
                self.wrong.append(f"{what}: the log is gone")
            return
        self._sound(what)
        sent = walk.sent if walk is not None else None
        with closing(SqliteLog(self.log)) as log:
            cases = {case.name: case for case in log.cases()}
            now = {name: told(log, case) for name, case in cases.items()}
            self.wrong += [f"{what}: case {name} is gone" for name in self.kept if name not in now]
            new = [name for name in now if name not in self.kept]
            # A round, and the case that it began, may be new at once.
            if len(new) > 1:
                self.wrong.append(f"{what}: {len(new)} cases that nobody was shown")
            for name, own in now.items():
                before = self.kept.setdefault(name, [])
                may = [before, [*before, sent[1]]] if sent and sent[0] == name else [before]
                if own not in may:
                    self.wrong.append(f"{what}: case {name} has {own}, acknowledged {before}")
                self.kept[name] = own
            self.wrong += [f"{what}: {said}" for case in cases.values() for said in off(log, case)]
            left = [case for case in cases.values() if case.outcome == "open"]
        names = [case.name for case in left]
        last = walk.case if walk is not None else ""
        self._resume = last if last in names else self.random.choice(names) if names else ""


@dataclass
class _Walk:
    """One process that walks: what it showed, and the reply that it has not answered yet."""

    shop: Shop
    process: Process
    case: str = ""
    sent: tuple[str, str] | None = None
    acknowledged: int = 0
    seen: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    _backs: int = 0
    _idle: int = 0

    def next_screen(self) -> dict[str, Any] | None:
        """Take what is said until something is asked; None at the end."""
        while (line := self.process.line()) is not None:
            screen: dict[str, Any] = json.loads(line)
            self.notes += screen.get("notes", ())
            self.seen.append(screen["screen"])
            self.case = screen.get("case", self.case)
            if "case" in screen:
                # A case is on the disk before its first screen is shown.
                self.shop.kept.setdefault(screen["case"], [])
            if screen["screen"] == "refused":
                self.sent = None
            elif self.sent is not None:
                self.shop.kept[self.sent[0]].append(self.sent[1])
                self.acknowledged += 1
                self.sent = None
            if screen["screen"] not in TOLD_ONLY:
                return screen
        return None

    def reply(self, screen: dict[str, Any]) -> None:
        """Reply at random to what is shown."""
        rand = self.shop.random
        if screen["screen"] == "state":
            self.process.say(rand.choice(["start anew", "go on", "start anew"]))
            return
        text = self._text(screen)
        note = text.startswith("note ")
        if "case" in screen and text != "why":
            self.sent = (screen["case"], text.partition(" ")[2].strip() if note else text)
        self.process.say(text)

    def _text(self, screen: dict[str, Any]) -> str:
        plain = _plain(screen)
        text = random_reply(self.shop.random, plain, 0.1, idle=9, backs=self._backs)
        self._backs += text == "back"
        if self.shop.random.random() < 0.05 and screen["screen"] != "danger":
            self._idle += 1
            return f"note it rattles {self._idle}"
        return text


def _plain(screen: dict[str, Any]) -> dict[str, Any]:
    """Return a screen of the JSON lines as a walk's own, for who replies at random."""
    more: dict[str, Any] = {"replies": [reply["id"] for reply in screen["replies"]]}
    if screen["screen"] == "danger":
        more["answers"] = [answer["id"] for answer in screen["answers"]]
    if screen["screen"] == "caution":
        more["cautions"] = [{"includes": [], **caution} for caution in screen["cautions"]]
    return {**screen, **more}


def told(log: SqliteLog, case: CaseRecord | None) -> list[str]:
    """Return what the log says that was said in a case, in order."""
    assert case is not None
    logged = log.events(case)
    assert [one.number for one in logged] == list(range(1, len(logged) + 1))
    said = []
    for one in logged:
        match one.event:
            case Replied(typed=text) | ItemReplied(typed=text) | Noted(text=text):
                said.append(text)
            case Found():
                said.append("found")
            case Released():
                said.append("released")
    return said


def _with_round(log: SqliteLog, one: Held) -> list[str]:
    """Return a case that holds a machine, and the round around it where both were left."""
    case = one.case
    round_ = None if case.begun_in is None else log.case(case.begun_in)
    around = [] if round_ is None or {case.outcome, round_.outcome} != {"open"} else [round_.name]
    return [case.name, *around]


def off(log: SqliteLog, case: CaseRecord) -> list[str]:
    """Return what lists say of a case that its events do not."""
    begun = log.begun_in(case) if case.round is not None else ()
    right = summed_up(case, log.events(case), begun)
    return [] if log.summary(case) == right else [f"the summary of {case.name} is not its events'"]
