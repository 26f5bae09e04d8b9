"""Every wrong use gets one clear line and the right exit code, and never a traceback."""

from __future__ import annotations

import io
import json
import re
from pathlib import Path

import pytest

from diagnose import app


def run(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, str, str]:
    code = app.run(list(args))
    out, err = capsys.readouterr()
    return code, out, err


LIBRARY = Path(__file__).parents[2] / "trees"

WRONG = [
    (["strat"], 2, 'Did you mean "start"?'),
    (["x" * 1000], 2, "There is no command"),
    (["start", "streking"], 2, 'Did you mean "streaking"?'),
    (["start", "streaking", "--machine", "dok"], 2, 'Did you mean "dock"?'),
    (["start", "streaking", "--as", "boss"], 2, "invalid choice"),
    (["start", "--colour"], 2, "unrecognized arguments"),
    (["start", "--trees", "/no/such/folder"], 3, "/no/such/folder: no such folder"),
    (["check", "--trees", "/no/such/folder"], 3, "/no/such/folder: no such folder"),
    (["check", "streeking"], 2, 'Did you mean "streaking"?'),
    (["resume", "K7Q2"], 2, 'There is no case "K7Q2"'),
    (["resume"], 2, "Name a case"),
    (["cases", "show"], 2, "Name a case"),
    (["cases", "show", "nope"], 2, "There is no case"),
    (["cases", "found", "nope", "x"], 2, "There is no case"),
    (["cases", "--log", "/etc/passwd"], 3, "this is no case log"),
    (["start", "streaking", "--machine", "none", "--log", "/dev/null/x"], 3, "/dev/null/x"),
]


@pytest.mark.parametrize(("args", "code", "words"), WRONG)
def test_one_line_and_the_right_code(
    capsys: pytest.CaptureFixture[str], args: list[str], code: int, words: str
) -> None:
    done, out, err = run(capsys, *args)
    assert done == code
    assert words in err
    assert err.count("\n") == 1
    assert err.startswith("diagnose: ")
    assert out == ""


def test_a_broken_tree_is_named_and_the_others_start(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for path in LIBRARY.glob("*.yaml"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    broken = tmp_path / "streaking.yaml"
    broken.write_text(broken.read_text().replace("title:", "titel:", 1))
    code, out, err = run(capsys, "start", "streaking", "--trees", str(tmp_path), "--trial")
    assert (code, out) == (3, "")
    assert f"{broken}:" in err
    assert 'Did you mean "title"?' in err
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    code, out, err = run(
        capsys, "start", "low-runtime", "--trees", str(tmp_path), "--trial", "--json"
    )
    assert (code, err) == (0, "")
    code, out, err = run(capsys, "check", "--trees", str(tmp_path), "--json")
    assert code == 1
    report = json.loads(out)
    assert report["trees"] == len(list(LIBRARY.glob("*.yaml"))) - 2
    assert report["problems"][0]["file"] == str(broken)
    assert set(report["problems"][0]) == {
        *("file", "line", "column", "code", "severity", "message", "following")
    }


def test_broken_cautions_keep_every_tree_that_needs_them_from_starting(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    for path in LIBRARY.glob("*.yaml"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    cautions = tmp_path / "cautions.yaml"
    cautions.write_text(cautions.read_text().replace("lapses: never", "lapses: later", 1))
    code, _, err = run(capsys, "start", "streaking", "--trees", str(tmp_path), "--trial")
    assert code == 3
    assert f"{cautions}:" in err


def test_the_built_in_library_is_clean(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "check")
    assert (code, err) == (0, "")
    assert out.endswith("no errors, no warnings.\n")
    assert out.count("\n") == 2


def test_help_and_version_name_every_verb(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, "--help")
    for verb in app.VERBS:
        assert f"\n  {verb} " in out
        code, text, err = run(capsys, verb, "--help")
        assert (code, err) == (0, "")
        assert text.startswith(f"usage: diagnose {verb}")
        for option in ("--trees", "--log", "--plain", "--json"):
            assert option in text
    assert run(capsys, "--version") == (0, "diagnose 0.1.0\n", "")


def fail(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(args: list[str]) -> int:
        raise ZeroDivisionError(f"no\nway at {Path.home()}")

    monkeypatch.setattr("diagnose.commands.start.run", broken)


def test_a_fault_of_the_program_is_one_line_with_a_report_in_a_file(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    fail(monkeypatch)
    code, _, err = run(capsys, "start", "lines", "--name", "Ana Kaya", "--name=Ben", "--plain")
    assert code == 3
    said = re.fullmatch(
        r"diagnose: This is a fault of the program \(ZeroDivisionError\); "
        r"please report it, with the file (\S+)\.\n",
        err,
    )
    assert said is not None
    report = Path(said[1]).read_text(encoding="utf-8")
    first, command, *_ = report.splitlines()
    assert first.startswith("diagnose 0.1.0, Python 3.")
    assert command == "command: diagnose start lines --name NAME --name=NAME --plain"
    assert "Traceback (most recent call last):" in report
    assert report.rstrip().endswith("way at ~")
    assert not {"Ana", "Kaya", "Ben", str(Path.home())} & set(report.replace("/", " ").split())


def test_a_report_that_cannot_be_written_is_not_promised(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    fail(monkeypatch)
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "file"))
    assert run(capsys, "start")[2] == (
        "diagnose: This is a fault of the program (ZeroDivisionError); please report it.\n"
    )
    monkeypatch.setenv("DIAGNOSE_TRACEBACK", "1")
    with pytest.raises(ZeroDivisionError):
        app.run(["start"])


def test_of_a_hundred_and_one_problems_of_a_file_a_hundred_are_printed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = "\n".join(f"key{n}: x" for n in range(94))
    (tmp_path / "bad.yaml").write_text(f"format: 2\n{lines}\n")
    (tmp_path / "worse.yaml").write_text(f"format: 2\n{lines}\n{lines}\n")
    code, out, _ = run(capsys, "check", "--trees", str(tmp_path))
    assert code == 1
    said = out.splitlines()
    bad = [line for line in said if "bad.yaml" in line]
    worse = [line for line in said if "worse.yaml" in line]
    # 94 unknown keys; and symptom, title, start, steps are missing.
    assert len(bad) == 98
    assert len(worse) == 101
    assert worse[-1].endswith("worse.yaml: and 92 more; mend these first.")
    assert "2 trees; 290 errors, no warnings." in said
