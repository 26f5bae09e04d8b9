"""Not it, and refer now or look once more: by laws on random cases, and in worked conversations."""

from __future__ import annotations

import math
from dataclasses import dataclass
from random import Random
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from strategies.by_hand import after, case, finding, ranking
from strategies.libraries import ROLES, libraries
from strategies.observer import Files
from strategies.plain import Plain, Route
from strategies.sampling import several
from strategies.walking import Case, random_reply
from strategies.written import Written, read

from diagnose.study.outlook import normalised

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.case.state import Frame

CALL_OUT = 120.0


# What is likelier, worked out from the files and the routes one by one


@dataclass
class Open:
    """What the open branches of one symptom reach, service's left out.

    `shares` are the probabilities in the symptom; `minutes` those to each cause, weighted by its
    probability, summed.
    """

    shares: dict[str, float]
    causes: set[str]
    minutes: float

    @property
    def weight(self) -> float:
        return math.fsum(self.shares[name] for name in self.causes)


def plain_of(written: Written, walked: Case, frame: Frame) -> Plain:
    card = walked.library.card
    minutes = {} if card is None else card.section("caution_minutes")
    files = Files(written.trees, written.cautions)
    return Plain(files, frame.tree.symptom, frame.tree.tree.start, minutes)


def open_in(plain: Plain, frame: Frame, in_force: frozenset[str], door: str | None) -> Open:
    """Return what is open in a symptom; `door` is the doorway through which it was left."""
    ids = frame.tree.plan.ids
    closed = {ids[step]: answer for step, answer in frame.closed.items()}
    visited = {ids[step] for step in frame.visited}
    gone = {ids[step] for step in frame.gone} | {door}
    targets = {
        to
        for step in visited
        for to in plain.ways(step)
        if to not in visited and to not in gone and closed.get(to, 0) is not None
    }
    routes = [
        Route(route.finding, (("", number), *route.answers), route.minutes)
        for number, target in enumerate(sorted(targets))
        for route in plain.routes(target, in_force, closed, gone)
        if plain.steps[route.finding].get("who") != "service"
    ]
    means = plain.minutes_to(routes)
    shares = dict(
        zip([ids[place] for place in frame.tree.plan.findings], normalised(frame.logs), strict=True)
    )
    minutes = math.fsum(
        shares[name] * (mean + plain.steps[name].get("minutes", 5)) for name, mean in means.items()
    )
    return Open(shares, set(means), minutes)


def near(one: float, other: float) -> bool:
    """Whether a comparison hangs on rounding."""
    return math.isclose(one, other, rel_tol=1e-9, abs_tol=1e-12)


def told_as_expected(written: Written, walked: Case, screen: dict[str, Any]) -> str:
    """Check a finding's screen against the files, and return what it advises, or why it does not."""
    frames = walked.state.frames
    visit = walked.walk.visit
    in_force = frozenset(visit.table.names(walked.state.cautions.in_force))
    plains = [plain_of(written, walked, frame) for frame in frames]
    doors = [frame.tree.plan.ids[frame.at] for frame in frames[:-1]]
    opened = [
        open_in(plain, frame, in_force, door)
        for plain, frame, door in zip(plains, frames, [*doors, None], strict=True)
    ]
    own, step = opened[-1], plains[-1].steps[screen["step"]]
    named = [cause["step"] for cause in screen["likelier"]]
    told = [cause["probability"] for cause in screen["likelier"]]
    assert told == sorted(told, reverse=True)
    assert len(named) == len(set(named)) <= 3
    assert set(named) <= own.causes
    assert told == [pytest.approx(own.shares[name]) for name in named]
    share = own.shares[screen["step"]]
    assert screen["probability"] == pytest.approx(share)
    if any(near(own.shares[name], edge) for name in own.causes for edge in (0.01, 2 * share)):
        return "edge"
    if screen["who"] != "service":
        assert screen["replies"][:4] == ["cured", "not cured", "not it", "cannot"]
        assert told == most(own, above=2 * share)
        return "likelier" if named else "none"
    led = 1.0
    weight = minutes = 0.0
    for one, door in zip(opened, [*doors, None], strict=True):
        weight += led * one.weight
        minutes += led * one.minutes
        led *= 1.0 if door is None else one.shares[door]
    edges = [(led * share, 0.5), (weight, 0.02), (weight * CALL_OUT * weight, minutes)]
    if any(near(*edge) for edge in edges) or near(own.weight, 0.02):
        return "edge"
    worth = led * share < 0.5 and weight >= 0.02 and weight * CALL_OUT * weight > minutes
    shown = own.weight >= 0.02 and worth
    assert told == (most(own) if shown else [])
    # The hazards of random libraries are none that tell of heat, fluids or brakes.
    first, second = ("keep looking", "refer") if worth else ("refer", "keep looking")
    assert screen["replies"][:2] == [first, second]
    outside = any(note["id"] == "open-before" for note in screen["notes"])
    assert outside == (worth and not shown)
    assert ("not it" in screen["replies"]) == may_look(plains[-1], step, in_force, visit.role)
    return "outside" if outside else first


