"""The log in a file against lists in memory: two who write to it, in any order, say the same."""

from __future__ import annotations

import shutil
import tempfile
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    Bundle,
    RuleBasedStateMachine,
    consumes,
    initialize,
    invariant,
    rule,
)
from strategies.elsewhere import Elsewhere
from strategies.log_events import EVENTS, ends, events, outsets
from strategies.memory_log import MemoryLog

from diagnose.case.state import Trace
from diagnose.log import sqlite
from diagnose.log.drills import DrillRecord
from diagnose.log.events import Found, Opened, Replied, Resumed, RoundOpened, Shown
from diagnose.log.machine_state import held, release
from diagnose.log.protocol import CaseRecord, LogBusy, OpenElsewhere
from diagnose.log.sqlite import WAIT, SqliteLog
from diagnose.log.story import noted_now

if TYPE_CHECKING:
    from diagnose.log.events import Event
    from diagnose.log.protocol import Listed

MACHINES = st.sampled_from([None, "dock", "aisle"])
WHO = st.integers(0, 1)


@pytest.fixture(autouse=True)
def small_pages(monkeypatch: pytest.MonkeyPatch) -> None:
    """A list of a few cases has several pages too, and a last one that is full."""
    monkeypatch.setattr(sqlite, "PAGE", 3)
    monkeypatch.setattr(sqlite, "_LOOKED_THROUGH", 2)


def _name(one: Listed) -> str:
    return one.case.name


class Here(SqliteLog):
    """The log of this process, with what `Elsewhere` has besides."""

    def execute(self, statement: str) -> None:
        self.base.execute(statement)

    def wait_for(self, seconds: float) -> None:
        self.wait = seconds


