"""What an end from outside comes to, by where the program is when it comes."""

from __future__ import annotations

import os
import pty
import signal
import sys
import time
from typing import TYPE_CHECKING

import pytest

from diagnose import app, interrupts
from diagnose.commands.session import said
from diagnose.interrupts import Interrupted

if TYPE_CHECKING:
    from collections.abc import Iterator

ENDS = [signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT]


@pytest.fixture(autouse=True)
def heard(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Hear of the ends in here, and leave the handlers as they were."""
    before = {number: signal.getsignal(number) for number in (*ENDS, signal.SIGALRM)}
    monkeypatch.setattr(interrupts, "_now", interrupts._Now())
    monkeypatch.setattr(sys, "unraisablehook", sys.unraisablehook)
    interrupts.listen()
    yield
    for number, handler in before.items():
        signal.signal(number, handler)


@pytest.mark.parametrize("number", ENDS)
def test_work_is_ended_where_it_is(number: signal.Signals) -> None:
    with pytest.raises(Interrupted) as caught:
        signal.raise_signal(number)
    assert interrupts.code(caught.value) == 128 + number
    assert interrupts.code(KeyboardInterrupt()) == 130


@pytest.mark.parametrize("number", ENDS[1:])
def test_between_two_questions_it_waits_for_the_next_and_all_after_it(
    number: signal.Signals,
) -> None:
    with interrupts.asking():
        pass
    signal.raise_signal(number)
    for _ in range(2):
        with pytest.raises(Interrupted), interrupts.asking():
            pytest.fail("it was asked")


def test_ctrl_c_ends_no_more_than_what_is_done_just_now() -> None:
    with interrupts.asking():
        pass
    with pytest.raises(Interrupted):
        signal.raise_signal(signal.SIGINT)
    with interrupts.asking():
        pass


def test_who_insists_ends_it_at_once_but_a_window_that_is_closed_twice_does_not() -> None:
    with interrupts.asking():
        pass
    signal.raise_signal(signal.SIGHUP)
    signal.raise_signal(signal.SIGHUP)
    with pytest.raises(Interrupted):
        signal.raise_signal(signal.SIGTERM)


def test_a_question_is_broken_off() -> None:
    with pytest.raises(Interrupted), interrupts.asking():
        signal.raise_signal(signal.SIGTERM)


def test_a_listener_is_called_instead() -> None:
    called = []
    with interrupts.asking(), interrupts.passed_to(lambda: called.append(1)):
        signal.raise_signal(signal.SIGQUIT)
        with pytest.raises(Interrupted):
            signal.raise_signal(signal.SIGINT)
    assert called == [1]


def test_nothing_is_asked_any_more_once_the_program_is_ended() -> None:
    """As of a round, whose case was left."""

    class Face:
        def ask(self, screen: object, heading: object) -> str:
            asked.append(screen)
            signal.raise_signal(signal.SIGTERM)
            return "1"

    asked: list[object] = []
    assert [said(Face(), f"screen {at}", None) for at in (1, 2)] == ["leave", "leave"]  # type: ignore[arg-type]
    assert asked == ["screen 1"]


@pytest.mark.parametrize("timers", [True, False])
def test_the_work_is_done(timers: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    if not timers:
        monkeypatch.delattr(signal, "setitimer")
        Dropped(signal.SIGTERM)  # nothing can be done about it there
    interrupts.deafen()
    for number in ENDS:
        signal.raise_signal(number)


def test_what_was_ignored_stays_ignored() -> None:
    signal.signal(signal.SIGHUP, signal.SIG_IGN)
    interrupts.listen()
    signal.raise_signal(signal.SIGHUP)


class Dropped:
    """Something whose end runs code that can raise nothing."""

    def __init__(self, number: int) -> None:
        self.number = number

    def __del__(self) -> None:
        signal.raise_signal(self.number)


@pytest.mark.parametrize("number", ENDS)
def test_an_end_that_nothing_can_be_raised_for_comes_again(
    number: signal.Signals, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(Interrupted) as caught:
        drop_and_wait(number)
    assert caught.value.number == number
    assert capsys.readouterr().err == ""


def drop_and_wait(number: int) -> None:
    dropped = Dropped(number)
    del dropped
    last = time.monotonic() + 60
    while time.monotonic() < last:
        time.sleep(0.001)


def test_between_two_questions_it_need_not_come_again() -> None:
    with interrupts.asking():
        pass
    interrupts._again(signal.SIGTERM)
    with pytest.raises(Interrupted):
        interrupts._again(signal.SIGINT)


class Faulty:
    def __del__(self) -> None:
        raise ValueError("of its own")


def test_another_error_that_cannot_be_raised_is_told_as_ever(
    capsys: pytest.CaptureFixture[str],
) -> None:
    Faulty()
    assert "ValueError: of its own" in capsys.readouterr().err


def test_an_error_that_came_of_an_end_is_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """As Python 3.11 has it, where an end comes while a class is made."""

    def made(args: object) -> int:
        try:
            raise Interrupted(signal.SIGTERM)
        except Interrupted as error:
            raise RuntimeError from error

    from diagnose.commands import check

    monkeypatch.setattr(check, "run", made)
    assert app.run(["check"]) == 143
    assert interrupts.behind(ValueError()) is None


# The terminal


def test_a_line_is_waited_for_and_asked_again_after_a_stop() -> None:
    ours, theirs = pty.openpty()
    asked: list[str] = []

    def ask() -> None:
        asked.append("first")
        # Should it not be asked again, the line comes all the same.
        signal.signal(signal.SIGALRM, lambda *_: os.write(ours, b"late\n"))
        signal.setitimer(signal.ITIMER_REAL, 10)
        # Right between the question and the reading.
        os.kill(os.getpid(), signal.SIGCONT)

    def again() -> None:
        asked.append("again")
        os.write(ours, b"a line\n")

    with os.fdopen(theirs) as stream:
        assert interrupts.await_line(stream, ask, again)
        signal.setitimer(signal.ITIMER_REAL, 0)
        assert stream.readline() == "a line\n"
    os.close(ours)
    assert asked == ["first", "again"]
    assert signal.getsignal(signal.SIGCONT) == signal.SIG_DFL


def test_an_end_right_before_the_reading_is_heard() -> None:
    ours, theirs = pty.openpty()
    with os.fdopen(theirs) as stream, pytest.raises(Interrupted), interrupts.asking():
        interrupts.await_line(stream, lambda: os.kill(os.getpid(), signal.SIGTERM), pytest.fail)
    os.close(ours)


def test_another_signal_asks_nothing_again() -> None:
    ours, theirs = pty.openpty()
    signal.signal(signal.SIGALRM, lambda *_: os.write(ours, b"a line\n"))

    def ask() -> None:
        os.kill(os.getpid(), signal.SIGTERM)
        signal.setitimer(signal.ITIMER_REAL, 0.05)

    with os.fdopen(theirs) as stream, interrupts.passed_to(lambda: None):
        assert interrupts.await_line(stream, ask, pytest.fail)
    os.close(ours)


def test_what_is_no_file_is_not_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    assert not interrupts.await_line(None, pytest.fail, pytest.fail)
    monkeypatch.delattr(signal, "SIGCONT")
    with open(os.devnull) as stream:  # noqa: PTH123
        assert not interrupts.await_line(stream, pytest.fail, pytest.fail)


@pytest.fixture
def streams(monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[int, int]]:
    """A terminal taken for the standard output: its two ends."""
    ours, theirs = pty.openpty()
    interrupts._now.terminals = [theirs]
    yield ours, theirs
    os.close(theirs)


def test_a_closed_window_swallows_what_is_said(streams: tuple[int, int]) -> None:
    ours, theirs = streams
    with pytest.raises(Interrupted):
        signal.raise_signal(signal.SIGHUP)
    assert os.isatty(theirs)  # it is there: somebody else has sent the signal
    os.close(ours)
    with pytest.raises(OSError, match="Input/output error"):
        os.write(theirs, b"x")
    signal.raise_signal(signal.SIGHUP)
    assert os.write(theirs, b"x") == 1


def test_a_terminal_in_the_foreground_is_kept(
    streams: tuple[int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    ours, theirs = streams
    group = os.getpgrp()
    for ended, owner, gone in ((None, 1, False), (15, group, False), (15, group + 1, True)):
        interrupts._now.ended = ended
        monkeypatch.setattr(os, "tcgetpgrp", lambda _, owner=owner: owner)
        interrupts.let_go()
        assert os.isatty(theirs) != gone
    os.close(ours)


def test_what_is_thrown_away_half_made_complains_to_nobody(
    capfd: pytest.CaptureFixture[str],
) -> None:
    """Such as an event loop, where an end comes in the middle of its making."""

    class HalfMade:
        def __del__(self) -> None:
            raise ValueError("half made")

    interrupts.listen()
    HalfMade()
    assert "half made" in capfd.readouterr().err
    with pytest.raises(interrupts.Interrupted):
        signal.raise_signal(signal.SIGINT)
    HalfMade()
    assert capfd.readouterr().err == ""