def most(own: Open, above: float = 0.0) -> list[Any]:
    """Return the probabilities of what is named: the likeliest, and two more from 1 % on."""
    shares = sorted((s for name in own.causes if (s := own.shares[name]) > above), reverse=True)
    kept = [share for n, share in enumerate(shares[:3]) if n == 0 or share >= 0.01]
    return [pytest.approx(share) for share in kept]


def may_look(plain: Plain, step: dict[str, Any], in_force: frozenset[str], role: str) -> bool:
    hazards = set(step.get("hazards", ()))
    if hazards & plain.files.service_only and role != "service":
        return False
    guards = plain.files.guards.items()
    over = [name for name, guard in guards if hazards & set(guard.get("covers", ()))]
    return set().union(*(plain.files.includes[name] for name in over)) <= in_force


def findings_of(walked: Case) -> Iterator[dict[str, Any]]:
    """Walk at random and yield the screen of each finding."""
    while not walked.ended:
        screen = walked.show()
        if screen["screen"] == "finding":
            yield screen
        idle, backs = walked.idle, walked.backs
        walked.say(random_reply(walked.random, screen, 0.02, idle=idle, backs=backs))


@settings(max_examples=several(200))
@given(libraries(most_questions=6, plain=True), st.integers(0, 2**32))
@pytest.mark.many_cases
def test_what_is_likelier_and_what_is_first_is_that_of_the_files(
    written: Written, seed: int
) -> None:
    library, random = read(written), Random(seed)
    for _ in range(4):
        walked = Case(library=library, symptom="alpha", random=random, role=random.choice(ROLES))
        for screen in findings_of(walked):
            told_as_expected(written, walked, screen)


@settings(max_examples=several(150))
@given(libraries(most_questions=6, plain=True), st.integers(0, 2**32))
@pytest.mark.many_cases
def test_not_it_says_what_not_cured_says_and_nothing_lapses(written: Written, seed: int) -> None:
    library, random = read(written), Random(seed)
    walked = Case(library=library, symptom="alpha", random=random, role="service")
    for _ in findings_of(walked):
        state, step = walked.state, walked.walk.step(walked.state)
        looked = walked.walk.reply(state, "not it")
        if looked.exchange is None:
            continue
        assert looked.state.cautions == state.cautions
        assert looked.state.before is state
        frame = state.frames[-1]
        failed = normalised(frame.logs)
        bit = frame.tree.plan.bit[frame.at]
        failed[bit] *= 0.1
        expected = [share / math.fsum(failed) for share in failed]
        returned = any(trace.what == "returned" for trace in looked.exchange.trail)
        if not returned:
            assert normalised(looked.state.frames[len(state.frames) - 1].logs) == pytest.approx(
                expected
            )
        if step.who == "service":
            continue
        tried = walked.walk.reply(state, "not cured")
        ends = walked.walk.visit.table.lapsing
        assert tried.state.cautions == replace(
            state.cautions, in_force=state.cautions.in_force & ~ends
        )
        if not state.cautions.in_force & ends:
            # All else is the same too.
            assert tried.exchange is not None
            assert tried.exchange.trail == looked.exchange.trail
            assert [f.logs for f in tried.state.frames] == [f.logs for f in looked.state.frames]


@settings(max_examples=several(150))
@given(libraries(most_questions=6, plain=True), st.integers(0, 2**32))
@pytest.mark.many_cases
def test_service_is_never_chosen_while_a_likelier_cause_is_open(
    written: Written, seed: int
) -> None:
    library, random = read(written), Random(seed)
    for _ in range(4):
        walked = Case(library=library, symptom="alpha", random=random)
        for screen in findings_of(walked):
            trail = walked.events[-1].trail
            chosen = [trace.what for trace in trail[-2:]] == ["chose", "rests"]
            if screen["who"] == "service" and chosen:
                frame = walked.state.frames[-1]
                found = open_in(plain_of(written, walked, frame), frame, frozenset(), None)
                likeliest = max((found.shares[name] for name in found.causes), default=0.0)
                assert likeliest <= screen["probability"] * (1 + 1e-9)


