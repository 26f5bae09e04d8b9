"""How many small wrong changes of a room its tests notice.

`python tests/mutants/run.py [ROOM ...] [--sample N] [--seed S] [--jobs J] [--working]`

A room is a folder of `diagnose/`, or one module of it (`case/walk`). A fixed sample of its mutants
is drawn; each is run against the tests that cover the room, in a copy of the checkout, and is dead
when a test fails or does not end in time. Those in `equivalent.txt` change nothing that could be
noticed, each with its reason; they are not drawn. Exit code 1 where fewer die than is demanded.

With `--working` only a fifth of the examples is taken, as while one works: that is quicker, and
more lives than would otherwise.

Why not a ready tool (tried in November 2026): mutmut 3 changes nothing outside functions, and here
the tables and limits are; cosmic-ray 8 works on the checkout's own files, knows no room and no
sample, and most of its mutants are operators that no number has (`+` to `<<`), which die unasked.
"""

from __future__ import annotations

import argparse
import ast
import multiprocessing
import os
import queue
import random
import re
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import Phase, settings
from mutations import Mutant, mutants, mutated

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).parents[2]
EQUIVALENT = Path(__file__).with_name("equivalent.txt")

#: The tests that cover a room.
TESTS = {
    "text": ["tests/test_text.py", "tests/files", "tests/faces/test_face_layout.py"],
    "files": ["tests/files", "tests/rules", "tests/outside/test_yaml_words.py", "tests/docs"],
    "measure": ["tests/measure"],
    "study": ["tests/study", "tests/outside", "tests/case/test_one_machine.py"],
    "rules": ["tests/rules"],
    "case": ["tests/case", "tests/faces", "tests/test_every_answer.py"],
    "round": [
        *("tests/round", "tests/log/test_round_replay.py"),
        *("tests/commands/test_round_verb.py", "tests/commands/test_round_cases.py"),
    ],
    "log": [
        *("tests/log", "tests/case/test_walk_replay.py", "tests/paper/test_handover_page.py"),
        *("tests/commands/test_cases_kept.py", "tests/commands/test_before_use.py"),
        *("tests/commands/test_damaged_log.py", "tests/commands/test_round_killed.py"),
        *("tests/commands/test_round_verb.py", "tests/commands/test_busy_log.py"),
    ],
    "drill": ["tests/drill"],
    "paper": ["tests/paper"],
    "faces": ["tests/faces", "tests/commands/test_drill_verb.py"],
    "commands": [
        *("tests/commands", "tests/measure/test_measure_verb.py", "tests/log/test_learned.py"),
        *("tests/paper/test_diagram_verb.py", "tests/paper/test_handover_verb.py"),
        *("tests/paper/test_quiz.py", "tests/paper/test_sheets.py", "tests/docs"),
    ],
    # Of modules on which somebody's safety hangs, their own tests have to see what is wrong.
    "case/walk": ["tests/case"],
    "case/branches": ["tests/case"],
    "log/replay": ["tests/case/test_walk_replay.py", "tests/case/test_walk_branches.py"],
    "study/in_force": ["tests/study"],
}
#: The share that has to die: more where somebody can be hurt or sent the wrong way.
DEMANDED = 0.85
DEMANDED_OF = {
    "measure": 0.9,
    "case/walk": 0.9,
    "case/branches": 0.9,
    "log/replay": 0.9,
    "study/in_force": 0.9,
    "rules/safety": 0.9,
}
LEFT_OUT = shutil.ignore_patterns(".git", ".venv", ".*_cache", "__pycache__", "*.db", ".hypothesis")
#: Memory of one run, in bytes: a mutant may well fill a list without end.
MEMORY = 4 << 30

#: What most tests import is imported once: each run is a fork of a process that has it.
FORKED = multiprocessing.get_context("forkserver")
PRELOADED = ["pytest", "hypothesis.strategies", "msgspec", "networkx", "yaml", "sqlite3", "pexpect"]


@dataclass(frozen=True, slots=True)
class Drawn:
    """One mutant of the sample and the module that it belongs to, from the checkout's top."""

    module: str
    mutant: Mutant

    def __str__(self) -> str:
        """`file:line [function] old → new`, as it is printed."""
        return f"{self.module}:{self.mutant.line} {self.mutant}"


def equivalents() -> dict[tuple[str, str], str]:
    """The mutants that change nothing, by module and by what tells them apart, with the reason.

    A block of `equivalent.txt`: the mutant as it is printed, its line left out, and below it the
    reason.
    """
    found = {}
    for block in EQUIVALENT.read_text(encoding="utf-8").split("\n\n"):
        head, _, reason = block.strip().partition("\n")
        if head.startswith("#") or not head:
            continue
        if not reason:
            raise SystemExit(f"{EQUIVALENT.name}: no reason is given for {head}")
        module, _, mutant = head.partition(" ")
        found[module, mutant] = " ".join(reason.split())
    return found


