"""What holds a machine: by a lockout, a danger, a referral's words; and what lets it go."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from strategies.memory_log import MemoryLog
from strategies.rounds import LINES, ROUND, Told, begun, opened, written
from strategies.walker import Walker, visit_to

from diagnose.commands.ready_library import ReadyLibrary
from diagnose.files.replies import DANGERS
from diagnose.log.account import Account
from diagnose.log.events import Found, Released, Replied, read
from diagnose.log.events import written as as_text
from diagnose.log.machine_state import (
    IN_USE,
    OUT_OF_USE,
    WITH_CARE,
    held,
    machine_state,
    release,
    since,
)

if TYPE_CHECKING:
    from pathlib import Path

    from strategies.rounds import ToldCase

    from diagnose.log.protocol import CaseRecord

START = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
#: Each danger as the page and the lists say it.
WORDS = {
    "smoke": "smoke or a burning smell",
    "heat": "something is too hot",
    "battery": "a swollen or hissing battery",
    "hurt": "somebody is hurt",
    "other": "something else",
}
LOCKED = ("done", "1", "done")
REFERRED = ("done", "2", "refer")
CARE = LINES.replace(
    "    leave_safe: Park it.\n",
    "    leave_safe: Park it.\n    until_mended: Use it on level floors only.\n",
).replace("format: 1", "format: 2")


class Shop:
    """A machine's log in memory, a minute between two events."""

    def __init__(self, folder: Path, **texts: str) -> None:
        self.folder = written(folder, **texts)
        cautions = folder / "cautions.yaml"
        title = "    title: Machine dead\n"
        assert title in cautions.read_text()
        cautions.write_text(cautions.read_text().replace(title, f"{title}    signs: [M021]\n"))
        self.minutes = 0
        self.log = MemoryLog(now=self.now)

    def now(self) -> str:
        self.minutes += 1
        return (START + timedelta(minutes=self.minutes)).isoformat(timespec="seconds")

    def case(self, *texts: str) -> ToldCase:
        visit = visit_to(ReadyLibrary(self.folder))
        told = begun(visit, Walker(visit).opened("lines"), self.log, "dock")
        for text in texts:
            assert told.say(text).exchange is not None, text
        return told

    def round(self, *texts: str) -> Told:
        told = Told(opened(self.folder), self.log, "dock")
        for text in texts:
            assert told.say(text).exchange is not None, text
        return told

    def state(self) -> tuple[str, str] | None:
        """State and reason of the last that holds the machine."""
        holding = held(self.log, "dock")
        return (holding[0].is_.state, holding[0].is_.why) if holding else None

    def found(self, case: CaseRecord, **more: Any) -> None:
        number = self.log.events(case)[-1].number + 1
        self.log.append(case, number, Found(symptom="lines", finding="bent", **more))


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    return Shop(tmp_path / "library")


LOCKOUT = (OUT_OF_USE, "Machine dead: in force, not released")
BENT = "referred to service: The frame is bent"


# A lockout


@pytest.mark.parametrize("end", [(), ("leave",)])
def test_a_lockout_left_in_place_holds_whether_or_not_anybody_said_so(
    shop: Shop, end: tuple[str, ...]
) -> None:
    """The program may have been killed, or the laptop's battery may have died."""
    told = shop.case(*LOCKED, *end)
    (one,) = held(shop.log, "dock")
    assert (one.is_.state, one.is_.why) == LOCKOUT
    assert one.is_.tag == "Ana, operator"
    events = shop.log.events(told.own.case)
    # It was confirmed with the third reply.
    assert one.is_.since == events[3].at


def test_who_tried_the_machine_out_has_taken_the_lockout_off(shop: Shop) -> None:
    told = shop.case(*LOCKED, "cured")
    assert held(shop.log, "dock") == []
    is_ = shop.log.summary(told.own.case).is_
    assert (is_.state, is_.why, is_.since, is_.tag) == (IN_USE, "tried out and cured", None, None)


def test_a_case_left_without_a_lockout_holds_nothing(shop: Shop) -> None:
    told = shop.case("done", "leave")
    assert held(shop.log, "dock") == []
    record = shop.log.case(told.own.case.name)
    assert record is not None
    state = machine_state(record, shop.log.events(record))
    assert (state.state, state.since, state.tag) == (IN_USE, None, None)
    assert state.why.startswith("not cured")


