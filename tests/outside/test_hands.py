"""What hands are put to at a scrubber, and the cautions that have to be in force there.

A second account, beside what the files declare: `check` proves that no route comes to a hazard that a
step names without its caution, and says nothing of a hazard that a step forgot. The table is written
from the trade (common practice, no published source) and knows the words of a step only, not its
hazards. Each sentence that tells somebody to do something has to be looking or asking, or to fit a row;
what fits none fails too, so that a new step is thought of once.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import pytest

from diagnose.files.library import built_in, load
from diagnose.files.tree import Finding, Question
from diagnose.study.in_force import caution_table

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.files.rounds import Item
    from diagnose.files.tree import Step


@dataclass(frozen=True)
class Row:
    """What is done, as patterns of the verb that a sentence begins with and of what it is done to.

    `needs` are the cautions that have to be in force, as their ids; the place of one where either
    will do is taken by several with ``|``. `unless` takes a sentence out again.
    """

    what: str
    verbs: str
    objects: str
    needs: tuple[str, ...]
    unless: str = ""

    def fits(self, verb: str, rest: str, around: str) -> bool:
        """Whether a sentence is such work; what *it* stands for is found around the sentence."""
        if not re.fullmatch(self.verbs, verb):
            return False
        if self.unless and re.search(self.unless, f"{verb}{rest}"):
            return False
        if re.search(self.objects, rest):
            return True
        unnamed = re.search(PRONOUN, rest) and not re.search(NAMED, rest)
        return bool(unnamed and re.search(self.objects, around))


def row(what: str, verbs: str, objects: str, needs: str, unless: str = "") -> Row:
    return Row(what, verbs.replace(" ", "|"), objects, tuple(needs.split()), unless)


#: Parts that a sentence may name; where it names one, *it* is not looked for elsewhere.
NAMED = (
    r"squeegee|blade|band\b|lip\b|caster|brush|pad\b|bristle|hub|driver|deck|hood|tank|lid|cap\b|caps\b"
    r"|drain|strainer|bowl|float|basket|screen|hose|valve|connector|plug|contact|breaker|charger|cell"
    r"|seal|knob|wheel|detergent|product|bottle|floor|cloth"
)

#: What stands for a part that was named before.
PRONOUN = r"\b(it|its|them|they|each|both|(new|clean|whole|other) one)\b|^$"

#: Tools that are called as parts are.
TOOLS = re.compile(r"\b(soft|hand) (brush|pad|squeegee)\b")
#: To brush something is to clean it; the machine's brushes are not meant.
BRUSHING = re.compile(r"(?:^|(?<=[.;] ))brush(?= (?:it|them|and)\b)")

#: Handling a part: hands on it.
HANDLE = (
    "take pull push put set fit change turn open close loosen tighten unscrew screw lift lower raise press "
    "wipe rinse clean wash clear cut scrape brush spin swap seat hang lay centre free move measure hold "
    "squeeze straighten break reset stow store empty dry remove wet peel feel touch unhook hook"
)
MACHINE = (
    "drive scrub roll reverse back run make go overlap finish begin start slow sit lower raise stop "
    "steer"
)

TABLE = [
    # Hands near what can turn or drop: lockout; brush and deck besides held up, before the power goes.
    row(
        "take a squeegee off, or put hands to blade, band, knob, wheel or arm of it",
        HANDLE,
        r"squeegee|\bblades?\b|\bband\b|\blip\b|caster|wiping edge|\bedge\b.*(cloth|wip)|pitch knob"
        r"|level knob|height knob|squeegee's|worst place|rounded off",
        "lockout",
        # From the seat, by its lever: the machine's own power, a row further down.
        r"^(lower|raise|lift|leave|keep) (the )?(deck and )?squeegee( down)?\b(?!.*(by hand|off))"
        r"|^put .*squeegee down|squeegee (up|down)|take it (wide|up)|flow|with solution"
        r"|^(lower|raise) both\b(?!.*(by hand|off))|^(lower|raise) it (while|before) you (roll|back)",
    ),
    row(
        "take a brush or pad off, set it on, or reach to hub and driver",
        HANDLE,
        r"\bbrush(es)?\b|\bpads?\b|bristle|\bhubs?\b|\bdrivers?\b|under the deck|\bbelow the deck",
        "lockout raised-load",
        r"brush (pressure|current|amps)|pedal|pressure|charg|before the brush",
    ),
    row(
        "pull out what jams a deck or a wheel",
        "pull cut clear take free",
        r"\bdeck\b|wheel|jam|wound|wrap|string|film\b",
        "lockout",
        r"squeegee",
    ),
    row(
        "cut string, film or a wrap away",
        "cut pull clear",
        r"string|wrap|film\b|strap|wire",
        "cut-gloves",
    ),
    row(
        "put hands to blades, to what may hide glass or wire",
        "take wipe turn open clear empty lift pull rinse push",
        r"\bblades?\b|wiping edge|basket|squeegee.*(off|outlet)|\boutlet\b.*(squeegee|dirt)",
        "cut-gloves",
        r"^(lower|raise|lift|leave|put|keep) (the )?(deck and )?squeegee|refill|take it (wide|up)"
        r"|other way|knob",
    ),
    # Weights.
    row(
        "lift a tank, a hood or a seat that stays up",
        "lift raise prop tilt open free close",
        r"\bhood\b|tank (up|until|on its stay)|lift the (dirty-water |clean-water )?tank",
        "raised-load",
        r"lid|^(read|look)",
    ),
    # The battery.
    row(
        "open a battery, its caps or its cover",
        "lift raise prop open take read fill add put wipe water note measure name",
        r"\bhood\b|vent caps?|\bcells?\b|all caps|caps on|gravity|gravities|distilled|the tops",
        "battery-air",
        r"label|volts|log\b.*hours|training card",
    ),
    row(
        "reach into an open battery",
        "open take fill add wipe water measure",
        r"vent caps?|\bcells?\b|gravity|gravities|distilled|the tops",
        "battery-eyes battery-metal raised-load",
        r"label|volts",
    ),
    row(
        "handle a connector, a charging plug or its contacts",
        "push pull wipe join part open close plug put",
        r"connector|charging plug|contacts?|\bhalves\b|plug (home|by its grip)|pull the plug",
        "battery-metal key-out",
        r"from the wall|test lamp",
    ),
    row(
        "charge the battery",
        "charge",
        r"^ until",
        "key-out battery-air battery-metal",
    ),
    # Water, dirt, product.
    row(
        "open, drain or rinse the dirty-water tank and what is in it",
        "open drain empty rinse lift wipe clean push pull take pour press put set hang brush turn",
        r"dirty-water (tank|lid|drain|hose)|basket|float|inlet screen|drain cap|drain hose|\bthe tanks"
        r"|lid and (dome )?seals?|seal and rim|(?<!clean-water )tank lids?\b",
        "gloves key-out",
        r"^(raise|lower)|charger|hood|keep water out|take it up",
    ),
    row(
        "drain a tank on the floor, or take out what lets water run",
        "drain unscrew",
        r"tank|\bit\b|strainer|bowl",
        "barrier key-out gloves|data-sheet",
        # Advice for another day.
        r"before the next frost$",
    ),
    row(
        "open, drain, fill or rinse the clean-water side",
        "open drain empty rinse fill loosen unscrew screw squeeze hold push wipe take put seat add",
        r"clean-water (tank|lid)|clean water|plain water|\bstrainer\b|\bbowl\b|solution hose|vent\b"
        r"|rinse both",
        "data-sheet key-out",
        r"vent caps|scale|refill|take it up|with water",
    ),
    row(
        "mix, dose, change or pour a product",
        "mix dose pour add fill fit change measure top scrub rub wet",
        r"detergent|\bproduct\b|defoamer|degreaser|\bdose\b|full bottle|dosing|solution\b(?! (setting|off))",
        "data-sheet",
        r"never mix|flow",
    ),
    row(
        "fill or probe warm water",
        "fill hold add measure",
        r"warm water|fill stream|the probe|cold water|\bsteam\b",
        "scald",
        r"distilled",
    ),
    row(
        "shut a lid, dome or hood with fingers near",
        "press close set push",
        r"\blids?\b|\bdome\b|\bhood\b",
        "fingers",
        r"charg",
    ),
    # Breakers: the cause is looked for first, then one reset on a machine that cannot start.
    row(
        "reset a breaker",
        "press push reset",
        r"breaker|\bit in once",
        "key-out let-cool",
    ),
    # The machine moves.
    row(
        "pull off, push on or clear a hose",
        HANDLE,
        r"\bhoses?\b|\bkink|suction gauge|elbow",
        "key-out gloves|data-sheet|fingers",
        r"drain hose|hose (end|out)|lever|along the hose",
    ),
    row(
        "take the squeegee's hose off, or push out what blocks it",
        "pull push hold clear",
        r"off at both ends|plug out from|hose end",
        "lockout gloves cut-gloves",
    ),
    row(
        "turn the hand valve",
        "open shut close turn leave",
        r"valve|lever along",
        "key-out",
    ),
    row(
        "switch it on, turn the key on, press the pedal, try brake or steering",
        "switch press turn try",
        r"scrubbing on|pedal|key on|suction on|brake and steering",
        "people-clear",
        r"^press the (lip|blade|band)|knob|by hand",
    ),
    row("reach to the machine's edge with a cloth", "lay wipe", r"cloth at", "key-out"),
    row("fill plain water", "fill", r"with water", "key-out barrier", r"with water first$"),
    # The filling place has a drain and is no aisle; how warm the water is shows there.
    row("fill water at the filling place", "fill", r"with water first$", "key-out scald"),
    row("put signs up", "set put hang", r"signs", "barrier", r"where you will scrub$"),
    # They go up while the floor is dry still.
    row("put signs up on dry floor", "set", r"signs where you will scrub$", "key-out"),
    row("drain on another day", "drain", r"before the next frost$", "data-sheet barrier"),
    row("sweep the floor", "sweep", r"what lies|aisle|\bfloor\b", "key-out"),
    row("lay absorbent down, take it up", "lay take", r"absorbent|soaked", "data-sheet|gloves"),
    row("press or turn out the emergency stop", "press turn", r"emergency stop", "people-clear"),
    row(
        "work its switches while it drives",
        "turn switch leave",
        r"metres before you stop|squeegee down for",
        "people-clear barrier",
    ),
    # The machine moves.
    row(
        "drive, scrub, roll, lower or raise by the machine's own power",
        f"{MACHINE} take move",
        r"scrub|driv|metres?|pace|curve|lane|track|pedal|brushes|suction|deck|squeegee|ramp|stretch"
        r"|pass(es)?\b|key on|\bstrip\b|^( it)?( (again|once|slowly|gently|twice))?$|^ (to|off|onto|up)\b"
        r"|minutes at|ten minutes|plain water|^ only|^ down on",
        "people-clear",
        r"solution (setting|off)|out of the traffic|^stop|by hand|scrub one|^(lower|start|slow|run|sit)$"
        r"|flow|pressure|^take (?!(it|the water) up)|soaked|for less$|^(sit|begin|start|finish)\b(?!.*(key on|scrub|driv))|brush(es)? off"
        r"|spot on|tool|dosing|^(lower|raise) it$|lift the|hood",
    ),
    row(
        "scrub or lay water down where people walk",
        "scrub wet",
        r"metres?|wet (the|a) |strip|track|five minutes|\bfloor\b|pass\b|square metre|the spot",
        "barrier",
        r"charg|cloth",
    ),
    row(
        "wipe, mop or close off a wet floor",
        "wipe mop barrier push take",
        r"floor dry|\blies\b|the spot\b|spill|puddles|the water up",
        "barrier",
    ),
    # Nothing here hurts: the rows are there so that a sentence fits one.
    row(
        "switches, settings and papers",
        "switch set choose use mark raise lower measure begin start drive turn take put fit clear fill store "
        "stow hang remove hold press free make finish sweep go charge try",
        r"switch|setting|pressure|flow\b|mode|programme|mark|key\b|card|log\b|service|socket|lead\b|cord"
        r"|charg|brake|seat\b|\bfoot\b|gloves|goggles|apron|room lights|knob out|line|slower|again|aisle"
        r"|hand tool|one third|fault|edges|stays on|direction|forward|chock|film|edges?\b|scrubbing off"
        r"|suction off|solution off|lights and horn|finished|full\b|monthly",
        "",
    ),
    row("get on, get off, stop", "sit stop stand get crouch walk step", "", ""),
]

#: Verbs of looking, asking, thinking and telling: nothing is touched.
LOOKING = frozenset(
    "look read see watch listen notice ask compare count enter note write find name wait smell follow think "
    "check walk expect trust remember tell report plan mark stay stand keep stop begin answer know crouch "
    "identify choose time leave only light".split()
)
#: A sentence that forbids.
FORBIDS = re.compile(
    r"^(never|nobody|no |nothing|do not|keep (your|hands|flames)|hands off|(touch|open|add|turn) nothing"
    r"|use no)"
)
#: What stands before a sentence's own verb: when, with what, of what.
BEFORE = re.compile(r"^(?!(take|turn|set|put)\b)[^,:]{1,60}[,:]\s+(?=[a-z]+\b)")
#: Somebody else who does it.
OTHERS = re.compile(r"^(one|a|the|a second) (person|helper|other)( person)? (?=[a-z]+s\b)")
#: Verbs of hands and of the machine, and all that are known.
DOING = frozenset(
    f"{HANDLE} {MACHINE} mop sweep barrier mix dose pour add fill drain switch charge try".split()
)
VERBS = "|".join(sorted(DOING | LOOKING, key=len, reverse=True))
#: What tells how a thing is, as often as what to do.
ONLY_WORDS = frozenset(
    "clean dry free open wet lower set feel slow cut rest empty back lift top brush light".split()
)


def plainly(text: str) -> str:
    """The text in small letters, with nothing called a part of the machine that is a tool."""
    return BRUSHING.sub("clean", TOOLS.sub("tool", text.casefold()))


@dataclass(frozen=True)
class Work:
    """A step or item: its texts (with whether one tells how things are) and what is in force."""

    name: str
    told: tuple[tuple[str, bool], ...]
    around: str
    held: frozenset[str]


@cache
def works() -> dict[str, Work]:
    """Every step, finding and item of the built-in library that is not service's."""
    content = load(built_in())
    table = caution_table(content.cautions)
    found = {}

    def add(name: str, body: Step | Item, do: str | None, look_for: str | None, line: str) -> None:
        told = [(text, how) for text, how in ((do, False), (look_for, True)) if text]
        around = " ".join(plainly(text) for text in (do or "", look_for or "", line))
        found[name] = Work(name, tuple(told), around, frozenset(table.names(table.needs(body))))

    for symptom, tree in content.trees.items():
        for step_name, step in tree.steps.items():
            name = f"{symptom}/{step_name}"
            if isinstance(step, Question):
                add(name, step, step.do, step.look_for, getattr(step, "ask", ""))
            elif isinstance(step, Finding) and step.remedy:
                add(name, step, step.remedy, None, step.finding)
    for round_name, round_ in content.rounds.items():
        for item_name, item in round_.items.items():
            add(f"{round_name}/{item_name}", item, item.do, item.look_for, "")
    return found


