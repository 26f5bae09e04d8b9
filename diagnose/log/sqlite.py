"""The case log in one SQLite file. The only importer of sqlite3."""

from __future__ import annotations

import json
import os
import secrets
import sqlite3
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import quote

from diagnose.log import clock, events
from diagnose.log.drills import DrillRecord
from diagnose.log.events import Found, Released, Replied, RoundOpened
from diagnose.log.protocol import CaseRecord, LogError, LoggedEvent, Milestone, OpenElsewhere

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from diagnose.log.events import Event, Opened

#: "dCas": tells a case log from every other SQLite file.
APPLICATION: Final = 0x64436173
VERSION: Final = 3

#: The versions that are lifted into today's. One of version 2 knows no release, and holds nothing
#: that is written otherwise now.
_OLD: Final = (1, 2)

_TABLES: Final = """
CREATE TABLE cases (
    key BLOB PRIMARY KEY CHECK (length(key) = 16),
    name TEXT NOT NULL UNIQUE,
    symptom TEXT NOT NULL,
    machine TEXT,
    opened TEXT NOT NULL,
    changed TEXT NOT NULL,
    outcome TEXT NOT NULL
        CHECK (outcome IN ('open', 'cured', 'referred', 'walked', 'withdrawn')),
    finding TEXT,
    found TEXT,
    round TEXT,
    begun_in BLOB REFERENCES cases (key),
    place INTEGER,
    CHECK ((symptom = '') = (round IS NOT NULL)),
    CHECK (begun_in IS NULL OR round IS NULL)
) WITHOUT ROWID;
CREATE TABLE events (
    "case" BLOB NOT NULL REFERENCES cases (key),
    number INTEGER NOT NULL,
    at TEXT NOT NULL,
    milestone INTEGER NOT NULL CHECK (milestone IN (0, 1)),
    body TEXT NOT NULL,
    PRIMARY KEY ("case", number)
) WITHOUT ROWID;
CREATE INDEX cases_by_machine ON cases (machine, opened);
CREATE INDEX cases_by_round ON cases (begun_in, place) WHERE begun_in IS NOT NULL;
CREATE INDEX milestones ON events ("case", number) WHERE milestone;
"""

_DRILLS: Final = """
CREATE TABLE drills (
    number INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    trainee TEXT NOT NULL,
    symptom TEXT NOT NULL,
    machine TEXT,
    seed INTEGER NOT NULL,
    slips INTEGER NOT NULL CHECK (slips IN (0, 1)),
    passed INTEGER NOT NULL CHECK (passed IN (0, 1)),
    body TEXT NOT NULL
);
"""

_MARKS: Final = f"""
PRAGMA application_id = {APPLICATION};
PRAGMA user_version = {VERSION};
"""

# Letters and digits that are not taken for one another, neither on paper nor over the phone.
_LETTERS: Final = "ABCDEFGHJKLMNPQRTUVWXY"
_DIGITS: Final = "2346789"

_DRILL: Final = ("at", "trainee", "symptom", "machine", "seed", "slips", "passed", "body")

#: The columns of a case by the names of its record, `begun_in` as the round's name.
_FIELDS: Final = CaseRecord.__struct_fields__
_COLUMNS: Final = (
    "key, name, symptom, machine, opened, changed, outcome, finding, found, round, "
    "(SELECT name FROM cases AS begun WHERE begun.key = cases.begun_in)"
)