def test_a_release_takes_the_lockout_off_in_the_account(shop: Shop) -> None:
    told = shop.case(*LOCKED, "leave")
    release(shop.log, held(shop.log, "dock"), "Bo")
    assert held(shop.log, "dock") == []
    cautions = Account(shop.log.events(told.own.case)).cautions()
    assert {caution.how for caution in cautions if caution.lapses} == {"released"}


# In a round


def test_a_lockout_in_a_round_is_the_round_s(shop: Shop) -> None:
    told = shop.round("done", "done", "done", "done", "leave")
    (one,) = held(shop.log, "dock")
    assert (one.case.name, one.is_.why) == (told.own.case.name, LOCKOUT[1])


def test_a_lockout_that_its_case_gave_back_is_the_round_s(shop: Shop) -> None:
    """The case was tried out inside the round: nothing is locked out any more."""
    told = shop.round("done", "not right", "1", "done")
    assert [one.case.name for one in held(shop.log, "dock")] == [told.cases[0].name]
    told.say("cured")
    assert held(shop.log, "dock") == []


def test_a_case_left_inside_its_round_is_the_one_to_ask(shop: Shop) -> None:
    told = shop.round("done", "not right", "1", "done", "leave")
    (case,) = told.cases
    (one,) = held(shop.log, "dock")
    assert (one.case.name, one.is_.state) == (case.name, OUT_OF_USE)
    release(shop.log, [one], "Bo")
    for name in (case.name, told.own.case.name):
        record = shop.log.case(name)
        assert record is not None
        assert shop.log.events(record)[-1].event == Released(name="Bo")
    # Taken up again and cured, neither of the two asks for it once more.
    told.resume()
    told.say("done", "cured", "leave")
    assert held(shop.log, "dock") == []


def test_after_a_resume_nobody_knows_of_it_until_it_is_tried_out(shop: Shop) -> None:
    told = shop.round("done", "not right", "1", "done", "leave")
    told.resume()
    assert shop.state() == (OUT_OF_USE, "the log does not know of its lockout's release")
    assert held(shop.log, "dock")[0].is_.tag == "Ana, operator"
    told.say("done", "cured", "leave")
    assert held(shop.log, "dock") == []


def ends_locked(shop: Shop, told: Told) -> bool:
    """Whether a round's last event says that a lockout is in force."""
    event: Any = shop.log.events(told.own.case)[-1].event
    locked: bool = event.came_to.locked
    return locked


def test_a_round_that_ends_in_a_lockout_holds_its_machine(tmp_path: Path) -> None:
    last = "  last:\n    do: Hang up the brush.\n    hazards: [brush]\n"
    shop = Shop(tmp_path / "library", round_=ROUND + last)
    told = shop.round(*["done"] * 10, "done", "done", "done")
    assert told.record.outcome == "walked"
    assert ends_locked(shop, told)
    other = Shop(tmp_path / "other")
    assert not ends_locked(other, other.round(*["done"] * 11))
    assert shop.state() == LOCKOUT
    release(shop.log, held(shop.log), "Bo")
    assert held(shop.log) == []
    # It was walked when it was walked, not when the machine was released.
    assert told.record.changed < shop.log.events(told.own.case)[-1].at


def test_a_round_ends_with_a_lockout_of_which_nobody_knows(shop: Shop) -> None:
    """It was left in a lockout, taken up again, and nobody locked out or released anything since."""
    told = shop.round("done", "done", "done", "done", "leave")
    told.resume()
    while told.record.outcome == "open":
        told.say("cannot" if told.screen.screen == "caution" else "not now")
    assert told.record.outcome == "walked"
    assert not ends_locked(shop, told)
    assert shop.state() == (OUT_OF_USE, "the log does not know of its lockout's release")
    release(shop.log, held(shop.log), "Bo")
    assert held(shop.log) == []


def test_a_danger_inside_a_round_is_its_case_s(shop: Shop) -> None:
    told = shop.round("done", "not right", "danger", "battery")
    (one,) = held(shop.log, "dock")
    assert one.case.name == told.cases[0].name
    assert one.is_.why == "a danger was reported: a swollen or hissing battery"


@pytest.mark.parametrize("kind", DANGERS)
def test_any_danger_puts_the_machine_out_of_use(shop: Shop, kind: str) -> None:
    shop.case("done", "1", "danger", kind)
    assert shop.state() == (OUT_OF_USE, f"a danger was reported: {WORDS[kind]}")


