"""What worked cases walk, against every one of them driven through the JSON lines of `start`.

The files are read as plain YAML here, and no step of the way is taken from the program: it is told
one reply after another, and what it asks is compared with where the arrows of the file lead. Only
the figures that fall in a band that a case names are made by the drill.
"""

from __future__ import annotations

import io
import json
import shutil
from itertools import product
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any

import pytest
import yaml
from strategies.desk import Desk

from diagnose.app import run
from diagnose.drill.figures import Figures, Wanted
from diagnose.drill.quantities import Lines
from diagnose.files.library import built_in, load
from diagnose.measure.registry import MEASUREMENTS

if TYPE_CHECKING:
    from collections.abc import Callable

TREES = built_in()
SYMPTOMS = sorted(
    path.stem for path in TREES.glob("*.yaml") if path.stem not in ("cautions", "site")
)

#: Lines of a machine card that measurements take, with their examples.
CARD = {
    need.card: need.example
    for measurement in MEASUREMENTS.values()
    for need in measurement.needs
    if need.card
}
#: The one line of it that answers steps: each case is walked on a machine on which it can be so.
LINE, KINDS = "battery.kind", ("flooded", "sealed", "lithium")


class Told(io.TextIOBase):
    """A standard input that replies to the last screen."""

    def __init__(self, reply: Callable[[list[Any]], str], out: io.StringIO) -> None:
        self.reply, self.out = reply, out

    def readline(self, size: int = -1) -> str:  # type: ignore[override]
        return self.reply([json.loads(line) for line in self.out.getvalue().splitlines()]) + "\n"


class Walk:
    """One worked case, walked at the JSON lines: where the arrows lead, and what was passed."""

    def __init__(
        self, tree: dict[str, Any], case: dict[str, Any], figures: Callable[..., str]
    ) -> None:
        self.steps, self.case, self.figures = tree["steps"], case, figures
        self.symptom, self.at = tree["symptom"], tree["start"]
        self.passed: list[tuple[str, str]] = []
        self.looks: dict[str, str] = {}
        self.measured = 0
        asked = [name for name, step in self.steps.items() if step.get("from_card") == LINE]
        said = [case["answers"][name] for name in asked if name in case["answers"]]
        for name, answer in case["answers"].items():
            way = self.steps[name].get("answers", {}).get(answer if isinstance(answer, str) else "")
            said += way.get("applies_to", {}).get(LINE, []) if isinstance(way, dict) else []
        self.kind = (said or ["flooded"])[0]
        # A step that such a machine is not asked has an answer where the card says nothing.
        if any(self.kind not in self.fits(name) for name in case["answers"]):
            self.kind = "unknown"
        # Twelve cells, or as many as a case has read.
        read = [
            one for one in case["answers"].values() if isinstance(one, dict) and "readings" in one
        ]
        count = {len(one["readings"].split(",")) for one in read} & {6}
        self.machine = f"{self.kind if self.kind in KINDS else 'unknown'}-{6 if count else 12}"

    def fits(self, name: str) -> list[str]:
        """Return the kinds of battery to which a step applies."""
        return list(self.steps[name].get("applies_to", {}).get(LINE, (*KINDS, self.kind)))

    def ways(self, name: str) -> dict[str, str]:
        step = self.steps[name]
        if "answers" in step:
            return {a: to if isinstance(to, str) else to["go"] for a, to in step["answers"].items()}
        return {
            band.get("call", band.get("otherwise")): band["go"] for band in step.get("bands", ())
        }

    def look(self, name: str) -> str:
        """Return the first of all steps that look at the same."""
        return self.steps[name].get("same_as", name)

    def go(self, answer: str) -> None:
        self.passed.append((self.at, answer))
        self.looks[self.look(self.at)] = answer
        self.at = self.ways(self.at)[answer]

    def skip(self, to: str | None) -> None:
        """Follow the arrows past looks that are known, to the step that is asked or to the end."""
        while self.at != to and self.ways(self.at):
            step = self.steps[self.at]
            if step.get("from_card") == LINE and self.kind in KINDS:
                self.go(self.kind)
            elif self.kind in KINDS and self.kind not in self.fits(self.at):
                self.go(self.passing())
            else:
                self.go(self.looks[self.look(self.at)])
        assert to in (None, self.at)

    def passing(self) -> str:
        step = self.steps[self.at]
        on = [
            answer for answer, to in self.ways(self.at).items() if "finding" not in self.steps[to]
        ]
        (only,) = [step["passes"]] if "passes" in step else on
        return str(only)

    def figure(self, screens: list[Any]) -> None:
        """Go on by the band that the last reading fell in."""
        bands = [screen["band"] for screen in screens if screen["screen"] == "figure"]
        for band in bands[self.measured :]:
            self.go(band)
        self.measured = len(bands)

    def reply(self, screens: list[Any]) -> str:
        self.figure(screens)
        screen = screens[-1]
        if "refused" in [one["screen"] for one in screens]:
            return "leave"
        if screen["screen"] == "caution":
            return "done"
        if screen["screen"] not in ("check", "reading") or screen["symptom"] != self.symptom:
            return "leave"
        self.skip(screen["step"])
        said = self.case["answers"].get(self.at) or self.passing()
        if screen["screen"] == "check":
            self.go(said)
            return str(said)
        return self.figures(self.at, said)


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = Path(shutil.copytree(TREES, tmp_path_factory.mktemp("built-in") / "trees"))
    for kind, cells in product((*KINDS, "unknown"), ("6", "12")):
        name = f"{kind}-{cells}"
        card: dict[str, Any] = {"format": 2, "machine": name, "title": f"A machine, {name}"}
        for path, text in CARD.items():
            section, _, key = path.rpartition(".")
            (card.setdefault(section, {}) if section else card)[key] = text
        card["battery"].pop("kind")
        card["battery"]["cells"] = cells
        if kind in KINDS:
            card["battery"]["kind"] = kind
        (folder / "machines" / f"{name}.yaml").write_text(yaml.safe_dump(card, sort_keys=False))
    return folder


