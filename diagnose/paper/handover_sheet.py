"""The handover as Markdown: the head first, then the story, then room for service's verdict."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import msgspec

from diagnose.files import replies
from diagnose.files.card import Card
from diagnose.log.account import DANGERS
from diagnose.measure.wording import expected_range, percent, with_unit
from diagnose.paper.markdown import heading, inline, strong, wrapped

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from diagnose.log.account import ConfirmedCaution
    from diagnose.paper.handover_page import Answer, Handover

#: Room to write in by hand.
SHORT: Final = "." * 20
LONG: Final = "." * 64

#: How many causes of a symptom, requests and ids stand on the page; the JSON has all.
CAUSES: Final = 3
REQUESTS: Final = 4
FEWER: Final = 3
IDS: Final = 6

#: Two printed pages, nearly (10 on 12 points on A4: 60 lines each). A case that takes more is told
#: more shortly: first without the remedies' own words, then packed, and last without what was done
#: for each question.
LINES: Final = 116
FULL, NO_REMEDY, PACKED, NO_DOING = range(4)

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

    Where it would take more than two printed pages it is told more shortly, and says so; the JSON
    keeps all. A case of hours may still take a third.
    """
    for detail in (FULL, NO_REMEDY, PACKED, NO_DOING):
        lines = _lines(page, detail)
        if len(lines) <= LINES:
            break
    return "\n".join(lines) + "\n"


def _lines(page: Handover, detail: int) -> list[str]:
    sections = {
        "Not right in the round": _not_right(page),
        "Checks and readings": _story(page, detail),
        "Remedies tried": _remedies(page, detail),
        "Passed over": _passed(page, detail),
        "Cautions confirmed": _cautions(page, detail),
        "What service is asked to do": _asked(page, detail),
        "Service's verdict": _verdict(page),
    }
    lines = list(_head(page, detail))
    for title, section in sections.items():
        body = list(section)
        if body:
            gap = [""] if detail < PACKED else []
            lines += ["", heading(2, title), *gap, *body]
    return [*lines, *_shortened(page, detail)]


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
    yield from wrapped(
        f"**The machine is {page.standing.state}:** {inline(page.standing.why)}. Case {page.case},"
        f" {_ended(page)}. All times are {page.zone}."
    )
    yield ""
    words = f'; in the operator\'s words: "{inline(page.words)}"' if page.words else ""
    yield from _item("Symptom", f"{inline(page.title)}{words}")
    yield from _item(
        "Machine",
        _joined(
            line("title"),
            line("nameplate.model"),
            _named("serial", line("nameplate.serial")),
            _named("built", line("nameplate.built")),
        ),
    )
    hours = line("hours")
    yield from _item("Hours", f"{_joined(hours, 'as on the card')}; now {SHORT}" if hours else "")
    yield from _item("Battery", _battery(line))
    yield from _item("Stands at", _joined(line("stands"), line("site.name")))
    yield from _item("Access hours", inline(line("access")))
    contact = _joined(line("service.name"), line("service.phone")) or SHORT
    yield from _item("Contact", f"{contact}; on site (name, phone) {SHORT}")
    yield from _item("How it was left", " ".join(_left(page, detail)))
    yield from _item("Fault code as shown", "")
    yield from _of_round(page)
    yield from _likeliest(page)
    if page.symptom:
        yield from _item("Parts to bring", _joined(*page.parts) or "none named")
    yield from _item("Last visit", inline(line("last_visit")))


def _of_round(page: Handover) -> Iterator[str]:
    """Yield what joins a case and the round that began it."""
    if page.begun_in is not None:
        yield from _item("Begun in the round", page.begun_in)
    for name, symptom, outcome in page.cases:
        yield from _item("Case", f"{name}, {symptom}: {outcome}; it has a page of its own")


def _likeliest(page: Handover) -> Iterator[str]:
    for group in page.likely:
        if group.left or not group.causes:
            continue
        door = "" if group.symptom == page.symptom else f", behind {inline(group.title)}"
        yield f"- **Likeliest causes{door}:**"
        for place, cause in enumerate(group.causes[:CAUSES], start=1):
            words = f"{percent(cause.probability)} {inline(cause.finding)}"
            yield from wrapped(words, first=f"  {place}. ")


def _ended(page: Handover) -> str:
    walked = ", ".join(
        role if place == 0 else f"taken up again {_clock(page, at)} by {role}"
        for place, (at, role) in enumerate(page.people)
    )
    outcome = "still open" if page.outcome == "open" else page.outcome
    last = _clock(page, page.changed)
    return f"opened {_day(page.opened)} by {walked}; {outcome}, last entry {last}"


def _which(page: Handover) -> str:
    """Return which danger it was, and what the screen showed when it was reported."""
    assert page.danger is not None
    kind = f" ({DANGERS.get(page.danger.kind, page.danger.kind)})" if page.danger.kind else ""
    shown = f", while the screen showed: {inline(page.danger.words)}" if page.danger.words else "."
    return f"{kind}{shown}"


def _left(page: Handover, detail: int) -> Iterator[str]:
    """Yield sentences on what holds at the machine, the most urgent first."""
    if page.danger is not None:
        yield (
            f"**Danger was reported at {_clock(page, page.danger.at)}**{_which(page)}"
            " It then said: stop, people away, call."
        )
    held, lost = _lapsing(page, None), _lapsing(page, "unknown")
    yield from _held(page, held)
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
    if not held and not lost:
        yield "By the log no lockout is in force."


