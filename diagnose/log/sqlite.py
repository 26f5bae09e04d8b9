"""The case log in one SQLite file. The only importer of sqlite3."""

from __future__ import annotations

import json
import os
import secrets
import sqlite3
from contextlib import ExitStack, contextmanager, suppress
from functools import cache
from typing import TYPE_CHECKING, Any, Final, TypeVar
from urllib.parse import quote

import msgspec
from msgspec import Struct
from msgspec.structs import replace

from diagnose.files import replies
from diagnose.files.tree import OUT_OF_USE
from diagnose.log import clock, events
from diagnose.log.account import Account
from diagnose.log.drills import DrillRecord
from diagnose.log.events import Found, Released, Replied, RoundOpened
from diagnose.log.patience import patiently
from diagnose.log.protocol import (
    CaseRecord,
    Head,
    Listed,
    LogBusy,
    LogError,
    LoggedEvent,
    Milestone,
    OpenElsewhere,
)
from diagnose.log.story import cures_by
from diagnose.log.summary import IN_USE, Cure, MachineState, Summary
from diagnose.log.summing import Ground, carried_on, ground, past_damage, summed_up
from diagnose.log.tables import APPLICATION, MARKS, NEW, OLD, TABLES, VERSION, added

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from pathlib import Path

    from diagnose.log.events import Event, Opened

_Result = TypeVar("_Result")

# Letters and digits that are not taken for one another, neither on paper nor over the phone.
_LETTERS: Final = "ABCDEFGHJKLMNPQRTUVWXY"
_DIGITS: Final = "2346789"

_DRILL: Final = ("at", "trainee", "symptom", "machine", "seed", "slips", "passed", "body")

#: The columns of a case's record, in the order of `_record`, `begun_in` as the round's name.
_COLUMNS: Final = (
    "key, name, symptom, machine, opened, changed, outcome, finding, found, round, "
    "(SELECT name FROM cases AS begun WHERE begun.key = cases.begun_in)"
)

_EVENTS: Final = 'SELECT number, at, body FROM events WHERE "case" = ? ORDER BY number'


#: Seconds for which somebody is made to wait while others write.
WAIT: Final = 20.0

#: As many rows are read at once: a page is read within some thousandths of a second, and whoever
#: writes waits for no more than that.
PAGE: Final = 400

#: As many cases are looked through for damage at once.
_LOOKED_THROUGH: Final = 40

#: As many cases are kept in mind with their events: one that is walked, and its round.
_IN_MIND: Final = 4


class _InMind(Struct, frozen=True):
    """A case that was just written to: what of it need not be read again for the next event."""

    record: CaseRecord
    events: tuple[LoggedEvent, ...]
    listed: tuple[object, ...]
    ground: Ground | None