def modules(room: str, top: Path) -> list[Path]:
    """The modules of a room, or the one module that is named, in a checkout."""
    place = top / "diagnose" / room
    found = sorted(place.rglob("*.py")) if place.is_dir() else [place.with_suffix(".py")]
    if not found or not found[0].is_file():
        raise SystemExit(f'There is no room "{room}". Rooms: {", ".join(TESTS)}; or case/walk.')
    return found


def sample(room: str, top: Path, size: int, seed: int) -> tuple[list[Drawn], int]:
    """The mutants drawn of a room, and how many there are to draw from."""
    known = equivalents()
    everything = []
    for path in modules(room, top):
        module = path.relative_to(top).as_posix()
        for one in mutants(path.read_text(encoding="utf-8")):
            if (module, str(one)) not in known:
                everything.append(Drawn(module, one))
    drawn = random.Random(f"{seed} {room}").sample(everything, min(size, len(everything)))
    return sorted(drawn, key=lambda one: (one.module, one.mutant.line)), len(everything)


class Copies:
    """Copies of the checkout: `source`, which stays as it is, and one for each process at a time.

    The checkout itself is read once, so that work on it may go on.
    """

    def __init__(self, folder: Path, jobs: int) -> None:
        self.source = folder / "source"
        shutil.copytree(ROOT, self.source, ignore=LEFT_OUT)
        self._free: queue.Queue[Path] = queue.Queue()
        for number in range(jobs):
            self._free.put(shutil.copytree(self.source, folder / str(number)))

    @contextmanager
    def changed(self, changes: dict[str, str]) -> Iterator[Path]:
        """A copy in which these modules have these texts, for as long as it is used."""
        copied = self._free.get()
        try:
            for module, text in changes.items():
                _write(copied / module, text)
            yield copied
        finally:
            for module in changes:
                _write(copied / module, (self.source / module).read_text(encoding="utf-8"))
            self._free.put(copied)


class Tests:
    """The test files that cover a room, and the order in which they are run.

    First come those that are named after the mutant's module, then what kills most in least time:
    `seconds` is what each file took with the room as it is, `kills` how many mutants it killed.
    """

    def __init__(self, room: str, copies: Copies, profiles: tuple[str, ...]) -> None:
        self.room, self.copies, self.profiles = room, copies, profiles
        tests = TESTS.get(room) or TESTS[room.split("/", maxsplit=1)[0]]
        places = [copies.source / one for one in tests]
        files = [file for one in places for file in ([one], one.glob("test_*.py"))[one.is_dir()]]
        self.files = [f"{file.relative_to(copies.source)}" for file in files if file.is_file()]
        self.seconds: dict[str, float] = {}
        self.kills: Counter[str] = Counter()

    def pass_as_it_is(self) -> bool:
        """Whether they all pass on the room without a change, which tells what each file takes."""
        # Written anew as a mutant is, so that like is compared with like.
        paths = modules(self.room, self.copies.source)
        written = {f"{path.relative_to(self.copies.source)}": rewritten(path) for path in paths}
        with self.copies.changed(written) as copied:
            for file in self.files:
                began = time.monotonic()
                if not all(_passes([file], one, copied, None)[0] for one in self.profiles):
                    return False
                self.seconds[file] = time.monotonic() - began
        return True

    def pass_with(self, one: Drawn) -> bool:
        """Whether they all pass with a mutant."""
        text = (self.copies.source / one.module).read_text(encoding="utf-8")
        order = sorted(self.files, key=lambda file: self._turn(file, one.module))
        with self.copies.changed({one.module: mutated(text, one.mutant)}) as copied:
            # Most die of few examples in the likeliest files; only what lives then meets all.
            for profile in self.profiles:
                for files in filter(None, (order[:2], order[2:])):
                    limit = 3 * sum(self.seconds[file] for file in files) + 20
                    passed, killer = _passes(files, profile, copied, limit)
                    self.kills.update(killer)
                    if not passed:
                        return False
        return True

    def _turn(self, file: str, module: str) -> tuple[bool, float, float]:
        """What puts the files in their order for a mutant of a module."""
        about = Path(module).stem.partition("_")[0] in Path(file).stem.split("_")
        return not about, -self.kills[file] / self.seconds[file], self.seconds[file]


def rewritten(path: Path) -> str:
    """A module's text without a change, put together as that of a mutant."""
    return ast.unparse(ast.parse(path.read_text(encoding="utf-8"))) + "\n"


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8")
    # Compiled files are told apart by second and size, which two mutants may share.
    for compiled in (path.parent / "__pycache__").glob(f"{path.stem}.*"):
        compiled.unlink()


