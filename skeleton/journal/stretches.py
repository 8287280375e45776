"""A record of many days, looked at in stretches of several days.

What is asked of a record is asked by days, and each day costs its share. A teacher's record of a
student has some dozen; one of years has thousands, and says no more by being cut so fine. So a
record whose takes lie on more than :data:`MOST` days is kept in stretches of 2, 4, 8 ... days, the
shortest of these that make at most :data:`MOST`. They are counted from the first day of the
calendar (``date.toordinal``), so that it does not matter in which order takes come in. The takes of
a stretch count as one, by their mean, as those of a day do.

The sums of each note and stretch stand in ``note_stretch``, the length of a record's stretches in
``stretch`` where it is more than one day. Every single measurement stays in ``measurement``.
"""

from __future__ import annotations

import sqlite3
from typing import Final

MOST: Final = 64
"""Stretches of one record: enough for any of the tests to be sure; a choice of this program."""

ADD: Final = """
INSERT INTO note_stretch VALUES (?, ?, ?, ?, 1, ?, ?, ?, ?, ?, ?)
ON CONFLICT DO UPDATE SET times = times + 1,
    deviation_sum_cents = deviation_sum_cents + excluded.deviation_sum_cents,
    in_tune = in_tune + excluded.in_tune, flat = flat + excluded.flat,
    sharp = sharp + excluded.sharp, lean_times = lean_times + excluded.lean_times,
    lean_sum_cents = lean_sum_cents + excluded.lean_sum_cents
"""
"""Adds one measurement: student, etude, note, first day of the stretch, deviation in cents, whether
in tune, flat, sharp, whether it leans, and by how many cents."""

READ: Final = """
SELECT note, first_day, deviation_sum_cents / times, times, in_tune, flat, sharp,
       lean_sum_cents / nullif(lean_times, 0)
FROM note_stretch WHERE student = ? AND etude = ? ORDER BY note, first_day
"""
"""Reads all notes of one student (first value) and etude (second), each in order of time."""

_OLDER: Final = """
SELECT 1 FROM take WHERE etude = ? AND student = ? AND day BETWEEN ? AND ? AND id <> ? LIMIT 1
"""

_COUNT: Final = "SELECT count(DISTINCT day / ?) FROM take WHERE etude = ? AND student = ?"

_JOINED: Final = """
SELECT student, etude, note, first_day - first_day % ?, sum(times), sum(deviation_sum_cents),
       sum(in_tune), sum(flat), sum(sharp), sum(lean_times), sum(lean_sum_cents)
FROM note_stretch WHERE student = ? AND etude = ? GROUP BY note, first_day - first_day % ?
"""


def stretch_days(connection: sqlite3.Connection, student: int, etude: int) -> int:
    """Return of how many days each stretch of a record is, 1 or more.

    Raises:
        sqlite3.Error: the journal cannot be read.
    """
    row = connection.execute(
        "SELECT days FROM stretch WHERE student = ? AND etude = ?", (student, etude)
    ).fetchone()
    return row[0] if row else 1


def lengthen(connection: sqlite3.Connection, student: int, etude: int, take: int, day: int) -> None:
    """Join the stretches of a record where a take, just put in on that day, made them too many.

    Raises:
        sqlite3.Error: the journal cannot be written.
    """
    now = stretch_days(connection, student, etude)
    first = day - day % now
    if connection.execute(_OLDER, (etude, student, first, first + now - 1, take)).fetchone():
        return
    longer = now
    while connection.execute(_COUNT, (longer, etude, student)).fetchone()[0] > MOST:
        longer *= 2
    if longer == now:
        return
    joined = connection.execute(_JOINED, (longer, student, etude, longer)).fetchall()
    connection.execute("DELETE FROM note_stretch WHERE student = ? AND etude = ?", (student, etude))
    connection.executemany("INSERT INTO note_stretch VALUES (?,?,?,?,?,?,?,?,?,?,?)", joined)
    connection.execute("INSERT OR REPLACE INTO stretch VALUES (?, ?, ?)", (student, etude, longer))