class SqliteLog:
    """A case log in the file `path`. Times come from `now`, keys and names from `secrets`.

    `mode` is "rwc" (made where it is missing), "rw" (must be there) or "ro". `wait` is for how many
    seconds, where others are writing; `busy` is called where that takes a while.
    """

    def __init__(
        self,
        path: Path,
        mode: str = "rwc",
        *,
        now: Callable[[], str] | None = None,
        wait: float | None = None,
        busy: Callable[[], None] | None = None,
    ) -> None:
        self.path = path
        self.now = now or _utc
        self.wait = WAIT if wait is None else wait
        self.busy = busy or _nothing
        self._in_mind: dict[bytes, _InMind] = {}
        self._to_remember: _InMind | None = None
        with self._in_plain_words():
            if mode == "rwc":
                _make(path)
            where = f"file:{quote(str(path.absolute()))}?mode={mode}"
            # SQLite's own waiting is short: ours is fair, and can say so.
            self.base = sqlite3.connect(where, uri=True, timeout=0.01, isolation_level=None)
            self._patiently(lambda: self._accept(make=mode == "rwc"))
            # One rollback journal beside one file: a log can be copied, mailed and put on a share.
            # FULL: what was answered is on the disk before the next screen, power cut or not.
            self.base.execute("PRAGMA synchronous = FULL")

    def open_case(
        self,
        machine: str | None,
        event: Opened | RoundOpened,
        *further: Event,
        begun_in: CaseRecord | None = None,
        wait: float | None = None,
    ) -> CaseRecord:
        """Write a new case or round with its first event, and those that go with it, and return it.

        All of them are kept, or none. `begun_in` is the round that began it, `wait` as in `append`.
        """
        at = self.now()
        outcomes = [one.outcome for one in (event, *further) if one.outcome is not None]

        def written() -> CaseRecord:
            case = CaseRecord(
                key=_new_key(),
                name=self._free_name(),
                symptom="" if isinstance(event, RoundOpened) else event.symptom,
                machine=machine,
                opened=at,
                changed=at,
                outcome=outcomes[-1] if outcomes else "open",
                finding=None,
                found=None,
                round=event.round if isinstance(event, RoundOpened) else None,
                begun_in=None if begun_in is None else begun_in.name,
            )
            self._put(case, None if begun_in is None else begun_in.key)
            told = [
                self._write(case, number, at, one, one.milestone)
                for number, one in enumerate((event, *further), start=1)
            ]
            self._sum(case, tuple(told), None)
            if begun_in is not None:
                self._sum_anew(begun_in.key)
            return case

        with self._in_plain_words(unkept=event):
            return self._written(written, wait)

    def append(
        self, case: CaseRecord, number: int, event: Event, *, wait: float | None = None
    ) -> None:
        """Write the event that has this number. Raises `OpenElsewhere` where it is taken.

        `wait` is for how many seconds, where others are writing; `LogBusy` is raised then.
        """
        with self._in_plain_words(case.name, event):
            self._written(lambda: self._append(case, number, event), wait)

    def append_each(self, numbers: Iterable[tuple[CaseRecord, int]], event: Event) -> None:
        """Write an event into several cases, under its number in each: all of them, or none."""
        numbers = list(numbers)

        def written() -> None:
            for case, number in numbers:
                self._append(case, number, event)
                self._in_mind.pop(case.key, None)
            self._to_remember = None

        with self._in_plain_words(numbers[0][0].name, event):
            self._written(written, None)

    def _append(self, case: CaseRecord, number: int, event: Event) -> None:
        at, milestone = self.now(), event.milestone
        logged = self._write(case, number, at, event, milestone)
        known = self._in_mind.get(case.key)
        if known is None or known.events[-1].number != number - 1:
            record, events, damaged = self._read_whole(case.key)
            known = None
        else:
            record, events, damaged = known.record, (*known.events, logged), None
        record = _after(record, at, event) if milestone else record
        stood = None if known is None or milestone else known.ground
        further = None if stood is None else carried_on(stood, logged)
        if known is not None and further is not None and further is stood:
            # Lists say of it what they did: its row stays as it is.
            self._to_remember = replace(known, events=events)
        elif known is not None and further is not None:
            self._keep(record, further, known, events)
        elif damaged is None:
            self._sum(record, events, known)
        else:
            self._sum_past(record, event, damaged)
        if case.begun_in is not None and event.outcome is not None:
            self._sum_anew(self._begun_in_key(case.key))

    def last_number(self, case: CaseRecord) -> int:
        """Return the number of a case's last event."""
        ((number,),) = self._rows('SELECT max(number) FROM events WHERE "case" = ?', case.key)
        return int(number)

    def case(self, name: str) -> CaseRecord | None:
        """Return a case by its short name, capitals or not; None where there is none."""
        found = self._cases("name = ?", name.strip().upper()[:40])
        return found[0] if found else None

    def cases(self, machine: str | None = None) -> list[CaseRecord]:
        """Return all cases, or those of one machine, the newest first."""
        only, which = ("", ()) if machine is None else ("machine = ?", (machine,))
        return self._cases(f"{only or 'true'} ORDER BY opened DESC, name", *which)

    def begun_in(self, round_: CaseRecord) -> list[CaseRecord]:
        """Return the cases that a round began, in the order of their opening."""
        return self._cases("begun_in = ? ORDER BY place", round_.key)

    def events(self, case: CaseRecord) -> list[LoggedEvent]:
        """Return all events of a case in their order."""
        rows = self._rows(_EVENTS, case.key)
        try:
            return [self._logged(case, row) for row in rows]
        except LogError:
            self._mark(case)
            raise

    def milestones(self, machine: str | None = None, since: str = "") -> list[Milestone]:
        """Return the milestones of all cases, or of one machine's, that changed `since` then.

        The cases come in the order in which they were opened, each one's events in theirs. What is
        damaged is left out.
        """
        # Two statements, so that one machine's cases are found by its index.
        only, which = ("", ()) if machine is None else ("machine = ? AND ", (machine,))
        rows = self._rows(
            f"SELECT {_COLUMNS}, number, at, body "
            'FROM cases JOIN events ON events."case" = cases.key '
            f"WHERE {only}milestone AND changed >= ? ORDER BY opened, name, number",
            *which,
            since,
        )
        found: list[Milestone] = []
        for row in rows:
            same = bool(found) and found[-1].case.key == row[0]
            case = found[-1].case if same else _record(row[:-3])
            with suppress(LogError):
                found.append(Milestone(case=case, logged=self._logged(case, row[-3:])))
        return found

    def summary(self, case: CaseRecord) -> Summary:
        """Return what lists say of a case."""
        ((text,),) = self._rows("SELECT summary FROM cases WHERE key = ?", case.key)
        return self._summary(case, text)

    def listed(self) -> Iterator[Listed]:
        """Yield all cases, the newest first."""
        # Two statements, each of which goes along an index.
        rows = self._listed("true ORDER BY opened DESC, name")
        while rows:
            yield from rows
            last = rows[-1].case
            rows = self._listed("opened = ? AND name > ? ORDER BY name", last.opened, last.name)
            if len(rows) < PAGE:
                more = "opened < ? ORDER BY opened DESC, name"
                rows += self._listed(more, last.opened)

    def waiting(self) -> Iterator[Listed]:
        """Yield what holds a machine, and what was left or waits for service.

        Machine by machine, in the order in which they were opened.
        """
        for machine in self._distinct("waits"):
            yield from self.waiting_at(machine)

    def waiting_at(self, machine: str | None) -> Iterator[Listed]:
        """Yield the same for one machine, or (None) for the cases without one."""
        yield from self._by_time("machine IS ? AND waits", machine)

    def heads(self, machine: str | None = None) -> Iterator[Head]:
        """Yield of all that waits, or of one machine, only what puts the machines in order."""
        for one in self._distinct("waits") if machine is None else [machine]:
            after = ("", "")
            while True:
                rows = self._rows(
                    "SELECT machine, state, coalesce(since, ''), name, opened FROM cases "
                    "WHERE machine IS ? AND waits AND (opened, name) > (?, ?) "
                    f"ORDER BY opened, name LIMIT {PAGE}",
                    one,
                    *after,
                )
                yield from (row[:4] for row in rows)
                if len(rows) < PAGE:
                    break
                after = (rows[-1][4], rows[-1][3])

    def ended(self, machine: str | None = None) -> Iterator[Listed]:
        """Yield the cases that were cured or referred, or those of one machine."""
        only, which = ("", ()) if machine is None else ("machine = ? AND ", (machine,))
        yield from self._by_key(f"{only}round IS NULL AND outcome IN ('cured', 'referred')", *which)

    def cures(self, machine: str | None = None, since: str = "") -> Iterator[Cure]:
        """Yield what was cured or reported since then: by machine and finding, then by time."""
        wanted = self._distinct("true", "cures") if machine is None else [machine]
        for one in wanted:
            after: tuple[object, ...] = ("", "", "", 0)
            while True:
                rows = self._rows(
                    'SELECT machine, symptom, finding, at, number, "case", words, parts FROM cures '
                    "WHERE machine IS ? AND (symptom, finding, at, number) > (?, ?, ?, ?) "
                    f"AND at >= ? ORDER BY symptom, finding, at, number LIMIT {PAGE}",
                    one,
                    *after,
                    since,
                )
                for row in rows:
                    yield Cure(
                        machine=row[0],
                        finding=(row[1], row[2]),
                        at=row[3],
                        case=row[5],
                        words=row[6],
                        parts=tuple(json.loads(row[7])) if row[7] else (),
                    )
                if len(rows) < PAGE:
                    break
                after = rows[-1][1:5]

    def machines(self) -> list[str | None]:
        """Return the machines of all cases; None are the cases without one."""
        return self._distinct("true")

    def last_open(self) -> tuple[CaseRecord | None, int]:
        """Return the open case that was opened last, and how many are open."""
        found = self._cases("outcome = 'open' ORDER BY opened DESC, name LIMIT 1")
        ((count,),) = self._rows("SELECT count(*) FROM cases WHERE outcome = 'open'")
        return (found[0] if found else None), count

    def names(self, like: str) -> list[str]:
        """Return the names of cases that begin as this one does, some of the others beside them."""
        start = like[:2]
        near = self._rows(
            "SELECT name FROM cases WHERE name >= ? AND name < ? ORDER BY name LIMIT 1000",
            start,
            f"{start}~",
        )
        near += self._rows("SELECT name FROM cases ORDER BY opened DESC, name LIMIT 1000")
        return list(dict.fromkeys(name for (name,) in near))

    def begun(self, machine: str | None = None) -> dict[tuple[str | None, str], str | None]:
        """Return when each round that was begun was walked to its end last, by machine and name.

        None where it never was.
        """
        only, which = ("", ()) if machine is None else ("machine = ? AND ", (machine,))
        rows = self._rows(
            "SELECT machine, round, max(iif(outcome = 'walked', changed, NULL)) FROM cases "
            f"WHERE {only}round IS NOT NULL GROUP BY machine, round",
            *which,
        )
        return {(own, name): last for own, name, last in rows}

    def last_left(self, machine: str | None, round_: str) -> Listed | None:
        """Return the round of that name that was ended or left last on a machine."""
        found = self._listed(
            "machine IS ? AND round = ? AND left_at <> '' "
            "ORDER BY left_at DESC, opened DESC, name DESC",
            machine,
            round_,
            most=1,
        )
        return found[0] if found else None

    def last_round(self, machine: str | None) -> Listed | None:
        """Return the round that was begun last on a machine and not taken back."""
        found = self._listed(
            "machine IS ? AND round IS NOT NULL AND outcome <> 'withdrawn' "
            "ORDER BY opened DESC, name DESC",
            machine,
            most=1,
        )
        return found[0] if found else None

    def not_right(self, machine: str | None = None) -> Iterator[Listed]:
        """Yield the rounds in which something may still be noted, and those that may end that.

        Round by round of each machine, in the order in which they were opened.
        """
        only, which = ("", ()) if machine is None else ("machine = ? AND ", (machine,))
        pairs = self._rows(f"SELECT DISTINCT machine, round FROM cases WHERE {only}notes", *which)
        for own, name in pairs:
            last = self._rows(
                "SELECT opened, name FROM cases WHERE machine IS ? AND round = ? AND clears "
                "ORDER BY opened DESC, name DESC LIMIT 1",
                own,
                name,
            )
            where = "machine IS ? AND round = ? AND round IS NOT NULL"
            yield from self._by_time(where, own, name, first=last[0] if last else ("", ""))

    def damaged(self, cases: Iterable[CaseRecord]) -> dict[bytes, int]:
        """Return, by key, the first event that is no text of an event, of the cases that have one.

        All their events are looked through, which costs far more than a summary.
        """
        keys = [case.key for case in cases]
        found: dict[bytes, int] = {}
        # Events are long: a few cases at a time, so that nobody who writes waits for it.
        for place in range(0, len(keys), _LOOKED_THROUGH):
            some = keys[place : place + _LOOKED_THROUGH]
            rows = self._rows(
                'SELECT "case", min(number) FROM events '
                f'WHERE "case" IN ({", ".join("?" * len(some))}) '
                'AND (substr(body, 1, 10) <> \'{"event":"\' OR NOT json_valid(body)) GROUP BY 1',
                *some,
            )
            found.update(rows)
        return found

    def _by_time(
        self, where: str, *values: object, first: tuple[str, str] = ("", "")
    ) -> Iterator[Listed]:
        """Yield what is like that in the order of its opening, a page at a time."""
        after, greater = first, ">="
        while True:
            rows = self._listed(
                f"{where} AND (opened, name) {greater} (?, ?) ORDER BY opened, name",
                *values,
                *after,
            )
            yield from rows
            if len(rows) < PAGE:
                return
            after, greater = (rows[-1].case.opened, rows[-1].case.name), ">"

    def _by_key(self, where: str, *values: object) -> Iterator[Listed]:
        after = b""
        while True:
            rows = self._listed(f"{where} AND key > ? ORDER BY key", *values, after)
            yield from rows
            if len(rows) < PAGE:
                return
            after = rows[-1].case.key

    def _listed(self, where: str, *values: object, most: int | None = None) -> list[Listed]:
        rows = self._rows(
            f"SELECT {_COLUMNS}, summary FROM cases WHERE {where} LIMIT {most or PAGE}", *values
        )
        cases = [(_record(row[:-1]), row[-1]) for row in rows]
        return [Listed(case=case, summary=self._summary(case, text)) for case, text in cases]

    def _distinct(self, where: str, table: str = "cases") -> list[str | None]:
        """Return the machines of rows that are like that, from one to the next along an index."""
        rows = self._rows(
            "WITH RECURSIVE found (machine) AS ("
            f"SELECT min(machine) FROM {table} WHERE {where} UNION ALL "
            f"SELECT (SELECT min(machine) FROM {table} WHERE {where} AND machine > found.machine) "
            "FROM found WHERE found.machine IS NOT NULL) "
            "SELECT machine FROM found WHERE machine IS NOT NULL"
        )
        none = self._rows(f"SELECT 1 FROM {table} WHERE machine IS NULL AND {where} LIMIT 1")
        return [*(machine for (machine,) in rows), *([None] if none else [])]

    def _cases(self, where: str, *values: object) -> list[CaseRecord]:
        return [
            _record(row)
            for row in self._rows(f"SELECT {_COLUMNS} FROM cases WHERE {where}", *values)
        ]

    def _rows(self, query: str, *values: object) -> list[Any]:
        with self._in_plain_words():
            return self._patiently(lambda: self.base.execute(query, values).fetchall())

    def add_drill(self, drill: DrillRecord) -> None:
        """Write the result of a drill, with the time."""
        body = json.dumps(drill.body, ensure_ascii=False, separators=(",", ":"))
        texts = (drill.trainee, drill.symptom, drill.machine)
        with self._in_plain_words(), self._transaction():
            self.base.execute(
                "INSERT INTO drills (at, trainee, symptom, machine, seed, slips, passed, body) "
                "VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                (self.now(), *texts, drill.seed, drill.slips, drill.passed, body),
            )

    def drills(self, trainee: str | None = None) -> list[DrillRecord]:
        """Return the results of all drills, or of one trainee's (capitals or not), in order."""
        rows = self._rows(f"SELECT {', '.join(_DRILL)} FROM drills ORDER BY number")
        wanted = None if trainee is None else trainee.casefold()
        return [self._drill(row) for row in rows if wanted in (None, row[1].casefold())]

    def close(self) -> None:
        """Let go of the log."""
        self.base.close()

    def _accept(self, *, make: bool) -> None:
        """Take a log of ours, make one of a new file, lift an older one; touch nothing else."""
        application, version, tables = self._marks()
        if application == APPLICATION and version > VERSION:
            raise LogError(
                f"{self.path}: this log is from a newer version of the program; update the program."
            )
        if application == APPLICATION and version == VERSION:
            return
        ours = application == APPLICATION and version in OLD
        if not ours and (application or version or tables):
            raise LogError(f"{self.path}: this is no case log; name another file with --log.")
        if not ours and not make:
            raise LogError(f"{self.path}: there is no case in this log yet.")
        with ExitStack() as afterwards, self._transaction():
            # Somebody else may have made or lifted it while we waited for the lock.
            version = self.base.execute("PRAGMA user_version").fetchone()[0]
            if version in OLD:
                self._lift(version, afterwards)
            elif version != VERSION:
                self._run(NEW)

    def _run(self, statements: str) -> None:
        for statement in statements.split(";"):
            self.base.execute(statement)

    def _lift(self, version: int, afterwards: ExitStack) -> None:
        """Lift a log of an earlier format, the old file kept beside it; in a transaction."""
        # Once in a log's life.
        from diagnose.log import beside, from_format_1

        # Nobody else can write now, and nothing was written yet: the file is the old log, whole.
        # It is closed after the transaction: on POSIX a process that closes a file gives up all its
        # locks on it, and somebody else would lift the log at the same time.
        old = afterwards.enter_context(self.path.open("rb"))
        kept = beside.kept(self.path, version, old)
        try:
            if version == 1:
                self._lift_from_1()
            else:
                columns = self.base.execute("PRAGMA table_info(cases)").fetchall()
                self._run(added({column[1] for column in columns}))
            for (key,) in self.base.execute("SELECT key FROM cases").fetchall():
                self._sum_anew(key, cures=True)
            self._run(MARKS)
        except BaseException as error:
            kept.unlink(missing_ok=True)
            if isinstance(error, from_format_1.CannotLift):
                raise LogError(
                    f"{self.path}: the log is damaged at {error}; restore a copy of the file."
                ) from error
            raise

    def _lift_from_1(self) -> None:
        from diagnose.log import from_format_1

        self._run(from_format_1.ASIDE + TABLES)
        cases = [_record(row) for row in self.base.execute(from_format_1.CASES)]
        names = {case.name for case in cases}
        for old in cases:
            rows = self.base.execute(from_format_1.EVENTS, (old.key,)).fetchall()
            for case in from_format_1.lifted(old, rows, _new_key, lambda: self._free_name(names)):
                self._put(case.record, case.begun_in)
                for logged in case.events:
                    number, at, event = logged.number, logged.at, logged.event
                    self._write(case.record, number, at, event, event.milestone, cures=False)
        self._run(from_format_1.DROP)

    def _marks(self) -> tuple[int, int, int]:
        """Return whose file it is, its version, and how many tables it has, all of one moment."""
        # Read one by one outside a transaction, they may fall before and after another program
        # makes the log, and a log of ours looks like somebody else's file.
        with self._transaction("DEFERRED"):
            application, version, tables = (
                self.base.execute(query).fetchone()[0]
                for query in (
                    "PRAGMA application_id",
                    "PRAGMA user_version",
                    "SELECT count(*) FROM sqlite_master",
                )
            )
        return application, version, tables

    def _logged(self, case: CaseRecord, row: tuple[int, str, str]) -> LoggedEvent:
        number, at, body = row
        try:
            return LoggedEvent(number=number, at=at, event=events.read(body))
        except events.Damaged as error:
            raise LogError(
                f"{self.path}: the log is damaged at case {case.name}, event {number}; "
                "restore a copy of the file."
            ) from error

    def _summary(self, case: CaseRecord, text: str) -> Summary:
        try:
            return _read_summary(text)
        except (msgspec.MsgspecError, UnicodeError):
            # It says nothing that the events do not.
            told, damaged = self._events_of(case)
            if damaged is None:
                return summed_up(case, told, self.begun_in(case) if case.round else ())
            return self._unreadable(case, told, damaged)

    def _events_of(self, case: CaseRecord) -> tuple[list[LoggedEvent], int | None]:
        """Return the events of a case, and the first that is damaged: those before it then."""
        told: list[LoggedEvent] = []
        for row in self.base.execute(_EVENTS, (case.key,)).fetchall():
            try:
                told.append(self._logged(case, row))
            except LogError:
                return told, row[0]
        return told, None

    def _unreadable(self, case: CaseRecord, told: Sequence[LoggedEvent], damaged: int) -> Summary:
        """Return what lists say of a case of which no summary was kept and not all can be read.

        Nobody knows what it says of its machine.
        """
        why = f"the log is damaged at event {damaged} of this case"
        is_ = MachineState(state=OUT_OF_USE, why=why, since=told[-1].at if told else case.opened)
        return Summary(is_=is_, holds=True, what=why, damaged=damaged)

    def _mark(self, case: CaseRecord) -> None:
        """Have lists say that an event of a case is damaged, where that can be written at once."""

        def marked() -> None:
            _, damaged = self._events_of(case)
            summary = replace(self._summary(case, self._row_of(case.key)[-1]), damaged=damaged)
            text = _encode_summary(summary).decode()
            self.base.execute("UPDATE cases SET summary = ? WHERE key = ?", (text, case.key))

        with suppress(sqlite3.Error):
            self._written(marked, 0.0)

    def _drill(self, row: tuple[Any, ...]) -> DrillRecord:
        told = dict(zip(_DRILL, row, strict=True))
        try:
            body = json.loads(told["body"])
        except ValueError as error:
            raise LogError(
                f"{self.path}: the log is damaged at a drill of {told['at']}; "
                "restore a copy of the file."
            ) from error
        kinds = {"slips": bool(told["slips"]), "passed": bool(told["passed"]), "body": body}
        return DrillRecord(**{**told, **kinds})

    def _put(self, case: CaseRecord, begun_in: bytes | None) -> None:
        self.base.execute(
            "INSERT INTO cases (key, name, symptom, machine, opened, changed, outcome, finding, "
            "found, round, begun_in, place) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, "
            "(SELECT count(*) FROM cases WHERE begun_in = ?))",
            (
                *(case.key, case.name, case.symptom, case.machine, case.opened, case.changed),
                *(case.outcome, case.finding, case.found, case.round, begun_in, begun_in),
            ),
        )

    def _write(
        self,
        case: CaseRecord,
        number: int,
        at: str,
        event: Event,
        milestone: bool,
        *,
        cures: bool = True,
    ) -> LoggedEvent:
        """Write an event, and what it says was cured; return it as it will be read again."""
        try:
            body = events.encode(event).decode()
        except UnicodeEncodeError:
            # A name from the command line may hold halves of letters.
            body = events.written(event)
            event = events.read(body)
        self.base.execute(
            'INSERT INTO events ("case", number, at, milestone, body) VALUES (?, ?, ?, ?, ?)',
            (case.key, number, at, int(milestone), body),
        )
        if milestone and cures:
            self._put_cures(case, at, event)
        return LoggedEvent(number=number, at=at, event=event)

    def _put_cures(self, case: CaseRecord, at: str, event: Event) -> None:
        self.base.executemany(
            'INSERT INTO cures (machine, symptom, finding, at, "case", words, parts) '
            "VALUES (?, ?, ?, ?, ?, ?, ?)",
            [
                (case.machine, *one.finding, at, case.key, one.words, _parts(one.parts))
                for one in cures_by(case, at, event)
            ],
        )

    def _sum(
        self, record: CaseRecord, told: tuple[LoggedEvent, ...], known: _InMind | None
    ) -> None:
        """Keep what lists say of a case, given its events; `known` is what was kept before."""
        begun = self.begun_in(record) if record.round is not None else ()
        account = Account(told)
        summary = summed_up(record, told, begun, account)
        self._keep(record, ground(summary, account) or summary, known, told)

    def _sum_past(self, record: CaseRecord, event: Event, damaged: int) -> None:
        """Keep what lists say of a case of which not all events can be read."""
        known = self._summary(record, self._row_of(record.key)[-1])
        self._keep(record, past_damage(known, event, damaged), None, ())

    def _sum_anew(self, key: bytes, *, cures: bool = False) -> None:
        """Keep what lists say of a case, read from its events; its `cures` too in a new table."""
        record, told, damaged = self._read_whole(key)
        if cures:
            for logged in told:
                self._put_cures(record, logged.at, logged.event)
        if damaged is None:
            self._sum(record, told, None)
        else:
            self._keep(record, self._unreadable(record, told, damaged), None, ())
        # Of a round, its cases are in it too.
        self._in_mind.pop(key, None)

    def _keep(
        self,
        record: CaseRecord,
        made: Summary | Ground,
        known: _InMind | None,
        told: tuple[LoggedEvent, ...],
    ) -> None:
        """Keep the row of a case: all of it, or what alone most of its events change."""
        summary = made.summary if isinstance(made, Ground) else made
        text = _encode_summary(summary).decode()
        listed = _listed_as(record, summary)
        if known is not None and known.listed == listed and record.round is None:
            # So no page of an index is written.
            self.base.execute(
                "UPDATE cases SET changed = ?, summary = ? WHERE key = ?",
                (record.changed, text, record.key),
            )
        else:
            self.base.execute(
                "UPDATE cases SET outcome = ?, finding = ?, found = ?, waits = ?, state = ?, "
                "since = ?, left_at = ?, notes = ?, clears = ?, changed = ?, summary = ? "
                "WHERE key = ?",
                (*listed, record.changed, text, record.key),
            )
        if told:
            stands = made if isinstance(made, Ground) else None
            self._to_remember = _InMind(record, told, listed, stands)

    def _read_whole(self, key: bytes) -> tuple[CaseRecord, tuple[LoggedEvent, ...], int | None]:
        """Return a case, its events, and the number of the first one that is damaged, if any is."""
        record = _record(self._row_of(key)[:-1])
        told, damaged = self._events_of(record)
        return record, tuple(told), damaged

    def _row_of(self, key: bytes) -> tuple[Any, ...]:
        query = f"SELECT {_COLUMNS}, summary FROM cases WHERE key = ?"
        row: tuple[Any, ...] = self.base.execute(query, (key,)).fetchone()
        return row

    def _begun_in_key(self, key: bytes) -> bytes:
        found: bytes
        (found,) = self.base.execute("SELECT begun_in FROM cases WHERE key = ?", (key,)).fetchone()
        return found

    def _free_name(self, taken: set[str] | None = None) -> str:
        for attempt in range(200):
            name = "".join(
                secrets.choice(_DIGITS if place % 2 else _LETTERS)
                # Where four places are crowded, the names grow.
                for place in range(4 + attempt // 20)
            )
            if taken is not None and name in taken:
                continue
            if not self.base.execute("SELECT 1 FROM cases WHERE name = ?", (name,)).fetchone():
                return name
        raise LogError(f"{self.path}: no name is free any more; start a new log with --log.")

    def _written(self, action: Callable[[], _Result], wait: float | None) -> _Result:
        """Return what is written in one transaction, all of it or nothing, once that can be."""

        def once() -> _Result:
            self._to_remember = None
            with self._transaction():
                return action()

        result = self._patiently(once, wait)
        if self._to_remember is not None:
            key = self._to_remember.record.key
            self._in_mind.pop(key, None)
            self._in_mind[key] = self._to_remember
            for key in list(self._in_mind)[:-_IN_MIND]:
                del self._in_mind[key]
        return result

    def _patiently(self, action: Callable[[], _Result], wait: float | None = None) -> _Result:
        try:
            return action()
        except sqlite3.Error as error:
            if not _is_busy(error):
                raise
        # Seldom: nobody was in the way, nearly always.
        return patiently(action, _is_busy, self.wait if wait is None else wait, self.busy)

    @contextmanager
    def _transaction(self, kind: str = "IMMEDIATE") -> Iterator[None]:
        self.base.execute(f"BEGIN {kind}")
        try:
            yield
            self.base.execute("COMMIT")
        except BaseException:
            # A commit that failed for a full disk has rolled back by itself.
            if self.base.in_transaction:
                self.base.execute("ROLLBACK")
            raise

    @contextmanager
    def _in_plain_words(self, case: str = "", unkept: Event | None = None) -> Iterator[None]:
        try:
            yield
        except sqlite3.IntegrityError as error:
            raise OpenElsewhere(
                f"{self.path}: case {case} is open elsewhere and went on there; go on there."
                f"{_lost(case, unkept)}"
            ) from error
        except sqlite3.Error as error:
            kind = LogBusy if _is_busy(error) else LogError
            raise kind(f"{self.path}: {_reason(error)}{_lost(case, unkept)}") from error
        except OSError as error:
            reason = (error.strerror or "it cannot be used").lower()
            raise LogError(f"{self.path}: {reason}; name another file with --log.") from error


def _lost(case: str, unkept: Event | None) -> str:
    """Return what was not kept, and how to go on from what was."""
    told = "" if unkept is None else f" Not kept: {events.in_words(unkept)}."
    return f"{told} All before it is kept: `diagnose resume {case}`." if case else told


def _is_busy(error: Exception) -> bool:
    """Whether somebody else is using the log just now, and it may be had a little later."""
    code = getattr(error, "sqlite_errorcode", -1) & 0xFF
    return code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)


