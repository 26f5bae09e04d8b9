"""Start, loading and replies against what they are made of: imports, `yaml.compose`, a bare commit.

`python tests/benchmarks/bench_core.py` prints each figure with the limit that it is held to; exit
code 1 if one is missed. Not part of the test run: a busy machine would turn it red.
"""

from __future__ import annotations

import gc
import os
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from math import inf
from pathlib import Path
from typing import TYPE_CHECKING

import yaml
from figures import Figure, best, report

from diagnose.case import onward, view, walk
from diagnose.case.screens import CautionScreen, CheckScreen, EndScreen, FindingScreen
from diagnose.case.visit import Visit
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.commands.session import Record
from diagnose.files.cautions import Cautions
from diagnose.files.library import built_in, load
from diagnose.files.reading import read_tree
from diagnose.log import events
from diagnose.log.record import opened, replied
from diagnose.log.sqlite import SqliteLog
from diagnose.rules.check import check, errors
from diagnose.study.in_force import caution_table
from diagnose.study.ready import made_ready

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from diagnose.study.ready import ReadyTree


def start_figures() -> list[Figure]:
    """From command to first screen, and the version."""
    python = sys.executable

    def command(*args: str) -> Callable[[], object]:
        return lambda: subprocess.run(args, input=b"", capture_output=True, check=True)

    imports = best(command(python, "-c", "import yaml, networkx, prompt_toolkit"), 9)
    what = "import yaml, networkx, sqlite3"
    needed = best(command(python, "-c", what), 15)
    # As the program sets the collector, so that what that saves is seen.
    rare = f"import gc; gc.set_threshold(100_000, 20, 100); {what}; gc.freeze()"
    needed_rare = best(command(python, "-c", rare), 15)
    nothing = best(command(python, "-c", "pass"), 9)
    start = ("start", "streaking", "--machine", "dock")
    with tempfile.TemporaryDirectory() as name:
        log = ("--log", f"{name}/cases.sqlite", "--json")
        lines = best(command(python, "-m", "diagnose", *start, *log), 15)
    version = best(command(python, "-m", "diagnose", "--version"), 9)
    return [
        (
            "JSON: command to first screen, log included / imports of yaml, networkx, sqlite3",
            lines / needed,
            1.4,
            f"{lines:.3f} s",
        ),
        ("the same / the imports with the collector as rare there", lines / needed_rare, inf, ""),
        (
            "terminal: command to first screen / the three imports",
            terminal((*start, "--trial")) / imports,
            1.4,
            "",
        ),
        ("--version / python -c pass", version / nothing, 3.0, f"{version:.3f} s"),
    ]


def terminal(start: tuple[str, ...]) -> float:
    """Return the seconds until the first question stands on a real terminal."""
    import pexpect

    environment = {**os.environ, "PROMPT_TOOLKIT_NO_CPR": "1", "TERM": "xterm-256color"}

    taken = []
    for _ in range(9):
        began = time.perf_counter()
        child = pexpect.spawn(
            sys.executable, ["-m", "diagnose", *start], env=environment, dimensions=(24, 80)
        )
        child.expect("What was done to it last")
        taken.append(time.perf_counter() - began)
        child.close(force=True)
    return min(taken)


def generated(trees: int, steps: int) -> dict[str, str]:
    """Return the texts of trees of about `steps` steps each, half of them checks."""
    texts = {}
    for number in range(trees):
        lines = [
            "format: 1",
            f"symptom: tree-{number}",
            f"title: What the operator would say in one line, {number}",
            f"also_called: [other words {number}, that people use {number}]",
            "start: check-0",
            "steps:",
        ]
        checks = steps // 2
        for place in range(checks):
            on = f"check-{place + 1}" if place + 1 < checks else "last"
            lines += [
                f"  check-{place}:",
                "    do: Read the display in front of you.",
                "    ask: Is anything shown but a bar?",
                "    look_for: A full row of bars goes from end to end.",
                "    minutes: 2",
                "    slip: 0.05",
                "    answers:",
                f"      Something is shown: cause-{place}",
                f"      The bars are shown: {on}",
                f"  cause-{place}:",
                "    finding: Something was set that should not be so.",
                "    chance: 5",
                "    who: operator",
                "    remedy: Set it as the machine's own card says, twice.",
            ]
        lines += [
            "  last:",
            "    finding: Nothing that can be seen from here.",
            "    chance: 1",
            "    who: service",
            "    leave_safe: Park it out of the way.",
        ]
        texts[f"tree-{number}"] = "\n".join(lines) + "\n"
    return texts


