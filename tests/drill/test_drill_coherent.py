"""One machine in a drill: two looks at one thing agree, and every figure follows from the same."""

from __future__ import annotations

from typing import Any

import pytest
from strategies.sampling import several
from strategies.written import Read, Written, read
from trainees import SYMPTOMS, Follower, drill_of, library, raw, ways_of

from diagnose.drill.answers import Answers
from diagnose.drill.machine import Machine, cause_of, drawn
from diagnose.drill.quantities import QUANTITIES, TAKINGS
from diagnose.files.cautions import Cautions
from diagnose.files.library import built_in
from diagnose.files.reading import read_tree
from diagnose.files.tree import Question, Reading
from diagnose.measure.registry import MEASUREMENTS, compute
from diagnose.study.in_force import caution_table
from diagnose.study.ready import made_ready

#: What the figures of one machine share: the same need of these measurements is the same thing.
SHARED = (
    {("travel-speed", "time")},
    {("tank-drop", "before")},
    {("tank-drop", "after")},
    {("blade-bend", "left"), ("blade-level", "left")},
    {("blade-bend", "right"), ("blade-level", "right")},
    {("runtime", "temperature"), ("cell-gravities", "temperature")},
    {("brush-current", "reading")},
)


def seen(machine: Machine) -> dict[str, tuple[str, Any]]:
    """Return what each question of a machine shows: the answer, and the reading as taken."""
    found = {}
    for number, step in enumerate(machine.ready.steps):
        if isinstance(step, Question):
            sight = machine.sight(number, 1)
            assert machine.sight(number, 2) == sight
            name = machine.ready.plan.ids[number]
            found[name] = (step.exits[sight.answer].answer, sight.taken)
    return found


@pytest.mark.many_cases
@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_a_machine_is_one_thing(symptom: str) -> None:
    ready, tree = library().require(symptom), raw(built_in() / f"{symptom}.yaml")
    steps = tree["steps"]
    names = {case["name"]: case for case in tree["worked_cases"]}
    for seed in range(several(1_000)):
        machine = drawn(ready, seed)
        shown = seen(machine)
        answers = {name: answer for name, (answer, _) in shown.items()}
        looks_agree(answers, steps)
        lines = card_lines_agree(answers, steps)
        figures_agree(shown, ready, lines)
        # The route of the cause, walked by the file alone, ends at it.
        name, on_route = tree["start"], {}
        while "finding" not in steps[name]:
            on_route[name] = answers[name]
            way = ways_of(steps[name])[answers[name]]
            name = way if isinstance(way, str) else way["go"]
        assert name == ready.plan.ids[machine.cause]
        # It is one of the cause's worked cases, word for word.
        case = names[machine.case]
        assert case["finding"] == name
        for step, said in case["answers"].items():
            assert isinstance(said, dict) or on_route.get(step, said) == said


def looks_agree(answers: dict[str, str], steps: Any) -> None:
    for name, answer in answers.items():
        assert answers[steps[name].get("same_as", name)] == answer


def card_lines_agree(answers: dict[str, str], steps: Any) -> dict[str, str]:
    """One value a line; and nothing is answered that such a machine does not have."""
    lines: dict[str, str] = {}
    for name, answer in answers.items():
        if (path := steps[name].get("from_card")) is not None:
            assert lines.setdefault(path, answer) == answer
    for name, answer in answers.items():
        way = ways_of(steps[name])[answer]
        condition = {} if isinstance(way, str) else way.get("applies_to", {})
        for path, words in condition.items():
            assert lines.get(path, words[0]) in (*words, "No label can be read")
    return lines


def figures_agree(shown: dict[str, tuple[str, Any]], ready: Any, lines: dict[str, str]) -> None:
    """Each figure is what the measurement makes of what was read, and that is the same each time.

    A figure that is read off two places is read off the same ones.
    """

    def line(path: str) -> str | None:
        # Of a lithium battery volts tell nothing: it is read as if it were flooded.
        return "sealed" if lines.get(path) == "sealed" else usual(path)

    said: dict[tuple[str, str], str] = {}
    for name, (answer, taken) in shown.items():
        step = ready.named(name)
        if isinstance(step, Reading):
            typed = dict(taken.typed)
            again = compute(MEASUREMENTS[step.read], typed, line, bare=False)
            assert again.value == taken.value
            assert step.band(taken.value).answer == answer
            said |= {(step.read, need): text for need, text in typed.items()}
    for alike in SHARED:
        assert len({said[one] for one in alike if one in said}) <= 1