@pytest.mark.many_cases
def test_the_random_cases_meet_each_advice() -> None:
    from strategies.sampling import examples

    met = set()
    random = Random(11)
    for written in examples(libraries(most_questions=6, plain=True), 60):
        for role in ("operator", "service"):
            walked = Case(library=read(written), symptom="alpha", random=random, role=role)
            for screen in findings_of(walked):
                met.add(told_as_expected(written, walked, screen))
    assert {"refer", "keep looking", "likelier", "none"} <= met


# Worked conversations

RARE = f"""
top: {{ask: a, slip: 0.2, passes: none, answers: {{odd: wire, leaf seen: leaf, neither: other}}}}
wire: {finding(8, "service", more=", hazards: [current]")}
leaf: {finding(70)}
other: {finding(22)}
"""
HAZARDS = """
format: 1
hazards:
  current: {title: Current, service_only: true}
  brakes-steering: {title: Brakes, service_only: true}
  hot-parts: {title: Hot}
  acid: {title: Acid}
  press: {title: Press}
cautions:
  cool: {title: Cool, signal: WARNING, covers: [hot-parts, acid], lapses: never, text: t, confirm: [c]}
  held: {title: Held, signal: WARNING, covers: [press], lapses: when energised, text: t,
    confirm: [c], release: [r]}
"""


def named(screen: dict[str, Any]) -> list[str]:
    return [cause["step"] for cause in screen["likelier"]]


def test_a_rare_finding_for_service_names_what_is_likelier_and_looks_on_first() -> None:
    opened = case(RARE, cautions=HAZARDS)
    screen = after(opened, "odd")
    # 8 · 0.8 against 70 · 0.1 and 22 · 0.1, by hand.
    assert screen["probability"] == pytest.approx(6.4 / 15.6)
    assert named(screen) == ["leaf", "other"]
    assert [c["probability"] for c in screen["likelier"]] == pytest.approx([7 / 15.6, 2.2 / 15.6])
    assert screen["replies"][:2] == ["keep looking", "refer"]
    assert after(opened, "keep looking")["step"] == "leaf"


def test_what_is_more_likely_than_not_is_referred_first() -> None:
    screen = after(case(RARE.replace("slip: 0.2", "slip: 0.05"), cautions=HAZARDS), "odd")
    assert screen["probability"] > 0.5
    assert (screen["likelier"], screen["replies"][:2]) == ([], ["refer", "keep looking"])


@pytest.mark.parametrize(("minutes", "first"), [(64, "keep looking"), (66, "refer")])
def test_another_look_is_weighed_against_a_call(minutes: float, first: str) -> None:
    # W = 0.5435, and 120 · W = 65.2 minutes.
    steps = f"""
    top: {{ask: a, slip: 0.26, answers: {{odd: wire, leaf seen: leaf}}}}
    wire: {finding(100 * 0.4565 / 0.74, "service")}
    leaf: {finding(100 * 0.5435 / 0.26, minutes=minutes)}
    """
    screen = after(case(steps), "odd")
    assert screen["probability"] == pytest.approx(0.4565)
    assert screen["replies"][0] == first
    assert named(screen) == (["leaf"] if first == "keep looking" else [])


def test_what_a_call_costs_is_the_visits() -> None:
    opened = case(RARE, cautions=HAZARDS)
    after(opened, "odd")
    opened.walk.visit = replace(opened.walk.visit, call_out_minutes=5.0)
    assert opened.show()["replies"][0] == "refer"


@pytest.mark.parametrize(
    ("hazards", "reply", "first"),
    [
        ("[brakes-steering]", "odd", "refer"),
        ("[current, hot-parts]", "odd", "refer"),
        # Only heat, which an operator may meet once it has cooled.
        ("[hot-parts]", "odd", "keep looking"),
        ("[current]", "odd", "keep looking"),
        # No answer pointed to it; what may be acid is left alone all the same.
        ("[brakes-steering]", "unsure", "keep looking"),
        ("[acid]", "unsure", "refer"),
    ],
)
def test_what_is_alarming_is_referred_first(hazards: str, reply: str, first: str) -> None:
    steps = RARE.replace("[current]", hazards).replace("slip: 0.2,", "slip: 0.2, if_unsure: odd,")
    screen = after(case(steps, cautions=HAZARDS), reply)
    assert screen["step"] == "wire"
    assert screen["replies"][0] == first
    assert named(screen) == ["leaf", "other"]


