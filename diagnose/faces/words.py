"""The program's own words, by id. What a tree, a caution or a card says is not here.

Short, plain sentences; no blame; nothing that only a programmer knows.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from diagnose.files import replies

if TYPE_CHECKING:
    from diagnose.case.screens import Phrase

#: Stands over the first screen of every case.
NOTICE: Final = (
    "Site rules, the machine's own manual and licensed practice come first."
    " Stand out of the traffic, on level floor, signs up."
)

#: What the reply `danger` is for.
DANGER: Final = "Smoke, smell, heat, swollen battery, somebody hurt: danger, at once."

WORDS: Final[dict[str, str]] = {
    # Passed over without a word of the step.
    "passed-by": "A step was passed over: it is for {who} people.",
    "passed-caution": "A step was passed over: its caution cannot be met here.",
    "passed-card": "A reading was passed over: {message}.",
    # From one symptom, or one day, to the next.
    "from-card": "From the machine card: {line} is {answer}.",
    "card-list": "{shown}: {meaning} (machine card)",
    "doorway-shut": "The symptom {symptom} cannot be opened, so this one goes on.",
    "resumed": "Taken up again. Earlier answers that fit: {fits}; asked anew: {misfits}.",
    # A remedy that has helped too often, from the log.
    "comes-back": (
        "It comes back: cured here {before} times within 30 days. The cure holds off the sign, not"
        " the cause: have service look for it."
    ),
    # In a round.
    "round-noted": "Noted as not right. If it is not safe to use, park it and call service.",
    "round-with-service": "That symptom is with service already. Noted as not right.",
    "round-after-cured": "{title}: cured. The round goes on.",
    "round-after-referred": "{title}: with service now. The round goes on.",
    "round-no-way-back": "That diagnosis is over: there is no way back into it.",
    "round-counts": "Done: {done}. Not right: {not_right}. Not now: {not_now}.",
    "items-passed-caution": "Left for now, since their caution cannot be met here: {count}.",
    "items-passed-referred": "Left for now, since the machine waits for service: {count}.",
    # Above an end.
    "end-danger": (
        "Stop. Touch nothing more. Move everybody away and call for help as your site says."
        " Service takes over from here."
    ),
    "end-nothing-left": "Nothing is left here that an operator can check. Service takes over.",
    "end-resume": "To go on with it: diagnose resume {case}",
    "end-handover": "The page for service: diagnose handover {case}",
    # Replies that mean nothing here.
    "no-way-back": "This is the first screen: there is nothing to go back to.",
    "nothing-typed": "Nothing was typed.",
    "no-such-answer": 'No answer is "{typed}". Give its number, 1 to {last}, or its words.{hint}',
    "no-such-reply": '"{typed}" is no reply here. These are: {offered}.{hint}',
    "no-such-machine": 'No machine here is "{typed}". Give its number, its name, or none.{hint}',
    "no-such-symptom": 'No symptom here sounds like "{typed}". Give its number, or other words.',
    "several-fit": 'More than one sounds like "{typed}". Which is it?',
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
    "why-unchecked": "No answer led here. It is the best of what is left, so look first.",
    # What the rounds left undone that speaks for a cause.
    "undone-item": "Left for another time in {round}: {item}",
    "undone-round": "Overdue on this machine: {round}.",
}

#: The replies in words.
REPLY_TITLES: Final[dict[str, str]] = {
    replies.DONE: "Done",
    replies.CANNOT: "Cannot do this",
    replies.BACK: "Back",
    replies.WHY: "Why",
    replies.UNSURE: "Not sure",
    replies.DANGER: "Danger",
    replies.LEAVE: "Leave",
    replies.CURED: "Cured",
    replies.NOT_CURED: "Not cured",
    replies.REFER: "Refer to service",
    replies.KEEP_LOOKING: "Keep looking",
    replies.NOT_RIGHT: "Not right",
    replies.NOT_NOW: "Not now",
    replies.NONE: "No machine",
}

#: The replies as they stand beside their letters.
SHORT: Final[dict[str, str]] = {
    replies.UNSURE: "not sure",
    replies.REFER: "refer",
    replies.NONE: "no machine",
}

#: How a case ended.
OUTCOMES: Final[dict[str, str]] = {
    "cured": "Cured.",
    "referred": "Referred to service.",
    "left": "Left open.",
    "walked": "Finished.",
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
    return REPLY_TITLES.get(reply, reply)


class _Gaps(dict[str, str]):
    """Words that something was to go into must not fail for want of it."""

    def __missing__(self, name: str) -> str:
        return "?"


def _spoken(name: str, value: str) -> str:
    if name == "line":  # a dotted path on the machine card
        return value.replace(".", " ").replace("_", " ")
    # A message from elsewhere may bring its own full stop; the template has one.
    return value.rstrip(". ") if name == "message" else value
