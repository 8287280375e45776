"""The journal's tables, and the way from every earlier form of them to this one.

``PRAGMA user_version`` holds the version, ``application_id`` marks the file as a journal. Each
entry of :data:`MIGRATIONS` leads from the version before it to its own; an entry that was ever in
use is never changed again. A migration and its new version number are one transaction: it is
there whole or not at all.

Times: ``date`` is ISO 8601 as it was given, ``day`` counts days as ``date.toordinal`` does.
"""

from __future__ import annotations

import sqlite3
from typing import Final

from skeleton.errors import JournalError

APPLICATION_ID: Final = 0x45745363
"""Marks an SQLite file as a journal of this program ("EtSc")."""

_FIRST: Final = """
CREATE TABLE student (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE COLLATE NOCASE);
CREATE TABLE etude (id INTEGER PRIMARY KEY, content TEXT NOT NULL UNIQUE, title TEXT);
CREATE TABLE note (
    id INTEGER PRIMARY KEY,
    etude INTEGER NOT NULL REFERENCES etude (id),
    key TEXT NOT NULL,
    UNIQUE (etude, key)
);
CREATE TABLE take (
    id INTEGER PRIMARY KEY,
    student INTEGER NOT NULL REFERENCES student (id),
    etude INTEGER NOT NULL REFERENCES etude (id),
    date TEXT NOT NULL,
    day INTEGER NOT NULL,
    path TEXT,
    fingerprint TEXT NOT NULL,
    UNIQUE (student, etude, fingerprint)
);
CREATE TABLE measurement (
    student INTEGER NOT NULL REFERENCES student (id),
    etude INTEGER NOT NULL REFERENCES etude (id),
    note INTEGER NOT NULL REFERENCES note (id),
    day INTEGER NOT NULL,
    take INTEGER NOT NULL,
    nth INTEGER NOT NULL,
    deviation_cents REAL NOT NULL,
    uncertainty_cents REAL NOT NULL,
    verdict INTEGER NOT NULL,
    lean_cents REAL,
    confidence REAL,
    PRIMARY KEY (student, etude, note, day, take, nth)
) WITHOUT ROWID;
CREATE INDEX take_by_etude ON take (etude, student, day);
"""
# All that is asked of measurements is asked of one student and one etude, note by note in order
# of time: they lie on disk in that order, and are read without a search.

_MARKS: Final = """
CREATE TABLE ear_mark (
    student INTEGER NOT NULL REFERENCES student (id),
    etude INTEGER NOT NULL REFERENCES etude (id),
    date TEXT NOT NULL,
    day INTEGER NOT NULL,
    note INTEGER NOT NULL REFERENCES note (id),
    says TEXT NOT NULL,
    PRIMARY KEY (student, etude, date, note)
) WITHOUT ROWID;
CREATE TABLE listening (
    student INTEGER NOT NULL REFERENCES student (id),
    etude INTEGER NOT NULL REFERENCES etude (id),
    date TEXT NOT NULL,
    day INTEGER NOT NULL,
    PRIMARY KEY (student, etude, date)
) WITHOUT ROWID;
"""
# A listening with no mark says something too: that everything pleased.

_LESSONS: Final = """
CREATE TABLE lesson (
    id INTEGER PRIMARY KEY,
    student INTEGER NOT NULL REFERENCES student (id),
    etude INTEGER NOT NULL REFERENCES etude (id),
    date TEXT NOT NULL,
    day INTEGER NOT NULL,
    text TEXT NOT NULL,
    UNIQUE (student, etude, day, text)
);
"""

_DAYS: Final = """
CREATE TABLE note_day (
    student INTEGER NOT NULL REFERENCES student (id),
    etude INTEGER NOT NULL REFERENCES etude (id),
    note INTEGER NOT NULL REFERENCES note (id),
    day INTEGER NOT NULL,
    times INTEGER NOT NULL,
    deviation_sum_cents REAL NOT NULL,
    in_tune INTEGER NOT NULL,
    flat INTEGER NOT NULL,
    sharp INTEGER NOT NULL,
    lean_times INTEGER NOT NULL,
    lean_sum_cents REAL NOT NULL,
    PRIMARY KEY (student, etude, note, day)
) WITHOUT ROWID;
INSERT INTO note_day
SELECT student, etude, note, day, count(*), sum(deviation_cents), sum(verdict = 0),
       sum(verdict = 2), sum(verdict = 1), count(lean_cents), total(lean_cents)
FROM measurement GROUP BY student, etude, note, day;
"""
# What is asked of a record is asked by days. Summed up as takes come in, the answer costs what the
# days cost, however many takes a day has. Verdicts: 0 in tune, 1 sharp, 2 flat.

