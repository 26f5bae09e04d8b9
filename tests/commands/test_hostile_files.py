"""Files that were made to cost time, memory or paper: whatever is in one, `check` stays small.

Each is read by a process of its own, of which the system says how much time and memory it took.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

import pytest
from strategies.hostile import LIBRARIES, NO_CAUTIONS, chain, in_turn
from strategies.sampling import some

from diagnose.commands.check import MOST, MOST_IN_ALL

#: MiB, seconds of the processor, and bytes of what is said.
MOST_MEMORY, MOST_SECONDS, MOST_SAID = 300, 5.0, 100_000


# Says on its way out how much memory it came to. What the system says of a child (ru_maxrss) counts
# its parent too, whose copy it is at first; the high-water mark of its own is Linux's alone.
PROGRAM = """
import atexit, pathlib, re, sys
from diagnose import app
file = sys.argv.pop()
def said():
    status = pathlib.Path("/proc/self/status").read_text()
    pathlib.Path(file).write_text(re.search("VmHWM: *([0-9]+)", status.replace("\\t", " "))[1])
atexit.register(said)
app.main()
"""
if not Path("/proc/self/status").exists():
    pytest.skip("the memory of a process is not told here", allow_module_level=True)


class Ended(NamedTuple):
    """How a process ended, and what it took."""

    code: int
    out: bytes
    err: bytes
    seconds: float
    memory: float


def ended(args: list[str], folder: Path, given: Path | None = None) -> Ended:
    """Run the program to its end."""
    out, err = folder / "out", folder / "err"
    with (
        out.open("wb") as said,
        err.open("wb") as told,
        Path(given or os.devnull).open("rb") as in_,
    ):
        child = subprocess.Popen(
            [sys.executable, "-c", PROGRAM, *args, str(folder / "memory")],
            stdin=in_,
            stdout=said,
            stderr=told,
        )
        _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    seconds = used.ru_utime + used.ru_stime
    memory = int((folder / "memory").read_text()) / 1024
    return Ended(child.returncode, out.read_bytes(), err.read_bytes(), seconds, memory)


def written(folder: Path, files: dict[str, str | bytes]) -> Path:
    """Write a library; return its folder."""
    library = folder / "library"
    library.mkdir(parents=True)
    for name, content in ({"cautions.yaml": NO_CAUTIONS} | files).items():
        raw = content.encode() if isinstance(content, str) else content
        (library / name).write_bytes(raw)
    return library


@pytest.mark.parametrize("name", some(LIBRARIES))
def test_any_file_is_read_or_refused_in_bounds(name: str, tmp_path: Path) -> None:
    library = written(tmp_path, LIBRARIES[name])
    done = ended(["check", "--trees", str(library)], tmp_path)
    assert (done.err, done.code in (0, 1)) == (b"", True)
    assert done.memory < MOST_MEMORY
    assert done.seconds < MOST_SECONDS
    assert len(done.out) < MOST_SAID


def test_json_says_no_more_than_lines_do(tmp_path: Path) -> None:
    library = written(tmp_path, LIBRARIES["199,000 wrong keys"])
    done = ended(["check", "--json", "--trees", str(library)], tmp_path)
    assert done.code == 1
    assert len(done.out) < MOST_SAID
    told = json.loads(done.out)
    assert len(told["problems"]) == MOST
    (more,) = told["more"]
    assert more == {"file": str(library / "t.yaml"), "count": 900, "at_least": True}
    lines = ended(["check", "--trees", str(library)], tmp_path).out.decode().splitlines()
    assert len([line for line in lines if " error: " in line]) == MOST
    assert any(line.endswith("and at least 900 more; mend these first.") for line in lines)


@pytest.mark.parametrize("face", ["--json", "--plain"])
def test_of_many_files_with_many_problems_the_first_1000_are_said(
    face: str, tmp_path: Path
) -> None:
    files: dict[str, str | bytes] = {
        f"t{n:02}.yaml": chain(120)
        .replace("last,", "lost,")
        .replace("symptom: t", f"symptom: t{n:02}")
        .replace("title: ", f"title: {n:02} ")
        for n in range(40)
    }
    library = written(tmp_path, files)
    done = ended(["check", face, "--trees", str(library)], tmp_path)
    assert (done.code, done.err) == (1, b"")
    if face == "--json":
        told = json.loads(done.out)
        assert len(told["problems"]) == MOST_IN_ALL
        assert {one["at_least"] for one in told["more"]} == {False}
        counts = [one["count"] for one in told["more"]]
    else:
        lines = done.out.decode().splitlines()
        assert len([line for line in lines if " error: " in line]) == MOST_IN_ALL
        counts = [int(line.split()[2]) for line in lines if line.endswith("mend these first.")]
        assert lines[-2].startswith("40 trees, the cautions; 4800 errors")
    # Ten files have as many said as one may have, of the others nothing is.
    assert counts == [20] * 10 + [120] * 30
    assert len(done.out) < 400_000


@pytest.mark.parametrize("verb", ["start", "order", "draw", "sheets", "quiz"])
def test_whoever_wants_a_broken_tree_is_told_one_line(verb: str, tmp_path: Path) -> None:
    library = written(tmp_path, LIBRARIES["26,000 wrong targets"])
    done = ended([verb, "t", "--trees", str(library)], tmp_path)
    assert (done.code, done.out) == (3, b"")
    assert len(done.err) < 1_000
    assert done.seconds < MOST_SECONDS


@pytest.mark.parametrize(
    "text",
    [
        chain(3_000),
        # Each finding is met again and again along the chain: that is followed once.
        in_turn(3_000, 100),
        in_turn(3_000, 200, each=5),
    ],
    ids=["one finding", "a hundred in turn", "five of 200 in turn"],
)
def test_a_chain_of_3000_steps_shows_its_first_screen_within_3_seconds(
    text: str, tmp_path: Path
) -> None:
    library = written(tmp_path, {"t.yaml": text})
    args = ["start", "t", "--machine", "none", "--trial", "--json", "--trees", str(library)]
    done = ended(args, tmp_path)
    assert (done.code, done.err) == (0, b"")
    assert json.loads(done.out.splitlines()[0])["open"] > 0
    assert done.seconds < 3.0
    assert done.memory < MOST_MEMORY


def test_a_quiz_on_1000_steps_takes_2_seconds(tmp_path: Path) -> None:
    library = written(tmp_path, {"t.yaml": chain(1_000)})
    args = ["quiz", "t", "--trees", str(library), "-o", str(tmp_path / "quiz.pdf")]
    done = ended(args, tmp_path)
    assert (done.code, done.err) == (0, b"")
    assert done.seconds < 2.0
    assert done.memory < MOST_MEMORY


@pytest.mark.parametrize("face", ["--json", "--plain"])
def test_a_reply_of_64_mib_is_no_reply(face: str, tmp_path: Path) -> None:
    given = tmp_path / "replies"
    given.write_bytes(b"x" * 64 * 1024 * 1024 + b"\nleave\n")
    done = ended(["start", "leak", "--machine", "none", "--trial", face], tmp_path, given)
    assert (done.code, done.err) == (0, b"")
    assert done.memory < MOST_MEMORY
    assert done.seconds < MOST_SECONDS
    assert len(done.out) < MOST_SAID
