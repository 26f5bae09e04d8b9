"""Hypothesis strategies for whole libraries, as text that the checker has nothing against.

Every step's words name the step and the key that they stand at, so that whoever reads a screen can
tell whose words they are.
"""

from __future__ import annotations

from dataclasses import dataclass
from random import Random
from typing import TYPE_CHECKING, Any

from hypothesis import strategies as st

from strategies.written import Written, text_of

if TYPE_CHECKING:
    from collections.abc import Mapping

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
#: Lines on which it depends what applies to a machine, with the words that they may be compared to.
#: The card, its kind or the site says them, or nobody does.
TOLD = {
    "battery.kind": KINDS,
    "battery.cells": ("12", "18"),
    "site.name": ("HERE", "There"),
}
KIND = "k"
SITE = "Here"

MINUTES = (0.5, 1, 1, 2, 3, 7.25, 10, 30)
CHANCES = (0.001, 0.5, 1, 2, 5, 5, 12, 30, 97)
SLIPS = (None, None, 0, 0.03, 0.05, 0.2, 0.49)
_minutes = st.sampled_from(MINUTES)
#: What a failure seldom hangs on comes from one seed a tree: each draw of its own takes its time.
_seeds = st.integers(0, 2**32)
_formats = st.sampled_from([1, 2, 2])
_yes = st.booleans()
_third, _fourth, _fifth, _tenth = (st.integers(0, n - 1) for n in (3, 4, 5, 10))
_by = st.sampled_from(["operator"] * 5 + ["battery-trained", "service"])
_whose = st.sampled_from(["operator"] * 4 + ["battery-trained"] + ["service"] * 2 + ["door"])
_reads = st.sampled_from([*READINGS, "value", "value"])
_lists = st.sampled_from(LISTS)
_bounds = st.integers(-9, 9)


def _some(draw: Any, items: list[str], most: int = 2) -> list[str]:
    if not items or draw(_yes):
        return []
    return draw(st.lists(st.sampled_from(items), max_size=most, unique=True))


def _condition(random: Random) -> dict[str, list[str]]:
    """Return an `applies_to`: one line of the card or two, with the words that fit."""
    lines = random.sample(list(TOLD), random.choice((1, 1, 1, 2)))
    return {n: random.sample(TOLD[n], random.randint(1, len(TOLD[n]) - 1)) for n in lines}


@st.composite
def caution_files(
    draw: Any, most: int = 5, *, lockouts: bool = False, newest: bool = False
) -> dict[str, Any]:
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
    format_ = 2 if newest else draw(_formats)
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


@dataclass(frozen=True)
class _Look:
    """What is looked at in a question: its answers, and a reading's bands up to the last.

    `only` says which answers not every machine gives; `card` whether the machine card answers.
    """

    labels: tuple[str, ...]
    only: Mapping[str, dict[str, list[str]]]
    card: bool
    read: str | None = None
    limits: tuple[float, ...] = ()


