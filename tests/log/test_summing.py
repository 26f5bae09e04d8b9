"""The law of the summary row: it is always what the events alone say, whoever wrote them."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st
from strategies.rounds import Told, begun, opened, written
from strategies.walker import Walker, visit_to
from strategies.walking import random_reply

from diagnose.case.screens import as_data
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.files.library import built_in
from diagnose.log import sqlite
from diagnose.log.machine_state import held, release
from diagnose.log.sqlite import SqliteLog
from diagnose.log.summing import carried_on, summed_up

if TYPE_CHECKING:
    from random import Random

LIBRARY = ReadyLibrary(built_in())


def lawful(log: SqliteLog) -> None:
    """Each row, and each column that a list goes by, is what the events say."""
    listed = list(log.listed())
    assert len(listed) == len(log.cases())
    waits = set()
    for one in listed:
        case = one.case
        assert one.summary == summed_up(case, log.events(case), log.begun_in(case))
        if one.summary.holds or (case.round is None and case.waits):
            waits.add(case.name)
    assert {one.case.name for one in log.waiting()} == waits
    assert {name: (state, since) for _, state, since, name in log.heads()} == {
        one.case.name: (
            one.summary.is_.state if one.summary.holds else "in use",
            one.summary.is_.since or "",
        )
        for one in log.waiting()
    }


@pytest.mark.many_cases
@settings(max_examples=60)
@given(random=st.randoms(use_true_random=False), symptom=st.sampled_from(LIBRARY.symptoms))
def test_a_summary_is_what_the_events_say_after_every_reply(random: Random, symptom: str) -> None:
    """In the built-in trees: lockouts, readings, causes for service, doorways, releases."""
    with tempfile.TemporaryDirectory() as name:
        second = iter(range(10_000))
        log = SqliteLog(Path(name) / "log", now=lambda: f"2026-11-25T12:00:{next(second):05}")
        log.base.execute("PRAGMA synchronous = OFF")
        walker = Walker(visit_to(LIBRARY))
        told = begun(walker.visit, walker.opened(symptom), log, "dock")
        backs = locked = 0
        for _ in range(60):
            if told.state.outcome is not None:
                break
            screen = as_data(walker.screen(told.state))
            text = random_reply(random, screen, 0.03, idle=0, backs=backs)
            if text in ("leave", "danger", "cured", "refer") and random.random() < 0.8:
                continue  # most lockouts come late in a case
            backs += text == "back"
            told.say(text)
            locked += "lockout" in [caution.id for caution in walker.screen(told.state).in_force]
            lawful(log)
            holding = held(log, "dock")
            if holding and random.random() < 0.03:
                # Somebody else does it: the case goes on from the number after that.
                release(log, holding, "Bo")
                told.own.number += len(holding)
                lawful(log)
        event(f"a lockout was taken: {locked > 0}")
        log.close()


@settings(max_examples=25)
@given(random=st.randoms(use_true_random=False), machine=st.sampled_from([None, "dock"]))
def test_a_round_s_summary_is_what_the_events_say_after_every_reply(
    random: Random, machine: str | None
) -> None:
    with tempfile.TemporaryDirectory() as name:
        second = iter(range(10_000))
        log = SqliteLog(Path(name) / "log", now=lambda: f"2026-11-25T12:00:{next(second):05}")
        log.base.execute("PRAGMA synchronous = OFF")
        told = Told(opened(written(Path(name) / "library")), log, machine)
        backs = 0
        for _ in range(40):
            if told.state.outcome is not None:
                break
            screen = as_data(told.screen)
            text = random_reply(random, screen, 0.2, idle=0, backs=backs)
            backs += text == "back"
            told.say(text)
            if random.random() < 0.1 and told.state.outcome is None:
                told.resume()
            lawful(log)
        log.close()


def test_most_replies_carry_a_summary_on(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Or the law above would hold for nothing."""
    carried = []

    def counted(*args: object) -> object:
        made = carried_on(*args)  # type: ignore[arg-type]
        carried.append(made is not None)
        return made

    monkeypatch.setattr(sqlite, "carried_on", counted)
    walker = opened(written(tmp_path / "library"))
    log = SqliteLog(tmp_path / "log")
    told = begun(walker.visit, Walker(walker.visit).opened("lines"), log, "dock")
    for text in ("done", "unsure", "done", "not cured"):
        told.say(text)
        lawful(log)
    assert carried.count(True) >= 2
