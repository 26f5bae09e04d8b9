"""`round`, and what it leaves for `resume`, `cases`, `start` and `handover` to know."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from strategies.desk import NOW, Desk
from strategies.rounds import LINES, ROUND

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Desk:
    return Desk(tmp_path, monkeypatch)


CURED = ("1", "done", "cured")
ALL_DONE = ("done",) * 11


def test_a_round_is_walked_and_kept(desk: Desk) -> None:
    screens = desk.daily(*ALL_DONE)
    assert [s["screen"] for s in screens] == [
        *("caution", "item", "item", "caution", "item"),
        *("caution", "caution", "caution", "item", "caution", "item", "end"),
    ]
    assert "notice" in screens[0]
    assert screens[-1]["outcome"] == "walked"
    assert screens[1]["symptom"] is None
    (case,) = desk.cases()
    assert (case["round"], case["symptom"], case["machine"]) == ("daily", "", "dock")
    assert case["outcome"] == "walked"
    _, shown, _ = desk("cases", "show", case["name"])
    assert "opened: The daily round" in shown
    assert "Look at the blade. done" in shown


def test_the_log_keeps_who_when_and_what(desk: Desk) -> None:
    desk.walk(
        *("round", "daily", "--machine", "dock", "--as", "battery-trained", "--name", "Ana"),
        replies=("done", "not now", "leave"),
    )
    name = desk.cases()[0]["name"]
    events = desk.walk("cases", "show", name)[0]["events"]
    opened, item = events[0], events[2]
    assert (opened["outset"]["role"], opened["outset"]["name"]) == ("battery-trained", "Ana")
    assert (item["event"], item["reply"], item["item"]) == ("item", "not now", "look")
    assert item["at"] == NOW.isoformat()
    assert item["shown"]["do"] == "Look at the blade."


def test_a_trial_keeps_nothing(desk: Desk) -> None:
    screens = desk.walk("round", "daily", "--machine", "dock", "--trial", replies=("done",))
    assert "case" not in screens[0]
    assert not desk.log.exists()


def test_a_diagnosis_is_walked_in_a_case_of_its_own(desk: Desk) -> None:
    screens = desk.daily("done", "not right", *CURED)
    own, case = screens[0]["case"], screens[2]["case"]
    assert own != case
    assert [s["case"] for s in screens] == [own, own, case, case, case, own, own]
    assert [s["symptom"] for s in screens] == [None, None, "lines", "lines", "lines", None, None]
    assert [s["screen"] for s in screens].count("end") == 1
    assert "It leaves lines: fixed. The round goes on." in screens[5]["notes"]
    # A case opens, so its first screen says what every case says first.
    assert ["notice" in s for s in screens] == [True, False, True, False, False, False, False]
    listed = {one["name"]: one for one in desk.cases()}
    assert (listed[case]["begun_in"], listed[case]["outcome"]) == (own, "cured")
    assert (listed[own]["begun_in"], listed[own]["outcome"]) == (None, "open")


def test_the_end_of_a_round_says_how_what_it_referred_is_handed_over(desk: Desk) -> None:
    screens = desk.daily("done", "not right", "2", "refer", *["done"] * 4)
    assert screens[-1]["outcome"] == "walked"
    said = " ".join(screens[-1]["notes"])
    assert f"diagnose handover {screens[2]['case']}" in said
    assert f"diagnose handover {screens[0]['case']}" not in said


def test_a_round_that_a_danger_ended_names_its_own_page(desk: Desk) -> None:
    screens = desk.daily("done", "danger", "smoke")
    assert f"diagnose handover {screens[0]['case']}" in " ".join(screens[-1]["notes"])


def test_one_that_was_taken_back_is_no_case_that_a_list_shows(desk: Desk) -> None:
    screens = desk.daily("done", "not right", "back", "done", "leave")
    own, withdrawn = screens[0]["case"], screens[2]["case"]
    assert withdrawn != own
    assert [one["name"] for one in desk.cases()] == [own]
    assert withdrawn not in desk("cases")[1]
    assert "withdrawn" in desk("cases", "show", withdrawn)[1]
    assert withdrawn not in desk("cases", "show", own)[1]
    assert "back from lines: withdrawn" in desk("cases", "show", own)[1]
    code, _, err = desk("cases", "found", withdrawn, "bent")
    assert (code, err) == (2, f"diagnose: Case {withdrawn} was not referred (withdrawn).\n")


def test_a_round_that_was_left_is_taken_up(desk: Desk) -> None:
    left = desk.daily("done", "done", "leave")
    assert f"diagnose resume {left[0]['case']}" in " ".join(left[-1]["notes"])
    screens = desk.walk("resume", "--name", "Ben", replies=("done", "done", *["done"] * 9))
    assert screens[0]["case"] == left[0]["case"]
    assert (screens[0]["screen"], screens[0]["item"]) == ("item", "note")
    assert screens[-1]["outcome"] == "walked"
    events = desk.walk("cases", "show", left[0]["case"])[0]["events"]
    (resumed,) = [event for event in events if event["event"] == "resumed"]
    # What is at its default is not written: an operator, with nothing in force.
    assert resumed["name"] == "Ben"
    assert not resumed.keys() & {"role", "in_force"}


def test_a_diagnosis_that_was_left_is_taken_up_in_its_round(desk: Desk) -> None:
    left = desk.daily("done", "not right", "leave")
    own, case = left[0]["case"], left[2]["case"]
    assert f"diagnose resume {own}" in " ".join(left[-1]["notes"])
    for name in (own, case):
        screens = desk.walk("resume", name, replies=("done", "leave"))
        assert (screens[0]["screen"], screens[0]["symptom"]) == ("caution", "lines")
        assert screens[0]["case"] == case
    assert screens[0]["notes"] == ["Taken up again. Earlier answers that fit: 1; asked anew: 0."]
    screens = desk.walk("resume", replies=("done", *CURED, "leave"))
    assert (screens[-2]["screen"], screens[-2]["item"]) == ("item", "note")
    assert screens[-2]["case"] == own
    events = desk.walk("cases", "show", case)[0]["events"]
    assert [event["event"] for event in events].count("resumed") == 3


def test_a_case_whose_round_is_over_is_taken_up_alone(desk: Desk) -> None:
    """A round whose item is gone is walked to its end without the case in which it was left."""
    left = desk.daily("done", "not right", "leave")
    file = desk.library / "rounds" / "daily.yaml"
    file.write_text(ROUND[: ROUND.index("  look:")] + ROUND[ROUND.index("  note:") :])
    screens = desk.walk("resume", left[0]["case"], replies=("done",) * 9)
    assert screens[-1]["outcome"] == "walked"
    screens = desk.walk("resume", left[2]["case"], replies=("done", *CURED))
    assert {screen["case"] for screen in screens} == {left[2]["case"]}
    assert screens[-1]["outcome"] == "cured"


def test_a_round_of_which_nothing_is_left_ends_at_its_resume(desk: Desk) -> None:
    left = desk.daily("done", "done", "leave")
    (desk.library / "rounds" / "daily.yaml").write_text(ROUND[: ROUND.index("  note:")])
    (end,) = desk.walk("resume")
    assert (end["screen"], end["outcome"]) == ("end", "walked")
    (case,) = desk.cases()
    assert (case["name"], case["outcome"]) == (left[0]["case"], "walked")


def test_the_machine_is_asked_for(desk: Desk) -> None:
    screens = desk.walk("round", "daily", replies=("dock", "done", "leave"))
    assert (screens[0]["screen"], screens[0]["what"]) == ("choose", "machine")
    assert desk.cases()[0]["machine"] == "dock"
    screens = desk.walk("round", "daily", replies=("leave",))
    assert screens[-1]["outcome"] == "left"
    assert len(desk.cases()) == 1


def test_rounds_are_listed(desk: Desk) -> None:
    (listed,) = desk.walk("round")
    said = {"title": "The daily round", "every": "day", "items": 5, "minutes": 5.0, "kinds": []}
    assert listed == [{"round": "daily", **said}]
    code, out, _ = desk("round")
    assert (code, out) == (0, "daily  every day  5 min  The daily round\n")
    (desk.library / "rounds" / "daily.yaml").unlink()
    assert desk("round")[1] == f"No round in {desk.library}/rounds.\n"


def test_what_is_overdue_is_said_machine_by_machine(desk: Desk) -> None:
    desk.card("aisle")
    desk.daily(*ALL_DONE)
    rest = "Not overdue: 1. `--all` lists these too.\n"
    assert desk("round", "--due")[1] == f"aisle  daily  never walked, due every day\n{rest}"
    assert desk("round", "--due", "--machine", "dock")[1] == f"No round is overdue.\n{rest}"
    in_time = "dock  daily  last walked 0 h ago, due every day, in time\n"
    assert desk("round", "--due", "--machine", "dock", "--all")[1] == in_time
    desk.at(NOW + timedelta(hours=25))
    assert "dock  daily  last walked 25 h ago, due every day" in desk("round", "--due")[1]
    desk.at(NOW + timedelta(days=4))
    assert "dock  daily  last walked 4 days ago, due every day" in desk("round", "--due")[1]
    (entries,) = desk.walk("round", "--due", "daily", "--machine", "dock")
    assert entries == [
        {
            "machine": "dock",
            "round": "daily",
            "title": "The daily round",
            "every": "day",
            "last": NOW.isoformat(),
            "hours": 96.0,
            "overdue": True,
        }
    ]


def test_without_cards_a_round_is_due_for_no_machine_in_particular(desk: Desk) -> None:
    (desk.library / "machines" / "dock.yaml").unlink()
    assert desk("round", "--due")[1] == "no machine  daily  never walked, due every day\n"
    desk.walk("round", "daily", "--machine", "none", replies=ALL_DONE)
    assert desk("round", "--due", "--machine", "none")[1].startswith("No round is overdue.\n")


@pytest.mark.parametrize(
    ("args", "code", "line"),
    [
        (("round", "dialy"), 2, 'There is no round "dialy" in '),
        (("round", "dialy", "--due"), 2, 'Did you mean "daily"?'),
        (("round", "daily", "--machine", "dok"), 2, 'There is no machine "dok"'),
        (("round", "--due", "--machine", "dok"), 2, 'Did you mean "dock"?'),
        (("round", "broken"), 3, "rounds/broken.yaml:4:1: error: "),
        (("round", "unsafe"), 3, 'there is no "nothing"'),
        (("round", "daily", "--as", "boss"), 2, "--as"),
    ],
)
def test_bad_use_gets_one_line(desk: Desk, args: tuple[str, ...], code: int, line: str) -> None:
    rounds = desk.library / "rounds"
    (rounds / "broken.yaml").write_text("format: 1\nround: broken\ntitle: A\nitmes: {}\n")
    (rounds / "unsafe.yaml").write_text(
        "format: 1\nround: unsafe\ntitle: A\nevery: day\nitems:\n"
        "  look: {do: Look., hazards: [nothing]}\n"
    )
    got, out, err = desk(*args)
    assert (got, out) == (code, "")
    assert line in err
    assert err.count("\n") == 1


def test_broken_cautions_keep_a_round_that_needs_them_from_starting(desk: Desk) -> None:
    (desk.library / "cautions.yaml").write_text("format: 1\nhazards: {}\n")
    code, _, err = desk("round", "daily", "--machine", "dock")
    assert (code, err.count("\n")) == (3, 1)
    assert "cautions.yaml" in err
    (desk.library / "rounds" / "plain.yaml").write_text(
        "format: 1\nround: plain\ntitle: A\nevery: day\nitems:\n  look: {do: Look.}\n"
    )
    assert desk.walk("round", "plain", "--machine", "dock", replies=("done",))[-1]["outcome"] == (
        "walked"
    )


# What the log tells


def test_the_third_cure_in_thirty_days_is_told_at_its_end_and_in_the_list(desk: Desk) -> None:
    start = ("start", "lines", "--machine", "dock")
    seen = []
    for days in (45, 20, 10, 0):
        desk.at(NOW - timedelta(days=days))
        end = desk.walk(*start, replies=("done", *CURED))[-1]
        seen.append([note for note in end.get("notes", []) if note.startswith("It comes back")])
    assert [len(notes) for notes in seen] == [0, 0, 0, 1]
    (said,) = seen[3]
    assert "3 times within 30 days" in said
    # The remedy takes no part: more care is due, and no call.
    assert "missed care before it is a call for service" in said
    desk.card("aisle")
    aisle = desk.walk("start", "lines", "--machine", "aisle", replies=("done", *CURED))[-1]
    assert not any(note.startswith("It comes back") for note in aisle.get("notes", []))

    newest, *older = (one for one in desk.cases() if one["machine"] == "dock")
    told = {"finding": "dirty", "words": "The blade is dirty.", "times": 3, "means": said}
    assert newest["comes_back"] == told
    assert [one["comes_back"] for one in older] == [None] * 3
    lines = desk("cases")[1].splitlines()
    assert lines[[newest["name"] in line for line in lines].index(True) + 1].strip() == said
    assert desk("cases", "show", newest["name"])[1].splitlines()[-1].strip() == said
    rows = {row["machine"]: row for row in desk.walk("cases", "--open")[0]}
    assert (rows["dock"]["comes_back"], rows["aisle"]["comes_back"]) == ([told], [])
    assert f"  The blade is dirty. {said}" in desk("cases", "--open")[1]
    (story,) = desk.walk("cases", "--machine", "dock")
    assert "It comes back: 3 times within 30 days." in story[-1]["text"]


def test_why_shows_what_a_round_left_undone(desk: Desk) -> None:
    desk.daily("done", "not now", *["done"] * 9)
    screens = desk.walk("start", "lines", "--machine", "dock", replies=("done", "why", "1"))
    (why,) = [screen for screen in screens if screen["screen"] == "why"]
    assert "Not seen yet in The daily round: It is clean." in why["text"]
    desk.at(NOW + timedelta(hours=25))
    screens = desk.walk("resume", replies=("back", "done", "why"))
    (why,) = [screen for screen in screens if screen["screen"] == "why"]
    assert "Overdue on this machine: The daily round." in why["text"]


def test_a_machine_s_story_is_one_list(desk: Desk) -> None:
    desk.walk("start", "lines", "--machine", "dock", replies=("done", *CURED))
    desk.at(NOW + timedelta(minutes=5))
    desk.daily("done", "not now", "leave")
    code, out, _ = desk("cases", "--machine", "dock")
    assert code == 0
    lines = [line.split("  ", 2)[2] for line in out.splitlines()]
    assert lines == [
        "case  opened: It leaves lines",
        "finding  cured: The blade is dirty.",
        "round  The daily round: begun by operator",
        "round  The daily round: left, 0 of 5 done; not now: Look at the blade.",
    ]
    (entries,) = desk.walk("cases", "--machine", "dock")
    assert [entry["about"] for entry in entries] == ["case", "finding", "round", "round"]
    assert "Nothing yet" in desk("cases", "--machine", "aisle")[1]


def test_the_shift_lead_sees_which_machine_is_out_of_use(desk: Desk) -> None:
    for machine in ("aisle", "ramp"):
        desk.card(machine)
    desk.walk("start", "lines", "--machine", "ramp", replies=("done", *CURED))
    desk.walk(
        "round", "daily", "--machine", "aisle", replies=("done", "done", "not right", "leave")
    )
    desk.at(NOW + timedelta(hours=1))
    desk.daily("done", "not right", "2", "refer", "leave")
    (rows,) = desk.walk("cases", "--open")
    assert [(row["machine"], row["state"]) for row in rows] == [
        ("dock", "out of use"),
        ("aisle", "in use"),
        ("ramp", "in use"),
    ]
    dock, aisle, ramp = rows
    assert dock["since"] == (NOW + timedelta(hours=1)).isoformat()
    assert (dock["why"], dock["tag"]) == ("referred to service: The frame is bent", None)
    (waits,) = dock["waiting"]
    assert (waits["symptom"], waits["for_service"]) == ("lines", True)
    assert waits["case"] == dock["case"]
    assert waits["ask_service"] == "Straighten the frame."
    assert aisle["noted"] == [{"at": NOW.isoformat(), "do": "Read the log."}]
    assert (aisle["since"], aisle["why"]) == (None, "not right in a round")
    assert (ramp["since"], ramp["waiting"]) == (None, [])
    _, out, _ = desk("cases", "--open")
    assert "dock: out of use since 2026-11-25 13:00 +00:00, referred to service: The frame" in out
    assert "referred: The frame is bent. Service: Straighten the frame." in out
    assert "  not right: Read the log." in out
    assert "ramp: in use, nothing is open" in out


def test_a_danger_in_a_round_comes_first(desk: Desk) -> None:
    desk.daily("done", "danger", "smoke")
    (row,) = desk.walk("cases", "--open")[0]
    why = "a danger was reported: smoke or a burning smell"
    assert (row["state"], row["why"]) == ("out of use", why)
    assert desk("cases", "--open")[1].splitlines()[1].endswith(f"round  referred: {why}")


def test_a_symptom_that_was_started_twice_in_a_round_waits_with_the_second(desk: Desk) -> None:
    again = ("done", "done", "not right", "2", "refer", "leave")
    desk.daily("done", "not right", *CURED, *again)
    (name,) = [one["name"] for one in desk.cases() if one["outcome"] == "referred"]
    (row,) = desk.walk("cases", "--open")[0]
    assert (row["state"], row["case"]) == ("out of use", name)
    assert name in [each["case"] for each in row["waiting"]]
    assert desk("cases", "found", name, "bent")[0] == 0
    assert desk("handover", name)[0] == 0


def test_an_empty_log_has_no_machine(desk: Desk) -> None:
    assert "No machine yet" in desk("cases", "--open")[1]
    assert desk.walk("cases", "--open") == [[]]
    assert desk.walk("cases", "--machine", "dock") == [[]]


def test_service_s_verdict_on_a_referral_in_a_round(desk: Desk) -> None:
    screens = desk.daily("done", "not right", "2", "refer", "leave")
    own, name = screens[0]["case"], screens[2]["case"]
    code, _, err = desk("cases", "found", own, "bent")
    assert (code, err) == (2, f"diagnose: {own} is a round; name one of its cases: {name}.\n")
    assert (
        "Say what service found: one of dirty, bent, other, or --other"
        in desk("cases", "found", name)[2]
    )
    code, _, err = desk("cases", "found", name, "bnet")
    assert (code, 'is no finding of lines. Did you mean "bent"?' in err) == (2, True)
    code, out, _ = desk("cases", "found", name, "bent")
    assert (code, out) == (
        0,
        f"{name}: service found The frame is bent.\n"
        f"dock: still out of use (cases {name}). "
        "Once it may be used: diagnose release dock --name WHO\n",
    )
    (row,) = desk.walk("cases", "--open")[0]
    (waits,) = row["waiting"]
    # The contract's own fields, written out a second time on purpose.
    assert (
        list(row) == "machine state why since tag case waiting noted last_round comes_back".split()
    )
    fields = "case since symptom state why what for_service ask_service parts noted"
    assert list(waits) == fields.split()
    assert (row["state"], waits["for_service"]) == ("out of use", False)
    assert waits["state"] == "out of use"
    assert waits["what"] == "referred: The frame is bent. Service found bent."
    code, out, _ = desk("cases", "found", name, "bent", "--released", "--name", "Bo")
    assert out.endswith("dock: in use, nothing holds it any more.\n")
    (row,) = desk.walk("cases", "--open")[0]
    assert (row["state"], row["waiting"]) == ("in use", [])
    assert ", service found bent" in desk("cases")[1]


def test_a_case_that_was_not_referred_has_no_verdict(desk: Desk) -> None:
    start = ("start", "lines", "--machine", "dock")
    name = desk.walk(*start, replies=("done", "1", "leave"))[0]["case"]
    code, _, err = desk("cases", "found", name, "bent")
    assert (code, err) == (2, f"diagnose: Case {name} was not referred (open).\n")
    for end in ("leave", "danger"):
        name = desk.daily("done", end)[0]["case"]
        code, _, err = desk("cases", "found", name, "bent")
        assert (code, err) == (2, f"diagnose: {name} is a round; it referred no case.\n")


def test_parts_are_for_service_to_bring(desk: Desk) -> None:
    text = (desk.library / "lines.yaml").read_text()
    (desk.library / "lines.yaml").write_text(
        text.replace("leave_safe: Park it.", "leave_safe: Park it.\n    parts: [frame, two bolts]")
    )
    desk.walk("start", "lines", "--machine", "dock", replies=("done", "2", "refer"))
    assert desk("cases", "--open")[1].rstrip().endswith("Parts: frame, two bolts.")


def test_a_case_is_shown_line_by_line(desk: Desk) -> None:
    (desk.library / "lines.yaml").write_text(
        LINES.replace("It is dirty: dirty", "It is dirty: speed").replace(
            "  dirty:\n",
            "  speed:\n    read: travel-speed\n    passes: none\n    bands:\n"
            "      - {below: 4, call: slow, go: dirty}\n      - {otherwise: fast, go: bent}\n"
            "  dirty:\n",
        )
    )
    assert desk("cases")[1].startswith("No case yet in ")
    replies = ("done", "unsure", "back", "1", "distance=10 m time=12 s", "cannot")
    name = desk.walk("start", "lines", "--machine", "dock", replies=replies)[0]["case"]
    lines = [line[9:] for line in desk("cases", "show", name)[1].splitlines()[1:]]
    assert lines[:3] == [
        "opened: It leaves lines",
        "Key out: confirmed",
        "Is the blade clean? unsure",
    ]
    assert "Is the blade clean? It is dirty" in lines
    assert any(line.endswith("3 km/h, slow") for line in lines)
    assert lines[-1] == "Machine dead: cannot"


def test_the_last_open_case_is_the_one_meant(desk: Desk) -> None:
    assert "Name a case; `diagnose cases` lists them (0 open)." in desk("resume")[2]
    name = desk.daily("danger")[0]["case"]
    assert f"Case {name} has ended (referred); start a new one." in desk("resume", name)[2]
    assert 'There is no case "zzz"' in desk("resume", "zzz")[2]


# Which symptom?

APART = (
    "format: 1\nsymptom: which\ntitle: I cannot say\nstart: look\nsteps:\n"
    "  look:\n    ask: Where?\n    passes: none\n"
    "    answers: {Behind it: to-lines, At the lamp: to-dead}\n"
    "  to-lines: {finding: Lines., chance: 5, continue_with: lines}\n"
    "  to-dead: {finding: Dead., chance: 5, continue_with: dead}\n"
)


def test_words_that_fit_nothing_are_offered_the_tree_that_asks(desk: Desk) -> None:
    (desk.library / "which.yaml").write_text(APART)
    screens = desk.walk("start", "--machine", "dock", replies=("purple", "1", "1", "leave"))
    assert [option["id"] for option in screens[1]["options"]] == ["which", "dead", "lines"]
    assert 'sounds like "purple"' in screens[1]["notes"][0]
    assert (screens[2]["screen"], screens[2]["symptom"]) == ("check", "which")
    assert screens[3]["doorway"] == "Lines."


def test_words_that_fit_several_are_offered_it_after_them(desk: Desk) -> None:
    (desk.library / "which.yaml").write_text(APART)
    for symptom in ("lines", "dead"):
        path = desk.library / f"{symptom}.yaml"
        path.write_text(path.read_text().replace("start:", "also_called: [odd noise]\nstart:"))
    screens = desk.walk("start", "--machine", "dock", replies=("odd noise", "which", "leave"))
    assert [option["id"] for option in screens[1]["options"]] == [
        *("dead", "lines", "which", "all symptoms"),
    ]
    assert screens[2]["symptom"] == "which"


def test_a_library_without_one_says_that_nothing_fits(desk: Desk) -> None:
    screens = desk.walk("start", "--machine", "dock", replies=("purple", "leave"))
    assert [screen["screen"] for screen in screens] == ["choose", "refused", "choose", "end"]
    assert len(screens[2]["options"]) == 2


def test_the_built_in_library_has_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    desk = Desk(tmp_path, monkeypatch, built_in=True)
    replies = ("it purrs like velvet", "1", "leave")
    screens = desk.walk("start", "--machine", "none", "--trial", replies=replies)
    assert screens[1]["options"][0]["id"] == "which-symptom"
    assert screens[2]["symptom"] == "which-symptom"


def test_choosing_can_be_left_and_takes_a_danger(desk: Desk) -> None:
    end = desk.walk("start", "lines", replies=("leave",))[-1]
    assert (end["outcome"], end.get("notes")) == ("left", None)
    assert not desk.log.exists()
    end = desk.walk("start", "--machine", "none", replies=("danger", "smoke"))[-1]
    assert end["outcome"] == "referred"
    assert "call for help" in end["notes"][0]
    assert [case["name"] for case in desk.cases()] == [end["case"]]


def test_breaking_off_is_leaving(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken_off(*_: object) -> str:
        raise KeyboardInterrupt

    monkeypatch.setattr("diagnose.faces.json_lines.read_line", broken_off)
    assert desk.walk("start", "lines")[-1]["outcome"] == "left"
    assert desk.daily()[-1]["outcome"] == "left"


def test_what_means_nothing_at_a_choice_is_said_and_asked_again(desk: Desk) -> None:
    replies = ("dok", "none", "", "lines", "done", "1", "leave")
    screens = desk.walk("start", replies=replies)
    assert [screen["screen"] for screen in screens] == [
        *("choose", "refused", "choose", "choose", "refused", "choose", "caution", "check"),
        *("caution", "end"),
    ]
    assert 'Did you mean "dock"?' in screens[1]["message"]
    assert screens[4]["message"] == "Nothing was typed."
    assert desk.cases()[0]["machine"] is None


def test_words_that_fit_one_symptom_open_it_and_a_broken_one_is_said(desk: Desk) -> None:
    (desk.library / "dead.yaml").write_text("format: 1\nsymptom: dead\n")
    replies = ("dead", "it leaves lines", "leave")
    screens = desk.walk("start", "--machine", "none", replies=replies)
    assert [screen["screen"] for screen in screens][:4] == [
        "choose",
        "refused",
        "choose",
        "caution",
    ]
    assert "dead.yaml" in screens[1]["message"]
    assert screens[3]["symptom"] == "lines"


def test_a_library_without_trees_has_nothing_to_start(desk: Desk) -> None:
    for symptom in ("lines", "dead"):
        (desk.library / f"{symptom}.yaml").unlink()
    code, _, err = desk("start", "--machine", "none")
    assert (code, "no symptom tree there" in err) == (3, True)
    code, _, err = desk("start", "lnies", "--machine", "none")
    assert code == 2
