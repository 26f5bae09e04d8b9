"""Where YAML 1.1 and 1.2 differ, a scalar of ours stays the word that was typed.

The differences: yaml.org, YAML 1.2.2, section 10.3 (the core schema), and the types of YAML 1.1 for
bool, int and float; status: R for 10.3, M for the 1.1 types.
"""

from __future__ import annotations

import pytest
import yaml
from strategies.written import Written, read

# What 1.1 makes a bool, an octal, a sexagesimal, a binary, a float, a date or nothing of.
WORDS = """
    yes Yes YES no No NO on On ON off Off OFF y n Y N true True TRUE false False FALSE
    0o14 014 010 0b1010 0xFF 190:20:30 12:30 1:30:45.5 685_230.15 1_000 +12 1e3 .inf -.inf .nan
    2001-12-14 null Null NULL ~ = <<
""".split()

TREE = """
format: 1
symptom: alpha
title: {word}
also_called: [{word}, other]
start: top
steps:
  top: {{ask: {word}, answers: {{{answer}: leaf, other words: rest}}}}
  leaf: {{finding: {word}, chance: 1, who: operator, remedy: {word}, parts: [{word}]}}
  rest: {{finding: f, chance: 1, who: operator, remedy: r}}
"""


@pytest.mark.parametrize("word", WORDS)
def test_a_word_stays_a_word(word: str) -> None:
    tree = read(Written(trees={"alpha": TREE.format(word=word, answer="some words")})).trees[
        "alpha"
    ]
    assert (tree.title, tree.also_called) == (word, (word, "other"))
    assert tree.steps["top"].ask == word
    leaf = tree.steps["leaf"]
    assert (leaf.finding, leaf.remedy, leaf.parts) == (word, word, (word,))


@pytest.mark.parametrize("word", ["yes", "no", "on", "off", "Yes", "NO", "true", "null"])
def test_it_can_be_an_answer_and_be_typed(word: str) -> None:
    walk = read(Written(trees={"alpha": TREE.format(word="w", answer=word)})).walk()
    state = walk.open("alpha")
    assert [answer.title for answer in walk.screen(state).answers] == [word, "other words"]
    assert walk.screen(walk.reply(state, word.upper()).state).step == "leaf"


@pytest.mark.parametrize("word", ["yes", "no", "on", "off", "014", "190:20:30", "1_000", "~"])
def test_and_another_reader_would_have_changed_it(word: str) -> None:
    assert yaml.safe_load(word) != word


def test_a_flag_is_true_or_false_and_nothing_else() -> None:
    for word in ("yes", "on", "True", "1", "y"):
        text = TREE.format(word="w", answer="some words").replace(
            "ask: w", f"ask: w, energises: {word}"
        )
        with pytest.raises(AssertionError, match="Write true or false"):
            read(Written(trees={"alpha": text}))


def test_a_number_is_decimal() -> None:
    # 014 is fourteen in 1.2 (twelve in 1.1); 0o14, 0x1F and 12:30 are no numbers here at all.
    text = TREE.format(word="w", answer="some words").replace("ask: w", "ask: w, minutes: 014")
    assert read(Written(trees={"alpha": text})).ready("alpha").plan.minutes[0] == 14.0
    for word in ("0o14", "0x1F", "12:30", "1_0", ".inf", ".nan"):
        broken = text.replace("014", word)
        with pytest.raises(AssertionError, match=r"not-a-number|out-of-range"):
            read(Written(trees={"alpha": broken}))
