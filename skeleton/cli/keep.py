"""``skeleton keep``: put a take that was listened to into the journal."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from skeleton.cli.delivery import show
from skeleton.cli.journal_options import JournalFile, music_of, opened
from skeleton.cli.messages import say
from skeleton.cli.options import Request, lesson_file, takes_etude
from skeleton.errors import TakeError

if TYPE_CHECKING:
    from skeleton.analysis.results import Analysis
    from skeleton.journal.take import MarkedTake, MeasuredTake


@takes_etude
def keep(
    request: Request,
    *,
    take: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="TAKE.json",
            help="What `skeleton listen -o take.json` wrote; one or more.",
            show_default=False,
        ),
    ] = None,
    student: Annotated[
        str, typer.Option("--student", "-s", metavar="NAME", help="Who played.", show_default=False)
    ],
    date: Annotated[
        str | None,
        typer.Option(
            "--date",
            metavar="DATE",
            help="When it was played: 2026-03-14, or 2026-03-14T17:05. Default: when TAKE.json "
            "was written.",
        ),
    ] = None,
    ear: Annotated[
        Path | None,
        typer.Option(
            "--ear", metavar="MARKS.json", help="The student's own marks, saved from the page."
        ),
    ] = None,
    journal: JournalFile = None,
) -> None:
    """Keep takes and marks in the journal: figures only, never the recording."""
    takes = take or []
    if not takes and ear is None:
        raise typer.BadParameter("name a TAKE.json, or marks with --ear")
    if date is not None and len(takes) != 1:
        raise typer.BadParameter("--date is of one take; give them one by one")
    from skeleton.cli.reading import analysis_of  # noqa: PLC0415 - not for --help
    from skeleton.export.lists.document import Line  # noqa: PLC0415 - when needed
    from skeleton.export.lists.words import counted  # noqa: PLC0415 - when needed

    analysis = analysis_of(request)
    music = music_of(analysis)
    # All is read before anything is kept.
    measured = [_measured(one, date, analysis, quiet=request.quiet) for one in takes]
    marks = () if ear is None else _marks(ear, analysis)
    lesson = _lesson_text(request)
    lines = []
    with opened(journal, create=True) as book, book.together():
        for path, one in zip(takes, measured, strict=True):
            new = book.record(student, music, one)
            told = f"{counted(len(one.notes), 'note')}" if new else "kept already"
            lines.append(Line(f"{path.name}: take of {one.date}: {told}"))
            if lesson is not None:
                book.add_lesson(student, music, one.date[:10], lesson)
        if marks:
            book.add_marks(student, music, marks)
            count = sum(len(one.marks) for one in marks)
            lines.append(Line(f"marks of {counted(len(marks), 'take')}: {count}"))
        name = student.strip().casefold()
        held = [one for one in book.holdings(music.content) if one.student.casefold() == name]
        total = sum(one.takes for one in held)
    lines.append(Line(f"{student.strip()}: {counted(total, 'take')} of this etude in {book.path}"))
    show(request, tuple(lines))


def _measured(path: Path, date: str | None, analysis: Analysis, *, quiet: bool) -> MeasuredTake:
    import hashlib  # noqa: PLC0415 - when needed

    from skeleton.journal.take import take_from_json  # noqa: PLC0415 - when needed

    text = _bytes(path)
    when = date
    if when is None and not _is_dated(text):
        # The local day is the one the player knows it by.
        written = datetime.fromtimestamp(path.stat().st_mtime)  # noqa: DTZ006
        when = written.isoformat(timespec="seconds")
        if not quiet:
            say(f"note: {path.name}: dated {when}, when it was written (--date gives another)")
    take = take_from_json(text, str(path), when=when)
    sha = hashlib.sha256(analysis.score.source.data).hexdigest()
    if take.source_sha256 is not None and take.source_sha256 != sha:
        raise TakeError(
            f"{path}: was listened to with another file of this etude, or with another etude; name "
            "the file it was listened to with"
        )
    return take


def _is_dated(text: bytes) -> bool:
    import json  # noqa: PLC0415 - when needed

    try:
        return bool(json.loads(text)["take"]["date"])
    except (ValueError, KeyError, TypeError, RecursionError):
        return False


def _marks(path: Path, analysis: Analysis) -> tuple[MarkedTake, ...]:
    from skeleton.journal.take import EarMark, MarkedTake, checked_date  # noqa: PLC0415
    from skeleton.listening.ear_marks import read_ear_marks  # noqa: PLC0415 - loads numpy

    notes = [note.id for part in analysis.score.parts for note in part.notes]
    return tuple(
        MarkedTake(
            checked_date(one.date, str(path)),
            tuple(EarMark(note, says) for note, says in one.marks.items()),
        )
        for one in read_ear_marks(path, analysis.score.source.data, notes)
    )


def _lesson_text(request: Request) -> str | None:
    """The lesson file that was in force, as it was read."""
    path = request.lesson or lesson_file(request.etude)
    if request.no_lesson or not path.is_file():
        return None
    return path.read_text(encoding="utf-8-sig", errors="replace")


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise TakeError(f"{path}: cannot be read: {error.strerror or error}") from error