def _reason(error: sqlite3.Error) -> str:
    words = {
        sqlite3.SQLITE_BUSY: "the log is locked by another program; close it and try again.",
        sqlite3.SQLITE_LOCKED: "the log is locked by another program; close it and try again.",
        sqlite3.SQLITE_READONLY: "the log is read-only; make it writable or name another (--log).",
        sqlite3.SQLITE_FULL: "the disk is full; make room.",
        sqlite3.SQLITE_IOERR: "the disk cannot be written; make room or name another with --log.",
        sqlite3.SQLITE_NOTADB: "this is no case log; name another file with --log.",
        sqlite3.SQLITE_CORRUPT: "the log is damaged; restore a copy of the file.",
        sqlite3.SQLITE_CANTOPEN: "the log cannot be opened; name another file with --log.",
        sqlite3.SQLITE_PERM: "the log may not be used by you; name another file with --log.",
    }
    # A code of more detail has that of its kind in its last byte.
    code = getattr(error, "sqlite_errorcode", -1) & 0xFF
    return words.get(code, f"the log cannot be used ({error}).")


def _make(path: Path) -> None:
    """Make the file of a new log, and its folder, for their owner alone: names are in it."""
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    with suppress(FileExistsError):
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))


def _utc() -> str:
    return clock.now().isoformat(timespec="seconds")


