"""``skeleton annotate``: the full etude with its marks."""

from __future__ import annotations

from typing import Annotated

import typer

from skeleton.cli.options import Request, takes_etude
from skeleton.cli.reduce import Dpi, Single


@takes_etude
def annotate(
    request: Request,
    words: Annotated[
        bool,
        typer.Option("--words", help="Write the labels in full: 'half step below G4'."),
    ] = False,
    single: Single = False,
    dpi: Dpi = 200.0,
) -> None:
    """Engrave the full etude, every accidental labelled."""
    from skeleton.cli.drawing import draw  # noqa: PLC0415 - not needed for --help

    draw(request, "annotated", single=single, dpi=dpi, in_words=words)