_STRETCHES: Final = """
CREATE TABLE stretch (
    student INTEGER NOT NULL REFERENCES student (id),
    etude INTEGER NOT NULL REFERENCES etude (id),
    days INTEGER NOT NULL,
    PRIMARY KEY (student, etude)
) WITHOUT ROWID;
INSERT INTO stretch
WITH RECURSIVE length (days) AS (
    SELECT 1 UNION ALL SELECT 2 * days FROM length WHERE days < 65536
), short_enough AS (
    SELECT t.student, t.etude, length.days
    FROM (SELECT DISTINCT student, etude, day FROM take) AS t CROSS JOIN length
    GROUP BY t.student, t.etude, length.days HAVING count(DISTINCT t.day / length.days) <= 64
)
SELECT student, etude, min(days) FROM short_enough GROUP BY student, etude HAVING min(days) > 1;
CREATE TABLE note_stretch (
    student INTEGER NOT NULL REFERENCES student (id),
    etude INTEGER NOT NULL REFERENCES etude (id),
    note INTEGER NOT NULL REFERENCES note (id),
    first_day INTEGER NOT NULL,
    times INTEGER NOT NULL,
    deviation_sum_cents REAL NOT NULL,
    in_tune INTEGER NOT NULL,
    flat INTEGER NOT NULL,
    sharp INTEGER NOT NULL,
    lean_times INTEGER NOT NULL,
    lean_sum_cents REAL NOT NULL,
    PRIMARY KEY (student, etude, note, first_day)
) WITHOUT ROWID;
INSERT INTO note_stretch
SELECT d.student, d.etude, d.note, d.day - d.day % coalesce(s.days, 1), sum(d.times),
       sum(d.deviation_sum_cents), sum(d.in_tune), sum(d.flat), sum(d.sharp), sum(d.lean_times),
       sum(d.lean_sum_cents)
FROM note_day AS d LEFT JOIN stretch AS s ON s.student = d.student AND s.etude = d.etude
GROUP BY d.student, d.etude, d.note, d.day - d.day % coalesce(s.days, 1);
DROP TABLE note_day;
"""
# See skeleton.journal.stretches. 65,536 days: more than 64 of these no calendar has.

MIGRATIONS: Final[tuple[str, ...]] = (_FIRST, _MARKS, _LESSONS, _DAYS, _STRETCHES)
"""What leads to version 1, 2, ... 5: takes; what was heard; lessons; sums by day; by stretch."""

VERSION: Final = len(MIGRATIONS)
"""The version this program writes."""


def migrate(connection: sqlite3.Connection, source: str) -> None:
    """Bring an open journal to this version; a new file becomes an empty journal.

    Args:
        connection: in autocommit mode.
        source: the journal's name in messages.

    Raises:
        JournalError: the file is another program's, or of a later version of this one.
        sqlite3.Error: it cannot be written.
    """
    if _pragma(connection, "user_version") == VERSION:
        _check_ours(connection, source)
        return
    connection.execute("BEGIN IMMEDIATE")
    try:
        # Another process may have done it while this one waited for the lock.
        version = _pragma(connection, "user_version")
        empty = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0] == 0
        if version or not empty:
            _check_ours(connection, source)
        if version > VERSION:
            raise JournalError(
                f"{source}: was written by a later version of this program (journal {version}, "
                f"this one knows {VERSION}); install that version"
            )
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        for step in MIGRATIONS[version:]:
            for statement in step.split(";"):
                if statement.strip():
                    connection.execute(statement)
        connection.execute(f"PRAGMA user_version = {VERSION}")
        connection.execute("COMMIT")
    except BaseException:
        connection.execute("ROLLBACK")
        raise


def _check_ours(connection: sqlite3.Connection, source: str) -> None:
    if _pragma(connection, "application_id") != APPLICATION_ID:
        raise JournalError(
            f"{source}: is a database of another program; give --journal another name"
        )


def _pragma(connection: sqlite3.Connection, name: str) -> int:
    value: int = connection.execute(f"PRAGMA {name}").fetchone()[0]
    return value