def sentences(text: str, told_how_it_is: bool = False) -> Iterator[tuple[str, str]]:
    """What a text tells somebody to do: the verb of each sentence, or part of one, and the rest.

    Where it tells how things are, some verbs are only words: *clean stripes*, *open ends*.
    """
    for sentence in re.split(r"(?<=[.!?;])\s+", plainly(text)):
        parts = re.split(
            rf",? (?:then |and then |or |and )(?=(?:{VERBS})\b(?!-))", sentence.strip(" .;")
        )
        for number, part in enumerate(parts):
            told = OTHERS.sub("", part)
            if told.endswith("?") or FORBIDS.match(told):
                continue
            if not re.match(rf"({VERBS})\b", told) and (before := BEFORE.match(told)):
                told = told[before.end() :]
            found = re.match(rf"({VERBS})(?:e?s)?\b", told)
            if found is None or (number and told == found[0]):
                continue
            if not (told_how_it_is and found[1] in ONLY_WORDS):
                yield found[1], told[found.end() :]


def wanting(work: Work) -> list[str]:
    """What is wrong with a step or item: rows whose cautions are not in force, or no row at all."""
    wrong: dict[str, None] = {}
    fitted, doing = False, []
    for text, how_it_is in work.told:
        for verb, rest in sentences(text, how_it_is):
            rows = [one for one in TABLE if one.fits(verb, rest, work.around)]
            fitted = fitted or bool(rows)
            doing += [f"{verb}{rest}"] if verb in DOING else []
            for one in rows:
                lacking = [need for need in one.needs if not set(need.split("|")) & work.held]
                if lacking:
                    message = f'"{verb}{rest}" is to {one.what}: it wants {", ".join(lacking)}'
                    wrong[message] = None
    verbs = {verb for text, _ in work.told for verb, _ in sentences(text)}
    plain = not doing and (bool(verbs & LOOKING) or not work.told)
    if not fitted and not plain:
        wrong[f"fits no row, and is not plainly looking or asking: {doing or work.told}"] = None
    return list(wrong)


