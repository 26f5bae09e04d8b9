"""A round whose program is killed after any write: nothing is asked twice, lost, or orphaned.

The log is copied after every write of one walk, and each copy is gone on with as another process
would, by somebody who says the same to the same screen.
"""

from __future__ import annotations

import shutil
from contextlib import suppress
from dataclasses import dataclass, field
from random import Random
from typing import TYPE_CHECKING, Any

import pytest
from strategies.desk import Desk, Script
from strategies.rounds import DEAD_FOR_SERVICE, ROUND_WITH_LAMP, written

from diagnose.commands import resume
from diagnose.commands import round as round_verb
from diagnose.log.account import not_withdrawn
from diagnose.log.events import ItemReplied, Replied
from diagnose.log.sqlite import SqliteLog

if TYPE_CHECKING:
    from pathlib import Path

    from diagnose.log.protocol import CaseRecord

#: What is said, by item, and in the case that an item began by symptom and step.
Says = dict[tuple[str, str], str]

#: What is said where a danger asks which one it is; smoke, where nothing else.
DANGER = ("danger", "")

CURED_AND_REFERRED: Says = {
    ("daily", "look"): "not right",
    ("lines", "look"): "1",
    ("lines", "dirty"): "cured",
    ("daily", "note"): "not now",
    ("daily", "lamp"): "not right",
    ("dead", "lamp"): "2",
    ("dead", "flat"): "refer",
    ("daily", "reach"): "not right",
}
REFERRED_TWICE: Says = {
    ("daily", "look"): "not right",
    ("lines", "look"): "2",
    ("lines", "bent"): "refer",
    ("daily", "note"): "not right",
    ("daily", "lamp"): "not right",
    ("dead", "lamp"): "unsure",
    ("dead", "stop-in"): "not cured",
    ("dead", "flat"): "refer",
}
THROUGH_A_DOORWAY: Says = {
    ("daily", "look"): "not right",
    ("lines", "look"): "3",
    ("dead", "lamp"): "1",
    ("dead", "stop-in"): "cured",
}
DANGER_IN_A_CASE: Says = {
    ("daily", "note"): "not now",
    ("daily", "reach"): "not right",
    ("lines", "look"): "2",
    ("lines", "bent"): "danger",
    DANGER: "battery",
}
DANGER_AT_AN_ITEM: Says = {("daily", "look"): "not right", ("daily", "note"): "danger"} | {
    ("lines", "look"): "1",
    ("lines", "dirty"): "cured",
}
#: By mistake first: what stands behind the comma is said once that is in the log.
MISTAKE_IN_A_CASE: Says = {
    ("daily", "look"): "not right",
    ("lines", "look"): "2",
    ("lines", "bent"): "danger, refer",
    DANGER: "mistake",
}
MISTAKE_AT_AN_ITEM: Says = {("daily", "note"): "danger, not now", DANGER: "mistake"}
TAKEN_BACK: Says = {("daily", "look"): "not right", ("lines", "look"): "back"}
WALKS = {
    "cured and referred": CURED_AND_REFERRED,
    "referred twice": REFERRED_TWICE,
    "through a doorway": THROUGH_A_DOORWAY,
    "danger in a case": DANGER_IN_A_CASE,
    "danger at an item": DANGER_AT_AN_ITEM,
    "by mistake in a case": MISTAKE_IN_A_CASE,
    "by mistake at an item": MISTAKE_AT_AN_ITEM,
    "taken back": TAKEN_BACK,
}


@dataclass
class Somebody:
    """Says the same to the same screen; takes a case back once only, and then marks its item.

    A danger is pressed by mistake once only, too.
    """

    says: Says
    log: Path

    def __call__(self, screen: Any) -> str:
        if screen.screen == "caution":
            return "done"
        if screen.screen == "danger":
            return self.says.get(DANGER, "smoke")
        key = (
            (screen.round, screen.item)
            if screen.screen == "item"
            else (str(screen.symptom), screen.step)
        )
        said, _, after = self.says.get(key, "done").partition(", ")
        if after and self._mistaken():
            said = after
        took_back = "back" in self.says.values() and self._withdrawn()
        return "done" if took_back and said == "not right" else said

    def _mistaken(self) -> bool:
        log = SqliteLog(self.log)
        events = [each.event for case in log.cases() for each in log.events(case)]
        log.close()
        return any(getattr(event, "reply", "") == "mistake" for event in events)

    def _withdrawn(self) -> bool:
        log = SqliteLog(self.log)
        found = any(case.outcome == "withdrawn" for case in log.cases())
        log.close()
        return found


