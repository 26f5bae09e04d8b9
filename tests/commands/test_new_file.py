"""`diagnose new` in a library: a file that passes `check` at once, and says what is to be written."""

from __future__ import annotations

import errno
import json
import os
import re
import shutil
from pathlib import Path

import pytest

from diagnose import app
from diagnose.commands import rewriting
from diagnose.commands.skeletons import SMALL_LIBRARY
from diagnose.files.definitions import CARD_LINES, CARD_LISTS, FORMAT
from diagnose.files.library import built_in, load
from diagnose.files.places import BLANK, Places
from diagnose.files.replies import REPLY_WORDS
from diagnose.rules.check import check

#: Where each kind of file goes, by its name.
FILES = {
    "symptom": "one-more.yaml",
    "machine": "machines/one-more.yaml",
    "round": "rounds/one-more.yaml",
    "caution": "cautions.yaml",
}


@pytest.fixture(params=["small", "built-in", "bare"])
def library(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """A library; the bare one has a tree and nothing else."""
    folder = tmp_path / "library"
    if request.param == "bare":
        folder.mkdir()
        tree = (SMALL_LIBRARY / "dirt-stays.yaml").read_text()
        (folder / "dirt-stays.yaml").write_text(re.sub(r"\n    hazards: .*", "", tree))
        return folder
    return Path(shutil.copytree(SMALL_LIBRARY if request.param == "small" else built_in(), folder))


@pytest.fixture
def small(tmp_path: Path) -> Path:
    return Path(shutil.copytree(SMALL_LIBRARY, tmp_path / "small"))


def run(
    capsys: pytest.CaptureFixture[str], library: Path | str, *args: str
) -> tuple[int, str, str]:
    code = app.run(["new", *args, "--trees", str(library)])
    said = capsys.readouterr()
    return code, said.out, said.err


def contents(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.mark.parametrize("what", FILES)
def test_it_passes_check_at_once_and_every_blank_is_named(
    what: str, library: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = contents(library)
    code, out, err = run(capsys, library, what, "one-more")
    assert (code, err) == (0, "")
    problems = check(load(library))
    assert {(one.code, one.severity) for one in problems} == {("blank", "warning")}
    assert {one.file for one in problems} == {str(library / FILES[what])}
    count = f"with {len(problems)} blank{'s' * (len(problems) > 1)} is in {library / FILES[what]}"
    assert count in out
    after = contents(library)
    changed = {name for name, text in after.items() if before.get(name) != text}
    assert changed == {FILES[what]}


@pytest.mark.parametrize("what", FILES)
def test_once_every_blank_is_filled_in_nothing_is_left(
    what: str, library: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(capsys, library, what, "one-more")
    file = library / FILES[what]
    file.write_text(file.read_text().replace(BLANK, "Look for"))
    assert check(load(library)) == []


def test_a_blank_is_no_error_and_the_tree_can_be_tried_out(
    small: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, out, _ = run(capsys, small, "symptom", "one-more")
    command = next(line.split() for line in out.splitlines() if "--trial" in line)
    assert command[:2] == ["diagnose", "start"]
    assert app.run([*command[1:], "--plain"]) == 0
    assert "FILL IN one question about what is seen" in capsys.readouterr().out
    assert app.run(["check", "one-more", "--trees", str(small)]) == 0


def walk(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, str, str]:
    code = app.run([*args, "--machine", "none", "--plain"])
    said = capsys.readouterr()
    return code, said.out, said.err


@pytest.mark.parametrize("what", ["symptom", "round"])
def test_what_is_not_finished_is_walked_in_a_trial_only(
    what: str, small: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nobody at a machine is to read what its author has still to write."""
    run(capsys, small, what, "one-more")
    command = ["start" if what == "symptom" else "round", "one-more", "--trees", str(small)]
    code, out, err = walk(capsys, *command)
    assert (code, out) == (3, "")
    assert err.startswith(f"diagnose: {small / FILES[what]}:")
    assert "[blank]" in err
    assert err.endswith("; write it, or walk it with --trial, `diagnose check` lists all.\n")
    assert walk(capsys, *command, "--trial")[0] == 0
    file = small / FILES[what]
    file.write_text(file.read_text().replace(BLANK, "Look for"))
    assert walk(capsys, *command)[0] == 0


def test_what_is_not_finished_is_not_offered_either(
    small: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(capsys, small, "symptom", "one-more")
    offered = "FILL IN what the operator would say"
    assert offered not in walk(capsys, "start", "--trees", str(small))[1]
    assert offered in walk(capsys, "start", "--trees", str(small), "--trial")[1]


@pytest.mark.parametrize("where", ["caution", "hazard"])
def test_a_caution_that_is_not_finished_holds_back_what_calls_it_and_nothing_else(
    where: str, small: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(capsys, small, "caution", "apron")
    start = ["start", "dirt-stays", "--trees", str(small)]
    item = ["round", "before-shift", "--trees", str(small)]
    assert walk(capsys, *start)[0] == walk(capsys, *item)[0] == 0
    file = small / "cautions.yaml"
    old = "title: Locked out" if where == "caution" else "title: Brushes can turn"
    assert old in file.read_text()
    at = file.read_text().partition(old)[0].count("\n") + 1
    file.write_text(file.read_text().replace(old, f"title: {BLANK} a few words", 1))
    for command in (start, item):
        code, out, err = walk(capsys, *command)
        assert (code, out) == (3, "")
        assert err.startswith(f"diagnose: {file}:{at}:")
        assert walk(capsys, *command, "--trial")[0] == 0


def test_the_words_say_which_hazards_symptoms_and_kinds_there_are(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = Path(shutil.copytree(built_in(), tmp_path / "library"))
    for what in ("symptom", "round", "machine"):
        assert run(capsys, folder, what, "one-more")[0] == 0
    said = (folder / "one-more.yaml").read_text().replace("\n#  ", "")
    hazards = load(folder).cautions.hazards
    listed = ", ".join(name for name, hazard in hazards.items() if not hazard.service_only)
    assert f"# The hazards of this library: {listed}.\n" in said
    assert "Its symptoms: brushes-stopped, " in (folder / "rounds/one-more.yaml").read_text()
    assert "# kind: hall-scrubber " in (folder / "machines/one-more.yaml").read_text()


def test_a_card_has_every_line_as_an_example_that_may_be_taken(
    small: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(capsys, small, "machine", "one-more")[0] == 0
    file = small / "machines" / "one-more.yaml"
    text = file.read_text()
    head, _, examples = text.partition("asked for where it is needed.\n")
    taken = re.sub(r"^# ", "", examples, flags=re.MULTILINE)
    file.write_text((head + "\n" + taken).replace(BLANK, "").replace("kind: ID", "kind: hall"))
    (small / "machines" / "kinds").mkdir()
    kind = f"format: {FORMAT}\nkind: hall\ntitle: A hall machine\n"
    (small / "machines" / "kinds" / "hall.yaml").write_text(kind)
    assert check(load(small)) == []
    card = load(small).card("one-more")
    assert card is not None
    assert [line for line in CARD_LINES if card.line(line) is None] == []
    assert [one for one in CARD_LISTS if not card.section(one)] == []


def test_other_programs_are_told_in_json(small: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, small, "machine", "one-more", "--json")
    assert code == 0
    assert json.loads(out) == {
        "made": "machine",
        "id": "one-more",
        "file": str(small / "machines" / "one-more.yaml"),
        "blanks": 1,
    }


# What is refused


REFUSED = {
    "no id": (
        "symptom",
        "Leak 2",
        "Write small letters, digits and hyphens, a letter first",
        "leak-2",
    ),
    "a file name": ("symptom", "leak.yaml", "is no id", "leak-yaml"),
    "a way out": ("symptom", "../leak", "is no id", "leak"),
    "an end of line": ("machine", "left\n", "is no id", "left"),
    "an escape": ("round", "a\x1b[8mb", "is no id", "a-8mb"),
    "no UTF-8": ("round", "a\udc80b", "is no id", "a-b"),
    "no letter": ("caution", "12", "is no id", ""),
    "nothing": ("caution", "", "is no id", ""),
    "too long": ("symptom", "a" * 101, "100 at most", ""),
    "a symptom": ("symptom", "dirt-stays", 'There is a symptom "dirt-stays" already, in ', ""),
    "a machine": ("machine", "hall", 'There is a machine "hall" already, in ', ""),
    "a round": ("round", "before-shift", 'There is a round "before-shift" already, in ', ""),
    "a caution": ("caution", "lockout", 'There is a caution "lockout" already, in ', ""),
    "the cautions": ("symptom", "cautions", "cautions.yaml is a file of every library", ""),
    "the site": ("symptom", "site", "site.yaml is a file of every library", ""),
}


@pytest.mark.parametrize(("what", "name", "words", "meant"), REFUSED.values(), ids=REFUSED)
def test_a_name_that_will_not_do_is_one_line_and_nothing_is_written(
    what: str, name: str, words: str, meant: str, small: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = contents(small)
    code, out, err = run(capsys, small, what, name)
    assert (code, out) == (2, "")
    assert words in err
    assert (f'Did you mean "{meant}"?' in err) == bool(meant)
    assert err.count("\n") == 1
    assert err.strip().isprintable()
    assert contents(small) == before


@pytest.mark.parametrize("what", FILES)
@pytest.mark.parametrize("name", sorted(word for word in REPLY_WORDS if " " not in word))
def test_a_reply_is_no_name(
    what: str, name: str, small: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, _, err = run(capsys, small, what, name)
    assert code == 2
    assert "is a reply that the program itself uses" in err


def test_a_broken_file_of_that_name_is_there_too(
    small: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (small / "one-more.yaml").symlink_to("nowhere")
    (small / "machines" / "one-more.yaml").write_bytes(b"\xff")
    for what in ("symptom", "machine"):
        code, _, err = run(capsys, small, what, "one-more")
        assert (code, f'There is a {what} "one-more" already' in err) == (2, True)


@pytest.mark.parametrize("inside", ["", "notes"])
def test_a_folder_that_is_no_library_gets_no_file(
    inside: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "folder"
    folder.mkdir()
    if inside:
        (folder / inside).write_text("mine")
    code, out, err = run(capsys, folder, "symptom", "leak-2")
    assert (code, out) == (3, "")
    assert err == (
        f"diagnose: {folder}: no library is there; make one first: diagnose new library DIR\n"
    )
    assert run(capsys, tmp_path / "none", "symptom", "leak-2")[0] == 3
    assert len(list(folder.iterdir())) == bool(inside)


# A caution goes into a file that is there


def cautions_with(
    small: Path, text: str, capsys: pytest.CaptureFixture[str]
) -> tuple[int, str, bytes]:
    file = small / "cautions.yaml"
    file.write_bytes(text.encode())
    code, _, err = run(capsys, small, "caution", "apron")
    return code, err, file.read_bytes()


HEAD = "# Größe: 🧽\nformat: 3\nhazards:\n  one: {title: One}\ncautions:\n"
CAUTION = """\
  first:
    title: First   # a comment
    signal: NOTICE
    covers: [one]
    lapses: never
    text: |
      Long text.

      More of it.
    confirm: [It is so.]
"""
LAST_TEXT = CAUTION.replace("    confirm: [It is so.]\n", "").replace(
    "    text:", "    confirm: [It is so.]\n    text:"
)
FILES_OF_CAUTIONS = {
    "as usual": (HEAD + CAUTION, "confirm: [It is so.]"),
    "a text over lines last": (HEAD + LAST_TEXT, "More of it."),
    "comments behind": (
        HEAD + CAUTION + "    # still of the first\n\n# of the file\n",
        "of the first",
    ),
    "no last end of line": ((HEAD + CAUTION).rstrip(), "confirm: [It is so.]"),
    "hazards last": (
        HEAD.replace("hazards:\n  one: {title: One}\n", "")
        + CAUTION
        + "hazards: {one: {title: One}}\n",
        "confirm: [It is so.]",
    ),
    "indented by four": (HEAD + re.sub(r"^", "  ", CAUTION, flags=re.MULTILINE), "[It is so.]"),
    "none yet": ("format: 1\nhazards: {}\ncautions: {}   # none yet\n", "cautions:"),
    "of format 1": (HEAD.replace("3", "1") + CAUTION, "confirm: [It is so.]"),
}


@pytest.mark.parametrize("newline", ["\n", "\r\n"], ids=["LF", "CRLF"])
@pytest.mark.parametrize("mark", ["", "\ufeff"], ids=["no mark", "mark"])
@pytest.mark.parametrize(("text", "behind"), FILES_OF_CAUTIONS.values(), ids=FILES_OF_CAUTIONS)
def test_a_caution_stands_behind_the_others_and_all_else_stays(
    text: str,
    behind: str,
    mark: str,
    newline: str,
    small: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    old = mark + text.replace("\n", newline)
    code, err, raw = cautions_with(small, old, capsys)
    assert (code, err) == (0, "")
    new = raw.decode()
    if "cautions: {}" in old:
        old = old.replace("cautions: {}", "cautions: ")
    # What was put in is one piece: before it and behind it stands the old text.
    at = next(n for n, (a, b) in enumerate(zip(f"{old}\0", f"{new}\1", strict=False)) if a != b)
    tail = len(old) - at
    assert new[:at] + new[len(new) - tail :] == old
    assert behind in new[:at].splitlines()[-1] or not new[:at].splitlines()[-1].strip()
    assert newline == "\n" or "\n" not in new.replace("\r\n", "")
    library = load(small)
    assert [*library.cautions.cautions][-1] == "apron"
    assert library.cautions.cautions["apron"].release


REFUSED_FILES = {
    "in braces": (HEAD + "  {first: {title: First}}\n", "Mend this file first."),
    "whole in braces": (
        HEAD.removesuffix("\n")
        + " {first: {title: F, signal: NOTICE, lapses: never, text: T, confirm: [C]}}\n",
        "write these entries in lines of their own first. Nothing was changed.",
    ),
    "braces around all": (
        "{format: 3, hazards: {}, cautions: {}}\n",
        "no caution can be put into its text",
    ),
    "broken": (HEAD + CAUTION.replace("never", "seldom"), "Mend this file first."),
    "no YAML": ("format: 3\ncautions: [", "Mend this file first."),
}


@pytest.mark.parametrize(("text", "words"), REFUSED_FILES.values(), ids=REFUSED_FILES)
def test_a_file_into_which_it_cannot_be_put_stays_as_it_is(
    text: str, words: str, small: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, err, raw = cautions_with(small, text, capsys)
    assert (code, raw) == (3, text.encode())
    assert words in err
    assert err.count("\n") == 1


def test_a_file_that_changes_meanwhile_is_left_alone(
    small: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    file = small / "cautions.yaml"

    def edited(*args: object) -> str:
        file.write_text("somebody else's")
        return "new"

    monkeypatch.setattr(rewriting, "with_caution", edited)
    code, _, err = run(capsys, small, "caution", "apron")
    assert (code, file.read_text()) == (3, "somebody else's")
    assert "the file has changed meanwhile; try again." in err


# Whatever fails


@pytest.mark.parametrize("what", ["machine", "round", "symptom", "caution"])
@pytest.mark.parametrize("ends", [False, True], ids=["full", "Ctrl-C"])
def test_where_writing_fails_nothing_is_there(
    what: str,
    ends: bool,
    small: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    for folder in ("machines", "rounds"):
        shutil.rmtree(small / folder)
    before = contents(small)
    full = OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
    names = sorted(path.name for path in small.iterdir())

    def fails(descriptor: int) -> None:
        raise KeyboardInterrupt if ends else full

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", fails)
        code, out, err = run(capsys, small, what, "one-more")
    assert (code, out) == (130 if ends else 3, "")
    assert ends or err == (
        f"diagnose: {small / FILES[what]}: no space left on device; name another file.\n"
    )
    assert contents(small) == before
    assert sorted(path.name for path in small.iterdir()) == names
    assert run(capsys, small, what, "one-more")[0] == 0


def test_a_folder_that_cannot_be_made_is_named(
    small: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.rmtree(small / "rounds")
    (small / "rounds").write_text("a file")
    code, _, err = run(capsys, small, "round", "one-more")
    assert code == 3
    assert str(small / "rounds") in err
    assert err.count("\n") == 1


def test_the_mark_stands_in_no_comment_that_would_be_counted(
    small: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(capsys, small, "symptom", "one-more")
    text = (small / "one-more.yaml").read_text()
    assert text.count(BLANK) > len(list(Places(text).blanks()))
    assert f"each {BLANK} is yours" in text