def loading_figures() -> list[Figure]:
    """Loading and checking against composing the same files."""
    figures = []
    with tempfile.TemporaryDirectory() as name:
        many = Path(name)
        for symptom, text in generated(1_000, 10).items():
            (many / f"{symptom}.yaml").write_text(text)
        for what, folder, times in (("built-in library", built_in(), 5), ("1,000 trees", many, 2)):
            texts = [path.read_text() for path in sorted(folder.rglob("*.yaml"))]
            composing = best(
                lambda texts=texts: [yaml.compose(t, yaml.CSafeLoader) for t in texts], times
            )
            checking = best(lambda folder=folder: check(load(folder)), times)
            shown = f"{composing:.3f} s, {checking:.3f} s"
            figures.append(
                (f"{what}: load and check / yaml.compose", checking / composing, 4.0, shown)
            )
    seconds = []
    for steps in (1_000, 10_000):
        with tempfile.TemporaryDirectory() as name:
            for symptom, text in generated(1, steps).items():
                (Path(name) / f"{symptom}.yaml").write_text(text)
            seconds.append(best(lambda name=name: check(load(Path(name))), 3))
    growth = seconds[1] / seconds[0] / 10
    figures.append(("10,000 steps / 10 x 1,000 steps", growth, 1.5, f"{seconds[1]:.3f} s"))
    return figures


def loading_without_collector_figures() -> list[Figure]:
    """As above with the collector held off on both sides, in trees without and with cautions.

    In processor seconds, so that what else the machine does counts little.
    """
    figures = []
    gc.disable()
    try:
        for what, make, limit in (("1,000 trees", generated, 2.5), ("with cautions", guarded, 3.0)):
            with tempfile.TemporaryDirectory() as name:
                folder = Path(name)
                for symptom, text in make(1_000, 10).items():
                    (folder / f"{symptom}.yaml").write_text(text)
                cautions = (built_in() / "cautions.yaml").read_text()
                (folder / "cautions.yaml").write_text(cautions)
                texts = [path.read_text() for path in sorted(folder.rglob("*.yaml"))]
                composing = best_of_processor(
                    lambda texts=texts: [yaml.compose(t, yaml.CSafeLoader) for t in texts]
                )
                assert errors(check(load(folder))) == []
                checking = best_of_processor(lambda folder=folder: check(load(folder)))
                shown = f"{composing:.3f} s, {checking:.3f} s"
                label = f"{what}, collector off: load and check / yaml.compose"
                figures.append((label, checking / composing, limit, shown))
            gc.collect()
    finally:
        gc.enable()
    return figures


def best_of_processor(action: Callable[[], object], times: int = 5) -> float:
    """Return the fewest processor seconds of several runs."""
    taken = []
    for _ in range(times):
        began = time.process_time()
        action()
        taken.append(time.process_time() - began)
    return min(taken)


def guarded(trees: int, steps: int) -> dict[str, str]:
    """Return generated trees whose steps carry hazards and cautions; the first check runs."""
    return {
        symptom: text.replace("    minutes: 2\n", "    minutes: 2\n    energises: true\n", 1)
        .replace("slip: 0.05\n", "slip: 0.05\n    hazards: [wet-floor]\n    cautions: [barrier]\n")
        .replace("who: operator\n", "who: operator\n    hazards: [brush-drive, sharps]\n")
        for symptom, text in generated(trees, steps).items()
    }


def reply_figures() -> list[Figure]:
    """A reply to the next screen with its event on disk, against a bare commit of that event.

    One of each in turn, so that a disk that is busy for a while slows both alike.
    """
    with tempfile.TemporaryDirectory(dir=Path.cwd()) as name:
        bare = BareCommit(Path(name) / "bare.sqlite")
        library = ReadyLibrary(built_in())
        library.machine("dock")
        visit = Visit(tree=library, table=library.table, card=library.card)
        log = SqliteLog(Path(name) / "cases.sqlite")
        replies, commits = [], []
        for symptom in library.content.symptoms:
            for reply, body in walked(visit, symptom, log):
                replies.append(reply)
                commits.append(bare.seconds(body))
    reply, commit = statistics.median(replies), statistics.median(commits)
    shown = f"{reply * 1e3:.2f} ms, {commit * 1e3:.2f} ms"
    return [("reply to next screen, log included / bare commit", reply / commit, 1.5, shown)]