def walked(
    library: Path, symptom: str, patch: pytest.MonkeyPatch
) -> tuple[set[str], set[tuple[str, str]]]:
    """Return where the worked cases of a tree end, and the answers that they pass."""
    tree = yaml.load((TREES / f"{symptom}.yaml").read_text("utf-8"), yaml.BaseLoader)
    steps = load(TREES).trees[symptom].steps
    figures = Figures(Lines(CARD.get), Random(7), MEASUREMENTS)

    def figure(name: str, said: Any) -> str:
        reading = steps[name]
        if isinstance(said, dict):
            typed = list(said.items())
        else:
            number = [way.answer for way in reading.exits].index(said)
            taken = figures.shown(Wanted(reading, number), 0.5)
            typed = list(taken.typed) or [("value", f"{taken.value:.6g}")]
        return " ".join(f"{key}={text}" for key, text in typed)

    ends, passed = set(), set()
    for case in tree["worked_cases"]:
        walk = Walk(tree, case, figure)
        out = io.StringIO()
        with patch.context() as here:
            here.setattr("sys.stdin", Told(walk.reply, out))
            here.setattr("sys.stdout", out)
            code = run(
                [
                    "start",
                    symptom,
                    "--machine",
                    walk.machine,
                    "--as",
                    "service",
                    "--trial",
                    "--json",
                    "--trees",
                    str(library),
                ]
            )
        screens = [json.loads(line) for line in out.getvalue().splitlines()]
        assert code == 0
        assert "refused" not in [screen["screen"] for screen in screens], (case, screens[-3:])
        walk.skip(None)
        assert walk.at == case["finding"], case
        ends.add(walk.at)
        passed |= set(walk.passed)
    return ends, passed


@pytest.mark.many_cases
@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_coverage_is_what_the_cases_pass_at_the_machine(
    symptom: str, library: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    ends, passed = walked(library, symptom, monkeypatch)
    desk = Desk(tmp_path, monkeypatch, built_in=True)
    (told,) = desk.walk("check", symptom, "--coverage")
    found = told["coverage"][symptom]
    tree = yaml.load((TREES / f"{symptom}.yaml").read_text("utf-8"), yaml.BaseLoader)
    walk = Walk(tree, {"answers": {}}, lambda *_: "")
    wanted: dict[str, list[Any]] = {"findings": [], "doorways": [], "answers": [], "bands": []}
    of = dict.fromkeys(wanted, 0)
    for name, step in tree["steps"].items():
        if "finding" in step:
            kind = "doorways" if "continue_with" in step else "findings"
            of[kind] += 1
            wanted[kind] += [name] if name not in ends else []
        kind = "answers" if "ask" in step else "bands"
        of[kind] += len(walk.ways(name))
        wanted[kind] += [(name, way) for way in walk.ways(name) if (name, way) not in passed]
    for kind, missing in wanted.items():
        assert found[kind]["of"] == of[kind]
        got = [
            (row["step"], row["answer"]) if "answer" in row else row["step"]
            for row in found[kind]["missing"]
        ]
        assert got == missing, kind
