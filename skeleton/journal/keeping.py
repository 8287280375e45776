"""All that a journal keeps, taken out one by one, without holding it all in memory."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from itertools import groupby
from pathlib import Path
from typing import Final

from skeleton.journal.connection import told, transaction
from skeleton.journal.records import Kept
from skeleton.journal.take import EarMark, MarkedTake, MeasuredNote, MeasuredTake
from skeleton.listening.verdict import Verdict

VERDICTS: Final[tuple[Verdict, ...]] = ("in tune", "sharp", "flat", "cannot tell")
"""A verdict is kept as its place in this list; the list may only grow."""

_WHOSE: Final = """
JOIN student AS s ON s.id = x.student JOIN etude AS e ON e.id = x.etude
WHERE ?1 IS NULL OR s.name = ?1
"""

_TAKES: Final = f"""
SELECT x.id, x.student, x.etude, s.name, e.content, e.title, x.date, x.path, x.day
FROM take AS x {_WHOSE} ORDER BY x.date, x.id
"""  # noqa: S608 - of this module's own texts

# CROSS JOIN: notes first, so that each measurement is found by its whole key.
_NOTES: Final = """
SELECT n.key, m.deviation_cents, m.uncertainty_cents, m.verdict, m.lean_cents, m.confidence
FROM note AS n CROSS JOIN measurement AS m ON m.student = ? AND m.etude = ? AND m.note = n.id
    AND m.day = ? AND m.take = ?
WHERE n.etude = ? ORDER BY n.id, m.nth
"""

_LISTENINGS: Final = f"""
SELECT s.name, e.content, e.title, x.date, n.key, m.says
FROM listening AS x
LEFT JOIN ear_mark AS m ON m.student = x.student AND m.etude = x.etude AND m.date = x.date
LEFT JOIN note AS n ON n.id = m.note {_WHOSE}
ORDER BY x.date, x.student, x.etude, n.id
"""  # noqa: S608 - of this module's own texts

_LESSONS: Final = f"""
SELECT s.name, e.content, e.title, x.date, x.text FROM lesson AS x {_WHOSE} ORDER BY x.date, x.id
"""  # noqa: S608 - of this module's own texts


def kept(connection: sqlite3.Connection, path: Path, student: str | None) -> Iterator[Kept]:
    """Yield all that is kept, or all of one student: takes, listenings, lessons, each by date.

    Raises:
        JournalError: the journal, named by ``path``, cannot be read.
    """
    whose = (student.strip() if student is not None else None,)
    # In one transaction, so that what another process writes meanwhile is not half in it.
    with told(path), transaction(connection, writes=False):
        for row in connection.execute(_TAKES, whose):
            take, student_id, etude_id, name, content, title, date, recording, day = row
            notes = connection.execute(_NOTES, (student_id, etude_id, day, take, etude_id))
            measured = tuple(
                MeasuredNote(key, deviation, uncertainty, VERDICTS[verdict], lean, confidence)
                for key, deviation, uncertainty, verdict, lean, confidence in notes
            )
            yield Kept(name, content, title, take=MeasuredTake(date, measured, recording))
        rows = connection.execute(_LISTENINGS, whose)
        for (name, content, title, date), of in groupby(rows, key=lambda row: row[:4]):
            marks = tuple(EarMark(key, says) for *_, key, says in of if key is not None)
            yield Kept(name, content, title, listening=MarkedTake(date, marks))
        for name, content, title, date, text in connection.execute(_LESSONS, whose):
            yield Kept(name, content, title, lesson_date=date, lesson=text)