class Conformance(RuleBasedStateMachine):
    """Two logs on one file, each in a process of its own, and a list in memory beside them."""

    cases = Bundle("cases")
    rounds = Bundle("rounds")

    @initialize()
    def open(self) -> None:
        self.folder = Path(tempfile.mkdtemp())
        self.second = 0
        self.model = MemoryLog(now=self.now)
        self.logs: list[Any] = [self.opened(0, "rwc"), self.opened(1, "rwc")]

    def opened(self, who: int, mode: str) -> Any:
        log = (Here, Elsewhere)[who](self.folder / "log", mode, now=self.now)
        # For speed: what a power cut does is tested elsewhere.
        log.execute("PRAGMA synchronous = OFF")
        return log

    def now(self) -> str:
        return f"2026-11-25T12:{self.second // 60:02}:{self.second % 60:02}+00:00"

    def teardown(self) -> None:
        if hasattr(self, "folder"):
            for log in self.logs:
                log.close()
            shutil.rmtree(self.folder)

    @rule(step=st.integers(1, 90))
    def time_passes(self, step: int) -> None:
        self.second += step

    def _opened(self, who: int, machine: str | None, event: Any, begun_in: Any) -> CaseRecord:
        case = self.logs[who].open_case(machine, event, begun_in=begun_in)
        assert case.name not in [known.name for known in self.model.cases()]
        self.model.adopt(case, self.now(), event)
        return case

    @rule(target=cases, who=WHO, machine=MACHINES, event=EVENTS[Opened].filter(lambda e: e.symptom))
    def open_case(self, who: int, machine: str | None, event: Opened) -> CaseRecord:
        return self._opened(who, machine, event, None)

    @rule(target=rounds, who=WHO, machine=MACHINES, outset=outsets)
    def open_round(self, who: int, machine: str | None, outset: Any) -> CaseRecord:
        event = RoundOpened(round="daily", title="Daily", every="day", outset=outset)
        return self._opened(who, machine, event, None)

    @rule(target=cases, who=WHO, round_=rounds, outset=outsets)
    def begin_case(self, who: int, round_: CaseRecord, outset: Any) -> CaseRecord:
        event = Opened(symptom="lines", outset=outset)
        return self._opened(who, round_.machine, event, round_)

    def _append(self, who: int, case: CaseRecord, event: Event) -> None:
        number = self.model.events(case)[-1].number + 1
        self.logs[who].append(case, number, event)
        self.model.append(case, number, event)

    @rule(who=WHO, case=st.one_of(cases, rounds), event=events)
    def append(self, who: int, case: CaseRecord, event: Event) -> None:
        self._append(who, case, event)

    @rule(who=WHO, case=cases, trail=ends)
    def end(self, who: int, case: CaseRecord, trail: Any) -> None:
        shown = Shown(screen="finding", finding="It is bent.")
        self._append(
            who,
            case,
            Replied(reply="cured", symptom="lines", step="bent", shown=shown, trail=trail),
        )

    @rule(who=WHO, case=cases, event=EVENTS[Replied])
    def answer(self, who: int, case: CaseRecord, event: Replied) -> None:
        self._append(who, case, event)

    @rule(who=WHO, case=cases)
    def leave(self, who: int, case: CaseRecord) -> None:
        self._append(
            who,
            case,
            Replied(reply="leave", symptom="lines", step="a", shown=Shown(screen="check")),
        )

    @rule(who=WHO, other=WHO, case=cases, name=st.sampled_from(["Bo", "Ana"]))
    def release(self, who: int, other: int, case: CaseRecord, name: str) -> None:
        """What waits for service holds its machine, and is released in all its cases at once."""
        trail = (Trace(what="ended", symptom="lines", step="bent", why="referred"),)
        shown = Shown(screen="finding", finding="It is bent.", until_mended="out of use")
        told = Replied(reply="refer", symptom="lines", step="bent", shown=shown, trail=trail)
        self._append(who, case, told)
        holding = held(self.logs[other], case.machine)
        assert holding == held(self.model, case.machine)
        if holding:
            release(self.logs[other], holding, name)
            release(self.model, holding, name)

    @rule(who=WHO, case=cases, event=EVENTS[Resumed])
    def resume(self, who: int, case: CaseRecord, event: Resumed) -> None:
        self._append(who, case, event)

    @rule(who=WHO, case=cases, event=EVENTS[Found])
    def found(self, who: int, case: CaseRecord, event: Found) -> None:
        self._append(who, case, event)

    @rule(who=WHO, case=st.one_of(cases, rounds), event=events, data=st.data())
    def come_second(self, who: int, case: CaseRecord, event: Event, data: st.DataObject) -> None:
        """A number that is taken is refused, and nothing is written."""
        known = self.model.events(case)
        number = data.draw(st.sampled_from([logged.number for logged in known]))
        with pytest.raises(OpenElsewhere, match=f"case {case.name} is open elsewhere"):
            self.logs[who].append(case, number, event)

    @rule(who=WHO, case=consumes(cases), event=events)
    def cannot_be_written(self, who: int, case: CaseRecord, event: Event) -> None:
        """The file is locked by somebody: one line, and nothing is written."""
        other, log = self.logs[1 - who], self.logs[who]
        other.execute("BEGIN EXCLUSIVE")
        log.wait_for(0.0)
        try:
            with pytest.raises(LogBusy, match="locked by another program"):
                log.append(case, self.model.events(case)[-1].number + 1, event)
        finally:
            other.execute("ROLLBACK")
            log.wait_for(WAIT)

    @rule(who=WHO, trainee=st.sampled_from(["", "Bo", "bo", "Ana"]), seed=st.integers(0, 9))
    def drill(self, who: int, trainee: str, seed: int) -> None:
        result = DrillRecord(
            trainee=trainee,
            symptom="lines",
            machine=None,
            seed=seed,
            slips=seed % 2 == 0,
            passed=seed > 4,
            body={"minutes": seed, "tree_minutes": None, "unsafe": ["ü"] * (seed % 3)},
        )
        self.logs[who].add_drill(result)
        self.model.add_drill(result)

    @rule(who=WHO)
    def come_again(self, who: int) -> None:
        self.logs[who].close()
        self.logs[who] = self.opened(who, "rw")

    @rule(machine=MACHINES, back=st.integers(0, 200))
    def tell(self, machine: str | None, back: int) -> None:
        """Both say what the lists say."""
        since = f"2026-11-25T12:{max(0, self.second - back) // 60:02}:00+00:00"
        for log in self.logs:
            assert log.cases(machine) == self.model.cases(machine)
            assert log.milestones(machine, since) == self.model.milestones(machine, since)
            assert list(log.waiting_at(machine)) == list(self.model.waiting_at(machine))
            assert sorted(log.heads(machine), key=str) == sorted(self.model.heads(machine), key=str)
            assert Counter(log.cures(machine, since)) == Counter(self.model.cures(machine, since))
            assert sorted(log.ended(machine), key=_name) == sorted(
                self.model.ended(machine), key=_name
            )
            assert log.begun(machine) == self.model.begun(machine)
            assert log.last_round(machine) == self.model.last_round(machine)
            assert log.last_left(machine, "daily") == self.model.last_left(machine, "daily")
            assert noted_now(log.not_right(machine)) == noted_now(self.model.not_right(machine))
            assert list(log.listed()) == list(self.model.listed())
            assert list(log.waiting()) == list(self.model.waiting())
            assert log.machines() == self.model.machines()
            assert log.last_open() == self.model.last_open()
            assert log.damaged(self.model.cases()) == {}
            assert log.drills("BO") == self.model.drills("BO")
            assert log.drills() == self.model.drills()
            for case in self.model.cases():
                assert log.case(f" {case.name.lower()} ") == case
                assert log.events(case) == self.model.events(case)
                assert log.begun_in(case) == self.model.begun_in(case)
            assert log.case("nobody") is None

    @invariant()
    def as_many(self) -> None:
        if hasattr(self, "logs"):
            assert len({len(log.cases()) for log in self.logs}) == 1
            assert len(self.logs[0].cases()) == len(self.model.cases())


TestConformance = Conformance.TestCase
TestConformance.settings = settings(max_examples=15, stateful_step_count=30)
