"""The program's own words, by id. What a tree, a caution or a card says is not here.

Short, plain sentences; no blame; nothing that only a programmer knows.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

from diagnose.files import replies

if TYPE_CHECKING:
    from diagnose.case.screens import Phrase

#: Stands over the first screen of every case.
NOTICE: Final = (
    "Site rules, the machine's own manual and licensed practice come first."
    " Stand out of the traffic, on level floor, signs up."
)

#: What the reply `danger` is for.
DANGER: Final = "Smoke, smell, heat, swollen battery, somebody hurt: ! at once."

#: The screen of a danger: the stop, and what it may be.
STOP: Final = "Stop. Get off. Send people away. Call for help."

#: What stands in a window that is too small for any screen, and for that of a danger: the longest
#: for which there is room.
TOO_SMALL: Final = (
    "This window is too small. Make it larger to go on. Danger: ! at once.",
    "Too small. Make it larger.",
    "Too small",
)
STOP_SMALL: Final = (f"{STOP} Then make this window larger.", STOP, "Stop. Get off.", "Stop")

DANGERS: Final[dict[str, str]] = {
    "smoke": "Smoke or a burning smell",
    "heat": "Something is too hot",
    "battery": "The battery is swollen or hisses",
    "hurt": "Somebody is hurt",
    "other": "Something else",
    "mistake": "Pressed by mistake",
}

WORDS: Final[dict[str, str]] = {
    # Passed over without a word of the step.
    "passed-by": "A step was passed over: it is for {who} people.",
    "passed-caution": "A step was passed over: its caution cannot be met here.",
    "passed-card": "A reading was passed over: {message}.",
    # From one symptom, or one day, to the next.
    "from-card": "From the machine card: {line} is {answer}.",
    "card-list": "On the machine card {shown} means: {meaning}.",
    "not-here": "Skipped, since this machine is another: {line}.",
    # At a finding.
    "seen-otherwise": "An earlier answer spoke against this.",
    "open-before": "Other causes are still open: {title}.",
    "doorway-shut": "The symptom {symptom} cannot be opened, so this one goes on.",
    "resumed": "Taken up again. Earlier answers that fit: {fits}; asked anew: {misfits}.",
    # A remedy that has helped often, from the log. The 30 days are those of log/history.py.
    "comes-back-care": (
        "It comes back: fixed here {times} times within 30 days. It takes no part, so it is missed"
        " care before it is a call for service. Do this more often, on a round."
    ),
    "comes-back-part": (
        "It comes back: fixed here {times} times within 30 days. The part is right again, and"
        " what wears it out is still there: have service look for that."
    ),
    # The machine's state, before a case or a round.
    "state-also": "Also on this machine: {state} since {since}, {why} (case {case}).",
    "state-noted": "Noted there: {words}",
    "state-more": "More cases that hold this machine: {count}. They are in: diagnose cases --open.",
    "state-released": "Released by {name}, and in use again.",
    "no-name": "A name is wanted: it stands in the log beside the release.",
    # In a round.
    "round-noted": "Noted as not right. If it is not safe to use, park it and call service.",
    "round-with-service": "That symptom is with service already. Noted as not right.",
    "round-after-cured": "{title}: fixed. The round goes on.",
    "round-after-referred": "{title}: with service now. The round goes on.",
    "round-no-way-back": "That diagnosis is over: there is no way back into it.",
    "round-counts": "Done: {done}. Not right: {not_right}. Not now: {not_now}.",
    "items-passed-by": "Left for now, since they are for people with more training: {count}.",
    "items-passed-caution": "Left for now, since their caution cannot be met here: {count}.",
    "items-passed-referred": "Left for now, since the machine waits for service: {count}.",
    # Above an end.
    "not-kept-yet": "This is not in the log yet. Please wait. A line tells if it cannot be kept.",
    "end-danger": (
        "Stop. Touch nothing more. Move everybody away and call for help as your site says."
        " Service takes over from here."
    ),
    "end-nothing-left": "Nothing is left here that an operator can check. Service takes over.",
    "end-stops": (
        "Stop here. Park the machine and take the key out. Hang a tag on it."
        " It is out of use until it is released."
    ),
    "end-call": "Call {who}: {phone}.",
    "end-withdrawn": "Nothing was answered, so no case is kept.",
    "end-resume": "To go on with it: diagnose resume {case}",
    "end-handover": "The page for service: diagnose handover {case}",
    # Replies that mean nothing here.
    "danger-which": "Give its number, 1 to {last}. {last} goes back.",
    "no-way-back": "This is the first screen: there is nothing to go back to.",
    "not-kept": (
        "The log is busy. Others were writing to it all the time. Not kept: {what}."
        " Reply once more."
    ),
    "not-opened": (
        "The log is busy. Others were writing to it all the time. Not kept yet: {what}."
        " Your next reply tries again."
    ),
    "not-looked-up": (
        "The log is busy. Others were writing to it all the time."
        " Nobody can say how this machine may be used. Choose it once more."
    ),
    "log-waits": "The log is busy. Please wait.",
    # What long work says of itself.
    "simulated": "Simulated: {done} of {total}, {seconds} s.",
    "written": "Written: {done} of {total}, {seconds} s.",
    "nothing-typed": "Nothing was typed.",
    "no-such-answer": 'No answer is "{typed}". Give its number, 1 to {last}, or its words.{hint}',
    "no-such-reply": '"{typed}" is no reply here. These are: {offered}.{hint}',
    "no-such-caution": 'No caution here is "{typed}". These are: {offered}.{hint}',
    "no-such-machine": (
        'No machine here is "{typed}". Type part of its id, name or serial, or none.{hint}'
    ),
    "several-machines": '"{typed}" is part of {count} machines. Which is it?',
    "not-for-machine": '"{title}" is for other machines: {why}.',
    "no-such-symptom": 'No symptom here sounds like "{typed}". Give its number, or other words.',
    "noted": "Noted: {text}",
    "note-empty": "Write the note behind the word: note lamp three blinks.",
    "note-long": "A note has up to {most} characters, and this one has {length}. Write less.",
    "one-fits": 'This is what "{typed}" comes nearest to. Is it this?',
    "several-fit": 'More than one sounds like "{typed}". Which is it?',
    "taken-as": 'Your words: "{typed}". Taken as: {title}. If it is not that, go back.',
    "all-symptoms": "None of these. Show all symptoms.",
    "none-fits": 'No symptom here sounds like "{typed}". The first one asks what it looks like.',
    "symptom-broken": "That symptom cannot be opened: {message}.",
    "cannot-read": "That reading cannot be used: {message}.",
    # Why.
    "why-take": 'What comes next can hurt you. "{title}" guards against it.',
    "why-release": 'What comes next starts the machine, so "{title}" must end first.',
    "why-hazard": "The hazard: {title}.",
    "why-question": "Causes behind this step: {causes}. It tells them apart in {answers} ways.",
    "why-reading": "The reading: {title}. {how}",
    "why-finding": "Your answers led here.",
    "why-unchecked": "No answer led here. It is the best of what is left.",
    "why-seen": "An earlier answer spoke against it. It is the best of what is left.",
    "why-answer-for": "Your answer says so: {now} likely now, {before} before it.",
    "why-answer-against": "Your answer speaks against it: {now} likely now, {before} before it.",
    "why-ruled-out": "Another cause was ruled out: {now} likely now, {before} before that.",
    "why-rare": "It is rare, so one answer alone does not make it certain.",
    "why-likeliest": "The likeliest cause now: {now}. Before your last reply: {before}.",
    # What the rounds left undone that speaks for a cause.
    "undone-item": "Not seen yet in {round}: {item}",
    "undone-other": "Left for another time in {round}: one item.",
    "undone-round": "Overdue on this machine: {round}.",
}


class ReplyWords(NamedTuple):
    """A reply as it is told to a program, the key that gives it, and the word beside that key."""

    title: str
    key: str
    short: str


#: The replies, with one key each: the same on every screen and in both faces for people. Where two
#: share a key, no screen has both.
REPLIES: Final[dict[str, ReplyWords]] = {
    replies.DONE: ReplyWords("Done", "y", "done"),
    replies.CANNOT: ReplyWords("Cannot do this", "c", "cannot"),
    replies.BACK: ReplyWords("Back", "b", "back"),
    replies.WHY: ReplyWords("Why", "w", "why"),
    replies.UNSURE: ReplyWords("Not sure", "u", "not sure"),
    replies.DANGER: ReplyWords("Danger", "!", "danger"),
    replies.LEAVE: ReplyWords("Leave", "l", "leave"),
    # Not the key that confirms a caution: who goes on pressing that one has cured nothing.
    replies.CURED: ReplyWords("Fixed", "f", "fixed"),
    replies.NOT_CURED: ReplyWords("Not fixed", "n", "not fixed"),
    replies.NOT_IT: ReplyWords("Looked: not it", "x", "not it"),
    replies.REFER: ReplyWords("Refer to service", "r", "refer"),
    replies.KEEP_LOOKING: ReplyWords("Keep looking", "k", "keep looking"),
    replies.NOT_RIGHT: ReplyWords("Not right", "n", "not right"),
    replies.NOT_NOW: ReplyWords("Not now", "c", "not now"),
    replies.NONE: ReplyWords("No machine", "n", "no machine"),
    replies.GO_ON: ReplyWords("Go on with that case", "g", "go on"),
    replies.START_ANEW: ReplyWords("Start anew", "s", "start anew"),
    replies.RELEASED: ReplyWords("It was released", "r", "released"),
    replies.NOTE: ReplyWords("Note down", "t", "note"),
}

#: Which key shows the next page; and where an answer came before it was shown, with more to read or
#: with none.
READ_ON: Final = "{key}: read on"
READ_FIRST: Final = "{key}: read on to the end first."
READ_NOW: Final = "Read this first. Then answer."

#: How a screen with a field is answered.
TYPE_IT: Final = "Type it, or a letter; then Enter"

#: How a machine is told from many, and what is said where none fits.
TYPE_A_PART: Final = "Part of id, name or serial; then Enter"
NONE_FITS: Final = "No machine has that in its name."

#: The field for a note at a terminal, and the keys that leave it.
NOTE_ASKS: Final = "Note:"
NOTE_KEYS: Final = (("Enter", "note it"), ("Esc", "back"))

#: What is asked where something is chosen or named.
CHOICES: Final[dict[str, str]] = {
    "machine": "Which machine is it?",
    "symptom": "What is wrong with it? Give a number, or your own words.",
    "name": "Who says so? Type your name.",
}

#: What is asked where a machine is not simply in use; true: there is a case to go on with.
STATE_ASKS: Final[dict[bool, str]] = {
    True: "Go on with that case, start anew, or was the machine released?",
    False: "Start anew, or was the machine released?",
}

#: What somebody says who says that a machine was released.
RELEASE_MEANS: Final = (
    "Released means: it is mended. Tools are out and covers are shut. Whoever hung the tag has"
    " taken it off."
)

#: How a case ended.
OUTCOMES: Final[dict[str, str]] = {
    "cured": "Fixed.",
    "referred": "Referred to service.",
    "left": "Left open.",
    "walked": "Finished.",
}

#: ISO 7010 safety signs: the numbers and referents are the standard's; the words are ours, short
#: enough for a list.
SIGNS: Final[dict[str, str]] = {
    "E011": "eyewash",
    "M002": "read the manual",
    "M004": "wear eye protection",
    "M006": "unplug from the mains",
    "M009": "wear gloves",
    "M011": "wash your hands",
    "M021": "disconnect before work",
    "M026": "wear an apron",
    "P002": "no smoking",
    "P003": "no open flame",
    "P008": "no metal things or watches",
    "P015": "no reaching in",
    "P031": "leave the switch as it is",
    "P069": "not for users to service",
    "W001": "warning",
    "W009": "germs",
    "W011": "slippery floor",
    "W012": "electricity",
    "W014": "industrial vehicles",
    "W017": "hot surface",
    "W018": "starts by itself",
    "W023": "corrosive",
    "W024": "hands can be crushed",
    "W026": "battery charging",
}

#: What the letter of a sign alone says.
_SIGN_KINDS: Final = {
    "E": "safe condition",
    "F": "fire equipment",
    "M": "mandatory action",
    "P": "prohibition",
    "W": "warning",
}


def render(said: Phrase) -> str:
    """Return the words for an id. An id without words is said as it is, with what goes into it."""
    into = {name: _spoken(name, value) for name, value in said.into}
    template = WORDS.get(said.id)
    if template is None:
        details = ", ".join(f"{name}={value}" for name, value in into.items())
        return f"{said.id}: {details}" if details else said.id
    return template.format_map(_Gaps(into))


def reply_title(reply: str) -> str:
    """Return the words for a reply."""
    return REPLIES[reply].title if reply in REPLIES else reply


def sign_words(number: str) -> str:
    """Return a sign in words with its number, such as ``wear gloves (M009)``."""
    words = SIGNS.get(number) or _SIGN_KINDS.get(number[:1], "safety sign")
    return f"{words} ({number})"


def line_words(path: str) -> str:
    """Return a line of the machine card in words: its dotted path without points.

    >>> line_words("battery.rated_hours")
    'battery rated hours'
    """
    return path.replace(".", " ").replace("_", " ")


class _Gaps(dict[str, str]):
    """Words that something was to go into must not fail for want of it."""

    def __missing__(self, name: str) -> str:
        return "?"


def _spoken(name: str, value: str) -> str:
    if name == "line":  # a dotted path on the machine card
        return line_words(value)
    # A message from elsewhere may bring its own full stop; the template has one.
    return value.rstrip(". ") if name == "message" else value
