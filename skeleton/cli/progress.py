"""``skeleton progress``: what comes back in a student's takes, and what has healed."""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

from skeleton.cli.delivery import deliver, show, shows_signs
from skeleton.cli.forms import AsCsv, AsJson, form_of, form_option
from skeleton.cli.journal_options import JournalFile, StudentName, music_of, opened
from skeleton.cli.options import Request, takes_etude
from skeleton.errors import JournalError, OptionError

if TYPE_CHECKING:
    from skeleton.analysis.results import Analysis
    from skeleton.journal.database import Journal
    from skeleton.journal.progress import Progress
    from skeleton.journal.records import Holding, Music


class Form(StrEnum):
    """The forms a record is written in."""

    TEXT = "text"
    CSV = "csv"
    JSON = "json"
    HEAT = "heat"
    TRENDS = "trends"


_ENDINGS = {
    ".txt": Form.TEXT,
    ".csv": Form.CSV,
    ".json": Form.JSON,
    ".svg": Form.HEAT,
    ".png": Form.HEAT,
}
_PICTURES = (Form.HEAT, Form.TRENDS)
_MOST_STUDENTS = 40
"""In a text for a person: those who played last. JSON and CSV have everybody."""


@takes_etude
def progress(
    request: Request,
    *,
    student: StudentName = None,
    form: Annotated[
        Form | None,
        form_option(
            "heat: the etude with its habitual errors; trends: each match group day by day; both "
            "as SVG, or PNG where the ending says so."
        ),
    ] = None,
    csv: AsCsv = False,
    json: AsJson = False,
    journal: JournalFile = None,
) -> None:
    """Show what returns over all takes, what has healed, how notes lean, what the ear hears."""
    chosen = form_of(form, _ENDINGS, request.output, csv=csv, json=json)
    from skeleton.cli.reading import analysis_of  # noqa: PLC0415 - not for --help

    analysis = analysis_of(request)
    music = music_of(analysis)
    with opened(journal) as book:
        held = holdings_of(book, music, student)
        if chosen in _PICTURES and len(held) > 1:
            names = names_of(one.student for one in held)
            raise OptionError(f"a picture shows one student; give --student: {names}")
        last = sorted(held, key=lambda one: one.last_day, reverse=True)[:_MOST_STUDENTS]
        shown = [one for one in held if one in last] if chosen is Form.TEXT else held
        records = [record_of(book, analysis, music, one) for one in shown]
    if chosen in _PICTURES:
        _draw(request, chosen, analysis, records[0])
    elif chosen is Form.TEXT:
        from skeleton.export.lists.progress_text import progress_document  # noqa: PLC0415 - when needed

        more = len(held) - len(shown)
        show(request, progress_document(analysis, records, more=more, signs=shows_signs(request)))
    else:
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

        picture = trend_picture(analysis, record)
    else:
        from skeleton.cli.reading import tell  # noqa: PLC0415 - when needed
        from skeleton.export.engraving.progress_picture import heat_picture  # noqa: PLC0415 - when needed

        picture, notices = heat_picture(analysis, record)
        tell(request, analysis.score, notices)
    if request.output is not None and request.output.suffix.lower() == ".png":
        from skeleton.export.engraving.png import png_bytes  # noqa: PLC0415 - when needed

        deliver(request, png_bytes(picture))
        return
    deliver(request, picture)


def holdings_of(book: Journal, music: Music, student: str | None) -> list[Holding]:
    """Return what is held of one student, or of all who played this etude, by name.

    Raises:
        JournalError: the journal holds no take of it, or none of that student.
    """
    held = book.holdings(music.content)
    name = None if student is None else student.strip().casefold()
    chosen = [one for one in held if name is None or one.student.casefold() == name]
    if not chosen:
        who = "" if student is None else f" by {student.strip()!r}"
        others = names_of(one.student for one in held)
        advice = f"there are takes by {others}" if others else "keep one with skeleton keep"
        raise JournalError(f"{book.path}: no take of this etude{who}; {advice}")
    return chosen


def record_of(book: Journal, analysis: Analysis, music: Music, held: Holding) -> Progress:
    """Return the record of one student.

    Raises:
        JournalError: the journal cannot be read.
    """
    from skeleton.journal.progress import progress as found  # noqa: PLC0415 - when needed

    return found(
        analysis,
        music.keys,
        held.student,
        book.days(held.student, music.content),
        takes=held.takes,
        heard=book.heard(held.student, music.content),
        stretch_days=held.stretch_days,
        first_day=held.first_day,
        last_day=held.last_day,
    )


def names_of(students: Iterable[str]) -> str:
    """Return names for a message of one line; of many the first ones."""
    names = list(students)
    more = f" and {len(names) - 8} more" if len(names) > 8 else ""
    return ", ".join(names[:8]) + more
