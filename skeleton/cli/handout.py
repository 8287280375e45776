"""``skeleton handout``: what a teacher gives out, for one etude or for many."""

from __future__ import annotations

import os
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from skeleton.cli.delivery import DASH, deliver, deliver_files, to_terminal
from skeleton.cli.messages import notice_lines, say
from skeleton.cli.options import Request, takes_etudes

if TYPE_CHECKING:
    from skeleton.cli.handout_job import Wanted


class PaperName(StrEnum):
    """Papers as choices of ``--paper``."""

    A4 = "a4"
    LETTER = "letter"


class Language(StrEnum):
    """Languages as choices of ``--language``."""

    EN = "en"
    DE = "de"


class FormName(StrEnum):
    """Forms of a handout as choices of ``--as``."""

    PDF = "pdf"
    HTML = "html"


_SCORES = (".musicxml", ".mxl", ".xml")


@takes_etudes
def handout(
    requests: tuple[Request, ...],
    *,
    output_dir: Annotated[
        Path | None,
        typer.Option(
            "--output-dir",
            metavar="FOLDER",
            help="Write the handouts of all etudes into this folder, etude.pdf for etude.musicxml; "
            "those whose etude, lesson and options are unchanged since the last time are skipped.",
        ),
    ] = None,
    forms: Annotated[
        list[FormName] | None,
        typer.Option(
            "--as",
            case_sensitive=False,
            metavar="pdf|html",
            help="With --output-dir: sheets to print (pdf), pages etude.html (html), or both: give "
            "it twice. Default: pdf.",
            show_default=False,
        ),
    ] = None,
    paper: Annotated[
        PaperName, typer.Option("--paper", case_sensitive=False, help="Size of the paper.")
    ] = PaperName.A4,
    language: Annotated[
        Language,
        typer.Option("--language", case_sensitive=False, help="Language of the handout."),
    ] = Language.EN,
    with_score: Annotated[
        bool,
        typer.Option(
            "--with-score", help="Write the marked etude too, as etude-annotated.musicxml."
        ),
    ] = False,
    jobs: Annotated[
        int | None,
        typer.Option(
            "--jobs",
            min=1,
            metavar="N",
            help="Work on so many etudes at once. Default: one a core.",
        ),
    ] = None,
    force: Annotated[
        bool, typer.Option("--force", help="With --output-dir: make unchanged handouts anew too.")
    ] = False,
    sounds: Annotated[
        bool,
        typer.Option(
            "--sounds/--no-sounds",
            help="For a page: with drones and tracks to play along with, or without.",
        ),
    ] = True,
    embed_mb: Annotated[
        float,
        typer.Option(
            "--embed-up-to",
            min=0,
            metavar="MB",
            help="For a page: where its sounds together take more megabytes than this, they are "
            "files beside it instead of part of it.",
        ),
    ] = 8.0,
) -> None:
    """Make the handout: assignment, passages, checklist, full etude, listening sheet.

    A PDF to print, or with --output handout.html a page that opens from disk, with sounds, and
    notes that say what they are.
    """
    _check_usage(requests, output_dir, forms, with_score=with_score)
    from skeleton.cli.handout_job import Wanted  # noqa: PLC0415 - not for --help

    def wanted(form: FormName, *, score: bool) -> Wanted:
        return Wanted(form.value, paper.value, language.value, score, sounds, embed_mb)

    if output_dir is None:
        form = FormName.HTML if _is_page(requests[0].output) else FormName.PDF
        _one(requests[0], wanted(form, score=with_score))
        return
    from skeleton.cli.handout_batch import run  # noqa: PLC0415 - not for --help

    # The marked etude belongs to one of them.
    chosen = [form for form in FormName if form in (forms or [FormName.PDF])]
    each = [wanted(form, score=with_score and form is chosen[0]) for form in chosen]
    if not run(
        _expanded(requests), output_dir, each, jobs=jobs or os.cpu_count() or 1, force=force
    ):
        raise typer.Exit(1)


def _one(request: Request, wanted: Wanted) -> None:
    """Make one handout and deliver it.

    Raises:
        SkeletonError: it cannot be made or written.
    """
    from skeleton.cli.handout_make import make  # noqa: PLC0415 - not for --help
    from skeleton.export.engraving.engraver import Engraver  # noqa: PLC0415

    output = request.output
    with Engraver() as engraver:  # gets ready while the score is read
        made = make(request, wanted, engraver, name=(output or request.etude).stem)
    if not request.quiet:
        for line in notice_lines(made.notices):
            say(line)
    if output is None or output == DASH:
        deliver(request, made.data)
        return
    beside = {output.with_name(name): data for name, data in made.beside.items()}
    deliver_files(request, {output: made.data, **beside})
    if made.sounds and not request.quiet:
        from skeleton.export.lists.words import counted  # noqa: PLC0415

        count = counted(made.sounds, "sound file")
        say(f"note: {output}: {count} beside it; hand them out together")


def _is_page(output: Path | None) -> bool:
    return output is not None and output.suffix.lower() in (".html", ".htm")


def _check_usage(
    requests: tuple[Request, ...],
    output_dir: Path | None,
    forms: list[FormName] | None,
    *,
    with_score: bool,
) -> None:
    """Refuse options that contradict each other, whatever the scores.

    Raises:
        typer.BadParameter: they do.
    """
    first = requests[0]
    if first.output is not None and output_dir is not None:
        raise typer.BadParameter("give --output or --output-dir, not both")
    several = len(requests) > 1 or first.etude.is_dir()
    if several and output_dir is None:
        raise typer.BadParameter("several etudes need a folder for their handouts: --output-dir")
    if several and first.lesson is not None:
        raise typer.BadParameter("--lesson is for one etude; put lesson files beside the scores")
    if output_dir is not None:
        return
    if forms:
        raise typer.BadParameter("--as is for --output-dir; the ending of --output says the form")
    if first.output is None and to_terminal(first):
        raise typer.BadParameter("a PDF is not for a terminal; give --output or --output-dir")
    if first.output not in (None, DASH) and not (
        _is_page(first.output) or first.output.suffix.lower() == ".pdf"
    ):
        raise typer.BadParameter(
            f"{first.output}: a handout is a PDF or a page; give it the ending .pdf or .html"
        )
    if with_score and first.output in (None, DASH):
        raise typer.BadParameter("--with-score writes two files; give --output or --output-dir")


def _expanded(requests: tuple[Request, ...]) -> list[Request]:
    """Put the scores of a folder in its place.

    Raises:
        typer.BadParameter: a folder has none.
    """
    from dataclasses import replace  # noqa: PLC0415 - not for --help

    found: list[Request] = []
    for request in requests:
        if not request.etude.is_dir():
            found.append(request)
            continue
        scores = sorted(path for path in request.etude.iterdir() if path.suffix.lower() in _SCORES)
        if not scores:
            raise typer.BadParameter(f"{request.etude}: no MusicXML score in this folder")
        found += [replace(request, etude=path) for path in scores]
    return found