def usual(path: str) -> str | None:
    """Return what the measurements have as their example of a card's line, where one needs it."""
    needs = [n for m in MEASUREMENTS.values() for n in m.needs if n.card == path]
    return needs[0].example if any(not need.optional for need in needs) else None


@pytest.mark.parametrize("machine", ["dock", "aisle"])
@pytest.mark.parametrize("symptom", ["streaking", "dirt-stays", "low-runtime"])
def test_good_readings_lie_around_the_card_and_not_at_the_limit(symptom: str, machine: str) -> None:
    opened = library(machine)
    ready = opened.require(symptom)
    card = opened.card
    assert card is not None
    said_by = {"tank-drop": "flow.rate", "travel-speed": "working_speed"}
    figures: dict[str, list[float]] = {}
    for seed in range(20):
        for name, (_, taken) in seen(drawn(ready, seed)).items():
            step = ready.steps[ready.plan.number[name]]
            if isinstance(step, Reading) and step.read in said_by:
                figures.setdefault(step.read, []).append(taken.value)
    for name, values in figures.items():
        said = float((card.line(said_by[name]) or "").split()[0])
        # All but the few of which it is the fault.
        near = [value for value in values if abs(value - said) <= 0.12 * said]
        assert len(near) > 0.7 * len(values)
        assert len(set(values)) > 1


@pytest.mark.parametrize("symptom", ["low-runtime", "no-charge", "streaking"])
@pytest.mark.parametrize("machine", ["dock", "aisle"])
def test_with_a_card_the_route_ends_at_the_cause_too(symptom: str, machine: str) -> None:
    for seed in range(40):
        follower = Follower.at(drill_of(symptom, seed, machine=machine), symptom)
        follower.drill.best = None
        score = drill_route(follower.drill)
        assert score == follower.drill.machine.cause


def drill_route(drill: Any) -> int:
    """Return the finding at the end of the right answers."""
    plan, at = drill.ready.plan, drill.ready.plan.start
    while plan.ways[at]:
        at = plan.ways[at][drill.machine.truths[at]]
    found: int = at
    return found


def test_every_measurement_is_taken_but_the_plain_number() -> None:
    assert set(TAKINGS) == set(MEASUREMENTS) - {"value"}
    assert {taking.about for taking in TAKINGS.values()} <= set(QUANTITIES)


EVERY = """
format: 1
symptom: sample
title: It has all figures
start: s0
steps:
{steps}
  end: {{finding: It is worn., chance: 99, who: operator, remedy: Change it.}}
  odd: {{finding: It is odd., chance: 1, who: operator, remedy: Look again.}}
"""


def all_of_them() -> Read:
    """A tree that takes every measurement once, one after the other."""
    names = [*TAKINGS]
    # As little as the measurement can give at all, and no machine of a drill shows.
    least = {"loaded-voltage": 1.01, "gravity": 0.96, "solution-temperature": -9}
    lines = [
        f"  s{n}: {{read: {name}, bands: [{{below: {least.get(name, 0.0001)}, call: less, go: odd}}, "
        f"{{otherwise: more, go: {f's{n + 1}' if n + 1 < len(names) else 'end'}}}]}}"
        for n, name in enumerate(names)
    ]
    return read(Written(trees={"sample": EVERY.format(steps="\n".join(lines))}))


