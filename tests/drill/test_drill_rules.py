"""What a drill asks, what it costs, what is unsafe and what is handed to the wrong people."""

from __future__ import annotations

from typing import Any

import pytest
from small import drill, library
from trainees import played

from diagnose.drill.drill import Drill
from diagnose.drill.score import NOT_ENDED, NOT_IN_FORCE, NOT_YOURS


def score(own: Drill, *replies: str) -> dict[str, Any]:
    last = played(own, list(replies))[-1]
    assert last["screen"] == "score", last
    found: dict[str, Any] = last["score"]
    return found


def unsafe(found: dict[str, Any]) -> list[tuple[str, str, str]]:
    return [
        (move["kind"], move["step"], (move["caution"] or {"id": move["whose"]})["id"])
        for move in found["unsafe"]
    ]


def test_a_drill_is_passed_with_the_right_cause_in_the_right_hands_under_all_cautions() -> None:
    found = score(
        drill("stuck"),
        *("look", "done", "run", "shoes done", "hands", "lockout done"),
        *("done", "stuck", "operator", "done"),
    )
    assert found["outcome"] == "passed"
    assert found["cause"] == found["named"] == {"id": "stuck", "title": "It is stuck."}
    assert (found["hands"], found["whose"]) == ("operator", "operator")
    # look 1, run 2 and shoes 2, hands 3 and lockout 4; the remedy takes no minutes of the search.
    assert found["minutes"] == found["tree_minutes"] == 12
    assert [look["step"] for look in found["route"]] == ["look", "run", "hands"]
    assert [look["caution_minutes"] for look in found["route"]] == [0, 2, 4]
    # What was seen, not how it was got to: the same answers on both.
    ours = [(look["step"], look["answer"]) for look in found["route"]]
    assert ours == [(look["step"], look["answer"]) for look in found["tree_route"]]
    assert found["best_minutes"] is None


def test_any_check_may_be_picked_and_a_good_guess_is_faster_than_the_tree() -> None:
    found = score(
        drill("stuck"), "hands", "lockout done", "done", "It is stuck.", "operator", "done"
    )
    assert found["outcome"] == "passed"
    assert (found["minutes"], found["tree_minutes"]) == (7, 12)


@pytest.mark.parametrize(
    ("replies", "moves", "minutes"),
    [
        # Nothing taken: what includes the rest is named once.
        (["hands", "done"], [(NOT_IN_FORCE, "hands", "lockout")], 3),
        # A pulled key alone is no lockout.
        (["hands", "key-out done"], [(NOT_IN_FORCE, "hands", "lockout")], 4),
        (["figure", "lockout done"], [], 5),
        (["hands", "lockout done", "figure", "done"], [], 8),
        # More than needed is safe, and costs its minutes.
        (["look", "shoes lockout done"], [], 7),
        (["run", "done"], [(NOT_IN_FORCE, "run", "shoes")], 2),
        # Energised under a lockout: neither ended; key-out is named by what includes it.
        (
            ["hands", "lockout done", "run", "shoes done"],
            [(NOT_ENDED, "run", "lockout")],
            11,
        ),
        (["hands", "lockout done", "run", "key-out shoes done"], [], 11),
        # Ending the lockout alone leaves the key out.
        (
            ["hands", "lockout done", "run", "lockout shoes done"],
            [(NOT_ENDED, "run", "key-out")],
            11,
        ),
        # It lapsed when the machine ran: the next one is due again, with its minutes.
        (
            ["hands", "lockout done", "run", "key-out shoes done", "hands", "done"],
            [(NOT_IN_FORCE, "hands", "lockout")],
            14,
        ),
        (
            ["hands", "lockout done", "run", "key-out shoes done", "hands", "lockout done"],
            [],
            18,
        ),
        # Taken for a step that runs: it ends with nobody looking.
        (["run", "key-out shoes done"], [(NOT_ENDED, "run", "key-out")], 5),
        # What never lapses may be taken off all the same, and is missing then.
        (
            ["run", "shoes done", "run", "shoes done"],
            [(NOT_IN_FORCE, "run", "shoes")],
            6,
        ),
        (["inside", "lockout done"], [(NOT_YOURS, "inside", "battery-trained")], 5),
    ],
)
def test_unsafe_moves_by_name(
    replies: list[str], moves: list[tuple[str, str, str]], minutes: float
) -> None:
    found = score(drill("dirty"), *replies, "done", "dirty", "operator", "key-out done")
    told = [move for move in unsafe(found) if move[1] != "dirty"]
    assert told == moves
    assert found["minutes"] == minutes
    if moves:
        assert found["outcome"] == "failed"


