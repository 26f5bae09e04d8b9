"""Long work on paper is done apart: an end from outside ends it at once, and its death is one line."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from strategies.hostile import NO_CAUTIONS, chain

from diagnose import app
from diagnose.paper import apart, render, typesetter
from diagnose.paper.letters import CannotRender


def doubled(number: int) -> int:
    return 2 * number


def refused(why: str) -> None:
    raise CannotRender(why)


def killed() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


@pytest.fixture(autouse=True)
def _found_by_the_child(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(filter(None, sys.path)))


def test_the_result_comes_back() -> None:
    assert apart.worked(doubled, 21) == 42


def test_what_it_refuses_is_raised_here() -> None:
    with pytest.raises(CannotRender, match="no such letter"):
        apart.worked(refused, "no such letter")


def test_its_death_is_one_line() -> None:
    with pytest.raises(CannotRender, match="too large for this computer"):
        apart.worked(killed)


@pytest.mark.parametrize("verb", ["draw", "sheets", "quiz"])
def test_a_page_is_the_same_done_apart(
    verb: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    args = [verb, "which-symptom", "-o"]
    assert app.run([*args, str(tmp_path / "here.svg")]) == 0
    monkeypatch.setattr(render, "LONG", 0)
    monkeypatch.setattr(typesetter, "LONG", 0)
    assert app.run([*args, str(tmp_path / "apart.svg")]) == 0
    here, there = (
        [path.read_bytes() for path in sorted(tmp_path.glob(f"{name}*.svg"))]
        for name in ("here", "apart")
    )
    assert here
    assert here == there


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="no children are listed here")
@pytest.mark.parametrize(
    ("end", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)], ids=["Ctrl-C", "ended"]
)
def test_an_end_ends_a_long_drawing_at_once(end: int, code: int, tmp_path: Path) -> None:
    # Each step also leads to the last one, which takes Graphviz minutes.
    library = tmp_path / "library"
    library.mkdir()
    (library / "t.yaml").write_text(chain(400), "utf-8")
    (library / "cautions.yaml").write_text(NO_CAUTIONS, "utf-8")
    args = ["draw", "t", "--trees", str(library), "-o", str(tmp_path / "t.svg")]
    with subprocess.Popen(
        [sys.executable, "-m", "diagnose", *args],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        process_group=0,
    ) as drawing:
        while not children(drawing.pid):
            assert drawing.poll() is None
            time.sleep(0.05)
        (child,) = children(drawing.pid)
        drawing.send_signal(end)
        said = drawing.communicate(timeout=30)
    assert (drawing.returncode, *said) == (code, b"", b"")
    # It is killed, or finds that nobody sends it work; whose it is now has to notice.
    until = time.monotonic() + 20
    while Path(f"/proc/{child}").exists() and time.monotonic() < until:
        time.sleep(0.05)
    assert not Path(f"/proc/{child}").exists()
    assert [path.name for path in tmp_path.iterdir()] == ["library"]


def children(process: int) -> list[int]:
    listed = Path(f"/proc/{process}/task/{process}/children").read_text(encoding="ascii")
    return [int(one) for one in listed.split()]
