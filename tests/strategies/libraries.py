"""Hypothesis strategies for whole libraries, as text that the checker has nothing against.

Every step's words name the step and the key that they stand at, so that whoever reads a screen can
tell whose words they are.
"""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

from strategies.written import Written, text_of

ROLES = ("operator", "battery-trained", "service")
SYMPTOMS = ("alpha", "beta", "gamma")
KINDS = ("flooded", "sealed", "lithium")
#: A symptom whose file is there and cannot be started.
SHUT = "shut"
ROUND = "daily"
#: What is read, with a figure that is usual there, which the bands lie about. All but the plain
#: number take several inputs: typed, from the card, or typed in part.
READINGS = {
    "value": 1,
    "rest-voltage": 40,
    "peukert-time": 6,
    "tank-drop": 2.4,
    "film": 0.05,
    "travel-speed": 4,
}
#: What a card may say, and may lack.
LINES: dict[str, dict[str, Any]] = {
    "battery": {"cells": 12, "capacity": "240 Ah", "rated_hours": "5 h", "exponent": 1.2},
    "currents": {"working": "38 A"},
    "flow": {"rate": "2.5 L/min"},
    "charger": {"lamps": {"lamp one": "charging"}, "codes": {"C1": "battery not found"}},
}
LISTS = ("charger", "charger.lamps", "charger.codes")

_minutes = st.sampled_from([0.5, 1, 1, 2, 3, 7.25, 10, 30])
_chances = st.sampled_from([0.001, 0.5, 1, 2, 5, 5, 12, 30, 97])
_slips = st.sampled_from([None, None, 0, 0.03, 0.05, 0.2, 0.49])


def _some(draw: Any, items: list[str], most: int = 2) -> list[str]:
    if not items or draw(st.booleans()):
        return []
    return draw(st.lists(st.sampled_from(items), max_size=most, unique=True))


@st.composite
def caution_files(draw: Any, most: int = 5, *, lockouts: bool = False) -> dict[str, Any]:
    """A `cautions.yaml` as data: covers, includes without a circle, what lapses and what not."""
    least = 2 if draw(st.integers(0, 4)) else 0
    names = [f"guard-{letter}" for letter in "abcdefgh"[: draw(st.integers(least, most))]]
    hazards: dict[str, Any] = {}
    covers: dict[str, list[str]] = {name: [] for name in names}
    if names:
        for number in range(draw(st.integers(1, most))):
            hazards[f"hazard-{number}"] = {"title": f"Hazard {number}"}
            covers[draw(st.sampled_from(names))].append(f"hazard-{number}")
    for number in range(draw(st.integers(0, 2))):
        hazards[f"inside-{number}"] = {"title": f"Inside {number}", "service_only": True}
    format_ = draw(st.sampled_from([1, 2, 2]))
    inward = draw(st.permutations(names)) if names else []
    cautions: dict[str, Any] = {}
    for name in names:
        lapses = lockouts or draw(st.booleans())
        caution: dict[str, Any] = {
            "title": f"{name} held",
            "signal": draw(st.sampled_from(["DANGER", "WARNING", "CAUTION", "NOTICE"])),
            "signs": ["M021"] if lockouts else draw(st.sampled_from([["W001"], ["M021"]])),
            "covers": covers[name],
            "includes": _some(draw, inward[: inward.index(name)]),
            "lapses": "when energised" if lapses else "never",
            "minutes": draw(_minutes),
            "text": f"{name} text",
            "confirm": [f"{name} confirm {n}" for n in range(draw(st.integers(1, 2)))],
        }
        if lapses:
            caution["release"] = [f"{name} release"]
        if format_ > 1:
            caution |= draw(_of_format_2(lapses=lapses, lockouts=lockouts))
        cautions[name] = caution
    return {"format": format_, "hazards": hazards, "cautions": cautions}


@st.composite
def _of_format_2(draw: Any, *, lapses: bool, lockouts: bool) -> dict[str, Any]:
    """How the lines of a caution are confirmed, where it is said, and whether it isolates."""
    keys: dict[str, Any] = {}
    lines = draw(st.sampled_from(["each", "together", None, None]))
    if lines is not None:
        keys["confirm_lines"] = lines
    if lockouts or (lapses and draw(st.booleans())):
        keys["lockout"] = True
    return keys


def closure_of(cautions: dict[str, Any], name: str) -> set[str]:
    """Return a caution with all that it includes, by following the names."""
    found = {name}
    for included in cautions["cautions"][name]["includes"]:
        found |= closure_of(cautions, included)
    return found


