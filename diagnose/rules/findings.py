"""Rules on findings: who does what about a cause, and how the machine is left."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.rules.view import Objection

if TYPE_CHECKING:
    from collections.abc import Iterator

    from diagnose.rules.view import TreeView


def missing_key(view: TreeView) -> Iterator[Objection]:
    """A finding says `who` may do its remedy, unless it is a doorway to another symptom.

    It decides whether somebody is told what to do or the machine is handed to service.

    Passes:
        steps: {broken: {finding: It is worn, chance: 30, who: operator, remedy: Turn it.}}
    Fails:
        steps: {broken: {finding: It is worn, chance: 30, remedy: Turn it.}}
    """
    for name, finding in view.findings():
        if not finding.who:
            message = "Write `who`: operator, battery-trained or service."
            yield Objection(view.at(name), message)


def no_until_mended(view: TreeView) -> Iterator[Objection]:
    """A finding for service says what the next shift may do with the machine: `until_mended`.

    It is `out of use`, or a sentence that says how it may be used with care. Whoever finds the
    machine tomorrow has nothing else to go by.

    Passes:
        steps: {served: {until_mended: Use it on level floors only.}}
    Fails:
        steps: {served: {finding: It is dead, chance: 10, who: service, leave_safe: Park it.}}
    """
    for name, finding in view.findings():
        if finding.who == "service" and finding.until_mended is None:
            message = "Write what holds until service has mended it: `until_mended: out of use`."
            yield Objection(view.at(name), message)


def doorway(view: TreeView) -> Iterator[Objection]:
    """A doorway says nothing but where it leads, and that is another symptom than its own.

    Whoever goes through is told who may do what by the other tree, at its end; two answers to that
    would be one too many.

    Passes:
        steps: {broken: {finding: It is worn, chance: 30, continue_with: other}}
    Fails:
        steps: {broken: {finding: It is worn, chance: 30, who: operator, continue_with: other}}
    """
    for name, finding in view.doorways():
        keys = ("who", "remedy", "leave_safe", "ask_service", "until_mended")
        spare = next((key for key in keys if getattr(finding, key)), None)
        if spare is not None:
            message = f"Delete `{spare}`: a doorway has none, the other symptom goes on."
            yield Objection(view.at(name), message)
        if finding.continue_with == view.tree.symptom:
            message = "Write another symptom: a doorway does not lead to its own."
            yield Objection(view.at(name, "continue_with"), message)


def no_remedy(view: TreeView) -> Iterator[Objection]:
    """What the operator or somebody trained on batteries may do has a `remedy`.

    Without it the cause is known, and whoever stands there does not know what to do about it.

    Passes:
        steps: {broken: {finding: It is worn, chance: 30, who: operator, remedy: Turn it.}}
    Fails:
        steps: {broken: {finding: It is worn, chance: 30, who: operator}}
    """
    for name, finding in view.findings():
        if finding.who not in ("", "service") and finding.remedy is None:
            yield Objection(view.at(name), "Say what to do about it: `remedy`.")


def service_remedy(view: TreeView) -> Iterator[Objection]:
    """A finding for service has no `remedy`.

    A remedy is shown on the screen, where somebody might try it who must not. `ask_service` stands
    on the handover page only.

    Passes:
        steps: {served: {who: service, ask_service: Measure the windings.}}
    Fails:
        steps: {served: {who: service, remedy: Measure the windings.}}
    """
    for name, finding in view.findings():
        if finding.who == "service" and finding.remedy is not None:
            message = "Write `ask_service`, no `remedy`: what service does is not shown to others."
            yield Objection(view.at(name, "remedy"), message)


def no_leave_safe(view: TreeView) -> Iterator[Objection]:
    """A finding for service says how the machine is left until service comes: `leave_safe`.

    Between the call and the visit somebody else finds the machine and may switch it on.

    Passes:
        steps: {served: {leave_safe: Park it. Hang your tag on it.}}
    Fails:
        steps: {served: {finding: It is dead, chance: 10, who: service, until_mended: out of use}}
    """
    for name, finding in view.findings():
        if finding.who == "service" and finding.leave_safe is None:
            message = "Write how the machine is left until service comes: `leave_safe`."
            yield Objection(view.at(name), message)
