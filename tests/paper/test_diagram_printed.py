"""A drawing read back by what is printed: shapes, words and arrows, by where they stand on paper.

A person follows an arrow with a finger. The arrow has to end at the caution before it ends at the
step, and an answer's words have to stand at the arrow that goes to its step.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from drawn import SYMPTOMS, answers, called_cautions, caution_rules, tree_of
from printed import Arrow, Shape, lines_through_words, shapes_in

from diagnose import app
from diagnose.measure.registry import MEASUREMENTS
from diagnose.paper.node_styles import SIGNALS

if TYPE_CHECKING:
    from collections.abc import Iterator

WORDS = {"operator": "OPERATOR", "battery-trained": "BATTERY-TRAINED", "service": "SERVICE"}


@pytest.fixture(autouse=True)
def _in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")


def drawn_shapes(symptom: str) -> list[Shape]:
    assert app.run(["draw", symptom, "-o", "x.svg"]) == 0
    return shapes_in([Path("x.svg")])


def bare(text: str) -> str:
    """Return a text without its spaces: a line may be broken after a hyphen as well."""
    return "".join(text.split())


class Paper:
    """What one tree's drawing should say, from the files alone, and the walk that reads it."""

    def __init__(self, symptom: str) -> None:
        self.tree = tree_of(symptom)
        self.steps: dict[str, Any] = self.tree["steps"]
        self.number = {name: place for place, name in enumerate(self.steps, 1)}
        self.called = called_cautions(self.tree)

    def hexagon(self, name: str) -> list[str]:
        """Return the lines of the cautions before a step."""
        rules = caution_rules()["cautions"]
        return [
            " ".join([rules[one]["signal"], rules[one]["title"], *rules[one].get("signs", ())])
            for one in self.called[name]
        ]

    def words(self, name: str) -> str:
        """Return what stands in a step's own shape."""
        step = self.steps[name]
        if "finding" in step:
            who = WORDS.get(step.get("who", ""), "GO ON WITH")
            said = [f"{self.number[name]} · {who}", step["finding"]]
            if "continue_with" in step:
                said.append(f"→ {tree_of(step['continue_with'])['title']}")
            advice = step.get("leave_safe" if step.get("who") == "service" else "remedy")
            return " ".join(said + ([f"→ {advice}"] if advice else []))
        head = [f"{self.number[name]}", *(["MEASURE"] if "read" in step else [])]
        head += [WORDS[step["by"]]] if step.get("by", "operator") != "operator" else []
        asked = MEASUREMENTS[step["read"]].title if "read" in step else step["ask"]
        return " ".join([" · ".join(head), step.get("do", ""), asked])

    def outline(self, name: str) -> str:
        step = self.steps[name]
        if "continue_with" in step:
            return "box"
        if step.get("who") == "service":
            return "note"
        return "rounded" if "finding" in step else "slanted" if "read" in step else "diamond"

    def answers(self, name: str) -> Iterator[tuple[str, str]]:
        """Yield what stands at each arrow of a question, and the step that it leads to."""
        for answer, limit, to in answers(self.steps[name]):
            yield bare(answer + limit), to

    def check(self, shapes: list[Shape]) -> None:
        """Follow every arrow from the start on."""
        (start,) = [one for one in shapes if not one.entering]
        assert bare(start.words) == bare(self.tree["title"])
        self.seen: dict[Shape, str] = {start: ""}
        self.entered: dict[str, Shape] = {}
        (first,) = start.leaving
        waiting = [(first.to, self.tree["start"])]
        while waiting:
            shape, name = waiting.pop()
            waiting += self.arrived(shape, name)
        assert {*shapes} == {*self.seen}
        assert {*self.seen.values()} - {""} == {*self.steps}

    def arrived(self, shape: Shape, name: str) -> list[tuple[Shape, str]]:
        """Check what an arrow to a step ends at; return where the step's own arrows end."""
        # Every arrow to a step ends at the same shape: one past its cautions is an arrow too many.
        assert self.entered.setdefault(name, shape) is shape, name
        if shape in self.seen:
            assert self.seen[shape] in ("", name)
            return []
        self.seen[shape] = name
        said: list[str] = []
        while shape.outline == "hexagon":
            said.append(shape.words)
            strongest = next(
                one for one in ("DANGER", "WARNING", "CAUTION", "NOTICE") if one in shape.words
            )
            assert shape.fill == SIGNALS[strongest].lower()
            (on,) = shape.leaving
            shape = on.to
            assert shape not in self.seen
            self.seen[shape] = name
        assert bare("".join(said)) == bare("".join(self.hexagon(name))), name
        question = self.own(shape, name)
        self.seen[question] = name
        assert question.outline == self.outline(name)
        left = {bare(arrow.words): arrow for arrow in question.leaving}
        expected = dict(self.answers(name))
        assert left.keys() == expected.keys()
        assert len(left) == len(question.leaving)
        return [(left[words].to, to) for words, to in expected.items()]

    def own(self, shape: Shape, name: str) -> Shape:
        """Check a step's own words; return the shape that its answers leave."""
        assert bare(shape.words) == bare(self.words(name))
        return shape


@pytest.mark.many_cases
@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_a_drawing_leads_a_finger_through_the_tree(symptom: str) -> None:
    Paper(symptom).check(drawn_shapes(symptom))
    assert lines_through_words([Path("x.svg")]) == []


def test_a_line_through_words_is_seen() -> None:
    """The reader itself: an arrow that is led through words is found, with the words."""
    drawn_shapes("which-symptom")
    text = Path("x.svg").read_text("utf-8")
    words = re.search(r'class="node answer">.*?x="([-.\d]+)" y="([-.\d]+)"', text, re.DOTALL)
    assert words is not None
    x, y = map(float, words.groups())
    line = f'<g class="edge"><path d="M{x - 60},{y - 30}C{x},{y} {x},{y} {x + 60},{y + 24}"/></g>'
    Path("x.svg").write_text(text.replace("</g>\n</svg>", f"{line}</g>\n</svg>"), "utf-8")
    assert len(lines_through_words([Path("x.svg")])) == 1


def test_a_step_whose_caution_is_passed_by_is_seen() -> None:
    """The reader itself: an arrow bent past a caution, or to another number, is refused."""
    paper = Paper("streaking")
    shapes = drawn_shapes("streaking")
    paper.check(shapes)
    hexagon = next(shape for shape in shapes if shape.outline == "hexagon")
    leading = next(one for one in shapes if any(way.to is hexagon for way in one.leaving))
    leading.leaving = [
        Arrow(way.words, way.thick, hexagon.leaving[0].to) if way.to is hexagon else way
        for way in leading.leaving
    ]
    with pytest.raises(AssertionError):
        Paper("streaking").check(shapes)
