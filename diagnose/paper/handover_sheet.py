"""The handover as Markdown: the head first, then the story, then room for service's verdict."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final

import msgspec

from diagnose.files import replies
from diagnose.files.card import Card
from diagnose.log import clock
from diagnose.log.account import DANGERS
from diagnose.measure.wording import about, expected_range, percent, verdict
from diagnose.paper.markdown import heading, inline, strong, wrapped

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from diagnose.log.account import ConfirmedCaution
    from diagnose.paper.handover_page import Answer, Handover, Note

#: Room to write in by hand.
SHORT: Final = "." * 20
LONG: Final = "." * 64

#: How many causes of a symptom, requests and ids stand on the page; the JSON has all.
CAUSES: Final = 3
REQUESTS: Final = 4
FEWER: Final = 3
IDS: Final = 6

#: Lines of a printed page, nearly (10 on 12 points on A4: 60 lines), and of two. What takes more
#: than one is told more shortly: first without the remedies' own words, then packed, then with no
#: more of a question than tells which it was, and last with what was checked in one paragraph. What
#: takes two in any case is told as fully as two allow.
ONE_PAGE: Final = 58
TWO_PAGES: Final = 116
FULL, NO_REMEDY, PACKED, SHORT_CHECKS, ONE_PARAGRAPH = range(5)

#: A question of so many words says by itself what it is about; one of fewer ("What do you see?")
#: needs the first sentence of what was to be done.
SPEAKS: Final = 5

_SENTENCE: Final = re.compile(r".+?[.?!](?=\s)", re.DOTALL)

_WHY: Final = {
    replies.CANNOT: "Could not be done.",
    "by": "It is for {reason} people.",
    "caution": "Its caution was refused: {reason}.",
    "card": "The machine card is silent: {reason}.",
    "tag": "This could not be released, perhaps somebody else's tag: {reason}.",
    replies.KEEP_LOOKING: "Service's; set aside to keep looking.",
    replies.NOT_IT: "Looked at, and not the cause.",
}


def as_markdown(page: Handover) -> str:
    """Return the page as Markdown, in lines of 100 columns, ending with a newline.

    Where it would take more than one printed page it is told more shortly, and says so; the JSON
    keeps all. A long case takes a second page, a case of hours may take a third. Times are those of
    the clock on the wall.
    """
    tellings: dict[int, list[str]] = {}

    def size(detail: int) -> int:
        tellings[detail] = telling(page, detail)
        return len(tellings[detail])

    return "\n".join(tellings[told_to_fit(size, ONE_PAGE, TWO_PAGES)]) + "\n"


def told_to_fit(size: Callable[[int], int], one: int, two: int) -> int:
    """Return how fully to tell a page: from FULL on, the first whose `size` is one page at most.

    Where none is, the first of two pages; where that is none either, ONE_PARAGRAPH.
    """
    sizes = []
    for detail in range(ONE_PARAGRAPH + 1):
        sizes.append(size(detail))
        if sizes[-1] <= one:
            return detail
    return next((detail for detail, each in enumerate(sizes) if each <= two), ONE_PARAGRAPH)


def telling(page: Handover, detail: int) -> list[str]:
    """Return the lines of the page, told as fully as `detail` says: from FULL to ONE_PARAGRAPH."""
    not_right = {"Not right in the round": _not_right(page)}
    story = {
        "Read and noted": _read(page, detail),
        "Checks": _checks(page, detail),
        "Remedies tried": _remedies(page, detail),
        "Passed over": _passed(page, detail),
        "Cautions confirmed": _cautions(page, detail),
    }
    ends = {
        "What service is asked to do": _asked(page, detail),
        "Service's verdict": _verdict(page, detail),
    }
    if detail >= SHORT_CHECKS:
        # A heading and the space around it would take as much as what stands below it.
        parts = (*story.values(), _shortened(page))
        story = {"Read, checked, tried": (line for part in parts for line in part)}
    lines = list(_head(page, detail))
    for title, section in (not_right | story | ends).items():
        body = list(section)
        if body:
            gap = [""] if detail < PACKED else []
            lines += ["", heading(2, title), *gap, *body]
    if FULL < detail < SHORT_CHECKS:
        lines += ["", *_shortened(page)]
    return lines


def as_json(page: Handover) -> dict[str, Any]:
    """Return the page as plain data, with all that the Markdown leaves out for want of room."""
    data: dict[str, Any] = msgspec.to_builtins(page)
    return data


def _head(page: Handover, detail: int) -> Iterator[str]:
    card = None if page.machine is None else Card(machine="", title="", lines=page.machine)

    def line(path: str) -> str:
        return "" if card is None else card.line(path) or ""

    yield heading(1, f"Handover {page.case}: {line('title') or 'no machine card'}")
    yield ""
    yield from _danger(page)
    yield from _item(
        ("Site", inline(page.site or line("site.name"))),
        ("Stands at", inline(line("stands"))),
        ("Access hours", inline(line("access"))),
    )
    yield from _phone(page, line)
    yield from _walked(page)
    yield from _state(page)
    yield from _item(("How it was left", " ".join(_left(page, detail))))
    words = f'; in the operator\'s words: "{inline(page.words)}"' if page.words else ""
    yield from _item(("Symptom", f"{inline(page.title)}{words}"))
    nameplate = _joined(
        line("nameplate.model"),
        _named("serial", line("nameplate.serial")),
        _named("built", line("nameplate.built")),
    )
    yield from _item(("Machine", nameplate), ("Battery", _battery(line)))
    noted = _noted(page, page.hours) if page.hours is not None else ""
    yield from _item(("Hours now", noted), ("On the card", inline(line("hours"))))
    codes = "; ".join(_noted(page, code) for code in page.codes)
    yield from _item(("Fault code as shown", codes))
    yield from _of_round(page)
    yield from _likeliest(page, detail)
    parts = ("Parts to bring", _joined(*page.parts) or "none named")
    yield from _item(*[parts] * bool(page.symptom), ("Last visit", inline(line("last_visit"))))


def _danger(page: Handover) -> Iterator[str]:
    if page.danger is not None:
        yield from _bullet(
            f"**Danger was reported at {_clock(page, page.danger.at)}**{_which(page)}"
            " It then said: stop, people away, call."
        )


def _which(page: Handover) -> str:
    """Return which danger it was, and what the screen showed when it was reported."""
    assert page.danger is not None
    kind = f" ({DANGERS.get(page.danger.kind, page.danger.kind)})" if page.danger.kind else ""
    shown = f", while the screen showed: {inline(page.danger.words)}" if page.danger.words else "."
    return f"{kind}{shown}"


def _phone(page: Handover, line: Callable[[str], str]) -> Iterator[str]:
    """Yield whom to call back at the site, and which service the card names."""
    lead, desk = page.call.get("shift_lead"), page.call.get("service")
    here = _joined(lead.name, lead.phone) if lead is not None else f"(name, phone) {SHORT}"
    known = (desk.name, desk.phone) if desk is not None else ()
    service = _joined(line("service.name"), line("service.phone")) or _joined(*known)
    yield from _item(("Phone on site", here), ("Service", service))


def _walked(page: Handover) -> Iterator[str]:
    walked = [
        f"{inline(one.words)}{'' if one.name else f' (name {SHORT})'},"
        f" {_clock(page, one.at) if place else _day(one.at)}"
        for place, one in enumerate(page.people)
    ]
    outcome = "still open" if page.outcome == "open" else page.outcome
    yield from _bullet(
        f"**Walked by:** {'; then '.join(walked)}; {outcome} {_clock(page, page.changed)}"
        f" (local time, UTC{_offset(page.opened)})."
    )


def _state(page: Handover) -> Iterator[str]:
    """Yield how the machine may be used; whose tag hangs there, unless that is said below."""
    standing = page.standing
    since = f" Since {_clock(page, standing.since)}." if standing.since else ""
    below = any(caution.lockout for caution in _lapsing(page, None))
    tag = f" Tag of {inline(standing.tag)}." if standing.tag and not below else ""
    yield from _bullet(
        f"**The machine is {inline(standing.state)}:** {inline(standing.why)}.{since}{tag}"
    )


def _noted(page: Handover, note: Note) -> str:
    """Return what was noted in answer to what was asked for, or else all its words."""
    return f"{strong(note.text if note.what else note.words)} ({_clock(page, note.at)})"


def _of_round(page: Handover) -> Iterator[str]:
    """Yield what joins a case and the round that began it."""
    if page.begun_in is not None:
        yield from _item(("Begun in the round", page.begun_in))
    for name, symptom, outcome in page.cases:
        yield from _item(("Case", f"{name}, {symptom}: {outcome}; it has a page of its own"))


def _likeliest(page: Handover, detail: int) -> Iterator[str]:
    for group in page.likely:
        if group.left or not group.causes:
            continue
        door = "" if group.symptom == page.symptom else f", behind {inline(group.title)}"
        causes = [
            f"{percent(cause.probability)} {_cause(cause.finding, detail)}"
            for cause in group.causes[:CAUSES]
        ]
        if detail >= SHORT_CHECKS:
            yield from _item((f"Likeliest causes{door}", " ".join(causes)))
            continue
        yield f"- **Likeliest causes{door}:**"
        for place, words in enumerate(causes, start=1):
            yield from wrapped(words, first=f"  {place}. ")


def _left(page: Handover, detail: int) -> Iterator[str]:
    """Yield sentences on what holds at the machine, the most urgent first.

    What lapses when the machine has power again is what was done to it, or to the place where it
    stands: locked out, blocked, no flame near. What somebody wears lapses too, but it went away
    with that person.
    """
    held, lost = _lapsing(page, None), _lapsing(page, "unknown")
    yield from _held(page, held, detail)
    for tag in page.tags:
        yield (
            f"At {_clock(page, tag.at)} {strong(tag.reason)} could not be released: perhaps"
            " somebody else's tag."
        )
    for caution in lost:
        yield (
            f"{strong(caution.title)} was taken at {_clock(page, caution.at)}; the case was taken"
            " up again since. Whether it still holds, and whose tag hangs there, is not known:"
            " look."
        )
    safe = dict.fromkeys(cause.leave_safe for cause in page.asked if cause.met)
    lines = [inline(line) for line in safe if line][: REQUESTS if detail < PACKED else FEWER]
    if lines:
        yield f"They were told, and nothing confirms it: {' '.join(lines)}"
    if not any(caution.lockout for caution in (*held, *lost)):
        yield "By the log no lockout is in force."


def _lapsing(page: Handover, how: str | None) -> list[ConfirmedCaution]:
    return [
        caution
        for caution in page.cautions
        if caution.lapses and caution.how == how and not caution.worn
    ]


def _held(page: Handover, held: Sequence[ConfirmedCaution], detail: int) -> Iterator[str]:
    """Yield what is in force: each lockout with its tag, the others together."""
    for caution in held:
        if caution.lockout:
            told = detail < PACKED and not caution.included
            confirmed = " ".join(inline(line) for line in caution.confirm) if told else ""
            yield (
                f"{strong(caution.title)} since {_clock(page, caution.at)}:"
                f" {_whose(page, caution)}."
                + (f" Confirmed then: {confirmed}" if confirmed else "")
            )
    others = [inline(caution.title) for caution in held if not caution.lockout]
    if others:
        yield f"In force: {', '.join(others)}."


def _whose(page: Handover, caution: ConfirmedCaution) -> str:
    """Return whose tag hangs there; where nobody said a name, with room for it."""
    before = [one for one in page.people if one.at <= caution.at and one.role == caution.by]
    name = before[-1].name if before else ""
    if name:
        return f"the tag of {inline(name)}, {caution.by}, hangs there"
    return f"the tag of the {caution.by} hangs there (name {SHORT})"


def _read(page: Handover, detail: int) -> Iterator[str]:
    """Yield the readings with what they came to, and what was noted."""
    for entry in page.story:
        if entry.figure is not None:
            yield from _bullet(_timed(page, entry.at, _reading(entry, detail)))
    in_head = (page.hours, *page.codes) if detail >= SHORT_CHECKS else ()
    for note in page.notes:
        if note in in_head:
            continue
        asked = f"{inline(note.what)}: " if note.what else ""
        yield from _bullet(_timed(page, note.at, f"{asked}{strong(note.text)}"))


def _reading(entry: Answer, detail: int) -> str:
    figure = entry.figure
    assert figure is not None
    value = strong(about(figure.value, figure.unit, figure.good_to))
    told = f"{inline(entry.words)}: {value}, {inline(entry.answer)}"
    if figure.expected is not None:
        lies = verdict(figure.value, figure.expected, figure.good_to)
        expected = f"expected {expected_range(figure.expected, figure.unit)}"
        told += f"; {inline(f'{lies} ({expected})' if lies else expected)}"
    read = "; ".join(
        f"{inline(name)} {inline(text)}" for name, text in (entry.inputs or {}).items()
    )
    if read:
        told += f"; read: {read}"
    workings = "; ".join(inline(line) for line in figure.workings)
    return f"{told}; {workings}" if workings and detail < PACKED else told


def _checks(page: Handover, detail: int) -> Iterator[str]:
    told = list(_each(page, detail))
    if detail >= ONE_PARAGRAPH and told:
        yield from _bullet(f"**Checks:** {' · '.join(told)}")
    else:
        for number, text in enumerate(told, start=1):
            yield from wrapped(text, first=f"{number}. ")
    yield from _taken_back(page)


def _taken_back(page: Handover) -> Iterator[str]:
    if page.taken_back:
        count = len(page.taken_back)
        answers = "1 answer was" if count == 1 else f"{count} answers were"
        yield from _bullet(f"{answers} taken back and not told here.")


def _each(page: Handover, detail: int) -> Iterator[str]:
    """Yield what was checked; where it has to be short, what nobody was sure of together."""
    unsure = []
    for entry in _once(page.story):
        if entry.figure is not None:
            continue
        if detail >= PACKED and entry.answer is None:
            unsure.append(_asking(entry, detail))
            continue
        text = _entry(entry, detail)
        yield text if detail >= ONE_PARAGRAPH else _timed(page, entry.at, text)
    if unsure:
        yield f"Not sure: {' · '.join(unsure)}"


def _once(story: Iterable[Answer]) -> Iterator[Answer]:
    """Yield the story; what one line of the card answered, once."""
    told = set()
    for entry in story:
        key = (entry.typed, entry.answer)
        if entry.kind != "card" or key not in told:
            yield entry
        if entry.kind == "card":
            told.add(key)


def _not_right(page: Handover) -> Iterator[str]:
    for item in page.not_right:
        right = f" Right would be: {inline(item.look_for)}" if item.look_for else ""
        yield from _bullet(_timed(page, item.at, f"{strong(item.do)}{right}"))


def _entry(entry: Answer, detail: int) -> str:
    words = _asking(entry, detail)
    if entry.kind == "entered":
        return f"On to {strong(entry.answer)} from: {words}"
    if entry.kind == "returned":
        return f"Back in {strong(entry.answer)}; that was not it: {words}"
    if entry.kind == "no way":
        return f"Counted as tried: {words}"
    if entry.kind == "card":
        return f"{words} {strong(entry.answer)} (machine card)"
    return f"{words} {strong('not sure' if entry.answer is None else entry.answer)}"


def _asking(entry: Answer, detail: int) -> str:
    """Return what was to be done and asked; where it has to be short, what tells which it was."""
    if entry.kind in ("entered", "returned", "no way"):
        return _cause(entry.words, detail)
    if detail < SHORT_CHECKS:
        return inline(f"{entry.do} {entry.words}")
    if entry.do and len(entry.words.split()) < SPEAKS:
        return inline(f"{_first_sentence(entry.do)} {entry.words}")
    return inline(entry.words)


def _remedies(page: Handover, detail: int) -> Iterator[str]:
    results: dict[str, list[str]] = {}
    for tried in page.remedies:
        remedy = f" {inline(tried.remedy)}" if detail == FULL else ""
        text = _timed(page, tried.at, f"{_cause(tried.finding, detail)}{remedy}")
        results.setdefault(tried.result, []).append(text)
    for result, remedies in results.items():
        if detail >= PACKED:
            yield from _bullet(f"{strong(result)} {' '.join(remedies)}")
        else:
            for text in remedies:
                yield from _bullet(f"{text} {strong(result)}")


def _passed(page: Handover, detail: int) -> Iterator[str]:
    """Yield what was passed over, what had the same reason together."""
    reasons: dict[str, list[str]] = {}
    for step in page.passed:
        why = _WHY.get(step.why, step.why).format(reason=inline(step.reason))
        reasons.setdefault(why, []).append(_timed(page, step.at, _cause(step.words, detail)))
    for why, steps in reasons.items():
        yield from _bullet(f"**{why}** {' '.join(steps)}")


def _cause(words: str, detail: int) -> str:
    """Return a cause in words; where it has to be short, without the reason to believe it."""
    return inline(words if detail < PACKED else _first_sentence(words))


def _first_sentence(words: str) -> str:
    """Return the first sentence of a text, with a mark at its end."""
    first = _SENTENCE.match(words)
    said = first[0] if first else words
    return said if said.endswith((".", "?", "!")) else f"{said}."


def _cautions(page: Handover, detail: int) -> Iterator[str]:
    """Yield the cautions: those that hold for the rest of a case together, then each of the others
    with every time that it was in force; where it has to be short, by name."""
    times: dict[str, list[ConfirmedCaution]] = {}
    for taken in page.cautions:
        times.setdefault(taken.id, []).append(taken)
    if detail >= SHORT_CHECKS:
        if times:
            confirmed = ", ".join(_often(rows) for rows in times.values())
            yield from _bullet(f"**Cautions confirmed:** {confirmed}.")
        return
    lasting = [
        _timed(page, taken.at, inline(taken.title)) for taken in page.cautions if not taken.lapses
    ]
    if lasting:
        yield from _bullet(f"**From then on:** {', '.join(lasting)}")
    for rows in times.values():
        if not rows[0].lapses:
            continue
        spans = [_span(page, taken) for taken in rows]
        if detail >= PACKED and len(rows) > 3:
            spans = [f"{len(rows)} times from {_clock(page, rows[0].at)} on", spans[-1]]
        yield from _bullet(f"**{inline(rows[0].title)}:** {', '.join(spans)}")


def _often(rows: Sequence[ConfirmedCaution]) -> str:
    times = f" ({len(rows)} times)" if len(rows) > 1 else ""
    return f"{inline(rows[0].title)}{times}"


def _span(page: Handover, taken: ConfirmedCaution) -> str:
    started = _clock(page, taken.at)
    if taken.ended is None:
        return f"{started} (in force)"
    how = "" if taken.how in ("released", "tried out") else f" ({taken.how})"
    return f"{started} to {_clock(page, taken.ended)}{how}"


def _asked(page: Handover, detail: int) -> Iterator[str]:
    if page.danger is not None:
        yield from _bullet("Find what the danger came from before the machine is switched on.")
    for cause in page.asked[: REQUESTS if detail < PACKED else FEWER]:
        share = "" if cause.probability is None else f"{percent(cause.probability)} "
        told = cause.hazards and detail < SHORT_CHECKS
        hazards = f" **Hazards:** {_joined(*cause.hazards)}." if told else ""
        stopped = " The case stopped here." if cause.stopped else ""
        words = f"**{_cause(cause.finding, detail)}**"
        yield from _bullet(f"{share}{words}{stopped} {inline(cause.ask_service)}{hazards}")
    if not page.asked and page.not_right:
        yield from _bullet("Put right what the round found not right.")
    elif not page.asked and page.outcome != "cured" and any(one.causes for one in page.likely):
        yield from _bullet("No cause for service stands out. Go on from the likeliest ones.")


def _verdict(page: Handover, detail: int) -> Iterator[str]:
    if page.verdict is not None:
        verdict = page.verdict
        id_ = f" ({inline(verdict.finding)})" if verdict.finding else ", which no finding is"
        words = f"{inline(verdict.words)}{id_}"
        yield from _item((f"Reported {_clock(page, verdict.at)}", words))
    others = f"; `diagnose cases found {page.case}` lists all" if page.findings[IDS:] else ""
    ids = f" One of: {_joined(*page.findings[:IDS])}{others}" if page.findings else ""
    yield from _item(("Cause found", f"{LONG}" if detail >= SHORT_CHECKS else f"{SHORT}{ids}"))
    yield from _item(("What was done, parts used", LONG))
    yield from _item(("Released, own tag off", SHORT), ("Hours", SHORT))
    yield from _item(("Name, date, signature", LONG))
    if page.outcome == "referred":
        listed = (
            f"; `diagnose cases found {page.case}` lists them" if detail >= SHORT_CHECKS else ""
        )
        yield f"- **Then report it:** `diagnose cases found {page.case} FINDING`{listed}"
    elif page.outcome == "open":
        yield f"- **To go on with it first:** `diagnose resume {page.case}`"


def _shortened(page: Handover) -> list[str]:
    return _bullet(
        f"Told shortly for want of room; `diagnose handover {page.case} --format json` has all."
    )


def _item(*fields: tuple[str, str]) -> list[str]:
    """Return one line of the head; where nothing is known there is room to write.

    The texts are for the middle of a line already.
    """
    room = LONG if len(fields) == 1 else SHORT
    return _bullet("; ".join(f"**{inline(label)}:** {text or room}" for label, text in fields))


def _bullet(text: str) -> list[str]:
    return wrapped(text, first="- ")


def _joined(*parts: object) -> str:
    return ", ".join(inline(part) for part in parts if part not in (None, ""))


def _named(name: str, value: object) -> str | None:
    return f"{name} {value}" if value else None


def _battery(line: Callable[[str], str]) -> str:
    names = ("kind", "age", "cells", "capacity", "cycles")
    kind, age, cells, capacity, cycles = (line(f"battery.{name}") for name in names)
    if not any((kind, age, cells, capacity, cycles)):
        return ""
    return _joined(
        kind or "kind unknown (treat as sealed)",
        _named("age", age),
        cells and f"{cells} cells",
        capacity,
        cycles and f"{cycles} cycles",
    )


def _timed(page: Handover, at: str, text: str) -> str:
    return f"{_clock(page, at)} {text}"


def _day(at: str) -> str:
    return clock.local(at)[:16]


def _offset(at: str) -> str:
    return clock.local(at)[17:]


def _clock(page: Handover, at: str) -> str:
    """Return the time of day; with its date where the case went on for more than a day.

    Where the clocks were changed since the case was opened, with its offset from UTC.
    """
    first = _day(page.opened)[:10]
    same = all(_day(other)[:10] == first for other in (at, page.changed))
    told = _day(at)[11:] if same else _day(at)[5:]
    return told if _offset(at) == _offset(page.opened) else f"{told} {_offset(at)}"
