"""``skeleton playalong``: a passage to play along with, every note at its target."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import typer

from skeleton.cli.messages import say
from skeleton.cli.options import Request, lesson_file, takes_etude
from skeleton.cli.sound_options import (
    Rate,
    StringsHz,
    frequencies,
    minutes,
    names,
    progress,
    say_caution,
)


class PlayedStage(StrEnum):
    """The stages that can be heard."""

    BARE = "bare"
    NEIGHBOURS = "neighbours"
    ALL = "all"


class PlayedSystem(StrEnum):
    """The systems that place the notes."""

    PYTHAGOREAN = "pythagorean"
    JUST = "just"
    EQUAL = "equal"


@takes_etude
def playalong(
    request: Request,
    *,
    passage: Annotated[
        str | None,
        typer.Option("--passage", metavar="NAME", help="This passage. Default: the whole etude."),
    ] = None,
    stage: Annotated[
        PlayedStage,
        typer.Option(
            "--stage",
            "-s",
            case_sensitive=False,
            help="bare: the skeleton alone; neighbours: with the accidentals hung on it; "
            "all: the etude as written.",
        ),
    ] = PlayedStage.BARE,
    tempo: Annotated[
        float | None,
        typer.Option(
            "--tempo",
            metavar="BPM",
            help="Beats of the metre a minute (dotted quarters in 6/8). Default: 40.",
        ),
    ] = None,
    slowest: Annotated[
        float | None,
        typer.Option("--from", metavar="BPM", help="First tempo of a ladder, with --to."),
    ] = None,
    fastest: Annotated[
        float | None, typer.Option("--to", metavar="BPM", help="Last tempo of a ladder.")
    ] = None,
    step: Annotated[
        float | None,
        typer.Option("--step", metavar="BPM", help="From one tempo to the next. Default: 4."),
    ] = None,
    times: Annotated[
        int, typer.Option("--times", metavar="N", min=1, help="How often, at each tempo.")
    ] = 1,
    echo: Annotated[
        bool,
        typer.Option("--echo", help="Leave a gap after every bar, in which you answer."),
    ] = False,
    echo_bars: Annotated[
        int | None,
        typer.Option("--echo-bars", metavar="N", min=1, help="A gap after so many bars instead."),
    ] = None,
    drone: Annotated[
        str,
        typer.Option(
            "--drone",
            metavar="auto|none|PITCH,...",
            help="What sounds on below: the open strings that serve the passage (auto), "
            "nothing, or pitches: D4,A4.",
        ),
    ] = "auto",
    system: Annotated[
        PlayedSystem,
        typer.Option(
            "--system",
            case_sensitive=False,
            help="Where notes lie; as in the targets.",
        ),
    ] = PlayedSystem.PYTHAGOREAN,
    against: Annotated[
        str | None,
        typer.Option(
            "--against", metavar="STRING", help="The open string that just is pure against: D."
        ),
    ] = None,
    strings_hz: StringsHz = None,
    lean: Annotated[
        float | None,
        typer.Option("--lean", metavar="CENTS", help="Size of every half step between letters."),
    ] = None,
    chromatic_lean: Annotated[
        float | None,
        typer.Option(
            "--chromatic-lean", metavar="CENTS", help="Size of every half step on one letter."
        ),
    ] = None,
    rate: Rate = 44100,
) -> None:
    """Make a track to play along with: to .wav, .flac, .ogg, .mp3 or .mid, as --output ends."""
    if request.output is None:
        raise typer.BadParameter("name the file to write: -o track.wav (.flac, .ogg, .mp3, .mid)")
    if strings_hz is not None and request.a4_hz is not None:
        raise typer.BadParameter("measured strings give the A4; leave out --a4 or --strings-hz")
    measured = None if strings_hz is None else frequencies(strings_hz)
    _check_tempos(tempo, slowest, fastest, step)
    from skeleton.analysis.lesson_values import lean_cents  # noqa: PLC0415 - not for --help
    from skeleton.cli.reading import analysis_of, checked, tell  # noqa: PLC0415 - not for --help
    from skeleton.export.tracks import practice  # noqa: PLC0415 - not needed for --help
    from skeleton.export.tracks.track import track_suffix, write_track  # noqa: PLC0415 - when needed
    from skeleton.intonation.targets import targets  # noqa: PLC0415 - when needed

    track_suffix(request.output)
    sizes = [
        None if size is None else checked(name, lean_cents, size)
        for name, size in (("--lean", lean), ("--chromatic-lean", chromatic_lean))
    ]
    analysis = analysis_of(request)
    found = targets(
        analysis,
        system=system.value,
        against=against,
        strings_hz=measured,
        lean_cents=sizes[0],
        chromatic_lean_cents=sizes[1],
    )
    tell(request, analysis.score, found.notices)
    made = practice.practice(
        found,
        passage,
        stage.value,
        practice.tempos(tempo, slowest, fastest, step),
        times=times,
        echo_bars=echo_bars or int(echo),
        drone=practice.AUTO if drone == "auto" else () if drone == "none" else names(drone),
    )
    with progress(made.schedule.end_s, rate) as told:
        write_track(
            made.schedule,
            request.output,
            rate=rate,
            instrument=made.instrument,
            keep=[request.etude, request.lesson or lesson_file(request.etude)],
            tell=told,
        )
    if not request.quiet:
        under = " ".join(map(str, made.drone))
        why = f" ({made.why})" if made.why else ""
        below = f"drone {under}{why}" if under else f"no drone{why}"
        say(f"note: {request.output}: {minutes(made.schedule.end_s)}, {below}")
        say_caution()


def _check_tempos(
    tempo: float | None, slowest: float | None, fastest: float | None, step: float | None
) -> None:
    """Refuse tempo options that contradict each other.

    Raises:
        typer.BadParameter: they do.
    """
    if tempo is not None and (slowest, fastest, step) != (None, None, None):
        raise typer.BadParameter("give --tempo, or --from with --to, not both")
    if (slowest is None) != (fastest is None) or (step is not None and slowest is None):
        raise typer.BadParameter("a tempo ladder needs both --from and --to")
