"""Rules on names: whatever is named is there."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from diagnose.files.definitions import CARD_LINES, CARD_LISTS
from diagnose.files.library import MEASUREMENTS_FILE
from diagnose.files.places import KEY
from diagnose.files.tree import NO_ANSWER, Question
from diagnose.rules.view import CautionsView, Name, Objection

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator

    from diagnose.files.places import Path
    from diagnose.rules.view import CardView, RoundView, TreeView, View


def _unknown(
    view: View[Any], named: Iterable[tuple[Path, str]], known: Collection[str]
) -> Iterator[tuple[Path, str, str]]:
    """Yield the names that are not known, with their paths and a word on what may be meant."""
    for path, name in named:
        if name not in known:
            yield path, name, view.hint(name, known)


def unknown_step(view: TreeView) -> Iterator[Objection]:
    """Every step that is named stands in the tree.

    An answer that leads nowhere would leave somebody standing at the machine without a next step.
    Most often the id is misspelt, or the step was given another one.

    Passes:
        start: first
    Fails:
        start: frist
    """
    named = ((path, name) for path, name in _named_steps(view) if name not in view.unread)
    for path, name, hint in _unknown(view, named, view.tasks):
        lacks = Name("step", name, (view.tree.symptom,))
        yield Objection(path, f'Write the id of a step: there is no "{name}".{hint}', lacks=lacks)


def _named_steps(view: TreeView) -> Iterator[tuple[Path, str]]:
    yield ("start",), view.tree.start
    for name, step in view.questions():
        for number, way in enumerate(step.exits):
            yield ("steps", name, *step.arrow_at(number)), way.to
    yield from view.named("after")
    for number, case in enumerate(view.tree.worked_cases):
        yield ("worked_cases", number, "finding"), case.finding
        for name in case.answers:
            yield ("worked_cases", number, "answers", name, KEY), name


def unknown_answer(view: TreeView) -> Iterator[Objection]:
    """`passes` and `if_unsure` name an answer of their own step, word for word.

    They say which way is taken when nobody answers; a word that is no answer would take none.

    Passes:
        steps: {first: {passes: It looks right}}
    Fails:
        steps: {first: {if_unsure: Broken}}
    """
    for name, step in view.questions():
        for key, word in (("passes", step.passes), ("if_unsure", step.if_unsure)):
            if word is None or step.exit(word) or (key == "passes" and word == NO_ANSWER):
                continue
            hint = view.hint(word, [way.answer for way in step.exits])
            message = f'Write an answer of this step: "{word}" is none.{hint}'
            lacks = Name("answer", word, (view.tree.symptom, name))
            yield Objection(view.at(name, key), message, lacks=lacks)


def former_id(view: TreeView) -> Iterator[Objection]:
    """An id that a step had before (`was`) is no step's id now, and only one step had it.

    Cases in the log under that id count for the step that names it. Where another step has the id
    now, or had it too, nobody could say for which of them a case counts.

    Passes:
        steps: {first: {was: [lamp]}}
    Fails:
        steps: {first: {was: [second]}}
    """
    claimed: dict[str, str] = {}
    for path, word in view.named("was"):
        first = claimed.setdefault(word, f"{path[1]}")
        if word in view.tasks or word in view.unread:
            message = f'There is a step "{word}" now: name an id that no step has any more.'
            yield Objection(path, message)
        elif first != path[1]:
            yield Objection(
                path, f'"{first}" says that it was "{word}" too: keep it in one of them.'
            )


def unknown_hazard(view: View[Any]) -> Iterator[Objection]:
    """Every hazard that a step, an item or a caution names stands in `cautions.yaml`.

    A hazard calls the caution that covers it. One that nobody knows would call none, and somebody
    would come to the danger without a word.

    Passes:
        steps: {first: {hazards: [wet-floor]}}
    Fails:
        steps: {first: {hazards: [wet-flor]}}
    """
    known = view.library.cautions.hazards
    yield from _not_in_cautions(view, "hazard", view.hazards_key, known)
    yield from _not_in_cautions(view, "hazard", "not_here", known)


def unknown_caution(view: View[Any]) -> Iterator[Objection]:
    """Every caution that a step, an item, another caution or a machine card names is known.

    What is misspelt here would not be shown to whoever stands before the danger.

    Passes:
        caution_minutes: {lockout: 10}
    Fails:
        caution_minutes: {lockuot: 10}
    """
    return _not_in_cautions(view, "caution", view.cautions_key, view.library.cautions.cautions)


def _not_in_cautions(
    view: View[Any], what: str, key: str, known: Collection[str]
) -> Iterator[Objection]:
    unread = view.table is None and not known and not isinstance(view, CautionsView)
    for path, name, hint in _unknown(view, view.named(key), known):
        if unread:
            message = f'Mend cautions.yaml: "{name}" is not known while it has errors.'
        else:
            message = f'Write a {what} of cautions.yaml: there is no "{name}".{hint}'
        yield Objection(path, message, lacks=Name(what, name))


def unknown_symptom(view: View[Any]) -> Iterator[Objection]:
    """A doorway (`continue_with`) and what an item `starts` are symptoms of this library.

    Whoever goes through would find nothing behind it.

    Passes:
        items: {look: {starts: sample}}
    Fails:
        items: {look: {starts: sampel}}
    """
    for path, name, hint in _unknown(view, view.named(view.symptom_key), view.library.symptoms):
        message = f'Write the id of a symptom: there is no "{name}.yaml".{hint}'
        yield Objection(path, message, lacks=Name("symptom", name))


def unknown_measurement(view: TreeView) -> Iterator[Objection]:
    """A reading names a measurement that the program knows, or that `measurements.yaml` declares.

    Without it, what is typed could not be turned into the figure that the bands are about.
    `diagnose measure` lists them all.

    Passes:
        steps: {second: {read: value}}
    Fails:
        steps: {second: {read: valeu}}
    """
    if view.library.problems_of(view.library.file(MEASUREMENTS_FILE)):
        return  # Nobody knows what it would declare.
    # One that is declared and cannot be used is objected to where it stands.
    known = {**view.measurements, **view.library.measurements}
    for path, name, hint in _unknown(view, view.named("read"), known):
        message = f'Write a measurement of `diagnose measure`: there is no "{name}".{hint}'
        lacks = Name("measurement", name, (view.tree.symptom, f"{path[1]}"))
        yield Objection(path, message, lacks=lacks)


def unknown_line(view: TreeView | RoundView) -> Iterator[Objection]:
    """`from_card`, `show_card` and `applies_to` name what a machine card can have.

    No card will ever answer otherwise, and the step is asked each time. A list, such as the lamps
    of the charger, is no answer: `show_card` shows it. docs/format.md lists the lines.

    Passes:
        steps: {first: {from_card: battery.kind, answers: {flooded: broken, sealed: second}}}
    Fails:
        steps: {first: {from_card: battery.sort, answers: {flooded: broken, sealed: second}}}
    """
    shown = CARD_LINES | CARD_LISTS
    named = [(path, line, shown) for path, line in view.named("show_card")]
    named += [(path, line, CARD_LINES) for path, line in view.named("from_card")]
    for at, condition in view.conditions():
        named += [((*at, line, KEY), line, CARD_LINES) for line in condition]
    for known in (shown, CARD_LINES):
        asked = ((path, line) for path, line, fitting in named if fitting is known)
        for path, line, hint in _unknown(view, asked, known):
            if line in CARD_LISTS:
                message = f'Write `show_card: [{line}]`: "{line}" is a list, which answers nothing.'
            else:
                message = f'Write a line that a card has: there is no "{line}".{hint}'
            yield Objection(path, message)


def unknown_kind(view: CardView | TreeView | RoundView) -> Iterator[Objection]:
    """A `kind`, or one of the `kinds` of a symptom or a round, is a file of `machines/kinds/`.

    The card leaves to it what all machines of that kind share: without it a reading would miss what
    it is computed from. A symptom or a round for a kind that is misspelt would be offered nowhere.

    Passes:
        kinds: [small]
    Fails:
        kinds: [smal]
    """
    known = view.library.kinds
    for path, kind, hint in _unknown(view, view.kinds(), known):
        message = f"Write a kind: there is no machines/kinds/{kind}.yaml that can be read.{hint}"
        yield Objection(path, message, lacks=Name("kind", kind))


def other_kinds(view: TreeView | RoundView) -> Iterator[Objection]:
    """A doorway, or what an item starts, is a symptom that some machine can have here.

    A symptom or a round that is for some kinds only leads to nothing where the other symptom is for
    none of these: the doorway stays shut on every machine.

    Passes:
        kinds: [small]
    Fails:
        kinds: [small]
        items: {look: {do: Look under it., starts: of-large-ones}}
    """
    own = {kind for _, kind in view.kinds() if kind in view.library.kinds}
    for path, name in view.named(view.symptom_key):
        tree = view.library.trees.get(name)
        if own and tree is not None and tree.kinds and own.isdisjoint(tree.kinds):
            wanted = " and ".join(tree.kinds)
            message = f'Write a symptom of these kinds: "{name}" is for the kind {wanted} only.'
            yield Objection(path, message, "warning")


def begins_with(view: RoundView) -> Iterator[Objection]:
    """What an item's `starts` says was seen already is an answer of that symptom's tree.

    It goes along into the case. A word that the tree does not have would be asked for again.

    Passes:
        items: {look: {starts: {symptom: sample, answers: {first: It is broken}}}}
    Fails:
        items: {look: {starts: {symptom: sample, answers: {first: It is borken}}}}
    """
    for name, item in view.tasks.items():
        tree = view.library.trees.get(item.starts or "")
        if tree is None:
            continue
        for step, answer in item.seen.items():
            at = view.at(name, "starts", "answers", step)
            question = tree.steps.get(step)
            if not isinstance(question, Question):
                hint = view.hint(step, tree.steps)
                message = f'Write a question of "{item.starts}": it asks no "{step}".{hint}'
                lacks = Name("step", step, (tree.symptom,))
                yield Objection((*at, KEY), message, lacks=lacks)
            elif question.exit(answer) is None:
                hint = view.hint(answer, [way.answer for way in question.exits])
                message = f'Write an answer of "{step}": it has no "{answer}".{hint}'
                yield Objection(at, message, lacks=Name("answer", answer, (tree.symptom, step)))


def card_answer(view: TreeView) -> Iterator[Objection]:
    """What the cards of this library say at the line that `from_card` names is an answer there.

    A card that says something else does not answer the step: it is asked, and whoever is asked may
    not know. Capitals do not count.

    Passes:
        steps: {first: {from_card: battery.kind, answers: {Flooded: broken, Sealed: second}}}
    Fails:
        steps: {first: {from_card: battery.kind, answers: {Wet: broken, Sealed: second}}}
    """
    for name, step in view.questions():
        if step.from_card is None or step.from_card not in CARD_LINES:
            continue
        answers = {way.answer.casefold() for way in step.exits}
        for machine in view.library.machines:
            card = view.library.card(machine)
            said = card.line(step.from_card) if card is not None else None
            if said is not None and said.casefold() not in answers:
                message = (
                    f'Write the answer "{said}", as the card of "{machine}" says: it is asked.'
                )
                yield Objection(view.at(name, "from_card"), message, "warning")
