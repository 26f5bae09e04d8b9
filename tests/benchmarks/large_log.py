"""A log of 100,000 cases (723,000 events): what lists and starts cost, and who waits for whom.

`python tests/benchmarks/large_log.py [CASES] [PEOPLE]`, some minutes and about 1.5 GB of disk in
the folder that TMPDIR names; exit code 1 if a figure was missed. The cases are walked ones, told
again with other keys, machines and times; people, machines and times are invented.
"""

from __future__ import annotations

import math
import random
import secrets
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from figures import report

from diagnose.case import onward, view, walk
from diagnose.case.screens import (
    CautionScreen,
    CheckScreen,
    EndScreen,
    FindingScreen,
    ReadingScreen,
)
from diagnose.case.visit import Visit
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.commands.session import Record
from diagnose.files.library import built_in
from diagnose.log.events import Found
from diagnose.log.record import opened, replied
from diagnose.log.sqlite import SqliteLog

if TYPE_CHECKING:
    from collections.abc import Iterator

    from figures import Figure

MACHINES = 100
YEARS = 3
#: Of all cases: the share that is cured, referred and answered, referred and waiting, left.
SHARES = (0.68, 0.24, 0.03, 0.05)
EVENTS_A_CASE = 7.23


def models(path: Path) -> dict[str, list[str]]:
    """Walk cases of every kind and return their names by kind, from a log of their own."""
    library = ReadyLibrary(built_in())
    visit = Visit(tree=library, table=library.table, card=None)
    log = SqliteLog(path)
    names: dict[str, list[str]] = {"cured": [], "answered": [], "referred": [], "open": []}
    chance = random.Random(7)
    for attempt in range(3_000):
        symptom = chance.choice(library.symptoms)
        most = chance.randrange(5, 11)
        kind, name, events = walked(visit, log, symptom, chance, most)
        if kind is None or not 4 <= events <= 12 or len(names[kind]) >= 60:
            continue
        if kind == "referred" and len(names["answered"]) < 60:
            case = log.case(name)
            assert case is not None
            first = log.events(case)[0].event
            finding = next(iter(first.trees[symptom].findings))  # type: ignore[union-attr]
            log.append(
                case,
                events + 1,
                Found(symptom=symptom, finding=finding, cures=((symptom, finding),), released=True),
            )
            kind = "answered"
        names[kind].append(name)
        if all(len(own) >= 30 for own in names.values()):
            break
        del attempt
    log.close()
    return names


def walked(
    visit: Visit, log: SqliteLog, symptom: str, chance: random.Random, most: int
) -> tuple[str | None, str, int]:
    """Walk a case for at most so many replies; return what became of it, its name, its events."""
    state, trail = onward.opened(visit, symptom)
    record = Record(log, log.open_case("m-00", opened(visit, state, trail)), told={symptom})
    screen = view.screen(visit, state)
    while not isinstance(screen, EndScreen) and record.number <= most:
        if isinstance(screen, CautionScreen):
            reply = "done"
        elif isinstance(screen, CheckScreen):
            reply = chance.choice(screen.answers).id
        elif isinstance(screen, FindingScreen):
            reply = "refer" if screen.who == "service" else "cured"
        else:
            assert isinstance(screen, ReadingScreen)
            reply = "unsure"
        turn = walk.reply(visit, state, reply, screen)
        record.write(replied(visit, turn, record.told))
        record.told |= turn.state.entered
        state, screen = turn.state, view.screen(visit, turn.state)
    kinds = {"cured": "cured", "referred": "referred", None: "open"}
    return kinds.get(state.outcome), record.case.name, record.number - 1