def _new_key() -> bytes:
    return secrets.token_bytes(16)


def _record(row: Sequence[Any]) -> CaseRecord:
    # By name and not by a loop: a list makes ten thousands of them.
    return CaseRecord(
        key=row[0],
        name=row[1],
        symptom=row[2],
        machine=row[3],
        opened=row[4],
        changed=row[5],
        outcome=row[6],
        finding=row[7],
        found=row[8],
        round=row[9],
        begun_in=row[10],
    )


def _after(record: CaseRecord, at: str, event: Event) -> CaseRecord:
    """Return what is known of a case after a milestone; a release changes nothing of it."""
    if isinstance(event, Released):
        return record
    cured = isinstance(event, Replied) and event.outcome == "cured"
    return replace(
        record,
        changed=at,
        outcome=event.outcome or record.outcome,
        finding=event.step if cured and isinstance(event, Replied) else record.finding,
        found=event.words if isinstance(event, Found) else record.found,
    )


def _listed_as(record: CaseRecord, summary: Summary) -> tuple[object, ...]:
    """Return the columns by which a case is found for a list, which most replies do not change."""
    marks = [mark.mark for mark in summary.left]
    clears = (
        record.outcome == "walked"
        and summary.left_at != ""
        and not summary.going_on
        and replies.NOT_NOW not in marks
    )
    waits = summary.holds or (record.round is None and record.waits)
    return (
        *(record.outcome, record.finding, record.found),
        *(int(waits), summary.is_.state if summary.holds else IN_USE, summary.is_.since),
        *(summary.left_at, int(bool(summary.not_right)), int(clears)),
    )


def _parts(parts: Sequence[str]) -> str:
    return json.dumps(parts, ensure_ascii=False) if parts else ""


_encode_summary: Final = msgspec.json.Encoder().encode


@cache
def _summary_decoder() -> Callable[[str], Summary]:
    return msgspec.json.Decoder(Summary).decode


def _read_summary(text: str) -> Summary:
    return _summary_decoder()(text)


def _nothing() -> None:
    """Say nothing of a wait."""
