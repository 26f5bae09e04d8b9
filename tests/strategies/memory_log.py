"""A case log as lists in memory: what the log in a file must be like, and quick to write."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from msgspec.structs import replace

from diagnose.log.events import Found, Released, Replied, RoundOpened, read, written
from diagnose.log.protocol import CaseRecord, LoggedEvent, Milestone, OpenElsewhere

if TYPE_CHECKING:
    from collections.abc import Callable

    from diagnose.log.drills import DrillRecord
    from diagnose.log.events import Event, Opened


@dataclass
class MemoryLog:
    """Cases and their events, in the order in which they came. `now` gives the time."""

    now: Callable[[], str] = lambda: "2026-11-25T12:00:00+00:00"
    records: dict[bytes, CaseRecord] = field(default_factory=dict)
    bodies: dict[bytes, list[LoggedEvent]] = field(default_factory=dict)
    results: list[DrillRecord] = field(default_factory=list)

    def open_case(
        self,
        machine: str | None,
        event: Opened | RoundOpened,
        *further: Event,
        begun_in: CaseRecord | None = None,
    ) -> CaseRecord:
        of_round = isinstance(event, RoundOpened)
        at, number = self.now(), len(self.records)
        case = CaseRecord(
            key=number.to_bytes(16, "big"),
            name=f"M{number:03}",
            symptom="" if of_round else event.symptom,
            machine=machine,
            opened=at,
            changed=at,
            outcome=event.outcome or "open",
            finding=None,
            found=None,
            round=event.round if of_round else None,
            begun_in=None if begun_in is None else begun_in.name,
        )
        self.adopt(case, at, event)
        for number_of, one in enumerate(further, start=2):
            self.append(case, number_of, one)
        return case

    def adopt(self, case: CaseRecord, at: str, event: Event) -> None:
        """Take a case that another log has named."""
        self.records[case.key] = case
        self.bodies[case.key] = []
        self._write(case.key, 1, at, event)

    def append(self, case: CaseRecord, number: int, event: Event) -> None:
        if number in [logged.number for logged in self.bodies[case.key]]:
            raise OpenElsewhere(case.name)
        at = self.now()
        self._write(case.key, number, at, event)
        if isinstance(event, Released):
            return
        known = self.records[case.key]
        changes = {"changed": at, "outcome": event.outcome or known.outcome}
        if isinstance(event, Replied) and event.outcome == "cured":
            changes["finding"] = event.step
        if isinstance(event, Found):
            changes["found"] = event.finding
        self.records[case.key] = replace(known, **changes)

    def _write(self, key: bytes, number: int, at: str, event: Event) -> None:
        # By way of its text, as every log has it.
        logged = LoggedEvent(number=number, at=at, event=read(written(event)))
        self.bodies[key].append(logged)

    def case(self, name: str) -> CaseRecord | None:
        known = [case for case in self.records.values() if case.name == name.strip().upper()]
        return known[0] if known else None

    def cases(self, machine: str | None = None) -> list[CaseRecord]:
        own = [case for case in self.records.values() if machine in (None, case.machine)]
        own.sort(key=lambda case: case.name)
        return sorted(own, key=lambda case: case.opened, reverse=True)

    def begun_in(self, round_: CaseRecord) -> list[CaseRecord]:
        return [case for case in self.records.values() if case.begun_in == round_.name]

    def events(self, case: CaseRecord) -> list[LoggedEvent]:
        return sorted(self.bodies[case.key], key=lambda logged: logged.number)

    def milestones(self, machine: str | None = None, since: str = "") -> list[Milestone]:
        own = sorted(self.cases(machine), key=lambda case: (case.opened, case.name))
        return [
            Milestone(case=case, logged=logged)
            for case in own
            if case.changed >= since
            for logged in self.events(case)
            if logged.event.milestone
        ]

    def latest(self, machine: str | None = None) -> list[Milestone]:
        own = sorted(self.cases(machine), key=lambda case: (case.opened, case.name))
        last = [Milestone(case=case, logged=self.events(case)[-1]) for case in own]
        return [
            one
            for one in last
            if one.case.outcome in ("open", "referred")
            or (one.case.outcome == "walked" and _locked(one.logged.event))
        ]

    def add_drill(self, drill: DrillRecord) -> None:
        self.results.append(replace(drill, at=self.now()))

    def drills(self, trainee: str | None = None) -> list[DrillRecord]:
        wanted = None if trainee is None else trainee.casefold()
        return [one for one in self.results if wanted in (None, one.trainee.casefold())]

    def close(self) -> None:
        return None


def _locked(event: Event) -> bool:
    came_to = getattr(event, "came_to", None)
    return came_to is not None and came_to.locked
