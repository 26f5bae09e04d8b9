"""A round that refers more than one case: each has its own name, page and verdict."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest
import yaml
from strategies.desk import Desk, Script
from strategies.rounds import DEAD_FOR_SERVICE, LINES, ROUND_WITH_LAMP, written

from diagnose.commands import round as round_verb
from diagnose.files.library import built_in

if TYPE_CHECKING:
    from pathlib import Path


class Referring:
    """Somebody who finds some items not right, and whose answers lead to a cause for service."""

    def __init__(self, library: Path, not_right: tuple[str, ...]) -> None:
        self.not_right = not_right
        self.steps: dict[str, Any] = {
            path.stem: yaml.safe_load(path.read_text("utf-8"))["steps"]
            for path in library.glob("*.yaml")
            if path.stem not in ("cautions", "site")
        }

    def __call__(self, screen: Any) -> str:
        kind = screen.screen
        if kind == "caution":
            return "done"
        if kind == "item":
            return "not right" if screen.item in self.not_right else "done"
        if kind == "finding":
            return "refer" if screen.who == "service" else "not cured"
        if kind == "reading":
            return "unsure"
        ways = self.steps[screen.symptom][screen.step]["answers"]
        away = {answer: self._away(screen.symptom, to) for answer, to in ways.items()}
        return min(away, key=lambda answer: away[answer])

    def _away(self, symptom: str, step: str) -> float:
        """Return how many steps lead from here to a cause for service that needs a part."""
        here = self.steps[symptom][step]
        if "finding" in here:
            return 0 if here.get("who") == "service" and here.get("parts") else float("inf")
        ways = here.get("answers") or {
            way["call" if "call" in way else "otherwise"]: way["go"] for way in here["bands"]
        }
        return 1 + min(self._away(symptom, to) for to in ways.values())


def three_symptoms(library: Path) -> None:
    """Write the small library with a third symptom, whose item is the last of the round."""
    bring = "    ask_service: Straighten the frame.\n"
    lines = LINES.replace(bring, f"{bring}    parts: [squeegee frame]\n")
    leak = (
        "format: 1\nsymptom: leak\ntitle: It drips\nstart: where\nsteps:\n"
        "  where:\n    ask: Where does it drip?\n    passes: none\n"
        "    answers: {From the lid: lid, From the tank: tank}\n"
        "  lid: {finding: The lid is open., chance: 50, who: operator, remedy: Shut it.}\n"
        "  tank: {finding: The tank is split., chance: 50, who: service, leave_safe: Drain it.,"
        " ask_service: Weld the tank., parts: [tank, seal]}\n"
    )
    round_ = ROUND_WITH_LAMP + "    starts: leak\n"
    written(library, lines=lines, dead=DEAD_FOR_SERVICE, leak=leak, round_=round_)


#: By round: the items that are not right (the first, one in the middle, the last that is shown once
#: something waits for service), and the symptoms that they start.
SMALL = ("daily", ("look", "lamp", "close"), ("lines", "dead", "leak"))
WEEKLY = (
    "weekly",
    ("bristles-measured", "edges-looked-at", "seals-looked-at"),
    ("dirt-stays", "streaking", "leak"),
)


@pytest.fixture(params=[SMALL, WEEKLY], ids=["small", "weekly"])
def walked(
    request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> tuple[Desk, Script, tuple[str, ...]]:
    name, items, symptoms = request.param
    desk = Desk(tmp_path, monkeypatch, built_in=name == "weekly")
    if name == "daily":
        three_symptoms(desk.library)
    library = built_in() if desk.built_in else desk.library
    face = Script(Referring(library, items))
    monkeypatch.setattr(round_verb, "face_for", lambda **_: face)
    assert desk("round", name, "--machine", "dock", "--as", "service")[0] == 0
    return desk, face, symptoms


def test_three_referrals_are_three_cases_three_pages_and_three_verdicts(
    walked: tuple[Desk, Script, tuple[str, ...]],
) -> None:
    desk, face, symptoms = walked
    listed = desk.cases()
    (round_,) = [one for one in listed if one["round"] is not None]
    cases = sorted(
        (one for one in listed if one["round"] is None),
        key=lambda one: symptoms.index(one["symptom"]),
    )
    assert [one["symptom"] for one in cases] == list(symptoms)
    assert {(one["outcome"], one["begun_in"]) for one in cases} == {("referred", round_["name"])}
    assert round_["outcome"] == "walked"
    names = [one["name"] for one in cases]

    # The round says so at its end …
    end = face.screens[-1]
    pages = [dict(note.into)["case"] for note in end.notes if note.id == "end-handover"]
    assert [page.split()[0] for page in pages] == names
    # … in the list …
    lines = {line.split()[0]: line for line in desk("cases")[1].splitlines()}
    said = ", ".join(f"{name} referred" for name in names)
    assert lines[round_["name"]].endswith(f"walked; its cases: {said}")
    for name in names:
        assert lines[name].endswith(f"referred, in round {round_['name']}")
    # … where a verdict is told to it …
    code, _, err = desk("cases", "found", round_["name"], "anything")
    assert code == 2
    assert (
        err
        == f"diagnose: {round_['name']} is a round; name one of its cases: {', '.join(names)}.\n"
    )
    # … and on a page of its own.
    whole = _json(desk, "handover", round_["name"])
    assert whole["cases"] == [[n, s, "referred"] for n, s in zip(names, symptoms, strict=True)]
    text = desk("handover", round_["name"])[1]
    assert all(name in text for name in names)

    shown = [screen for screen in face.screens if getattr(screen, "who", "") == "service"]
    for name, symptom in zip(names, symptoms, strict=True):
        page = _json(desk, "handover", name)
        (screen,) = [one for one in shown if one.symptom == symptom]
        asked = page["asked"][0]
        assert (asked["finding"], asked["stopped"]) == (screen.finding, True)
        assert asked["parts"] == list(screen.parts) != []
        # Parts are brought for what is likely.
        if screen.probability > 0.1:
            assert page["parts"][: len(screen.parts)] == list(screen.parts)
        assert page["begun_in"] == round_["name"]
        # What the round had in force is told with the lines that were confirmed there.
        assert all(caution["confirm"] for caution in page["cautions"] if not caution["included"])
        text = " ".join(desk("handover", name)[1].split())
        assert "No cause for service stands out" not in text
        assert f"cases found {name} " in text
        assert screen.finding.split(",")[0] in text
        for part in screen.parts:
            assert part in text.split("**Parts to bring:**")[1]
        code, out, _ = desk("cases", "found", name, screen.step, "--released", "--name", "Bo")
        assert (code, out.splitlines()[0]) == (0, f"{name}: service found {screen.finding}")
    found = {one["name"]: one["found"] for one in desk.cases()}
    assert [found[name] is not None for name in names] == [True] * 3
    assert found[round_["name"]] is None
    # What the round itself left locked out is not released with any one case.
    desk("release", "dock", "--name", "Bo")
    (row,) = [row for row in desk.walk("cases", "--open")[0] if row["machine"] == "dock"]
    assert (row["state"], row["waiting"]) == ("in use", [])


def test_what_waits_says_the_cause_and_the_part_of_each(
    walked: tuple[Desk, Script, tuple[str, ...]],
) -> None:
    desk, face, symptoms = walked
    (row,) = [row for row in desk.walk("cases", "--open")[0] if row["machine"] == "dock"]
    parts = {s.symptom: list(s.parts) for s in face.screens if getattr(s, "who", "") == "service"}
    waiting = [waits for waits in row["waiting"] if waits["symptom"] is not None]
    assert {waits["symptom"]: waits["parts"] for waits in waiting} == parts
    assert set(parts) == set(symptoms)


def _json(desk: Desk, *args: str) -> dict[str, Any]:
    code, out, err = desk(*args, "--json")
    assert (code, err) == (0, "")
    data: dict[str, Any] = json.loads(out)
    return data
