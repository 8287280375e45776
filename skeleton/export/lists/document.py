"""A short report for a person: headings, lines and tables, and its plain text form.

The rows are made once; a terminal draws them as it likes, and everything else gets
:func:`plain_text`, which aligns columns with spaces, draws no frames and never cuts a cell.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Heading:
    """A title over what follows. ``level`` 1 is the report's own, 2 a section, 3 a part of it."""

    text: str
    level: int = 2


@dataclass(frozen=True, slots=True)
class Line:
    """One line of text."""

    text: str


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of text under column names; a column with no text in any row is left out."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    def used(self) -> Table:
        """Return the table without its empty columns."""
        kept = [i for i in range(len(self.columns)) if any(row[i] for row in self.rows)]
        return Table(
            tuple(self.columns[i] for i in kept),
            tuple(tuple(row[i] for i in kept) for row in self.rows),
        )


Block = Heading | Line | Table
Document = tuple[Block, ...]


def width(text: str) -> int:
    """Columns a text takes in a terminal: wide letters take two, combining marks none."""
    return sum(
        0 if unicodedata.combining(char) else 2 if unicodedata.east_asian_width(char) in "WF" else 1
        for char in text
    )


def plain_text(document: Sequence[Block]) -> str:
    """Return the document as aligned text without colours or frames, a newline at its end."""
    lines: list[str] = []
    for block in document:
        match block:
            case Heading(text, level):
                if lines:
                    lines.append("")
                lines.append(text)
                if level == 2:
                    lines.append("-" * width(text))
            case Line(text):
                lines.append(text)
            case Table():
                lines.extend(_table_lines(block.used()))
    return "\n".join(lines) + "\n"


def _table_lines(table: Table) -> list[str]:
    everything = (table.columns, *table.rows)
    widths = [max(width(row[i]) for row in everything) for i in range(len(table.columns))]
    return [
        (
            "  "
            + "  ".join(cell + " " * (w - width(cell)) for cell, w in zip(row, widths, strict=True))
        ).rstrip()
        for row in everything
    ]