class _Guards:
    """What a step may stand under, drawn from a `cautions.yaml`."""

    def __init__(self, data: dict[str, Any]) -> None:
        self.service_only = [n for n, h in data["hazards"].items() if h.get("service_only")]
        self.hazards = [n for n in data["hazards"] if n not in self.service_only]
        self.cautions = list(data["cautions"])
        lapsing = {n for n, c in data["cautions"].items() if c["lapses"] == "when energised"}
        ending = {n for n in self.cautions if closure_of(data, n) & lapsing}
        over = {h: n for n, c in data["cautions"].items() for h in c["covers"]}
        self.running_hazards = [n for n in self.hazards if over[n] not in ending]
        self.running_cautions = [n for n in self.cautions if n not in ending]

    def under(self, draw: Any, *, runs: bool, service: bool) -> dict[str, Any]:
        hazards = _some(draw, self.running_hazards if runs else self.hazards)
        if service:
            hazards += _some(draw, self.service_only, 1)
        cautions = _some(draw, self.running_cautions if runs else self.cautions, 1)
        keys: dict[str, Any] = {}
        if hazards:
            keys["hazards"] = hazards
        if cautions:
            keys["cautions"] = cautions
        if runs:
            keys["energises"] = True
        return keys


@st.composite
def trees(
    draw: Any,
    symptom: str,
    cautions: dict[str, Any],
    doorways: tuple[str, ...] = (),
    most_questions: int = 8,
    most_findings: int = 8,
    read: str | None = None,
) -> dict[str, Any]:
    """A symptom tree as data: routes meet again, answers share targets, any order in the file.

    With `read` its first step is that reading.
    """
    guards = _Guards(cautions)
    least = min(3, most_questions) if draw(st.integers(0, 4)) else int(read is not None)
    questions = [f"q{n}" for n in range(draw(st.integers(least, most_questions)))]
    count = draw(st.integers(min(2, most_findings), most_findings)) if questions else 1
    findings = [f"f{n}" for n in range(count)]
    ways: dict[str, list[str]] = {name: [] for name in questions}
    for number, name in enumerate(questions[1:], 1):
        ways[draw(st.sampled_from(questions[:number]))].append(name)
    for name in findings if questions else ():
        ways[draw(st.sampled_from(questions))].append(name)
    for number, name in enumerate(questions):
        further = questions[number + 1 :] + findings
        least = max(0, 2 - len(ways[name]))
        ways[name] += draw(st.lists(st.sampled_from(further), min_size=least, max_size=least + 1))
        ways[name] = draw(st.permutations(ways[name]))
    steps: dict[str, Any] = {}
    for name in questions:
        first = questions[0] if name != questions[0] else None
        reads = read if first is None else None
        steps[name] = _question(draw, f"{symptom} {name}", ways[name], guards, first, reads)
    for name in findings:
        steps[name] = _finding(draw, f"{symptom} {name}", guards, doorways)
    if cautions["format"] > 1:
        steps = {name: _in_format_2(step) for name, step in steps.items()}
    order = draw(st.permutations(list(steps)))
    return {
        "format": cautions["format"],
        "symptom": symptom,
        "title": f"{symptom} title",
        "start": questions[0] if questions else findings[0],
        "steps": {name: steps[name] for name in order},
    }


def _in_format_2(step: dict[str, Any]) -> dict[str, Any]:
    """Return a step of format 1 as one of format 2, with the same meaning."""
    if step.get("who") == "service":
        return step | {"until_mended": "out of use"}
    if step.get("from_card") in LISTS:
        listed = {"show_card": [step["from_card"]]}
        return {
            ("show_card" if key == "from_card" else key): value for key, value in step.items()
        } | listed
    return step


def _question(
    draw: Any,
    words: str,
    ways: list[str],
    guards: _Guards,
    first: str | None,
    reads: str | None,
) -> dict[str, Any]:
    by = draw(st.sampled_from(["operator"] * 5 + ["battery-trained", "service"]))
    step: dict[str, Any] = {}
    if draw(st.booleans()):
        step["do"] = f"{words} do"
    if draw(st.booleans()):
        step["look_for"] = f"{words} look for"
    if draw(st.booleans()):
        step["tool"] = f"{words} tool"
    labels = [f"{words} answer {letter}" for letter in "abcdefghijklmnopqrstuvwxyz"[: len(ways)]]
    card = draw(st.integers(0, 9))
    if card == 0:
        labels[: len(KINDS)] = KINDS[: len(labels)]
        step["from_card"] = "battery.kind"
    elif card == 1:
        step["from_card"] = draw(st.sampled_from(LISTS))
    step["minutes"] = draw(_minutes)
    slip = draw(_slips)
    if slip is not None:
        step["slip"] = slip
    if by != "operator":
        step["by"] = by
    runs = draw(st.integers(0, 3)) == 0
    step |= guards.under(draw, runs=runs, service=by == "service")
    if first is not None and draw(st.booleans()):
        step["after"] = [first]
    passes = draw(st.sampled_from([None, None, "none", *labels]))
    if passes is not None:
        step["passes"] = passes
    if draw(st.integers(0, 2)) == 0:
        step["if_unsure"] = draw(st.sampled_from(labels))
    if reads is None and draw(st.integers(0, 3)) == 0:
        reads = draw(st.sampled_from([*READINGS, "value", "value"]))
    if reads is not None:
        return _reading(draw, reads, step, labels, ways)
    return {"ask": f"{words} ask", **step, "answers": dict(zip(labels, ways, strict=True))}