@pytest.mark.parametrize("start", ["case", "round"])
def test_a_danger_holds_it_before_it_is_said_which_and_no_longer_after_a_mistake(
    shop: Shop, start: str
) -> None:
    told: Any = getattr(shop, start)("done", "danger")
    assert shop.state() == (OUT_OF_USE, "a danger was reported")
    told.say("mistake")
    assert shop.state() is None
    for text in ("danger", "mistake", "danger", "smoke"):
        told.say(text)
    assert shop.state() == (OUT_OF_USE, "a danger was reported: smoke or a burning smell")


def test_a_lockout_holds_it_on_after_a_mistake(shop: Shop) -> None:
    shop.case(*LOCKED, "danger", "mistake")
    assert shop.state() == LOCKOUT


# A referral


def test_a_referral_holds_it_as_the_finding_says(tmp_path: Path) -> None:
    Shop(tmp_path / "plain")
    out, care = Shop(tmp_path / "out"), Shop(tmp_path / "care", lines=CARE)
    out.case(*REFERRED)
    assert out.state() == (OUT_OF_USE, BENT)
    told = care.case(*REFERRED)
    assert care.state() == (WITH_CARE, f"Use it on level floors only; {BENT}")
    event = care.log.events(told.own.case)[-1].event
    assert isinstance(event, Replied)
    assert event.shown.until_mended == "Use it on level floors only."
    assert read(as_text(event)) == event


def test_a_referral_that_knows_no_words_means_out_of_use(shop: Shop) -> None:
    """As those of earlier logs do, and those in which nothing was left to check."""
    shop.case("done", "1", "cannot")
    why = "referred to service: nothing is left that an operator can check"
    assert shop.state() == (OUT_OF_USE, why)


def test_a_cause_for_service_left_on_the_screen_holds_it_as_it_says(tmp_path: Path) -> None:
    care = Shop(tmp_path / "care", lines=CARE)
    care.case("done", "2", "leave")
    why = "Use it on level floors only; a cause for service, to be left safe"
    assert care.state() == (WITH_CARE, why)


def test_a_lockout_is_worse_than_a_word_of_care(tmp_path: Path) -> None:
    shop = Shop(tmp_path / "care", lines=CARE)
    shop.case(*REFERRED)
    shop.case(*LOCKED, "leave")
    shop.case(*REFERRED)
    states = [one.is_.state for one in held(shop.log, "dock")]
    assert states == [OUT_OF_USE, WITH_CARE, WITH_CARE]
    # The newest of the two that only want care, the older one behind it.
    ages = [one.is_.since or "" for one in held(shop.log, "dock")[1:]]
    assert ages == sorted(ages, reverse=True)
    assert since(held(shop.log, "dock")) == held(shop.log, "dock")[0].is_.since
    assert since(held(shop.log, "dock")[1:]) == ages[1]
    assert since([]) is None


def test_a_verdict_holds_it_on_unless_it_releases(shop: Shop) -> None:
    told = shop.case(*REFERRED)
    shop.found(told.own.case, released=False, name="Bo")
    assert shop.state() == (OUT_OF_USE, BENT)
    shop.found(told.own.case, released=True, name="Bo")
    assert held(shop.log, "dock") == []
    record = shop.log.case(told.own.case.name)
    assert record is not None
    assert machine_state(record, shop.log.events(record)).why == "released by Bo"


def test_a_verdict_from_before_releases_were_known_is_the_end_of_it(shop: Shop) -> None:
    told = shop.case(*REFERRED)
    shop.found(told.own.case)
    assert held(shop.log, "dock") == []


# After a release


@pytest.mark.parametrize(
    ("texts", "state"),
    [
        (("leave",), None),
        (("done", "leave"), LOCKOUT),
        (("danger",), (OUT_OF_USE, "a danger was reported")),
        (("danger", "mistake", "leave"), None),
        (("danger", "hurt"), (OUT_OF_USE, "a danger was reported: somebody is hurt")),
    ],
)
def test_what_happens_after_a_release_holds_anew(
    shop: Shop, texts: tuple[str, ...], state: tuple[str, str] | None
) -> None:
    told = shop.round("done", "not right", "1", "done", "leave")
    release(shop.log, held(shop.log), "Bo")
    told.resume()
    assert held(shop.log) == []
    told.say(*texts)
    assert shop.state() == state


def test_a_release_is_refused_where_somebody_has_gone_on(shop: Shop) -> None:
    """Nothing is released that nobody has seen."""
    told = shop.case(*LOCKED)
    holding = held(shop.log)
    told.say("leave")
    with pytest.raises(Exception, match=told.own.case.name):
        release(shop.log, holding, "Bo")
    assert shop.state() == LOCKOUT