def _passes(
    files: list[str], profile: str, copied: Path, limit: float | None
) -> tuple[bool, list[str]]:
    """Whether all tests of some files pass in time; and which file failed, where that is said."""
    with tempfile.NamedTemporaryFile("r", errors="replace") as said:
        process = FORKED.Process(target=_run_tests, args=(files, profile, copied, said.name))
        process.start()
        process.join(limit)
        if process.is_alive():
            os.killpg(process.pid, signal.SIGKILL)
            process.join()
            return False, []
        killers = re.findall(r"^(?:FAILED|ERROR) ([^:\s]+)", said.read(), re.MULTILINE)
        return process.exitcode == 0, killers


def _of_the_checkout(path: Path) -> bool:
    """Whether modules of the checkout are found there; its virtual environment has none."""
    return path == ROOT or path.is_relative_to(ROOT / "tests")


class Unshrunk:
    """A plugin of pytest: one example that fails is enough, it need not be made small."""

    @pytest.hookimpl(trylast=True)
    def pytest_configure(self) -> None:
        """Change the profile that was asked for."""
        name = settings.get_current_profile_name()
        phases = [Phase.explicit, Phase.generate]
        settings.register_profile(name, settings.get_profile(name), phases=phases)
        settings.load_profile(name)


def _run_tests(files: list[str], profile: str, copied: Path, said: str) -> None:
    """Run the tests of some files in a copy, in a process of their own, and write what is said."""
    os.setsid()
    # What is written to, not what is only set aside: a browser sets aside far more.
    resource.setrlimit(resource.RLIMIT_DATA, (MEMORY, MEMORY))
    os.chdir(copied)
    os.environ["PYTHONPATH"] = str(copied)
    # Whatever the environment says, modules stay compiled: there are hundreds of runs.
    os.environ["PYTHONDONTWRITEBYTECODE"] = ""
    sys.dont_write_bytecode = False
    for stream, path in ((1, said), (2, os.devnull)):
        os.dup2(os.open(path, os.O_WRONLY), stream)
    # The copy comes before the checkout, which is installed; no folder of this program's is seen.
    sys.path[:] = [str(copied), *(one for one in sys.path if not _of_the_checkout(Path(one)))]
    options = ["-x", "-q", "-rfE", "--no-header", "-p", "no:cacheprovider", "-p", "no:xdist"]
    options += [f"--hypothesis-profile={profile}", "-W", "ignore:Module already imported"]
    code = 1
    try:
        import diagnose

        assert Path(diagnose.__file__).is_relative_to(copied), diagnose.__file__
        code = int(pytest.main([*options, *files], plugins=[Unshrunk()]))
    finally:
        sys.stdout.flush()
        os._exit(code)


def judge(tests: Tests, jobs: int, size: int, seed: int) -> bool:
    """Print how a room fares, those that live as they are found; whether as many die as demanded."""
    room = tests.room
    drawn, total = sample(room, tests.copies.source, size, seed)
    if not tests.pass_as_it_is():
        print(f"{room}: its tests fail as it is, so that nothing can be told", flush=True)
        return False
    print(f"{room}: {len(drawn)} of {total} mutants, seed {seed}", flush=True)

    def lives(one: Drawn) -> bool:
        alive = tests.pass_with(one)
        if alive:
            print(f"  lived: {one}", flush=True)
        return alive

    with ThreadPoolExecutor(jobs) as pool:
        try:
            dead = list(pool.map(lives, drawn)).count(False)
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise
    demanded = DEMANDED_OF.get(room, DEMANDED)
    share = dead / len(drawn)
    print(f"{room}: {dead} of {len(drawn)} dead, {share:.0%}; demanded {demanded:.0%}", flush=True)
    return share >= demanded


def main() -> int:
    """Judge the rooms that are named, or all of them."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("rooms", nargs="*", metavar="ROOM", help="a room, or a module: case/walk")
    parser.add_argument("--sample", type=int, default=40, help="mutants of each room (40)")
    parser.add_argument("--seed", type=int, default=1, help="which sample is drawn (1)")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1, help="processes at once")
    parser.add_argument("--working", action="store_true", help="a fifth of the examples only")
    options = parser.parse_args()
    FORKED.set_forkserver_preload(PRELOADED)
    there = {path.stem for path in (ROOT / "diagnose").iterdir()}
    known = dict.fromkeys([*DEMANDED_OF, *TESTS])
    rooms = options.rooms or [room for room in known if room.partition("/")[0] in there]
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        copies = Copies(Path(folder), options.jobs)
        profiles = ("working",) if options.working else ("working", "all")
        every = [Tests(room, copies, profiles) for room in rooms]
        good = [judge(tests, options.jobs, options.sample, options.seed) for tests in every]
    return 0 if all(good) else 1


if __name__ == "__main__":
    sys.exit(main())