@dataclass
class Copied:
    """A desk whose log is copied after every write."""

    desk: Desk
    says: Says
    copies: list[Path] = field(default_factory=list)

    def walk(self, *args: str, log: Path, patch: pytest.MonkeyPatch) -> list[Any]:
        """Run a verb on this log, and return the screens that were shown."""
        self.desk.log = log
        face = Script(Somebody(self.says, log))
        patch.setattr(round_verb, "face_for", lambda **_: face)
        patch.setattr(resume, "face_for", lambda **_: face)
        code, _, err = self.desk(*args)
        assert (code, err) == (0, "")
        return face.screens


def told(path: Path) -> tuple[Any, ...]:
    """Return what counts of the only round of a log: marks, outcome, and its cases' own replies."""
    log = SqliteLog(path)
    (round_,) = [case for case in log.cases() if case.round is not None]
    events = log.events(round_)
    came = [e.event.came_to for e in events if getattr(e.event, "came_to", None) is not None]
    cases = log.begun_in(round_)
    assert len(cases) == len(log.cases()) - 1
    own = [(*_case(case), *_replies(log, case)) for case in cases if case.outcome != "withdrawn"]
    log.close()
    return round_.outcome, came[-1] if came else None, own


def _case(case: CaseRecord) -> tuple[Any, ...]:
    return case.symptom, case.outcome, case.finding


def _replies(log: SqliteLog, case: CaseRecord) -> tuple[Any, ...]:
    logged = log.events(case)
    moves = [e.event for e in not_withdrawn(logged)]
    replied = [e.event for e in logged if isinstance(e.event, Replied)]
    assert len({e.number for e in logged}) == len(logged)
    ends = [e.reply for e in replied if e.trail and e.trail[-1].what == "ended"]
    assert len([end for end in ends if end != "leave"]) <= 1
    steps = [(move.step, move.reply, move.answer) for move in moves if isinstance(move, Replied)]
    assert len(set(steps)) == len(steps), "the same was asked and answered twice"
    return steps, ends[-1:]


def items(path: Path) -> list[tuple[str, str]]:
    """Return the items that were replied to, with the reply, in order."""
    log = SqliteLog(path)
    (round_,) = [case for case in log.cases() if case.round is not None]
    replied = [e.event for e in log.events(round_) if isinstance(e.event, ItemReplied)]
    log.close()
    return [(event.item, event.reply) for event in replied if not event.caution]


@pytest.fixture(params=list(WALKS))
def copied(
    request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Copied:
    desk = Desk(tmp_path, monkeypatch)
    written(desk.library, dead=DEAD_FOR_SERVICE, round_=ROUND_WITH_LAMP)
    made = Copied(desk, WALKS[request.param])

    with monkeypatch.context() as patch:
        for name in ("open_case", "append"):
            original = getattr(SqliteLog, name)

            def copying(log: SqliteLog, *args: Any, _do: Any = original, **more: Any) -> Any:
                done = _do(log, *args, **more)
                copy = tmp_path / f"copy-{len(made.copies)}"
                shutil.copy(log.path, copy)
                made.copies.append(copy)
                return done

            patch.setattr(SqliteLog, name, copying)
        made.walk("round", "daily", "--machine", "dock", log=tmp_path / "whole", patch=patch)
    return made


def test_a_round_killed_after_any_write_comes_to_the_same(
    copied: Copied, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    whole = told(tmp_path / "whole")
    said = items(tmp_path / "whole")
    assert whole[0] in ("walked", "referred")
    assert len(copied.copies) > 6
    for copy in copied.copies:
        before = items(copy)
        assert before == said[: len(before)]
        if told(copy)[0] == "open":
            copied.walk("resume", log=copy, patch=monkeypatch)
        assert told(copy) == whole, copy
        assert items(copy) == said, copy


def test_one_that_is_killed_twice_comes_to_the_same(
    copied: Copied, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Gone on with from a copy, killed again after some writes, and gone on with by its case."""

    class Killed(BaseException):
        pass

    whole, random = told(tmp_path / "whole"), Random(3)
    for copy in copied.copies[1:-1]:
        if told(copy)[0] != "open":
            continue
        left = random.randint(1, 4)
        with monkeypatch.context() as patch:
            for name in ("open_case", "append"):
                original = getattr(SqliteLog, name)

                def killing(log: SqliteLog, *args: Any, _do: Any = original, **more: Any) -> Any:
                    nonlocal left
                    done = _do(log, *args, **more)
                    left -= 1
                    if left == 0:
                        log.close()
                        raise Killed
                    return done

                patch.setattr(SqliteLog, name, killing)
            with suppress(Killed):
                copied.walk("resume", log=copy, patch=patch)
        if told(copy)[0] == "open":
            log = SqliteLog(copy)
            names = [case.name for case in log.cases() if case.outcome == "open"]
            log.close()
            # By the round or by the case in which it was left, it is the same.
            copied.walk("resume", random.choice(names), log=copy, patch=monkeypatch)
        assert told(copy) == whole, copy