def test_one_unsafe_move_fails_however_fast_and_right() -> None:
    found = score(drill("stuck"), "hands", "done", "done", "stuck", "operator", "lockout done")
    assert found["named"] == found["cause"]
    assert found["minutes"] < found["tree_minutes"]
    assert found["outcome"] == "failed"


def test_the_remedy_needs_its_cautions_too() -> None:
    found = score(drill("stuck"), "done", "stuck", "operator", "key-out done")
    assert unsafe(found) == [(NOT_IN_FORCE, "stuck", "lockout")]
    assert found["outcome"] == "failed"
    passed = score(drill("worn"), *SEEN["worn"], "done", "worn", "operator", "done")
    assert passed["outcome"] == "passed"


@pytest.mark.parametrize(
    ("cause", "named", "hands", "outcome", "moves", "wrong"),
    [
        ("tired", "tired", "service", "passed", [], []),
        ("tired", "tired", "operator", "failed", [(NOT_YOURS, "tired", "service")], []),
        ("tired", "tired", "battery-trained", "failed", [(NOT_YOURS, "tired", "service")], []),
        ("tired", "tired", "elsewhere", "failed", [], [("tired", "elsewhere", "service")]),
        ("dry", "dry", "battery-trained", "passed", [], []),
        ("dry", "dry", "operator", "failed", [(NOT_YOURS, "dry", "battery-trained")], []),
        ("dry", "dry", "service", "failed", [], [("dry", "service", "battery-trained")]),
        ("worn", "worn", "service", "failed", [], [("worn", "service", "operator")]),
        ("worn", "worn", "battery-trained", "failed", [],
         [("worn", "battery-trained", "operator")]),
        ("other", "other", "elsewhere", "passed", [], []),
        ("other", "other", "operator", "failed", [], [("other", "operator", "elsewhere")]),
        ("other", "other", "service", "failed", [], [("other", "service", "elsewhere")]),
        # A wrong cause: service called for nothing is a wrong referral, the wrong remedy is none.
        ("worn", "tired", "service", "failed", [], [("worn", "service", "operator")]),
        ("tired", "nothing", "service", "failed", [], []),
        # Who names another cause and hands it up has handed up what is nobody's here.
        (
            *("other", "worn", "battery-trained", "failed", []),
            [("other", "battery-trained", "elsewhere")],
        ),
        ("worn", "other", "elsewhere", "failed", [], [("worn", "elsewhere", "operator")]),
        # What is unsafe is what the trainee would do, not what would have been right.
        ("worn", "tired", "operator", "failed", [(NOT_YOURS, "tired", "service")], []),
    ],
)  # fmt: skip
def test_whose_work_it_is(
    cause: str, named: str, hands: str, outcome: str, moves: list[Any], wrong: list[Any]
) -> None:
    own = drill(cause)
    remedy = ["done"] if own_remedy(own, named, hands) else []
    found = score(own, *SEEN[cause], "done", named, hands, *remedy)
    assert found["outcome"] == outcome
    assert unsafe(found) == moves
    told = [(one["step"], one["to"], one["whose"]) for one in found["wrong_referrals"]]
    assert told == wrong


#: Safe looks that part each of these causes from all others.
SEEN = {
    "worn": ("figure", "key-out done"),
    "tired": ("run", "shoes done"),
    # A question without a passing answer parts nothing on its own.
    "dry": (
        *("look", "done", "run", "shoes done", "hands", "lockout done", "figure", "done"),
        *("inside", "battery-trained done"),
    ),
    "other": ("look", "done"),
}


def own_remedy(own: Drill, named: str, hands: str) -> bool:
    return played(own, ["done", named, hands])[-1]["screen"] == "guard"


def test_a_wrong_cause_in_its_own_hands_only_fails() -> None:
    found = score(drill("tired"), "done", "worn", "operator", "done")
    assert (found["outcome"], unsafe(found), found["wrong_referrals"]) == ("failed", [], [])


@pytest.mark.parametrize(
    ("check", "helper", "role", "moves", "wrong"),
    [
        ("inside", "battery-trained", "operator", [], []),
        ("inside", "service", "operator", [], [("inside", "service", "battery-trained")]),
        ("hands", "battery-trained", "operator", [], [("hands", "battery-trained", "operator")]),
        ("inside", "", "battery-trained", [], []),
    ],
)
def test_checks_of_others_are_handed_over(
    check: str, helper: str, role: str, moves: list[Any], wrong: list[Any]
) -> None:
    own = drill("worn", role=role)
    before = f"{helper} done" if helper else "lockout done"
    found = score(own, check, before, "figure", "done", "done", "worn", "operator", "done")
    assert unsafe(found) == moves
    told = [(one["step"], one["to"], one["whose"]) for one in found["wrong_referrals"]]
    assert told == wrong
    # They take what it takes: no check is cheaper for being somebody else's.
    assert found["minutes"] == (6 if check == "inside" else 8)
    assert found["outcome"] == ("failed" if wrong else "passed")