def test_every_measurement_gives_a_figure() -> None:
    ready = all_of_them().ready("sample")
    assert ready is not None
    machine = drawn(ready, 3)
    expected = {
        "rest-voltage": (70, 95),
        "loaded-voltage": (2.02, 2.08),
        "gravity": (1.26, 1.29),
        "cell-gravities": (0.004, 0.013),
        "peukert-time": (5.5, 7),
        "runtime": (88, 106),
        "tank-drop": (2.3, 2.7),
        "bucket-flow": (2.3, 2.7),
        "film": (0.04, 0.05),
        "travel-speed": (4.2, 4.8),
        "recovery": (86, 94),
        "solution-temperature": (23, 27),
        "suction": (92, 102),
        "blade-bend": (11, 14),
        "brush-current": (95, 105),
    }
    for number, name in enumerate(TAKINGS):
        sight = machine.sight(ready.plan.number[f"s{number}"], 1)
        assert sight.taken is not None
        assert sight.taken.typed
        low, high = expected.get(name, (0, float("inf")))
        assert low <= sight.taken.value <= high, name


def test_a_figure_that_two_measurements_take_is_one() -> None:
    ready = all_of_them().ready("sample")
    assert ready is not None
    for seed in range(20):
        machine = drawn(ready, seed)
        taken = {
            name: machine.sight(ready.plan.number[f"s{number}"], 1).taken
            for number, name in enumerate(TAKINGS)
        }
        assert taken["bucket-flow"].value == pytest.approx(taken["tank-drop"].value)  # type: ignore[union-attr]
        # The film by hand: L/min over m² a minute (1 L on 1 m² is 1 mm).
        flow, speed = taken["tank-drop"].value, taken["travel-speed"].value  # type: ignore[union-attr]
        by_hand = flow / (0.75 * speed * 1000 / 60)
        # The watch is read to a tenth of a second.
        assert taken["film"].value == pytest.approx(by_hand, rel=0.01)  # type: ignore[union-attr]


TWO_FLOWS = """
format: 2
symptom: sample
title: It runs dry, and then it does not
start: first
steps:
  first: {read: tank-drop, bands: [{below: 1, call: little, go: second}, {otherwise: enough, go: no}]}
  second: {read: bucket-flow, bands: [{below: 1, call: little, go: no}, {otherwise: much, go: yes}]}
  no: {finding: It is dry., chance: 1, who: operator, remedy: Fill it.}
  yes: {finding: It changes., chance: 99, who: operator, remedy: Wait.}
"""


def test_where_a_route_needs_two_flows_each_step_has_its_own() -> None:
    ready = read(Written(trees={"sample": TWO_FLOWS})).ready("sample")
    assert ready is not None
    machine = next(
        m for seed in range(99) if ready.plan.ids[(m := drawn(ready, seed)).cause] == "yes"
    )
    first, second = (
        machine.sight(ready.plan.number[name], 1).taken for name in ("first", "second")
    )
    assert first is not None
    assert second is not None
    assert first.value < 1 <= second.value


ROOM = """
format: 2
symptom: sample
title: It is cold
start: room
steps:
  room: {ask: How cold is it?, passes: none, answers: {Below 5 °C: cold, Above 40 °C: hot,
    10 °C and more: later, Odd: later}}
  later: {ask: And now?, passes: none, answers: {From 12 to 14 °C: mild, Over 20 °C: warm,
    Under -3 °C: frost}}
  acid: {read: gravity, bands: [{below: 1.4, call: low, go: mild}, {otherwise: high, go: warm}]}
  cold: {finding: Cold., chance: 1, who: operator, remedy: Wait.}
  hot: {finding: Hot., chance: 1, who: operator, remedy: Wait.}
  mild: {finding: Mild., chance: 1, who: operator, remedy: Wait.}
  warm: {finding: Warm., chance: 1, who: operator, remedy: Wait.}
  frost: {finding: Frost., chance: 1, who: operator, remedy: Wait.}
""".replace("Odd: later", "Odd: acid")

DEGREES = {
    "cold": (-20, 5),
    "hot": (40, 60),
    "frost": (-20, -3),
}


@pytest.mark.parametrize("cause", DEGREES)
def test_the_room_has_one_temperature(cause: str) -> None:
    ready = read(Written(trees={"sample": ROOM})).ready("sample")
    assert ready is not None
    low, high = DEGREES[cause]
    number = ready.plan.number[cause]
    machines = [m for seed in range(60) if (m := drawn(ready, seed)).cause == number]
    assert machines
    for machine in machines:
        if cause == "frost" and seen(machine)["room"][0] == "10 °C and more":
            continue  # No room is like that; the route of the cause goes before.
        assert low <= machine.figures.values["room"] <= high


