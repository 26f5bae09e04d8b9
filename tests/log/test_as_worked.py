"""A case printed as a worked case: it can be put into its tree, and the checker has nothing against it."""

from __future__ import annotations

import io
import json
import shutil
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any

import pytest
import yaml
from strategies.desk import Desk
from strategies.sampling import some

from diagnose.app import run
from diagnose.drill.figures import Figures, Wanted
from diagnose.drill.quantities import Lines
from diagnose.files.library import built_in, load
from diagnose.files.tree import Reading
from diagnose.measure.registry import MEASUREMENTS

if TYPE_CHECKING:
    from diagnose.files.library import Library

SYMPTOMS = sorted(load(built_in()).trees)


class Chance(io.TextIOBase):
    """A standard input of somebody who replies by chance, and is sooner or later done."""

    def __init__(self, library: Library, random: Random, out: io.StringIO) -> None:
        self.library, self.random, self.out = library, random, out
        card = library.card("dock")
        lines = Lines(lambda path: card and card.line(path))
        self.figures = Figures(lines, random, MEASUREMENTS)
        self.count = 0

    def readline(self, size: int = -1) -> str:  # type: ignore[override]
        self.count += 1
        screen = json.loads(self.out.getvalue().splitlines()[-1])
        assert screen["screen"] != "refused", screen
        if self.count > 200:
            return ""
        return f"{self.reply(screen)}\n"

    def reply(self, screen: dict[str, Any]) -> str:
        can = [reply["id"] for reply in screen["replies"]]
        if "back" in can and self.random.random() < 0.05:
            return "back"
        if screen["screen"] == "finding":
            ends = [one for one in ("cured", "refer") if one in can]
            others = [one for one in ("not cured", "not it", "keep looking") if one in can]
            return self.random.choice(ends if self.random.random() < 0.5 else others or ends)
        if screen["screen"] in ("check", "reading") and self.random.random() < 0.1:
            return "unsure"
        if screen["screen"] == "check":
            return str(self.random.choice(screen["answers"])["id"])
        if screen["screen"] == "reading":
            step = self.library.trees[screen["symptom"]].steps[screen["step"]]
            assert isinstance(step, Reading)
            taken = self.figures.shown(Wanted(step, self.random.randrange(len(step.exits))), 0.5)
            typed = taken.typed or (("value", f"{taken.value:.6g}"),)
            return " ".join(f"{name}={text}" for name, text in typed)
        return "done"


@pytest.mark.many_cases
@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_what_is_printed_passes_the_checker(
    symptom: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = Desk(tmp_path, monkeypatch, built_in=True)
    trees, library = Path(shutil.copytree(built_in(), tmp_path / "trees")), load(built_in())
    printed = 0
    for seed in some(range(25)):
        out = io.StringIO()
        with monkeypatch.context() as patch:
            patch.setattr("sys.stdin", Chance(library, Random(seed), out))
            patch.setattr("sys.stdout", out)
            args = ("start", symptom, "--machine", "dock", "--as", "battery-trained", "--json")
            assert run([*args, "--log", str(desk.log)]) == 0
        end = json.loads(out.getvalue().splitlines()[-1])
        if end.get("case") is None:
            continue
        code, text, err = desk("cases", "show", end["case"], "--worked")
        if code == 2:
            assert "makes no worked case" in err
            assert end["outcome"] != "cured"
            continue
        assert (code, err) == (0, "")
        printed += 1
        for block in text.split("  # For worked_cases in ")[1:]:
            file, _, lines = block.partition(":\n")
            (case,) = yaml.load(lines, yaml.BaseLoader)
            path = trees / file
            # In built-in trees the worked cases stand last.
            path.write_text(path.read_text("utf-8") + lines, "utf-8")
            finding = load(trees).trees[path.stem].worked_cases[-1].finding
            assert case["finding"] == finding
    assert printed
    code, said, _ = desk("check", str(trees))
    assert code == 0
    assert "no errors, no warnings" in said, said
