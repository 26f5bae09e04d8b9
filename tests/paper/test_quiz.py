"""The quiz: its situations are the tree's, and its key is what the walk itself would say."""

from __future__ import annotations

import json
import unicodedata
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING

import pytest
from drawn import SYMPTOMS, pdf_of, tree_of

from diagnose import app
from diagnose.case import onward
from diagnose.case.screens import CautionScreen, EndScreen
from diagnose.case.view import screen
from diagnose.case.visit import Visit
from diagnose.case.walk import reply
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.files.library import built_in
from diagnose.paper.quiz import OPTIONS, Situation, situations, what

if TYPE_CHECKING:
    from diagnose.case.state import State


@pytest.fixture(autouse=True)
def _in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")


def drawn(symptom: str, seed: int = 1, count: int = 10) -> tuple[ReadyLibrary, list[Situation]]:
    library = ReadyLibrary(built_in())
    ready = library.require(symptom)
    made = situations(ready, library.table, Random(seed), count)
    return library, made


@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_ten_situations_end_at_ten_steps(symptom: str) -> None:
    library, made = drawn(symptom)
    assert len(made) == len({one.step for one in made}) == 10
    steps = library.require(symptom).tree.steps
    for one in made:
        assert len(set(one.options)) == len(one.options) == OPTIONS
        assert one.options[one.right] == what(steps[one.step])  # type: ignore[index]
        # No built-in tree asks so much that only the last answers are told.
        assert one.so_far
        assert one.earlier == 0
    if symptom != "which-symptom":
        # Low runtime is mostly read and asked.
        least = 4 if symptom == "low-runtime" else 5
        assert sum(bool(one.cautions) for one in made) >= least


@pytest.mark.many_cases
@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_the_walk_agrees_with_the_key(symptom: str) -> None:
    """The answers so far, replied to a case, bring the same cautions and the same step."""
    library, made = drawn(symptom, 2, 30)
    # With what the readings want from a card, but no question answered by it.
    card = library.machines and library.content.card("dock")
    visit = Visit(tree=library, table=library.table, role="service", card=card)
    for one in made:
        state, _ = onward.opened(visit, symptom)
        for question, answer in one.so_far:
            state, _ = _cautions_taken(visit, state)
            frame = state.frames[-1]
            step = frame.tree.steps[frame.at]
            assert what(step) == question
            # A figure would have to be found for each band: the walk's own step will do.
            place = [way.answer for way in step.exits].index(answer)  # type: ignore[union-attr]
            answered = onward.on_top(state, onward.answered(frame, frame.at, place))
            state = onward.settle(visit, answered, frame.tree.plan.ways[frame.at][place], True, [])
        if "continue_with" in tree_of(symptom)["steps"][one.step]:
            assert one.cautions == ()
            continue
        state, titles = _cautions_taken(visit, state)
        shown = screen(visit, state)
        assert not isinstance(shown, EndScreen)
        assert shown.step == one.step  # type: ignore[attr-defined]
        assert titles == one.cautions


def _cautions_taken(visit: Visit, state: State) -> tuple[State, tuple[str, ...]]:
    titles = []
    while isinstance(shown := screen(visit, state), CautionScreen):
        if shown.phase == "take":
            titles += [guard.title for guard in shown.cautions]
        state = reply(visit, state, "done").state
    return state, tuple(titles)


def test_a_seed_gives_the_same_sheet_each_time() -> None:
    _, made = drawn("streaking", 7)
    assert made == drawn("streaking", 7)[1]
    assert made != drawn("streaking", 8)[1]
    # Random.random is the same on every platform (Python's documentation, status M).
    assert round(Random(7).random(), 12) == 0.323832764833


def test_who_may_is_the_files_own_word() -> None:
    _, made = drawn("low-runtime", 3, 100)
    steps = tree_of("low-runtime")["steps"]
    for one in made:
        step = steps[one.step]
        if "continue_with" not in step:
            assert one.who == step.get("who", step.get("by", "operator"))


def test_the_key_stands_on_a_sheet_of_its_own(capsys: pytest.CaptureFixture[str]) -> None:
    assert app.run(["quiz", "poor-pickup", "--seed", "4", "--json"]) == 0
    (said,) = json.loads(capsys.readouterr().out)["files"]
    assert said["type_size"] >= 10.0
    pages = [
        unicodedata.normalize("NFKC", " ".join(page.extract_text().split()))
        for page in pdf_of(Path("poor-pickup-quiz.pdf").read_bytes()).pages
    ]
    assert len(pages) == said["sheets"] >= 2
    begins = [place for place, page in enumerate(pages) if "Key: " in page]
    assert len(begins) == 1
    questions, key = (" ".join(part) for part in (pages[: begins[0]], pages[begins[0] :]))
    assert questions.startswith("Quiz: ")
    _, made = drawn("poor-pickup", 4)
    for number, one in enumerate(made, 1):
        assert f"{number}. So far:" in questions
        letter = "abc"[one.right]
        right = "".join(one.options[one.right].split())
        assert f"{number}.{letter}){right}" in "".join(key.split())
        for option in one.options:
            assert "".join(option.split()) in "".join(questions.split())
    assert "Seed 4." in pages[0]


@pytest.mark.parametrize(
    ("args", "code", "says"),
    [
        (["streakin"], 2, 'Did you mean "streaking"?'),
        (["streaking", "-o", "x.dot"], 2, "has to end in one of"),
        (["streaking", "-o", "nowhere/x.pdf"], 3, "nowhere/x.pdf"),
        ([], 2, "symptom"),
    ],
)
def test_what_cannot_be_printed_is_said_in_one_line(
    args: list[str], code: int, says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert app.run(["quiz", *args]) == code
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert says in said


def test_a_small_tree_says_how_many_it_has(
    library: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert app.run(["quiz", "beta", "--trees", str(library), "-o", "x.svg"]) == 0
    assert "the tree has only 3 situations" in capsys.readouterr().out
