"""``skeleton listen``: what was low and what was high in a take."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from skeleton.cli.delivery import DASH, deliver, show, shows_signs
from skeleton.cli.messages import notice_lines, say
from skeleton.cli.options import Request, takes_etude
from skeleton.cli.sound_options import StringsHz
from skeleton.errors import OptionError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from skeleton.audio.decode import Recording
    from skeleton.audio.resample import Mono
    from skeleton.listening.ear_marks import Compared
    from skeleton.listening.report import TakeReport
    from skeleton.score.model import Notice

SUFFIXES: Final = (".svg", ".musicxml", ".xml", ".json", ".csv", ".txt")
LONGEST_S: Final = 1800.0
"""A longer take would not fit into little memory; it must be cut or a passage recorded."""


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
            help="Your own marks, saved from the practice page, to set beside the measured ones.",
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
) -> None:
    """Say what was low and what was high in a take; -o marks.svg puts it on the score."""
    suffix = _suffix(request.output, json=json)
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
    compared = None if ear is None else _compared(ear, ear_date, report)
    if not request.quiet:
        for line in notice_lines(report.notices):
            say(line)
    notices = _deliver(request, suffix, report, recording, compared, everything=all_notes)
    if not request.quiet:
        for line in notice_lines(notices):
            say(line)


def _deliver(
    request: Request,
    suffix: str,
    report: TakeReport,
    recording: Recording,
    compared: Sequence[Compared] | None,
    *,
    everything: bool,
) -> tuple[Notice, ...]:
    """Write the result in the format asked for; return what was odd about that."""
    name = recording.path.name
    if suffix in {".json", ".csv"}:
        from skeleton.export.lists import listen_data as data  # noqa: PLC0415 - when needed
        from skeleton.score.model import Notice  # noqa: PLC0415 - when needed

        heard = [Notice(one.code, one.message) for one in recording.notices]
        deliver(
            request,
            data.take_json(report, name, compared, heard)
            if suffix == ".json"
            else data.take_csv(report),
        )
        return ()
    if suffix == ".txt":
        from skeleton.export.lists.listen_text import take_document  # noqa: PLC0415 - when needed

        show(
            request,
            take_document(
                report, name, compared or (), signs=shows_signs(request), everything=everything
            ),
        )
        return ()
    from skeleton.export.engraving import listen_picture as drawn  # noqa: PLC0415 - when needed

    if suffix == ".svg":
        picture, notices = drawn.marked_picture(report, name)
        deliver(request, picture)
    else:
        music, notices = drawn.marked_musicxml(report)
        deliver(request, music)
    return notices


def _suffix(output: Path | None, *, json: bool) -> str:
    """The format: what the file's ending says.

    Raises:
        OptionError: no format has this ending.
        typer.BadParameter: two formats were asked for.
    """
    if output in (None, DASH):
        return ".json" if json else ".txt"
    suffix = output.suffix.lower()
    if json and suffix != ".json":
        raise typer.BadParameter("give --json or an output with another ending, not both")
    if suffix not in SUFFIXES:
        raise OptionError(f"{output}: no format is known by this ending; use {', '.join(SUFFIXES)}")
    return suffix


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
            f"{take}: is {recording.duration_s / 60:.0f} minutes long; cut out at most "
            f"{LONGEST_S / 60:g} minutes"
        )
    if not quiet:
        for notice in recording.notices:
            say(one_line(f"note: {notice.message}"))
    return recording, decode.samples(recording), decode.RATE


def _compared(path: Path, date: str | None, report: TakeReport) -> tuple[Compared, ...]:
    from skeleton.listening.ear_marks import compare, read_ear_marks  # noqa: PLC0415 - when needed

    notes = [note.id for part in report.analysis.score.parts for note in part.notes]
    takes = read_ear_marks(path, report.analysis.score.source.data, notes)
    chosen = [one for one in takes if date is None or one.date == date]
    if not chosen:
        dates = ", ".join(one.date for one in takes)
        raise OptionError(f"{path}: no take of {date}; there are {dates}")
    return compare(chosen[-1], report.notes)
