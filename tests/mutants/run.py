"""How many small wrong changes of a room its tests notice.

`python tests/mutants/run.py [ROOM ...] [--sample N] [--seed S] [--jobs J]`

A room is a folder of `diagnose/`, or one module of it (`case/walk`). A fixed sample of its mutants
is drawn; each is run against the tests that cover the room, in a copy of the checkout, and is dead
when a test fails or does not end in time. Those in `equivalent.txt` change nothing that could be
noticed, each with its reason; they are not drawn. Exit code 1 where fewer die than is demanded.

Why not a ready tool (tried in November 2026): mutmut 3 changes nothing outside functions, and here
the tables and limits are; cosmic-ray 8 works on the checkout's own files, knows no room and no
sample, and most of its mutants are operators that no number has (`+` to `<<`), which die unasked.
"""

from __future__ import annotations

import argparse
import ast
import os
import queue
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from mutations import Mutant, mutants, mutated

ROOT = Path(__file__).parents[2]
EQUIVALENT = Path(__file__).with_name("equivalent.txt")

#: The tests that cover a room, run one after the other until one fails, so the quick ones first;
#: what is not there is left out.
TESTS = {
    "text": ["tests/files", "tests/faces", "tests/docs", "tests/case"],
    "files": ["tests/files", "tests/rules", "tests/outside/test_yaml_words.py", "tests/docs"],
    "measure": [
        *("tests/measure/test_workings.py", "tests/measure/test_limits.py"),
        *("tests/measure/test_measure_registry.py", "tests/measure/test_measure_units.py"),
        "tests/measure",
    ],
    "study": ["tests/study", "tests/outside"],
    "rules": ["tests/rules"],
    "case": ["tests/case", "tests/faces", "tests/test_every_answer.py"],
    "round": ["tests/round", "tests/case", "tests/commands", "tests/outside"],
    "log": ["tests/log", "tests/case", "tests/commands"],
    "drill": ["tests/drill"],
    "paper": ["tests/paper"],
    "faces": ["tests/faces"],
    "commands": ["tests/commands", "tests/measure", "tests/paper", "tests/docs"],
}
#: The share that has to die: more where somebody can be hurt or sent the wrong way.
DEMANDED = 0.85
DEMANDED_OF = {
    "measure": 0.9,
    "case/walk": 0.9,
    "case/branches": 0.9,
    "case/replay": 0.9,
    "log/replay": 0.9,
    "study/in_force": 0.9,
    "rules/safety": 0.9,
}
LEFT_OUT = shutil.ignore_patterns(".git", ".venv", ".*_cache", "__pycache__", "*.db", ".hypothesis")
#: Memory of one run, in bytes: a mutant may well fill a list without end.
MEMORY = 4 << 30

# Said before the tests, in their own process: the limit, and which program is tested.
PRELUDE = f"""
import pathlib, resource, sys
resource.setrlimit(resource.RLIMIT_AS, ({MEMORY}, {MEMORY}))
try:
    import diagnose
except ImportError:
    sys.exit(1)
assert pathlib.Path(diagnose.__file__).is_relative_to(pathlib.Path.cwd()), diagnose.__file__
import pytest
sys.exit(pytest.main(["-x", "-q", "-p", "no:cacheprovider", "-p", "no:xdist", *sys.argv[1:]]))
"""


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

    def run(self, room: str, one: Drawn | None, limit: float | None) -> tuple[bool, float]:
        """Whether all tests pass with this mutant (None: as the room is), and the seconds taken."""
        if one:
            text = (self.source / one.module).read_text(encoding="utf-8")
            changes = {one.module: mutated(text, one.mutant)}
        else:  # Written anew as a mutant is, so that like is compared with like.
            paths = modules(room, self.source)
            changes = {str(path.relative_to(self.source)): rewritten(path) for path in paths}
        copied = self._free.get()
        try:
            for module, text in changes.items():
                _write(copied / module, text)
            return _tested(room, copied, limit)
        finally:
            for module in changes:
                _write(copied / module, (self.source / module).read_text(encoding="utf-8"))
            self._free.put(copied)


def rewritten(path: Path) -> str:
    """A module's text without a change, put together as that of a mutant."""
    return ast.unparse(ast.parse(path.read_text(encoding="utf-8"))) + "\n"


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8")
    # Compiled files are told apart by second and size, which two mutants may share.
    for compiled in (path.parent / "__pycache__").glob(f"{path.stem}.*"):
        compiled.unlink()


def _tested(room: str, copied: Path, limit: float | None) -> tuple[bool, float]:
    began = time.monotonic()
    # Most die of a few examples; only what lives then meets all of them.
    for profile in ("working", "all"):
        for tests in TESTS[room.split("/", maxsplit=1)[0]]:
            left = None if limit is None else limit - (time.monotonic() - began)
            if (copied / tests).exists() and not _passes(tests, profile, copied, left):
                return False, time.monotonic() - began
    return True, time.monotonic() - began


def _passes(tests: str, profile: str, copied: Path, limit: float | None) -> bool:
    process = subprocess.Popen(
        [sys.executable, "-c", PRELUDE, f"--hypothesis-profile={profile}", tests],
        cwd=copied,
        env=os.environ | {"PYTHONPATH": str(copied)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        return process.wait(limit) == 0
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        return False


def judge(room: str, copies: Copies, jobs: int, size: int, seed: int) -> bool:
    """Print how a room fares, those that live as they are found; whether as many die as demanded."""
    drawn, total = sample(room, copies.source, size, seed)
    passed, seconds = copies.run(room, None, None)
    if not passed:
        print(f"{room}: its tests fail as it is, so that nothing can be told", flush=True)
        return False
    limit = 3 * seconds + 20
    print(f"{room}: {len(drawn)} of {total} mutants, seed {seed}", flush=True)

    def lives(one: Drawn) -> bool:
        alive, _ = copies.run(room, one, limit)
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
    options = parser.parse_args()
    there = {path.stem for path in (ROOT / "diagnose").iterdir()}
    rooms = options.rooms or [room for room in TESTS if room in there]
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        copies = Copies(Path(folder), options.jobs)
        good = [judge(one, copies, options.jobs, options.sample, options.seed) for one in rooms]
    return 0 if all(good) else 1


if __name__ == "__main__":
    sys.exit(main())