@st.composite
def trees(
    draw: Any,
    symptom: str,
    cautions: dict[str, Any],
    doorways: tuple[str, ...] = (),
    most_questions: int = 8,
    most_findings: int = 8,
    read: str | None = None,
    *,
    told: bool = False,
    plain: bool = False,
) -> dict[str, Any]:
    """A symptom tree as data: routes meet again, answers share targets, any order in the file.

    With `read` its first step is that reading; where it is `told`, the card answers the first; a
    `plain` one is the same on every machine, and no two of its steps look at the same.
    """
    guards = _Guards(cautions)
    random = Random(draw(_seeds))
    second = cautions["format"] > 1 and not plain
    share = 0.5 if told else 0.25
    least = min(3, most_questions) if draw(_fifth) else int(told or read is not None)
    questions = [f"q{n}" for n in range(draw(st.integers(least, most_questions)))]
    count = draw(st.integers(min(2, most_findings), most_findings)) if questions else 1
    findings = [f"f{n}" for n in range(count)]
    ways = _ways(draw, random, questions, findings)
    same = _same(draw, questions, findings, ways, told=told) if second else {}
    looks: dict[str, _Look] = {}
    steps: dict[str, Any] = {}
    for name in questions:
        words = f"{symptom} {name}"
        if name in same:
            look = looks[same[name]]
        else:
            first = name == questions[0]
            look = looks[name] = _look(
                draw,
                random,
                words,
                len(ways[name]),
                read if first else None,
                varies=second,
                told=told and first,
            )
        steps[name] = _estimates(random, words)
        steps[name] |= _question(draw, words, look, ways[name], guards, same.get(name))
        if name != questions[0] and draw(_yes):
            steps[name]["after"] = [questions[0]]
        if second:
            steps[name] |= _of_a_machine(random, words, steps[name], share)
    for name in findings:
        steps[name] = {"chance": random.choice(CHANCES), "minutes": random.choice(MINUTES)}
        steps[name] |= _finding(draw, f"{symptom} {name}", guards, doorways)
    if cautions["format"] > 1:
        steps = {name: _in_format_2(step) for name, step in steps.items()}
    order = random.sample(list(steps), len(steps))
    tree = {
        "format": cautions["format"],
        "symptom": symptom,
        "title": f"{symptom} title",
        "start": questions[0] if questions else findings[0],
        "steps": {name: steps[name] for name in order},
    }
    # The first symptom is any machine's, so that there is one to begin with.
    if second and symptom != SYMPTOMS[0] and random.random() < share:
        tree["applies_to"] = _condition(random)
    return tree


def _ways(
    draw: Any, random: Random, questions: list[str], findings: list[str]
) -> dict[str, list[str]]:
    """Return what the answers of each question lead to: every step is led to."""
    ways: dict[str, list[str]] = {name: [] for name in questions}
    for number, name in enumerate(questions[1:], 1):
        ways[questions[draw(st.integers(0, number - 1))]].append(name)
    for name in findings if questions else ():
        ways[questions[draw(st.integers(0, len(questions) - 1))]].append(name)
    for number, name in enumerate(questions):
        further = (*questions[number + 1 :], *findings)
        least = max(0, 2 - len(ways[name]))
        ways[name] += draw(st.lists(st.sampled_from(further), min_size=least, max_size=least + 1))
        random.shuffle(ways[name])
    return ways


def _same(
    draw: Any, questions: list[str], findings: list[str], ways: dict[str, list[str]], *, told: bool
) -> dict[str, str]:
    """Return, by question, an earlier one that looks at the same, which is given as many ways.

    What is `told` at the first is so at the second too.
    """
    same: dict[str, str] = {}
    for number, name in enumerate(questions[1:], 1):
        if (told and number == 1) or draw(_fourth) == 0:
            firsts = tuple(one for one in questions[:number] if one not in same)
            same[name] = firsts[draw(st.integers(0, len(firsts) - 1))]
    for first in dict.fromkeys(same.values()):
        group = [first, *(name for name in same if same[name] == first)]
        most = max(len(ways[name]) for name in group)
        for name in group:
            further = (*questions[questions.index(name) + 1 :], *findings)
            while len(ways[name]) < most:
                ways[name].append(further[draw(st.integers(0, len(further) - 1))])
    return same


def _look(
    draw: Any, random: Random, words: str, size: int, read: str | None, *, varies: bool, told: bool
) -> _Look:
    """Return what is looked at; where it `varies`, some answers are those of some machines.

    What is `told` the machine card answers.
    """
    labels = [f"{words} answer {letter}" for letter in "abcdefghijklmnopqrstuvwxyz"[:size]]
    card = told or draw(_tenth) == 0
    if card:
        labels[: len(KINDS)] = KINDS[:size]
    if read is None and draw(_fourth) == 0:
        read = draw(_reads)
    if read is not None:
        bounds = sorted(draw(st.sets(_bounds, min_size=size - 1, max_size=size - 1)))
        limits = (n if read == "value" else round(READINGS[read] * (1 + n / 12), 3) for n in bounds)
        return _Look(tuple(labels), {}, card, read, tuple(limits))
    some = random.randrange(3) if varies else 0
    only = {label: _condition(random) for label in labels[1 : min(some + 1, size - 1)]}
    return _Look(tuple(labels), only, card)


