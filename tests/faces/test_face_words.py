"""The program's own words: each one that is used is there, and none that is not."""

from __future__ import annotations

import ast
import string
from pathlib import Path

import pytest
from handmade import ASKED

import diagnose
from diagnose.case.screens import phrase
from diagnose.faces.words import (
    OUTCOMES,
    REPLIES,
    SIGNS,
    WORDS,
    render,
    reply_title,
    sign_words,
)
from diagnose.files import replies
from diagnose.files.library import built_in, load

SOURCE = Path(diagnose.__file__).parent


def _brings_phrase(node: ast.AST) -> bool:
    """Whether a module takes `said` from the screens; another may have its own."""
    screens = isinstance(node, ast.ImportFrom) and node.module == "diagnose.case.screens"
    return screens and any(name.name == "phrase" for name in node.names)


def ids_phrase() -> tuple[set[str], set[str]]:
    """Return the ids given to `phrase` in the program, and the beginnings of those made up."""
    whole: set[str] = set()
    begun: set[str] = set()
    for path in SOURCE.rglob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        if not any(_brings_phrase(node) for node in ast.walk(tree)):
            continue
        for node in ast.walk(tree):
            named = isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
            if not named or node.func.id != "phrase" or not node.args:
                continue
            first = node.args[0]
            either = [first.body, first.orelse] if isinstance(first, ast.IfExp) else [first]
            for given in either:
                if isinstance(given, ast.Constant):
                    whole.add(given.value)
                elif isinstance(given, ast.JoinedStr) and isinstance(given.values[0], ast.Constant):
                    begun.add(given.values[0].value)
                else:
                    pytest.fail(f"{path}:{node.lineno}: an id that cannot be read off the source")
    return whole, begun


def test_every_id_that_is_said_has_words() -> None:
    whole, begun = ids_phrase()
    assert len(whole) > 15
    assert sorted(whole - set(WORDS)) == []
    assert [start for start in begun if not any(word.startswith(start) for word in WORDS)] == []


def test_no_words_without_use() -> None:
    whole, begun = ids_phrase()
    unused = [word for word in WORDS if word not in whole and not word.startswith(tuple(begun))]
    assert unused == []


@pytest.mark.parametrize("word", WORDS)
def test_words_take_what_goes_into_them_and_end_as_sentences(word: str) -> None:
    names = [name for _, name, _, _ in string.Formatter().parse(WORDS[word]) if name]
    text = render(phrase(word, **{name: f"<{name}>" for name in names}))
    assert all(f"<{name}>" in text for name in names)
    assert "{" not in text
    # What goes in last is to be copied, or a sentence itself: a full stop would be part of it.
    assert WORDS[word][-1] in ".?})"


def test_an_id_without_words_is_said_as_it_is() -> None:
    assert render(phrase("brand-new", a=1, b="two")) == "brand-new: a=1, b=two"
    assert render(phrase("brand-new")) == "brand-new"


def test_a_gap_in_what_goes_in_is_a_question_mark() -> None:
    assert render(phrase("end-resume")) == "To go on with it: diagnose resume ?"


def test_card_lines_are_spoken_as_words_and_full_stops_are_not_doubled() -> None:
    spoken = render(phrase("from-card", line="battery.rated_hours", answer="5 h"))
    assert spoken == "From the machine card: battery rated hours is 5 h."
    assert render(phrase("cannot-read", message="no.")).endswith(": no.")


def test_every_reply_has_a_title_a_key_and_a_short_word() -> None:
    assert set(REPLIES) == replies.REPLY_WORDS - set(replies.SPELLINGS)
    for words in REPLIES.values():
        assert words.title[0].isupper()
        assert len(words.key) == 1
        # Danger is on no letter: those are typed.
        assert words.key.islower() or (words.key, words.short) == ("!", "danger")
        assert words.short.islower()
    assert reply_title("unheard-of") == "unheard-of"


@pytest.mark.parametrize("name", ASKED)
def test_no_screen_has_two_replies_on_one_key(name: str) -> None:
    screen = ASKED[name]
    keys = [REPLIES[reply].key for reply in screen.replies]
    assert len(set(keys)) == len(keys)


def test_every_sign_of_the_built_in_library_has_words() -> None:
    # The numbers are checked against ISO 7010's list (R); the words are ours.
    cautions = load(built_in(), only=frozenset()).cautions.cautions
    used = {str(sign) for one in cautions.values() for sign in one.signs}
    assert len(used) > 10
    assert used - set(SIGNS) == set()
    assert sign_words("M009") == "wear gloves (M009)"
    assert sign_words("F099") == "fire equipment (F099)"
    assert sign_words("X1") == "safety sign (X1)"


def test_every_outcome_has_words() -> None:
    assert set(OUTCOMES) == {"cured", "referred", "left", "walked"}
