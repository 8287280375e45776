"""The journal: what is put into it and what is asked of it.

* Every commit is forced to disk: what was confirmed (a method that returned) outlives a crash of
  the program or the machine; what was not is not there at all.
* Several processes may use one journal at once; a writer waits for another.
* A shared network drive is no place for it: write-ahead mode needs the memory of one machine
  (SQLite documentation, "Write-Ahead Logging").
* Recordings are not copied in: a take keeps the path it was measured from.
* A take recorded twice is kept once.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from datetime import date
from itertools import groupby
from operator import itemgetter
from os import PathLike
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

from skeleton.errors import JournalError, TakeError
from skeleton.journal.connection import open_connection, told, transaction
from skeleton.journal.keeping import VERDICTS, kept
from skeleton.journal.records import Days, Heard, Holding, Kept, Music
from skeleton.journal.stretches import ADD, READ, lengthen, stretch_days
from skeleton.journal.take import MarkedTake, MeasuredTake, day_of

_LONGEST_NAME: Final = 200

_KEYS: Final = (
    "SELECT n.id, n.key FROM student AS s CROSS JOIN note AS n WHERE s.id = ? AND n.etude = ?"
)

_OF_A_STUDENT: Final = (
    "note_stretch",
    "stretch",
    "measurement",
    "ear_mark",
    "listening",
    "lesson",
    "take",
)

_NOBODYS: Final = """
DELETE FROM {table} WHERE {etude} NOT IN (
    SELECT etude FROM take UNION SELECT etude FROM listening UNION SELECT etude FROM lesson)
"""

# A listening belongs to the take of the same moment, or to the only take of its day. CROSS JOIN
# keeps SQLite to this order, in which each measurement is found by its whole key.
_HEARD: Final = """
SELECT n.key, l.day, avg(m.deviation_cents), avg(m.uncertainty_cents), max(e.says)
FROM listening AS l
CROSS JOIN take AS t ON t.student = l.student AND t.etude = l.etude AND t.day = l.day
CROSS JOIN note AS n ON n.etude = l.etude
CROSS JOIN measurement AS m ON m.student = l.student AND m.etude = l.etude AND m.note = n.id
    AND m.day = t.day AND m.take = t.id
LEFT JOIN ear_mark AS e ON e.student = l.student AND e.etude = l.etude
    AND e.date = l.date AND e.note = m.note
WHERE l.student = ? AND l.etude = ? AND (t.date = l.date OR 1 = (
    SELECT count(*) FROM take AS o
    WHERE o.etude = l.etude AND o.student = l.student AND o.day = l.day))
