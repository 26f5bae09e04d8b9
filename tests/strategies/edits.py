"""A library edited while a case was open: words, answers, arrows, steps and kinds change."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import yaml

from diagnose.rules.check import errors
from strategies.written import loaded, text_of

if TYPE_CHECKING:
    from random import Random

    from strategies.written import Written

Steps = dict[str, dict[str, Any]]


def edited(written: Written, random: Random) -> Written | None:
    """Return the library with one to three edits, or None where the checker refuses the result."""
    trees = dict(written.trees)
    for _ in range(random.randint(1, 3)):
        symptom = random.choice(list(trees))
        tree = yaml.safe_load(trees[symptom])
        random.choice(EDITS)(tree["steps"], random)
        tree["steps"] = _tidied(tree["steps"], tree["start"])
        trees[symptom] = text_of(tree)
    after = replace(written, trees=trees)
    return None if errors(loaded(after)[2]) else after


def _words(random: Random) -> str:
    """Return words that no other step has."""
    return f"changed {random.getrandbits(40)}"


def _questions(steps: Steps) -> list[dict[str, Any]]:
    return [step for step in steps.values() if "answers" in step]


def _reword(steps: Steps, random: Random) -> None:
    for step in random.sample(_questions(steps), min(1, len(_questions(steps)))):
        step["ask"] += " now"


def _drop_answer(steps: Steps, random: Random) -> None:
    several = [step for step in _questions(steps) if len(step["answers"]) > 2]
    if several:
        answers = random.choice(several)["answers"]
        del answers[random.choice(list(answers))]


def _rename_answer(steps: Steps, random: Random) -> None:
    if _questions(steps):
        step = random.choice(_questions(steps))
        old = random.choice(list(step["answers"]))
        step["answers"] = {
            f"{label} new" if label == old else label: to for label, to in step["answers"].items()
        }


def _turn_arrow(steps: Steps, random: Random) -> None:
    if _questions(steps):
        answers = random.choice(_questions(steps))["answers"]
        answers[random.choice(list(answers))] = random.choice(list(steps))


def _drop_step(steps: Steps, random: Random) -> None:
    gone = random.choice(list(steps))
    instead = random.choice(list(steps))
    for step in _questions(steps):
        step["answers"] = {a: instead if to == gone else to for a, to in step["answers"].items()}


def _other_kind(steps: Steps, random: Random) -> None:
    name, words = random.choice(list(steps)), _words(random)
    finding = {
        "finding": f"{words} line",
        "chance": 3,
        "who": "operator",
        "remedy": f"{words} remedy",
    }
    leaves = [other for other, step in steps.items() if "finding" in step and other != name]
    if "finding" in steps[name] and len(leaves) > 1:
        ways = {"one way": random.choice(leaves), "another way": random.choice(leaves)}
        steps[name] = {"ask": f"{words} ask", "answers": ways}
    else:
        steps[name] = finding


def _swap_doorway(steps: Steps, random: Random) -> None:
    doors = [step for step in steps.values() if "continue_with" in step]
    if doors:
        door = random.choice(doors)
        del door["continue_with"]
        door |= {"who": "operator", "remedy": f"{_words(random)} remedy"}


EDITS = (
    _reword,
    _drop_answer,
    _rename_answer,
    _turn_arrow,
    _drop_step,
    _other_kind,
    _swap_doorway,
)


def _tidied(steps: Steps, start: str) -> Steps:
    """Return the steps that are still reached, without keys that name what is gone."""
    reached: set[str] = set()
    todo = [start]
    while todo:
        name = todo.pop()
        if name in reached or name not in steps:
            continue
        reached.add(name)
        step = steps[name]
        todo += [*step.get("answers", {}).values(), *(band["go"] for band in step.get("bands", ()))]
    kept = {name: step for name, step in steps.items() if name in reached}
    for step in kept.values():
        step.pop("after", None)
        for key in ("passes", "if_unsure"):
            if "answers" in step and step.get(key, "none") not in (*step["answers"], "none"):
                del step[key]
    return kept
