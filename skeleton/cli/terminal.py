"""Reports drawn on a terminal with rich, to the terminal's width."""

from __future__ import annotations

import sys

from rich import box
from rich.console import Console
from rich.table import Table as RichTable
from rich.text import Text

from skeleton.export.lists.document import Document, Heading, Line, Table
from skeleton.export.lists.words import without_controls


def draw(document: Document, console: Console | None = None) -> None:
    """Draw a report. Text of a score is shown as it is, never taken for markup."""
    console = console or Console(file=sys.stdout, highlight=False, markup=False, emoji=False)
    first = True
    for block in document:
        match block:
            case Heading(text, level):
                if not first:
                    console.print()
                style = {1: "bold underline", 2: "bold"}.get(level, "italic")
                console.print(Text(without_controls(text), style=style))
            case Line(text):
                console.print(Text(without_controls(text)))
            case Table():
                console.print(_table(block.used()))
        first = False


def _table(table: Table) -> RichTable:
    drawn = RichTable(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1))
    for column in table.columns:
        drawn.add_column(Text(column), overflow="fold")
    for row in table.rows:
        drawn.add_row(*(Text(without_controls(cell)) for cell in row))
    return drawn
