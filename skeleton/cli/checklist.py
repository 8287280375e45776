"""``skeleton checklist``: what to tune, passage by passage, with boxes to tick."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import typer

from skeleton.cli.delivery import deliver, shows_signs
from skeleton.cli.forms import AsCsv, AsJson, form_of, form_option
from skeleton.cli.options import Request, takes_etude


class Form(StrEnum):
    """The forms a checklist is written in."""

    TEXT = "text"
    MARKDOWN = "md"
    CSV = "csv"
    JSON = "json"


_ENDINGS = {
    ".txt": Form.TEXT,
    ".md": Form.MARKDOWN,
    ".markdown": Form.MARKDOWN,
    ".csv": Form.CSV,
    ".json": Form.JSON,
}


@takes_etude
def checklist(
    request: Request,
    *,
    form: Annotated[Form | None, form_option()] = None,
    csv: AsCsv = False,
    json: AsJson = False,
    passage: Annotated[
        list[str] | None,
        typer.Option(
            "--passage",
            metavar="NAME",
            help="Only this passage; may be given again for more.",
        ),
    ] = None,
) -> None:
    """Print what to tune, passage by passage, with boxes to tick."""
    chosen = form_of(form, _ENDINGS, request.output, csv=csv, json=json)
    from skeleton.cli.reading import analysis_of  # noqa: PLC0415 - not needed for --help
    from skeleton.export.lists import checklist as made  # noqa: PLC0415 - when needed

    found = made.checklist(analysis_of(request), passage or ())
    if chosen in (Form.CSV, Form.JSON):
        from skeleton.export.lists import checklist_data as data  # noqa: PLC0415 - when needed

        result = data.checklist_csv(found) if chosen is Form.CSV else data.checklist_json(found)
    else:
        from skeleton.export.lists import checklist_text as text  # noqa: PLC0415 - when needed

        result = (
            text.checklist_markdown(found)
            if chosen is Form.MARKDOWN
            else text.checklist_text(found, signs=shows_signs(request))
        )
    deliver(request, result)
