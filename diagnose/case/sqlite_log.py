"""The case log in one SQLite file."""

from __future__ import annotations

import json
import secrets
import sqlite3
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import quote

from diagnose.case.drill_record import DRILLS_SCHEMA, DrillRecord
from diagnose.case.log import (
    CaseRecord,
    LogError,
    LoggedEvent,
    Milestone,
    OpenElsewhere,
    is_milestone,
)
from diagnose.case.screens import as_data
from diagnose.files import replies

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from diagnose.case.state import Event

#: "dCas": tells a case log from every other SQLite file.
APPLICATION: Final = 0x64436173
VERSION: Final = 1

_SCHEMA: Final = """
CREATE TABLE cases (
    key BLOB PRIMARY KEY CHECK (length(key) = 16),
    name TEXT NOT NULL UNIQUE,
    symptom TEXT NOT NULL,
    machine TEXT,
    opened TEXT NOT NULL,
    changed TEXT NOT NULL,
    outcome TEXT NOT NULL CHECK (outcome IN ('open', 'cured', 'referred', 'walked')),
    finding TEXT,
    found TEXT,
    round TEXT,
    CHECK ((symptom = '') = (round IS NOT NULL))
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
CREATE INDEX milestones ON events ("case", number) WHERE milestone;
"""

# Letters and digits that are not taken for one another, neither on paper nor over the phone.
_LETTERS: Final = "ABCDEFGHJKLMNPQRTUVWXY"
_DIGITS: Final = "2346789"

_COLUMNS: Final = "key, name, symptom, machine, opened, changed, outcome, finding, found, round"


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")


