"""What a journal holds, as a table: of students for a person, of measurements for a spreadsheet.

CSV follows RFC 4180 (comma, double quotes, CRLF) in UTF-8. Text that a spreadsheet would take for
a formula gets an apostrophe before it; numbers stay numbers. ``onset`` counts quarters from the
start of the part; ``same`` tells notes of one pitch apart that are struck at one time, from 1.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from typing import Final

from skeleton.export.lists.checklist_data import guarded
from skeleton.export.lists.document import Heading, Line, Table, plain_text
from skeleton.export.lists.words import one_line
from skeleton.journal.records import Holding, Kept

COLUMNS: Final = (
    "student",
    "title",
    "etude",
    "date",
    "recording",
    "part",
    "onset",
    "pitch",
    "same",
    "deviation_cents",
    "uncertainty_cents",
    "verdict",
    "lean_cents",
    "confidence",
)
"""The columns of the CSV table, one row for each measured note."""


def holdings_text(held: Iterable[Holding]) -> str:
    """Return who played which etude how often, as plain text."""
    rows = tuple(
        (
            one_line(one.student),
            one_line(one.title or f"without title ({one.content[:8]})"),
            str(one.takes),
            one.first_day,
            one.last_day,
        )
        for one in held
    )
    if not rows:
        return plain_text([Heading("The journal", level=1), Line("No takes.")])
    columns = ("student", "etude", "takes", "first", "last")
    return plain_text([Heading("The journal", level=1), Table(columns, rows)])


def csv_lines(everything: Iterable[Kept]) -> Iterator[str]:
    """Yield the table of measurements, a header row first, each line with its end.

    Marks and lessons are no measurements; JSON lines have them.
    """
    yield _line(COLUMNS)
    for one in everything:
        if one.take is None:
            continue
        head = (one.student, one.title or "", one.content, one.take.date, one.take.path or "")
        told = [guarded(cell) for cell in head]
        for note in one.take.notes:
            part, onset, pitch, *same = note.note.split(":")
            numbers = (note.deviation_cents, note.uncertainty_cents)
            rest = (note.lean_cents, note.confidence)
            place = [*(guarded(cell) for cell in (part, onset, pitch)), *(same or ["1"])]
            yield _line((*told, *place, *numbers, note.verdict, *rest))


def _line(cells: Iterable[object]) -> str:
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\r\n").writerow(["" if c is None else c for c in cells])
    return out.getvalue()
