"""The tables of the log's file, and how those of earlier versions become today's."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Container

#: "dCas": tells a case log from every other SQLite file.
APPLICATION: Final = 0x64436173
VERSION: Final = 5

#: The versions that are lifted into today's. One of version 2 knows no release, one of 3 keeps no
#: summaries, in one of 4 every event changes its case's row; none holds anything else that is
#: written otherwise now.
OLD: Final = (1, 2, 3, 4)

#: What lists ask of a case, beside its summary as JSON. `waits`: it holds its machine, was left, or
#: waits for service. Of a round, `left_at` is when it was ended or left last ("": never), `notes`:
#: something stays noted as not right in it, `clears`: it ends what earlier ones have noted.
LISTED: Final = {
    "waits": "INTEGER NOT NULL DEFAULT 0 CHECK (waits IN (0, 1))",
    "state": "TEXT NOT NULL DEFAULT ''",
    "since": "TEXT",
    "left_at": "TEXT NOT NULL DEFAULT ''",
    "notes": "INTEGER NOT NULL DEFAULT 0 CHECK (notes IN (0, 1))",
    "clears": "INTEGER NOT NULL DEFAULT 0 CHECK (clears IN (0, 1))",
    "summary": "TEXT NOT NULL DEFAULT ''",
}

_COLUMNS: Final = "".join(f"    {name} {kind},\n" for name, kind in LISTED.items())

_CASES: Final = f"""
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
{_COLUMNS}    CHECK ((symptom = '') = (round IS NOT NULL)),
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

#: A plain reply changes nothing that these are on, nor any other column of its case's row.
_LISTS: Final = """
CREATE INDEX cases_by_time ON cases (opened DESC, name);
CREATE INDEX cases_open ON cases (opened DESC, name) WHERE outcome = 'open';
CREATE INDEX cases_waiting ON cases (machine, opened, name, state, since, waits) WHERE waits;
CREATE INDEX rounds_by_time ON cases (machine, opened, name) WHERE round IS NOT NULL;
CREATE INDEX rounds_by_name ON cases (machine, round, opened, name) WHERE round IS NOT NULL;
CREATE INDEX rounds_left ON cases (machine, round, left_at) WHERE left_at <> '';
CREATE INDEX rounds_noted ON cases (machine, round) WHERE notes;
CREATE INDEX rounds_clearing ON cases (machine, round, opened, name) WHERE clears;
CREATE TABLE cures (
    number INTEGER PRIMARY KEY,
    machine TEXT,
    symptom TEXT NOT NULL,
    finding TEXT NOT NULL,
    at TEXT NOT NULL,
    "case" BLOB NOT NULL REFERENCES cases (key),
    words TEXT,
    parts TEXT NOT NULL
);
CREATE INDEX cures_by_machine ON cures (machine, symptom, finding, at);
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

MARKS: Final = f"""
PRAGMA application_id = {APPLICATION};
PRAGMA user_version = {VERSION};
"""

#: All that a new log has, but its marks and the table of drills, which every version had.
TABLES: Final = _CASES + _LISTS
NEW: Final = TABLES + _DRILLS + MARKS


def added(columns: Container[str]) -> str:
    """Return what makes tables of versions 2 to 4 today's, but the summaries themselves.

    `columns` are those that the table of cases has.
    """
    missing = {name: kind for name, kind in LISTED.items() if name not in columns}
    adding = [f"ALTER TABLE cases ADD COLUMN {name} {kind};\n" for name, kind in missing.items()]
    made = _LISTS.replace("CREATE INDEX", "CREATE INDEX IF NOT EXISTS")
    made = made.replace("CREATE TABLE", "CREATE TABLE IF NOT EXISTS")
    return f"{''.join(adding)}{made}DELETE FROM cures;\n"
