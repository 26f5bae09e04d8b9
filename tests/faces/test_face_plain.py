"""Plain lines: what is said, in which order, and what a typed line means."""

from __future__ import annotations

import builtins
import io
import sys
from itertools import pairwise

import pytest
from handmade import (
    ALL,
    ASKED,
    BARRIER,
    GLOVES,
    HEADING,
    KEY_OUT,
    ONE_NEED,
    caution,
    check,
    choose,
    danger,
    end,
    figure,
    finding,
    for_service,
    guard,
    item,
    reading,
    refused,
    why,
)

from diagnose.case.screens import CardLine, Cause, phrase
from diagnose.faces.face import Heading
from diagnose.faces.plain import PlainFace
from diagnose.faces.words import NOTICE


@pytest.fixture(autouse=True)
def eighty_columns(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")


def piped(monkeypatch: pytest.MonkeyPatch, *lines: str) -> PlainFace:
    """Return a face whose standard input is a pipe with these lines."""
    monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
    return PlainFace()


class Keyboard(io.StringIO):
    """A standard input that is a terminal."""

    def isatty(self) -> bool:
        return True


def typed(monkeypatch: pytest.MonkeyPatch, *lines: str) -> tuple[PlainFace, list[str]]:
    """Return a face at a terminal where these lines are typed, and the prompts that it gives."""
    waiting = list(lines)
    prompts: list[str] = []

    def read(prompt: str = "") -> str:
        prompts.append(prompt)
        if not waiting:
            raise EOFError
        return waiting.pop(0)

    monkeypatch.setattr(sys, "stdin", Keyboard())
    monkeypatch.setattr(builtins, "input", read)
    return PlainFace(), prompts


def test_a_check_from_top_to_bottom(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    face = piped(monkeypatch, "2")
    card = (CardLine("squeegee.blade", "four edges"),)
    assert face.ask(check(in_force=(KEY_OUT,), card=card), HEADING) == "2"
    assert capsys.readouterr().out.splitlines() == [
        "",
        "It streaks. Dock machine. case K7Q2.",
        "In force: Key out. 9 causes open, about 6 min.",
        "Look along the whole rear blade.",
        "A clean blade shows one straight line.",
        "Take: a lamp",
        "Card: squeegee blade four edges",
        "Question: Is anything stuck under it?",
        "1. Something is stuck",
        "2. Clean",
        "Give a number, 1 to 2. Or: u not sure, c cannot, b back, w why, ! danger,",
        "l leave.",
    ]


@pytest.mark.parametrize("name", ALL)
@pytest.mark.parametrize("columns", [1, 40, 80])
def test_lines_keep_to_the_width_and_draw_nothing(
    name: str, columns: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    face = piped(monkeypatch, "back")
    if name in ASKED:
        face.ask(ALL[name], HEADING)
    else:
        face.show(ALL[name], HEADING)
    told = capsys.readouterr().out
    assert max(len(line) for line in told.splitlines()) <= max(40, columns)
    assert told.replace("\n", "").isprintable()
    assert not set(told) & set("─│┌┐└┘═║|\t\x1b\r")


def test_the_place_is_said_when_it_changes_and_the_rest_every_time(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    face = piped(monkeypatch, "x", "x", "x", "x")
    face.ask(check(), HEADING)
    face.show(refused("no-such-answer", typed="x", last=2, hint=""), HEADING)
    face.ask(check(), HEADING)
    face.ask(check(), Heading(case="K7Q2", title="It runs dry", machine="Dock machine"))
    told = capsys.readouterr().out
    assert told.count("It streaks. Dock machine. case K7Q2.") == 1
    assert told.count("It runs dry. Dock machine. case K7Q2.") == 1
    assert told.count("No caution in force. 9 causes open, about 6 min.") == 3
    assert told.count("Question: Is anything stuck under it?") == 3
    assert told.count('No answer is "x".') == 1


def test_causes_are_said_where_a_screen_does_not_count_them(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    face = piped(monkeypatch, "1", "done", "1", "1")
    face.ask(check(open=1, minutes_left=0.2), HEADING)
    assert "1 cause open, about 1 min." in capsys.readouterr().out
    face.ask(caution(), HEADING)
    assert "No caution in force. 1 cause open before this." in capsys.readouterr().out
    face.ask(finding(symptom="another"), HEADING)
    assert "open" not in capsys.readouterr().out
    face.ask(check(open=2, minutes_left=float("nan")), HEADING)
    assert "2 causes open.\n" in capsys.readouterr().out


def test_the_notice_stands_on_the_first_screen(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    face = piped(monkeypatch, "1", "1")
    face.ask(choose(), Heading(first=True))
    told = " ".join(capsys.readouterr().out.split())
    assert f"NOTICE: {NOTICE}" in told
    assert "caution in force" not in told
    face.ask(check(), HEADING)
    assert "NOTICE" not in capsys.readouterr().out


def test_each_screen_says_how_it_is_answered(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    said = {
        "choose machine": "Give its number, or type part of its id, name or serial. Or: n no",
        "who says so": "Type it. Or: b back",
        "danger": "Give a number, 1 to 6.",
        "take": "Reply y once all lines are so. Or: c cannot",
        "several": "Name one that cannot be met by its number: c 1. Or: c cannot",
        "check": "Give a number, 1 to 2. Or: u not sure",
        "reading": "Type them as distance=... time=.... Or: u not sure",
        "one need": "Type the value. Or: u not sure",
        "finding": "Give: f fixed",
    }
    for name, how in said.items():
        piped(monkeypatch, "x").ask(ASKED[name], HEADING)
        assert how in " ".join(capsys.readouterr().out.split()), name


@pytest.mark.parametrize(
    ("screen", "typed_line", "reply"),
    [
        (check(), "u", "unsure"),
        (check(), " W ", "why"),
        (check(), "Clean", "Clean"),
        (check(), "", ""),
        (check(), "y", "y"),
        (finding(), "f", "cured"),
        (finding(), "fixed", "cured"),
        (finding(), "not fixed", "not cured"),
        (finding(), "y", "y"),
        (finding(), "n", "not cured"),
        (finding(), "not cured", "not cured"),
        (for_service(), "k", "keep looking"),
        (for_service(), "r", "refer"),
        (item(), "y", "done"),
        (item(), "n", "not right"),
        (item(), "c", "not now"),
        (choose(), "n", "none"),
        (choose("symptom"), "n", "n"),
        (reading(), "distance=10 m time=8 s", "distance=10 m time=8 s"),
        (caution(), "done", "done"),
        (caution(), "!", "danger"),
        (check(), " ! ", "danger"),
        (check(), "d", "d"),
        (danger(), "6", "6"),
        (danger(), "!", "!"),
        (danger(), "b", "b"),
        (caution(), "", ""),
        (caution(GLOVES, BARRIER), "y", "done"),
        (caution(GLOVES, BARRIER), "c", "cannot"),
        (caution(GLOVES, BARRIER), "c 2", "cannot 2"),
        (caution(GLOVES, BARRIER), "C gloves on", "cannot gloves on"),
        (caution(GLOVES, BARRIER), "cannot barrier", "cannot barrier"),
        (caution(phase="release"), "done", "done"),
        (check(), "x" * 1_000_000, "x" * 1_000_000),
    ],
)
def test_a_piped_line_is_a_reply(
    screen: object, typed_line: str, reply: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    face = piped(monkeypatch, typed_line)
    assert face.ask(screen, HEADING) == reply  # type: ignore[arg-type]
    assert face.ask(screen, HEADING) is None  # type: ignore[arg-type]


def test_a_caution_is_said_whole(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    piped(monkeypatch, "done").ask(caution(), HEADING)
    told = " ".join(capsys.readouterr().out.split())
    parts = [
        "WARNING: Locked out",
        "Lock the machine out before hands go near it.",
        "Hazard: Brushes can turn",
        "Signs: starts by itself (W018), disconnect before work (M021), fire equipment (F099)",
        "1. The key is in my pocket.",
        "3. My tag is on.",
        "Reply y once all lines are so.",
    ]
    places = [told.index(part) for part in parts]
    assert places == sorted(places)


def test_several_are_said_one_after_the_other_with_their_numbers(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    piped(monkeypatch, "done").ask(caution(GLOVES, BARRIER), HEADING)
    told = " ".join(capsys.readouterr().out.split())
    parts = [
        "WARNING: 1. Gloves on",
        "Dirty water carries germs.",
        "- Waterproof gloves are on.",
        "2. Floor closed off",
        "- My shoes grip.",
        "Hazard: Dirty water, Wet floor",
        "Signs: germs (W009), wear gloves (M009), slippery floor (W011)",
        "Reply y once all lines are so. Name one that cannot be met by its number: c 1.",
    ]
    places = [told.index(part) for part in parts]
    assert places == sorted(places)


@pytest.mark.parametrize(("columns", "lines"), [(80, 24), (40, 20), (36, 16), (80, 50)])
def test_at_a_keyboard_no_more_is_said_at_once_than_stays_in_sight(
    columns: int, lines: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", f"{columns}")
    monkeypatch.setenv("LINES", f"{lines}")
    out = io.StringIO()
    monkeypatch.setattr(sys, "stdout", out)
    said: list[tuple[str, int]] = []

    def read(prompt: str) -> str:
        said.append((prompt, out.getvalue().count("\n")))
        return "done" if "Reply" in prompt else ""

    monkeypatch.setattr(sys, "stdin", Keyboard())
    monkeypatch.setattr(builtins, "input", read)
    screen = caution(GLOVES, BARRIER, guard(), guard(id="more", title="More"))
    assert PlainFace().ask(screen, HEADING) == "done"
    *pages, last = said
    assert last[0] == "WARNING. Reply: "
    assert {prompt for prompt, _ in pages} <= {"Enter: read on. "}
    assert bool(pages) == (lines < 24)
    rows = [0, *(row for _, row in said)]
    # What was said before the caution (a blank line, where the case stands) may have gone.
    assert max(after - before for before, after in pairwise(rows)) <= lines + 3


def test_danger_is_heard_before_the_end_of_a_page(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    monkeypatch.setenv("LINES", "10")
    face, _ = typed(monkeypatch, "!")
    assert face.ask(caution(GLOVES, BARRIER, guard()), HEADING) == "danger"
    face, _ = typed(monkeypatch)
    assert face.ask(caution(GLOVES, BARRIER, guard()), HEADING) is None


def test_lines_stay_confirmed_over_a_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    face, prompts = typed(monkeypatch, "", "", "w", "", "", "b", "c")
    assert face.ask(caution(), HEADING) == "why"
    assert face.ask(caution(), HEADING) == "done"
    assert [prompt.split(":")[0] for prompt in prompts][2:] == ["WARNING, 3 of 3"] * 2
    # Once done they are new, and so they are for another caution.
    assert face.ask(caution(), HEADING) == "back"
    assert face.ask(caution(id="other"), HEADING) == "cannot"
    assert [prompt.split(":")[0] for prompt in prompts][4:] == [
        "WARNING, 1 of 3",
        "WARNING, 2 of 3",
        "WARNING, 1 of 3",
    ]


def test_at_a_keyboard_a_caution_is_confirmed_line_by_line(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    face, prompts = typed(monkeypatch, "", "done", "Y")
    assert face.ask(caution(), HEADING) == "done"
    assert prompts == [
        "WARNING, 1 of 3: The key is in my pocket. ",
        "WARNING, 2 of 3: The connector is apart. ",
        "WARNING, 3 of 3: My tag is on. ",
    ]
    told = capsys.readouterr().out
    assert "3 lines to confirm. Enter confirms a line, once it is so." in told
    assert "My tag is on" not in told
    assert "y done" not in told


@pytest.mark.parametrize(
    ("lines", "reply"),
    [
        (("", "c"), "cannot"),
        (("why",), "why"),
        (("", "", "!"), "danger"),
        (("", "d"), "d"),
        (("", "yes"), "yes"),
        (("", ""), None),
    ],
)
def test_a_caution_is_not_confirmed_by_half(
    lines: tuple[str, ...], reply: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    face, _ = typed(monkeypatch, *lines)
    assert face.ask(caution(), HEADING) == reply


@pytest.mark.parametrize("screen", [caution(again=True), caution(phase="release")])
def test_the_second_time_and_the_release_take_one_done(
    screen: object, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    face, prompts = typed(monkeypatch, "", "done")
    assert face.ask(screen, HEADING) == ""  # type: ignore[arg-type]
    assert face.ask(screen, HEADING) == "done"  # type: ignore[arg-type]
    assert prompts == ["WARNING. Reply: ", "WARNING. Reply: "]
    assert "3. My tag is on." in capsys.readouterr().out


def test_readings_name_what_they_take(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    face = piped(monkeypatch, "1", "1")
    face.ask(reading(), HEADING)
    told = capsys.readouterr().out
    assert "1. distance between the marks, in m\n2. time between the marks, in s\n" in told
    assert "Type them as distance=... time=..." in told
    face.ask(reading(needs=ONE_NEED), HEADING)
    assert "Type the value." in capsys.readouterr().out


def test_values_are_asked_one_by_one(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    face, prompts = typed(monkeypatch, "10", " 8 ", "", "9", "5", "6")
    assert face.ask(reading(), HEADING) == "distance=10 time=8"
    assert "Type one value, then Enter. Or: u not sure" in capsys.readouterr().out
    assert prompts == [
        "1. distance between the marks, in m: ",
        "2. time between the marks, in s: ",
    ]
    # Refused, it comes again: Enter keeps what was given.
    assert face.ask(reading(), HEADING) == "distance=10 time=9"
    assert prompts[2:] == [
        "1. distance between the marks, in m [10]: ",
        "2. time between the marks, in s [8]: ",
    ]
    assert face.ask(reading(step="another"), HEADING) == "distance=5 time=6"
    assert prompts[4] == "1. distance between the marks, in m: "


@pytest.mark.parametrize(
    ("line", "reply"),
    [
        ("w", "why"),
        ("!", "danger"),
        ("note it stands in a puddle", "note it stands in a puddle"),
        ("back", "back"),
    ],
)
def test_values_given_are_kept_over_another_reply(
    line: str, reply: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    face, prompts = typed(monkeypatch, "10", line, "8")
    screen = reading(replies=(*reading().replies, "note"))
    assert face.ask(screen, HEADING) == reply
    assert face.ask(screen, HEADING) == "distance=10 time=8"
    assert prompts[-1] == prompts[-2] == "2. time between the marks, in s: "


def test_values_by_name_in_one_line_are_all_of_them(monkeypatch: pytest.MonkeyPatch) -> None:
    face, prompts = typed(monkeypatch, "10", "distance=12 time=9", "", "", "", "1")
    assert face.ask(reading(), HEADING) == "distance=12 time=9"
    assert face.ask(reading(), HEADING) == "distance=10"
    assert face.ask(reading(), HEADING) == "distance=10 time=1"
    assert face.ask(reading(), HEADING) is None
    assert len(prompts) == 7


def test_screens_that_take_no_reply(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    face = piped(monkeypatch)
    face.show(figure(), HEADING)
    assert capsys.readouterr().out.splitlines() == [
        "4.5 km/h, right: at scrubbing speed",
        "Expected: 3 to 6 km/h",
        "Source: common practice",
        "Worked out so:",
        "1. 10 m / 8 s x 3.6 = 4.50 km/h",
    ]
    face.show(why(), HEADING)
    told = capsys.readouterr().out
    assert '"Locked out" guards against it.' in told
    assert "1. 61 %: Grit lifts the edge" in told
    assert "arm is bent" not in told


def test_the_end(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    face = piped(monkeypatch)
    face.show(end("left", notes=(phrase("end-resume", case="K7Q2"),), in_force=(KEY_OUT,)), HEADING)
    told = capsys.readouterr().out
    assert "Case K7Q2: Left open." in told
    assert "Still in force: Key out" in told
    assert "3. 9 %: The band is loose" in told
    assert "diagnose resume K7Q2" in told
    face.show(end("walked", ranking=()), Heading())
    assert capsys.readouterr().out == "\nFinished.\n"


def test_a_service_finding_says_how_to_leave_the_machine(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    piped(monkeypatch, "r").ask(for_service(), HEADING)
    told = capsys.readouterr().out
    assert "Not checked yet.\n" in told
    assert "For licensed service. 61 % likely." in told
    assert "Leave it so: Park it with the key out." in told


def test_a_finding_that_the_person_may_look_at_asks_for_a_look(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    replies = ("refer", "keep looking", "not it", "danger", "leave")
    piped(monkeypatch, "x").ask(for_service(replies=replies), HEADING)
    assert "Not checked yet: look first.\n" in capsys.readouterr().out


def test_likelier_causes_stand_under_a_finding_and_what_is_first_is_asked_first(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    named = (Cause("nick", "The edge is nicked", 0.3), Cause("band", "The band is loose", 0.08))
    first = ("keep looking", "refer", "danger", "leave")
    reply = piped(monkeypatch, "k").ask(for_service(replies=first, likelier=named), HEADING)
    told = capsys.readouterr().out
    assert reply == "keep looking"
    listed = "Look for these first:\n1. 30 %: The edge is nicked\n2. 8 %: The band is loose\n"
    assert listed in told
    assert "Question: Keep looking first, or refer it now?" in told
    assert told.index("61 % likely") < told.index("Leave it so") < told.index(listed)
    assert "k keep looking, r refer, ! danger" in told
    alarming = ("refer", "keep looking", "danger", "leave")
    piped(monkeypatch, "r").ask(for_service(replies=alarming, likelier=named), HEADING)
    told = capsys.readouterr().out
    assert "Still open here:\n1. 30 %" in told
    assert "Question: Refer it now, or keep looking?" in told
    piped(monkeypatch, "n").ask(finding(likelier=named), HEADING)
    assert "Likelier, and still open:\n1. 30 %" in capsys.readouterr().out


def test_a_finding_for_the_battery_trained_says_so(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    piped(monkeypatch, "y").ask(ASKED["battery"], HEADING)
    assert "For battery-trained people. 61 % likely, about 3 min" in capsys.readouterr().out


def test_no_control_character_comes_through(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    face = piped(monkeypatch, "1")
    face.show(refused("cannot-read", message="a\x1b[2Jb\tc\u202ed"), HEADING)
    told = capsys.readouterr().out
    assert "\x1b" not in told
    assert "\u202e" not in told
    assert "b c" in told


def test_a_terminal_without_the_letters_shows_question_marks(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(b"\xff\n"), encoding="ascii"))
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(raw, encoding="ascii"))
    reply = PlainFace().ask(check(ask="20 °C?"), HEADING)
    assert reply == "\N{REPLACEMENT CHARACTER}"
    sys.stdout.flush()
    assert b"20 ?C?" in raw.getvalue()


class Gone(io.StringIO):
    """A standard input that fails at every touch, as a terminal that went away does."""

    def readline(self, size: int | None = -1, /) -> str:
        raise OSError(5, "gone")


def closed() -> io.StringIO:
    stream = io.StringIO()
    stream.close()
    return stream


@pytest.mark.parametrize("stream", [None, closed(), Gone()], ids=["none", "closed", "gone"])
def test_a_stdin_that_cannot_be_read_has_ended(
    stream: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "stdin", stream)
    assert PlainFace().ask(check(), HEADING) is None


class Deaf(io.StringIO):
    """A pipe whose reader has gone."""

    def flush(self) -> None:
        raise BrokenPipeError


def test_a_broken_pipe_is_the_callers(monkeypatch: pytest.MonkeyPatch) -> None:
    face = piped(monkeypatch, "1")
    monkeypatch.setattr(sys, "stdout", Deaf())
    with pytest.raises(BrokenPipeError):
        face.ask(check(), HEADING)


def test_a_pipe_that_breaks_at_the_prompt_is_the_callers_too(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def broken(prompt: str = "") -> str:
        raise BrokenPipeError

    face, _ = typed(monkeypatch)
    monkeypatch.setattr(builtins, "input", broken)
    with pytest.raises(BrokenPipeError):
        face.ask(check(), HEADING)


def test_without_an_output_the_input_still_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    face, _ = typed(monkeypatch, "2")
    monkeypatch.setattr(sys, "stdout", None)
    assert face.ask(check(), HEADING) == "2"


def test_breaking_off_is_the_callers(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(prompt: str = "") -> str:
        raise KeyboardInterrupt

    face, _ = typed(monkeypatch)
    monkeypatch.setattr(builtins, "input", broken)
    with pytest.raises(KeyboardInterrupt):
        face.ask(check(), HEADING)
