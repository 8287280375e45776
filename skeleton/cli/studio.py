"""``skeleton studio``: all students and etudes on one page."""

from __future__ import annotations

import sys
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from skeleton.cli.delivery import DASH
from skeleton.cli.journal_options import JournalFile, opened
from skeleton.errors import OptionError


def studio(
    *,
    output: Annotated[
        Path | None,
        typer.Option(
            "--output",
            "-o",
            metavar="FILE",
            help="Write the page to this file (.html) instead of standard output.",
        ),
    ] = None,
    journal: JournalFile = None,
) -> None:
    """Put all students and etudes of the journal on one page: who needs what this week."""
    if output not in (None, DASH) and output.suffix.lower() not in (".html", ".htm"):
        raise OptionError(f"{output}: the page is HTML; name a file that ends in .html")
    from skeleton.export.studio_page import studio_html  # noqa: PLC0415 - when needed
    from skeleton.export.writing import encoded, write_atomically  # noqa: PLC0415 - when needed
    from skeleton.journal.studio import studio as records  # noqa: PLC0415 - when needed

    with opened(journal) as book:
        found = records(book)
        # The day as the teacher's calendar has it.
        page = studio_html(found, datetime.now().astimezone().date())
        if output is None or output == DASH:
            sys.stdout.buffer.write(encoded(page))
            sys.stdout.buffer.flush()
        else:
            write_atomically(output, page, keep=[book.path])