def test_an_answer_that_all_looks_right_points_to_nothing_alarming() -> None:
    steps = RARE.replace("[current]", "[brakes-steering]").replace("passes: none", "passes: odd")
    assert after(case(steps, cautions=HAZARDS), "odd")["replies"][0] == "keep looking"


def test_a_cause_more_than_twice_as_likely_is_named_under_an_operators() -> None:
    steps = f"""
    top: {{ask: a, slip: 0.2, passes: none, answers: {{first: one, second: two, third: three, last: four}}}}
    one: {finding(10)}
    two: {finding(21)}
    three: {finding(20)}
    four: {finding(60, "service")}
    """
    opened = case(steps.replace("slip: 0.2,", "slip: 0.2, if_unsure: first,"))
    screen = after(opened, "unsure")
    # Twice as likely is not more than twice, and service's is none to look for.
    assert (screen["step"], named(screen)) == ("one", ["two"])
    opened = case(steps.replace("slip: 0.2,", "slip: 0.2, if_unsure: second,"))
    assert named(after(opened, "unsure")) == []
    assert after(opened, "cannot")["step"] == "four"
    assert after(opened, "keep looking")["step"] == "three"
    # What was set aside is not named.
    screen = after(opened, "cannot")
    assert (screen["step"], named(screen)) == ("one", [])


def test_the_walk_does_not_choose_service_before_a_likelier_cause() -> None:
    # Worth: service 0.05 / 0.5 = 0.1, the leaf 0.95 / 95 = 0.01.
    steps = f"""
    top: {{ask: a, passes: none, answers: {{odd: wire, leaf seen: leaf}}}}
    wire: {finding(5, "service", minutes=0.5)}
    leaf: {finding(95, minutes=95)}
    """
    assert after(case(steps), "unsure")["step"] == "leaf"
    # It may where it is the likelier one.
    likely = steps.replace("chance: 5,", "chance: 96,")
    assert after(case(likely), "unsure")["step"] == "wire"


def test_not_it_leaves_a_tenth_and_the_machine_as_it_is() -> None:
    steps = f"""
    top: {{ask: a, slip: 0.2, answers: {{first: one, second: two}}}}
    one: {finding(50, more=", hazards: [press]")}
    two: {finding(50, more=", hazards: [press]")}
    """
    opened = case(steps, cautions=HAZARDS)
    after(opened, "first", "done")
    screen = after(opened, "not it")
    # The lockout holds: its caution is not asked for again.
    assert (screen["screen"], screen["step"]) == ("finding", "two")
    assert [one["id"] for one in screen["in_force"]] == ["held"]
    assert ranking(opened) == pytest.approx({"one": 0.08 / 0.28, "two": 0.2 / 0.28})
    # *Back* from a remedy, which may have been tried out, ends it.
    assert after(opened, "back")["id"] == "held"
    assert [event.reply for event in opened.events[1:]] == ["answer", "done", "not it", "back"]


def test_not_it_is_told_anew_after_a_resume() -> None:
    opened = case(RARE, cautions=HAZARDS)
    after(opened, "leaf seen", "not it")
    believed = ranking(opened)
    after(opened, "leave")
    opened.resume()
    assert ranking(opened) == pytest.approx(believed)
    assert opened.show()["step"] == "other"


def test_nobody_is_asked_to_look_at_what_is_for_service_only() -> None:
    opened = case(RARE, cautions=HAZARDS)
    assert "not it" not in after(opened, "odd")["replies"]
    turn = opened.say("not it")
    assert turn.exchange is None
    assert turn.interludes[0].message.id == "no-such-reply"
    assert "not it" in after(case(RARE, cautions=HAZARDS, role="service"), "odd")["replies"]
    # Nor at what calls for a caution that is not in force.
    press = RARE.replace("[current]", "[press]")
    assert "not it" not in after(case(press, cautions=HAZARDS), "odd")["replies"]
    held = press.replace("slip: 0.2,", "slip: 0.2, hazards: [press],")
    assert "not it" in after(case(held, cautions=HAZARDS), "done", "odd")["replies"]
    free = RARE.replace(", hazards: [current]", "")
    assert "not it" in after(case(free), "odd")["replies"]


# Not checked yet