def test_helpers_too_low_are_unsafe() -> None:
    # In the built-in files nothing is service's alone to check; a library may have such a step.
    text = library_with_service_step()
    found = score(text, "hands", "battery-trained done", "done", "worn", "operator", "done")
    assert unsafe(found) == [(NOT_YOURS, "hands", "service")]


def library_with_service_step() -> Drill:
    from small import CAUTIONS, OTHER, TREE
    from strategies.written import Written, read

    from diagnose.drill.machine import drawn

    tree = TREE.replace("ask: How does it turn?", "ask: How does it turn?\n    by: service")
    own = read(Written(trees={"sample": tree, "other": OTHER}, cautions=CAUTIONS))
    ready = own.ready("sample")
    assert ready is not None
    return Drill(drawn(ready, 1), own.table)


def test_helpers_are_offered_only_where_a_check_is_not_the_trainees_own() -> None:
    assert [one["id"] for one in guard("operator")["hands"]] == ["battery-trained", "service"]
    assert guard("battery-trained")["hands"] == []
    assert guard("service")["hands"] == []


def guard(role: str) -> dict[str, Any]:
    return played(drill("worn", role=role), ["look"])[-1]


def test_a_caution_is_marked_and_unmarked() -> None:
    own = drill("worn")

    def states(*replies: str) -> list[str]:
        screen = played(own, list(replies))[-1]
        return [caution["state"] for caution in screen["cautions"]]

    assert states("hands") == ["", "", ""]
    # What a caution includes comes with it.
    assert states("hands", "lockout") == ["take", "take", ""]
    assert states("hands", "2") == ["take", "take", ""]
    assert states("hands", "Machine dead") == ["take", "take", ""]
    assert states("hands", "lockout, 3") == ["take", "take", "take"]
    assert states("hands", "lockout", "lockout") == ["", "", ""]
    # Without what it includes it is not whole: that was not wanted either.
    assert states("hands", "lockout", "key-out") == ["", "", ""]
    held = ("hands", "lockout done", "figure")
    assert states(*held) == ["in force", "in force", ""]
    # What includes it is no longer whole; to keep it, what it includes has to stay.
    assert states(*held, "key-out") == ["end", "end", ""]
    assert states(*held, "lockout") == ["in force", "end", ""]
    assert states(*held, "key-out", "key-out") == ["in force", "end", ""]
    assert states(*held, "key-out", "lockout") == ["in force", "in force", ""]
    assert played(own, ["hands", "lockout shoes"])[-1]["take_minutes"] == 6
    # Said on one line, none undoes what another did: in any order, and said twice.
    for line in ("key-out lockout", "lockout key-out", "lockout lockout", "1 2 lockout"):
        assert states("hands", line) == ["take", "take", ""]
        assert states(*held, line) == (
            ["in force", "end", ""] if "key" not in line and "1" not in line else ["end", "end", ""]
        )
        assert states(*held, line, line) == ["in force", "in force", ""]


def test_whoever_ends_two_cautions_on_one_line_has_ended_both() -> None:
    for line in ("key-out lockout shoes done", "lockout key-out shoes done"):
        found = score(drill("stuck"), "hands", "lockout done", "run", line, "leave")
        assert unsafe(found) == []


def test_a_helper_is_chosen_and_unchosen() -> None:
    own = drill("worn")
    chosen = played(own, ["inside", "service"])[-1]["hands"]
    assert [one["state"] for one in chosen] == ["", "chosen"]
    again = played(own, ["inside", "5", "5"])[-1]["hands"]
    assert [one["state"] for one in again] == ["", ""]


def test_the_list_does_not_give_the_trees_order_away() -> None:
    screen = played(drill("worn"), [])[0]
    titles = [check["title"] for check in screen["checks"]]
    assert titles == sorted(titles, key=str.casefold)
    assert len(titles) == 5
    causes = [cause["title"] for cause in played(drill("worn"), ["done"])[-1]["causes"]]
    assert causes == sorted(causes, key=str.casefold)
    assert len(causes) == screen["open"] == 7


