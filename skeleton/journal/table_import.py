"""Measurements from a table, as a journal writes them in CSV, back into a journal.

Rows that follow each other with one student, etude, date and recording are one take. The columns
are found by name, in any order; those of :data:`NEEDED` must be there. An apostrophe that keeps a
spreadsheet from taking a text for a formula is taken off again.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping
from itertools import groupby
from typing import Final

from skeleton.errors import TakeError
from skeleton.journal.database import Journal
from skeleton.journal.records import Music
from skeleton.journal.take import (
    MeasuredNote,
    MeasuredTake,
    checked_cents,
    checked_date,
    checked_key,
    checked_verdict,
)
from skeleton.journal.transfer import PutIn, checked_content

NEEDED: Final = (
    "student",
    "etude",
    "date",
    "part",
    "onset",
    "pitch",
    "deviation_cents",
    "uncertainty_cents",
    "verdict",
)

_Row = tuple[int, Mapping[str, str]]


def from_table(journal: Journal, lines: Iterable[str], source: str) -> PutIn:
    """Put all takes of a table into a journal, or none where a row of it cannot be used.

    Args:
        journal: where to.
        lines: CSV with a header row (RFC 4180).
        source: its name in messages.

    Raises:
        TakeError: the table lacks a column, or a row has a value that cannot be.
        JournalError: the journal cannot be written.
    """
    takes = known = 0
    try:
        reader = csv.DictReader(lines, strict=True)
        missing = [name for name in NEEDED if name not in (reader.fieldnames or ())]
        if missing:
            raise TakeError(
                f"{source}: has no column {missing[0]!r}; import a table that was exported"
            )
        numbered = ((reader.line_num, _plain(row)) for row in reader)
        with journal.together():
            for _, rows in groupby(numbered, key=_take_of):
                new = _record(journal, list(rows), source)
                takes, known = takes + new, known + (not new)
    except csv.Error as error:
        raise TakeError(f"{source}: no CSV: {error}") from error
    return PutIn(takes, known, 0, 0)


def _plain(row: Mapping[str | None, str | list[str] | None]) -> Mapping[str, str]:
    """Return the cells as text; what a short row lacks is empty, what is too much is left out."""
    cells = {name: of for name, of in row.items() if name is not None and isinstance(of, str)}
    return {
        name: of[1:] if of[:1] == "'" and of[1:2] in tuple("=+-@") else of
        for name, of in cells.items()
    }


def _take_of(row: _Row) -> tuple[str, ...]:
    return tuple(row[1].get(name, "") for name in ("student", "etude", "date", "recording"))


def _record(journal: Journal, rows: list[_Row], source: str) -> bool:
    number, first = rows[0]
    where = f"{source}: line {number}"
    notes = tuple(_note(cells, f"{source}: line {line}") for line, cells in rows)
    take = MeasuredTake(
        checked_date(first.get("date"), where), notes, first.get("recording") or None
    )
    music = Music(
        checked_content(first.get("etude", ""), where),
        first.get("title") or None,
        {one.note: one.note for one in notes},
    )
    return journal.record(first.get("student", ""), music, take)


def _note(cells: Mapping[str, str], where: str) -> MeasuredNote:
    key = [cells.get(name, "") for name in ("part", "onset", "pitch")]
    if not all(key):
        raise TakeError(f"{where}: does not say which note; fill in part, onset and pitch")
    same = cells.get("same") or "1"
    return MeasuredNote(
        checked_key(":".join(key if same == "1" else [*key, same]), where),
        _number(cells, "deviation_cents", where),
        _number(cells, "uncertainty_cents", where),
        checked_verdict(cells.get("verdict"), where),
        _number(cells, "lean_cents", where) if cells.get("lean_cents") else None,
        _number(cells, "confidence", where) if cells.get("confidence") else None,
    )


def _number(cells: Mapping[str, str], name: str, where: str) -> float:
    try:
        value = float(cells.get(name, ""))
    except ValueError as error:
        shown = cells.get(name, "")[:40]
        raise TakeError(f"{where}: {name} {shown!r} is no number; write 12.5") from error
    return checked_cents(value, where)