def test_what_somebody_has_looked_at_is_not_called_unchecked() -> None:
    steps = f"""
    top: {{ask: a, slip: 0.4, passes: fine, answers: {{spot: leaf, fine: mid}}}}
    mid: {{ask: b, slip: 0.4, answers: {{there: one, here: two}}}}
    leaf: {finding(60)}
    one: {finding(20)}
    two: {finding(20)}
    """
    opened = case(steps)
    screen = after(opened, "fine", "there", "not it")
    # The first question was answered as all right; of the second, something else was seen.
    assert (screen["step"], screen["checked"]) == ("leaf", True)
    assert [note["id"] for note in screen["notes"]] == ["seen-otherwise"]
    assert why(opened)[0] == "why-seen"
    screen = after(opened, "not it")
    assert (screen["step"], screen["checked"], screen["notes"]) == ("two", False, [])
    assert why(opened)[0] == "why-unchecked"


# Why


def why(opened: Case) -> list[str]:
    (told,) = opened.walk.reply(opened.state, "why").interludes
    return [piece.id for piece in told.text]


def into(opened: Case, which: str) -> dict[str, str]:
    (told,) = opened.walk.reply(opened.state, "why").interludes
    return next(dict(piece.into) for piece in told.text if piece.id == which)


def test_why_says_what_the_answer_did_to_a_chance() -> None:
    opened = case(RARE, cautions=HAZARDS)
    after(opened, "odd")
    assert why(opened) == ["why-finding", "why-answer-for", "why-rare"]
    assert into(opened, "why-answer-for") == {"before": "8 %", "now": "41 %"}
    after(opened, "keep looking")
    # Set aside is no evidence.
    assert why(opened) == ["why-unchecked"]
    after(opened, "not it")
    assert why(opened) == ["why-unchecked", "why-ruled-out"]
    assert into(opened, "why-ruled-out") == {"before": "14 %", "now": "24 %"}


def test_why_at_a_question_says_what_the_answer_did_to_the_likeliest_cause() -> None:
    steps = f"""
    top: {{ask: a, slip: 0.2, answers: {{spot: leaf, on: mid}}}}
    mid: {{ask: b, answers: {{there: one, here: two}}}}
    leaf: {finding(50)}
    one: {finding(30)}
    two: {finding(20)}
    """
    opened = case(steps)
    assert why(opened) == ["why-question"]
    after(opened, "on")
    assert why(opened) == ["why-question", "why-likeliest"]
    assert into(opened, "why-likeliest") == {"before": "30 %", "now": "48 %"}


def test_why_says_so_where_the_answer_speaks_against_what_is_shown() -> None:
    # The answer leads to a step for somebody else, behind which nothing is left: so to the leaf.
    steps = f"""
    pre: {{ask: p, slip: 0.4, answers: {{this: two, that: top}}}}
    top: {{ask: a, slip: 0.2, passes: none, answers: {{spot: leaf, on: deep}}}}
    deep: {{ask: d, by: service, answers: {{there: two, here: two}}}}
    leaf: {finding(60)}
    two: {finding(40)}
    """
    opened = case(steps)
    assert after(opened, "this", "cannot")["step"] == "top"
    assert after(opened, "on")["step"] == "leaf"
    assert why(opened) == ["why-unchecked", "why-answer-against"]
    # 60 · 0.4 against 40 · 1/2; then 0.2 of the one against 0.8 of the other.
    assert into(opened, "why-answer-against") == {"before": "55 %", "now": "23 %"}


# Behind a doorway


def test_causes_of_the_symptom_before_a_doorway_are_open_all_the_same() -> None:
    steps = f"""
    top: {{ask: a, slip: 0.3, passes: none, answers: {{door: gate, leaf seen: leaf}}}}
    gate: {{finding: g, chance: 10, continue_with: beta}}
    leaf: {finding(90)}
    """
    opened = case(steps, others={"beta": f"wire: {finding(5, 'service')}"})
    screen = after(opened, "door")
    assert (screen["symptom"], screen["step"], screen["probability"]) == ("beta", "wire", 1.0)
    # The doorway itself is the cause in 7 of 34 such cases.
    assert screen["replies"][0] == "keep looking"
    assert screen["likelier"] == []
    note = next(note for note in screen["notes"] if note["id"] == "open-before")
    assert dict(note["into"]) == {"title": "alpha"}
    assert after(opened, "keep looking")["step"] == "leaf"
    likely = case(
        steps.replace("chance: 10", "chance: 90"),
        others={"beta": f"wire: {finding(5, 'service')}"},
    )
    assert after(likely, "door")["replies"][0] == "refer"
