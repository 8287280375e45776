"""``skeleton progress``: what comes back in a student's takes, and what has healed."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from skeleton.cli.delivery import deliver, show, shows_signs
from skeleton.cli.journal_options import JournalFile, StudentName, music_of, opened
from skeleton.cli.options import Request, takes_etude
from skeleton.errors import JournalError, OptionError

if TYPE_CHECKING:
    from skeleton.analysis.results import Analysis
    from skeleton.journal.database import Journal
    from skeleton.journal.progress import Progress
    from skeleton.journal.records import Music


class Form(StrEnum):
    """The forms a record is written in."""

    TEXT = "text"
    CSV = "csv"
    JSON = "json"
    HEAT = "heat"
    TRENDS = "trends"


_SUFFIXES = {".csv": Form.CSV, ".json": Form.JSON, ".svg": Form.HEAT}
_PICTURES = (Form.HEAT, Form.TRENDS)


@takes_etude
def progress(
    request: Request,
    *,
    student: StudentName = None,
    form: Annotated[
        Form | None,
        typer.Option(
            "--format",
            "-f",
            case_sensitive=False,
            help="Default: what the ending of --output says, else text. heat: the etude with its "
            "habitual errors, as SVG; trends: each match group day by day, as SVG.",
        ),
    ] = None,
    csv: Annotated[bool, typer.Option("--csv", help="The same as --format csv.")] = False,
    json: Annotated[bool, typer.Option("--json", help="The same as --format json.")] = False,
    journal: JournalFile = None,
) -> None:
    """Show what returns over all takes, what has healed, how notes lean, what the ear hears."""
    asked = {
        *([Form.JSON] if json else []),
        *([Form.CSV] if csv else []),
        *([form] if form else []),
    }
    if len(asked) > 1:
        raise typer.BadParameter("give --csv, --json or --format, not several")
    chosen = asked.pop() if asked else _form_of(request.output)
    from skeleton.cli.reading import analysis_of  # noqa: PLC0415 - not for --help

    analysis = analysis_of(request)
    music = music_of(analysis)
    with opened(journal) as book:
        records = records_of(book, analysis, music, student)
    if chosen in _PICTURES:
        if len(records) > 1:
            names = ", ".join(one.student for one in records)
            raise OptionError(f"a picture shows one student; give --student: {names}")
        _draw(request, chosen, analysis, records[0])
        return
    if chosen is Form.TEXT:
        from skeleton.export.lists.progress_text import progress_document  # noqa: PLC0415 - when needed

        show(request, progress_document(analysis, records, signs=shows_signs(request)))
        return
    from skeleton.export.lists import progress_data as data  # noqa: PLC0415 - when needed

    deliver(
        request,
        data.progress_csv(records)
        if chosen is Form.CSV
        else data.progress_json(analysis, music.content, records),
    )


def _draw(request: Request, form: Form, analysis: Analysis, record: Progress) -> None:
    if form is Form.TRENDS:
        from skeleton.export.engraving.trend_picture import trend_picture  # noqa: PLC0415 - when needed

        deliver(request, trend_picture(analysis, record))
        return
    from skeleton.cli.reading import tell  # noqa: PLC0415 - when needed
    from skeleton.export.engraving.progress_picture import heat_picture  # noqa: PLC0415 - when needed

    picture, notices = heat_picture(analysis, record)
    tell(request, analysis.score, notices)
    deliver(request, picture)


def records_of(
    book: Journal, analysis: Analysis, music: Music, student: str | None
) -> list[Progress]:
    """Return the records of one student, or of all who played this etude, by name.

    Raises:
        JournalError: the journal holds no take of it, or none of that student.
    """
    from skeleton.journal.progress import progress as found  # noqa: PLC0415 - when needed

    held = book.holdings(music.content)
    name = None if student is None else student.strip().casefold()
    chosen = [one for one in held if name is None or one.student.casefold() == name]
    if not chosen:
        who = "" if student is None else f" by {student.strip()!r}"
        others = ", ".join(one.student for one in held)
        advice = f"there are takes by {others}" if others else "keep one with skeleton keep"
        raise JournalError(f"{book.path}: no take of this etude{who}; {advice}")
    return [
        found(
            analysis,
            music.keys,
            one.student,
            book.days(one.student, music.content),
            takes=one.takes,
            heard=book.heard(one.student, music.content),
        )
        for one in chosen
    ]


def _form_of(output: Path | None) -> Form:
    return Form.TEXT if output is None else _SUFFIXES.get(output.suffix.lower(), Form.TEXT)
