"""A case log as lists in memory: what the log in a file must be like, and quick to write."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from msgspec.structs import replace

from diagnose.log.events import Found, Released, Replied, RoundOpened, read, written
from diagnose.log.protocol import CaseRecord, Listed, LoggedEvent, Milestone, OpenElsewhere
from diagnose.log.story import cures_by
from diagnose.log.summary import IN_USE
from diagnose.log.summing import summed_up

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from diagnose.log.drills import DrillRecord
    from diagnose.log.events import Event, Opened
    from diagnose.log.summary import Cure, Summary


@dataclass
class MemoryLog:
    """Cases and their events, in the order in which they came. `now` gives the time."""

    now: Callable[[], str] = lambda: "2026-11-25T12:00:00+00:00"
    records: dict[bytes, CaseRecord] = field(default_factory=dict)
    bodies: dict[bytes, list[LoggedEvent]] = field(default_factory=dict)
    results: list[DrillRecord] = field(default_factory=list)
    busy: Callable[[], None] = lambda: None

    def open_case(
        self,
        machine: str | None,
        event: Opened | RoundOpened,
        *further: Event,
        begun_in: CaseRecord | None = None,
        wait: float | None = None,
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

    def append(
        self, case: CaseRecord, number: int, event: Event, *, wait: float | None = None
    ) -> None:
        if number in [logged.number for logged in self.bodies[case.key]]:
            raise OpenElsewhere(case.name)
        at = self.now()
        self._write(case.key, number, at, event)
        if isinstance(event, Released) or not event.milestone:
            return
        known = self.records[case.key]
        changes = {"changed": at, "outcome": event.outcome or known.outcome}
        if isinstance(event, Replied) and event.outcome == "cured":
            changes["finding"] = event.step
        if isinstance(event, Found):
            changes["found"] = event.finding
        self.records[case.key] = replace(known, **changes)

    def append_each(self, numbers: Iterable[tuple[CaseRecord, int]], event: Event) -> None:
        for case, number in numbers:
            self.append(case, number, event)

    def _write(self, key: bytes, number: int, at: str, event: Event) -> None:
        # By way of its text, as every log has it.
        logged = LoggedEvent(number=number, at=at, event=read(written(event)))
        self.bodies[key].append(logged)

    def last_number(self, case: CaseRecord) -> int:
        return self.bodies[case.key][-1].number

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

    def summary(self, case: CaseRecord) -> Summary:
        return self._listed(self.records[case.key]).summary

    def _listed(self, case: CaseRecord) -> Listed:
        begun = self.begun_in(case)
        return Listed(case=case, summary=summed_up(case, self.events(case), begun))

    def _in_order(self) -> list[CaseRecord]:
        return sorted(self.records.values(), key=lambda case: (case.opened, case.name))

    def listed(self) -> Iterator[Listed]:
        return map(self._listed, self.cases())

    def waiting_at(self, machine: str | None) -> Iterator[Listed]:
        own = [self._listed(case) for case in self._in_order() if case.machine == machine]
        for one in own:
            case = one.case
            if one.summary.holds or (case.round is None and case.waits):
                yield one

    def waiting(self) -> Iterator[Listed]:
        for machine in self.machines():
            yield from self.waiting_at(machine)

    def heads(self, machine: str | None = None) -> Iterator[Any]:
        for one in self.waiting() if machine is None else self.waiting_at(machine):
            is_ = one.summary.is_
            state = is_.state if one.summary.holds else IN_USE
            yield one.case.machine, state, is_.since or "", one.case.name

    def ended(self, machine: str | None = None) -> Iterator[Listed]:
        for case in self._in_order():
            own = machine in (None, case.machine) and case.round is None
            if own and case.outcome in ("cured", "referred"):
                yield self._listed(case)

    def cures(self, machine: str | None = None, since: str = "") -> Iterator[Cure]:
        found = [
            cure
            for case in self._in_order()
            if machine in (None, case.machine)
            for logged in self.events(case)
            # What is no milestone cures nothing.
            if logged.event.milestone
            for cure in cures_by(case, logged.at, logged.event)
            if cure.at >= since
        ]
        return iter(sorted(found, key=lambda one: (one.machine or "", one.finding, one.at)))

    def machines(self) -> list[str | None]:
        known = {case.machine for case in self.records.values()}
        return [*sorted(name for name in known if name is not None), *({None} & known)]

    def last_open(self) -> tuple[CaseRecord | None, int]:
        found = [case for case in self.cases() if case.outcome == "open"]
        return (found[0] if found else None), len(found)

    def names(self, like: str) -> list[str]:
        return [case.name for case in self.cases()]

    def begun(self, machine: str | None = None) -> dict[tuple[str | None, str], str | None]:
        found: dict[tuple[str | None, str], str | None] = {}
        for case in self.cases(machine):
            if case.round is not None:
                key = (case.machine, case.round)
                last = case.changed if case.outcome == "walked" else ""
                found[key] = max(last, found.get(key) or "") or None
        return found

    def last_left(self, machine: str | None, round_: str) -> Listed | None:
        own = [self._listed(case) for case in self._rounds(machine) if case.round == round_]
        left = [one for one in own if one.summary.left_at]
        key = lambda one: (one.summary.left_at, one.case.opened, one.case.name)  # noqa: E731
        return max(left, key=key, default=None)

    def last_round(self, machine: str | None) -> Listed | None:
        own = [case for case in self._rounds(machine) if case.outcome != "withdrawn"]
        return self._listed(own[-1]) if own else None

    def _rounds(self, machine: str | None) -> list[CaseRecord]:
        own = [case for case in self._in_order() if case.machine == machine]
        return [case for case in own if case.round is not None]

    def not_right(self, machine: str | None = None) -> Iterator[Listed]:
        """All rounds: none of them is passed over."""
        for case in self._in_order():
            if case.round is not None and machine in (None, case.machine):
                yield self._listed(case)

    def damaged(self, cases: Iterable[CaseRecord]) -> dict[bytes, int]:
        return {}

    def add_drill(self, drill: DrillRecord) -> None:
        self.results.append(replace(drill, at=self.now()))

    def drills(self, trainee: str | None = None) -> list[DrillRecord]:
        wanted = None if trainee is None else trainee.casefold()
        return [one for one in self.results if wanted in (None, one.trainee.casefold())]

    def close(self) -> None:
        return None