def made(path: Path, cases: int) -> tuple[str, str]:
    """Make the log: rows of walked cases, many times; return a referred case and an open one."""
    names = models(path.with_suffix(".models"))
    log = SqliteLog(path)
    base = log.base
    base.execute("PRAGMA synchronous = OFF")
    base.execute("PRAGMA journal_mode = MEMORY")
    base.execute("ATTACH ? AS models", (str(path.with_suffix(".models")),))
    columns = [row[1] for row in base.execute("PRAGMA table_info(cases)")]
    rows = {
        name: (
            dict(zip(columns, base.execute("SELECT * FROM models.cases WHERE name = ?", (name,)).fetchone(), strict=True)),
            base.execute('SELECT number, milestone, body FROM models.events WHERE "case" = (SELECT key FROM models.cases WHERE name = ?)', (name,)).fetchall(),
            base.execute('SELECT symptom, finding, words, parts FROM models.cures WHERE "case" = (SELECT key FROM models.cases WHERE name = ?)', (name,)).fetchall(),
        )
        for own in names.values()
        for name in own
    }  # fmt: skip
    chance = random.Random(11)
    now = datetime.now(UTC)
    kinds = list(names)
    events = 0
    known: dict[str, str] = {}
    base.execute("BEGIN")
    for number in range(cases):
        kind = chance.choices(kinds, SHARES)[0]
        # So that on average a case has as many events as in the log that was told of.
        own = sorted(names[kind], key=lambda name: len(rows[name][1]))
        want = EVENTS_A_CASE * (number + 1) - events
        half = own[len(own) // 2 :] if want > EVENTS_A_CASE else own[: len(own) // 2 + 1]
        record, written, cures = rows[chance.choice(half)]
        key = secrets.token_bytes(16)
        began = now - timedelta(days=365 * YEARS) * (1 - number / cases)
        at = began.isoformat(timespec="seconds")
        name, machine = numbered(number), f"m-{chance.randrange(MACHINES):02}"
        copy = {**record, "key": key, "name": name, "machine": machine, "opened": at, "changed": at}
        base.execute(
            f"INSERT INTO cases ({', '.join(columns)}) VALUES ({', '.join('?' * len(columns))})",
            [copy[column] for column in columns],
        )
        base.executemany(
            'INSERT INTO events ("case", number, at, milestone, body) VALUES (?, ?, ?, ?, ?)',
            [(key, place, at, mark, body) for place, mark, body in written],
        )
        base.executemany(
            'INSERT INTO cures (machine, symptom, finding, at, "case", words, parts) VALUES (?, ?, ?, ?, ?, ?, ?)',
            [(machine, symptom, finding, at, key, words, parts) for symptom, finding, words, parts in cures],
        )  # fmt: skip
        events += len(written)
        known[kind] = name
    base.execute("COMMIT")
    log.close()
    print(f"{cases:,} cases, {events:,} events, {path.stat().st_size / 1e6:.0f} MB", flush=True)
    return known["referred"], known["open"]


def numbered(number: int) -> str:
    """Return a case's name that is like those of the program."""
    letters, digits = "ABCDEFGHJKLMNPQRTUVWXY", "2346789"
    name = ""
    for place in range(6):
        signs = digits if place % 2 else letters
        number, sign = divmod(number, len(signs))
        name += signs[sign]
    return name


class Ran:
    """A command that was run to its end: seconds, most memory in MB, its output."""

    def __init__(self, *args: str, log: Path, said: str = "") -> None:
        code = (
            "import sys, time; from diagnose import app; began = time.perf_counter();"
            "code = app.run(sys.argv[1:]); sys.stdout.flush();"
            # Not what getrusage says: that begins with the memory of whoever started it.
            "told = [line for line in open('/proc/self/status') if line.startswith('VmHWM')];"
            "most = int(told[0].split()[1]) / 1e3;"
            "print(time.perf_counter() - began, most, file=sys.stderr); sys.exit(code)"
        )
        done = subprocess.run(
            [sys.executable, "-c", code, *args, "--log", str(log)],
            input=said,
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        self.seconds, self.most = map(float, done.stderr.split()[-2:])
        self.out = done.stdout


class Writer(threading.Thread):
    """Somebody who writes to the log without a pause; `longest` is the longest wait in seconds."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.path, self.longest, self.stop, self.events = path, 0.0, False, 0

    def run(self) -> None:
        """Write until told to stop."""
        from diagnose.log.events import Opened, Outset, Replied, Shown

        log = SqliteLog(self.path, "rw")
        log.base.execute("PRAGMA synchronous = OFF")
        case = log.open_case("m-00", Opened(symptom="lines", outset=Outset()))
        shown = Shown(screen="check", ask="Is it so?")
        number = 2
        while not self.stop:
            began = time.perf_counter()
            event = Replied(reply="answer", symptom="lines", step="a", shown=shown)
            log.append(case, number, event)
            self.longest = max(self.longest, time.perf_counter() - began)
            number, self.events = number + 1, self.events + 1
            time.sleep(0.002)
        log.close()


def list_figures(path: Path, referred: str, left: str) -> Iterator[Figure]:
    """Lists, starts and single cases of the large log."""
    base = sqlite3.connect(path)
    # What the list shows, as one query: what waits, and what came back within the last 30 days.
    ago = (datetime.now(UTC) - timedelta(days=60)).isoformat(timespec="seconds")
    waits = (
        "SELECT * FROM (SELECT key, name, symptom, machine, opened, changed, outcome, found, summary "
        "FROM cases WHERE waits ORDER BY machine, opened, name) UNION ALL "
        'SELECT * FROM (SELECT "case", symptom, finding, machine, at, NULL, words, parts, NULL '
        f"FROM cures WHERE at >= '{ago}' ORDER BY machine, symptom, finding, at)"
    )
    queries = []
    for _ in range(5):
        began = time.perf_counter()
        rows = base.execute(waits).fetchall()
        queries.append(time.perf_counter() - began)
    base.close()
    query = min(queries)
    ran = min((Ran("cases", "--open", log=path) for _ in range(3)), key=lambda one: one.seconds)
    none = min((Ran("cases", "--open", log=path.with_name("none")) for _ in range(3)), key=lambda one: one.seconds)  # fmt: skip
    shown = f"{ran.seconds:.3f} s, {query:.3f} s for {len(rows)} rows, an empty list {none.seconds:.3f} s"
    yield (
        "cases --open, less an empty list / its query",
        (ran.seconds - none.seconds) / query,
        2.0,
        shown,
    )
    yield "cases --open: memory, MB", ran.most, 60.0, f"an empty list {none.most:.0f} MB"
    writer = Writer(path)
    writer.start()
    Ran("cases", "--open", "--json", log=path)
    Ran("cases", log=path)
    writer.stop = True
    writer.join()
    alone = Writer(path)
    alone.start()
    time.sleep(3)
    alone.stop = True
    alone.join()
    what = f"{1e3 * alone.longest:.0f} ms alone; {writer.events} events meanwhile"
    yield "longest wait of a writer while lists are read, ms", 1e3 * writer.longest, math.inf, what
    commands = (
        ("start, to its first screen", ("start", "streaking", "--machine", "m-01", "--json"), 1.0),
        ("resume", ("resume", left, "--json"), 1.0),
        ("handover", ("handover", referred), 1.0),
        ("cases show", ("cases", "show", referred), 1.0),
        ("cases (all of them)", ("cases",), math.inf),
        ("order --json", ("order", "streaking", "--json"), math.inf),
        ("round --due", ("round", "--due"), math.inf),
    )
    with library() as folder:
        for what, args, limit in commands:
            own = ("--trees", folder)
            ran = min((Ran(*args, *own, log=path) for _ in range(3)), key=lambda one: one.seconds)
            yield f"{what}, s", ran.seconds, limit, f"{ran.most:.0f} MB"


def library() -> Any:
    """Return the built-in library with the machines of the log, in a folder of its own."""
    import shutil
    from contextlib import contextmanager

    @contextmanager
    def folder() -> Iterator[str]:
        with tempfile.TemporaryDirectory() as name:
            own = Path(name) / "trees"
            shutil.copytree(built_in(), own)
            card = "format: 1\nmachine: m-01\ntitle: The first machine\n"
            (own / "machines" / "m-01.yaml").write_text(card)
            yield str(own)

    return folder()


#: A person without think time: a case after the other, every reply at once.
PERSON = """
import sys, time
sys.path.insert(0, {benchmarks!r})
import random
from pathlib import Path
from diagnose.case.visit import Visit
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.files.library import built_in
from diagnose.log.protocol import LogBusy
from diagnose.log.sqlite import SqliteLog
import large_log
library = ReadyLibrary(built_in())
visit = Visit(tree=library, table=library.table, card=None)
library.require("streaking")
print("ready", flush=True); sys.stdin.readline()
log = SqliteLog(Path(sys.argv[1]), "rw")
longest, events = 0.0, 0
patient = log._written
def timed(action, wait):
    global longest, events
    began = time.perf_counter()
    try:
        return patient(action, wait)
    finally:
        longest, events = max(longest, time.perf_counter() - began), events + 1
log._written = timed
chance = random.Random(int(sys.argv[2]))
until = time.monotonic() + float(sys.argv[3])
while time.monotonic() < until:
    large_log.walked(visit, log, "streaking", chance, 12)
print(longest, events)
"""


def crowd_figures(path: Path, people: int, seconds: float) -> Iterator[Figure]:
    """Many at once at one log: how many are thrown out, and the longest wait."""
    code = PERSON.format(benchmarks=str(Path(__file__).parent))
    crowd = [
        subprocess.Popen(
            [sys.executable, "-c", code, str(path), str(number), str(seconds)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for number in range(people)
    ]
    for one in crowd:
        assert one.stdout is not None
        assert one.stdout.readline() == "ready\n"
    for one in crowd:
        assert one.stdin is not None
        one.stdin.write("go\n")
        one.stdin.flush()
    told = [one.communicate() for one in crowd]
    out = sum(one.returncode != 0 for one in crowd)
    waits = [float(out.split()[0]) for out, _ in told if out]
    events = sum(int(out.split()[1]) for out, _ in told if out)
    for _, err in told:
        if err:
            print(err.splitlines()[-1], file=sys.stderr)
    what = f"{events} events in {seconds:.0f} s"
    yield f"{people} people without think time: thrown out", out, 0.0, what
    yield f"{people} people: longest wait for one reply, s", max(waits), 20.0, ""


def main() -> int:
    """Make the log in a folder that is taken away again, and print the figures."""
    cases = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    people = int(sys.argv[2]) if len(sys.argv) > 2 else 50
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "cases.sqlite"
        referred, left = made(path, cases)
        return report(
            lambda: list_figures(path, referred, left),
            lambda: crowd_figures(path, people, 20.0),
        )


if __name__ == "__main__":
    sys.exit(main())
