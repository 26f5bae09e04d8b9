"""What the checker leaves out of a file in which too much is wrong, and that it says so."""

from __future__ import annotations

from typing import TYPE_CHECKING

from strategies.hostile import NO_CAUTIONS, chain, tree

from diagnose.files.kinds import MOST_PROBLEMS
from diagnose.files.library import load
from diagnose.rules import view, worked
from diagnose.rules.check import check, errors

if TYPE_CHECKING:
    from pathlib import Path

    import pytest

    from diagnose.files.problems import Problem

CASES = """\
worked_cases:
  - {name: first, answers: {s0: Dirt}, finding: last}
  - {name: second, answers: {}, finding: last}
  - {name: third, answers: {s0: Dirt}, finding: last}
"""


def problems_of(text: str, folder: Path, cautions: str = NO_CAUTIONS) -> list[Problem]:
    (folder / "t.yaml").write_text(text)
    (folder / "cautions.yaml").write_text(cautions)
    return check(load(folder))


def test_an_error_is_found_behind_a_thousand_warnings(tmp_path: Path) -> None:
    """Where only the first were kept a tree that cannot be walked could be started."""
    steps = (
        f"s{n}: {{ask: W, answers: {{A b: s{n + 1}, C d: s{n + 2}, E f: last}}}}"
        for n in range(MOST_PROBLEMS + 50)
    )
    end = f"s{MOST_PROBLEMS + 50}"
    more = [f"{end}: {{ask: W, answers: {{A b: last, C d: {end}x}}}}"]
    more += [f"{end[:-1]}1: {{ask: W, passes: Wrong, answers: {{A b: last, C d: last}}}}"]
    found = problems_of(tree([*steps, *more]), tmp_path)
    wrong = errors(found)
    assert {problem.code for problem in wrong} == {"unknown-step", "unknown-answer"}
    assert len(found) - len(wrong) == MOST_PROBLEMS


def test_a_thousand_errors_are_enough(tmp_path: Path) -> None:
    steps = (f"s{n}: {{ask: W, answers: {{A b: last, C d: x{n}}}}}" for n in range(1_100))
    assert len(problems_of(tree(steps), tmp_path)) == MOST_PROBLEMS


def test_what_may_be_meant_is_said_until_too_much_was_compared(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(view, "_COMPARISONS", 25)
    steps = (f"s{n}: {{ask: W, answers: {{A b: last, C d: lasst}}}}" for n in range(10))
    found = [one for one in problems_of(tree(steps), tmp_path) if one.code == "unknown-step"]
    hints = ["Did you mean" in problem.message for problem in found]
    # Each is compared with eleven steps.
    assert hints == [True] * 3 + [False] * 7


def test_worked_cases_that_are_too_long_together_are_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = chain(50, ", passes: Nothing") + CASES
    assert problems_of(text, tmp_path) == []
    # A step counts ten and its answers: the second case has fifty of them.
    for most, line in ((632, 59), (633, 60), (654, 60), (655, None)):
        monkeypatch.setattr(worked, "_MOST_WAYS", most)
        found = problems_of(text, tmp_path)
        assert [problem.line for problem in found] == ([] if line is None else [line])
        for problem in found:
            assert (problem.code, problem.severity) == ("worked-case", "error")
            assert "from this one on none is run" in problem.message


def test_a_hundred_steps_may_look_at_the_same(tmp_path: Path) -> None:
    def alike(count: int) -> str:
        first = "s0: {ask: W, answers: {A b: last, C d: s1}}"
        others = (
            f"s{n}: {{ask: W, same_as: s0, passes: C d, answers: {{A b: last, C d: s{n + 1}}}}}"
            for n in range(1, count)
        )
        end = f"s{count}: {{ask: W, same_as: s0, answers: {{A b: last, C d: last}}}}"
        return tree([first, *others, end])

    assert problems_of(alike(100), tmp_path) == []
    found = problems_of(alike(101), tmp_path)
    assert {problem.code for problem in found} == {"same-as"}
    assert len(found) == 101
    assert "more than 100 steps" in found[0].message


def test_a_long_circle_is_named_by_both_ends(tmp_path: Path) -> None:
    text = chain(40).replace("Nothing: last", "Nothing: s0")
    (problem,) = [one for one in problems_of(text, tmp_path) if one.code == "closed-route"]
    ends = "s0 → s1 → s2 → s3 → s4 → s5 → … → s35 → s36 → s37 → s38 → s39 → s0"
    assert f"the route {ends} returns" in problem.message
    assert view.route(["a", "b", "a"]) == "a → b → a"
    assert view.route("abcdefghijkl").count("→") == 11
    assert "…" not in view.route("abcdefghijkl")


def test_a_chain_of_cautions_longer_than_calls_may_be_nested(tmp_path: Path) -> None:
    lines = ["format: 2", "hazards: {h: {title: H}}", "cautions:"]
    for number in range(3_000):
        includes = f"includes: [c{number + 1}], " if number < 2_999 else ""
        covers = "[h]" if number == 0 else "[]"
        lines.append(
            f"  c{number}: {{title: T, signal: WARNING, text: x, lapses: never, confirm: [a], "
            f"{includes}covers: {covers}}}"
        )
    assert problems_of(chain(3, ", hazards: [h]"), tmp_path, "\n".join(lines)) == []
