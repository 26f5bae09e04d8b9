"""The one set of definitions of what a library file may hold, formats 1 to 3.

The reader, the checker of `from_card` and the reference page all come from these tables: a key
that is added here is read, explained and offered as "did you mean" at once.
"""

from __future__ import annotations

import math
import re
from functools import partial
from typing import TYPE_CHECKING, Any, Final

from diagnose.files import refusals
from diagnose.files.card import Card, MachineKind
from diagnose.files.cautions import (
    EACH,
    SIGNALS,
    TOGETHER,
    WHEN_ENERGISED,
    Caution,
    Cautions,
    Hazard,
)
from diagnose.files.kinds import (
    ID,
    NAME,
    PROSE,
    TEXT,
    Either,
    Flag,
    Key,
    ListOf,
    MapOf,
    Number,
    OneOf,
    Quantity,
    Record,
    Text,
    Word,
    choice,
)
from diagnose.files.measurements import Declared, Input, Range
from diagnose.files.rounds import Item, Round
from diagnose.files.site import CALL_OUT, Contact, Site
from diagnose.files.tree import (
    ALWAYS,
    ROLES,
    ChanceFrom,
    Check,
    Exit,
    Finding,
    Reading,
    Tree,
    WorkedCase,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.files.kinds import Kind

#: The newest format this program reads.
FORMAT: Final = 3

ANSWER: Final = Text("an answer")
POSITIVE: Final = Number(low=(0, False))
#: Any positive scale will do; what is nearly nothing could not be computed with.
CHANCE: Final = Number(low=(1e-300, True), high=(1e6, True))
IDS: Final = ListOf(ID)
LINES: Final = ListOf(Text("a short line"), at_least=1)
FLAG: Final = Flag()
_SIGN = "a sign number of ISO 7010, such as W001"
SIGN: Final = Word(
    _SIGN,
    re.compile("[WMPEF][0-9]{3}"),
    lambda shown: refusals.unknown_word(f'Write {_SIGN}: "{shown}" does not fit.'),
)


_must: Final = partial(Key, required=True)

_FORMAT = _must(
    "format", Number((1, True), (FORMAT, True), whole=True), "The file's format.", example="3"
)
_second: Final = partial(Key, since=2)
_third: Final = partial(Key, since=3)

_HAZARDS = Key(
    "hazards",
    IDS,
    "What can hurt someone here; each calls the caution over it.",
    (),
    example="[brush-drive, sharps]",
)
_CAUTIONS = Key(
    "cautions", IDS, "Cautions on top of what the hazards call for.", (), example="[gloves]"
)
_NOT_HERE = Key(
    "not_here",
    IDS,
    "Hazards that the words of this step suggest, and that are not here.",
    (),
    since=3,
    example="[mains]",
)
_ENERGISES = Key("energises", FLAG, "The machine runs in this step.", False, example="true")
_SHOW_CARD = _second(
    "show_card",
    ListOf(Text("a line of the card")),
    "Lines or lists of the machine card, such as flow.rate or charger, which are shown with what "
    "they say.",
    (),
    example="[battery.capacity, charger]",
)
_NOTE_DOWN = _second(
    "note_down", TEXT, "What the screen offers to write down.", example="What the charger shows"
)
_WAS = _third(
    "was",
    IDS,
    "Ids that it had before: cases in the log under one of them count for it, and `compare` knows "
    "that it was renamed.",
    (),
    example="[charge-cut]",
)
_condition = MapOf(Text("a line of the card"), ListOf(Text("a word"), at_least=1))


def _applies_to(what: str) -> Key:
    about = f"Lines of the machine card and the words that fit: where it says otherwise, {what}."
    return _second(
        "applies_to", _condition, about, ALWAYS, example="{battery.kind: [flooded, sealed]}"
    )


def _for_kinds(what: str) -> Key:
    about = (
        "The kinds of machine that it is for, each a file of `machines/kinds/`: on another,"
        f" {what}. Left out, or on a machine without a kind: it is for all."
    )
    kinds = ListOf(ID, at_least=1)
    return Key("kinds", kinds, about, (), since=3, example="[hall-scrubber]")


_QUESTION = (
    Key("do", PROSE, "What to do first.", example="Switch on, and wait ten seconds."),
    Key(
        "look_for",
        PROSE,
        "What good and bad look like.",
        example="A full battery shows four bars of five or more.",
    ),
    Key("tool", TEXT, "What it takes.", example="A torch"),
    Key("minutes", POSITIVE, "How long it takes.", 1.0, example="1.5"),
    Key(
        "slip",
        Number(low=(0, True), high=(0.5, False)),
        "How likely a careful person answers wrongly: 0.03 a plain look, 0.15 worn or not, "
        "0.2 by ear, 0.25 from memory.",
        0.05,
        example="0.03",
    ),
    Key("by", choice(*ROLES), "Who may do it.", "operator", example="battery-trained"),
    Key(
        "from_card",
        TEXT,
        "The line of the machine card that answers, such as battery.kind.",
        example="battery.kind",
    ),
    _SHOW_CARD,
    _applies_to("it is answered by its passing answer"),
    _second(
        "same_as",
        ID,
        "The step that looks at the same on another route; who answered one is not asked again.",
        example="bars-at-start",
    ),
    _NOTE_DOWN,
    _HAZARDS,
    _NOT_HERE,
    _CAUTIONS,
    _ENERGISES,
    Key("after", IDS, "Steps that must come before this one.", (), example="[bars-at-start]"),
    Key(
        "passes",
        ANSWER,
        "The answer that rules this step's own causes out and goes on, or `none`. Left out: the "
        "only answer that leads to another check or reading.",
        example="High enough",
    ),
    Key(
        "if_unsure",
        ANSWER,
        "The answer whose way is the safe one when nobody is sure.",
        example="Low",
    ),
    _WAS,
)


def _check(answers: dict[Any, Any], **values: Any) -> Check:
    exits = tuple(
        [
            Exit(answer=answer, to=to) if isinstance(to, str) else Exit(answer=answer, **to)
            for answer, to in answers.items()
        ]
    )
    return Check(exits=exits, **values)


def _reading(bands: tuple[tuple[float | None, Exit], ...], **values: Any) -> Reading:
    limits = tuple(math.inf if limit is None else limit for limit, _ in bands)
    last = -1 if bands[-1][0] is None else None
    return Reading(exits=tuple(exit_ for _, exit_ in bands), limits=limits[:last], **values)


EXIT: Final = Record(
    "an answer that not every machine gives",
    "An answer as a map.",
    lambda go, applies_to: {"to": go, "applies_to": applies_to},
    _must("go", ID, "The step it leads to.", since=2, example="water-low"),
    _applies_to("it is not offered"),
)
CHECK: Final = Record(
    "a check",
    "Look or do something, then choose one of two or more answers.",
    _check,
    _must("ask", TEXT, "The question.", example='"What does the battery gauge show?"'),
    *_QUESTION,
    _must(
        "answers",
        MapOf(ANSWER, Either(ID, EXIT), at_least=2),
        "What may be seen, and the step it leads to.",
        example="{Low: charge-short, High enough: rested-voltage}",
    ),
)

BELOW: Final = Record(
    "a band",
    "A range of the figure, up to a limit.",
    lambda below, call, go: (below, Exit(answer=call, to=go)),
    _must(
        "below",
        Number(),
        "The limit, itself outside the band, in the measurement's unit.",
        example="80",
    ),
    _must("call", ANSWER, "What the band is called; it is the reading's answer.", example="Low"),
    _must("go", ID, "The step it leads to.", example="charge-short"),
)
OTHERWISE: Final = Record(
    "the last band",
    "All that the other bands leave.",
    lambda otherwise, go: (None, Exit(answer=otherwise, to=go)),
    _must(
        "otherwise",
        ANSWER,
        "What the band is called; it is the reading's answer.",
        example="High enough",
    ),
    _must("go", ID, "The step it leads to.", example="cell-weak"),
)
READING: Final = Record(
    "a reading",
    "Measure something; the program computes a figure, and its band decides.",
    _reading,
    _must(
        "read",
        ID,
        "The measurement, by its name; `value` takes one bare number.",
        example="rest-voltage",
    ),
    *_QUESTION,
    _must(
        "bands",
        ListOf(
            OneOf("a band", below=BELOW, otherwise=OTHERWISE),
            at_least=2,
        ),
        "The ranges of the figure, rising, `otherwise` last.",
        example="[{below: 80, call: Low, go: charge-short}, "
        "{otherwise: High enough, go: cell-weak}]",
    ),
)
CHANCE_FROM: Final = Record(
    "where a chance comes from",
    "What a chance was worked out from; `diagnose order --write-chances` writes it.",
    ChanceFrom,
    _must("estimate", CHANCE, "The author's own estimate.", since=3, example="13"),
    _must(
        "cases",
        Number(low=(0, True)),
        "The cases of this cause that were counted.",
        since=3,
        example="4",
    ),
)
FINDING: Final = Record(
    "a finding",
    "A leaf: the cause, what to do about it, and who may do it.",
    Finding,
    _must(
        "finding",
        TEXT,
        "The cause in one line, and one reason to believe it.",
        example='"The charge was cut off: the socket goes off with the lights"',
    ),
    _must(
        "chance", CHANCE, "How often it is the cause, in 100 cases of this symptom.", example="22"
    ),
    _third(
        "chance_from",
        CHANCE_FROM,
        "What the chance was worked out from, once cases spoke.",
        example="{estimate: 13, cases: 4}",
    ),
    _WAS,
    Key("who", choice(*ROLES), "Who may do the remedy.", "", example="operator"),
    Key(
        "remedy",
        PROSE,
        "What to do.",
        example="Use a socket that stays on. Charge until it shows that it has finished.",
    ),
    Key("minutes", POSITIVE, "How long the remedy takes.", 5.0, example="10"),
    _HAZARDS,
    _NOT_HERE,
    _CAUTIONS,
    Key(
        "parts",
        ListOf(Text("a part")),
        "Parts that the remedy may need.",
        (),
        example="[charger cord]",
    ),
    Key(
        "leave_safe",
        PROSE,
        "How to leave the machine until service comes; shown.",
        example="Park it level, with the key out.",
    ),
    Key(
        "ask_service",
        PROSE,
        "What service is asked to do; in the handover only.",
        example="Test each cell under load.",
    ),
    _second(
        "until_mended",
        PROSE,
        "After a referral: `out of use`, or a sentence that says how it may be used until then. "
        "Required where `who` is service.",
        example="Use it for half a shift, then charge.",
    ),
    _SHOW_CARD,
    Key(
        "continue_with",
        ID,
        "A doorway: the symptom that goes on. No who and no remedy then.",
        example="no-charge",
    ),
)
WORKED_CASE: Final = Record(
    "a worked case",
    "A case with its known end, run whenever the library is checked.",
    WorkedCase,
    _must("name", TEXT, "What the case shows.", example="The socket goes off with the lights"),
    _must(
        "answers",
        MapOf(ID, Either(ANSWER, MapOf(Text("the name of an input"), Text("its value")))),
        "Steps and their answers; a step not named takes its passing answer. For a reading its "
        "call, or a map of inputs.",
        example="{bars-at-start: Low}",
    ),
    _must("finding", ID, "The finding at which the case ends.", example="charge-short"),
)

STEP: Final = OneOf("a step", ask=CHECK, read=READING, finding=FINDING)
TREE: Final = Record(
    "a symptom tree",
    "What to check, in which order, when the machine shows one symptom: `SYMPTOM.yaml`.",
    lambda format, **values: Tree(**values),  # noqa: A006
    _FORMAT,
    _must("symptom", ID, "The symptom's id; the file has the same name.", example="low-runtime"),
    _must(
        "title",
        TEXT,
        "What the operator would say, in one line.",
        example="It runs out of battery early",
    ),
    Key(
        "also_called",
        ListOf(Text("a few words")),
        "Other words that people use.",
        (),
        example="[dies before the break, battery does not last]",
    ),
    _for_kinds("the symptom is not offered"),
    _applies_to("the symptom is not offered"),
    _must("start", ID, "The first step.", example="bars-at-start"),
    _must(
        "steps",
        MapOf(ID, STEP, at_least=1),
        "All steps, in the order in which they are to be read.",
    ),
    Key(
        "worked_cases",
        ListOf(WORKED_CASE),
        "Cases with known ends.",
        (),
        example="[{name: Cut off in the night, answers: {bars-at-start: Low}, "
        "finding: charge-short}]",
    ),
)

HAZARD: Final = Record(
    "a hazard",
    "What can hurt someone in a step.",
    Hazard,
    _must("title", TEXT, "The hazard in a few words.", example="Brushes can turn"),
    Key(
        "service_only",
        FLAG,
        "Only service works on it; no caution covers it.",
        False,
        example="true",
    ),
    Key(
        "words",
        ListOf(Text("a few words")),
        "Words that suggest it: `check` warns of a step in which they stand, in this order in one "
        "sentence of `do`, `ask` or `remedy`, and which does not name it.",
        (),
        since=3,
        example="[take brush off, under the deck]",
    ),
)
CAUTION: Final = Record(
    "a caution",
    "What is shown and confirmed before a step.",
    Caution,
    _must("title", TEXT, "What holds while it is in force, in a few words.", example="Locked out"),
    _must(
        "signal", choice(*SIGNALS), "The signal word, as ANSI Z535.6 uses it.", example="WARNING"
    ),
    Key("signs", ListOf(SIGN), "Sign numbers of ISO 7010.", (), example="[W018, M006, M021]"),
    Key("covers", IDS, "The hazards that it covers.", (), example="[brush-drive, sharps]"),
    Key("includes", IDS, "Cautions that come into force with it.", (), example="[gloves]"),
    _must(
        "lapses",
        choice(WHEN_ENERGISED, "never"),
        "When it ends: as soon as the machine runs, or not in this case.",
        example="when energised",
    ),
    Key(
        "minutes",
        POSITIVE,
        "How long taking it takes, with all that it includes.",
        1.0,
        example="6",
    ),
    _must(
        "text",
        PROSE,
        "What to do, and why.",
        example="Lock the machine out before hands go near what can move.",
    ),
    _must(
        "confirm",
        LINES,
        "What is confirmed, one short line each.",
        example="[The charger is unplugged., The battery connector is apart., My tag hangs on it.]",
    ),
    _second(
        "confirm_lines",
        choice(EACH, TOGETHER),
        "Whether each line has its own confirmation: where one that is missed kills or maims.",
        TOGETHER,
        example="each",
    ),
    _second("lockout", FLAG, "It is the one that isolates the machine.", False, example="true"),
    Key(
        "release",
        LINES,
        "What is done before the machine may run again.",
        (),
        example="[Tools are off the machine., Everybody stands clear., My own tag is off.]",
    ),
)
CAUTIONS: Final = Record(
    "cautions.yaml",
    "The hazards of a library, and the caution that covers each.",
    lambda format, **values: Cautions(**values),  # noqa: A006
    _FORMAT,
    _must(
        "hazards",
        MapOf(ID, HAZARD),
        "All hazards.",
        example="{brush-drive: {title: Brushes can turn}, sharps: {title: Sharp things}, "
        "mains: {title: Charger and cord, service_only: true}}",
    ),
    _must("cautions", MapOf(ID, CAUTION), "All cautions, in the order in which they are shown."),
)

BEGINS: Final = Record(
    "what is begun",
    'The symptom that "not right" begins, with what was seen already.',
    lambda symptom, answers: {"starts": symptom, "seen": answers},
    _must("symptom", ID, "The symptom.", since=2, example="low-runtime"),
    _second(
        "answers",
        MapOf(ID, ANSWER),
        "Answers that go along, by their step.",
        {},
        example="{bars-at-start: Low}",
    ),
)


def _item(starts: str | dict[str, Any] | None, **values: Any) -> Item:
    return Item(**values, **(starts if isinstance(starts, dict) else {"starts": starts}))


ITEM: Final = Record(
    "an item",
    "One action of a round.",
    _item,
    _must("do", PROSE, "One action.", example="Look at the battery gauge."),
    Key("look_for", PROSE, "What right looks like.", example="All bars are lit."),
    Key("minutes", POSITIVE, "How long it takes.", 1.0, example="0.5"),
    _HAZARDS,
    _NOT_HERE,
    _CAUTIONS,
    _ENERGISES,
    _second("by", choice(*ROLES), "Who may do it.", "operator", example="battery-trained"),
    _applies_to("it is passed"),
    _SHOW_CARD,
    _NOTE_DOWN,
    Key(
        "starts",
        Either(ID, BEGINS),
        'The symptom that "not right" begins.',
        example="{symptom: low-runtime, answers: {bars-at-start: Low}}",
    ),
    _second(
        "stops", FLAG, '"Not right" ends the round, the machine out of use.', False, example="true"
    ),
)
ROUND: Final = Record(
    "a round",
    "A routine checklist without branches: `rounds/ID.yaml`.",
    lambda format, **values: Round(**values),  # noqa: A006
    _FORMAT,
    _must("round", ID, "The round's id; the file has the same name.", example="before-shift"),
    _must("title", TEXT, "What it is for.", example="Before the shift, at the charging place"),
    _must(
        "every", choice("shift", "day", "week", "month"), "How often it is due.", example="shift"
    ),
    _for_kinds("the round is refused"),
    _applies_to("the round is refused"),
    _must(
        "items",
        MapOf(ID, ITEM, at_least=1),
        "The items, in order.",
        example="{gauge-looked-at: {do: Look at the battery gauge., look_for: All bars are lit.}}",
    ),
)


def _section(name: str, about: str, *keys: Key) -> Key:
    def make(**values: Any) -> dict[str, Any]:
        return {key: value for key, value in values.items() if value is not None}

    return Key(name, Record(f"`{name}`", about, make, *keys), about)


def _card(
    format: int,  # noqa: A002
    machine: str,
    title: str,
    kind: str | None,
    **lines: Any,
) -> Card:
    said = {name: value for name, value in lines.items() if value is not None}
    said = {"machine": machine, "title": title, **said}
    return Card(machine=machine, title=title, kind=kind, lines=said)


def _kind(format: int, kind: str, title: str, **lines: Any) -> MachineKind:  # noqa: A002
    said = {name: value for name, value in lines.items() if value is not None}
    return MachineKind(kind=kind, title=title, lines=said)


_WORDS_TO_WORDS = MapOf(Text("a word"), TEXT)
_COUNT = Number(low=(0, True), whole=True)

#: What a card may say, and a kind of machine for all cards of that kind.
_LINES = (
    _section(
        "nameplate",
        "The nameplate.",
        Key("model", TEXT, "The model.", example="hall scrubber of the second build"),
        Key("serial", TEXT, "The serial number.", example="D-0417"),
        Key("built", TEXT, "When it was built.", example="spring 2022"),
    ),
    Key("hours", TEXT, "The hour meter when the card was written.", example="1846 h in November"),
    _section(
        "site",
        "The site.",
        Key("name", TEXT, "Its name.", example="Parcel hall at Odderby Cross"),
        Key("altitude", Quantity("length"), "Its height above the sea.", example="320 m"),
    ),
    Key("stands", TEXT, "Where the machine stands.", example="Bay 3, beside the charging place"),
    Key(
        "access",
        PROSE,
        "When and how service gets in.",
        example="Gate 2, from six to ten. The shift lead opens.",
    ),
    _section(
        "tanks",
        "The tanks.",
        Key("clean", Quantity("volume"), "The clean-water tank.", example="96 L"),
        Key("dirty", Quantity("volume"), "The dirty-water tank.", example="131 L"),
    ),
    Key("path_width", Quantity("length"), "The width that is scrubbed.", example="83 cm"),
    Key("working_speed", Quantity("speed"), "The usual scrubbing speed.", example="4.3 km/h"),
    _section(
        "flow",
        "The solution flow to start with.",
        Key("setting", TEXT, "The setting.", example="second mark of six"),
        Key("rate", Quantity("flow"), "The flow at that setting.", example="2.7 L/min"),
    ),
    _section(
        "brushes",
        "Brushes or pads.",
        Key(
            "kind", TEXT, "The kind for this floor.", example="two disc brushes for sealed concrete"
        ),
        Key("setting", TEXT, "The pressure setting to start with.", example="lowest"),
        Key(
            "current", Quantity("current"), "The usual current of the brush motors.", example="18 A"
        ),
        Key("bristle_new", Quantity("length"), "The bristle when new.", example="43 mm"),
    ),
    _section(
        "squeegee",
        "The squeegee.",
        Key(
            "blade",
            TEXT,
            "The blades and what they are made of.",
            example="natural rubber behind a clamp strip",
        ),
        Key("rear_edges", _COUNT, "Usable edges of the rear blade.", example="4"),
        Key("front_edges", _COUNT, "Usable faces of the front blade.", example="2"),
        Key("edges_used", _COUNT, "Edges of the rear blade that are used up.", example="1"),
        Key("bend", Quantity("length"), "The bend of the rear blade at work.", example="12 mm"),
    ),
    _section(
        "detergent",
        "The detergent of this site.",
        Key(
            "product",
            TEXT,
            "What the site calls it.",
            example="the low-foaming floor cleaner of the store",
        ),
        Key("ratio", TEXT, 'The dose, such as "1:100".', example='"1:100"'),
    ),
    Key(
        "warmest_solution",
        Quantity("temperature"),
        "The warmest solution to fill.",
        example="50 degC",
    ),
    _section(
        "battery",
        "The battery.",
        Key(
            "kind",
            choice("flooded", "sealed", "lithium"),
            "Unknown counts as sealed.",
            example="flooded",
        ),
        Key("cells", Number(low=(1, True), whole=True), "Cells in series.", example="12"),
        Key("capacity", Quantity("charge"), "The rated capacity.", example="240 Ah"),
        Key("rated_hours", Quantity("time"), "The hour rate at which it is rated.", example="5 h"),
        Key(
            "exponent",
            Number(low=(1, True), high=(1.6, True)),
            "The Peukert exponent.",
            example="1.2",
        ),
        Key(
            "charge_factor",
            Number(low=(1, True), high=(2, True)),
            "Charge put back per taken.",
            example="1.2",
        ),
        Key(
            "lowest_charge",
            Quantity("share"),
            "The lowest charge it is run down to.",
            example="20 %",
        ),
        Key("age", Quantity("time"), "Its age.", example="2 years"),
        Key("cycles", _COUNT, "The cycles it has had.", example="310"),
    ),
    _section(
        "currents",
        "Typical currents.",
        Key("working", Quantity("current"), "All running, on a usual floor.", example="38 A"),
    ),
    _section(
        "suction",
        "The suction.",
        Key("rated", Quantity("pressure"), "The sealed suction at sea level.", example="11.2 kPa"),
    ),
    _section(
        "charger",
        "The charger.",
        Key("programme", TEXT, "The charge programme it is set to.", example="flooded 24 V"),
        Key(
            "lamps",
            _WORDS_TO_WORDS,
            "What its lamps mean.",
            example="{white steady: charging, blue steady: finished}",
        ),
        Key(
            "codes",
            _WORDS_TO_WORDS,
            "What its codes mean.",
            example="{C1: battery not found, C2: battery too warm}",
        ),
    ),
    Key(
        "caution_minutes",
        MapOf(ID, POSITIVE),
        "Minutes that a caution takes on this machine.",
        example="{lockout: 10}",
    ),
    Key(
        "settings",
        _WORDS_TO_WORDS,
        "Settings for the wall chart.",
        example="{Solution: second mark of six, Suction: full}",
    ),
    _second(
        "call_out_minutes", POSITIVE, "The minutes that a call for service costs.", example="90"
    ),
    _section(
        "service",
        "Whom to call.",
        Key("name", TEXT, "The name.", example="Machine desk of Odderby Cross"),
        Key("phone", TEXT, "The number.", example="555-0142"),
    ),
    Key(
        "last_visit",
        PROSE,
        "Service's last visit, and what was done.",
        example="Squeegee frame set and both casters changed, in August.",
    ),
)

CARD: Final = Record(
    "a machine card",
    "What the nameplate and the setup sheet say about one machine: `machines/ID.yaml`.",
    _card,
    _FORMAT,
    _must("machine", ID, "The machine's id; the file has the same name.", example="dock"),
    _must("title", TEXT, "What people call the machine.", example="Dock machine"),
    _second(
        "kind",
        ID,
        "The kind of machine, whose lines it takes where it has none itself.",
        example="hall-scrubber",
    ),
    *_LINES,
)
MACHINE_KIND: Final = Record(
    "a kind of machine",
    "What holds for all machines of one kind: `machines/kinds/KIND.yaml`.",
    _kind,
    _FORMAT,
    _must(
        "kind", ID, "The kind's id; the file has the same name.", since=2, example="hall-scrubber"
    ),
    _must("title", TEXT, "What people call such a machine.", example="Hall scrubber"),
    *_LINES,
)

CONTACT: Final = Record(
    "whom to call",
    "Somebody who is called.",
    Contact,
    _must("name", TEXT, "Who it is.", example="Works fire brigade"),
    _must("phone", TEXT, "The number.", example="555-0100"),
)
SITE: Final = Record(
    "site.yaml",
    "The place where the machines work, and whom to call. A machine card may say otherwise.",
    lambda format, **values: Site(**values),  # noqa: A006
    _FORMAT,
    _must("name", TEXT, "The site's name.", since=2, example="Parcel hall at Odderby Cross"),
    Key("altitude", Quantity("length"), "Its height above the sea.", example="320 m"),
    Key(
        "call",
        MapOf(choice("emergency", "shift_lead", "service"), CONTACT),
        "Whom to call: emergency, shift_lead, service.",
        {},
        example="{emergency: {name: Works fire brigade, phone: 555-0100}}",
    ),
    Key(
        "call_out_minutes",
        POSITIVE,
        "The minutes that a call for service costs.",
        CALL_OUT,
        example="90",
    ),
    Key(
        "also_danger",
        ListOf(Text("a word or a few")),
        "Words that mean danger here, besides the program's own.",
        (),
        example="[forklift tipped, gate fell]",
    ),
)


def _unit(example: str) -> Key:
    about = "The unit, such as L/min; left out: a bare number."
    return _third("unit", TEXT, about, "", example=example)


INPUT: Final = Record(
    "an input",
    "What a person reads at the machine.",
    Input,
    _must(
        "title",
        TEXT,
        "What is read, in a few words.",
        since=3,
        example="turns of the driving pulley",
    ),
    _unit("rpm"),
    _must("least", Number(), "The least that can be right, in this unit.", since=3, example="1"),
    _must("most", Number(), "The most that can be right.", since=3, example="5000"),
)
RANGE: Final = Record(
    "what is expected",
    "The range in which the figure is right, in the measurement's unit.",
    Range,
    _third("least", Number(), "The least; left out: no figure is too low.", example="0"),
    _third("most", Number(), "The most; left out: no figure is too high.", example="3"),
)


def _declared(inputs: dict[str, Input], **values: Any) -> Declared:
    return Declared(inputs=tuple(inputs.items()), **values)


MEASUREMENT: Final = Record(
    "a measurement",
    "One formula over what is read; a tree names it at `read`, as one of the program's own.",
    _declared,
    _must(
        "title",
        TEXT,
        "What is measured, in a few words.",
        since=3,
        example="Slip of the drive belt",
    ),
    _unit('"%"'),
    _must(
        "how",
        PROSE,
        "How it is taken, in a line or two.",
        since=3,
        example="Count the turns of both pulleys in the same minute.",
    ),
    _must(
        "inputs",
        MapOf(NAME, INPUT, at_least=1),
        "What is read, by its name.",
        since=3,
        example="{driving: {title: turns of the driving pulley, unit: rpm, least: 1, most: 5000}, "
        "driven: {title: turns of the driven pulley, unit: rpm, least: 0, most: 5000}}",
    ),
    _must(
        "formula",
        TEXT,
        "School arithmetic over the inputs, each in its own unit: numbers, names, + - * / ^ and "
        "parentheses.",
        since=3,
        example="100 * (driving - driven) / driving",
    ),
    _third(
        "expected", RANGE, "The range in which the figure is right.", example="{least: 0, most: 3}"
    ),
    _third(
        "good_to",
        POSITIVE,
        "How far off the method may be, in this unit: figures are shown rounded to that.",
        example="1",
    ),
    _must(
        "source",
        TEXT,
        "Where formula and range come from.",
        since=3,
        example="the definition of slip; the range is our own",
    ),
)
MEASUREMENTS: Final = Record(
    "measurements.yaml",
    "Measurements of this library, beside those that the program knows (`diagnose measure`).",
    lambda format, measurements: measurements,  # noqa: A006
    _FORMAT,
    _must("measurements", MapOf(ID, MEASUREMENT, at_least=1), "By their names.", since=3),
)

#: What each kind of file holds, by the folder it stands in.
FILES: Final = {
    "tree": TREE,
    "cautions": CAUTIONS,
    "round": ROUND,
    "machine": CARD,
    "kind": MACHINE_KIND,
    "site": SITE,
    "measurements": MEASUREMENTS,
}


def _lines(record: Record, above: str = "") -> Iterator[tuple[str, Kind]]:
    """Yield the dotted path of everything that a record may hold, with its kind."""
    for key in record.keys.values():
        yield f"{above}{key.name}", key.kind
        if isinstance(key.kind, Record):
            yield from _lines(key.kind, f"{above}{key.name}.")


_SINGLE: Final = {
    path: kind
    for path, kind in _lines(CARD)
    if not isinstance(kind, Record | MapOf) and path not in ("format", "machine", "title", "kind")
}
#: The dotted path of every single line that a machine card may have.
CARD_LINES: Final = frozenset(_SINGLE)


def line_kind(path: str) -> Kind:
    """Return what may stand at the dotted path of a card's line."""
    return _SINGLE[path]


_listed = [path for path, kind in _lines(CARD) if kind is _WORDS_TO_WORDS]
#: The dotted path of every list of words with their meanings (lamps, codes), and of what holds it.
CARD_LISTS: Final = frozenset([*_listed, *(path.rpartition(".")[0] or path for path in _listed)])