class SqliteLog:
    """A case log in the file `path`. Times come from `now`, keys and names from `secrets`.

    `mode` is "rwc" (made where it is missing), "rw" (must be there) or "ro".
    """

    def __init__(
        self,
        path: Path,
        mode: str = "rwc",
        *,
        now: Callable[[], str] | None = None,
        wait: float = 3.0,
    ) -> None:
        self.path = path
        self.now = now or _utc
        with self._in_plain_words():
            if mode == "rwc":
                _make(path)
            where = f"file:{quote(str(path.absolute()))}?mode={mode}"
            self.base = sqlite3.connect(where, uri=True, timeout=wait, isolation_level=None)
            self._accept(make=mode == "rwc")
            # One rollback journal beside one file: a log can be copied, mailed and put on a share.
            # FULL: what was answered is on the disk before the next screen, power cut or not.
            self.base.execute("PRAGMA synchronous = FULL")

    def open_case(
        self,
        machine: str | None,
        event: Opened | RoundOpened,
        *further: Event,
        begun_in: CaseRecord | None = None,
    ) -> CaseRecord:
        """Write a new case or round with its first event, and those that go with it, and return it.

        All of them are kept, or none. `begun_in` is the round that began it.
        """
        at = self.now()
        outcomes = [one.outcome for one in (event, *further) if one.outcome is not None]
        with self._in_plain_words(), self._transaction():
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
            for number, one in enumerate((event, *further), start=1):
                self._write(case.key, number, at, one)
        return case

    def append(self, case: CaseRecord, number: int, event: Event) -> None:
        """Write the event that has this number. Raises `OpenElsewhere` where it is taken."""
        at = self.now()
        outcome, finding, found = (None, None, None) if _plain(event) else _made_of(event)
        with self._in_plain_words(case.name), self._transaction():
            self._write(case.key, number, at, event)
            if isinstance(event, Released):
                return
            self.base.execute(
                "UPDATE cases SET changed = ?, outcome = coalesce(?, outcome), "
                "finding = coalesce(?, finding), found = coalesce(?, found) WHERE key = ?",
                (at, outcome, finding, found, case.key),
            )

    def case(self, name: str) -> CaseRecord | None:
        """Return a case by its short name, capitals or not; None where there is none."""
        found = self._cases("name = ?", name.strip().upper()[:40])
        return found[0] if found else None

    def cases(self, machine: str | None = None) -> list[CaseRecord]:
        """Return all cases, or those of one machine, the newest first."""
        return self._cases("? IS NULL OR machine = ? ORDER BY opened DESC, name", machine, machine)

    def begun_in(self, round_: CaseRecord) -> list[CaseRecord]:
        """Return the cases that a round began, in the order of their opening."""
        return self._cases("begun_in = ? ORDER BY place", round_.key)

    def events(self, case: CaseRecord) -> list[LoggedEvent]:
        """Return all events of a case in their order."""
        rows = self._rows(
            'SELECT number, at, body FROM events WHERE "case" = ? ORDER BY number', case.key
        )
        return [self._logged(case, row) for row in rows]

    def milestones(self, machine: str | None = None, since: str = "") -> list[Milestone]:
        """Return the milestones of all cases, or of one machine's, that changed `since` then.

        The cases come in the order in which they were opened, each one's events in theirs.
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
        return self._told(rows)

    def latest(self, machine: str | None = None) -> list[Milestone]:
        """Return the last event of each case that may hold its machine, or all machines.

        Those are the open and the referred ones, and a round that was walked to its end with a
        lockout in force. In the order in which they were opened.
        """
        only, which = ("", ()) if machine is None else ("machine = ? AND ", (machine,))
        # What is at its default is not written, and no text can hold these quotes bare.
        rows = self._rows(
            f"SELECT {_COLUMNS}, number, at, body "
            'FROM cases JOIN events ON events."case" = cases.key '
            f"WHERE {only}outcome IN ('open', 'referred', 'walked') "
            'AND number = (SELECT max(number) FROM events WHERE "case" = cases.key) '
            "AND (outcome != 'walked' OR instr(body, '\"locked\":true')) ORDER BY opened, name",
            *which,
        )
        return self._told(rows)

    def _told(self, rows: list[Any]) -> list[Milestone]:
        found: list[Milestone] = []
        for row in rows:
            same = bool(found) and found[-1].case.key == row[0]
            case = found[-1].case if same else _record(row[:-3])
            found.append(Milestone(case=case, logged=self._logged(case, row[-3:])))
        return found

    def _cases(self, where: str, *values: object) -> list[CaseRecord]:
        return [
            _record(row)
            for row in self._rows(f"SELECT {_COLUMNS} FROM cases WHERE {where}", *values)
        ]

    def _rows(self, query: str, *values: object) -> list[Any]:
        with self._in_plain_words():
            return self.base.execute(query, values).fetchall()

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
        ours = application == APPLICATION and version in _OLD
        if not ours and (application or version or tables):
            raise LogError(f"{self.path}: this is no case log; name another file with --log.")
        if not ours and not make:
            raise LogError(f"{self.path}: there is no case in this log yet.")
        with self._transaction():
            # Somebody else may have made or lifted it while we waited for the lock.
            version = self.base.execute("PRAGMA user_version").fetchone()[0]
            if version == VERSION:
                return
            if version == 1:
                self._lift()
            elif version == 2:
                self._run(_MARKS)
            else:
                self._run(_TABLES + _DRILLS + _MARKS)

    def _run(self, statements: str) -> None:
        for statement in statements.split(";"):
            self.base.execute(statement)

    def _lift(self) -> None:
        """Lift a log of format 1 into this one, the old file kept beside it; in a transaction."""
        # Once in a log's life.
        from diagnose.log import from_format_1

        # Nobody else can write now, and nothing was written yet: the file is the old log, whole.
        # SQLite reads it for us: on POSIX a process that closes a file of its own opening gives up
        # all its locks on it, and somebody else would lift the log at the same time.
        beside = from_format_1.kept_beside(self.path, self.base.serialize())
        try:
            self._run(from_format_1.ASIDE + _TABLES)
            cases = [_record(row) for row in self.base.execute(from_format_1.CASES)]
            names = {case.name for case in cases}
            for old in cases:
                rows = self.base.execute(from_format_1.EVENTS, (old.key,)).fetchall()
                for case in from_format_1.lifted(
                    old, rows, _new_key, lambda: self._free_name(names)
                ):
                    self._put(case.record, case.begun_in)
                    for logged in case.events:
                        self._write(case.record.key, logged.number, logged.at, logged.event)
            self._run(from_format_1.DROP + _MARKS)
        except BaseException as error:
            beside.unlink(missing_ok=True)
            if isinstance(error, from_format_1.CannotLift):
                raise LogError(
                    f"{self.path}: the log is damaged at {error}; restore a copy of the file."
                ) from error
            raise

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

    def _write(self, key: bytes, number: int, at: str, event: Event) -> None:
        milestone = not _plain(event) and event.milestone
        try:
            body = events.encode(event).decode()
        except UnicodeEncodeError:
            # A name from the command line may hold halves of letters.
            body = events.written(event)
        self.base.execute(
            'INSERT INTO events ("case", number, at, milestone, body) VALUES (?, ?, ?, ?, ?)',
            (key, number, at, int(milestone), body),
        )

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
    def _in_plain_words(self, case: str = "") -> Iterator[None]:
        resume = f" Nothing answered is lost: `diagnose resume {case}`." if case else ""
        try:
            yield
        except sqlite3.IntegrityError as error:
            raise OpenElsewhere(
                f"{self.path}: case {case} is open elsewhere and went on there; go on there."
            ) from error
        except sqlite3.Error as error:
            raise LogError(f"{self.path}: {_reason(error)}{resume}") from error
        except OSError as error:
            reason = (error.strerror or "it cannot be used").lower()
            raise LogError(f"{self.path}: {reason}; name another file with --log.") from error


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


def _record(row: tuple[Any, ...]) -> CaseRecord:
    return CaseRecord(**dict(zip(_FIELDS, row, strict=True)))


def _plain(event: Event) -> bool:
    """Whether an event is a reply that ends nothing and read nothing, as most are."""
    return (
        isinstance(event, Replied)
        and event.reading is None
        and not any(trace.what == "ended" for trace in event.trail)
    )


def _made_of(event: Event) -> tuple[str | None, str | None, str | None]:
    """Return what an event makes of its case: the outcome, what cured it, what service found."""
    if isinstance(event, Found):
        return None, None, event.finding
    cured = event.step if isinstance(event, Replied) and event.outcome == "cured" else None
    return event.outcome, cured, None