def test_nothing_of_the_tree_is_shown_but_what_is_done() -> None:
    screens = played(drill("worn"), ["hands", "lockout done", "figure", "done", "done"])
    for screen in screens:
        assert not {"probability", "minutes_left", "answers", "remedy"} & set(screen)
    # Answers are heard of only once they were seen.
    assert "It sticks" not in str(screens)
    assert "Freely" in str(screens)


def test_what_a_check_gave_stays_in_the_list() -> None:
    screen = played(drill("dirty"), ["look", "done"])[-1]
    states = {check["id"]: check["state"] for check in screen["checks"]}
    assert states["look"] == "A stain"
    assert screen["used"] == 1
    # A second look costs its time again.
    assert played(drill("dirty"), ["look", "done", "look", "done"])[-1]["used"] == 2


@pytest.mark.parametrize(
    ("replies", "back_to"),
    [
        (["hands", "lockout", "back"], "pick"),
        (["done", "back"], "pick"),
        (["done", "worn", "back"], "cause"),
        (["done", "worn", "operator", "back"], "hands"),
    ],
)
def test_back_withdraws_what_has_not_begun(replies: list[str], back_to: str) -> None:
    own = drill("worn")
    screen = played(own, replies)[-1]
    assert screen["screen"] == back_to
    assert not screen["in_force"]
    again = played(own, [*replies, "hands", "back"] if back_to == "pick" else replies)[-1]
    assert again == screen


@pytest.mark.parametrize(
    ("replies", "text", "message"),
    [
        ([], "nonsense", "no-such-answer"),
        ([], "", "nothing-typed"),
        ([], "back", "no-such-answer"),
        ([], "6", "no-such-answer"),
        (["hands"], "lockout nonsense", "no-such-answer"),
        (["hands"], "done lockout", "no-such-answer"),
        (["done"], "done", "no-such-answer"),
        (["done", "worn"], "why", "no-such-answer"),
        (["done"], "\x1b[2J" * 200, "no-such-answer"),
    ],
)
def test_a_reply_that_means_nothing_changes_nothing(
    replies: list[str], text: str, message: str
) -> None:
    own = drill("worn")
    before = played(own, replies)[-1]
    *_, refused, after = played(own, [*replies, text])
    assert refused["screen"] == "refused"
    assert refused["message"]["id"] == message
    assert after == before


def test_where_there_is_nothing_to_choose_the_replies_are_named() -> None:
    from strategies.written import Written, read

    from diagnose.drill.machine import drawn

    tree = TREE_WITHOUT_CAUTIONS
    own = read(Written(trees={"bare": tree}))
    ready = own.ready("bare")
    assert ready is not None
    bare = Drill(drawn(ready, 0), own.table)
    refused = played(bare, ["look", "1"])[-2]
    assert refused["message"]["id"] == "no-such-reply"


TREE_WITHOUT_CAUTIONS = """
format: 1
symptom: bare
title: Bare
start: look
steps:
  look: {ask: What is it?, answers: {This: one, That: two}}
  one: {finding: One., chance: 1, who: operator, remedy: Do it.}
  two: {finding: Two., chance: 1, who: operator, remedy: Do it.}
"""


@pytest.mark.parametrize("word", ["leave", "danger", "DANGER "])
@pytest.mark.parametrize(
    "replies", [[], ["hands"], ["done"], ["done", "worn"], ["done", "worn", "operator"]]
)
def test_leaving_keeps_the_secret(replies: list[str], word: str) -> None:
    screen = played(drill("worn"), [*replies, word])[-1]
    found = screen["score"]
    assert found["outcome"] == "left"
    assert found["cause"] is found["named"] is found["tree_minutes"] is None
    assert (found["whose"], found["tree_route"]) == ("", [])
    assert [note["id"] for note in screen["notes"]] == (
        ["end-danger"] if "eave" not in word else []
    )


def test_leaving_after_an_unsafe_move_is_a_failed_drill() -> None:
    found = score(drill("worn"), "hands", "done", "leave")
    assert found["outcome"] == "failed"
    assert found["cause"] is None


def test_the_best_order_is_told_where_it_is_known() -> None:
    from diagnose.study.plan import plan_of
    from diagnose.study.runs import reordered

    tree = library().trees["sample"]
    better = reordered(tree, ["look", "run", "hands", "figure"], ["look", "hands", "run", "figure"])
    best = plan_of(better, library().table)
    found = score(drill("stuck", best=best), "done", "stuck", "operator", "lockout done")
    # look 1, hands 3 and lockout 4: the run comes after it now.
    assert (found["tree_minutes"], found["best_minutes"]) == (12, 8)