def _lapsing(page: Handover, how: str | None) -> list[ConfirmedCaution]:
    return [caution for caution in page.cautions if caution.lapses and caution.how == how]


def _held(page: Handover, held: Sequence[ConfirmedCaution]) -> Iterator[str]:
    """Yield what is in force: each lockout with its tag, the others together."""
    for caution in held:
        if caution.lockout:
            confirmed = " ".join(inline(line) for line in caution.confirm)
            yield (
                f"{strong(caution.title)} since {_clock(page, caution.at)}: the tag of the"
                f" {caution.by} hangs there (name {SHORT}). Confirmed then: {confirmed}"
            )
    others = [inline(caution.title) for caution in held if not caution.lockout]
    if others:
        yield f"In force: {', '.join(others)}."


def _story(page: Handover, detail: int) -> Iterator[str]:
    known = [e for e in page.story if detail < PACKED or e.answer is not None]
    unsure = [_timed(page, e.at, _asking(e, detail)) for e in page.story if e not in known]
    told = [_timed(page, entry.at, _entry(entry, detail)) for entry in known]
    if unsure:
        told.append(f"Not sure: {' '.join(unsure)}")
    for number, text in enumerate(told, start=1):
        yield from wrapped(text, first=f"{number}. ")
    if page.taken_back:
        count = len(page.taken_back)
        answers = "1 answer was" if count == 1 else f"{count} answers were"
        yield ""
        yield f"{answers} taken back and not told here."


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
    if entry.answer is None:
        return f"{words} {strong('not sure')}"
    if entry.figure is None:
        return f"{words} {strong(entry.answer)}"
    figure = entry.figure
    told = f"{words}: {strong(with_unit(figure.value, figure.unit))}, {inline(entry.answer)}"
    if figure.expected is not None:
        told += f"; expected {inline(expected_range(figure.expected, figure.unit))}"
    workings = "; ".join(inline(line) for line in figure.workings)
    return f"{told}; {workings}" if workings else told


def _asking(entry: Answer, detail: int) -> str:
    return inline(f"{entry.do} {entry.words}" if detail < NO_DOING else entry.words)


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
    return inline(words if detail < PACKED else f"{words.partition('. ')[0].rstrip('.')}.")


def _cautions(page: Handover, detail: int) -> Iterator[str]:
    """Yield the cautions: those that hold for the rest of a case together, then each of the others
    with every time that it was in force."""
    times: dict[str, list[ConfirmedCaution]] = {}
    for taken in page.cautions:
        if taken.lapses:
            times.setdefault(taken.id, []).append(taken)
    lasting = [
        _timed(page, taken.at, inline(taken.title)) for taken in page.cautions if not taken.lapses
    ]
    if lasting:
        yield from _bullet(f"**From then on:** {', '.join(lasting)}")
    for rows in times.values():
        spans = [_span(page, taken) for taken in rows]
        if detail >= PACKED and len(rows) > 3:
            spans = [f"{len(rows)} times from {_clock(page, rows[0].at)} on", spans[-1]]
        yield from _bullet(f"**{inline(rows[0].title)}:** {', '.join(spans)}")


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
        hazards = f" **Hazards:** {_joined(*cause.hazards)}." if cause.hazards else ""
        parts = f" **Parts:** {_joined(*cause.parts)}." if cause.parts else ""
        stopped = " The case stopped here." if cause.stopped else ""
        yield from _bullet(
            f"{share}{strong(cause.finding)}{stopped} {inline(cause.ask_service)}{hazards}{parts}"
        )
    if not page.asked and page.not_right:
        yield from _bullet("Put right what the round found not right.")
    elif not page.asked and page.outcome != "cured" and any(one.causes for one in page.likely):
        yield from _bullet("No cause for service stands out. Go on from the likeliest ones.")


def _verdict(page: Handover) -> Iterator[str]:
    if page.verdict is not None:
        verdict = page.verdict
        yield from _item(
            f"Reported {_clock(page, verdict.at)}",
            f"{inline(verdict.words)} ({inline(verdict.finding)})",
        )
    yield from _item("Cause found", LONG)
    others = f"; `diagnose cases found {page.case}` lists all" if page.findings[IDS:] else ""
    if page.findings:
        yield from wrapped(f"One of: {_joined(*page.findings[:IDS])}{others}", first="  ")
    yield from _item("What was done", LONG)
    yield from _item("Parts used", LONG)
    yield from _item("Released, own tag off", f"{SHORT} **Hours:** {SHORT}")
    yield from _item("Name, date, signature", LONG)
    if page.outcome == "referred":
        yield f"- **Then report it:** `diagnose cases found {page.case} FINDING`"
    elif page.outcome == "open":
        yield f"- **To go on with it first:** `diagnose resume {page.case}`"


def _shortened(page: Handover, detail: int) -> Iterator[str]:
    if detail > FULL:
        yield ""
        yield from wrapped(
            f"Told shortly for want of room; `diagnose handover {page.case} --format json` has all."
        )


def _item(label: str, text: str) -> list[str]:
    """Return one line of the head; where nothing is known there is room to write."""
    return wrapped(f"**{inline(label)}:** {text or LONG}", first="- ")


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
    return at[:16].replace("T", " ")


def _clock(page: Handover, at: str) -> str:
    """Return the time of day; with its date where the case went on for more than a day."""
    same = all(other[:10] == page.opened[:10] for other in (at, page.changed))
    return at[11:16] if same else _day(at)[5:]
