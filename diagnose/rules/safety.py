"""Rules on hazards and cautions: what design and proof leave to the author of a tree."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.files.rounds import Item
from diagnose.files.tree import Finding, Question
from diagnose.rules.view import Objection
from diagnose.study.graph import in_order
from diagnose.study.in_force import bits

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.rules.view import RoundView, TreeView
    from diagnose.study.in_force import CautionTable

# What a lockout may be on some route, as bits: in force, or lapsed.
_HELD, _LAPSED = 1, 2


def energises(view: TreeView | RoundView) -> Iterator[Objection]:
    """A step or item in which the machine runs needs no caution that ends when it runs.

    The caution would be over the moment it is needed: hands would be where parts move. Run the
    machine in one step and reach in or look in the next.

    Passes:
        steps: {first: {energises: true}}
    Fails:
        steps: {first: {energises: true, hazards: [moving-parts]}}
    """
    table = view.table
    if table is None:
        return
    for name, task in view.tasks.items():
        if isinstance(task, Finding) or not task.energises or not view.guarded(task):
            continue
        clash = table.needs(task) & table.lapsing
        if clash:
            caution = table.names(clash)[0]
            message = (
                f'Write two {view.inside}: the machine runs in "{name}", which ends "{caution}".'
            )
            yield Objection(view.at(name, *_caller(table, task, clash)), message)


def _caller(table: CautionTable, task: Question | Item, clash: int) -> tuple[str, int]:
    """Return which word of a task calls for one of the cautions that clash: its key and number."""
    for number, caution in enumerate(task.cautions):
        if table.closed(1 << table.number[caution]) & clash:
            return "cautions", number
    called = (table.closed(table.cover.get(hazard, 0)) & clash for hazard in task.hazards)
    return "hazards", [bool(some) for some in called].index(True)


def service_only(view: TreeView | RoundView) -> Iterator[Objection]:
    """What is on a hazard for service only is service's, and stands in no round.

    No caution covers such a hazard: nobody else may go there, however careful.

    Passes:
        steps: {served: {who: service, hazards: [mains]}}
    Fails:
        steps: {broken: {who: operator, hazards: [mains]}}
    """
    hazards = view.library.cautions.hazards
    for name, task in view.tasks.items():
        if isinstance(task, Item):
            mend = "Delete the hazard, or the item"
        else:
            who, key = (task.by, "by") if isinstance(task, Question) else (task.who, "who")
            if who == "service":
                continue
            mend = f"Write `{key}: service`, or delete the hazard"
        for number, hazard in enumerate(task.hazards):
            if hazard in hazards and hazards[hazard].service_only:
                message = f'{mend}: "{hazard}" is for service only.'
                yield Objection(view.at(name, "hazards", number), message)


def lockout_twice(view: TreeView) -> Iterator[Objection]:
    """No route takes a lockout a second time.

    It takes minutes each time, and the second is the one that gets skipped. Put what runs the
    machine before the first lockout, and everything that needs hands inside behind it.

    Passes:
        steps: {first: {energises: true}, little: {hazards: [moving-parts]}}
    Fails:
        steps:
          first: {hazards: [moving-parts]}
          second: {energises: true}
          little: {hazards: [moving-parts]}
    """
    table = view.table
    if table is None or not view.sound or not all(map(view.guarded, view.tree.steps.values())):
        return
    if not any(step.energises for _, step in view.questions()):
        return
    for number in bits(table.lockouts):
        for name in _taken_again(view, table, 1 << number):
            message = (
                f'On a route to "{name}" the caution "{table.ids[number]}" was taken and has '
                "lapsed: it is taken a second time. Move what runs the machine up."
            )
            yield Objection(view.at(name), message, "warning")


def _taken_again(view: TreeView, table: CautionTable, lockout: int) -> Iterator[str]:
    """Yield the steps at which some route takes a lockout that it had before and that lapsed."""
    may = dict.fromkeys(view.tree.steps, 0)
    for name in in_order(view.graph):
        step, state = view.tree.steps[name], may[name]
        if isinstance(step, Question) and step.energises:
            state = _LAPSED if state else 0
        if table.needs(step) & lockout:
            if state & _LAPSED:
                yield name
            state = _HELD
        for target in view.graph.successors(name):
            may[target] |= state


def suggested_hazard(view: TreeView | RoundView) -> Iterator[Objection]:
    """A step or item names the hazards that its words suggest, so that their cautions come first.

    Which words suggest a hazard stands in its `words` in `cautions.yaml`: those of one entry, in
    that order in one sentence of `do`, `ask` or `remedy`, with any others between them. What good
    and bad look like (`look_for`) is not done, and a sentence with *never* or *do not* at its head
    forbids. Nothing is missing where the hazard's caution is called anyway, where the machine runs
    and would end it, or where service does the work. Where the words mislead, find others, or write
    `not_here: [the-hazard]`.

    Passes:
        steps: {little: {remedy: Take the brush off., hazards: [moving-parts]}}
    Fails:
        steps: {little: {remedy: Take the brush off., hazards: []}}
    """
    table = view.table
    if table is None:
        return
    for name, task in view.tasks.items():
        who = task.who if isinstance(task, Finding) else task.by
        if who == "service" or not view.guarded(task):
            continue
        runs = not isinstance(task, Finding) and task.energises
        said = set(task.not_here)
        for key in ("do", "ask", "remedy"):
            text = getattr(task, key, None) or ""
            for hazard, words in view.library.cautions.suggested(text):
                cover = table.cover.get(hazard, 0)
                called = cover & table.needs(task) or (runs and table.closed(cover) & table.lapsing)
                if hazard not in said and hazard not in task.hazards and not called:
                    message = (
                        f'"{words}" suggests the hazard "{hazard}": name it in `hazards`, or write '
                        f"`not_here: [{hazard}]`."
                    )
                    yield Objection(view.at(name, key), message, "warning")
                said.add(hazard)