def _of_a_machine(random: Random, words: str, step: dict[str, Any], share: float) -> dict[str, Any]:
    """Return on which machines a question is asked, where it has an answer for all others."""
    keys: dict[str, Any] = {}
    if random.random() < share:
        keys["note_down"] = f"{words} note down"
    if random.random() < share and _passes(step) is not None:
        keys["applies_to"] = _condition(random)
    return keys


def _passes(step: dict[str, Any]) -> str | None:
    """Return the passing answer of a question: the one named, or the only one to a question."""
    if "passes" in step:
        return None if step["passes"] == "none" else str(step["passes"])
    bands = step.get("bands", ())
    ways = [(band.get("call", band.get("otherwise")), band["go"]) for band in bands]
    ways += step.get("answers", {}).items()
    on = [label for label, to in ways if _target(to).startswith("q")]
    return on[0] if len(on) == 1 else None


def _target(way: str | dict[str, Any]) -> str:
    return way if isinstance(way, str) else str(way["go"])


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


def _estimates(random: Random, words: str) -> dict[str, Any]:
    """Return what a question takes and how often it misleads, with words that some have."""
    step: dict[str, Any] = {"minutes": random.choice(MINUTES)}
    for key, called in (("do", "do"), ("look_for", "look for"), ("tool", "tool")):
        if random.random() < 0.5:
            step[key] = f"{words} {called}"
    slip = random.choice(SLIPS)
    return step if slip is None else step | {"slip": slip}


def _question(
    draw: Any, words: str, look: _Look, ways: list[str], guards: _Guards, same: str | None
) -> dict[str, Any]:
    by = draw(_by)
    step: dict[str, Any] = {}
    if same is not None:
        step["same_as"] = same
    if look.card and same is None:
        step["from_card"] = "battery.kind"
    elif not look.card and draw(_tenth) == 0:
        step["from_card"] = draw(_lists)
    if by != "operator":
        step["by"] = by
    step |= guards.under(draw, runs=draw(_fourth) == 0, service=by == "service")
    everywhere = [label for label in look.labels if label not in look.only]
    passes = draw(st.sampled_from((None, None, "none", *everywhere)))
    if passes is not None:
        step["passes"] = passes
    if draw(_third) == 0:
        step["if_unsure"] = draw(st.sampled_from(look.labels))
    if look.read is not None:
        bands: list[dict[str, Any]] = [
            {"below": limit, "call": label, "go": way}
            for limit, label, way in zip(look.limits, look.labels, ways, strict=False)
        ]
        bands.append({"otherwise": look.labels[-1], "go": ways[-1]})
        return {"read": look.read, **step, "bands": bands}
    labels = look.labels if same is None else draw(st.permutations(look.labels))
    answers = {
        label: {"go": way, "applies_to": look.only[label]} if label in look.only else way
        for label, way in zip(labels, ways, strict=True)
    }
    check = {"ask": f"{words} ask", **step, "answers": answers}
    # The passing answer is one for every machine.
    return check | {"passes": "none"} if _passes(check) in look.only else check


def _finding(draw: Any, words: str, guards: _Guards, doorways: tuple[str, ...]) -> dict[str, Any]:
    step: dict[str, Any] = {"finding": f"{words} line"}
    kind = draw(_whose)
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
    if draw(_yes):
        step["parts"] = [f"{words} part"]
    return step