GROUP BY l.date, t.id, m.note ORDER BY l.day, l.date, m.note
"""


class Journal:
    """An open journal. Use it in a ``with`` block, in one thread.

    Raises:
        JournalError: the file cannot be opened, is no journal, or is damaged; also from every
            method, where it cannot be read or written.
    """

    def __init__(self, path: str | PathLike[str], *, create: bool = True) -> None:
        self.path = Path(path)
        if not create and not self.path.is_file():
            raise JournalError(
                f"{self.path}: there is no journal; record a take first, or name one with --journal"
            )
        self.connection = open_connection(self.path)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self.connection.close()

    def record(self, student: str, music: Music, take: MeasuredTake) -> bool:
        """Keep a take; return False where it was kept already.

        Raises:
            TakeError: it speaks of notes the etude does not have.
            JournalError: the name is none, or the journal cannot be written.
        """
        rows = [(_key(music, one.note, "take"), one) for one in take.notes]
        said = [f"{key} {one.deviation_cents!r} {one.verdict}" for key, one in rows]
        # Sorted, since an export has its own order. Takes kept before that have the other one.
        fingerprint, unsorted = (_digest(take.date, lines) for lines in (sorted(said), said))
        day = day_of(take.date)
        with told(self.path), transaction(self.connection):
            student_id = self._student(checked_name(student))
            etude_id = self._etude(music)
            if self.connection.execute(
                "SELECT 1 FROM take WHERE student = ? AND etude = ? AND fingerprint IN (?, ?)",
                (student_id, etude_id, fingerprint, unsorted),
            ).fetchone():
                return False
            added = self.connection.execute(
                "INSERT INTO take (student, etude, date, day, path, fingerprint) "
                "VALUES (?, ?, ?, ?, ?, ?)",
                (student_id, etude_id, take.date, day, _storable(take.path), fingerprint),
            )
            taken = added.lastrowid
            assert taken is not None  # noqa: S101 - an insert has one
            size = stretch_days(self.connection, student_id, etude_id)
            notes = self._notes(etude_id, (key for key, _ in rows))
            times: dict[str, int] = {}
            for key, one in rows:
                times[key] = times.get(key, 0) + 1
                where = (student_id, etude_id, notes[key])
                counts = tuple(one.verdict == each for each in ("in tune", "flat", "sharp"))
                leans = (one.lean_cents is not None, one.lean_cents or 0.0)
                self.connection.execute(
                    ADD, (*where, day - day % size, one.deviation_cents, *counts, *leans)
                )
                self.connection.execute(
                    "INSERT INTO measurement VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                    (
                        *where,
                        day,
                        taken,
                        times[key],
                        one.deviation_cents,
                        one.uncertainty_cents,
                        VERDICTS.index(one.verdict),
                        one.lean_cents,
                        one.confidence,
                    ),
                )
            lengthen(self.connection, student_id, etude_id, taken, day)
        return True

    def add_marks(self, student: str, music: Music, takes: Iterable[MarkedTake]) -> None:
        """Keep what was marked by ear; marks of the same listening are put in place of older ones.

        Raises:
            TakeError: they speak of notes the etude does not have.
            JournalError: the name is none, or the journal cannot be written.
        """
        with told(self.path), transaction(self.connection):
            who = (self._student(checked_name(student)), self._etude(music))
            for take in takes:
                when = (*who, take.date)
                for table in ("ear_mark", "listening"):
                    self.connection.execute(
                        f"DELETE FROM {table} WHERE student = ? AND etude = ? AND date = ?",  # noqa: S608 - two fixed names
                        when,
                    )
                day = day_of(take.date)
                self.connection.execute("INSERT INTO listening VALUES (?, ?, ?, ?)", (*when, day))
                said = {_key(music, mark.note, "marks"): mark.says for mark in take.marks}
                notes = self._notes(who[1], said)
                self.connection.executemany(
                    "INSERT INTO ear_mark VALUES (?, ?, ?, ?, ?, ?)",
                    [(*when, day, notes[key], says) for key, says in said.items()],
                )

    def add_lesson(self, student: str, music: Music, when: str, text: str) -> None:
        """Keep the text of the lesson file a student was given on that date.

        Raises:
            JournalError: the name is none, or the journal cannot be written.
        """
        with told(self.path), transaction(self.connection):
            self.connection.execute(
                "INSERT OR IGNORE INTO lesson (student, etude, date, day, text) "
                "VALUES (?, ?, ?, ?, ?)",
                (
                    self._student(checked_name(student)),
                    self._etude(music),
                    when,
                    day_of(when),
                    _storable(text),
                ),
            )

    @contextmanager
    def together(self) -> Iterator[None]:
        """Put in several things as one: all of them are kept, or none, when the block is left."""
        with told(self.path), transaction(self.connection):
            yield

    def holdings(self, content: str | None = None) -> tuple[Holding, ...]:
        """Return what is held, by student and etude; of one etude where its identity is given."""
        with told(self.path):
            rows = self.connection.execute(
                "SELECT s.name, e.content, e.title, count(*), min(t.day), max(t.day), "
                "coalesce(l.days, 1) FROM take AS t JOIN student AS s ON s.id = t.student "
                "JOIN etude AS e ON e.id = t.etude "
                "LEFT JOIN stretch AS l ON l.student = t.student AND l.etude = t.etude "
                "WHERE ? IS NULL OR e.content = ? "
                "GROUP BY t.etude, t.student ORDER BY s.name, e.title, e.id",
                (content, content),
            ).fetchall()
        return tuple(
            Holding(name, etude, title, takes, _iso(first), _iso(last), stretch)
            for name, etude, title, takes, first, last, stretch in rows
        )

    def days(self, student: str, content: str) -> tuple[Days, ...]:
        """Return every note of a student's takes of an etude, day by day.

        By stretches of days where there are many (:mod:`skeleton.journal.stretches`).
        """
        keys = dict(self._of(_KEYS, student, content))
        found = []
        for note, rows in groupby(self._of(READ, student, content), key=itemgetter(0)):
            _, *columns = zip(*rows, strict=True)
            found.append(Days(keys[note], *columns))
        return tuple(found)

    def heard(self, student: str, content: str) -> tuple[Heard, ...]:
        """Return the notes of all takes that were listened to, as measured and as marked."""
        return tuple(Heard(*row) for row in self._of(_HEARD, student, content))

    def everything(self, student: str | None = None) -> Iterator[Kept]:
        """Yield all that is kept, or all of one student: takes, listenings, lessons, by date."""
        yield from kept(self.connection, self.path, student)

    def backup(self, target: Path) -> None:
        """Write a copy of the journal as it is at one moment, also while others write in it.

        Args:
            target: a new file, or an empty one.

        Raises:
            JournalError: it cannot be written.
        """
        with told(target):
            copy = sqlite3.connect(target)
            try:
                with told(self.path):
                    self.connection.backup(copy)
                # One file, which can be carried away: without the log of the original's mode.
                copy.execute("PRAGMA journal_mode = DELETE")
            finally:
                copy.close()

    def forget(self, student: str) -> int:
        """Take a student out, with all takes, marks and lessons; return how many takes.

        Etudes that nobody else has go as well. What was deleted is overwritten with zeros and the
        file is packed anew, so that nothing of it stays on disk in this file. Backups and exports
        are other files.

        Raises:
            JournalError: there is no such student, the journal cannot be written, or another
                program is using it, so that its log cannot be emptied yet.
        """
        with told(self.path):
            with transaction(self.connection):
                found = self._find_student(student)
                if found is None:
                    raise JournalError(f"{self.path}: holds no student {student!r}")
                takes: int = self.connection.execute(
                    "SELECT count(*) FROM take WHERE student = ?", (found,)
                ).fetchone()[0]
                for table in _OF_A_STUDENT:
                    self.connection.execute(f"DELETE FROM {table} WHERE student = ?", (found,))  # noqa: S608 - fixed names
                self.connection.execute("DELETE FROM student WHERE id = ?", (found,))
                for table, etude in (("note", "etude"), ("etude", "id")):
                    self.connection.execute(_NOBODYS.format(table=table, etude=etude))
            self.connection.execute("VACUUM")
            busy: int = self.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
        if busy:
            raise JournalError(
                f"{self.path}: {student} is out of it, but another program is using it; close that "
                "program, and the last trace goes too"
            )
        return takes

    def _of(self, query: str, student: str, content: str) -> list[tuple[Any, ...]]:
        with told(self.path):
            found = self._find_student(student)
            etude = self.connection.execute(
                "SELECT id FROM etude WHERE content = ?", (content,)
            ).fetchone()
            if found is None or etude is None:
                return []
            return self.connection.execute(query, (found, etude[0])).fetchall()

    def _find_student(self, name: str) -> int | None:
        row = self.connection.execute(
            "SELECT id FROM student WHERE name = ?", (name.strip(),)
        ).fetchone()
        return row[0] if row else None

    def _student(self, name: str) -> int:
        self.connection.execute("INSERT OR IGNORE INTO student (name) VALUES (?)", (name,))
        found = self._find_student(name)
        assert found is not None  # noqa: S101 - it was just put in
        return found

    def _etude(self, music: Music) -> int:
        self.connection.execute(
            "INSERT INTO etude (content, title) VALUES (?, ?) ON CONFLICT (content) "
            "DO UPDATE SET title = coalesce(etude.title, excluded.title)",
            (music.content, _storable(music.title)),
        )
        row = self.connection.execute(
            "SELECT id FROM etude WHERE content = ?", (music.content,)
        ).fetchone()
        found: int = row[0]
        return found

    def _notes(self, etude: int, keys: Iterable[str]) -> Mapping[str, int]:
        known: dict[str, int] = dict(
            self.connection.execute("SELECT key, id FROM note WHERE etude = ?", (etude,)).fetchall()
        )
        for key in keys:
            if key not in known:
                added = self.connection.execute(
                    "INSERT INTO note (etude, key) VALUES (?, ?)", (etude, key)
                )
                assert added.lastrowid is not None  # noqa: S101 - an insert has one
                known[key] = added.lastrowid
        return known


def checked_name(name: str) -> str:
    """Return a student's name without spaces around it.

    Raises:
        JournalError: it is empty, too long, or holds what cannot be printed.
    """
    text = name.strip()
    if not text or len(text) > _LONGEST_NAME or not text.isprintable():
        raise JournalError(f"{name[:40]!r} is no name of a student; write a short one on one line")
    return text


def _digest(when: str, said: Iterable[str]) -> str:
    return hashlib.sha256("\n".join([when, *said]).encode()).hexdigest()


def _storable(text: str | None) -> str | None:
    """Return text as UTF-8 can hold it; names of files may have bytes that are no text."""
    return text and text.encode("utf-8", errors="backslashreplace").decode("utf-8")


def _key(music: Music, note: str, what: str) -> str:
    key = music.keys.get(note)
    if key is None:
        raise TakeError(
            f"note {note[:40]!r} of the {what} is not in this etude; name the score that was "
            "listened with"
        )
    return key


def _iso(day: int) -> str:
    return date.fromordinal(day).isoformat()