@pytest.mark.parametrize("name", works())
def test_what_hands_are_put_to_has_its_cautions(name: str) -> None:
    assert wanting(works()[name]) == []


# And the other way round: what is taken away is missed, and what is not known is said.


def without_cautions(work: Work) -> Work:
    return Work(work.name, work.told, work.around, frozenset())


def needed(work: Work) -> set[str]:
    """The cautions that the table wants of a step."""
    wants = "\n".join(wanting(without_cautions(work)))
    return {
        one
        for line in wants.splitlines()
        for one in re.findall(r"[a-z]+(?:-[a-z]+)*", line.rpartition("it wants")[2])
    }


def test_a_step_that_forgets_its_cautions_is_found() -> None:
    asked = {name: needed(work) for name, work in works().items()}
    # Most of what is done at a machine needs one; none of what is only looked at does.
    assert sum(bool(wants) for wants in asked.values()) > len(asked) / 3
    assert {"lockout", "raised-load", "key-out", "people-clear", "barrier"} <= set().union(
        *asked.values()
    )
    assert set(caution_table(load(built_in()).cautions).ids) - {
        "let-cool",
        "fingers",
    } <= set().union(*asked.values())


def test_the_library_s_own_words_agree_on_where_hands_are_put_to_something() -> None:
    """`words` in cautions.yaml suggest a hazard wherever the table wants a caution, but for a few.

    Of 256 steps 251 in November 2026. The other way round they say more: the machine that is only
    looked at closely has its key out too.
    """
    known = load(built_in()).cautions
    wanted = {name: work for name, work in works().items() if needed(work)}
    silent = [
        name
        for name, work in wanted.items()
        if not any(list(known.suggested(text)) for text, how_it_is in work.told if not how_it_is)
    ]
    assert len(silent) <= len(wanted) / 20, silent


