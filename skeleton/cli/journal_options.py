"""Options of the commands that read or write the journal, stated once."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from skeleton.analysis.results import Analysis
    from skeleton.journal.database import Journal
    from skeleton.journal.records import Music

JournalFile = Annotated[
    Path | None,
    typer.Option(
        "--journal",
        metavar="FILE",
        help="The journal. Default: one in your own folder for data of programs.",
    ),
]
StudentName = Annotated[
    str | None,
    typer.Option("--student", "-s", metavar="NAME", help="Whose record. Default: everybody's."),
]


def opened(journal: Path | None, *, create: bool = False) -> Journal:
    """Open the journal that was named, or the user's own.

    Raises:
        JournalError: it cannot be opened, or is not there and not to be made.
    """
    from skeleton.journal.database import Journal  # noqa: PLC0415 - when needed
    from skeleton.journal.place import default_journal  # noqa: PLC0415 - when needed

    return Journal(journal or default_journal(), create=create)


def music_of(analysis: Analysis) -> Music:
    """Return the etude as the journal knows it."""
    from skeleton.journal.content import content_id, note_keys  # noqa: PLC0415 - when needed
    from skeleton.journal.records import Music  # noqa: PLC0415 - when needed

    score = analysis.score
    return Music(content_id(score), score.title, note_keys(score))
