"""The operator's own words find the symptom, misspelt ones too; vague ones find several."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sentences import halves, told, understood

from diagnose.case.own_words import Fit, fitting
from diagnose.files.library import load

TREES = load(Path(__file__).parents[2] / "trees").trees


@pytest.mark.parametrize(
    ("words", "symptom"),
    [
        ("streaking", "streaking"),
        ("leaves streeks", "streaking"),
        ("lines on the floor", "streaking"),
        ("It leaves lines, smears or wet edges", "streaking"),
        ("it won't pick up water", "poor-pickup"),
        ("no suction", "poor-pickup"),
        ("POOR PICKUP", "poor-pickup"),
        ("battery dies erly", "low-runtime"),
        ("brush not turning", "brushes-stopped"),
        ("dripping", "leak"),
        ("foam", "exhaust-foam"),
        ("wont drive", "no-drive"),
        ("no water", "no-solution-flow"),
        ("no water coming out", "no-solution-flow"),
        ("wont suck", "poor-pickup"),
        ("won\u2019t suck", "poor-pickup"),
        ("the brush does nto turn", "brushes-stopped"),
    ],
)
def test_words_that_fit_one_symptom(words: str, symptom: str) -> None:
    assert fitting(TREES, words) == Fit((symptom,), sure=True)


@pytest.mark.parametrize("words", ["puddles", "dead battery", "water stays on floor"])
def test_words_that_fit_several(words: str) -> None:
    assert len(fitting(TREES, words).symptoms) > 1


@pytest.mark.parametrize("words", ["", "???", "zzz qqq", "the steering pulls left"])
def test_words_that_fit_none(words: str) -> None:
    assert fitting(TREES, words) == Fit()


def test_everything_a_tree_calls_itself_leads_to_it() -> None:
    for symptom, tree in TREES.items():
        for words in (tree.title, *tree.also_called, symptom):
            assert symptom in fitting(TREES, words).symptoms, words


def test_one_wrong_letter_is_forgiven() -> None:
    for symptom, tree in TREES.items():
        for words in (tree.title, *tree.also_called):
            for place, letter in enumerate(words):
                if letter.isalpha() and len(words) > 8:
                    typo = words[:place] + ("q" if letter != "q" else "z") + words[place + 1 :]
                    assert symptom in fitting(TREES, typo).symptoms, typo


@given(st.text(max_size=300))
def test_no_words_are_too_odd(words: str) -> None:
    assert set(fitting(TREES, words).symptoms) <= set(TREES)


HALVES = halves()


@pytest.mark.parametrize("name", HALVES)
def test_nine_of_ten_sentences_are_understood_and_no_wrong_symptom_is_begun(name: str) -> None:
    counts, _ = told(HALVES[name], lambda words: fitting(TREES, words))
    figures = f"{name}: {understood(counts):.1%} understood, {dict(counts)}"
    print(figures)
    assert counts["wrong"] == 0, figures
    assert understood(counts) >= 0.9, figures


def test_the_halves_are_dealt_by_the_words_alone() -> None:
    tuning, kept = HALVES["tuning"], HALVES["held back"]
    assert len(tuning) + len(kept) == len({*tuning, *kept}) > 160
    assert abs(len(tuning) - len(kept)) < 12