def test_answers_that_do_not_go_together_are_told_apart() -> None:
    ready = library().require("low-runtime")
    number = ready.plan.number
    answers = Answers(ready)

    def way(step: str, answer: str) -> tuple[int, int]:
        question: Any = ready.steps[number[step]]
        return number[step], [one.answer for one in question.exits].index(answer)

    assert answers.agrees(*way("before-opening", "sealed"))
    answers.tell(*way("kind", "lithium"))
    assert not answers.agrees(*way("before-opening", "sealed"))
    assert answers.agrees(*way("before-opening", "lithium"))
    # Charging in breaks speaks of lead-acid alone.
    assert answers.agrees(*way("charge-log", "The battery is lithium"))
    assert not answers.agrees(*way("charge-log", "Several a day"))
    assert answers.line("battery.kind") == "lithium"
    answers.tell(*way("room", "Under 10 °C"))
    assert answers.room[1] == 10
    assert not answers.agrees(*way("room", "10 °C and more"))
    assert not answers.follow([way("before-opening", "lithium"), way("room", "10 °C and more")])


def test_the_cause_of_a_seed_is_known_without_its_machine() -> None:
    ready = library().require("leak")
    assert [cause_of(ready, seed) for seed in range(9)] == [drawn(ready, s).cause for s in range(9)]


HARD = """
format: 1
symptom: sample
title: Its worked cases cannot be
start: look
steps:
  look: {ask: What is it?, answers: {This: one, That: read}}
  read: {read: tank-drop, bands: [{below: 1, call: little, go: one}, {otherwise: enough, go: two}]}
  one: {finding: One., chance: 1, who: operator, remedy: Do it.}
  two: {finding: Two., chance: 1, who: operator, remedy: Do it.}
worked_cases:
  - {name: more after than before, finding: two, answers: {look: That,
     read: {before: 1 L, after: 2 L, time: 1 min}}}
  - {name: no such answer, finding: two, answers: {look: Nothing}}
  - {name: inputs of a check, finding: two, answers: {look: {before: 1 L}}}
  - {name: it ends elsewhere, finding: two, answers: {look: This}}
"""


def test_a_cause_without_a_case_that_can_be_has_a_route_drawn() -> None:
    tree, _ = read_tree(HARD, "sample.yaml")
    assert tree is not None
    ready = made_ready(tree, caution_table(Cautions(hazards={}, cautions={})))
    for seed in range(20):
        machine = drawn(ready, seed)
        assert machine.case == ""
        at = ready.plan.start
        while ready.plan.ways[at]:
            at = ready.plan.ways[at][machine.truths[at]]
        assert at == machine.cause


TWO_QUESTIONS = """
format: 2
symptom: sample
title: The kind is asked in other words
start: kind
steps:
  kind: {ask: Which kind is it?, from_card: battery.kind, passes: none,
    answers: {flooded: caps, sealed: caps, Nobody knows: caps}}
  caps: {ask: What does the label say?, from_card: battery.kind, passes: none,
    answers: {flooded: wet, sealed: gel, Nobody knows: gel}}
  wet: {finding: It is wet., chance: 1, who: operator, remedy: Dry it.}
  gel: {finding: It is gel., chance: 1, who: operator, remedy: Leave it.}
"""


def test_a_line_of_the_card_has_one_value_in_all_questions_about_it() -> None:
    ready = read(Written(trees={"sample": TWO_QUESTIONS})).ready("sample")
    assert ready is not None
    for seed in range(30):
        shown = seen(drawn(ready, seed))
        assert shown["kind"][0] == shown["caps"][0]
    answers = Answers(ready)
    answers.tell(ready.plan.number["kind"], 2)
    assert not answers.agrees(ready.plan.number["caps"], 1)
    # What nobody knows is no word of the card.
    assert answers.line("battery.kind") is None