class SqliteLog:
    """A case log in the file `path`. Times come from `now`, keys and names from `secrets`.

    `mode` is "rwc" (made where it is missing), "rw" (must be there) or "ro".
    """

    def __init__(
        self,
        path: Path,
        mode: str = "rwc",
        *,
        now: Callable[[], str] = _now,
        wait: float = 3.0,
    ) -> None:
        self.path = path
        self.now = now
        with self._in_plain_words():
            if mode == "rwc":
                path.parent.mkdir(parents=True, exist_ok=True)
            where = f"file:{quote(str(path.absolute()))}?mode={mode}"
            self.base = sqlite3.connect(where, uri=True, timeout=wait, isolation_level=None)
            self._accept(make=mode == "rwc")
            # One rollback journal beside one file: a log can be copied, mailed and put on a share.
            # FULL: what was answered is on the disk before the next screen, power cut or not.
            self.base.execute("PRAGMA synchronous = FULL")

    def open_case(
        self,
        symptom: str,
        machine: str | None,
        event: Event,
        *,
        round: str | None = None,  # noqa: A002
    ) -> CaseRecord:
        """Write a new case with its first event, and return it. A `round` has no symptom: ""."""
        at = self.now()
        with self._in_plain_words(), self._transaction():
            name = self._free_name()
            case = CaseRecord(
                key=secrets.token_bytes(16),
                name=name,
                symptom=symptom,
                machine=machine,
                opened=at,
                changed=at,
                outcome="open",
                finding=None,
                found=None,
                round=round,
            )
            self.base.execute(
                f"INSERT INTO cases ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                (case.key, name, symptom, machine, at, at, "open", None, None, round),
            )
            self._write(case, 1, at, event)
        return case

    def append(self, case: CaseRecord, number: int, event: Event) -> None:
        """Write the event that has this number. Raises `OpenElsewhere` where it is taken."""
        at = self.now()
        outcome, finding = _outcome(case, event)
        with self._in_plain_words(case.name), self._transaction():
            self._write(case, number, at, event)
            self.base.execute(
                "UPDATE cases SET changed = ?, outcome = coalesce(?, outcome), "
                "finding = coalesce(?, finding), found = coalesce(?, found) WHERE key = ?",
                (at, outcome, finding, event.answer if event.kind == "found" else None, case.key),
            )

    def case(self, name: str) -> CaseRecord | None:
        """Return a case by its short name, capitals or not; None where there is none."""
        with self._in_plain_words():
            row = self.base.execute(
                f"SELECT {_COLUMNS} FROM cases WHERE name = ?", (name.strip().upper()[:40],)
            ).fetchone()
        return None if row is None else _record(row)

    def cases(self, machine: str | None = None) -> list[CaseRecord]:
        """Return all cases, or those of one machine, the newest first."""
        with self._in_plain_words():
            rows = self.base.execute(
                f"SELECT {_COLUMNS} FROM cases WHERE ? IS NULL OR machine = ? "
                "ORDER BY opened DESC, name",
                (machine, machine),
            ).fetchall()
        return [_record(row) for row in rows]

    def events(self, case: CaseRecord) -> list[LoggedEvent]:
        """Return all events of a case in their order."""
        with self._in_plain_words():
            rows = self.base.execute(
                'SELECT number, at, body FROM events WHERE "case" = ? ORDER BY number', (case.key,)
            ).fetchall()
        return [self._logged(case, row) for row in rows]

    def milestones(self, machine: str | None = None, since: str = "") -> list[Milestone]:
        """Return the milestones of all cases, or of one machine's, that changed `since` then.

        The cases come in the order in which they were opened, each one's events in theirs.
        """
        # Two statements, so that one machine's cases are found by its index.
        only, which = ("", ()) if machine is None else ("machine = ? AND ", (machine,))
        with self._in_plain_words():
            rows = self.base.execute(
                f"SELECT {_COLUMNS}, number, at, body "
                'FROM cases JOIN events ON events."case" = cases.key '
                f"WHERE {only}milestone AND changed >= ? ORDER BY opened, name, number",
                (*which, since),
            ).fetchall()
        found: list[Milestone] = []
        for row in rows:
            same = bool(found) and found[-1].case.key == row[0]
            case = found[-1].case if same else _record(row[:-3])
            found.append(Milestone(case=case, event=self._logged(case, row[-3:])))
        return found

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
        with self._in_plain_words():
            rows = self.base.execute(
                "SELECT at, trainee, symptom, machine, seed, slips, passed, body "
                "FROM drills ORDER BY number"
            ).fetchall()
        wanted = None if trainee is None else trainee.casefold()
        return [self._drill(row) for row in rows if wanted in (None, row[1].casefold())]

    def close(self) -> None:
        """Let go of the log."""
        self.base.close()

    def _accept(self, *, make: bool) -> None:
        """Take a log of ours, make one of a new file, and touch nothing else."""
        application, version, tables = self._marks()
        if application == APPLICATION and version > VERSION:
            raise LogError(
                f"{self.path}: this log is from a newer version of the program; update the program."
            )
        if application == APPLICATION and version == VERSION:
            return
        if application or version or tables:
            raise LogError(f"{self.path}: this is no case log; name another file with --log.")
        if not make:
            raise LogError(f"{self.path}: there is no case in this log yet.")
        with self._transaction():
            # Somebody else may have made it while we waited for the lock.
            if self.base.execute("PRAGMA application_id").fetchone()[0] == APPLICATION:
                return
            for statement in (_SCHEMA + DRILLS_SCHEMA).split(";"):
                self.base.execute(statement)
            self.base.execute(f"PRAGMA application_id = {APPLICATION}")
            self.base.execute(f"PRAGMA user_version = {VERSION}")

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
            return LoggedEvent(number=number, at=at, body=json.loads(body))
        except ValueError as error:
            raise LogError(
                f"{self.path}: the log is damaged at case {case.name}; restore a copy of the file."
            ) from error

    def _drill(self, row: tuple[Any, ...]) -> DrillRecord:
        at, trainee, symptom, machine, seed, slips, passed, body = row
        try:
            told = json.loads(body)
        except ValueError as error:
            raise LogError(
                f"{self.path}: the log is damaged at a drill of {at}; restore a copy of the file."
            ) from error
        return DrillRecord(
            at=at,
            trainee=trainee,
            symptom=symptom,
            machine=machine,
            seed=seed,
            slips=bool(slips),
            passed=bool(passed),
            body=told,
        )

    def _write(self, case: CaseRecord, number: int, at: str, event: Event) -> None:
        body = json.dumps(as_data(event), ensure_ascii=False, separators=(",", ":"))
        self.base.execute(
            'INSERT INTO events ("case", number, at, milestone, body) VALUES (?, ?, ?, ?, ?)',
            (
                case.key,
                number,
                at,
                int(is_milestone(event)),
                body.encode("utf-8", "replace").decode(),
            ),
        )

    def _free_name(self) -> str:
        for attempt in range(200):
            name = "".join(
                secrets.choice(_DIGITS if place % 2 else _LETTERS)
                # Where four places are crowded, the names grow.
                for place in range(4 + attempt // 20)
            )
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
    code = getattr(error, "sqlite_errorcode", None)
    code = code & 0xFF if code is not None else None
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
    return (
        words.get(code, f"the log cannot be used ({error}).")
        if code is not None
        else (f"the log cannot be used ({error}).")
    )


def _record(row: tuple[Any, ...]) -> CaseRecord:
    key, name, symptom, machine, opened, changed, outcome, finding, found, round_ = row
    return CaseRecord(
        key=key,
        name=name,
        symptom=symptom,
        machine=machine,
        opened=opened,
        changed=changed,
        outcome=outcome,
        finding=finding,
        found=found,
        round=round_,
    )


def _outcome(case: CaseRecord, event: Event) -> tuple[str | None, str | None]:
    """Return what an event makes of its case: the outcome and what cured it."""
    if case.round is not None:
        # What a diagnosis in a round comes to does not end the round; its own end has no symptom.
        ends = [trace.why for trace in event.trail if trace.what == "ended" and not trace.symptom]
        return {"walked": "walked", replies.DANGER: "referred"}.get("".join(ends)), None
    if event.kind == replies.CURED:
        return "cured", event.step
    ended = any(trace.what == "ended" for trace in event.trail)
    if ended and event.kind != replies.LEAVE:
        return "referred", None
    return None, None