class BareCommit:
    """Commits of one row under the log's pragmas."""

    def __init__(self, path: Path) -> None:
        self.base = sqlite3.connect(path, isolation_level=None)
        self.base.execute("PRAGMA synchronous = FULL")
        self.base.execute("CREATE TABLE rows (number INTEGER PRIMARY KEY, body TEXT)")

    def seconds(self, body: str) -> float:
        """Return the seconds of one more."""
        began = time.perf_counter()
        self.base.execute("BEGIN IMMEDIATE")
        self.base.execute("INSERT INTO rows (body) VALUES (?)", (body,))
        self.base.execute("COMMIT")
        return time.perf_counter() - began


def walked(visit: Visit, symptom: str, log: SqliteLog) -> Iterator[tuple[float, str]]:
    """Walk a symptom to its end and yield the seconds of every reply, and its event as JSON."""
    state, trail = onward.opened(visit, symptom)
    case = log.open_case(None, opened(visit, state, trail))
    record = Record(log, case, told=set(state.entered))
    screen = view.screen(visit, state)
    while not isinstance(screen, EndScreen):
        number = record.number
        if isinstance(screen, CautionScreen):
            reply = "done"
        elif isinstance(screen, CheckScreen):
            reply = screen.answers[number % len(screen.answers)].id if number % 3 else "unsure"
        elif isinstance(screen, FindingScreen):
            reply = "keep looking" if screen.who == "service" else "not cured"
        else:
            reply = "unsure"
        began = time.perf_counter()
        turn = walk.reply(visit, state, reply, screen)
        event = replied(visit, turn, record.told)
        record.write(event)
        screen = view.screen(visit, turn.state)
        yield time.perf_counter() - began, events.written(event)
        record.told |= turn.state.entered
        state = turn.state


def large_figures() -> list[Figure]:
    """The walk alone in trees of 1,000 steps: an answer, and a choice; each reply's best of 5."""
    figures = []
    for what, text in (("chain", generated(1, 1_000)["tree-0"]), ("web", web(1_000))):
        tree, problems = read_tree(text, "tree-0.yaml")
        assert tree is not None, problems
        ready = made_ready(tree, caution_table(Cautions(hazards={}, cautions={})))
        replies = [
            (each[0][0], min(taken for _, taken in each))
            for each in zip(*(long_case(ready) for _ in range(5)), strict=True)
        ]
        for kind, limit in (("answer", 5.0), ("choice", 50.0)):
            taken = [1e3 * seconds for name, seconds in replies if name == kind]
            shown = f"median {statistics.median(taken):.2f} ms"
            figures.append((f"{what} of 1,000 steps: slowest {kind}, ms", max(taken), limit, shown))
    return figures


def long_case(ready: ReadyTree) -> list[tuple[str, float]]:
    """Return what each reply of a long case was, and the seconds it took."""
    visit = Visit(
        tree=lambda symptom: ready, table=caution_table(Cautions(hazards={}, cautions={}))
    )
    taken = []
    state, _ = onward.opened(visit, "tree-0")
    screen = view.screen(visit, state)
    while not isinstance(screen, EndScreen) and len(taken) < 1_000:
        kind = "choice"
        if isinstance(screen, FindingScreen):
            reply = "not cured" if screen.who == "operator" else "keep looking"
        elif len(taken) % 5 == 4:
            reply = "unsure"
        else:
            assert isinstance(screen, CheckScreen)
            kind, reply = "answer", screen.answers[-1].id
        began = time.perf_counter()
        state = walk.reply(visit, state, reply, screen).state
        screen = view.screen(visit, state)
        taken.append((kind, time.perf_counter() - began))
    return taken


def web(steps: int) -> str:
    """Return a tree whose checks lead on to one another crosswise: findings by many routes."""
    checks = steps // 2
    lines = ["format: 1", "symptom: tree-0", "title: A web", "start: check-0", "steps:"]
    for place in range(checks):
        near = f"check-{place + 1}" if place + 1 < checks else f"cause-{place}"
        far = f"check-{place + 7}" if place % 11 == 0 and place + 7 < checks else f"cause-{place}"
        lines += [
            f"  check-{place}:",
            "    ask: What is seen?",
            "    passes: none",
            "    answers:",
            f"      {{This is seen: {far}, Some of it: cause-{place}, That is seen: {near}}}",
            f"  cause-{place}:",
            f"    {{finding: A cause., chance: {1 + place % 7}, who: operator, remedy: Mend it.}}",
        ]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    sys.exit(
        report(
            start_figures,
            loading_figures,
            loading_without_collector_figures,
            reply_figures,
            large_figures,
        )
    )
