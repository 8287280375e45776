"""``skeleton assign``: a proposal for the coming week, as a lesson file to edit."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from skeleton.cli.delivery import DASH, deliver
from skeleton.cli.journal_options import JournalFile, music_of, opened
from skeleton.cli.messages import say
from skeleton.cli.options import Request, takes_etude
from skeleton.errors import OptionError

if TYPE_CHECKING:
    from skeleton.analysis.results import Analysis
    from skeleton.journal.progress import Progress


@takes_etude
def assign(
    request: Request,
    *,
    student: Annotated[
        str | None,
        typer.Option(
            "--student",
            "-s",
            metavar="NAME",
            help="From whose record. Default: from none, by what the page shows.",
        ),
    ] = None,
    journal: JournalFile = None,
) -> None:
    """Propose next week's passages, stages, tempos and matches; -o week.toml or week.pdf."""
    suffix = ".toml" if request.output in (None, DASH) else request.output.suffix.lower()
    if suffix not in (".toml", ".pdf"):
        raise OptionError(f"{request.output}: name a lesson file (.toml) or a handout (.pdf)")
    if journal is not None and student is None:
        raise typer.BadParameter("whose record? give --student")
    from skeleton.analysis.lesson import parse_lesson  # noqa: PLC0415 - not for --help
    from skeleton.cli.reading import analysis_of, decisions, lesson_of  # noqa: PLC0415
    from skeleton.export.lesson_draft import lesson_draft  # noqa: PLC0415 - when needed
    from skeleton.journal.assign import assignment  # noqa: PLC0415 - when needed

    analysis = analysis_of(request)
    lesson = replace(lesson_of(replace(request, quiet=True)), **decisions(request))
    record = None if student is None else _record(journal, analysis, student, quiet=request.quiet)
    proposed = assignment(analysis, lesson, record)
    if not proposed.passages:
        raise OptionError(f"{request.etude}: has no notes to work on")
    text = lesson_draft(analysis, lesson, proposed)
    draft = parse_lesson(text, "draft")
    if suffix == ".toml":
        deliver(request, text)
        return
    from skeleton.analysis.analyse import analyse  # noqa: PLC0415 - when needed
    from skeleton.export.handout.make import handout  # noqa: PLC0415 - when needed

    made = handout(analyse(analysis.score, draft, part=request.part), draft)
    deliver(request, made.data)


def _record(
    journal: Path | None, analysis: Analysis, student: str, *, quiet: bool
) -> Progress | None:
    """Return the student's record, or None where the journal holds no take of this etude."""
    from skeleton.cli.progress import record_of  # noqa: PLC0415 - when needed

    music = music_of(analysis)
    with opened(journal) as book:
        name = student.strip().casefold()
        for held in book.holdings(music.content):
            if held.student.casefold() == name:
                return record_of(book, analysis, music, held)
    if not quiet:
        say(f"note: no take of this etude by {student.strip()!r}; proposed by the page")
    return None