@pytest.mark.parametrize(
    ("told", "wants"),
    [
        ("Take the squeegee off.", {"lockout"}),
        ("Unhook the squeegee. Lay it on the floor.", {"lockout"}),
        ("Push along the band with your thumb.", {"lockout"}),
        ("Take one brush off.", {"lockout", "raised-load"}),
        ("With the deck blocked, pull the brush down and turn it.", {"lockout", "raised-load"}),
        ("Cut the string away from your hand.", {"cut-gloves"}),
        ("Lift the hood until its stay locks.", {"battery-air", "raised-load"}),
        (
            "Open one vent cap. Look in.",
            {"battery-air", "battery-eyes", "battery-metal", "raised-load"},
        ),
        ("Drain the dirty-water tank.", {"gloves", "key-out", "barrier"}),
        ("Rinse the float, then let it drop.", {"gloves", "key-out"}),
        ("Fit a full bottle of detergent.", {"data-sheet"}),
        ("Add cold water slowly.", {"scald"}),
        ("Drive five metres. Look back.", {"people-clear"}),
        ("Press the breaker in once.", {"key-out", "let-cool"}),
        ("Mop what still lies there.", {"barrier"}),
        (
            "Charge until the charger says finished.",
            {"key-out", "battery-air", "battery-metal"},
        ),
        # Words that other words are read by, and what they must not let through.
        ("Push puddles away with a hand squeegee.", {"barrier"}),
        ("Push the squeegee away.", {"lockout"}),
        ("Lower the squeegee. Lower both.", {"people-clear"}),
        ("Lower the squeegee by hand. Lower both by hand.", {"lockout"}),
        ("Raise the squeegee. Lower it while you roll.", {"people-clear"}),
        ("Take the inlet screen out. Brush it.", {"gloves", "key-out"}),
        ("Take the blade. Brush it.", {"lockout"}),
        ("Drain both tanks.", {"gloves", "key-out", "barrier"}),
        ("Drain both tanks before the next frost.", {"data-sheet", "barrier"}),
        ("Open the tank lid.", {"gloves", "key-out"}),
        ("Fill the clean-water tank with water.", {"key-out", "barrier"}),
        ("Fill the clean-water tank with water first.", {"key-out", "scald"}),
        ("Set up signs where you will scrub.", {"key-out"}),
        ("Set signs round the spill.", {"barrier"}),
        ("Sweep what lies there.", {"key-out"}),
        ("Take it up when it is soaked.", {"data-sheet"}),
        ("Press the emergency stop. Turn it out.", {"people-clear"}),
        ("Steer left and right at walking pace.", {"people-clear"}),
        ("Turn the solution off three metres before you stop.", {"people-clear", "barrier"}),
        ("Take the water up in several slow passes.", {"people-clear", "barrier"}),
        ("Light into the tank.", set()),
        ("Look along the blade. What do you see?", set()),
        ("Read the label. Never open a battery.", set()),
        ("Keep your hands away. Look under the deck.", set()),
    ],
)
def test_the_table_in_words(told: str, wants: set[str]) -> None:
    work = Work("a step", ((told, False),), told.casefold(), frozenset())
    assert wants <= needed(work)
    assert bool(needed(work)) == bool(wants)


@pytest.mark.parametrize("told", ["Weld the frame.", "Polish it.", "Sand the rim down."])
def test_what_the_table_does_not_know_is_said(told: str) -> None:
    work = Work("a step", ((told, False),), told.casefold(), frozenset({"lockout"}))
    (wrong,) = wanting(work)
    assert wrong.startswith("fits no row, and is not plainly looking or asking")
