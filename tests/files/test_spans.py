"""Files changed by replacing spans of their own text: the rest stays byte for byte."""

from __future__ import annotations

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from diagnose.files.spans import NoSpan, Page, written

TEXT = """\
# über allem: 🧽
format: 1
start: one   # the first

steps:
  # Ärmel hoch: a comment with 𝔘 beyond the first plane
  one: {ask: "Wie – so?", answers: {Grün 🟢: two, 'Rot: ja': "three"}}  # flow
  two:
    do: >-
      Folded text
      over lines.
    read: value
    bands:
      - {below: 5, call: low, go: three}
      - otherwise: high
        go: four
  'three':
    chance: 12   # of 100
"""


@pytest.mark.parametrize(
    ("path", "value", "old", "new"),
    [
        (("start",), "two", "start: one   #", "start: two   #"),
        (("steps", "one", "answers", "Grün 🟢"), "x-9", "🟢: two,", "🟢: x-9,"),
        (("steps", "one", "answers", "Rot: ja"), "x", '"three"}}', "x}}"),
        (("steps", "two", "bands", 0, "go"), "on", "go: three}", "go: on}"),
        (("steps", "two", "bands", 1, "go"), "on", "go: four", "go: on"),
        (("steps", "three", "chance"), "0.25", "12   #", "0.25   #"),
        (("steps", "one", "ask"), "It's: so", '"Wie – so?"', "'It''s: so'"),
    ],
)
def test_one_value_changes_and_nothing_else(
    path: tuple[str | int, ...], value: str, old: str, new: str
) -> None:
    page = Page(TEXT, "a.yaml")
    page.change(path, value)
    assert TEXT.count(old) == 1
    assert page.text() == TEXT.replace(old, new)


def test_many_changes_at_once() -> None:
    page = Page(TEXT, "a.yaml")
    page.change(("steps", "three", "chance"), "3")
    page.change(("start",), "three")
    page.put_before(("steps", "two", "bands"), "passes", "It is: high")
    page.put_before(("steps", "one", "answers"), "passes", "none so")
    wanted = (
        TEXT.replace("12   #", "3   #")
        .replace("start: one", "start: three")
        .replace("    bands:", "    passes: 'It is: high'\n    bands:")
        .replace(", answers:", ", passes: none so, answers:")
    )
    assert page.text() == wanted
    read = yaml.load(page.text(), Loader=yaml.BaseLoader)
    assert read["steps"]["two"]["passes"] == "It is: high"
    assert read["steps"]["one"]["passes"] == "none so"


def test_a_key_is_put_on_a_line_that_ends_as_the_others_do() -> None:
    page = Page(TEXT.replace("\n", "\r\n"), "a.yaml")
    page.put_before(("steps", "two", "bands"), "passes", "low")
    wanted = TEXT.replace("    bands:", "    passes: low\n    bands:").replace("\n", "\r\n")
    assert page.text() == wanted


def test_nothing_wanted_nothing_changed() -> None:
    assert Page(TEXT, "a.yaml").text() == TEXT


@pytest.mark.parametrize(
    ("path", "said"),
    [
        (("steps", "two", "do"), "9:9: write this value in one piece first."),
        (("steps", "two"), "9:5: write this value in one piece first."),
        (("steps", "none"), '7:3: there is no "none" here.'),
        (("steps", "two", "bands", 2, "go"), '14:7: there is no "2" here.'),
        (("start", "deeper"), '3:8: there is no "deeper" here.'),
    ],
)
def test_where_no_single_value_stands_the_place_is_said(
    path: tuple[str | int, ...], said: str
) -> None:
    with pytest.raises(NoSpan) as caught:
        Page(TEXT, "a.yaml").change(path, "x")
    assert f"{caught.value}" == f"a.yaml:{said}"


@given(st.text(st.characters(exclude_categories=["Cc", "Cs", "Zl", "Zp"]), min_size=1))
def test_a_text_reads_back_in_any_place(text: str) -> None:
    text = " ".join(text.split(" ")).strip()
    if not text or "\ufeff" in text or not all(c.isprintable() for c in text):
        return
    for place in (f"a: {written(text)}\n", f"a: {{b: 1, c: {written(text)}, d: 2}}\n"):
        read = yaml.load(place, Loader=yaml.BaseLoader)
        assert text in (read["a"], *(read["a"].values() if isinstance(read["a"], dict) else ()))
