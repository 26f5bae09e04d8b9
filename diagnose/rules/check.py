"""All rules over a library, or over one tree of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.files.library import collector_at_rest
from diagnose.files.problems import Placed, Problem
from diagnose.rules import evidence, safety, shape
from diagnose.rules.cautions import caution_problems
from diagnose.rules.view import usable_table, view_of
from diagnose.text import did_you_mean

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from diagnose.files.library import Library
    from diagnose.files.rounds import Round
    from diagnose.study.in_force import CautionTable

#: Every rule on a tree, in the order in which it is easiest to mend what they find.
RULES = (
    shape.unknown_step,
    shape.unreached,
    shape.closed_route,
    shape.answer_words,
    shape.named_answer,
    shape.bands_rise,
    shape.finding_keys,
    shape.doorway_target,
    shape.after_is_kept,
    shape.ambiguous_passing,
    safety.unknown_hazard,
    safety.energises_safely,
    safety.service_only,
    safety.lockout_twice,
    evidence.known_measurement,
    evidence.card_line,
    evidence.reached_finding,
    evidence.worked_cases,
)


def check(library: Library) -> list[Problem]:
    """Return all problems of what was loaded of a library, by file and place."""
    with collector_at_rest():
        problems = [*library.problems, *caution_problems(library)]
        cautions = usable_table(library, problems)
        for symptom in library.trees:
            problems += tree_problems(library, symptom, cautions)
        for draft in library.drafts.values():
            view = view_of(library, draft.tree, cautions, draft.unread)
            problems += [problem for rule in RULES for problem in rule(view)]
        for round_ in library.rounds.values():
            problems += round_problems(library, round_, cautions)
        problems += _card_problems(library)
    return sorted(set(problems))


def tree_problems(
    library: Library, symptom: str, cautions: CautionTable | None
) -> Iterator[Problem]:
    """Yield what the rules find in one tree."""
    view = view_of(library, library.trees[symptom], cautions)
    for rule in RULES:
        yield from rule(view)


def errors(problems: Iterable[Problem]) -> list[Problem]:
    """Return the problems that keep a file from being used."""
    return [problem for problem in problems if problem.severity == "error"]


def round_problems(
    library: Library, round_: Round, cautions: CautionTable | None
) -> Iterator[Problem]:
    """Yield what the rules find in one round."""
    file = library.file("rounds", f"{round_.round}.yaml")

    def problem(at: Placed, code: str, message: str) -> Problem:
        return Problem(
            file=file, line=at.line, column=at.column, code=code, severity="error", message=message
        )

    known = library.cautions
    for name, item in round_.items.items():
        sound = cautions is not None
        for hazard in item.hazards:
            if hazard not in known.hazards:
                hint = did_you_mean(hazard, known.hazards)
                yield problem(hazard, "unknown-hazard", f'There is no hazard "{hazard}".{hint}')
                sound = False
            elif known.hazards[hazard].service_only:
                message = f'"{hazard}" is for service only: it has no place in a round.'
                yield problem(hazard, "service-only", message)
        for caution in item.cautions:
            if caution not in known.cautions:
                hint = did_you_mean(caution, known.cautions)
                yield problem(caution, "unknown-caution", f'There is no caution "{caution}".{hint}')
                sound = False
        if item.starts is not None and item.starts not in library.symptoms:
            hint = did_you_mean(item.starts, library.symptoms)
            yield problem(
                item.starts, "unknown-symptom", f'There is no "{item.starts}.yaml".{hint}'
            )
        if sound and cautions is not None and item.energises:
            clash = cautions.closed(cautions.needs(item)) & cautions.lapsing
            if clash:
                ended = cautions.names(clash)[0]
                message = f'The machine runs in "{name}", which ends "{ended}": make it two items.'
                yield problem(name, "energises", message)


def _card_problems(library: Library) -> Iterator[Problem]:
    known = library.cautions.cautions
    for machine, card in library.machines.items():
        for caution in card.section("caution_minutes"):
            if caution not in known and isinstance(caution, Placed):
                hint = did_you_mean(caution, known)
                yield Problem(
                    file=library.file("machines", f"{machine}.yaml"),
                    line=caution.line,
                    column=caution.column,
                    code="unknown-caution",
                    severity="error",
                    message=f'There is no caution "{caution}".{hint}',
                )