def _reading(
    draw: Any, read: str, step: dict[str, Any], labels: list[str], ways: list[str]
) -> dict[str, Any]:
    size = len(ways) - 1
    numbers = sorted(draw(st.sets(st.integers(-9, 9), min_size=size, max_size=size)))
    bands: list[dict[str, Any]] = []
    for number, label, way in zip(numbers, labels, ways, strict=False):
        usual = round(READINGS[read] * (1 + number / 12), 3)
        bands.append({"below": number if read == "value" else usual, "call": label, "go": way})
    bands.append({"otherwise": labels[-1], "go": ways[-1]})
    return {"read": read, **step, "bands": bands}


def _finding(draw: Any, words: str, guards: _Guards, doorways: tuple[str, ...]) -> dict[str, Any]:
    step: dict[str, Any] = {"finding": f"{words} line", "chance": draw(_chances)}
    kind = draw(
        st.sampled_from(["operator"] * 4 + ["battery-trained"] + ["service"] * 2 + ["door"])
    )
    step["minutes"] = draw(_minutes)
    if kind == "door" and doorways:
        step["continue_with"] = draw(st.sampled_from(doorways))
        return step
    step["who"] = "operator" if kind == "door" else kind
    step |= guards.under(draw, runs=False, service=kind == "service")
    if kind == "service":
        step["leave_safe"] = f"{words} leave safe"
        step["ask_service"] = f"{words} ask service"
    else:
        step["remedy"] = f"{words} remedy"
    if draw(st.booleans()):
        step["parts"] = [f"{words} part"]
    return step


@st.composite
def rounds(draw: Any, cautions: dict[str, Any], symptoms: tuple[str, ...]) -> dict[str, Any]:
    """A round as data, whose items may begin a case of one of the symptoms."""
    guards = _Guards(cautions)
    items = {}
    for number in range(draw(st.integers(1, 5))):
        words = f"{ROUND} i{number}"
        item: dict[str, Any] = {"do": f"{words} do"}
        if draw(st.booleans()):
            item["look_for"] = f"{words} look for"
        starts = draw(st.sampled_from([None, *symptoms]))
        if starts is not None:
            item["starts"] = starts
        item |= guards.under(draw, runs=draw(st.integers(0, 2)) == 0, service=False)
        items[f"i{number}"] = item
    return {
        "format": cautions["format"],
        "round": ROUND,
        "title": f"{ROUND} title",
        "every": "day",
        "items": items,
    }


@st.composite
def cards(draw: Any, cautions: dict[str, Any]) -> dict[str, Any]:
    """A machine card as data, which says much and lacks some."""
    card: dict[str, Any] = {"format": cautions["format"], "machine": "m", "title": "Machine"}
    card |= {section: dict(lines) for section, lines in LINES.items()}
    card |= {"path_width": "75 cm", "working_speed": "4.5 km/h"}
    card["battery"]["kind"] = draw(st.sampled_from(KINDS))
    paths = [(section, line) for section in LINES for line in card[section]]
    for section, line in draw(st.lists(st.sampled_from(paths), max_size=3, unique=True)):
        del card[section][line]
    for line in _some(draw, ["path_width", "working_speed", *LINES]):
        del card[line]
    taken = _some(draw, list(cautions["cautions"]))
    if taken:
        card["caution_minutes"] = {name: draw(_minutes) for name in taken}
    return card


@st.composite
def libraries(
    draw: Any,
    most_trees: int = 3,
    most_questions: int = 8,
    most_findings: int = 8,
    *,
    lockouts: bool = False,
    with_round: bool = False,
    read: str | None = None,
) -> Written:
    """A library of one to three trees with doorways between them, and a machine card or none.

    A doorway may lead to what cannot be started. With `lockouts` every caution is one; `with_round`
    there is a round; with `read` every tree begins with that reading.
    """
    cautions = draw(caution_files(lockouts=lockouts))
    symptoms = SYMPTOMS[: draw(st.integers(1, most_trees))]
    texts = {}
    for symptom in symptoms:
        others = (*(other for other in symptoms if other != symptom), SHUT)
        tree = draw(trees(symptom, cautions, others, most_questions, most_findings, read))
        texts[symptom] = text_of(tree)
    card = draw(cards(cautions)) if draw(st.booleans()) else None
    round_ = draw(rounds(cautions, (*symptoms, SHUT))) if with_round else None
    return Written(
        trees=texts,
        cautions=text_of(cautions),
        card=text_of(card) if card is not None else None,
        rounds={ROUND: text_of(round_)} if round_ is not None else {},
        symptoms=(SHUT,),
    )
