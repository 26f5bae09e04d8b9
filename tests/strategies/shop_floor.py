"""Visits to the machines of the built-in library, for the simulated cases of `drill.outcomes`."""

from __future__ import annotations

from diagnose.case.visit import Visit
from diagnose.commands.ready_library import ReadyLibrary
from diagnose.files.library import built_in


def visit_as(role: str, machine: str | None) -> Visit:
    """Return a visit of somebody to a demo machine of the built-in library, or to none."""
    library = ReadyLibrary(built_in())
    library.machine(machine)
    return Visit(tree=library, table=library.table, card=library.card, role=role)


def own_symptoms(visit: Visit) -> list[str]:
    """Return the built-in symptoms that have causes of their own, not only ways to others."""
    trees = [visit.tree(symptom) for symptom in ReadyLibrary(built_in()).content.symptoms]
    return [
        tree.symptom
        for tree in trees
        if tree is not None
        and any(
            not getattr(tree.steps[place], "continue_with", None) for place in tree.plan.findings
        )
    ]