@st.composite
def rounds(
    draw: Any, cautions: dict[str, Any], symptoms: tuple[str, ...], begun: Mapping[str, Any]
) -> dict[str, Any]:
    """A round as data, whose items may begin a case of one of the symptoms.

    `begun` are the trees of those that can be; something may have been seen in them already.
    """
    guards = _Guards(cautions)
    random = Random(draw(_seeds))
    second = cautions["format"] > 1
    items = {}
    for number in range(draw(st.integers(1, 5))):
        words = f"{ROUND} i{number}"
        item: dict[str, Any] = {"do": f"{words} do"}
        if draw(_yes):
            item["look_for"] = f"{words} look for"
        starts = draw(st.sampled_from([None, *symptoms]))
        if starts is not None:
            seen = _seen(draw, begun[starts]) if second and starts in begun else {}
            item["starts"] = {"symptom": starts, "answers": seen} if seen else starts
        if second and random.random() < 0.3:
            item["applies_to"] = _condition(random)
        if second and random.random() < 0.3:
            item["note_down"] = f"{words} note down"
        item |= guards.under(draw, runs=draw(st.integers(0, 2)) == 0, service=False)
        items[f"i{number}"] = item
    return {
        "format": cautions["format"],
        "round": ROUND,
        "title": f"{ROUND} title",
        "every": "day",
        "items": items,
    }


def _seen(draw: Any, tree: dict[str, Any]) -> dict[str, str]:
    """Return answers of a tree that were seen before it is walked: some, or none."""
    checks = {name: step["answers"] for name, step in tree["steps"].items() if "answers" in step}
    names = _some(draw, list(checks))
    return {name: draw(st.sampled_from(tuple(checks[name]))) for name in names}


@st.composite
def cards(draw: Any, cautions: dict[str, Any]) -> dict[str, Any]:
    """A machine card as data, which says much and lacks some."""
    card: dict[str, Any] = {"format": cautions["format"], "machine": "m", "title": "Machine"}
    card |= {section: dict(lines) for section, lines in LINES.items()}
    card |= {"path_width": "75 cm", "working_speed": "4.5 km/h"}
    if draw(_fourth):
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
def _kinds(draw: Any, card: dict[str, Any]) -> dict[str, Any]:
    """A kind of machine as data, which takes some of the lines of its card, and has others."""
    kind: dict[str, Any] = {"format": 2, "kind": KIND, "title": "Kind"}
    kind["battery"] = {"cells": 18, "capacity": "200 Ah"}
    if draw(_yes):
        kind["battery"]["kind"] = draw(st.sampled_from(KINDS))
    moved = _some(draw, [name for name in LINES if name in card])
    kind |= {name: card.pop(name) for name in moved}
    if "battery" in card and "kind" in card["battery"] and draw(_yes):
        kind["battery"]["kind"] = card["battery"].pop("kind")
    card["kind"] = KIND
    return kind


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
    told: bool = False,
    plain: bool = False,
) -> Written:
    """A library of one to three trees with doorways between them, and a machine card or none.

    A doorway may lead to what cannot be started. With `lockouts` every caution is one; `with_round`
    there is a round; with `read` every tree begins with that reading; where it is `told`, with what
    the card answers; `plain` trees are the same on every machine, and no two steps look at the
    same.
    """
    cautions = draw(caution_files(lockouts=lockouts, newest=told))
    symptoms = SYMPTOMS[: draw(st.integers(1, most_trees))]
    made = {}
    for symptom in symptoms:
        others = (*(other for other in symptoms if other != symptom), SHUT)
        sizes = (most_questions, most_findings, read)
        made[symptom] = draw(trees(symptom, cautions, others, *sizes, told=told, plain=plain))
    card = draw(cards(cautions)) if told or draw(_fourth) else None
    kinds, site = {}, None
    if card is not None and cautions["format"] > 1 and not plain:
        if draw(_yes):
            kinds[KIND] = text_of(draw(_kinds(card)))
        if draw(_yes):
            site = text_of({"format": 2, "name": SITE, "altitude": "300 m"})
    round_ = draw(rounds(cautions, (*symptoms, SHUT), made)) if with_round else None
    return Written(
        trees={symptom: text_of(tree) for symptom, tree in made.items()},
        cautions=text_of(cautions),
        card=text_of(card) if card is not None else None,
        kinds=kinds,
        site=site,
        rounds={ROUND: text_of(round_)} if round_ is not None else {},
        symptoms=(SHUT,),
    )
