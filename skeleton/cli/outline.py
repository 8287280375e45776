"""``skeleton outline``: what an etude stands on."""

from __future__ import annotations

from typing import Annotated

import typer

from skeleton.cli.delivery import deliver, show, shows_signs
from skeleton.cli.options import Request, takes_etude


@takes_etude
def outline(
    request: Request,
    json: Annotated[
        bool,
        typer.Option(
            "--json", help="Write JSON for other programs (also when --output ends in .json)."
        ),
    ] = False,
) -> None:
    """Show skeleton, accidentals with their anchors, and matches."""
    from skeleton.cli.reading import analysis_of  # noqa: PLC0415 - not needed for --help

    analysis = analysis_of(request)
    if json or (request.output is not None and request.output.suffix.lower() == ".json"):
        from skeleton.export.lists.outline import outline_json  # noqa: PLC0415 - when needed

        deliver(request, outline_json(analysis))
    else:
        from skeleton.export.lists.outline_text import outline_document  # noqa: PLC0415 - when needed

        show(request, outline_document(analysis, signs=shows_signs(request)))
