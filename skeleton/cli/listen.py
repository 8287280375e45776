"""``skeleton listen``: what was low and what was high in a take."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from skeleton.cli.handout import Language, PaperName
from skeleton.cli.listen_output import Judged, format_of, write
from skeleton.cli.messages import notice_lines, say
from skeleton.cli.options import Request, takes_etude
from skeleton.cli.sound_options import StringsHz
from skeleton.errors import OptionError

if TYPE_CHECKING:
    from skeleton.audio.decode import Recording
    from skeleton.audio.resample import Mono
    from skeleton.listening.ear_marks import EarTake
    from skeleton.listening.report import TakeReport

LONGEST_S: Final = 3600.0
"""Following a take costs memory: an hour against 300 notes about half a gigabyte."""


@takes_etude
def listen(
    request: Request,
    *,
    take: Annotated[
        Path,
        typer.Argument(
            metavar="TAKE",
            help="The recording: wav, flac, mp3, m4a and what else phones make.",
            show_default=False,
        ),
    ],
    passage: Annotated[
        str | None,
        typer.Option(
            "--passage", metavar="NAME", help="Only this passage was played. Default: anything."
        ),
    ] = None,
    measures: Annotated[
        str | None,
        typer.Option("--measures", metavar="5-12", help="Only these measures were played."),
    ] = None,
    strings_hz: StringsHz = None,
    tolerance: Annotated[
        float | None,
        typer.Option(
            "--tolerance",
            metavar="CENTS",
            help="What a note may be off from its open string, and the least for others. "
            "Default: 5.",
        ),
    ] = None,
    match_tolerance: Annotated[
        float | None,
        typer.Option(
            "--match-tolerance",
            metavar="CENTS",
            help="How far one return of a note may lean from the others. Default: 10.",
        ),
    ] = None,
    ear: Annotated[
        Path | None,
        typer.Option(
            "--ear",
            metavar="MARKS.json",
            help="Your own marks, saved from the page of the handout or of the take, to set beside "
            "the measured ones.",
        ),
    ] = None,
    ear_date: Annotated[
        str | None,
        typer.Option(
            "--ear-date", metavar="DATE", help="Which take of the marks. Default: the last."
        ),
    ] = None,
    all_notes: Annotated[
        bool, typer.Option("--all", help="Show the table of all notes as well.")
    ] = False,
    json: Annotated[bool, typer.Option("--json", help="The same as -o with .json.")] = False,
    curves: Annotated[
        bool,
        typer.Option(
            "--curves", help="With .svg or .png: the pitch of the notes, drawn, not the score."
        ),
    ] = False,
    paper: Annotated[
        PaperName, typer.Option("--paper", case_sensitive=False, help="With .pdf: size of paper.")
    ] = PaperName.A4,
    language: Annotated[
        Language,
        typer.Option(
            "--language",
            case_sensitive=False,
            help="With .pdf and .html: language of the sheet and of the page.",
        ),
    ] = Language.EN,
    embed_mb: Annotated[
        float,
        typer.Option(
            "--embed-up-to",
            min=0,
            metavar="MB",
            help="With .html: where the take takes more megabytes than this, it is a file beside "
            "the page instead of part of it.",
        ),
    ] = 8.0,
) -> None:
    """Say what was low and what was high in a take; -o marks.svg puts it on the score.

    -o marks.html makes a page that plays each note's moment and hides what was measured until you
    have marked what you hear; -o marks.pdf a sheet with marks, curves and tables.
    """
    suffix = format_of(request.output, json=json, curves=curves)
    span = None if measures is None else _measures(measures)
    if passage is not None and span is not None:
        raise typer.BadParameter("give --passage or --measures, not both")
    if strings_hz is not None and request.a4_hz is not None:
        raise typer.BadParameter("measured strings give the A4; leave out --a4 or --strings-hz")
    if ear_date is not None and ear is None:
        raise typer.BadParameter("--ear-date belongs to --ear")
    from skeleton.cli.reading import analysis_of  # noqa: PLC0415 - not needed for --help
    from skeleton.cli.sound_options import frequencies  # noqa: PLC0415 - when needed
    from skeleton.listening.judge import Limits  # noqa: PLC0415 - loads numpy
    from skeleton.listening.listen import listen as judged  # noqa: PLC0415 - loads numpy

    default = Limits()
    limits = Limits(
        _cents("--tolerance", tolerance, default.fixed_cents),
        _cents("--match-tolerance", match_tolerance, default.match_cents),
    )
    given = None if strings_hz is None else frequencies(strings_hz)
    analysis = analysis_of(request)
    recording, samples, rate = _sound(take, quiet=request.quiet)
    report = judged(
        analysis,
        samples,
        rate,
        passage=passage,
        measures=span,
        strings_hz=given,
        limits=limits,
    )
    own = None if ear is None else _ear_take(ear, ear_date, report)
    if not request.quiet:
        for line in notice_lines(report.notices):
            say(line)
    judged_take = Judged(report, recording, samples, rate, own)
    notices = write(
        request,
        judged_take,
        suffix,
        everything=all_notes,
        curves=curves,
        paper=paper.value,
        language=language.value,
        embed_mb=embed_mb,
    )
    if not request.quiet:
        for line in notice_lines(notices):
            say(line)


def _measures(text: str) -> tuple[str, str]:
    first, dash, last = text.strip().partition("-")
    if not first or (dash and not last):
        raise typer.BadParameter(f"{text!r}: write 5-12, or 5", param_hint="--measures")
    return first.strip(), last.strip() or first.strip()


def _cents(option: str, value: float | None, default: float) -> float:
    if value is None:
        return default
    if not 0.0 < value <= 100.0:
        raise typer.BadParameter("give cents above 0 and at most 100", param_hint=option)
    return value


def _sound(take: Path, *, quiet: bool) -> tuple[Recording, Mono, int]:
    from skeleton.audio import decode  # noqa: PLC0415 - loads numpy
    from skeleton.errors import TakeError  # noqa: PLC0415 - beside it
    from skeleton.export.lists.words import one_line  # noqa: PLC0415 - when needed

    recording = decode.open_recording(take)
    if recording.duration_s > LONGEST_S:
        raise TakeError(
            f"{take}: is {recording.duration_s / 60:.0f} minutes long, which would take too much "
            f"memory to follow; cut out the playing, at most {LONGEST_S / 60:g} minutes"
        )
    if not quiet:
        for notice in recording.notices:
            say(one_line(f"note: {notice.message}"))
    return recording, decode.samples(recording), decode.RATE


def _ear_take(path: Path, date: str | None, report: TakeReport) -> EarTake:
    from skeleton.listening.ear_marks import read_ear_marks  # noqa: PLC0415 - when needed

    notes = [note.id for part in report.analysis.score.parts for note in part.notes]
    takes = read_ear_marks(path, report.analysis.score.source.data, notes)
    chosen = [one for one in takes if date is None or one.date == date]
    if not chosen:
        dates = ", ".join(one.date for one in takes)
        raise OptionError(f"{path}: no take of {date}; there are {dates}")
    return chosen[-1]
